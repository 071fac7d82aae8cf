#ifndef CRAKE_H
#define CRAKE_H

/* Generated from driver/capi/src by .ci/c-callers --write. Do not edit. */

#include <stddef.h>
#include <stdint.h>
/*
 * What every call relies on. Each pointer is null or leads to what its type says, for as many
 * values as are asked for; no two lead to the same memory. An object's memory was zeroed before its
 * initialisation, and is touched by this interface alone from then on. Boards, margins, limits and
 * hosts stay where they are, unchanged, as long as something that was made with them is used.
 *
 * Each call gives a code. The last argument, which may be null, gets the rest of the error.
 */


/**
 * Status of a bus callback: nobody acknowledged the address.
 */
#define CRAKE_NO_ACKNOWLEDGE 2147483647

/**
 * Rails of a board, channels of the part.
 */
#define CRAKE_RAILS 4

/**
 * Conversions of a whole fast capture.
 */
#define CRAKE_CAPTURE_MAX 1024

/**
 * What became of a call; 0 is success. Also says why a channel has no reading. From 10 to 15
 * nothing was done; of 10 to 14 `argument` tells which one is wrong, counted from 1.
 */
enum crake_code
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : int32_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * It was done.
   */
  CRAKE_CODE_OK = 0,
  /**
   * There is none: no event is queued, nobody answered. Not an error.
   */
  CRAKE_CODE_NOTHING = 1,
  /**
   * A pointer is null or not aligned.
   */
  CRAKE_CODE_BAD_POINTER = 10,
  /**
   * A value lies outside its list or range, or values are more than `CRAKE_CAPTURE_MAX`.
   */
  CRAKE_CODE_BAD_ARGUMENT = 11,
  /**
   * An object was not initialised, or its memory not zeroed before.
   */
  CRAKE_CODE_NOT_READY = 12,
  /**
   * An object is in use by a call that has not returned: this one comes from a callback or
   * an interrupt.
   */
  CRAKE_CODE_IN_CALL = 13,
  /**
   * The memory holds an object already: zero it to use it again.
   */
  CRAKE_CODE_IN_USE = 14,
  /**
   * The totals are counted by margins of another board than the monitor's.
   */
  CRAKE_CODE_TOTALS_OF_ANOTHER_BOARD = 15,
  /**
   * Something that this interface does not know.
   */
  CRAKE_CODE_OTHER = 99,
  /**
   * A callback said that the bus failed, as often as it was tried; `bus_status` is the last.
   */
  CRAKE_CODE_BUS = 20,
  /**
   * The check byte of a read was wrong, as often as it was tried: `expected`, `got`.
   */
  CRAKE_CODE_CHECK_BYTE = 21,
  /**
   * The sample block's check value was wrong, as often as it was read: `expected`, `got`.
   */
  CRAKE_CODE_BLOCK_CHECK = 22,
  /**
   * No new block in time: the tags `expected`, `got`.
   */
  CRAKE_CODE_STALE = 23,
  /**
   * The host's clock fell while a sample was latched, or 72 minutes passed.
   */
  CRAKE_CODE_CLOCK = 24,
  /**
   * What was begun did not end in time: `expected`, `got`.
   */
  CRAKE_CODE_BUSY = 25,
  /**
   * Another part answers: `expected`, `got`.
   */
  CRAKE_CODE_IDENTITY = 26,
  /**
   * A register reads back otherwise than it was written: `expected`, `got`.
   */
  CRAKE_CODE_READ_BACK = 27,
  /**
   * The part was reset since it was configured: initialise it.
   */
  CRAKE_CODE_RESET = 28,
  /**
   * Somebody else wrote to the part: initialise it. `expected`, `got`.
   */
  CRAKE_CODE_CHANGED = 29,
  /**
   * The part is not configured, or its configuration was given up: initialise it.
   */
  CRAKE_CODE_NOT_CONFIGURED = 30,
  /**
   * Limits are not known to stand in the part: set them.
   */
  CRAKE_CODE_NOT_ARMED = 31,
  /**
   * The part's supply is declared off.
   */
  CRAKE_CODE_UNPOWERED = 32,
  /**
   * This cannot be; nothing was sent.
   */
  CRAKE_CODE_REFUSED = 33,
  /**
   * There is no such channel: `channel`.
   */
  CRAKE_CODE_NO_SUCH_CHANNEL = 40,
  /**
   * No channel is enabled.
   */
  CRAKE_CODE_NO_CHANNEL = 41,
  /**
   * No sense range reaches the full scale asked for: `channel`.
   */
  CRAKE_CODE_SENSE_FULL_SCALE = 42,
  /**
   * No rail range reaches the full scale asked for: `channel`.
   */
  CRAKE_CODE_RAIL_FULL_SCALE = 43,
  /**
   * The part has no scan rate as high as this; `got` is its period in microseconds.
   */
  CRAKE_CODE_SCAN_RATE = 44,
  /**
   * Means of 2^`got` scans were asked for, the part goes to 2^`expected`.
   */
  CRAKE_CODE_AVERAGING = 45,
  /**
   * Sense resistor or correction are beyond what the part can be used with: `channel`.
   */
  CRAKE_CODE_SENSE_RESISTOR = 46,
  /**
   * A limit on a channel that is not enabled: `channel`, `kind`, here and below.
   */
  CRAKE_CODE_LIMIT_NOT_ENABLED = 50,
  /**
   * There are two limits of the kind on the channel.
   */
  CRAKE_CODE_LIMIT_SET_TWICE = 51,
  /**
   * No code of the range lies beyond the limit, or none within it.
   */
  CRAKE_CODE_LIMIT_BEYOND_FULL_SCALE = 52,
  /**
   * Over- and under-limit leave no code between them.
   */
  CRAKE_CODE_LIMITS_CROSSED = 53,
  /**
   * A limit reaches no output and is not silent.
   */
  CRAKE_CODE_LIMIT_NO_OUTPUT = 54,
  /**
   * A debounce of `got`: 1 to 15 can be, or as many as a single shot has scans.
   */
  CRAKE_CODE_LIMIT_DEBOUNCE = 55,
  /**
   * A limit would be masked on an output that is wired to hardware: have it looked at again.
   */
  CRAKE_CODE_LIMIT_MASKED_ON_WIRED = 56,
  /**
   * A hysteresis below zero.
   */
  CRAKE_CODE_LIMIT_HYSTERESIS = 57,
  /**
   * No reading: the channel was not enabled.
   */
  CRAKE_CODE_NOT_ENABLED = 60,
  /**
   * No reading: no mean was finished yet with this configuration; or the sample failed.
   */
  CRAKE_CODE_NOT_COMPLETE = 61,
  /**
   * A conversion went over range: what is given is a limit, not a value.
   */
  CRAKE_CODE_CLIPPED = 62,
  /**
   * The bytes do not begin as a calibration record does.
   */
  CRAKE_CODE_BYTES_MARK = 71,
  /**
   * Bytes of a version that this library does not know.
   */
  CRAKE_CODE_BYTES_VERSION = 72,
  /**
   * The check value is not that of the bytes: torn, or damaged. Of a record `expected`,
   * `got`.
   */
  CRAKE_CODE_BYTES_CHECK = 73,
  /**
   * The field of a record at offset `got` is out of range.
   */
  CRAKE_CODE_BYTES_FIELD = 74,
  /**
   * The bytes belong to another board, or to one that converts otherwise: serial numbers
   * `expected`, `got` of a record.
   */
  CRAKE_CODE_BYTES_OF_ANOTHER_BOARD = 75,
  /**
   * The part does not scan by itself: nothing to calibrate with was counted.
   */
  CRAKE_CODE_NOT_COUNTING = 80,
  /**
   * Another configuration than that of the sample before.
   */
  CRAKE_CODE_RECONFIGURED = 81,
  /**
   * Samples lie so far apart that a rollover could hide between them.
   */
  CRAKE_CODE_TOO_FAR_APART = 82,
  /**
   * `got` stretches of a thousand scans were collected, a calibration takes `expected`.
   */
  CRAKE_CODE_TOO_FEW = 83,
  /**
   * Means of stretches differ by `got` nV, noise explains `expected`.
   */
  CRAKE_CODE_UNSTEADY = 84,
  /**
   * `got` nV without current, `expected` at the most: is the load disconnected?
   */
  CRAKE_CODE_IMPLAUSIBLE_OFFSET = 85,
  /**
   * A gain `got` ppm off 1, `expected` at the most: is the reference right?
   */
  CRAKE_CODE_IMPLAUSIBLE_GAIN = 86,
  /**
   * The reference current, or the difference of two, must be at least `expected` nA.
   */
  CRAKE_CODE_REFERENCE_TOO_SMALL = 87,
  /**
   * The reference current must be at most `expected` nA.
   */
  CRAKE_CODE_REFERENCE_TOO_GREAT = 88,
  /**
   * A gain from one current needs a calibrated offset.
   */
  CRAKE_CODE_NO_OFFSET = 89,
  /**
   * Two points of different channels or sense ranges.
   */
  CRAKE_CODE_DIFFERENT_INPUTS = 90,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_code crake_code;
