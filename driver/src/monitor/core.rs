//! Each operation, once, for both faces.

use core::future::Future;

use super::{Error, ErrorKind, FastCapture, Last, Operation, Stamp, TimeSource};
use crate::Channel;
use crate::board::Board;
use crate::bus::{Fault, Link, Port};
use crate::config::{Config, ConfigError, Scan};
use crate::info::Undetectable;
use crate::part::{AddUp, Compare, Part, ResumeToken};

/// What the blocking and the async monitor share.
///
/// Aligned as totals are, and what else is cleared: the library has a routine for each alignment,
/// and one of them is linked.
#[repr(align(8))]
pub(crate) struct Core<'b, B: Port, P: Part, T: TimeSource, const N: usize> {
    pub(crate) link: Link<B>,
    pub(crate) part: P,
    pub(crate) time: T,
    pub(crate) last: Last<'b, P, T::Stamp, N>,
    /// The part is known to be as `last.scan` says.
    pub(crate) configured: bool,
    /// Limits are known to stand in the part.
    pub(crate) armed: bool,
    /// The part captures this channel, or has captured it, instead of sampling.
    captured: Option<Channel>,
    /// The part's supply is declared off.
    pub(crate) unpowered: bool,
    /// The last sample was not compared yet, where the driver compares.
    pub(crate) fresh: bool,
    /// Samples that failed in a row.
    failures: u8,
}

#[repr(align(8))] // see `Core`
struct Scratch<const N: usize>(Scan<N>);

impl<'b, B: Port, P: Part, T: TimeSource, const N: usize> Core<'b, B, P, T, N> {
    #[inline(always)] // as a call it copies the block, which links the copy routine
    pub(crate) fn new(port: B, part: P, time: T, board: &'b Board<N>) -> Self {
        let link = Link::new(port, part.address());
        Self {
            link,
            part,
            time,
            last: Last {
                block: P::EMPTY,
                comparator: P::Comparator::NONE,
                sums: P::Sums::ZERO,
                stamp: T::Stamp::default(),
                board,
                scan: Scan::NONE,
                readable: 0,
                configuration: 0,
                clipped_samples: 0,
            },
            configured: false,
            armed: false,
            captured: None,
            unpowered: false,
            fresh: false,
            failures: 0,
        }
    }

    /// Whether this part can have the configuration, on this board.
    pub(crate) fn check(&self, config: &Config<N>) -> Result<(), ConfigError> {
        self.last.board.check(P::INFO)?;
        let mut scratch = Scratch(Scan::NONE);
        P::resolve(config, &mut scratch.0)
    }

    /// Puts the part into a configuration. It is unknown from before the first byte until the last
    /// one came through; limits have to be set again in any case.
    pub(crate) async fn configure(&mut self, config: &Config<N>, fresh: bool) -> Result<(), Fault> {
        if !fresh && self.captured.is_none() {
            self.known()?;
        }
        self.take(config)?;
        self.part
            .configure(&mut self.link, &self.last.scan, fresh)
            .await?;
        self.last.configuration = self.last.configuration.wrapping_add(1);
        self.begin();
        Ok(())
    }

    /// Goes on with a part that was configured earlier; it is disturbed by nothing.
    pub(crate) async fn resume(
        &mut self,
        config: &Config<N>,
        token: ResumeToken,
    ) -> Result<(), Fault> {
        self.take(config)?;
        self.part
            .resume(&mut self.link, &self.last.scan, token.writes)
            .await?;
        // Reset, mode and ranges are told by a block.
        self.read(false).await?;
        self.last.configuration = token.configuration;
        if P::INFO.undetectable.contains(Undetectable::WRITES) || P::INFO.has_sums_by_driver() {
            // Nobody knows what it did meanwhile, or nobody added it up: no totals go on with it.
            self.last.configuration = token.configuration.wrapping_add(1) & !ResumeToken::KEPT;
        }
        self.begin();
        Ok(())
    }

    /// What [`resume`](Self::resume) needs.
    pub(crate) fn token(&self) -> ResumeToken {
        ResumeToken {
            writes: self.part.writes(),
            configuration: self.last.configuration | ResumeToken::KEPT,
        }
    }

    pub(crate) fn sample(&mut self) -> impl Future<Output = Result<(), Fault>> {
        self.read(true)
    }

