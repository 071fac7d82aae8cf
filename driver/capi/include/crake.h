#ifndef CRAKE_H
#define CRAKE_H

/* Generated from driver/capi/src by .ci/c-callers --write. Do not edit. */

#include <stddef.h>
#include <stdint.h>
#if defined(__GNUC__) && !defined(CRAKE_ALIGNED)
#define CRAKE_ALIGNED(n) __attribute__((aligned(n)))
#endif


/**
 * Rails of a board, channels of the part.
 */
#define CRAKE_RAILS 4

/**
 * Conversions of a whole burst.
 */
#define CRAKE_BURST_CODES 1024

/**
 * Length of a checkpoint in bytes.
 */
#define CRAKE_CHECKPOINT_LEN 925

/**
 * Status of a bus callback: nobody acknowledged the address.
 */
#define CRAKE_NO_ACKNOWLEDGE 2147483647

/**
 * Words of 8 bytes in a `crake_board`.
 */
#define CRAKE_BOARD_WORDS 96

/**
 * Words of 8 bytes in a `crake_monitor`.
 */
#define CRAKE_MONITOR_WORDS 37

/**
 * Words of 8 bytes in a `crake_ledger`.
 */
#define CRAKE_LEDGER_WORDS 136

/**
 * Words of 8 bytes in a `crake_watches`.
 */
#define CRAKE_WATCHES_WORDS 83

/**
 * Words of 8 bytes in a `crake_station`.
 */
#define CRAKE_STATION_WORDS 87

/**
 * Greatest number of watches in a list: one of each kind on each channel.
 */
#define CRAKE_WATCHES_MAX 20