#else
typedef int32_t crake_code;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What was asked of the part.
 */
enum crake_operation
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * Nothing.
   */
  CRAKE_OPERATION_NONE = 0,
  /**
   * `crake_init`.
   */
  CRAKE_OPERATION_INIT = 1,
  /**
   * `crake_resume`.
   */
  CRAKE_OPERATION_RESUME = 2,
  /**
   * `crake_configure`.
   */
  CRAKE_OPERATION_CONFIGURE = 3,
  /**
   * Latching and reading a sample.
   */
  CRAKE_OPERATION_SAMPLE = 4,
  /**
   * `crake_queue_set_limits`.
   */
  CRAKE_OPERATION_SET_LIMITS = 5,
  /**
   * Reading alert flags.
   */
  CRAKE_OPERATION_READ_ALERTS = 6,
  /**
   * Choosing which flags reach an output.
   */
  CRAKE_OPERATION_SET_MASKS = 7,
  /**
   * `crake_start_capture`.
   */
  CRAKE_OPERATION_START_CAPTURE = 8,
  /**
   * `crake_fetch_capture`.
   */
  CRAKE_OPERATION_FETCH_CAPTURE = 9,
  /**
   * `crake_queue_service`, for `crake_worst_case_us`; an error names the piece that failed.
   */
  CRAKE_OPERATION_SERVICE = 10,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_operation crake_operation;
#else
typedef uint8_t crake_operation;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What a number says of the truth, when some of what it was made of was clipped.
 */
enum crake_saturation
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * Nothing was: the truth is near it, within the bound.
   */
  CRAKE_SATURATION_NONE = 0,
  /**
   * The truth is at least that, less the bound.
   */
  CRAKE_SATURATION_AT_LEAST = 1,
  /**
   * The truth may lie beyond on either side.
   */
  CRAKE_SATURATION_UNKNOWN = 2,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_saturation crake_saturation;
#else
typedef uint8_t crake_saturation;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What totals made of a sample. From `CONFIGURED` on counts were lost or may have been: a
 * discontinuity, counted in the epoch, with a gap before this sample.
 */
enum crake_update
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * None were given.
   */
  CRAKE_UPDATE_NONE = 0,
  /**
   * Counting begins with it; nothing to add yet.
   */
  CRAKE_UPDATE_FIRST = 1,
  /**
   * Its counts were added.
   */
  CRAKE_UPDATE_CONTINUED = 2,
  /**
   * Its counts were added, but something went over range: totals are limits from now on.
   */
  CRAKE_UPDATE_CLIPPED = 3,
  /**
   * The part does not scan by itself: nothing counts.
   */
  CRAKE_UPDATE_NOT_COUNTING = 4,
  /**
   * The part was configured anew.
   */
  CRAKE_UPDATE_CONFIGURED = 5,
  /**
   * The host's clock fell: it began anew. The gap is open-ended.
   */
  CRAKE_UPDATE_CLOCK_BACKWARDS = 6,
  /**
   * The sample came too late to exclude a rollover.
   */
  CRAKE_UPDATE_TOO_LATE = 7,
  /**
   * The number of scans does not fit the time by the host's clock.
   */
  CRAKE_UPDATE_IMPLAUSIBLE = 8,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_update crake_update;
#else
typedef uint8_t crake_update;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What an event is about.
 */
