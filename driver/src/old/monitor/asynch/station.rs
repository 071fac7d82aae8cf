//! A station on an async monitor: what is decided, and when, is [`Station`]'s own; the call in the middle is awaited.

use super::ShuntMonitor;
use crate::old::Frame;
use crate::old::alert::{Causes, Change, Station, Watches};
use crate::old::monitor::Error;
use crate::old::sampling::Setup;

impl<'w, const N: usize, const Q: usize> Station<'w, N, Q> {
    /// The async twin of [`arm`](Self::arm), with its errors.
    ///
    /// # Errors
    /// As [`arm`](Self::arm). Dropped before its end it leaves what a failure on the bus leaves.
    pub async fn arm_async<'m, M: ShuntMonitor<N>>(
        &mut self,
        monitor: &'m mut M,
    ) -> Result<Frame<'m>, Error<M::BusError>> {
        let change = self.begin_change(None);
        self.change_async(monitor, &change).await
    }

    /// The async twin of [`rearm`](Self::rearm), with its errors.
    ///
    /// # Errors
    /// As [`rearm`](Self::rearm). Dropped before its end it leaves what a failure on the bus leaves: the old watches or the new ones may be in force, the outputs may be masked; arm either.
    pub async fn rearm_async<'m, M: ShuntMonitor<N>>(
        &mut self,
        monitor: &'m mut M,
        setup: Setup<N>,
        watches: Watches<'w>,
    ) -> Result<Frame<'m>, Error<M::BusError>> {
        let change = self.begin_change(Some((&setup, &watches)));
        self.change_async(monitor, &change).await
    }

    async fn change_async<'m, M: ShuntMonitor<N>>(
        &mut self,
        monitor: &'m mut M,
        change: &Change<'w, N>,
    ) -> Result<Frame<'m>, Error<M::BusError>> {
        let mut of_proof = Causes::empty();
        let found = self.found(&mut of_proof);
        match monitor.arm(&change.setup, &change.watches, found).await {
            Ok(frame) => {
                self.changed(change, &frame);
                Ok(frame)
            }
            Err(error) => {
                self.unchanged(change, &error);
                Err(error)
            }
        }
    }

    /// The async twin of [`service`](Self::service), with its errors: call it while an alert line is low, which `Wait::wait_for_low` of `embedded_hal_async::digital` waits for.
    ///
    /// # Errors
    /// As [`service`](Self::service). Dropped before its end it leaves what was seen pending, and the next service reports it.
    pub async fn service_async<'m, M: ShuntMonitor<N>>(
        &mut self,
        monitor: &'m mut M,
    ) -> Result<Frame<'m>, Error<M::BusError>> {
        let (unsure, interest, pending) = self.begin_look();
        let outcome = monitor.service(interest, pending).await;
        self.looked(unsure, outcome.as_ref().err());
        let frame = outcome?;
        self.report(&frame);
        Ok(frame)
    }

    /// The async twin of [`look`](Self::look), with its errors.
    ///
    /// # Errors
    /// As [`look`](Self::look). Dropped before its end it leaves what a failure on the bus leaves: what was seen is reported once a further look has come through.
    pub async fn look_async<M: ShuntMonitor<N>>(
        &mut self,
        monitor: &mut M,
    ) -> Result<bool, Error<M::BusError>> {
        let (unsure, interest, pending) = self.begin_look();
        let outcome = monitor.look(interest, pending).await;
        self.looked(unsure, outcome.as_ref().err());
        outcome
    }
}
