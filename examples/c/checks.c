#include "judge.h"
#include "part.h"

static crake_code code_within;

/* Example 8's resistor on channel 0, others chosen so that the results are round. */
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
    described.clock_ppm = 100;
    return described;
}

static void boards(void) {
    crake_error error;
    crake_description described = description();
    described.rails[2].resistance_nohm = 99999;
    IS(crake_board_init(the->board, &described, &error), CRAKE_CODE_RESISTANCE);
    IS(error.channel, 2);
    described = description();
    described.rails[3].both_ways = 2;
    IS(crake_board_init(the->board, &described, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.channel, 3);
    IS(error.argument, 2);
    described = description();
    IS(crake_ledger_init(the->ledger, the->board, &error), CRAKE_CODE_NOT_READY);
    IS(crake_board_init(the->board, &described, NULL), CRAKE_CODE_OK);
    IS(crake_board_init(the->board, &described, &error), CRAKE_CODE_IN_USE);
    described.serial = 8;
    IS(crake_board_init(the->other_board, &described, NULL), CRAKE_CODE_OK);
    IS(crake_ledger_init(the->ledger, the->board, &error), CRAKE_CODE_OK);
    IS(crake_ledger_init(the->other_ledger, the->other_board, &error), CRAKE_CODE_OK);
}

static void monitors(void) {
    crake_error error;
    crake_config config = {0x32, 0, 2, 1};
    crake_host host = part_host(), lacking = part_host();
    lacking.now_us = NULL;
    IS(crake_latch(the->monitor, NULL, NULL, &error), CRAKE_CODE_NOT_READY);
    IS(error.argument, 1);
    IS(crake_monitor_init(the->monitor, the->board, &lacking, &config, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_monitor_init(the->monitor, the->board, &host, &config, &error), CRAKE_CODE_OK);
    config.read_max = 32;
    config.bounds = 0;
    IS(crake_monitor_init(the->in_pieces, the->board, &host, &config, NULL), CRAKE_CODE_OK);
}

static void joining(void) {
    crake_error error;
    crake_frame frame;
    part_as_in_10_1();
    IS(crake_attach(the->in_pieces, 0x0124, NULL, NULL, &error), CRAKE_CODE_SET_UP_CHANGED);
    IS(error.expected, 0x0124);
    IS(error.got, 0x0123);
    IS(error.task, 2);
    IS(error.address, 0x32);
    IS(error.worth_repeating, 0);
    IS(crake_attach(the->in_pieces, 0x0123, NULL, &frame, NULL), CRAKE_CODE_OK);
    IS(part_longest_read(), 32);
    readings(&frame);
    IS(frame.readings[0].current_bound_na, 0);
    IS(frame.entry, 0);
    IS(crake_attach(the->monitor, 0x0123, the->ledger, &frame, NULL), CRAKE_CODE_OK);
    IS(part_longest_read(), 112);
    readings(&frame);
    /* Resistor 1 % and gain 0.2 % of 4.2 A, and 10 uV over 10 mOhm (section 7), are 51.4 mA; noise and what multiplies add a little. */
    WITHIN(frame.readings[0].current_bound_na, 51400000, 55000000);
    IS(frame.condition, 0);
    IS(frame.unbroken, 1);
    IS(frame.serial, 0x0123);
    IS(frame.entry, 3);
}

/* Totals by the part's clock are rounds x code x LSB / R x 2 ms, exactly, across the rollover of channel 2's sums, which 10.1 shows at their ends. */
static void accounts(void) {
    crake_frame from, to;
    crake_account account;
    uint64_t by_us = 0;
    int64_t charge_nc = 0;
    IS(crake_latch(the->monitor, the->ledger, &from, NULL), CRAKE_CODE_OK);
    crake_account before;
    IS(crake_ledger_account(the->ledger, 2, &before, NULL), CRAKE_CODE_OK);
    part_run(1000000);
    IS(crake_latch(the->monitor, the->ledger, &to, NULL), CRAKE_CODE_OK);
    IS(to.entry, 1);
    int64_t rounds = (int64_t)to.rounds - from.rounds;
    WITHIN(rounds, 500, 503);
    IS(crake_ledger_account(the->ledger, 2, &account, NULL), CRAKE_CODE_OK);
    IS(account.part_charge_nc.low - before.part_charge_nc.low, rounds * 26214200);
    /* 171 794 759.7 nJ a round; each total is rounded to the nanojoule. */
    WITHIN((int64_t)(account.part_energy_nj.low - before.part_energy_nj.low) * 10 - rounds * 1717947597, -10, 10);
    IS(account.charge_side, 1);
    IS(crake_ledger_account(the->ledger, 0, &account, NULL), CRAKE_CODE_OK);
    IS(crake_wide_divided(&account.charge_nc, 1, &charge_nc, NULL), CRAKE_CODE_OK);
    crake_total total;
    IS(crake_ledger_total(the->ledger, 0, &total, NULL), CRAKE_CODE_OK);
    IS(total.charge_nc.low, account.charge_nc.low);
    IS(total.energy_nj.low, account.energy_nj.low);
    IS(total.duration_us, account.duration_us);
    IS(crake_ledger_total(the->ledger, 4, &total, NULL), CRAKE_CODE_NO_SUCH_CHANNEL);
    /* 4.2 A for as long as was accounted for, to within the microsecond that is left out in the duration. */
    WITHIN(charge_nc - 4200 * (int64_t)account.duration_us, 0, 4200);
    /* The named parts make the whole. */
    const crake_bound *b = &account.charge_bound;
    IS(b->total.low, b->gain.low + b->offset.low + b->noise.low + b->shunt.low + b->thermal.low + b->clock.low + b->load.low);
    /* At least 1.2 % of it. */
    WITHIN(b->total.low, charge_nc / 1000 * 12, charge_nc / 10);
    /* Charge at full scale and 500 rounds a second wraps after 2^43 / (2^17 x 500) s = 134 217.7 s (section 4); an oscillator 1.5 % fast takes 132 234 s. */
    IS(crake_ledger_next_read_by(the->ledger, &by_us, NULL), CRAKE_CODE_OK);
    WITHIN(by_us - to.before_us, 132000000000, 132235000000);
    IS(crake_ledger_account(the->ledger, 4, &account, NULL), CRAKE_CODE_NO_SUCH_CHANNEL);
}

/* A ledger that was saved goes on in other memory as if nothing had happened. */
static void checkpoints(void) {
    static uint8_t saved[CRAKE_CHECKPOINT_LEN + 1];
    crake_error error;
    crake_frame frame;
    crake_account account, again;
    crake_gap bracket = {3000, 2000};
    uint16_t serial = 0, kept = 0;
    uint32_t epoch = 0;
    uint8_t reason = 9;
    IS(crake_joint(the->monitor, &serial, NULL), CRAKE_CODE_OK);
    saved[0] = 0x5A;
    IS(crake_ledger_save(the->ledger, serial, saved, CRAKE_CHECKPOINT_LEN - 1, &error), CRAKE_CODE_CHECKPOINT_LENGTH);
    IS(saved[0], 0x5A);
    IS(error.expected, CRAKE_CHECKPOINT_LEN);
    IS(error.got, CRAKE_CHECKPOINT_LEN - 1);
    IS(crake_ledger_save(the->ledger, serial, NULL, CRAKE_CHECKPOINT_LEN, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    saved[CRAKE_CHECKPOINT_LEN] = 0xA5;
    IS(crake_ledger_save(the->ledger, serial, saved, sizeof saved, &error), CRAKE_CODE_OK);
    IS(saved[CRAKE_CHECKPOINT_LEN], 0xA5);
    IS(crake_ledger_load(the->loaded, the->board, saved, sizeof saved, &kept, &error), CRAKE_CODE_CHECKPOINT_LENGTH);
    IS(error.got, CRAKE_CHECKPOINT_LEN + 1);
    IS(crake_ledger_load(the->loaded, the->other_board, saved, CRAKE_CHECKPOINT_LEN, &kept, &error), CRAKE_CODE_CHECKPOINT_OF_ANOTHER);
    IS(error.got, 7);
    saved[200] ^= 0x10;
    IS(crake_ledger_load(the->loaded, the->board, saved, CRAKE_CHECKPOINT_LEN, &kept, &error), CRAKE_CODE_CHECKPOINT_CORRUPT);
    saved[200] ^= 0x10;
    saved[1] ^= 0x40;
    IS(crake_ledger_load(the->loaded, the->board, saved, CRAKE_CHECKPOINT_LEN, &kept, &error), CRAKE_CODE_CHECKPOINT_VERSION);
    saved[1] ^= 0x40;
    IS(crake_ledger_load(the->loaded, the->board, saved, CRAKE_CHECKPOINT_LEN, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 5);
    IS(crake_ledger_epoch(the->loaded, &epoch, NULL), CRAKE_CODE_NOT_READY);
    IS(crake_ledger_load(the->loaded, the->board, saved, CRAKE_CHECKPOINT_LEN, &kept, &error), CRAKE_CODE_OK);
    IS(kept, 0x0123);
    IS(crake_ledger_load(the->loaded, the->board, saved, CRAKE_CHECKPOINT_LEN, &kept, &error), CRAKE_CODE_IN_USE);
    part_run(1000000);
    IS(crake_attach(the->in_pieces, kept, the->loaded, &frame, &error), CRAKE_CODE_OK);
    IS(frame.entry, 1);
    IS(frame.unbroken, 1);
    IS(crake_ledger_account(the->loaded, 0, &again, NULL), CRAKE_CODE_OK);
    IS(crake_attach(the->monitor, kept, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.entry, 1);
    IS(crake_ledger_account(the->ledger, 0, &account, NULL), CRAKE_CODE_OK);
    /* 4.2 A by the part's clock, to within what was counted between the two frames. */
    WITHIN(account.duration_us - again.duration_us, 1, 20000);
    WITHIN(account.part_charge_nc.low - again.part_charge_nc.low, 0, 20000 * 4200);
    WITHIN(again.part_charge_nc.low / 4200, 2000000, 2100000);
    IS(crake_ledger_clock_restarted(the->loaded, 0, &bracket, &reason, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 3);
    bracket.least_us = 1000;
    IS(crake_ledger_clock_restarted(the->loaded, 0, &bracket, &reason, &error), CRAKE_CODE_OK);
    IS(reason, 0);
    IS(crake_ledger_clock_restarted(the->loaded, 0, NULL, &reason, &error), CRAKE_CODE_OK);
    IS(reason, 5);
    IS(crake_ledger_clock_restarted(the->loaded, 0, NULL, NULL, &error), CRAKE_CODE_OK);
    IS(crake_ledger_epoch(the->loaded, &epoch, NULL), CRAKE_CODE_OK);
    IS(epoch, 1);
}

static void interrupt(void) { code_within = crake_latch(the->monitor, NULL, NULL, NULL); }

static void failing(void) {
    crake_error error;
    crake_frame frame;
    part_fail(3, -5);
    IS(crake_latch(the->monitor, the->ledger, &frame, &error), CRAKE_CODE_BUS);
    IS(error.code, CRAKE_CODE_BUS);
    IS(error.bus_status, -5);
    IS(error.task, 3);
    IS(error.address, 0x32);
    IS(error.pointer, 0x03);
    IS(error.worth_repeating, 1);
    part_fail(2, -5);
    IS(crake_latch(the->monitor, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.unbroken, 1);
    IS(frame.entry, 1);
    part_spoil(3);
    IS(crake_latch(the->monitor, the->ledger, &frame, &error), CRAKE_CODE_CHECK_BYTE);
    IS(error.expected ^ error.got, 1);
    part_interrupt(interrupt);
    code_within = CRAKE_CODE_OTHER;
    IS(crake_latch(the->monitor, the->ledger, &frame, NULL), CRAKE_CODE_OK);
    IS(code_within, CRAKE_CODE_BUSY);
    IS(crake_declare_powered(the->monitor, 0, NULL), CRAKE_CODE_OK);
    IS(crake_latch(the->monitor, the->ledger, &frame, NULL), CRAKE_CODE_OK);
    IS(frame.condition, 3);
    IS(frame.entry, 5);
    IS(frame.reason, 2);
    IS(frame.readings[0].code, CRAKE_CODE_NOT_RUNNING);
    IS(crake_declare_powered(the->monitor, 1, NULL), CRAKE_CODE_OK);
    part_reset();
    part_run(1000);
    IS(crake_latch(the->monitor, the->ledger, &frame, NULL), CRAKE_CODE_OK);
    IS(frame.condition, 2);
}

static void refusing(void) {
    crake_error error;
    crake_frame frame;
    crake_setup wanted = setup();
    uint32_t transfers = part_transfers();
    uint64_t by_us = 0;
    wanted.averaging = 11;
    IS(crake_init(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_NO_SUCH_AVERAGING);
    IS(error.expected, 10);
    IS(error.got, 11);
    wanted = setup();
    wanted.mode = 4;
    IS(crake_init(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_BAD_ARGUMENT);
    wanted.mode = 3;
    wanted.burst_channel = 4;
    IS(crake_init(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_NO_SUCH_CHANNEL);
    IS(error.channel, 4);
    wanted = setup();
    wanted.channels[1].bus = 3;
    IS(crake_init(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_NO_SUCH_BUS_RANGE);
    IS(error.channel, 1);
    wanted.channels[1].enabled = 2;
    IS(crake_configure(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(crake_init(the->monitor, NULL, NULL, &frame, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 2);
    IS(crake_init(NULL, &wanted, NULL, NULL, NULL), CRAKE_CODE_BAD_ARGUMENT);
    IS(crake_latch(NULL, NULL, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(crake_latch((crake_monitor *)((uintptr_t)the->monitor + 1), NULL, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(crake_latch(the->monitor, NULL, (crake_frame *)((uintptr_t)&frame + 1), &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_latch(the->monitor, the->other_ledger, NULL, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 2);
    IS(crake_ledger_account(the->ledger, 0, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(crake_ledger_next_read_by(the->other_ledger, &by_us, NULL), CRAKE_CODE_NOTHING);
    IS(crake_joint(the->monitor, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(part_transfers() - transfers, 0);
}

/* 10 kW for 10 years of 365.25 days: 3.155 76e21 nJ, 876 600 kWh. */
static void wide_numbers(void) {
    crake_wide total = {171, 1366763395666673664};
    crake_wide one_and_a_half = {0, 3}, less = {-1, (uint64_t)-3};
    int64_t quotient = 0;
    crake_error error;
    IS(crake_wide_divided(&total, 3600000000, &quotient, NULL), CRAKE_CODE_OK);
    IS(quotient, 876600000000);
    IS(crake_wide_divided(&total, 1, &quotient, &error), CRAKE_CODE_OUT_OF_RANGE);
    IS(quotient, INT64_MAX);
    IS(crake_wide_divided(&one_and_a_half, 2, &quotient, NULL), CRAKE_CODE_OK);
    IS(quotient, 2);
    IS(crake_wide_divided(&less, 2, &quotient, NULL), CRAKE_CODE_OK);
    IS(quotient, -2);
    IS(crake_wide_divided(&less, 0, &quotient, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 2);
}

unsigned checks(const struct objects *objects, void (*teller)(const char *text)) {
    the = objects;
    say = teller;
    boards();
    monitors();
    joining();
    accounts();
    checkpoints();
    failing();
    refusing();
    alerts();
    in_pieces();
    proof();
    bursts();
    wide_numbers();
    say_number(failed());
    say(failed() == 1 ? " check failed\n" : " checks failed\n");
    return failed();
}