enum crake_about
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * A limit on a channel was passed.
   */
  CRAKE_ABOUT_LIMIT = 0,
  /**
   * One of the part's running sums comes near its end: take a sample.
   */
  CRAKE_ABOUT_ROLLOVER_AHEAD = 1,
  /**
   * A scan was completed.
   */
  CRAKE_ABOUT_SCAN_DONE = 2,
  /**
   * The part was reset.
   */
  CRAKE_ABOUT_RESET_SEEN = 3,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_about crake_about;
#else
typedef uint8_t crake_about;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What a proof test found of one output's way to the host.
 */
enum crake_finding
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * Low when driven, high when not.
   */
  CRAKE_FINDING_WORKS = 0,
  /**
   * Never low: broken, or stuck high; or the part converts nothing.
   */
  CRAKE_FINDING_NEVER_LOW = 1,
  /**
   * Never high: shorted, stuck low, or held low by another part on the line.
   */
  CRAKE_FINDING_NEVER_HIGH = 2,
  /**
   * Follows the other output instead.
   */
  CRAKE_FINDING_SWAPPED = 3,
  /**
   * Follows both outputs: the lines are joined.
   */
  CRAKE_FINDING_JOINED = 4,
  /**
   * The part cannot be tested.
   */
  CRAKE_FINDING_NOT_TESTED = 5,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_finding crake_finding;
#else
typedef uint8_t crake_finding;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What the part does by itself.
 */
enum crake_mode
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * Nothing: no conversions, sums stand still, least supply current.
   */
  CRAKE_MODE_IDLE = 0,
  /**
   * Scans for ever.
   */
  CRAKE_MODE_CONTINUOUS = 1,
  /**
   * As many scans as one mean takes whenever a sample is taken, then idle.
   */
  CRAKE_MODE_SINGLE_SHOT = 2,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_mode crake_mode;
#else
typedef uint8_t crake_mode;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * What a limit watches for.
 */
enum crake_kind
#if defined(__cplusplus) || __STDC_VERSION__ >= 202311L
  : uint8_t
