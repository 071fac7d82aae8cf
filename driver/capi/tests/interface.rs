//! The interface as a C caller meets it, from Rust: what the context pointer carries, what zeroed
//! memory and bad pointers give. What a part answers is checked by the C examples.
#![allow(clippy::arithmetic_side_effects)]

use std::ffi::c_void;
use std::mem::MaybeUninit;
use std::ptr::{null, null_mut};

use crake_capi::*;

/// What a callback saw.
#[derive(Default)]
struct Seen {
    transfers: Vec<(u8, Vec<u8>, usize)>,
    now_us: u64,
}

/// Notes what was asked; the bus fails with a status of its own.
unsafe extern "C" fn transfer(
    context: *mut c_void,
    address: u8,
    bytes: *const u8,
    count: usize,
    _: *mut u8,
    room_count: usize,
) -> i32 {
    // SAFETY: the context that `host` handed over, which nobody else holds during a call; the
    // interface promises `count` bytes.
    let (seen, bytes) = unsafe {
        (
            &mut *context.cast::<Seen>(),
            std::slice::from_raw_parts(bytes, count),
        )
    };
    seen.transfers.push((address, bytes.to_vec(), room_count));
    -77
}

unsafe extern "C" fn delay_us(_: *mut c_void, _: u32) {}

unsafe extern "C" fn now_us(context: *mut c_void) -> u64 {
    // SAFETY: as in `transfer`.
    let seen = unsafe { &mut *context.cast::<Seen>() };
    seen.now_us += 1;
    seen.now_us
}

/// Zeroed memory for an object or an error, as a C caller has it.
fn zeroed<T>() -> Box<T> {
    // SAFETY: integers, and memory that need not be initialised: zeros are a value of all of it.
    Box::new(unsafe { MaybeUninit::zeroed().assume_init() })
}

fn board() -> Box<Board> {
    let rail = Rail {
        resistance_nohm: 10_000_000,
        greatest_na: 5_000_000_000,
        ..Rail::default()
    };
    let description = Description {
        rails: [rail; CRAKE_RAILS],
        serial: 1,
        clock_ppm: 100,
    };
    let mut board = zeroed();
    // SAFETY: live pointers of their types.
    let code = unsafe { crake_board_init(&mut *board, &description, null_mut()) };
    assert_eq!(code, Code::Ok);
    board
}

#[test]
fn the_bus_is_asked_with_the_callers_context_and_its_status_comes_back() {
    let mut seen = Seen::default();
    let host = Host {
        context: (&raw mut seen).cast(),
        transfer: Some(transfer),
        delay_us: Some(delay_us),
        now_us: Some(now_us),
    };
    let options = Options {
        address: 0x33,
        attempts: 2,
        ..Options::default()
    };
    let mut config = Config {
        mode: Mode::SingleShot as u8,
        ..Config::default()
    };
    config.channels[0].enabled = 1;
    let token = Token::default();
    let (board, mut monitor, mut error) = (board(), zeroed(), zeroed::<Error>());
    // SAFETY: live pointers of their types; callbacks and context as above.
    let made = unsafe { crake_monitor_init(&mut *monitor, &*board, &host, &options, &mut *error) };
    assert_eq!(made, Code::Ok);
    // SAFETY: live pointers of their types, or null.
    let code = unsafe {
        crake_resume(
            &mut *monitor,
            &config,
            &token,
            null_mut(),
            null_mut(),
            &mut *error,
        )
    };
    assert_eq!(
        (code, error.code, error.bus_status),
        (Code::Bus, Code::Bus, -77)
    );
    let asked = (error.operation, error.address, error.at_register);
    assert_eq!(asked, (Operation::Resume, 0x33, 0x00));
    // IDENTITY is register 0x00, 4 bytes and the check byte (datasheet, section 3); tried twice.
    assert_eq!(seen.transfers, vec![(0x33, vec![0x00], 5); 2]);
}