/**
 * What became of a call; 0 is success. Also says why a channel has no reading.
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
   * There is none: no event is queued, no deadline runs, nothing was asked for. Not an error.
   */
  CRAKE_CODE_NOTHING = 1,
  /**
   * A pointer is null or not aligned; `argument` says which, counted from 1. Nothing was done.
   */
  CRAKE_CODE_BAD_POINTER = 10,
  /**
   * A value lies outside its list or range; `argument` says which, counted from 1. Nothing was done.
   */
  CRAKE_CODE_BAD_ARGUMENT = 11,
  /**
   * An object was not initialised, or its memory was not zeroed before; `argument` says which. Nothing was done.
   */
  CRAKE_CODE_NOT_READY = 12,
  /**
   * An object is in use by a call that has not returned: called from a callback or an interrupt. Nothing was done.
   */
  CRAKE_CODE_BUSY = 13,
  /**
   * The memory holds an object already: zero it to use it again. Nothing was done.
   */
  CRAKE_CODE_IN_USE = 14,
  /**
   * The result does not fit; the end of the range was given in its place.
   */
  CRAKE_CODE_OUT_OF_RANGE = 15,
  /**
   * A callback said that the bus failed, as often as it was tried; `bus_status` is what it returned.
   */
  CRAKE_CODE_BUS = 20,
  /**
   * The check byte of a read was wrong, as often as it was tried: `expected`, `got`.
   */
  CRAKE_CODE_CHECK_BYTE = 21,
  /**
   * The frame block's own check value was wrong, as often as it was read: `expected`, `got`.
   */
  CRAKE_CODE_BLOCK_CHECK = 22,
  /**
   * The latch did not take place in time, the block has an older tag: `expected`, `got`.
   */
  CRAKE_CODE_STALE = 23,
  /**
   * Another part answers: `expected`, `got`.
   */
  CRAKE_CODE_IDENTITY = 24,
  /**
   * A register did not read back as written: `expected` was written, `got` was read.
   */
  CRAKE_CODE_READ_BACK = 25,
  /**
   * Somebody else wrote to the part's set-up; serials `expected`, `got`.
   */
  CRAKE_CODE_SET_UP_CHANGED = 26,
  /**
   * The part was reset since it was set up: initialise it.
   */
  CRAKE_CODE_RESET_SEEN = 27,
  /**
   * A mistake in the driver's map of the part.
   */
  CRAKE_CODE_NO_ROOM = 28,
  /**
   * There is no such channel or rail: `channel`.
   */
  CRAKE_CODE_NO_SUCH_CHANNEL = 40,
  /**
   * No channel is enabled.
   */
  CRAKE_CODE_NO_CHANNEL = 41,
  /**
   * No such sense range: `channel`.
   */
  CRAKE_CODE_NO_SUCH_SENSE_RANGE = 42,
  /**
   * No such bus range: `channel`.
   */
  CRAKE_CODE_NO_SUCH_BUS_RANGE = 43,
  /**
   * No such pace.
   */
  CRAKE_CODE_NO_SUCH_PACE = 44,
  /**
   * Means of 2^`got` rounds were asked for, the part goes to 2^`expected`.
   */
  CRAKE_CODE_NO_SUCH_AVERAGING = 45,
  /**
   * A burst on a channel that is not enabled: `channel`.
   */
  CRAKE_CODE_BURST_ON_DISABLED = 46,
  /**
   * The part's supply is declared off.
   */
  CRAKE_CODE_UNPOWERED = 47,
  /**
   * A limit on a channel that is not enabled: `channel`.
   */
  CRAKE_CODE_WATCHED_BUT_NOT_ENABLED = 48,
  /**
   * Two limits of one kind on one channel: `channel`, `kind`.
   */
  CRAKE_CODE_WATCHED_TWICE = 49,
  /**
   * A limit that no reading can pass, or that every reading passes: `channel`, `kind`.
   */
  CRAKE_CODE_LIMIT_BEYOND_FULL_SCALE = 50,
  /**
   * An over-limit below the under-limit: `channel`, `kind`.
   */
  CRAKE_CODE_LIMITS_CROSSED = 51,
  /**
   * A limit that reaches no output, though it was not declared silent: `channel`, `kind`.
   */
  CRAKE_CODE_REACHES_NO_OUTPUT = 52,
  /**
   * A debounce of none, or of more than 15: `channel`, `kind`, `got`.
   */
  CRAKE_CODE_NO_SUCH_DEBOUNCE = 53,
  /**
   * Ranges were to change under limits in force: arm both together. `channel`.
   */
  CRAKE_CODE_LIMITS_IN_FORCE = 54,
  /**
   * More rails than the part has channels.
   */
  CRAKE_CODE_TOO_MANY_RAILS = 60,
  /**
   * A sense resistor below 100 µΩ or above 10 Ω: `channel`.
   */
  CRAKE_CODE_RESISTANCE = 61,
  /**
   * A correction out of all proportion: `channel`.
   */
  CRAKE_CODE_CORRECTION = 62,
  /**
   * No reading: the channel was not enabled.
   */
  CRAKE_CODE_NOT_ENABLED = 70,
  /**
   * No reading: no mean was finished yet with this set-up.
   */
  CRAKE_CODE_NOT_COMPLETE = 71,
  /**
   * A conversion went over range: what is given is a limit, not a value; the sides say on which side the truth lies.
   */
  CRAKE_CODE_CLIPPED = 72,
  /**
   * No reading: the part was reset or has no supply.
   */
  CRAKE_CODE_NOT_RUNNING = 73,
  /**
   * The bytes are not as many as a checkpoint has: `expected`, `got`. Nothing was written, or nothing read.
   */
  CRAKE_CODE_CHECKPOINT_LENGTH = 80,
  /**
   * No checkpoint, or one of a version that this library does not know: `got`.
   */
  CRAKE_CODE_CHECKPOINT_VERSION = 81,
  /**
   * The check value of a checkpoint is wrong: torn, or worn out.
   */
  CRAKE_CODE_CHECKPOINT_CORRUPT = 82,
  /**
   * The checkpoint belongs to something else: another part, number of rails, or board (whose serial number or number of corrections is `got`).
   */
  CRAKE_CODE_CHECKPOINT_OF_ANOTHER = 83,
  /**
   * Something that this interface does not know yet.
   */
  CRAKE_CODE_OTHER = 99,
};
#ifndef __cplusplus
#if __STDC_VERSION__ >= 202311L
typedef enum crake_code crake_code;
#else
typedef int32_t crake_code;
#endif // __STDC_VERSION__ >= 202311L
#endif // __cplusplus

/**
 * Memory of a board. Zero it, then `crake_board_init`. It must stay where it is, unchanged, as long as a monitor or ledger uses it.
 */
typedef struct crake_board {
  uint64_t words[CRAKE_BOARD_WORDS];
} crake_board;

/**
 * What the engineer knows of one rail: the bound of every total leans on it.
 */
typedef struct crake_rail {
  /**
   * Nominal resistance of the sense resistor, 100 µΩ to 10 Ω, in nanoohms.
   */
  uint64_t resistance_nohm;
  /**
   * Greatest current in either direction, in nanoamperes, 0 or more.
   */
  int64_t greatest_na;
  /**
   * Greatest jump of the load, up or down, in nanoamperes, 0 or more.
   */
  int64_t edge_step_na;
  /**
   * Greatest mean of the current's magnitude over `mean_over_s`, in nanoamperes, 0 or more; without meaning where `mean_over_s` is 0.
   */
  int64_t mean_na;
  /**
   * Least bus voltage in nanovolts.
   */
  int64_t voltage_least_nv;
  /**
   * Greatest bus voltage in nanovolts; 0 where the span is not known, which takes the whole range.
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
   * How far the board gets from the temperature of the nominal resistance, in thousandths of a kelvin.
   */
  uint32_t temperature_span_mk;
  /**
   * Thermal resistance of the sense resistor to its surroundings, thousandths of a kelvin per watt.
   */
  uint32_t heating_mk_per_w;
  /**
   * Greatest number of jumps of the load (up or down each count) in 1000 seconds.
   */
  uint32_t edges_per_1000_s;
  /**
   * Shortest stretch in seconds over which `mean_na` holds; 0 where no mean is declared.
   */
  uint32_t mean_over_s;
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
   * One rail per channel. All four must be described; a channel that is not used takes any resistor.
   */
  struct crake_rail rails[CRAKE_RAILS];
  /**
   * Serial number.
   */
  uint32_t serial;
  /**
   * Greatest error of the host clock's rate in either direction, in ppm.
   */
  uint32_t clock_ppm;
} crake_description;

