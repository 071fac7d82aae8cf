#include "judge.h"
#include "part.h"

#define OK CRAKE_CODE_OK

static crake_code code_within;

/* Resistors that make round figures of the codes of 10.1. */
static crake_description description(void) {
    static const uint64_t resistance[] = {10000000, 1000000000, 5000000, 4000000};
    crake_description described = {0};
    for (unsigned c = 0; c < CRAKE_RAILS; c++) {
        described.rails[c].resistance_nohm = resistance[c];
        described.rails[c].tolerance_ppm = 10000;
        described.rails[c].greatest_na = 20000000000;
    }
    described.rails[1].both_ways = described.rails[3].both_ways = 1;
    described.serial = 7;
    described.clock_ppm = 10000;
    return described;
}

static void boards(void) {
    crake_error error;
    crake_description described = description();
    described.rails[2].resistance_nohm = 99999;
    IS(crake_board_init(the->board, &described, &error), CRAKE_CODE_SENSE_RESISTOR);
    IS(error.channel, 2);
    described = description();
    described.rails[3].both_ways = 2;
    IS(crake_board_init(the->board, &described, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.channel, 3);
    IS(error.argument, 2);
    described = description();
    IS(crake_margins_init(the->margins, the->board, &error), CRAKE_CODE_NOT_READY);
    IS(error.argument, 2);
    IS(crake_board_init(the->board, &described, NULL), OK);
    IS(crake_board_init(the->board, &described, &error), CRAKE_CODE_IN_USE);
    IS(crake_margins_init(the->margins, the->board, &error), OK);
    IS(crake_totals_init(the->totals, the->margins, &error), OK);
    IS(crake_totals_init(the->loaded, the->margins, &error), OK);

    /* The resistors of examples 21 to 23 on channels 1, 0 and 2; no load is declared. */
    crake_description other = {0};
    for (unsigned c = 0; c < CRAKE_RAILS; c++) {
        other.rails[c].resistance_nohm = c == 2 ? 12500000 : 10000000;
    }
    other.serial = 8;
    IS(crake_board_init(the->other_board, &other, NULL), OK);
    IS(crake_margins_init(the->other_margins, the->other_board, &error), OK);
    IS(crake_totals_init(the->other_totals, the->other_margins, &error), OK);
}

static void monitors(void) {
    crake_error error;
    crake_options options = {0x36, 0, 0, 0};
    static crake_host host, lacking;
    host = lacking = part_host();
    lacking.now_us = NULL;
    IS(crake_take_sample(the->monitor, NULL, NULL, NULL, &error), CRAKE_CODE_NOT_READY);
    IS(error.argument, 1);
    IS(crake_monitor_init(the->monitor, the->board, &host, &options, &error),
       CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 4);
    options.address = 0x32;
    IS(crake_monitor_init(the->monitor, the->board, &lacking, &options, &error),
       CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_monitor_init(the->monitor, the->board, &host, &options, &error), OK);
    options.read_max = 32;
    IS(crake_monitor_init(the->in_pieces, the->board, &host, &options, NULL), OK);
    options.read_max = 0;
    options.block_check_alone = 1;
    IS(crake_monitor_init(the->other_monitor, the->other_board, &host, &options, NULL), OK);
}

/* Going on with the part of section 10.1, whose count of writes is 0x0123. */
static void resuming(void) {
    crake_error error;
    crake_sample sample;
    crake_reading_bound bound;
    crake_config config = config_10_1();
    crake_token token = {0x0124, 1};
    part_as_in_10_1();
    IS(crake_take_sample(the->monitor, NULL, NULL, &sample, &error), CRAKE_CODE_NOT_CONFIGURED);
    IS(crake_resume(the->in_pieces, &config, &token, NULL, NULL, &error), CRAKE_CODE_CHANGED);
    IS(error.expected, 0x0124);
    IS(error.got, 0x0123);
    IS(error.operation, CRAKE_OPERATION_RESUME);
    IS(error.address, 0x32);
    IS(error.at_register, 0x01);
    IS(error.may_repeat, 0);
    token.writes = 0x0123;
    IS(crake_resume(the->in_pieces, &config, &token, NULL, &sample, NULL), OK);
    IS(part_longest_read(), 32);
    IS(sample.update, CRAKE_UPDATE_NONE);
    readings(&sample);
    IS(crake_resume(the->monitor, &config, &token, the->totals, &sample, NULL), OK);
    IS(part_longest_read(), 112);
    readings(&sample);
    IS(sample.update, CRAKE_UPDATE_FIRST);
    WITHIN(sample.after_us - sample.before_us, 1, 2000);
    IS(crake_get_token(the->monitor, &token, NULL), OK);
    IS(token.writes, 0x0123);
    /* Resistor 1 % and gain 0.2 % of 4.2 A, and 10 uV over 10 mOhm (section 7), are 51.4 mA; noise
     * and what multiplies add a little. Gain 0.15 % of 8.25 V and 2.5 mV are 14.9 mV. */
    IS(crake_get_bound(the->monitor, 0, &bound, &error), OK);
    WITHIN(bound.current_na, 51400000, 55000000);
    WITHIN(bound.voltage_nv, 14875000, 16000000);
    WITHIN(bound.power_nw, 51400000 / 10 * 82, 600000000);
    IS(crake_get_bound(the->monitor, 4, &bound, &error), CRAKE_CODE_NO_SUCH_CHANNEL);
    IS(error.channel, 4);
}

/* Charge and energy are means per scan times the host's time, to the unit and the microsecond,
 * across the rollover of channel 2's sums, which 10.1 shows at their ends. */
static void totals(void) {
    crake_sample from, to;
    crake_totals_status status;
    crake_total charge, energy;
    int64_t counted;
    IS(crake_take_sample(the->monitor, NULL, the->totals, &from, NULL), OK);
    part_run(1000000);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &to, NULL), OK);
    IS(to.update, CRAKE_UPDATE_CLIPPED);
    WITHIN((int64_t)to.scans - from.scans, 500, 503);
    IS(crake_totals_get_status(the->totals, &status, NULL), OK);
    IS(status.epoch, 0);
    IS(status.gap.greatest_us, 0);
    counted = (int64_t)status.counted_us;
    WITHIN(counted, 1000000, 1100000);
    /* 2 ms a scan, and the stand-in's clock is the host's. */
    IS(status.part_clock_us % 2000, 0);
    WITHIN((int64_t)status.part_clock_us - counted, -4000, 4000);
    IS(crake_totals_charge(the->totals, 0, &charge, NULL), OK);
    WITHIN(charge.value - 42 * counted / 10, -1, 5);
    IS(charge.saturation, CRAKE_SATURATION_NONE);
    IS(charge.covers_load, 1);
    /* 2.2 % with the clock and 1 mA, and the ends of the stretch. */
    WITHIN(charge.bound, charge.value / 1000 * 22, charge.value / 10);
    IS(crake_totals_energy(the->totals, 0, &energy, NULL), OK);
    WITHIN(energy.value - 3465 * counted / 100, -1, 36);
    IS(crake_totals_charge(the->totals, 2, &charge, NULL), OK);
    WITHIN(charge.value - 131071 * counted / 10000, -1, 14);
    IS(charge.saturation, CRAKE_SATURATION_AT_LEAST);
    IS(crake_totals_energy(the->totals, 1, &energy, NULL), OK);
    WITHIN(energy.value + 72375 * counted / 10000000, -1, 1);
    IS(crake_totals_charge(the->totals, 4, &charge, NULL), CRAKE_CODE_NO_SUCH_CHANNEL);
    /* Charge at full scale and 500 scans a second wraps after 2^43 / (2^17 x 500) s = 134 217.7 s
     * (section 4); an oscillator 1.5 % fast takes 132 234 s, 130 912 s by a clock 1 % slow. */
    WITHIN(status.next_sample_by_us - to.before_us, 130000000000, 130912000000);
}

