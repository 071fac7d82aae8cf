use core::ffi::c_void;

use crake::old::alert::{Answer, Finding, Outputs, alert_response};
use embedded_hal::delay::DelayNs;

use crate::code::{Code, Error};
use crate::host::Host;
use crate::memory::{self, Monitor, Station, report};

/// What a proof test found of each output's way to the host: 0 it works; 1 never low: broken, or stuck high; 2 never high: shorted, or held low by another part; 3 it follows the other output's trips; 4 it follows
/// both outputs' trips, the lines are joined.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Proof {
    /// Output A.
    pub a: u8,
    /// Output B.
    pub b: u8,
}

impl From<crake::old::alert::Proof> for Proof {
    fn from(proof: crake::old::alert::Proof) -> Self {
        let [a, b] = [proof.a, proof.b].map(|finding| match finding {
            Finding::Works => 0,
            Finding::NeverLow => 1,
            Finding::NeverHigh => 2,
            Finding::Swapped => 3,
            Finding::Joined => 4,
        });
        Self { a, b }
    }
}

/// Whether the host sees a line low right now. Gets the `context` of the call, and the output: 1 A, 2 B.
type IsLow = unsafe extern "C" fn(context: *mut c_void, output: u8) -> i32;

/// Proof test of the alert path: trips each output by a limit under any reading, looks at the lines by `is_low`, which gives 0 for high, and puts the station's own watches back.
///
/// While it runs, some four set-ups and three rounds, nothing else is watched; causes that stood before stay pending. The part must run at a pace. After a failure arm the station.
///
/// Prove the path before trusting it, and never let a monitor be the only protection.
///
/// # Safety
/// Each pointer is null or leads to what its type says; the callback may be called with `context`.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_prove(
    monitor: *mut Monitor,
    station: *mut Station,
    is_low: Option<unsafe extern "C" fn(context: *mut c_void, output: u8) -> i32>,
    context: *mut c_void,
    proof: *mut Proof,
    error: *mut Error,
) -> Code {
    // SAFETY: the caller's promise.
    unsafe {
        memory::asked(monitor, (proof, 5), error, |live| {
            let is_low: IsLow = is_low.ok_or(Error::argument(Code::BadPointer, 3))?;
            // SAFETY: the caller's promise.
            let mut desk = memory::held(station, 2)?;
            let mut pause = live.pause;
            let found = crake::old::alert::prove(
                &mut desk,
                &mut live.monitor,
                // SAFETY: the caller's promise.
                &mut |output: Outputs| is_low(context, output.bits()) != 0,
                &mut |us| pause.delay_us(us),
            )?;
            Ok(Proof::from(found))
        })
    }
}

/// Asks which part pulls a shared alert line: the SMBus alert response, a read of two bytes with the `read` of `host`. `address` is the 7-bit address of the part that answered; it has let go of the line, and its
/// causes are still set: serve it before asking again, until nobody answers or the line is high.
///
/// `NOTHING`: nobody answered, which `read` says by `CRAKE_NO_ACKNOWLEDGE`. `CHECK_BYTE`, `BUS`: a part may have answered and let go of the line: serve every part on it.
///
/// # Safety
/// Each pointer is null or leads to what its type says; the callback may be called with the context as `crake_host` says.
#[unsafe(no_mangle)]
pub unsafe extern "C" fn crake_alert_response(
    host: *const Host,
    address: *mut u8,
    error: *mut Error,
) -> Code {
    let outcome = || {
        // SAFETY: the caller's promise.
        let host = unsafe { memory::input(host, 1) }?;
        let (mut bus, ..) = host.parts(1)?;
        if host.read.is_none() {
            return Err(Error::argument(Code::BadPointer, 1));
        }
        memory::writable(address, 2)?;
        match alert_response(&mut bus)? {
            // SAFETY: the caller's promise.
            Answer::From(part) => unsafe { memory::output(address, 2, part) },
            Answer::Nobody => Err(Error::new(Code::Nothing)),
            Answer::Garbled { expected, got, .. } => Err(Error {
                expected: u32::from(expected),
                got: u32::from(got),
                ..Error::new(Code::CheckByte)
            }),
        }
    };
    // SAFETY: the caller's promise.
    unsafe { report(error, outcome()) }
}