/**
 * What was asked, of whom, and what came. Fields that do not belong to the code are 0.
 */
typedef struct crake_error {
  /**
   * As returned by the call.
   */
  crake_code code;
  /**
   * What the callback returned, where the bus failed.
   */
  int32_t bus_status;
  /**
   * What should have come.
   */
  uint32_t expected;
  /**
   * What came.
   */
  uint32_t got;
  /**
   * What was asked: 0 nothing of the bus, 1 init, 2 attach, 3 latch, 4 configure, 5 arm, 7 fetch, 8 look, 255 another. (A service, 6, fails in a look or in its latch.)
   */
  uint8_t task;
  /**
   * 7-bit address of the part that was asked.
   */
  uint8_t address;
  /**
   * Register that was asked for last.
   */
  uint8_t pointer;
  /**
   * Which argument of the call, counted from 1.
   */
  uint8_t argument;
  /**
   * Which channel.
   */
  uint8_t channel;
  /**
   * Which kind of limit: 0 over-voltage, 1 under-voltage, 2 over-current, 3 under-current, 4 over-power.
   */
  uint8_t kind;
  /**
   * 1 if the same call may simply be made again. No call loses counts by being repeated.
   */
  uint8_t worth_repeating;
} crake_error;

/**
 * Memory of a monitor. Zero it, then `crake_monitor_init`. It must not be moved or copied.
 */
typedef struct crake_monitor {
  uint64_t words[CRAKE_MONITOR_WORDS];
} crake_monitor;

/**
 * A signed number of 128 bits in two limbs: `high` × 2^64 + `low`.
 *
 * Totals are that wide because 10 nJ kept over 10 kW for 10 years takes 68 bits and a sign. While a total lies within ±9.2 GJ or ±9.2 GC, `high` is 0 or -1 and
 * `(int64_t)low` is the number.
 */
typedef struct crake_wide {
  /**
   * Upper 64 bits, with the sign.
   */
  int64_t high;
  /**
   * Lower 64 bits.
   */
  uint64_t low;
} crake_wide;

/**
 * What a burst comes to. Times are the part's own: as far off as its oscillator, 1.5 % at the most.
 */
typedef struct crake_statistics {
  /**
   * Sum of current × conversion time, in nanocoulombs, rounded towards zero.
   */
  struct crake_wide charge_nc;
  /**
   * Least current of a conversion, in nanoamperes.
   */
  int64_t least_na;
  /**
   * Greatest current of a conversion.
   */
  int64_t greatest_na;
  /**
   * Mean, rounded towards zero.
   */
  int64_t mean_na;
  /**
   * Root of the mean square, rounded down.
   */
  int64_t rms_na;
  /**
   * Nanoseconds for which conversions were above the level.
   */
  uint64_t above_ns;
  /**
   * Length of the burst in nanoseconds.
   */
  uint64_t duration_ns;
  /**
   * Number of conversions.
   */
  uint32_t count;
} crake_statistics;

/**
 * Memory of a ledger. Zero it, then `crake_ledger_init`. It must not be moved or copied.
 */
typedef struct CRAKE_ALIGNED(16) crake_ledger {
  uint64_t words[CRAKE_LEDGER_WORDS];
} crake_ledger;

/**
 * Time that is accounted for on no rail, as a bracket.
 */
typedef struct crake_gap {
  /**
   * At least this long, in microseconds.
   */
  uint64_t least_us;
  /**
   * At most this long.
   */
  uint64_t greatest_us;
} crake_gap;

/**
 * How far a total may be from the truth, by named parts; the truth lies within ± `total`. In nanojoules or nanocoulombs.
 */
typedef struct crake_bound {
  /**
   * Sum of the parts.
   */
  struct crake_wide total;
  /**
   * Gain error of the part, or of the calibration.
   */
  struct crake_wide gain;
  /**
   * Offset error and input bias.
   */
  struct crake_wide offset;
  /**
   * Noise and rounding, averaged over the rounds.
   */
  struct crake_wide noise;
  /**
   * Tolerance of the sense resistor.
   */
  struct crake_wide shunt;
  /**
   * Temperature of the sense resistor.
   */
  struct crake_wide thermal;
  /**
   * Clocks, and the ends of each segment.
   */
  struct crake_wide clock;
  /**
   * What the load does between conversions, as declared.
   */
  struct crake_wide load;
} crake_bound;

/**
 * Totals of one rail.
 */
