#include "judge.h"
#include "part.h"

/* 1024 conversions of 0, 1, 2 and 3 A in turn: mean 1.5 A, r.m.s. the root of 3.5 A2, above 1 A half of 64 ms. */
void bursts(void) {
    static int32_t codes[CRAKE_BURST_CODES];
    static int64_t currents[CRAKE_BURST_CODES];
    crake_error error;
    crake_frame frame;
    crake_statistics s;
    crake_setup wanted = setup();
    size_t count = 7;
    wanted.channels[0].bus = 2;
    IS(crake_configure(the->monitor, &wanted, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(crake_fetch(the->monitor, codes, CRAKE_BURST_CODES, &count, &error), CRAKE_CODE_OK);
    IS(count, 0);
    wanted.mode = 3;
    IS(crake_configure(the->monitor, &wanted, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.condition, 1);
    IS(frame.entry, 2);
    part_fail(3, -5);
    IS(crake_fetch(the->monitor, codes, CRAKE_BURST_CODES, &count, &error), CRAKE_CODE_BUS);
    IS(error.task, 7);
    IS(crake_fetch(the->monitor, NULL, 1, &count, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 2);
    IS(crake_fetch(the->monitor, codes, 1, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 4);
    IS(crake_fetch(the->monitor, NULL, 0, &count, &error), CRAKE_CODE_OK);
    IS(count, 0);
    codes[18] = -1;
    IS(crake_fetch(the->monitor, codes, 18, &count, &error), CRAKE_CODE_OK);
    IS(count, 18);
    IS(codes[17], 20000);
    IS(codes[18], -1);
    IS(crake_fetch(the->monitor, codes, SIZE_MAX, &count, &error), CRAKE_CODE_OK);
    IS(count, CRAKE_BURST_CODES);
    IS(codes[1023], 60000);
    IS(crake_burst_statistics(the->board, 0, 0, codes, count, 1000000000, &s, &error), CRAKE_CODE_OK);
    IS(s.count, 1024);
    IS(s.least_na, 0);
    IS(s.greatest_na, 3000000000);
    IS(s.mean_na, 1500000000);
    IS(s.rms_na, 1870828693);
    IS(s.charge_nc.low, 96000000);
    IS(s.charge_nc.high, 0);
    IS(s.above_ns, 32000000);
    IS(s.duration_ns, 64000000);
    IS(crake_burst_currents(the->board, 0, 0, codes, count, currents, &error), CRAKE_CODE_OK);
    IS(currents[1022], 2000000000);
    IS(currents[1023], 3000000000);
    /* The fine range has 200 nV where the coarse one has 500. */
    IS(crake_burst_currents(the->board, 0, 1, codes, 4, currents, &error), CRAKE_CODE_OK);
    IS(currents[3], 1200000000);
    IS(crake_burst_statistics(the->board, 0, 0, NULL, 0, 0, &s, &error), CRAKE_CODE_OK);
    IS(s.count, 0);
    IS(crake_burst_statistics(the->board, 4, 0, codes, count, 0, &s, &error), CRAKE_CODE_NO_SUCH_CHANNEL);
    IS(error.channel, 4);
    IS(crake_burst_statistics(the->board, 0, 2, codes, count, 0, &s, &error), CRAKE_CODE_NO_SUCH_SENSE_RANGE);
    IS(crake_burst_statistics(the->board, 0, 0, codes, CRAKE_BURST_CODES + 1, 0, &s, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(crake_burst_statistics(the->board, 0, 0, codes, count, 0, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 7);
    IS(crake_burst_currents(the->board, 0, 0, codes, count, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 6);
}