#endif // defined(__cplusplus) || __STDC_VERSION__ >= 202311L
 {
  /**
   * Rail voltage above the limit.
   */
  CRAKE_KIND_OVER_VOLTAGE = 0,
  /**
   * Rail voltage below the limit.
   */
  CRAKE_KIND_UNDER_VOLTAGE = 1,
  /**
   * Current above the limit, signed.
   */
  CRAKE_KIND_OVER_CURRENT = 2,
  /**
   * Current below the limit, signed.
   */
  CRAKE_KIND_UNDER_CURRENT = 3,
  /**
   * Power above the limit, signed.
   */
  CRAKE_KIND_OVER_POWER = 4,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_kind crake_kind;
#else
typedef uint8_t crake_kind;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * Memory of limits: zero it, then `crake_limits_init`.
 */
typedef struct crake_limits {
  uint64_t words[8];
} crake_limits;

/**
 * Memory of one limit.
 */
typedef struct crake_limit_memory {
  uint64_t words[7];
} crake_limit_memory;

/**
 * One limit on one channel, and what is to happen when it is passed.
 */
typedef struct crake_limit {
  /**
   * The limit, in nanovolts, nanoamperes or nanowatts.
   */
  int64_t limit;
  /**
   * Over only once a sample is back on the permitted side by this much, in the limit's unit,
   * 0 or more; 0 takes a 64th of the limit. A limit near zero needs one of its own.
   */
  int64_t hysteresis;
  /**
   * What happens while the condition lasts: 0, its flag alone is taken off its outputs until
   * a sample shows it over; otherwise it is looked at again after so many microseconds.
   */
  uint32_t look_again_us;
  /**
   * The channel.
   */
  uint8_t channel;
  /**
   * A `crake_kind`.
   */
  uint8_t kind;
  /**
   * Passed after so many consecutive conversions beyond the limit: 1 to 15; 0 counts as 1.
   */
  uint8_t debounce;
  /**
   * 0: the flag stays until it was seen and cleared; 1: it follows the condition.
   */
  uint8_t following;
  /**
   * Outputs it reaches: 1 A, 2 B, 3 both, 0 none, which has to be meant.
   */
  uint8_t outputs;
  /**
   * 1 if it reaches no output on purpose, to be found by looking.
   */
  uint8_t silent;
} crake_limit;

/**
 * What was asked, of whom, and what came. Fields that do not belong to the code are 0.
 */
typedef struct crake_error {
  /**
   * What should have come.
   */
  int64_t expected;
  /**
   * What came.
   */
  int64_t got;
  /**
   * As returned by the call.
   */
  crake_code code;
  /**
   * What the callback returned, where the bus failed.
   */
  int32_t bus_status;
  /**
   * What was asked of the part.
   */
  crake_operation operation;
  /**
   * 7-bit address of the part that was asked.
   */
  uint8_t address;
  /**
   * Register that was asked for last.
   */
  uint8_t at_register;
  /**
   * Which argument of the call, counted from 1.
   */
  uint8_t argument;
  /**
   * Which channel.
   */
  uint8_t channel;
  /**
   * Which kind of limit: a `crake_kind`.
   */
  uint8_t kind;
  /**
   * 1 if the same call may simply be made again, with no `crake_init` in between.
   */
  uint8_t may_repeat;
} crake_error;

/**
 * Memory of a monitor: zero it, then `crake_monitor_init`.
 */
typedef struct crake_monitor {
  uint64_t words[36];
} crake_monitor;

/**
 * Memory of an alert queue with room for eight events: zero it, then `crake_queue_init`.
 */
typedef struct crake_alert_queue {
  uint64_t words[56];
} crake_alert_queue;

/**
 * Memory of totals: zero it, then `crake_totals_init`.
 */
typedef struct crake_totals {
  uint64_t words[64];
} crake_totals;

/**
 * Voltage, current and power of one channel, from one latch.
 */
typedef struct crake_reading {
  /**
   * At the load's side of the sense resistor, in nanovolts.
   */
  int64_t voltage_nv;
  /**
   * In nanoamperes, positive from source to load.
   */
  int64_t current_na;
  /**
   * In nanowatts, positive into the load; mean of products.
   */
  int64_t power_nw;
  /**
   * `OK`, or why there is no reading (all numbers 0). After `CLIPPED` they are limits.
   */
  crake_code code;
  /**
   * What the voltage says of the truth.
   */
  crake_saturation voltage_saturation;
  /**
   * What the current says of the truth.
   */
  crake_saturation current_saturation;
} crake_reading;

/**
 * One coherent sample of all channels.
 */
typedef struct crake_sample {
  /**
   * The host's clock right before the latch was asked for, in microseconds.
   */
  uint64_t before_us;
  /**
   * Right after, and the longest that the part takes from then on.
   */
  uint64_t after_us;
  /**
   * From channel 0 up.
   */
  struct crake_reading readings[CRAKE_RAILS];
  /**
   * The part's running count of scans, 28 bits.
   */
  uint32_t scans;
  /**
   * What totals made of it.
   */
  crake_update update;
} crake_sample;

/**
 * Something that the part told.
 */
typedef struct crake_event {
  /**
   * When the sample right after the flag was latched, in microseconds on the host's clock:
   * the flag is older than `after_us`.
   */
  uint64_t before_us;
  /**
   * As in a sample.
   */
  uint64_t after_us;
  /**
   * The limit that was passed, as asked for, in nanovolts, nanoamperes or nanowatts.
   */
  int64_t limit;
  /**
   * What that sample shows of the quantity, in the same unit: already back, perhaps.
   */
  int64_t value;
  /**
   * What it is about.
   */
  crake_about about;
  /**
   * Channel of the limit.
   */
  uint8_t channel;
  /**
   * Its `crake_kind`.
   */
  uint8_t kind;
  /**
   * 1 if `before_us` and `after_us` are known; 0 for what was told without a sample.
   */
  uint8_t dated;
  /**
   * 1 if `limit` is known; 0 after a restart, or a setting of limits that failed.
   */
  uint8_t limit_known;
  /**
   * 1 if `value` is known.
   */
  uint8_t value_known;
  /**
   * 1 if a conversion went over range: the value is a limit, then.
   */
  uint8_t clipped;
} crake_event;

/**
 * How a queue stands. Flags have five bits per channel from channel 0 up in the order of
 * `crake_kind`; bit 61 rollover ahead, bit 62 scan done, bit 63 reset seen.
 */
typedef struct crake_queue_status {
  /**
   * How long after the last service the next one is due, whatever the outputs say, in
   * microseconds. `UINT64_MAX`: not before an output says so. 0: something is left to do.
   */
  uint64_t next_in_us;
  /**
   * Flags that were seen in the part and are not yet events.
   */
  uint64_t pending;
  /**
   * Limits whose event was told and that no sample has shown to be over.
   */
  uint64_t lasting;
  /**
   * Flags of events that found the queue full, since this was asked last.
   */
  uint64_t lost;
  /**
   * Number of events that found the queue full.
   */
  uint32_t dropped;
  /**
   * Outputs whose active level is news: 1 A, 2 B. One that a lasting condition keeps active
   * is not among them.
   */
  uint8_t listening;
} crake_queue_status;

/**
 * Findings for both outputs.
 */
typedef struct crake_proof {
  /**
   * Output A.
   */
  crake_finding a;
  /**
   * Output B.
   */
  crake_finding b;
} crake_proof;

/**
 * The caller's bus, delay and clock. Each callback gets `context` and must return; none may
 * call this interface with an object of the call in progress (it would be told `IN_CALL`).
 */
typedef struct crake_host {
  /**
   * Handed to every callback; may be null.
   */
  void *context;
  /**
   * One transfer with the 7-bit `address`: writes `count` bytes, then reads `room_count`
   * bytes into `room`, with a repeated START or, where the controller cannot, STOP and START
   * between them. Either count may be 0, which leaves that half out: without bytes to write,
   * START and the address for reading come first (`crake_alert_response` alone asks for
   * that).
   *
   * Returns 0; `CRAKE_NO_ACKNOWLEDGE` if nobody acknowledged the address, where it can tell;
   * or a status of its own. It comes back as `bus_status`.
   */
  int32_t (*transfer)(void *context,
                      uint8_t address,
                      const uint8_t *bytes,
                      size_t count,
                      uint8_t *room,
                      size_t room_count);
  /**
   * Waits at least `us` microseconds.
   */
  void (*delay_us)(void *context, uint32_t us);
  /**
   * Microseconds on a clock that runs through sleep and never goes back.
   */
  uint64_t (*now_us)(void *context);
} crake_host;

/**
 * Memory of a board: zero it, then `crake_board_init`.
 */
typedef struct crake_board {
  uint64_t words[112];
} crake_board;

/**
 * What the engineer knows of one rail: bounds lean on it. All numbers are 0 or more.
 */
typedef struct crake_rail {
  /**
   * Nominal resistance of the sense resistor, 100 µΩ to 10 Ω, in nanoohms.
   */
  uint64_t resistance_nohm;
  /**
   * Resistor in each of the two sense leads, as input filters have, in nanoohms; 0 for none.
   */
  uint64_t filter_nohm;
  /**
   * Greatest current in either direction, in nanoamperes. 0: no load is declared; bounds
   * leave out what it does between conversions, and the fields of the load below are not
   * looked at.
   */
  int64_t greatest_na;
  /**
   * Greatest mean of the current's magnitude over `mean_over_s`, in nanoamperes; it matters
   * where current flows both ways.
   */
  int64_t mean_na;
  /**
   * Greatest jump of the load, up or down, in nanoamperes.
   */
  int64_t load_step_na;
  /**
   * Greatest jump of the source's voltage, in nanovolts.
   */
  int64_t voltage_step_nv;
  /**
   * Least rail voltage, in nanovolts.
   */
  int64_t voltage_least_nv;
  /**
   * Greatest rail voltage; 0 where the span is not known, which takes the whole range.
   */
  int64_t voltage_greatest_nv;
  /**
   * Tolerance of the sense resistor in ppm, in either direction.
   */
  uint32_t tolerance_ppm;
  /**
   * Temperature coefficient of the sense resistor, ppm per kelvin, in either direction.
   */
  uint32_t temperature_ppm_per_k;
  /**
   * How far the board gets from the temperature of the nominal resistance, thousandths of a
   * kelvin.
   */
  uint32_t temperature_span_mk;
  /**
   * Thermal resistance of the sense resistor to its surroundings, thousandths of a kelvin
   * per watt.
   */
  uint32_t heating_mk_per_w;
  /**
   * Shortest stretch in seconds over which `mean_na` holds; 0 where no mean is declared.
   */
  uint32_t mean_over_s;
  /**
   * Greatest number of jumps of the load in 3600 s, up or down each count.
   */
  uint32_t load_steps_per_hour;
  /**
   * Greatest number of jumps of the source's voltage in 3600 s.
   */
  uint32_t voltage_steps_per_hour;
  /**
   * 0: current flows from source to load alone; 1: both ways.
   */
  uint8_t both_ways;
} crake_rail;

/**
 * A board: its rails from channel 0 up, its serial number, its clock.
 */
typedef struct crake_description {
  /**
   * One rail per channel. A channel that is not used takes any resistor.
   */
  struct crake_rail rails[CRAKE_RAILS];
  /**
   * Serial number, which ties checkpoints and calibration records to it.
   */
  uint32_t serial;
  /**
   * Greatest error of the host clock's rate in either direction, in ppm.
   */
  uint32_t clock_ppm;
} crake_description;

/**
 * Correction of one rail by calibration. All zero is none.
 */
typedef struct crake_correction {
  /**
   * Sense voltage that the part shows without current, in 256ths of a nanovolt.
   */
  int32_t offset_256ths_nv;
  /**
   * True current over shown current, after the offset, in units of 2^-30; 0 counts as 1.
   */
  int32_t gain_2e30;
  /**
   * How well the offset is known, in nanovolts in either direction.
   */
  int64_t offset_bound_nv;
  /**
   * How well the gain is known, in ppm in either direction.
   */
  uint32_t gain_bound_ppm;
  /**
   * 1 if `offset_bound_nv` is known; 0: the part's own limit holds.
   */
  uint8_t offset_known;
  /**
   * 1 if `gain_bound_ppm` is known; 0: the limits of part and resistor hold.
   */
  uint8_t gain_known;
  /**
   * 1 if the gain was measured in sense range `gain_range`.
   */
  uint8_t gain_range_known;
  /**
   * Sense range of the gain: 0 for 65.536 mV, 1 for 26.2144 mV.
   */
  uint8_t gain_range;
} crake_correction;

/**
 * Memory of a board's margins, what is open of totals there: zero it, then
 * `crake_margins_init`.
 */
typedef struct crake_margins {
  uint64_t words[48];
} crake_margins;

/**
 * Memory of a collection of scans: zero it, then `crake_collection_init`.
 */
typedef struct crake_collection {
  uint64_t words[20];
} crake_collection;

/**
 * A current that is known better than the monitor shows it.
 */
typedef struct crake_reference {
  /**
   * What the reference says flowed, in nanoamperes, positive from source to load.
   */
  int64_t current_na;
  /**
   * How far it may be off relative to itself, in ppm in either direction: a limit.
   */
  uint32_t uncertainty_ppm;
} crake_reference;

/**
 * A calibration record, with a check value: the format is docs/calibration-record.md.
 */
typedef struct crake_record {
  /**
   * In any memory that lasts.
   */
  uint8_t bytes[178];
} crake_record;

/**
 * Where the part is, and how it is to be read. All zero but the address is a good choice.
 */
typedef struct crake_options {
  /**
   * 7-bit address of the part: 0x32 to 0x35.
   */
  uint8_t address;
  /**
   * Most bytes that are read in one transfer; 0 for no limit. Blocks are then read in
   * pieces, and stay coherent. Single registers take 6 whatever it is.
   */
  uint8_t read_max;
  /**
   * How often a transfer is tried before an operation gives up; 0 for three times.
   */
  uint8_t attempts;
  /**
   * 1 to leave out the bus's check byte of a sample block, whose own CRC-16 covers it.
   */
  uint8_t block_check_alone;
} crake_options;

/**
 * What one channel has to reach, in either direction; the finest range that does is taken.
 */
typedef struct crake_channel {
  /**
   * At least so many microvolts across the sense resistor: up to 65 535 on Corncrake.
   */
  uint32_t sense_uv;
  /**
   * At least so many microvolts of the rail: up to 65 535 000.
   */
  uint32_t rail_uv;
  /**
   * 1 to convert the channel, 0 to leave it out.
   */
  uint8_t enabled;
} crake_channel;

/**
 * What to convert, and how often.
 */
typedef struct crake_config {
  /**
   * From channel 0 up.
   */
  struct crake_channel channels[CRAKE_RAILS];
  /**
   * In continuous mode at least so many scans a second; 2000, 500, 100, 10 and 1 can be.
   */
  uint32_t scans_per_second;
  /**
   * A `crake_mode`.
   */
  uint8_t mode;
  /**
   * k: readings are means of 2^k scans, k from 0 to 10. Running sums take every scan
   * regardless.
   */
  uint8_t averaging_log2;
} crake_config;

/**
 * What has to be kept across a restart of the firmware.
 */
typedef struct crake_token {
  /**
   * The part's count of accepted writes.
   */
  uint32_t writes;
  /**
   * The monitor's number of the configuration.
   */
  uint32_t configuration;
} crake_token;

/**
 * How far a reading may lie from the truth, either way.
 */
typedef struct crake_reading_bound {
  /**
   * Of the voltage, in nanovolts.
   */
  int64_t voltage_nv;
  /**
   * Of the current, in nanoamperes.
   */
  int64_t current_na;
  /**
   * Of the power, in nanowatts.
   */
  int64_t power_nw;
} crake_reading_bound;

/**
 * Figures of the codes of a fast capture; all 0 without codes. Times are as right as the
 * part's oscillator, 1.5 %.
 */
typedef struct crake_statistics {
  /**
   * Mean × duration, in nanocoulombs.
   */
  int64_t charge_nc;
  /**
   * Least current of a conversion, in nanoamperes.
   */
  int64_t least_na;
  /**
   * Greatest current of a conversion.
   */
  int64_t greatest_na;
  /**
   * Mean current.
   */
  int64_t mean_na;
  /**
   * Standard deviation of these conversions as a whole.
   */
  int64_t deviation_na;
  /**
   * Root of the mean square.
   */
  int64_t rms_na;
  /**
   * How long the conversions took, in nanoseconds.
   */
  uint64_t duration_ns;
  /**
   * Number of conversions.
   */
  uint32_t count;
  /**
   * 1 if one lies at an end of the range, where it may have been cut.
   */
  uint8_t clipped;
} crake_statistics;

/**
 * Charge or energy of one rail: the truth lies within `value` ± `bound`.
 */
typedef struct crake_total {
  /**
   * What flowed, less what flowed back, by the host's clock: microcoulombs or microjoules,
   * up to ±9.2e18 of them (290 kW for a year).
   */
  int64_t value;
  /**
   * How far it may lie from the truth; `INT64_MAX` where nothing is known.
   */
  int64_t bound;
  /**
   * What it says of the truth after a conversion went over range.
   */
  crake_saturation saturation;
  /**
   * 1 if a load is declared, so that the bound covers what it does between conversions; 0:
   * it covers the instrument alone.
   */
  uint8_t covers_load;
} crake_total;

/**
 * Time that was not counted, as a bracket, in true microseconds.
 */
typedef struct crake_gap {
  /**
   * At least this long.
   */
  uint64_t least_us;
  /**
   * At most this long; `UINT64_MAX` where nobody knows.
   */
  uint64_t greatest_us;
} crake_gap;

/**
 * How totals stand.
 */
typedef struct crake_totals_status {
  /**
   * The time that was counted, in microseconds of the host's clock.
   */
  uint64_t counted_us;
  /**
   * The same by the part's clock, nominal: the ratio of the two is that of the clocks.
   */
  uint64_t part_clock_us;
  /**
   * The latest safe moment for the next sample on the host's clock: its `after_us` must not
   * lie beyond. `UINT64_MAX` while nothing counts.
   */
  uint64_t next_sample_by_us;
  /**
   * Time that was not counted, from the first sample to the last.
   */
  struct crake_gap gap;
  /**
   * Number of discontinuities.
   */
  uint32_t epoch;
} crake_totals_status;

/**
 * What was saved of totals.
 */
typedef struct crake_checkpoint {
  /**
   * In any memory that outlives a restart of the firmware.
   */
  uint8_t bytes[468];
} crake_checkpoint;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/**
 * Makes limits of a list of `count`, which is not needed afterwards; `memory` has room for as
 * many, and stays with the limits. What cannot be is found when they are set.
 *
 * `rollover_outputs` are told when a running sum of the part comes near its end; nothing is
 * masked on `wired_outputs`, which are wired to hardware. `BAD_ARGUMENT` with the place in the
 * list as `got` for a kind or an output that there is not.
 */
crake_code crake_limits_init(struct crake_limits *limits,
                             struct crake_limit_memory *memory,
                             const struct crake_limit *list,
                             size_t count,
                             uint8_t rollover_outputs,
                             uint8_t wired_outputs,
                             struct crake_error *error);

/**
 * What a limit's code stands for under the configuration in force: the limit moved to the code
 * on the safe side. `kind` is a `crake_kind`. `NOTHING` where the channel is not enabled or
 * the limit beyond full scale.
 */
crake_code crake_limit_in_force(struct crake_monitor *monitor,
                                uint8_t channel,
                                uint8_t kind,
                                int64_t limit,
                                int64_t *in_force,
                                struct crake_error *error);

/**
 * Makes an empty queue. While a flag is masked a sample is due every `interval_us`; 0 for once
 * a second.
 */
crake_code crake_queue_init(struct crake_alert_queue *queue,
                            uint32_t interval_us,
                            struct crake_error *error);

/**
 * Puts limits in place of those before; flags that stood in the part become events. Scans and
 * samples go on meanwhile. 23 transfers, and two for each limit.
 *
 * A limit that cannot be is refused before a byte is sent, and those before stand. After a
 * failure on the bus alerts are not armed: set limits again.
 */
crake_code crake_queue_set_limits(struct crake_alert_queue *queue,
                                  struct crake_monitor *monitor,
                                  const struct crake_limits *limits,
                                  struct crake_error *error);

/**
 * Looks at the flags, clears exactly those that it saw, takes a sample, makes events of what
 * was noted, and settles what a condition that lasts, or is over, asks for. Call it while an
 * output that is listened to is active (its level, not its edge), and when `next_in_us` says
 * so. `totals` and `sample` may be null.
 *
 * `NOT_ARMED` until limits were set. What was noted before a failure stays so, and the next
 * service goes on with it; totals have the sample, if one was taken. `RESET` has become an
 * event, and leaves the monitor not configured.
 */
crake_code crake_queue_service(struct crake_alert_queue *queue,
                               struct crake_monitor *monitor,
                               struct crake_totals *totals,
                               struct crake_sample *sample,
                               struct crake_error *error);

/**
 * The first piece of a service that is split, so that a watchdog or others on the bus are met:
 * looks at the flags once, notes and clears them. `found` are those that it found. Then
 * `crake_take_sample` with the queue, and `crake_queue_settle`; the bus is free between any
 * two.
 */
crake_code crake_queue_read_alerts(struct crake_alert_queue *queue,
                                   struct crake_monitor *monitor,
                                   uint64_t *found,
                                   struct crake_error *error);

/**
 * The last piece: clears what conditions had set until a sample showed them over, and masks or
 * unmasks flags. Touches the bus only where there is something to do.
 */
crake_code crake_queue_settle(struct crake_alert_queue *queue,
                              struct crake_monitor *monitor,
                              struct crake_error *error);

/**
 * Takes the oldest event out of the queue; `NOTHING` if there is none.
 */
crake_code crake_queue_next_event(struct crake_alert_queue *queue,
                                  struct crake_event *event,
                                  struct crake_error *error);

/**
 * How the queue stands; `lost` is forgotten with it.
 */
crake_code crake_queue_get_status(struct crake_alert_queue *queue,
                                  struct crake_queue_status *status,
                                  struct crake_error *error);

/**
 * Proves the way of both outputs to the host: lets the end of each scan reach one output, then
 * the other, looks at the lines, and puts the masks back. `is_low` gets `context` and the
 * output (1 A, 2 B), and gives 0 for high. Limits stand all the while, three scans and a half;
 * only no output tells of them. The part has to run at a scan rate.
 *
 * An output that is wired to hardware drives it. Prove the path before trusting it, and never
 * let a monitor be the only protection. After a failure the next service puts the masks back.
 */
crake_code crake_queue_proof_test(struct crake_alert_queue *queue,
                                  struct crake_monitor *monitor,
                                  int32_t (*is_low)(void *context, uint8_t output),
                                  void *context,
                                  struct crake_proof *proof,
                                  struct crake_error *error);

/**
 * Asks which part pulls a shared alert line: the SMBus alert response, a read of two bytes
 * with the `read` of `host`. The part at `address` has answered and let go of the line, and
 * its flags are still set: serve it before asking again, until nobody answers or the line is
 * high.
 *
 * `NOTHING`: nobody answered, which `read` says by `CRAKE_NO_ACKNOWLEDGE`. `CHECK_BYTE`,
 * `BUS`: a part may have answered and let go: serve every part on the line.
 */
crake_code crake_alert_response(const struct crake_host *host,
                                uint8_t *address,
                                struct crake_error *error);

/**
 * Makes a board of its description, which is not needed afterwards.
 *
 * `BAD_ARGUMENT` with `channel` for a value out of range, `SENSE_RESISTOR` for a resistor that
 * the part cannot be used with.
 */
crake_code crake_board_init(struct crake_board *board,
                            const struct crake_description *description,
                            struct crake_error *error);

/**
 * Makes another board of `board`, with corrections of its rails: `CRAKE_RAILS` of them, of
 * which a zeroed one is none. Go on with `crake_monitor_set_board`, and for totals with
 * margins of the new board and `crake_totals_set_margins`.
 *
 * A rail is corrected once: a second time, and for a correction out of all proportion, it is
 * refused as `SENSE_RESISTOR`.
 */
crake_code crake_board_correct(struct crake_board *corrected,
                               const struct crake_board *board,
                               const struct crake_correction *corrections,
                               struct crake_error *error);

/**
 * Works out what datasheet, board and corrections leave open of totals on a board.
 */
crake_code crake_margins_init(struct crake_margins *margins,
                              const struct crake_board *board,
                              struct crake_error *error);

/**
 * Makes an empty collection of scans of one channel of a board that is not corrected: what a
 * calibration is made from.
 */
crake_code crake_collection_init(struct crake_collection *collection,
                                 const struct crake_board *board,
                                 uint8_t channel,
                                 struct crake_error *error);

/**
 * Adds the scans up to the monitor's last sample, in continuous mode, best at the greatest
 * scan rate, with range and load as they shall be measured: call it after each sample until
 * `enough` is 1. The first one only says where counting begins.
 *
 * `NOT_COMPLETE`, `NOT_COUNTING`, `RECONFIGURED`, `CLIPPED`, `TOO_FAR_APART`: the collection
 * is then empty, and the next sample begins anew.
 */
crake_code crake_collection_add(struct crake_collection *collection,
                                struct crake_monitor *monitor,
                                uint8_t *enough,
                                struct crake_error *error);

/**
 * Offset of a rail, from scans with the load disconnected. It holds in every sense range.
 *
 * `TOO_FEW`, `UNSTEADY`, `IMPLAUSIBLE_OFFSET`.
 */
crake_code crake_calibrate_offset(struct crake_collection *no_load,
                                  struct crake_correction *correction,
                                  struct crake_error *error);

/**
 * Gain of a rail from one reference current, after its offset `so_far`, which is kept. It
 * belongs to the sense range in force.
 *
 * `NO_OFFSET`, `REFERENCE_TOO_SMALL`, `REFERENCE_TOO_GREAT`, `TOO_FEW`, `UNSTEADY`,
 * `IMPLAUSIBLE_GAIN`.
 */
crake_code crake_calibrate_gain(const struct crake_correction *so_far,
                                struct crake_collection *collection,
                                const struct crake_reference *reference,
                                struct crake_correction *correction,
                                struct crake_error *error);

/**
 * Offset and gain of a rail from two reference currents, the further apart the better.
 *
 * As `crake_calibrate_gain` but `NO_OFFSET`; besides `DIFFERENT_INPUTS`, `IMPLAUSIBLE_OFFSET`.
 */
crake_code crake_calibrate_line(struct crake_collection *one,
                                const struct crake_reference *reference,
                                struct crake_collection *other,
                                const struct crake_reference *other_reference,
                                struct crake_correction *correction,
                                struct crake_error *error);

/**
 * Makes a record of the corrections of a board, its serial number and its temperature in
 * thousandths of a degree Celsius. `BYTES_FIELD` for what the format cannot hold.
 */
crake_code crake_record_write(const struct crake_board *board,
                              int32_t millicelsius,
                              struct crake_record *record,
                              struct crake_error *error);

/**
 * Makes another board of `board`, corrected as a record says that was written for it; go on as
 * after `crake_board_correct`. `millicelsius`, which may be null: how warm it was.
 *
 * `BYTES_MARK`, `BYTES_VERSION`, `BYTES_CHECK`, `BYTES_FIELD`, then `BYTES_OF_ANOTHER_BOARD`
 * and `SENSE_RESISTOR`.
 */
crake_code crake_record_apply(struct crake_board *corrected,
                              const struct crake_board *board,
                              const struct crake_record *record,
                              int32_t *millicelsius,
                              struct crake_error *error);

/**
 * Makes a monitor of the part at an address, on a board. Touches nothing yet: go on with
 * `crake_init` or `crake_resume`.
 */
crake_code crake_monitor_init(struct crake_monitor *monitor,
                              const struct crake_board *board,
                              const struct crake_host *host,
                              const struct crake_options *options,
                              struct crake_error *error);

/**
 * Sets the part up from whatever state it is in, and starts it. Limits have to be set again; a
 * token that was kept has to be thrown away before. 15 transfers.
 *
 * A configuration that cannot be is refused before a byte is sent. After another failure the
 * part may be half configured: this starts over.
 */
crake_code crake_init(struct crake_monitor *monitor,
                      const struct crake_config *config,
                      struct crake_error *error);

/**
 * Changes the configuration: stops the part, writes, reads back, starts. Totals see a gap from
 * the last sample before to the first one after; limits have to be set again. Where alerts are
 * used, `queue`, which may be null, notes the flags that stand. Fails as `crake_init`.
 */
crake_code crake_configure(struct crake_monitor *monitor,
                           const struct crake_config *config,
                           struct crake_alert_queue *queue,
                           struct crake_error *error);

/**
 * Goes on with a part that ran while the firmware did not, and takes a sample. Limits have to
 * be set again before alerts are read.
 *
 * `IDENTITY`, `RESET` or `CHANGED`: the part is as it was, and `crake_init` is what remains.
 */
crake_code crake_resume(struct crake_monitor *monitor,
                        const struct crake_config *config,
                        const struct crake_token *token,
                        struct crake_totals *totals,
                        struct crake_sample *sample,
                        struct crake_error *error);

/**
 * Gives what has to be kept across a restart of the firmware. Each configuration, setting of
 * limits and service that masks or unmasks a flag makes another one: keep it anew after these,
 * best together with the totals.
 */
crake_code crake_get_token(struct crake_monitor *monitor,
                           struct crake_token *token,
                           struct crake_error *error);

/**
 * Latches all channels and reads them: two transfers, and the wait of one scan in between.
 * `queue`, `totals` and `sample` may be null. With a queue it is the second piece of a service
 * that is split, and what was noted becomes events.
 *
 * After a failure of the bus or of a check value nothing is lost, and the next sample has it.
 * `RESET` and `CHANGED` leave the monitor not configured.
 */
crake_code crake_take_sample(struct crake_monitor *monitor,
                             struct crake_alert_queue *queue,
                             struct crake_totals *totals,
                             struct crake_sample *sample,
                             struct crake_error *error);

/**
 * How far the last sample's reading of a channel may lie from the truth; of one that went over
 * range the bound belongs to the limit that is known. Or why there is no reading.
 */
crake_code crake_get_bound(struct crake_monitor *monitor,
                           uint8_t channel,
                           struct crake_reading_bound *bound,
                           struct crake_error *error);

/**
 * The longest that a call can take under a configuration on a bus of `bus_hz`, waits and
 * repeats included, in microseconds; the host's own work comes on top. It touches no bus.
 *
 * `operation` is a `crake_operation`. `limits` are looked at for `SET_LIMITS` alone; `codes`
 * are overwritten, and tell how many `FETCH_CAPTURE` is to fetch. `REFUSED` for a call that
 * would be.
 */
crake_code crake_worst_case_us(struct crake_monitor *monitor,
                               const struct crake_config *config,
                               uint8_t operation,
                               struct crake_limits *limits,
                               int32_t *codes,
                               size_t count,
                               uint32_t bus_hz,
                               uint64_t *longest_us,
                               struct crake_error *error);

/**
 * Converts by another board from now on, while the part runs; the last sample is gone. Totals
 * need `crake_totals_set_margins` before the next one, and limits are to be set again.
 */
crake_code crake_monitor_set_board(struct crake_monitor *monitor,
                                   const struct crake_board *board,
                                   struct crake_error *error);

/**
 * Declares the part's supply on, or off with 0. Off, no operation touches the bus; on again,
 * the part is not configured. Tell totals by `crake_totals_unpowered`.
 */
crake_code crake_set_powered(struct crake_monitor *monitor,
                             uint8_t powered,
                             struct crake_error *error);

/**
 * Starts a fast capture of an enabled channel: sense alone, 16 000 times a second, 1024 times.
 *
 * The part stops sampling until it is configured again, which totals see as a gap; limits have
 * to be set again then. `REFUSED` if the channel is not enabled; after a failure on the way
 * `crake_init` starts over.
 */
crake_code crake_start_capture(struct crake_monitor *monitor,
                               uint8_t channel,
                               struct crake_error *error);

/**
 * Waits for the end of the capture and fetches `count` codes from number `first` on, oldest
 * first, of which there are `CRAKE_CAPTURE_MAX` in all. Fetching takes nothing away.
 * `currents_na` and `statistics`, which may be null: the current of each code in nanoamperes,
 * and figures of all.
 *
 * `NOT_CONFIGURED` without a capture. `BUSY`: it did not end in time. `RESET`, `CHANGED`: the
 * codes are gone.
 */
crake_code crake_fetch_capture(struct crake_monitor *monitor,
                               uint16_t first,
                               int32_t *codes,
                               int64_t *currents_na,
                               size_t count,
                               struct crake_statistics *statistics,
                               struct crake_error *error);

/**
 * Makes empty totals, on the board of these margins. Give them to every call that takes a
 * sample; one may be left out.
 */
crake_code crake_totals_init(struct crake_totals *totals,
                             const struct crake_margins *margins,
                             struct crake_error *error);

/**
 * Charge of a rail so far, from source to load.
 */
crake_code crake_totals_charge(struct crake_totals *totals,
                               uint8_t channel,
                               struct crake_total *charge,
                               struct crake_error *error);

/**
 * Energy of a rail so far, into the load; the sense resistor's own loss is not in it.
 */
crake_code crake_totals_energy(struct crake_totals *totals,
                               uint8_t channel,
                               struct crake_total *energy,
                               struct crake_error *error);

/**
 * Times, gap and epoch.
 */
crake_code crake_totals_get_status(struct crake_totals *totals,
                                   struct crake_totals_status *status,
                                   struct crake_error *error);

/**
 * Counts by the margins of another board from now on, as after a calibration: what comes after
 * the last sample is counted by it, and has its bound. It is no discontinuity.
 */
crake_code crake_totals_set_margins(struct crake_totals *totals,
                                    const struct crake_margins *margins,
                                    struct crake_error *error);

/**
 * Declares that nothing is counted until the next sample, because the part has no supply or is
 * left alone on purpose. It counts as a discontinuity.
 */
crake_code crake_totals_unpowered(struct crake_totals *totals, struct crake_error *error);

/**
 * Gives everything, and what `crake_get_token` gives now, as it is to be kept. Save after the
 * sample that totals were given, and again after whatever changes the token.
 */
crake_code crake_totals_save(struct crake_totals *totals,
                             const struct crake_token *token,
                             struct crake_checkpoint *saved,
                             struct crake_error *error);

/**
 * Takes what was saved into totals that were initialised on the same board, and gives the
 * token for `crake_resume`. Whatever is wrong with the bytes, the totals are as they were.
 *
 * Where the monitor resumes with it, totals go on with the next sample. Where the part has to
 * be initialised, that is a discontinuity, and the time since the last sample a gap.
 */
crake_code crake_totals_load(struct crake_totals *totals,
                             const struct crake_checkpoint *saved,
                             struct crake_token *token,
                             struct crake_error *error);

/**
 * Declares that the host's clock began anew, or jumped, since the last sample: it shows
 * `now_us`.
 *
 * `since` is how long ago the last sample was, from something that went on: no epoch ends, and
 * bounds take in how uncertain it is. Where it is null, the stretch ends with the last sample,
 * and the gap is open-ended.
 */
crake_code crake_totals_clock_restarted(struct crake_totals *totals,
                                        uint64_t now_us,
                                        const struct crake_gap *since,
                                        struct crake_error *error);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* CRAKE_H */
