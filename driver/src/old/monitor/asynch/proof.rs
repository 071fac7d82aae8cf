use embedded_hal_async::delay::DelayNs;

use super::ShuntMonitor;
use crate::old::alert::{Causes, Outputs, Proof, Station, Trial, Watches};
use crate::old::monitor::Error;

/// The async twin of [`alert::prove`](crate::old::alert::prove), with its errors; time passes in `delay`.
///
/// # Errors
/// The bus failed: the station's watches may not be in force; arm it. Dropped before its end it leaves the same.
pub async fn prove<const N: usize, const Q: usize, M: ShuntMonitor<N>, D: DelayNs>(
    station: &mut Station<'_, N, Q>,
    monitor: &mut M,
    is_low: &mut dyn FnMut(Outputs) -> bool,
    delay: &mut D,
) -> Result<Proof, Error<M::BusError>> {
    let trial = Trial::new(*station.setup(), &monitor.latch().await?);
    let mut lows = [[false; 2]; 3];
    for (output, lows) in Trial::<N>::TRIPPED.into_iter().zip(&mut lows) {
        let (watch, mut of_test) = (trial.watch(output), Causes::empty());
        let (watches, found) = (
            Watches::limits(watch.as_slice()),
            station.found(&mut of_test),
        );
        monitor.arm(&trial.setup, &watches, found).await?;
        station.begin_proof();
        delay.delay_us(trial.wait_us).await;
        *lows = [is_low(Outputs::A), is_low(Outputs::B)];
    }
    station.arm_async(monitor).await?;
    Ok(Proof::of(lows))
}
