//! The interface as a C caller meets it, from Rust: what the context pointer carries, what zeroed memory and bad pointers give. What a part answers is checked by the C examples.

use std::ffi::c_void;
use std::ptr::null_mut;

use crake_capi::*;

/// What a callback saw.
#[derive(Default)]
struct Seen {
    writes: u32,
    reads: Vec<(u8, Vec<u8>, usize)>,
    waited_us: u64,
    now_us: u64,
}

unsafe extern "C" fn write(context: *mut c_void, _: u8, _: *const u8, _: usize) -> i32 {
    // SAFETY: the context that `host` handed over; nobody else holds it during a call.
    unsafe { &mut *context.cast::<Seen>() }.writes += 1;
    0
}

/// Notes what was asked; the bus fails with a status of its own.
unsafe extern "C" fn write_read(
    context: *mut c_void,
    address: u8,
    bytes: *const u8,
    count: usize,
    _: *mut u8,
    room_count: usize,
) -> i32 {
    // SAFETY: as in `write`.
    let seen = unsafe { &mut *context.cast::<Seen>() };
    // SAFETY: the interface promises `count` bytes.
    let bytes = unsafe { std::slice::from_raw_parts(bytes, count) };
    seen.reads.push((address, bytes.to_vec(), room_count));
    -77
}

unsafe extern "C" fn delay_us(context: *mut c_void, us: u32) {
    // SAFETY: as in `write`.
    unsafe { &mut *context.cast::<Seen>() }.waited_us += u64::from(us);
}

unsafe extern "C" fn now_us(context: *mut c_void) -> u64 {
    // SAFETY: as in `write`.
    let seen = unsafe { &mut *context.cast::<Seen>() };
    seen.now_us += 1;
    seen.now_us
}

/// Zeroed memory for an object, as a C caller has it.
fn zeroed<T>() -> *mut T {
    // SAFETY: the objects are arrays of integers, for which zeros are a value.
    Box::into_raw(Box::new(unsafe { std::mem::zeroed::<T>() }))
}

/// Gives memory of `zeroed` back.
fn free<T>(memory: *mut T) {
    // SAFETY: it came from a box of that type, and each test frees it once, at its end.
    drop(unsafe { Box::from_raw(memory) });
}

fn board() -> *mut Board {
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
    let board = zeroed();
    // SAFETY: live pointers of their types.
    let code = unsafe { crake_board_init(board, &description, null_mut()) };
    assert_eq!(code, Code::Ok);
    board
}

#[test]
fn the_bus_is_asked_with_the_callers_context_and_its_status_comes_back() {
    let mut seen = Seen::default();
    let host = Host {
        context: (&raw mut seen).cast(),
        write: Some(write),
        write_read: Some(write_read),
        read: None,
        delay_us: Some(delay_us),
        now_us: Some(now_us),
    };
    let config = Config {
        address: 0x33,
        repeats: 1,
        ..Config::default()
    };
    let (board, monitor) = (board(), zeroed::<Monitor>());
    // SAFETY: a code and integers, for all of which zeros are a value.
    let mut error = unsafe { std::mem::zeroed::<Error>() };
    // SAFETY: live pointers of their types; callbacks and context as above.
    let made = unsafe { crake_monitor_init(monitor, board, &host, &config, &mut error) };
    assert_eq!(made, Code::Ok);
    // SAFETY: live pointers of their types.
    let code = unsafe { crake_attach(monitor, 9, null_mut(), null_mut(), &mut error) };
    assert_eq!(
        (code, error.code, error.bus_status),
        (Code::Bus, Code::Bus, -77)
    );
    assert_eq!((error.task, error.address, error.pointer), (2, 0x33, 0x00));
    // IDENTITY is register 0x00, 4 bytes and the check byte (datasheet, section 3); once repeated.
    assert_eq!(seen.reads, vec![(0x33, vec![0x00], 5); 2]);
    assert_eq!(seen.writes, 0);
    free(monitor);
    free(board);
}

#[test]
fn no_pointer_at_all_is_a_code() {
    let (board, ledger, station) = (board(), zeroed::<Ledger>(), zeroed::<Station>());
    // SAFETY: null, or live pointers of their types.
    let codes = unsafe {
        [
            crake_board_init(null_mut(), null_mut(), null_mut()),
            crake_monitor_init(null_mut(), null_mut(), null_mut(), null_mut(), null_mut()),
            crake_init(null_mut(), null_mut(), null_mut(), null_mut(), null_mut()),
            crake_attach(null_mut(), 0, null_mut(), null_mut(), null_mut()),
            crake_latch(null_mut(), null_mut(), null_mut(), null_mut()),
            crake_joint(null_mut(), null_mut(), null_mut()),
            crake_ledger_init(ledger, null_mut(), null_mut()),
            crake_ledger_account(null_mut(), 0, null_mut(), null_mut()),
            crake_watches_init(null_mut(), null_mut(), 0, null_mut()),
            crake_station_init(station, null_mut(), null_mut(), 0, null_mut()),
            crake_station_next_event(station, null_mut(), null_mut()),
            crake_wide_divided(null_mut(), 1, null_mut(), null_mut()),
            crake_longest_us(null_mut(), 3, 100_000, null_mut(), null_mut()),
            crake_station_look(null_mut(), null_mut(), null_mut(), null_mut()),
            crake_station_latch(null_mut(), null_mut(), null_mut(), null_mut(), null_mut()),
            crake_fetch(null_mut(), null_mut(), 0, null_mut(), null_mut()),
            crake_burst_statistics(null_mut(), 0, 0, null_mut(), 0, 0, null_mut(), null_mut()),
            crake_burst_currents(null_mut(), 0, 0, null_mut(), 0, null_mut(), null_mut()),
            crake_ledger_save(null_mut(), 0, null_mut(), 0, null_mut()),
            crake_ledger_load(
                null_mut(),
                null_mut(),
                null_mut(),
                0,
                null_mut(),
                null_mut(),
            ),
            crake_ledger_clock_restarted(null_mut(), 0, null_mut(), null_mut(), null_mut()),
            crake_prove(
                null_mut(),
                null_mut(),
                None,
                null_mut(),
                null_mut(),
                null_mut(),
            ),
            crake_alert_response(null_mut(), null_mut(), null_mut()),
        ]
    };
    assert_eq!(codes, [Code::BadPointer; 23]);
    free(station);
    free(ledger);
    free(board);
}

#[test]
fn zeroed_memory_is_not_ready_and_a_live_object_is_not_made_again() {
    let (board, ledger) = (board(), zeroed::<Ledger>());
    let mut epoch = 7;
    // SAFETY: live pointers of their types.
    let codes = unsafe {
        [
            crake_ledger_epoch(ledger, &mut epoch, null_mut()),
            crake_ledger_init(ledger, board, null_mut()),
            crake_ledger_init(ledger, board, null_mut()),
            crake_ledger_epoch(ledger, &mut epoch, null_mut()),
        ]
    };
    assert_eq!(codes, [Code::NotReady, Code::Ok, Code::InUse, Code::Ok]);
    assert_eq!(epoch, 0);
    free(ledger);
    free(board);
}

/// Limbs against 128-bit numbers, at the ends and around zero.
#[test]
fn limbs_carry_every_number() {
    for number in [
        0,
        1,
        -1,
        i128::MAX,
        i128::MIN,
        1 << 64,
        -(1 << 64),
        0xFFFF_FFFF_FFFF_FFFF,
    ] {
        let wide = Wide::from(number);
        assert_eq!(i128::from(wide), number);
        assert_eq!((i128::from(wide.high) << 64) + i128::from(wide.low), number);
    }
}