    /// A sample, which takes a part that is known, and the end of a resume, which finds out.
    fn read(&mut self, known: bool) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            if known {
                self.powered()?;
                self.known()?;
            }
            self.last.readable = 0;
            if self.failures >= P::FAILURES_MAX {
                self.forget();
                return Err(Fault::NotConfigured);
            }
            // Counted before, and taken back after: a future that is dropped has failed, too.
            self.failures = self.failures.wrapping_add(1);
            let latch_us = self.part.latch_us_max();
            self.time.begin(&mut self.last.stamp);
            self.part.latch(&mut self.link).await?;
            let age_us = self.part.age_us_max();
            if !P::FREE_RUNNING && !self.time.end(&mut self.last.stamp, latch_us, age_us) {
                return Err(Fault::Clock);
            }
            self.part
                .read_block(&mut self.link, latch_us, &mut self.last.block)
                .await?;
            if P::FREE_RUNNING && !self.time.end(&mut self.last.stamp, latch_us, age_us) {
                return Err(Fault::Clock);
            }
            self.failures = 0;
            // Without a mean there are no codes.
            if P::is_complete(&self.last.block) {
                self.last.readable = self.last.scan.enabled;
                self.fresh = true;
                if let Some(stamp) = self.last.stamp.timestamp() {
                    self.last.add_up(stamp);
                }
            }
            if P::is_clipped(&self.last.block) {
                self.last.clipped_samples = self.last.clipped_samples.wrapping_add(1);
            }
            Ok(())
        })
    }

    /// Starts a fast capture. From before the first byte on the part is not configured for samples.
    pub(crate) async fn start_capture(&mut self, channel: Channel) -> Result<(), Fault> {
        self.powered()?;
        self.known()?;
        if P::INFO.capture_max == 0 {
            return Err(Fault::NotSupported);
        }
        if self.last.scan.range(channel).is_none() {
            return Err(Fault::Refused);
        }
        self.forget();
        self.part.start_capture(&mut self.link, channel).await?;
        self.captured = Some(channel);
        Ok(())
    }

    /// Fetches codes of the capture from number `first` on, of which there are as many.
    pub(crate) async fn fetch_capture(
        &mut self,
        first: u16,
        codes: &mut [i32],
    ) -> Result<(), Fault> {
        self.powered()?;
        if self.captured.is_none() {
            return Err(Fault::NotConfigured);
        }
        let (link, block) = (&mut self.link, &mut self.last.block);
        let result = self.part.fetch_capture(link, block, first, codes).await;
        if let Err(Fault::Reset | Fault::Changed) = result {
            self.captured = None;
        }
        result
    }

    /// Codes as they were fetched, with what converts them.
    pub(crate) fn lend_capture<'m>(
        &'m self,
        codes: &'m [i32],
    ) -> Result<FastCapture<'m>, Error<B::Error>> {
        let lent = self.captured.and_then(|channel| {
            Some(FastCapture {
                codes,
                info: P::INFO,
                factors: self.last.board.factors(channel)?,
                range: self.last.scan.range(channel)?,
            })
        });
        // Every channel that can be captured has both.
        let kind = ErrorKind::State(Fault::NotConfigured);
        lent.ok_or_else(|| self.error_of(Operation::FetchCapture, kind))
    }

    /// What a fault was about, for the user. After a reset, or somebody else's writes, nothing is
    /// known of the part any more.
    #[inline(never)]
    pub(crate) fn error(&mut self, operation: Operation, fault: Fault) -> Error<B::Error> {
        if matches!(fault, Fault::Reset | Fault::Changed) {
            self.forget();
        }
        Error::of(self.link.target_mut(), operation, fault)
    }

    pub(crate) fn error_of(
        &self,
        operation: Operation,
        kind: ErrorKind<B::Error>,
    ) -> Error<B::Error> {
        Error::at(self.link.target(), operation, kind)
    }

    /// Nothing is known of the part any more; it is to be as a configuration says that was checked.
    fn take(&mut self, config: &Config<N>) -> Result<(), Fault> {
        self.powered()?;
        self.forget();
        P::resolve(config, &mut self.last.scan).map_err(|_| Fault::Refused)
    }

    /// Codes are converted by this board from the next sample on.
    pub(crate) fn set_board(&mut self, board: &'b Board<N>) -> Result<(), ConfigError> {
        board.check(P::INFO)?;
        self.last.board = board;
        self.last.readable = 0;
        Ok(())
    }

    /// Nothing is known of the part any more.
    pub(crate) const fn forget(&mut self) {
        self.configured = false;
        self.armed = false;
        self.captured = None;
        self.last.readable = 0;
    }

    /// The part is known to be as the last configuration says.
    fn begin(&mut self) {
        self.configured = true;
        self.failures = 0;
        self.last.scan.undetectable = self.part.undetectable();
    }

    pub(crate) const fn known(&self) -> Result<(), Fault> {
        if self.configured {
            Ok(())
        } else {
            Err(Fault::NotConfigured)
        }
    }

    pub(crate) const fn powered(&self) -> Result<(), Fault> {
        if self.unpowered {
            Err(Fault::Unpowered)
        } else {
            Ok(())
        }
    }
}
