#include "judge.h"
#include "part.h"

#define OK CRAKE_CODE_OK

/* Conversions of 0, 1, 2 and 3 A in turn, 62.5 us each: mean 1.5 A, mean square 3.5 A2, variance
 * 1.25 A2. The last three are those of example 32. */
void captures(void) {
    static int32_t codes[CRAKE_CAPTURE_MAX + 1];
    static int64_t currents[3];
    crake_error error;
    crake_statistics s;
    enum { COUNT = 1020 };
    IS(crake_fetch_capture(the->other_monitor, 0, codes, NULL, 1, &s, &error),
       CRAKE_CODE_NOT_CONFIGURED);
    IS(crake_start_capture(the->other_monitor, 4, &error), CRAKE_CODE_REFUSED);
    IS(error.operation, CRAKE_OPERATION_START_CAPTURE);
    IS(crake_start_capture(the->other_monitor, 1, &error), OK);
    IS(part_was_written(example_29, sizeof example_29), 1);
    IS(crake_fetch_capture(the->other_monitor, 1021, codes, currents, 3, NULL, &error), OK);
    IS(part_was_written(example_31, sizeof example_31), 1);
    IS(codes[0], 84000);
    IS(codes[1], -7500);
    IS(codes[2], 1);
    /* 500 nV over 10 mOhm are 50 uA. */
    IS(currents[0], 4200000000);
    IS(currents[1], -375000000);
    IS(currents[2], 50000);

    codes[COUNT] = -1;
    IS(crake_fetch_capture(the->other_monitor, 0, codes, NULL, COUNT, &s, &error), OK);
    IS(codes[COUNT - 1], 60000);
    IS(codes[COUNT], -1);
    IS(s.count, COUNT);
    IS(s.least_na, 0);
    IS(s.greatest_na, 3000000000);
    IS(s.mean_na, 1500000000);
    /* A code over the number of conversions is 49 nA. */
    WITHIN(s.rms_na, 1870828693 - 100, 1870828693);
    WITHIN(s.deviation_na, 1118033988 - 100, 1118033988);
    IS(s.charge_nc, COUNT * 62500 / 1000 * 1500);
    IS(s.duration_ns, COUNT * 62500);
    IS(s.clipped, 0);
    IS(crake_fetch_capture(the->other_monitor, 0, NULL, NULL, 0, &s, &error), OK);
    IS(s.count, 0);
    IS(s.clipped, 0);
    IS(crake_fetch_capture(the->other_monitor, 1, codes, NULL, CRAKE_CAPTURE_MAX, &s, &error),
       CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 5);
    IS(crake_fetch_capture(the->other_monitor, 0, codes, NULL, CRAKE_CAPTURE_MAX + 1, &s, &error),
       CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 3);
    IS(crake_fetch_capture(the->other_monitor, 0, NULL, NULL, 1, &s, &error),
       CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    /* Three times, and as often after a wait. */
    part_fail(6, -5);
    IS(crake_fetch_capture(the->other_monitor, 0, codes, NULL, 1, &s, &error), CRAKE_CODE_BUS);
    IS(error.operation, CRAKE_OPERATION_FETCH_CAPTURE);
    IS(error.may_repeat, 1);
    int64_t *odd = (int64_t *)((uintptr_t)currents + 1);
    IS(crake_fetch_capture(the->other_monitor, 0, codes, odd, 1, &s, &error),
       CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 4);
}