/* Totals that were saved go on in other memory as if nothing had happened. */
static void checkpoints(void) {
    static crake_checkpoint saved;
    crake_error error;
    crake_sample sample;
    crake_total one, other;
    crake_totals_status status, others;
    crake_gap bracket = {3000, 2000};
    crake_config config = config_10_1();
    crake_token token, kept = {0, 0};
    IS(crake_get_token(the->monitor, &token, NULL), OK);
    IS(crake_totals_save(the->totals, &token, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_totals_save(the->totals, &token, &saved, &error), OK);
    IS(crake_totals_load(the->other_totals, &saved, &kept, &error),
       CRAKE_CODE_BYTES_OF_ANOTHER_BOARD);
    saved.bytes[200] ^= 0x10;
    IS(crake_totals_load(the->loaded, &saved, &kept, &error), CRAKE_CODE_BYTES_CHECK);
    saved.bytes[200] ^= 0x10;
    IS(crake_totals_load(the->loaded, &saved, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_totals_load(the->loaded, &saved, &kept, &error), OK);
    IS(kept.writes, 0x0123);
    part_run(1000000);
    IS(crake_resume(the->in_pieces, &config, &kept, the->loaded, &sample, &error), OK);
    IS(sample.update, CRAKE_UPDATE_CLIPPED);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), OK);
    IS(sample.update, CRAKE_UPDATE_CLIPPED);
    IS(crake_totals_get_status(the->totals, &status, NULL), OK);
    IS(crake_totals_get_status(the->loaded, &others, NULL), OK);
    IS(others.epoch, 0);
    WITHIN(others.counted_us, 2000000, 2200000);
    IS(crake_totals_charge(the->totals, 0, &one, NULL), OK);
    IS(crake_totals_charge(the->loaded, 0, &other, NULL), OK);
    /* 4.2 A for what was counted between the two samples. */
    WITHIN(one.value - other.value - 42 * (int64_t)(status.counted_us - others.counted_us) / 10, -5,
           5);
    IS(crake_totals_clock_restarted(the->loaded, 0, &bracket, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 3);
    bracket.least_us = 1000;
    IS(crake_totals_clock_restarted(the->loaded, 0, &bracket, &error), OK);
    IS(crake_totals_get_status(the->loaded, &others, NULL), OK);
    IS(others.epoch, 0);
    IS(crake_totals_clock_restarted(the->loaded, 0, NULL, &error), OK);
    IS(crake_totals_get_status(the->loaded, &others, NULL), OK);
    IS(others.epoch, 1);
    IS(others.gap.greatest_us, UINT64_MAX);
    IS(others.next_sample_by_us, UINT64_MAX);
}

static void interrupt(void) {
    code_within = crake_take_sample(the->monitor, NULL, NULL, NULL, NULL);
}

static void failing(void) {
    crake_error error;
    crake_sample sample;
    crake_totals_status status;
    crake_config config = config_10_1();
    part_fail(3, -5);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), CRAKE_CODE_BUS);
    IS(error.code, CRAKE_CODE_BUS);
    IS(error.bus_status, -5);
    IS(error.operation, CRAKE_OPERATION_SAMPLE);
    IS(error.address, 0x32);
    IS(error.at_register, 0x03);
    IS(error.may_repeat, 1);
    part_fail(2, -5);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), OK);
    IS(sample.update, CRAKE_UPDATE_CLIPPED);
    part_spoil(3);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), CRAKE_CODE_CHECK_BYTE);
    IS(error.expected ^ error.got, 1);
    IS(error.at_register, 0x80);
    part_interrupt(interrupt);
    code_within = CRAKE_CODE_OTHER;
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, NULL), OK);
    IS(code_within, CRAKE_CODE_IN_CALL);
    IS(crake_set_powered(the->monitor, 0, NULL), OK);
    IS(crake_totals_unpowered(the->totals, NULL), OK);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, NULL), CRAKE_CODE_UNPOWERED);
    IS(crake_totals_get_status(the->totals, &status, NULL), OK);
    IS(status.epoch, 1);
    IS(crake_set_powered(the->monitor, 1, NULL), OK);
    part_reset();
    part_run(1000);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, NULL),
       CRAKE_CODE_NOT_CONFIGURED);
    IS(crake_init(the->monitor, &config, &error), OK);
    IS(part_was_written(example_4, sizeof example_4), 1);
    IS(part_was_written(example_5, sizeof example_5), 1);
    IS(part_register(0x05), 0x0F);
    IS(part_register(0x04), 0x11);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, NULL), OK);
    IS(sample.update, CRAKE_UPDATE_FIRST);
    IS(sample.readings[0].code, CRAKE_CODE_NOT_COMPLETE);
    part_run(50000);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, NULL), OK);
    IS(sample.update, CRAKE_UPDATE_CLIPPED);
    readings(&sample);
    IS(crake_totals_get_status(the->totals, &status, NULL), OK);
    WITHIN(status.gap.least_us, 1, status.gap.greatest_us);
    part_reset();
    part_run(1000);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), CRAKE_CODE_RESET);
    IS(error.may_repeat, 0);
    IS(crake_init(the->monitor, &config, &error), OK);

    /* Channels 0, 1 and 3, as fast as it goes; then once. */
    config.channels[2].enabled = 0;
    config.scans_per_second = 2000;
    config.averaging_log2 = 0;
    IS(crake_configure(the->monitor, &config, NULL, &error), OK);
    IS(part_was_written(example_3, sizeof example_3), 1);
    IS(part_was_written(example_6, sizeof example_6), 1);
    part_run(1000);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), OK);
    IS(sample.update, CRAKE_UPDATE_CONFIGURED);
    IS(sample.readings[0].code, CRAKE_CODE_OK);
    IS(sample.readings[2].code, CRAKE_CODE_NOT_ENABLED);
    config.mode = CRAKE_MODE_SINGLE_SHOT;
    IS(crake_configure(the->monitor, &config, NULL, &error), OK);
    IS(part_was_written(example_8, sizeof example_8), 1);
    IS(crake_take_sample(the->monitor, NULL, NULL, &sample, &error), OK);
    IS(sample.readings[0].current_na, 4200000000);
}