typedef struct crake_account {
  /**
   * Energy into the load by the host's clock, in nanojoules.
   */
  struct crake_wide energy_nj;
  /**
   * Charge from source to load by the host's clock, in nanocoulombs.
   */
  struct crake_wide charge_nc;
  /**
   * Energy by the part's own clock, in nanojoules.
   */
  struct crake_wide part_energy_nj;
  /**
   * Charge by the part's own clock, in nanocoulombs.
   */
  struct crake_wide part_charge_nc;
  /**
   * Bound of `energy_nj`.
   */
  struct crake_bound energy_bound;
  /**
   * Bound of `charge_nc`.
   */
  struct crake_bound charge_bound;
  /**
   * How long the rail was accounted for, in microseconds of the host's clock.
   */
  uint64_t duration_us;
  /**
   * What `energy_nj` says of the truth: 0 near it, within the bound; 1 the truth is at least that, less the bound; 2 it may lie beyond on either side.
   */
  uint8_t energy_side;
  /**
   * The same of `charge_nc`.
   */
  uint8_t charge_side;
} crake_account;

/**
 * Totals of one rail without bounds.
 */
typedef struct crake_total {
  /**
   * Energy into the load by the host's clock, in nanojoules.
   */
  struct crake_wide energy_nj;
  /**
   * Charge from source to load by the host's clock, in nanocoulombs.
   */
  struct crake_wide charge_nc;
  /**
   * How long the rail was accounted for, in microseconds of the host's clock.
   */
  uint64_t duration_us;
  /**
   * As in `crake_account`, without the bound.
   */
  uint8_t energy_side;
  /**
   * The same of `charge_nc`.
   */
  uint8_t charge_side;
} crake_total;

/**
 * The caller's bus, delay and clock. Copied on initialisation. Each callback gets `context` and must return; none may call this interface with an object of the call in progress
 * (it would be told `BUSY`).
 */
