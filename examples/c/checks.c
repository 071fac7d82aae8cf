#include "checks.h"

#include "part.h"

static const struct objects *the;
static void (*say)(const char *text);
static unsigned failures;
static crake_code code_within;

static void say_number(int64_t number) {
    char text[21];
    char *at = text + sizeof text;
    uint64_t rest = number < 0 ? 0 - (uint64_t)number : (uint64_t)number;
    *--at = 0;
    do {
        *--at = (char)('0' + rest % 10);
        rest /= 10;
    } while (rest > 0);
    if (number < 0) {
        say("-");
    }
    say(at);
}

static void judge(int good, const char *what, int64_t value) {
    say(good ? "ok      " : "FAILED  ");
    say(what);
    say(" = ");
    say_number(value);
    say("\n");
    failures += !good;
}

/* The value must be exactly that. */
#define IS(value, expected)                                                                        \
    do {                                                                                           \
        int64_t value_ = (int64_t)(value), expected_ = (int64_t)(expected);                        \
        judge(value_ == expected_, #value, value_);                                                \
        if (value_ != expected_) {                                                                 \
            say("        expected ");                                                              \
            say_number(expected_);                                                                 \
            say("\n");                                                                             \
        }                                                                                          \
    } while (0)

/* The value must lie between these. */
#define WITHIN(value, least, greatest)                                                             \
    do {                                                                                           \
        int64_t value_ = (int64_t)(value);                                                         \
        judge(value_ >= (least) && value_ <= (greatest), #value, value_);                          \
    } while (0)

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

/* The set-up of section 10.1: 500 rounds a second, means of 16, ranges 0x6041. */
static crake_setup setup(void) {
    crake_setup wanted = {{{1, 0, 1}, {1, 1, 0}, {1, 0, 0}, {1, 1, 2}}, 1, 1, 4};
    return wanted;
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

/* Current = sense code x LSB / R, voltage = bus code x LSB, power = power code x both LSBs / R (section 4), of the codes and ranges that 10.1 lists. */
static void readings(const crake_frame *frame) {
    const crake_reading *r = frame->readings;
    IS(r[0].code, CRAKE_CODE_OK);
    IS(r[0].current_na, 4200000000);
    IS(r[0].voltage_nv, 8250000000);
    IS(r[0].power_nw, 34650000000);
    IS(r[1].code, CRAKE_CODE_OK);
    IS(r[1].current_na, -1500000);
    IS(r[1].voltage_nv, 4825000000);
    IS(r[1].power_nw, -7237500);
    IS(r[2].code, CRAKE_CODE_CLIPPED);
    IS(r[2].current_na, 13107100000);
    IS(r[2].current_side, 1);
    IS(r[2].voltage_nv, 6553500000);
    IS(r[2].voltage_side, 0);
    IS(r[2].power_nw, 85897379850);
    IS(r[3].code, CRAKE_CODE_OK);
    IS(r[3].current_na, -6553600000);
    IS(r[3].voltage_nv, 0);
    IS(r[3].power_nw, 0);
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
    wanted.averaging = 11;
    IS(crake_init(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_NO_SUCH_AVERAGING);
    IS(error.expected, 10);
    IS(error.got, 11);
    wanted = setup();
    wanted.mode = 3;
    IS(crake_init(the->monitor, &wanted, NULL, &frame, &error), CRAKE_CODE_BAD_ARGUMENT);
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
    IS(crake_ledger_next_read_by(the->other_ledger, NULL, NULL), CRAKE_CODE_NOTHING);
    IS(crake_joint(the->monitor, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(part_transfers() - transfers, 0);
}

/* Over-current of channel 0 above 4 A: code 80 000 = 0x13880 (4 A x 10 mOhm / 500 nV); cause bit 2 (section 3.6). */
static void alerts(void) {
    crake_error error;
    crake_frame frame;
    crake_event event;
    crake_setup wanted = setup();
    crake_watch list[] = {{4000000000, 0, 0, 2, 3, 1, 1}, {4900000000, 0, 1, 5, 1, 0, 2}};
    uint16_t serial = 0;
    uint64_t lost = 1;
    uint32_t epoch = 0;
    IS(crake_watches_init(the->watches, list, 2, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.got, 1);
    list[1].kind = 0;
    IS(crake_watches_init(the->watches, list, CRAKE_WATCHES_MAX + 1, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(crake_watches_init(the->watches, NULL, 2, &error), CRAKE_CODE_BAD_POINTER);
    IS(crake_watches_init(the->watches, list, 2, &error), CRAKE_CODE_OK);
    list[1].debounce = 16;
    IS(crake_watches_init(the->other_watches, list, 2, &error), CRAKE_CODE_OK);
    IS(crake_station_init(the->station, &wanted, the->watches, 4, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(crake_station_init(the->station, &wanted, the->watches, 1, &error), CRAKE_CODE_OK);

    IS(crake_init(the->monitor, &wanted, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.condition, 1);
    IS(frame.entry, 3);
    IS(crake_station_arm(the->monitor, the->station, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.condition, 1);
    IS(frame.entry, 2);
    IS(part_register(0x12), 0x13880);
    IS(part_register(0x30), 0x011311);
    IS(part_register(0x34), 0x700004);
    IS(part_register(0x35), 0x100004);
    IS(part_register(0x36), 0x000020);
    IS(crake_joint(the->monitor, &serial, &error), CRAKE_CODE_OK);
    IS(serial, part_register(0x01));

    IS(crake_station_next_event(the->station, &event, NULL), CRAKE_CODE_NOTHING);
    part_run(100000);
    part_raise(1 << 2);
    IS(crake_station_service(the->monitor, the->station, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.entry, 1);
    readings(&frame);
    IS(part_causes() & 0x0FFFFF, 0);
    IS(crake_station_next_event(the->station, NULL, NULL), CRAKE_CODE_BAD_POINTER);
    IS(crake_station_next_event(the->station, &event, NULL), CRAKE_CODE_OK);
    IS(event.cause, 0);
    IS(event.channel, 0);
    IS(event.kind, 2);
    IS(event.in_force_known, 1);
    IS(event.in_force, 4000000000);
    IS(event.reading.code, CRAKE_CODE_OK);
    IS(event.reading.current_na, 4200000000);
    IS(event.after_us, frame.after_us);
    IS(crake_station_next_event(the->station, &event, NULL), CRAKE_CODE_NOTHING);
    IS(crake_station_lost(the->station, &lost, NULL), CRAKE_CODE_OK);
    IS(lost, 0);

    wanted.channels[0].bus = 2;
    IS(crake_configure(the->monitor, &wanted, the->ledger, NULL, &error), CRAKE_CODE_LIMITS_IN_FORCE);
    IS(error.channel, 0);
    IS(crake_station_rearm(the->monitor, the->station, &wanted, the->other_watches, 0, the->ledger, NULL, &error), CRAKE_CODE_NO_SUCH_DEBOUNCE);
    IS(error.channel, 1);
    IS(error.kind, 0);
    IS(error.got, 16);
    IS(crake_station_rearm(the->monitor, the->station, &wanted, the->watches, 0, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.entry, 2);
    IS(part_register(0x06), 0x6042);
    IS(crake_ledger_epoch(the->ledger, &epoch, NULL), CRAKE_CODE_OK);
    IS(epoch, 1);
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
    failing();
    refusing();
    alerts();
    wide_numbers();
    say_number(failures);
    say(failures == 1 ? " check failed\n" : " checks failed\n");
    return failures;
}