static void refusing(void) {
    crake_error error;
    crake_sample sample;
    crake_config config = config_10_1();
    uint32_t transfers = part_transfers();
    config.averaging_log2 = 11;
    IS(crake_init(the->monitor, &config, &error), CRAKE_CODE_AVERAGING);
    IS(error.expected, 10);
    IS(error.got, 11);
    config = config_10_1();
    config.mode = 3;
    IS(crake_init(the->monitor, &config, &error), CRAKE_CODE_BAD_ARGUMENT);
    config = config_10_1();
    config.channels[1].rail_uv = 65535001;
    IS(crake_init(the->monitor, &config, &error), CRAKE_CODE_RAIL_FULL_SCALE);
    IS(error.channel, 1);
    config.channels[0].sense_uv = 65536;
    IS(crake_configure(the->monitor, &config, NULL, &error), CRAKE_CODE_SENSE_FULL_SCALE);
    IS(error.operation, CRAKE_OPERATION_CONFIGURE);
    config = config_10_1();
    config.scans_per_second = 2001;
    IS(crake_init(the->monitor, &config, &error), CRAKE_CODE_SCAN_RATE);
    IS(error.got, 499);
    for (unsigned c = 0; c < CRAKE_RAILS; c++) {
        config.channels[c].enabled = 0;
    }
    IS(crake_init(the->monitor, &config, &error), CRAKE_CODE_NO_CHANNEL);
    IS(crake_init(the->monitor, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 2);
    IS(crake_take_sample(NULL, NULL, NULL, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 1);
    IS(crake_take_sample((crake_monitor *)((uintptr_t)the->monitor + 1), NULL, NULL, NULL, NULL),
       CRAKE_CODE_BAD_POINTER);
    crake_sample *odd = (crake_sample *)((uintptr_t)&sample + 1);
    IS(crake_take_sample(the->monitor, NULL, NULL, odd, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 4);
    IS(crake_take_sample(the->monitor, NULL, the->other_totals, NULL, &error),
       CRAKE_CODE_TOTALS_OF_ANOTHER_BOARD);
    IS(crake_totals_charge(the->totals, 0, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(crake_get_token(the->monitor, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(part_transfers() - transfers, 0);
}

unsigned checks(const struct objects *objects, void (*teller)(const char *text)) {
    the = objects;
    say = teller;
    boards();
    monitors();
    resuming();
    totals();
    checkpoints();
    failing();
    refusing();
    alerts();
    in_pieces();
    proof();
    worked_limits();
    captures();
    calibration();
    say_number(failed());
    say(failed() == 1 ? " check failed\n" : " checks failed\n");
    return failed();
}