typedef struct crake_host {
  /**
   * Handed to every callback; may be null.
   */
  void *context;
  /**
   * Writes `count` bytes to the 7-bit `address` in one transfer: START, address, bytes, STOP. Returns 0; `CRAKE_NO_ACKNOWLEDGE` if nobody acknowledged the address, where it can tell; or a
   * status of its own. It comes back as `bus_status`.
   */
  int32_t (*write)(void *context, uint8_t address, const uint8_t *bytes, size_t count);
  /**
   * Writes `count` bytes, then reads `room_count` bytes into `room`, with a repeated START or, where the controller cannot, STOP and START between them. Returns as `write`.
   */
  int32_t (*write_read)(void *context,
                        uint8_t address,
                        const uint8_t *bytes,
                        size_t count,
                        uint8_t *room,
                        size_t room_count);
  /**
   * Reads `room_count` bytes from the 7-bit `address` into `room`, without a write before. For `crake_alert_response` alone; may be null where that is not used.
   */
  int32_t (*read)(void *context, uint8_t address, uint8_t *room, size_t room_count);
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
 * How a monitor is to be used.
 */
typedef struct crake_config {
  /**
   * 7-bit address of the part: 0x32 to 0x35.
   */
  uint8_t address;
  /**
   * Greatest number of bytes that `write_read` reads in one transfer; 0 for no limit. Blocks are then read in pieces, and stay coherent. Single registers take 5 whatever it is.
   */
  uint8_t read_max;
  /**
   * How often a step that may be repeated is repeated after a failure; 2 is a good choice.
   */
  uint8_t repeats;
  /**
   * 1 to work out the bound of every current in every frame, 0 to leave it out.
   */
  uint8_t bounds;
} crake_config;

/**
 * Ranges of one channel.
 */
typedef struct crake_ranges {
  /**
   * 1 to convert the channel, 0 to leave it out.
   */
  uint8_t enabled;
  /**
   * 0: ±65.536 mV in steps of 500 nV; 1: ±26.2144 mV in steps of 200 nV.
   */
  uint8_t sense;
  /**
   * 0: 6.5536 V in steps of 100 µV; 1: 16.384 V in steps of 250 µV; 2: 65.536 V in steps of 1 mV.
   */
  uint8_t bus;
} crake_ranges;

/**
 * A sampling set-up.
 */
typedef struct crake_setup {
  /**
   * Ranges, from channel 0 up.
   */
  struct crake_ranges channels[CRAKE_RAILS];
  /**
   * 0 idle, 1 paced, 2 single-shot, 3 burst: sense of one channel 16 000 times a second, 1024 times, then idle (`crake_fetch`).
   */
  uint8_t mode;
  /**
   * For paced: 0, 1, 2, 3, 4 for 2000, 500, 100, 10, 1 rounds a second.
   */
  uint8_t pace;
  /**
   * k: readings are means of 2^k rounds, k from 0 to 10.
   */
  uint8_t averaging;
  /**
   * For a burst: its channel, which must be enabled.
   */
  uint8_t burst_channel;
} crake_setup;

/**
 * Voltage, current and power of one channel, from one latch.
 */
typedef struct crake_reading {
  /**
   * `OK`, or why there is no reading (all numbers 0). After `CLIPPED` the numbers are limits.
   */
  crake_code code;
  /**
   * What the current says of the truth: 0 near it, within the bound; 1 the truth is at least that, less the bound; 2 it may lie beyond on either side.
   */
  uint8_t current_side;
  /**
   * The same of the voltage.
   */
  uint8_t voltage_side;
  /**
   * Bus voltage at the load's side of the sense resistor, in nanovolts.
   */
  int64_t voltage_nv;
  /**
   * Current in nanoamperes, positive from source to load.
   */
  int64_t current_na;
  /**
   * Power in nanowatts, positive into the load; mean of products.
   */
  int64_t power_nw;
  /**
   * How far `current_na` may lie from the mean of what flowed while it was converted, in nanoamperes; 0 where there is no reading, or bounds were not asked for on initialisation.
   */
  int64_t current_bound_na;
} crake_reading;

/**
 * One coherent latch of all channels, and what became of it in the ledger.
 */
typedef struct crake_frame {
  /**
   * The host's clock right before the latch was asked for, in microseconds.
   */
  uint64_t before_us;
  /**
   * Right after.
   */
  uint64_t after_us;
  /**
   * Readings, from channel 0 up.
   */
  struct crake_reading readings[CRAKE_RAILS];
  /**
   * The part's running count of rounds.
   */
  uint32_t rounds;
  /**
   * Set-up serial of the part.
   */
  uint16_t serial;
  /**
   * 0 steady; 1 boundary: another set-up took over at this very moment; 2 the part was reset; 3 its supply is declared off.
   */
  uint8_t condition;
  /**
   * 1 if the part is known to have run under our set-up alone since the frame before.
   */
  uint8_t unbroken;
  /**
   * What the ledger made of it: 0 no ledger was given; 1 added; 2 added, and the next segment begins here; 3 it begins an account; 4 counts were lost or may have been, an epoch ended,
   * and another begins here; 5 the same, and none begins; 6 idle.
   */
  uint8_t entry;
  /**
   * Why an epoch ended: 0 it did not; 1 reset; 2 no supply; 3 read too late; 4 the set-up changed; 5 the clock began anew; 6 the count of rounds does not fit the clock.
   */
  uint8_t reason;
} crake_frame;

/**
 * Memory of a station. Zero it, then `crake_station_init`. It must not be moved or copied.
 */
typedef struct crake_station {
  uint64_t words[CRAKE_STATION_WORDS];
} crake_station;

/**
 * What a proof test found of each output's way to the host: 0 it works; 1 never low: broken, or stuck high; 2 never high: shorted, or held low by another part; 3 it follows the other output's trips; 4 it follows
 * both outputs' trips, the lines are joined.
 */
typedef struct crake_proof {
  /**
   * Output A.
   */
  uint8_t a;
  /**
   * Output B.
   */
  uint8_t b;
} crake_proof;

/**
 * Memory of a list of watches. Zero it, then `crake_watches_init`. It must stay where it is, unchanged, as long as a station uses it.
 */
typedef struct crake_watches {
  uint64_t words[CRAKE_WATCHES_WORDS];
} crake_watches;

/**
 * Something that the part told.
 */
typedef struct crake_event {
  /**
   * The cause is older than this: when the frame after it was latched, in microseconds on the host's clock.
   */
  uint64_t before_us;
  /**
   * As `after_us` of a frame.
   */
  uint64_t after_us;
  /**
   * The limit in force in nanovolts, nanoamperes or nanowatts: the requested one moved to the code on the safe side.
   */
  int64_t in_force;
  /**
   * The channel's reading in that frame: already back, perhaps. `NOTHING` where no limit is concerned.
   */
  struct crake_reading reading;
  /**
   * 0 a limit was passed; 1 one of the part's running sums comes near its end: latch soon; 2 a round was done; 3 the part was reset.
   */
  uint8_t cause;
  /**
   * Channel of the limit.
   */
  uint8_t channel;
  /**
   * Kind of the limit, as in `crake_watch`.
   */
  uint8_t kind;
  /**
   * 1 if `in_force` is known.
   */
  uint8_t in_force_known;
} crake_event;

/**
 * One limit on one channel, and what is to happen when it is passed.
 */
typedef struct crake_watch {
  /**
   * The limit, in nanovolts, nanoamperes or nanowatts.
   */
  int64_t limit;
  /**
   * Reported again only after the reading was back by this much, in the limit's unit.
   */
  uint64_t hysteresis;
  /**
   * The channel.
   */
  uint8_t channel;
  /**
   * 0 over-voltage, 1 under-voltage, 2 over-current, 3 under-current, 4 over-power.
   */
  uint8_t kind;
  /**
   * Passed after so many consecutive conversions beyond the limit: 1 to 15.
   */
  uint8_t debounce;
  /**
   * 1: the cause is held until it was seen and cleared; 0: it follows the condition.
   */
  uint8_t held;
  /**
   * Outputs it reaches: 1 A, 2 B, 3 both, 0 none, to be found by looking (by `crake_station_service`).
   */
  uint8_t outputs;
} crake_watch;

#ifdef __cplusplus
extern "C" {
#endif // __cplusplus

/**
 * Makes a board of its description, in zeroed memory. The description is not needed afterwards.
 *
 * `BAD_ARGUMENT` with `channel` for a value out of range, `RESISTANCE` for a resistor that the part cannot be used with; the memory is left zeroed.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_board_init(struct crake_board *board,
                            const struct crake_description *description,
                            struct crake_error *error);

/**
 * Fetches the codes of a burst into `codes`, oldest first, as many as fit into `room`, which is zeroed first, and no more than `CRAKE_BURST_CODES`; `count` is their number, 0 if there was no burst since the
 * part's reset. Waits until the burst is over.
 *
 * A burst is begun by `crake_configure` with mode 3, which makes a frame for the ledger; the part is idle afterwards: configure it again to go on. The codes stay in the part until the next burst.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, `codes` to `room` of them.
 */
crake_code crake_fetch(struct crake_monitor *monitor,
                       int32_t *codes,
                       size_t room,
                       size_t *count,
                       struct crake_error *error);

/**
 * Least, greatest, mean and r.m.s. current, charge, and time above `level_na`, of the codes of a burst: on the rail of `channel`, in sense range `sense` (as in `crake_ranges`). All zero without codes.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, `codes` to `count` of them.
 */
crake_code crake_burst_statistics(const struct crake_board *board,
                                  uint8_t channel,
                                  uint8_t sense,
                                  const int32_t *codes,
                                  size_t count,
                                  int64_t level_na,
                                  struct crake_statistics *statistics,
                                  struct crake_error *error);

/**
 * The current of each conversion of a burst, in nanoamperes, oldest first, into `currents_na`, which has room for `count` of them; the rest as for `crake_burst_statistics`.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, `codes` and `currents_na` to `count` of them, not overlapping.
 */
crake_code crake_burst_currents(const struct crake_board *board,
                                uint8_t channel,
                                uint8_t sense,
                                const int32_t *codes,
                                size_t count,
                                int64_t *currents_na,
                                struct crake_error *error);

/**
 * Writes the whole account, and what it takes to join the part again, to `bytes`, of which there are `room`: `CRAKE_CHECKPOINT_LEN` of them are written, for memory that outlives a restart of the firmware.
 *
 * Save right after a call that made a frame for this ledger, with the `serial` that `crake_joint` gives then. After the restart: `crake_ledger_load`, `crake_ledger_clock_restarted` if the clock did
 * not run through, `crake_attach` with that ledger and the serial: the part counted on, and not a round is lost.
 *
 * `CHECKPOINT_LENGTH` if there is too little room.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, `bytes` to `room` of them.
 */
crake_code crake_ledger_save(struct crake_ledger *ledger,
                             uint16_t serial,
                             uint8_t *bytes,
                             size_t room,
                             struct crake_error *error);

/**
 * Makes the ledger that was saved as these `count` bytes, in zeroed memory; `serial` is for `crake_attach`. The board must be described as it was then.
 *
 * Whatever else the bytes are is found out: a single wrong bit always, and so is any burst of up to 16. The memory is left zeroed then; begin with `crake_ledger_init`.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, `bytes` to `count` of them, and `board` stays where it is, as long as the ledger is used.
 */
crake_code crake_ledger_load(struct crake_ledger *ledger,
                             const struct crake_board *board,
                             const uint8_t *bytes,
                             size_t count,
                             uint16_t *serial,
                             struct crake_error *error);

/**
 * Tells a ledger that the host's clock began anew, as after most resets: it reads `now_us`, and since the `before_us` of the last frame given to this ledger so much time passed as `since` brackets; null if
 * nothing is known.
 *
 * With `since` the account goes on, and its bound grows by what is unknown. Without, an epoch that was open ends, and the gap has no upper end. `reason`, which may be null: why an epoch ended, as in
 * `crake_frame`; 0 if it goes on.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_ledger_clock_restarted(struct crake_ledger *ledger,
                                        uint64_t now_us,
                                        const struct crake_gap *since,
                                        uint8_t *reason,
                                        struct crake_error *error);

/**
 * Makes an empty ledger in zeroed memory. Hand it to every call that makes a frame; one that was merely latched, and in which no channel went over range, may be left out.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, and `board` stays where it is, as long as the ledger is used.
 */
crake_code crake_ledger_init(struct crake_ledger *ledger,
                             const struct crake_board *board,
                             struct crake_error *error);

/**
 * Totals of a rail so far.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_ledger_account(struct crake_ledger *ledger,
                                uint8_t channel,
                                struct crake_account *account,
                                struct crake_error *error);

/**
 * The same without bounds: in less time and on less stack.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_ledger_total(struct crake_ledger *ledger,
                              uint8_t channel,
                              struct crake_total *total,
                              struct crake_error *error);

/**
 * The latest safe moment for the next frame, in microseconds on the host's clock: its `after_us` must not lie beyond. `NOTHING` if nothing counts.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_ledger_next_read_by(struct crake_ledger *ledger,
                                     uint64_t *by_us,
                                     struct crake_error *error);

/**
 * Time that is accounted for on no rail.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_ledger_gap(struct crake_ledger *ledger,
                            struct crake_gap *gap,
                            struct crake_error *error);

/**
 * How often counts were lost or may have been.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_ledger_epoch(struct crake_ledger *ledger,
                              uint32_t *epoch,
                              struct crake_error *error);

/**
 * Makes a monitor in zeroed memory: of the part at an address, on a board. Touches nothing yet; go on with `crake_init` or `crake_attach`.
 *
 * `host` and `config` are copied. Every later call waits out its transfers; the longest is `crake_init`, a latch takes two transfers and one round.
 *
 * # Safety
 * Each pointer is null or leads to what its type says; the callbacks may be called with the context as `crake_host` says, and `board` stays where it is, as long as the monitor is used.
 */
crake_code crake_monitor_init(struct crake_monitor *monitor,
                              const struct crake_board *board,
                              const struct crake_host *host,
                              const struct crake_config *config,
                              struct crake_error *error);

/**
 * Sets the part up from whatever state it is in, running sums at zero, and starts it. The frame has no readings yet; `ledger` and `frame` may be null, here and below.
 *
 * What the part cannot do is refused before a byte is sent. After another failure the part may be half set up; this starts over.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_init(struct crake_monitor *monitor,
                      const struct crake_setup *setup,
                      struct crake_ledger *ledger,
                      struct crake_frame *frame,
                      struct crake_error *error);

/**
 * Joins a part that runs already, without disturbing it, and latches. `serial` is what `crake_joint` gave when it was last set up, kept across the firmware's restart.
 *
 * `RESET_SEEN`, `SET_UP_CHANGED`, `IDENTITY`: the part is as it was, and `crake_init` is what remains.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_attach(struct crake_monitor *monitor,
                        uint16_t serial,
                        struct crake_ledger *ledger,
                        struct crake_frame *frame,
                        struct crake_error *error);

/**
 * Latches all channels at the end of the round in progress and reads them. While the supply is declared off no transfer is made, and the frame says so.
 *
 * No count and no over-range flag is lost by a failure; the next frame has them.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_latch(struct crake_monitor *monitor,
                       struct crake_ledger *ledger,
                       struct crake_frame *frame,
                       struct crake_error *error);

/**
 * Takes over another set-up at the end of the round in progress; the frame is of that moment, still described by the old one. Not a round is lost.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_configure(struct crake_monitor *monitor,
                           const struct crake_setup *setup,
                           struct crake_ledger *ledger,
                           struct crake_frame *frame,
                           struct crake_error *error);

/**
 * Gives what has to be kept across a restart of the firmware for `crake_attach`.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_joint(struct crake_monitor *monitor, uint16_t *serial, struct crake_error *error);

/**
 * How long a call can take at the most on a bus of `bus_hz`, its waits and all repeats after failures included, in microseconds. `task` is a number as in `crake_error`; 6 is a whole service.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_longest_us(struct crake_monitor *monitor,
                            uint8_t task,
                            uint32_t bus_hz,
                            uint64_t *longest_us,
                            struct crake_error *error);

/**
 * Declares the part's supply off (0) or on (1). On again, the part is fresh from reset: call `crake_init`.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_declare_powered(struct crake_monitor *monitor,
                                 uint8_t powered,
                                 struct crake_error *error);

/**
 * Proof test of the alert path: trips each output by a limit under any reading, looks at the lines by `is_low`, which gives 0 for high, and puts the station's own watches back.
 *
 * While it runs, some four set-ups and three rounds, nothing else is watched; causes that stood before stay pending. The part must run at a pace. After a failure arm the station.
 *
 * Prove the path before trusting it, and never let a monitor be the only protection.
 *
 * # Safety
 * Each pointer is null or leads to what its type says; the callback may be called with `context`.
 */
crake_code crake_prove(struct crake_monitor *monitor,
                       struct crake_station *station,
                       int32_t (*is_low)(void *context, uint8_t output),
                       void *context,
                       struct crake_proof *proof,
                       struct crake_error *error);

/**
 * Asks which part pulls a shared alert line: the SMBus alert response, a read of two bytes with the `read` of `host`. `address` is the 7-bit address of the part that answered; it has let go of the line, and its
 * causes are still set: serve it before asking again, until nobody answers or the line is high.
 *
 * `NOTHING`: nobody answered, which `read` says by `CRAKE_NO_ACKNOWLEDGE`. `CHECK_BYTE`, `BUS`: a part may have answered and let go of the line: serve every part on it.
 *
 * # Safety
 * Each pointer is null or leads to what its type says; the callback may be called with the context as `crake_host` says.
 */
crake_code crake_alert_response(const struct crake_host *host,
                                uint8_t *address,
                                struct crake_error *error);

/**
 * Makes a station in zeroed memory: it arms watches together with a set-up, serves the part, and queues events. Touches nothing yet.
 *
 * `rollover_outputs`: outputs (1 A, 2 B, 3 both, 0 none) told when a running sum of the part comes near its end.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, and `watches` stays where it is, as long as the station uses it.
 */
crake_code crake_station_init(struct crake_station *station,
                              const struct crake_setup *setup,
                              const struct crake_watches *watches,
                              uint8_t rollover_outputs,
                              struct crake_error *error);

/**
 * Puts set-up and watches in force in one exchange. The frame is of the moment at which they took over.
 *
 * Watches that cannot be are refused before a byte is sent. After a failure on the bus the outputs may be masked; arm again.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_station_arm(struct crake_monitor *monitor,
                             struct crake_station *station,
                             struct crake_ledger *ledger,
                             struct crake_frame *frame,
                             struct crake_error *error);

/**
 * The same with another set-up and another list of watches: ranges and limits change together. The old list is free once this succeeded.
 *
 * After a failure on the bus either may be in force; arm again, and keep both lists until then.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, and `watches` stays where it is, as long as the station uses it.
 */
crake_code crake_station_rearm(struct crake_monitor *monitor,
                               struct crake_station *station,
                               const struct crake_setup *setup,
                               const struct crake_watches *watches,
                               uint8_t rollover_outputs,
                               struct crake_ledger *ledger,
                               struct crake_frame *frame,
                               struct crake_error *error);

/**
 * Reads the causes, clears exactly those that were seen, again until none is left, latches a frame and queues an event for each. Call it while an alert line is low: its level, not its edge.
 *
 * What was seen before a failure stays pending and is reported by the next service.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_station_service(struct crake_monitor *monitor,
                                 struct crake_station *station,
                                 struct crake_ledger *ledger,
                                 struct crake_frame *frame,
                                 struct crake_error *error);

/**
 * The first piece of a service that is split, so that a watchdog or others on the bus are met: reads the causes once and clears exactly those that were seen, two short transfers at the most. `more` is 1 if
 * there were some: others may have come meanwhile, look again (a condition that stands is found each time, so at most so often); 0 if there were none. Then `crake_station_latch`.
 *
 * What was seen stays pending until a latch; what was seen before a failure, until a later look came through as well.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_station_look(struct crake_monitor *monitor,
                              struct crake_station *station,
                              uint8_t *more,
                              struct crake_error *error);

/**
 * The last piece of a service that is split: latches as `crake_latch` does, and queues an event for each cause that is pending. Call it for other frames as well where watches have a hysteresis.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_station_latch(struct crake_monitor *monitor,
                               struct crake_station *station,
                               struct crake_ledger *ledger,
                               struct crake_frame *frame,
                               struct crake_error *error);

/**
 * Takes the oldest event out of the queue; `NOTHING` if there is none.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_station_next_event(struct crake_station *station,
                                    struct crake_event *event,
                                    struct crake_error *error);

/**
 * Causes of events that found the queue full since the last call, five bits per channel from channel 0 up in the order of the kinds, bit 61 rollover ahead; 0 if none was lost.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_station_lost(struct crake_station *station,
                              uint64_t *causes,
                              struct crake_error *error);

/**
 * Makes a list of `count` watches in zeroed memory, at most `CRAKE_WATCHES_MAX`; `list` is not needed afterwards. Whether part and board can watch for them is checked when they are armed.
 *
 * `BAD_ARGUMENT` with the place in the list as `got`.
 *
 * # Safety
 * Each pointer is null or leads to what its type says, `list` to `count` of them.
 */
crake_code crake_watches_init(struct crake_watches *watches,
                              const struct crake_watch *list,
                              size_t count,
                              struct crake_error *error);

/**
 * `value` ÷ `divisor`, rounded to nearest, halves away from zero: nJ ÷ 3 600 000 000 is mWh, nC ÷ 3 600 000 000 is mAh, ÷ 1 the number itself.
 *
 * `OUT_OF_RANGE` if the quotient does not fit, which leaves the end of the range in `quotient`; `BAD_ARGUMENT` for a divisor below 1.
 *
 * # Safety
 * Each pointer is null or leads to what its type says.
 */
crake_code crake_wide_divided(const struct crake_wide *value,
                              int64_t divisor,
                              int64_t *quotient,
                              struct crake_error *error);

#ifdef __cplusplus
}  // extern "C"
#endif  // __cplusplus

#endif  /* CRAKE_H */
