#include "judge.h"
#include "part.h"

#define OK CRAKE_CODE_OK

/* Flag bits, section 3.6. */
enum { OVER_CURRENT_0 = 1 << 2, OVER_VOLTAGE_1 = 1 << 5, ROLLOVER_AHEAD = 1 << 20 };

/* The queue's next event must be channel 0 above 4 A, as a sample shows it. */
static void above_4_amperes(const crake_sample *sample) {
    crake_event event;
    IS(crake_queue_next_event(the->queue, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(crake_queue_next_event(the->queue, &event, NULL), OK);
    IS(event.about, CRAKE_ABOUT_LIMIT);
    IS(event.channel, 0);
    IS(event.kind, CRAKE_KIND_OVER_CURRENT);
    IS(event.limit_known, 1);
    IS(event.limit, 4000000000);
    IS(event.value_known, 1);
    IS(event.value, 4200000000);
    IS(event.clipped, 0);
    IS(event.dated, 1);
    IS(event.after_us, sample->after_us);
    IS(crake_queue_next_event(the->queue, &event, NULL), CRAKE_CODE_NOTHING);
}

/* Over-current of channel 0 above 4 A: code 80 000 = 0x13880 (4 A x 10 mOhm / 500 nV). */
static void limits(void) {
    crake_error error;
    crake_limit list[] = {
        {4000000000, 500000000, 0, 0, CRAKE_KIND_OVER_CURRENT, 3, 0, 1, 0},
        {4900000000, 0, 0, 1, 5, 1, 1, 2, 0},
    };
    crake_limit_memory *memory = the->memory->of, *refused = the->refused_memory->of;
    int64_t in_force = 0;
    IS(crake_limits_init(the->limits, memory, list, 2, 1, 0, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 3);
    IS(error.got, 1);
    list[1].kind = CRAKE_KIND_OVER_VOLTAGE;
    IS(crake_limits_init(the->limits, memory, list, CRAKE_CAPTURE_MAX + 1, 1, 0, &error),
       CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 2);
    IS(crake_limits_init(the->limits, NULL, list, 2, 1, 0, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 2);
    IS(crake_limits_init(the->limits, memory, NULL, 2, 1, 0, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_limits_init(the->limits, memory, list, 2, 4, 0, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 5);
    IS(crake_limits_init(the->limits, memory, list, 2, 1, 0, &error), OK);
    IS(crake_limits_init(the->limits, memory, list, 2, 1, 0, &error), CRAKE_CODE_IN_USE);
    list[1].debounce = 16;
    IS(crake_limits_init(the->refused_limits, refused, list, 2, 0, 0, &error), OK);

    IS(crake_queue_init(the->queue, 100000, &error), OK);
    IS(crake_queue_service(the->queue, the->monitor, NULL, NULL, &error), CRAKE_CODE_NOT_ARMED);
    IS(error.operation, CRAKE_OPERATION_READ_ALERTS);
    IS(crake_queue_set_limits(the->queue, the->monitor, the->refused_limits, &error),
       CRAKE_CODE_LIMIT_DEBOUNCE);
    IS(error.operation, CRAKE_OPERATION_SET_LIMITS);
    IS(error.channel, 1);
    IS(error.kind, CRAKE_KIND_OVER_VOLTAGE);
    IS(error.got, 16);
    IS(crake_limits_init(the->wired_limits, the->wired_memory->of, list, 1, 0, 1, &error), OK);
    IS(crake_queue_set_limits(the->queue, the->monitor, the->wired_limits, &error),
       CRAKE_CODE_LIMIT_MASKED_ON_WIRED);
    list[0].hysteresis = -1;
    memory = the->negative_memory->of;
    IS(crake_limits_init(the->negative_limits, memory, list, 1, 0, 0, &error), OK);
    IS(crake_queue_set_limits(the->queue, the->monitor, the->negative_limits, &error),
       CRAKE_CODE_LIMIT_HYSTERESIS);
    IS(crake_queue_set_limits(the->queue, the->monitor, the->limits, &error), OK);
    IS(part_register(0x12), 0x13880);
    IS(part_register(0x18), 49000);
    IS(part_register(0x30), 0x011311);
    IS(part_register(0x34), 0x700000 | OVER_CURRENT_0);
    IS(part_register(0x35), ROLLOVER_AHEAD | OVER_CURRENT_0);
    IS(part_register(0x36), OVER_VOLTAGE_1);
    /* Early, never late: 50 uA and 100 uV a code. */
    IS(crake_limit_in_force(the->monitor, 0, CRAKE_KIND_OVER_CURRENT, 4000049999, &in_force,
                            &error),
       OK);
    IS(in_force, 4000000000);
    IS(crake_limit_in_force(the->monitor, 1, CRAKE_KIND_UNDER_VOLTAGE, 4900000001, &in_force,
                            &error),
       OK);
    IS(in_force, 4900100000);
    IS(crake_limit_in_force(the->monitor, 4, 0, 0, &in_force, &error), CRAKE_CODE_NOTHING);
    IS(crake_limit_in_force(the->monitor, 0, 5, 0, &in_force, &error), CRAKE_CODE_BAD_ARGUMENT);
}

void alerts(void) {
    crake_error error;
    crake_sample sample;
    crake_event event;
    crake_queue_status status;
    crake_config config = config_10_1();
    IS(crake_init(the->monitor, &config, &error), OK);
    limits();
    IS(crake_queue_next_event(the->queue, &event, NULL), CRAKE_CODE_NOTHING);

    /* One excursion is one event, and while it lasts its flag alone is off its output. */
    part_run(100000);
    IS(part_is_low(1), 1);
    IS(crake_queue_service(the->queue, the->monitor, the->totals, &sample, &error), OK);
    IS(sample.update, CRAKE_UPDATE_CONFIGURED);
    readings(&sample);
    above_4_amperes(&sample);
    IS(part_register(0x35), ROLLOVER_AHEAD);
    part_run(10000);
    IS(part_is_low(1), 0);
    IS(crake_queue_get_status(the->queue, &status, NULL), OK);
    IS(status.next_in_us, 100000);
    IS(status.pending, 0);
    IS(status.lasting, OVER_CURRENT_0);
    IS(status.lost, 0);
    IS(status.dropped, 0);
    IS(status.listening, 3);
    IS(crake_queue_service(the->queue, the->monitor, the->totals, &sample, &error), OK);
    IS(crake_queue_next_event(the->queue, &event, NULL), CRAKE_CODE_NOTHING);

    /* Over at 3.5 A: not at 3.7 A, but at 3 A. The first look finds what was set before. */
    for (int i = 0; i < 3; i++) {
        part_convert(0, i < 2 ? 74000 : 60000, 33000);
        part_run(200000);
        IS(part_register(0x35), ROLLOVER_AHEAD);
        IS(crake_queue_service(the->queue, the->monitor, the->totals, &sample, &error), OK);
        IS(sample.readings[0].current_na, i < 2 ? 3700000000 : 3000000000);
    }
    IS(part_register(0x35), ROLLOVER_AHEAD | OVER_CURRENT_0);
    IS(crake_queue_get_status(the->queue, &status, NULL), OK);
    IS(status.lasting, 0);
    IS(status.next_in_us, UINT64_MAX);
    part_convert(0, 84000, 33000);
    part_run(100000);
    IS(crake_queue_service(the->queue, the->monitor, the->totals, &sample, &error), OK);
    above_4_amperes(&sample);

    config.channels[0].rail_uv = 65000000;
    IS(crake_configure(the->monitor, &config, the->queue, &error), OK);
    IS(part_register(0x06), 0x6042);
    IS(part_register(0x12), 0x01FFFF);
    IS(crake_queue_read_alerts(the->queue, the->monitor, &status.pending, &error),
       CRAKE_CODE_NOT_ARMED);
    config = config_10_1();
    IS(crake_configure(the->monitor, &config, NULL, &error), OK);
    IS(crake_queue_set_limits(the->queue, the->monitor, the->limits, &error), OK);
    while (crake_queue_next_event(the->queue, &event, NULL) == OK) {
        IS(event.limit_known, 0);
        IS(event.dated, 0);
    }
}

/* On a bus of 100 kHz. */
static crake_code worst_case(uint8_t operation, crake_limits *limits, int32_t *codes, size_t count,
                             uint64_t *longest_us, crake_error *error) {
    const crake_config config = config_10_1();
    return crake_worst_case_us(the->monitor, &config, operation, limits, codes, count, 100000,
                               longest_us, error);
}

/* The shared line, and the same event served in pieces. */
void in_pieces(void) {
    crake_error error;
    crake_sample sample;
    crake_event event;
    static int32_t codes[16];
    static crake_host host, lacking;
    uint8_t address = 0;
    uint64_t found = 7, service_us = 0, longest_us = 0;
    host = lacking = part_host();
    part_run(100000);
    IS(crake_alert_response(&host, &address, &error), OK);
    IS(address, 0x32);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_NOTHING);
    part_run(10000);
    part_spoil(1);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_CHECK_BYTE);
    IS(error.expected ^ error.got, 1);
    part_fail(1, -5);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_BUS);
    IS(error.bus_status, -5);
    lacking.transfer = NULL;
    IS(crake_alert_response(&lacking, &address, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 1);
    IS(crake_alert_response(&host, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 2);

    part_fail(3, -5);
    IS(crake_queue_read_alerts(the->queue, the->monitor, &found, &error), CRAKE_CODE_BUS);
    IS(error.operation, CRAKE_OPERATION_READ_ALERTS);
    IS(error.at_register, 0x37);
    IS(error.may_repeat, 1);
    IS(found, 7);
    IS(part_register(0x37) & 0xFFFFF, OVER_CURRENT_0);
    IS(crake_queue_read_alerts(the->queue, the->monitor, &found, &error), OK);
    IS(found, OVER_CURRENT_0);
    IS(part_register(0x37) & 0xFFFFF, 0);
    IS(crake_queue_next_event(the->queue, &event, NULL), CRAKE_CODE_NOTHING);
    part_run(50000);
    IS(crake_take_sample(the->monitor, the->queue, the->totals, &sample, &error), OK);
    above_4_amperes(&sample);
    IS(part_register(0x35), ROLLOVER_AHEAD | OVER_CURRENT_0);
    part_run(50000);
    IS(crake_queue_settle(the->queue, the->monitor, &error), OK);
    IS(part_register(0x35), ROLLOVER_AHEAD);

    /* A read of FLAGS: 7 bytes of 9 clocks, two STARTs of 2, three times; clearing them: 6 bytes
     * and a START, once, for a repeat could clear what was not seen. 10 us a clock. */
    IS(worst_case(CRAKE_OPERATION_READ_ALERTS, NULL, NULL, 0, &longest_us, &error), OK);
    IS(longest_us, ((7 * 9 + 2 * 2) * 3 + 6 * 9 + 2) * 10);
    IS(worst_case(CRAKE_OPERATION_SERVICE, NULL, NULL, 0, &service_us, &error), OK);
    IS(worst_case(CRAKE_OPERATION_SAMPLE, NULL, NULL, 0, &longest_us, &error), OK);
    WITHIN(service_us, longest_us + 2 * 2570, 10 * longest_us);
    IS(worst_case(CRAKE_OPERATION_SET_LIMITS, NULL, NULL, 0, &longest_us, &error),
       CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 4);
    IS(worst_case(CRAKE_OPERATION_SET_LIMITS, the->limits, NULL, 0, &longest_us, &error), OK);
    IS(worst_case(CRAKE_OPERATION_FETCH_CAPTURE, NULL, codes, 16, &longest_us, &error), OK);
    /* The capture itself at the slowest oscillator (section 6). */
    WITHIN(longest_us, 64000 * 1000 / 985, 200000);
    IS(worst_case(11, NULL, NULL, 0, &longest_us, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 3);
}

/* How the outputs reach the host, by what the context points to: 0 each its own line, 1 crossed,
 * 2 joined. */
static int32_t line_is_low(void *context, uint8_t output) {
    int wiring = *(int *)context;
    int own = part_is_low(output), other = part_is_low((uint8_t)(3 - output));
    return wiring == 0 ? own : wiring == 1 ? other : own | other;
}

void proof(void) {
    static const uint8_t found[] = {CRAKE_FINDING_WORKS, CRAKE_FINDING_SWAPPED,
                                    CRAKE_FINDING_JOINED};
    crake_error error;
    crake_proof proof;
    int wiring = 0;
    IS(crake_queue_proof_test(the->queue, the->monitor, NULL, &wiring, &proof, &error),
       CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_queue_proof_test(the->queue, the->monitor, line_is_low, &wiring, NULL, &error),
       CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 5);
    for (; wiring < 3; wiring++) {
        IS(crake_queue_proof_test(the->queue, the->monitor, line_is_low, &wiring, &proof, &error),
           OK);
        IS(proof.a, found[wiring]);
        IS(proof.b, found[wiring]);
    }
    /* What lasts is still off its output, the rest is back. */
    IS(part_register(0x12), 0x13880);
    IS(part_register(0x35), ROLLOVER_AHEAD);
    IS(part_register(0x36), OVER_VOLTAGE_1);
}

/* The transfers of examples 21 to 24, and 27: over-current of channel 3 alone. */
void worked_limits(void) {
    static const crake_limit list[] = {
        {3200000000, 0, 0, 1, CRAKE_KIND_OVER_CURRENT, 0, 0, 1, 0},
        {3300000000, 0, 0, 0, CRAKE_KIND_UNDER_VOLTAGE, 0, 0, 1, 0},
        {10000000000, 0, 0, 2, CRAKE_KIND_OVER_POWER, 0, 0, 1, 0},
        {6000000000, 0, 0, 3, CRAKE_KIND_OVER_VOLTAGE, 1, 0, 2, 0},
        {1000000000, 0, 0, 3, CRAKE_KIND_UNDER_VOLTAGE, 4, 0, 2, 0},
        {5000000000, 0, 1000, 3, CRAKE_KIND_OVER_CURRENT, 15, 0, 2, 0},
        {-5000000000, 0, 0, 3, CRAKE_KIND_UNDER_CURRENT, 2, 0, 0, 1},
        {20000000000, 0, 0, 3, CRAKE_KIND_OVER_POWER, 3, 1, 2, 0},
    };
    crake_config config = {
        {{60000, 16000000, 1}, {60000, 6500000, 1}, {60000, 16000000, 1}, {60000, 6500000, 1}},
        2000,
        CRAKE_MODE_CONTINUOUS,
        0,
    };
    crake_error error;
    crake_sample sample;
    crake_event event;
    crake_queue_status status;
    uint32_t transfers;
    part_convert(2, 1000, 20000);
    part_convert(3, 0, 33000);
    IS(crake_limits_init(the->other_limits, the->other_memory->of, list, 8, 0, 0, &error), OK);
    IS(crake_queue_init(the->other_queue, 0, &error), OK);
    IS(crake_init(the->other_monitor, &config, &error), OK);
    IS(crake_queue_set_limits(the->other_queue, the->other_monitor, the->other_limits, &error), OK);
    IS(part_was_written(example_21, sizeof example_21), 1);
    IS(part_was_written(example_22, sizeof example_22), 1);
    IS(part_was_written(example_23, sizeof example_23), 1);
    IS(part_was_written(example_24, sizeof example_24), 1);
    while (crake_queue_next_event(the->other_queue, &event, NULL) == OK) {
    }
    part_run(10000);
    IS(part_is_low(1) | part_is_low(2), 0);
    part_convert(3, 120000, 33000);
    part_run(10000);
    IS(part_is_low(2), 1);
    IS(crake_queue_service(the->other_queue, the->other_monitor, NULL, &sample, &error), OK);
    IS(part_was_written(example_27, sizeof example_27), 1);
    IS(sample.readings[3].current_na, 6000000000);
    IS(crake_queue_next_event(the->other_queue, &event, NULL), OK);
    IS(event.channel, 3);
    IS(event.limit, 5000000000);
    IS(event.value, 6000000000);
    /* It is to be looked at again instead of being masked. */
    IS(crake_queue_get_status(the->other_queue, &status, NULL), OK);
    IS(status.next_in_us, 1000);
    IS(status.listening, 1);
    /* Without the bus's check byte of blocks a wrong one is not seen: two transfers. */
    transfers = part_transfers();
    part_spoil(1);
    IS(crake_take_sample(the->other_monitor, NULL, NULL, &sample, &error), OK);
    IS(part_transfers() - transfers, 2);
    part_spoil(0);
    /* The other monitor's part is not as it left it. */
    IS(crake_take_sample(the->monitor, NULL, NULL, &sample, &error), CRAKE_CODE_CHANGED);
}
