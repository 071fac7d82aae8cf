#include "judge.h"

const struct objects *the;
void (*say)(const char *text);
static unsigned failures;

void say_number(int64_t number) {
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

void judge(int good, const char *what, int64_t value) {
    say(good ? "ok      " : "FAILED  ");
    say(what);
    say(" = ");
    say_number(value);
    say("\n");
    failures += !good;
}

unsigned failed(void) { return failures; }

crake_setup setup(void) {
    crake_setup wanted = {{{1, 0, 1}, {1, 1, 0}, {1, 0, 0}, {1, 1, 2}}, 1, 1, 4, 0};
    return wanted;
}

/* Current = sense code x LSB / R, voltage = bus code x LSB, power = power code x both LSBs / R (section 4), of the codes and ranges that 10.1 lists. */
void readings(const crake_frame *frame) {
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