#[test]
fn no_pointer_at_all_is_a_code() {
    // SAFETY: null.
    let codes = unsafe {
        let (monitor, totals, queue) = (null_mut(), null_mut(), null_mut());
        [
            crake_board_init(null_mut(), null(), null_mut()),
            crake_board_correct(null_mut(), null(), null(), null_mut()),
            crake_margins_init(null_mut(), null(), null_mut()),
            crake_monitor_init(monitor, null(), null(), null(), null_mut()),
            crake_init(monitor, null(), null_mut()),
            crake_configure(monitor, null(), queue, null_mut()),
            crake_resume(monitor, null(), null(), totals, null_mut(), null_mut()),
            crake_get_token(monitor, null_mut(), null_mut()),
            crake_take_sample(monitor, queue, totals, null_mut(), null_mut()),
            crake_get_bound(monitor, 0, null_mut(), null_mut()),
            crake_monitor_set_board(monitor, null(), null_mut()),
            crake_set_powered(monitor, 0, null_mut()),
            crake_totals_init(totals, null(), null_mut()),
            crake_totals_charge(totals, 0, null_mut(), null_mut()),
            crake_totals_energy(totals, 0, null_mut(), null_mut()),
            crake_totals_get_status(totals, null_mut(), null_mut()),
            crake_totals_set_margins(totals, null(), null_mut()),
            crake_totals_unpowered(totals, null_mut()),
            crake_totals_save(totals, null(), null_mut(), null_mut()),
            crake_totals_load(totals, null(), null_mut(), null_mut()),
            crake_totals_clock_restarted(totals, 0, null(), null_mut()),
            crake_limits_init(null_mut(), null_mut(), null(), 0, 0, 0, null_mut()),
            crake_limit_in_force(monitor, 0, 0, 0, null_mut(), null_mut()),
            crake_queue_init(queue, 0, null_mut()),
            crake_queue_set_limits(queue, monitor, null(), null_mut()),
            crake_queue_service(queue, monitor, totals, null_mut(), null_mut()),
            crake_queue_read_alerts(queue, monitor, null_mut(), null_mut()),
            crake_queue_settle(queue, monitor, null_mut()),
            crake_queue_next_event(queue, null_mut(), null_mut()),
            crake_queue_get_status(queue, null_mut(), null_mut()),
            crake_alert_response(null(), null_mut(), null_mut()),
            crake_collection_init(null_mut(), null(), 0, null_mut()),
            crake_collection_add(null_mut(), monitor, null_mut(), null_mut()),
            crake_calibrate_offset(null_mut(), null_mut(), null_mut()),
            crake_record_write(null(), 0, null_mut(), null_mut()),
            crake_record_apply(null_mut(), null(), null(), null_mut(), null_mut()),
            crake_start_capture(monitor, 0, null_mut()),
            crake_fetch_capture(
                monitor,
                0,
                null_mut(),
                null_mut(),
                0,
                null_mut(),
                null_mut(),
            ),
        ]
    };
    assert_eq!(codes, [Code::BadPointer; 38]);
}

#[test]
fn zeroed_memory_is_not_ready_and_a_live_object_is_not_made_again() {
    let (board, mut margins, mut totals) = (board(), zeroed(), zeroed());
    let mut status = zeroed::<TotalsStatus>();
    // SAFETY: live pointers of their types.
    let codes = unsafe {
        [
            crake_margins_init(&mut *margins, &*board, null_mut()),
            crake_totals_get_status(&mut *totals, &mut *status, null_mut()),
            crake_totals_init(&mut *totals, &*margins, null_mut()),
            crake_totals_init(&mut *totals, &*margins, null_mut()),
            crake_totals_get_status(&mut *totals, &mut *status, null_mut()),
        ]
    };
    let expected = [Code::Ok, Code::NotReady, Code::Ok, Code::InUse, Code::Ok];
    assert_eq!(codes, expected);
    assert_eq!((status.epoch, status.next_sample_by_us), (0, u64::MAX));
}
