#include "judge.h"
#include "part.h"

#define OK CRAKE_CODE_OK

/* 12 codes of 500 nV without current, as 256ths of a nanovolt; and 5 A shown as 4.98 A above that,
 * so a gain of 5 / 4.98 in units of 2^-30. */
enum { OFFSET = 12 * 500 * 256, GAIN = 1078054040, NO_LOAD = 12, FIVE_AMPS = NO_LOAD + 99600 };

static void collect(crake_collection *collection) {
    crake_error error;
    uint8_t enough = 0;
    for (int i = 0; i < 5; i++) {
        IS(enough, 0);
        part_run(500000);
        IS(crake_take_sample(the->monitor, NULL, the->totals, NULL, &error), OK);
        IS(crake_collection_add(collection, the->monitor, &enough, &error), OK);
    }
    IS(enough, 1);
}

/* Offset and gain of channel 0, on 10 mOhm in sense range 0. */
static void corrections(crake_correction *correction) {
    crake_error error;
    crake_correction offset, other;
    const crake_correction none = {0};
    crake_reference reference = {500000000, 100};
    const crake_reference nothing = {0, 0};
    uint8_t enough = 0;
    crake_config config = config_10_1();
    config.scans_per_second = 2000;
    config.averaging_log2 = 0;
    IS(crake_collection_init(the->no_load, the->board, 4, &error), CRAKE_CODE_NO_SUCH_CHANNEL);
    IS(error.channel, 4);
    IS(crake_collection_init(the->no_load, the->board, 0, &error), OK);
    IS(crake_collection_init(the->five_amps, the->board, 0, &error), OK);
    IS(crake_init(the->monitor, &config, &error), OK);
    IS(crake_collection_add(the->no_load, the->monitor, &enough, &error), CRAKE_CODE_NOT_COMPLETE);
    IS(crake_calibrate_offset(the->no_load, &offset, &error), CRAKE_CODE_TOO_FEW);
    IS(error.expected, 4);
    IS(error.got, 0);
    part_convert(0, NO_LOAD, 33000);
    collect(the->no_load);
    IS(crake_calibrate_offset(the->no_load, &offset, &error), OK);
    IS(offset.offset_256ths_nv, OFFSET);
    IS(offset.offset_known, 1);
    /* Six times 2.5 uV over the root of some 4 000 scans are 237 nV (section 7); and rounding. */
    WITHIN(offset.offset_bound_nv, 230, 300);
    IS(offset.gain_known, 0);

    part_convert(0, FIVE_AMPS, 33000);
    collect(the->five_amps);
    IS(crake_calibrate_offset(the->five_amps, &other, &error),
       CRAKE_CODE_IMPLAUSIBLE_OFFSET);
    IS(error.got, FIVE_AMPS * 500);
    IS(crake_calibrate_gain(&none, the->five_amps, &reference, correction, &error),
       CRAKE_CODE_NO_OFFSET);
    /* A tenth of full scale, 131 071 x 50 uA, at least; and no more than all of it. */
    IS(crake_calibrate_gain(&offset, the->five_amps, &reference, correction, &error),
       CRAKE_CODE_REFERENCE_TOO_SMALL);
    IS(error.expected, 655355000);
    reference.current_na = 7000000000;
    IS(crake_calibrate_gain(&offset, the->five_amps, &reference, correction, &error),
       CRAKE_CODE_REFERENCE_TOO_GREAT);
    IS(error.expected, 6553550000);
    reference.current_na = 6000000000;
    IS(crake_calibrate_gain(&offset, the->five_amps, &reference, correction, &error),
       CRAKE_CODE_IMPLAUSIBLE_GAIN);
    WITHIN(error.got, 204819, 204820);
    reference.current_na = 5000000000;
    IS(crake_calibrate_gain(&offset, the->five_amps, &reference, correction, &error),
       OK);
    IS(correction->offset_256ths_nv, OFFSET);
    IS(correction->gain_2e30, GAIN);
    IS(correction->gain_known, 1);
    IS(correction->gain_range_known, 1);
    IS(correction->gain_range, 0);
    /* The reference's 100 ppm, and what noise and offset make of 49.8 mV. */
    WITHIN(correction->gain_bound_ppm, 100, 120);
    IS(crake_calibrate_line(the->no_load, &nothing, the->five_amps, &reference, &other,
                            &error),
       OK);
    IS(other.offset_256ths_nv, OFFSET);
    IS(other.gain_2e30, GAIN);
}

