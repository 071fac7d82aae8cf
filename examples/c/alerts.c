#include "judge.h"
#include "part.h"

/* Over-current of channel 0 above 4 A: code 80 000 = 0x13880 (4 A x 10 mOhm / 500 nV); cause bit 2 (section 3.6). */
void alerts(void) {
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

/* The same cause, served in pieces; and the shared line. */
void in_pieces(void) {
    crake_error error;
    crake_frame frame;
    crake_event event;
    crake_host host = part_host(), lacking = part_host();
    uint8_t more = 7, address = 0;
    uint64_t longest_us = 0;
    part_raise(1 << 2);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_OK);
    IS(address, 0x32);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_NOTHING);
    part_raise(1 << 2);
    part_spoil(1);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_CHECK_BYTE);
    IS(error.expected ^ error.got, 1);
    part_fail(1, -5);
    IS(crake_alert_response(&host, &address, &error), CRAKE_CODE_BUS);
    IS(error.bus_status, -5);
    lacking.read = NULL;
    IS(crake_alert_response(&lacking, &address, &error), CRAKE_CODE_BAD_POINTER);
    IS(crake_alert_response(&host, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 2);

    part_fail(3, -5);
    IS(crake_station_look(the->monitor, the->station, &more, &error), CRAKE_CODE_BUS);
    IS(error.task, 8);
    IS(more, 7);
    IS(crake_station_look(the->monitor, the->station, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(part_causes() & 0x0FFFFF, 1 << 2);
    IS(crake_station_look(the->monitor, the->station, &more, &error), CRAKE_CODE_OK);
    IS(more, 1);
    IS(part_causes() & 0x0FFFFF, 0);
    IS(crake_station_next_event(the->station, &event, NULL), CRAKE_CODE_NOTHING);
    part_run(50000);
    IS(crake_station_look(the->monitor, the->station, &more, &error), CRAKE_CODE_OK);
    IS(more, 0);
    part_run(50000);
    IS(crake_station_latch(the->monitor, the->station, the->ledger, &frame, &error), CRAKE_CODE_OK);
    IS(frame.entry, 1);
    IS(crake_station_next_event(the->station, &event, NULL), CRAKE_CODE_OK);
    IS(event.channel, 0);
    IS(event.kind, 2);
    IS(event.after_us, frame.after_us);
    IS(crake_station_next_event(the->station, &event, NULL), CRAKE_CODE_NOTHING);

    /* 7 and 6 bytes of 9 clocks, three STARTs of 2, each of it three times, at 10 us a clock, rounded up. */
    IS(crake_longest_us(the->monitor, 8, 100000, &longest_us, &error), CRAKE_CODE_OK);
    IS(longest_us, (13 * 9 + 3 * 2) * 3 * 10 + 1);
    IS(crake_longest_us(the->monitor, 9, 100000, &longest_us, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(crake_longest_us(the->monitor, 0, 100000, &longest_us, &error), CRAKE_CODE_BAD_ARGUMENT);
    IS(error.argument, 2);
}

/* How the outputs reach the host, by what the context points to: 0 each its own line, 1 crossed, 2 joined. */
static int32_t line_is_low(void *context, uint8_t output) {
    int wiring = *(int *)context;
    int own = part_is_low(output), other = part_is_low((uint8_t)(3 - output));
    return wiring == 0 ? own : wiring == 1 ? other : own | other;
}

void proof(void) {
    crake_error error;
    crake_proof found = {9, 9};
    int wiring = 0;
    part_compare(1);
    IS(crake_prove(the->monitor, the->station, NULL, &wiring, &found, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 3);
    IS(crake_prove(the->monitor, the->station, line_is_low, &wiring, NULL, &error), CRAKE_CODE_BAD_POINTER);
    IS(error.argument, 5);
    IS(crake_prove(the->monitor, the->station, line_is_low, &wiring, &found, &error), CRAKE_CODE_OK);
    IS(found.a, 0);
    IS(found.b, 0);
    wiring = 1;
    IS(crake_prove(the->monitor, the->station, line_is_low, &wiring, &found, &error), CRAKE_CODE_OK);
    IS(found.a, 3);
    IS(found.b, 3);
    wiring = 2;
    IS(crake_prove(the->monitor, the->station, line_is_low, &wiring, &found, &error), CRAKE_CODE_OK);
    IS(found.a, 4);
    IS(found.b, 4);
    part_compare(0);
    /* The station's own watches are back. */
    IS(part_register(0x12), 0x13880);
    IS(part_register(0x35), 0x000004);
    IS(part_register(0x36), 0x000020);
}
