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

crake_config config_10_1(void) {
    /* Full scales between those of section 3.4: each takes the finest range that reaches it. */
    crake_config config = {
        {{60000, 16000000, 1}, {26000, 6500000, 1}, {65000, 6000000, 1}, {20000, 65000000, 1}},
        500,
        CRAKE_MODE_CONTINUOUS,
        4,
    };
    return config;
}

/* Current = sense code x LSB / R, voltage = rail code x LSB, power = power code x both LSBs / R
 * (section 4), of the codes and ranges that 10.1 lists. */
void readings(const crake_sample *sample) {
    const crake_reading *r = sample->readings;
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
    IS(r[2].current_saturation, CRAKE_SATURATION_AT_LEAST);
    IS(r[2].voltage_nv, 6553500000);
    IS(r[2].voltage_saturation, CRAKE_SATURATION_NONE);
    IS(r[2].power_nw, 85897379850);
    IS(r[3].code, CRAKE_CODE_OK);
    IS(r[3].current_na, -6553600000);
    IS(r[3].voltage_nv, 0);
    IS(r[3].power_nw, 0);
}