/* What a record has to be: docs/calibration-record.md. */
static void records(void) {
    static crake_record kept;
    uint8_t *record = kept.bytes;
    static const uint8_t head[] = {'C', 'R',  2,    4, 0, 0, 0, 7, 0, 0,
                                   0x5B, 0xCC, 0, 0, 0, 0, 3, 0, 0, 0};
    crake_error error;
    int32_t millicelsius = 0;
    IS(crake_record_write(the->corrected, 273151, &kept, &error), CRAKE_CODE_BYTES_FIELD);
    IS(error.got, 8);
    IS(record[0], 0);
    IS(crake_record_write(the->corrected, 23500, &kept, &error), OK);
    for (unsigned i = 0; i < sizeof head; i++) {
        IS(record[i], head[i]);
    }
    IS(record[20] << 24 | record[21] << 16 | record[22] << 8 | record[23], OFFSET);
    IS(record[28] << 24 | record[29] << 16 | record[30] << 8 | record[31], GAIN);
    IS(record[176] << 8 | record[177], part_crc16(record, 176));
    record[20] ^= 0x01;
    IS(crake_record_apply(the->restored, the->board, &kept, NULL, &error),
       CRAKE_CODE_BYTES_CHECK);
    IS(error.got, part_crc16(record, 176) ^ error.expected ^ error.got);
    record[20] ^= 0x01;
    record[0] ^= 0x01;
    IS(crake_record_apply(the->restored, the->board, &kept, NULL, &error),
       CRAKE_CODE_BYTES_MARK);
    record[0] ^= 0x01;
    record[2] ^= 0x01;
    IS(crake_record_apply(the->restored, the->board, &kept, NULL, &error),
       CRAKE_CODE_BYTES_VERSION);
    IS(error.got, 3);
    record[2] ^= 0x01;
    IS(crake_record_apply(the->restored, the->other_board, &kept, NULL, &error),
       CRAKE_CODE_BYTES_OF_ANOTHER_BOARD);
    IS(error.expected, 8);
    IS(error.got, 7);
    IS(crake_record_apply(the->restored, the->corrected, &kept, NULL, &error),
       CRAKE_CODE_SENSE_RESISTOR);
    IS(crake_record_apply(the->restored, the->board, &kept, &millicelsius, &error), OK);
    IS(millicelsius, 23500);
}

void calibration(void) {
    crake_error error;
    crake_sample sample;
    crake_totals_status before, after;
    crake_reading_bound bound;
    crake_correction of_board[CRAKE_RAILS] = {{0}};
    corrections(&of_board[0]);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), OK);
    IS(sample.readings[0].current_na, 4980600000);
    IS(crake_get_bound(the->monitor, 0, &bound, &error), OK);
    WITHIN(bound.current_na, 60767200, 65000000);

    IS(crake_board_correct(the->corrected, the->board, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_board_correct(the->corrected, the->board, of_board, &error), OK);
    IS(crake_board_correct(the->restored, the->corrected, of_board, &error),
       CRAKE_CODE_SENSE_RESISTOR);
    IS(error.channel, 0);
    IS(crake_margins_init(the->corrected_margins, the->corrected, &error), OK);

    /* While it runs: nothing is lost. */
    IS(crake_totals_get_status(the->totals, &before, &error), OK);
    IS(crake_monitor_set_board(the->monitor, the->corrected, &error), OK);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error),
       CRAKE_CODE_TOTALS_OF_ANOTHER_BOARD);
    IS(crake_totals_set_margins(the->totals, the->corrected_margins, &error), OK);
    part_run(10000);
    IS(crake_take_sample(the->monitor, NULL, the->totals, &sample, &error), OK);
    IS(sample.update, CRAKE_UPDATE_CONTINUED);
    WITHIN(sample.readings[0].current_na, 4999999998, 5000000002);
    IS(crake_totals_get_status(the->totals, &after, &error), OK);
    IS(after.epoch, before.epoch);
    WITHIN(after.counted_us - before.counted_us, 10000, 30000);
    /* 100 ppm of 5 A, and six times 2.5 uV over 10 mOhm. */
    IS(crake_get_bound(the->monitor, 0, &bound, &error), OK);
    WITHIN(bound.current_na, 2000000, 2300000);

    records();
    IS(crake_monitor_set_board(the->monitor, the->restored, &error), OK);
    IS(crake_take_sample(the->monitor, NULL, NULL, &sample, &error), OK);
    WITHIN(sample.readings[0].current_na, 4999999998, 5000000002);
}
