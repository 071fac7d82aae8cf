//! Limits, masks and flags.

use crake::Channel;
use crake::board::LimitPlan;
use crake::bus::{Fault, Link, Port, Register};
use crake::config::{AlertFlags, Kind};

use super::map::{FLAGS, Map};

impl Map {
    pub(super) async fn flags<B: Port>(&mut self, link: &mut Link<B>) -> Result<AlertFlags, Fault> {
        let mut bytes = [0; 3];
        let bits = match self.mistake {
            "check byte of flags ignored" => {
                link.read(0x37, &mut bytes).await?;
                u64::from_be_bytes([0, 0, 0, 0, 0, bytes[0], bytes[1], bytes[2]])
            }
            "a failed look is an empty one" => match link.get(FLAGS).await {
                Err(Fault::Bus) => 0,
                result => result?,
            },
            "tries of its own that nobody counts" => {
                let mut result = link.get(FLAGS).await;
                for _ in 0..5 {
                    if result.is_err() {
                        result = link.get(FLAGS).await;
                    }
                }
                result?
            }
            _ => link.get(FLAGS).await?,
        };
        Ok(AlertFlags::from_bits_retain(
            bits & 0xF_FFFF | (bits & 0x70_0000) << 41,
        ))
    }

    pub(super) async fn clear<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> Result<(), Fault> {
        match self.mistake {
            "clears every flag" => link.put(FLAGS.once(), 0xF_FFFF).await,
            "clears nothing" => Ok(()),
            "a clear that is repeated" => link.put(FLAGS, bits(flags)).await,
            _ => link.put(FLAGS.once(), bits(flags)).await,
        }
    }

    pub(super) async fn write_debounce<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        self.write_masks(link, &[AlertFlags::empty(); 2]).await?;
        if self.has("limits left in the part") {
            return Ok(());
        }
        for channel in Channel::first(4) {
            let counts = Kind::ALL.iter().rev().fold(0, |counts, kind| {
                let count = match (plan.debounce(channel, *kind), self.mistake) {
                    (_, "debounce of 1 for all") => 1,
                    (count, "debounce one less") => count.saturating_sub(1).max(1),
                    (count, _) => count,
                };
                counts << 4 | u64::from(count)
            });
            self.write(link, 0x30 + channel.number(), 3, counts).await?;
        }
        Ok(())
    }

    pub(super) async fn write_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        let limits = plan.limits();
        let latching = match self.mistake {
            "latching ignored" => AlertFlags::OWN,
            "everything latches" => AlertFlags::all(),
            _ => limits.latching() | AlertFlags::OWN,
        };
        self.write(link, 0x34, 3, bits(latching)).await?;
        for limit in limits.list() {
            let code = plan.code_of(limit).ok_or(Fault::Refused)?;
            let code = match self.mistake {
                "limits one code too high" => code + 1,
                "limits one code too low" => code - 1,
                _ => code,
            };
            let mut kind = limit.kind().index() as u8;
            if kind < 4 && self.has("over and under exchanged") {
                kind ^= 1;
            }
            let mut channel = limit.channel().number();
            if self.has("limits of the other end's channels") {
                channel = 3 - channel;
            }
            let bytes = [2, 2, 3, 3, 5][usize::from(kind)];
            let register = Register::new(0x10 + 8 * channel + kind, bytes);
            self.write(link, register.pointer(), bytes, register.low_bytes(code))
                .await?;
        }
        self.write_masks(link, limits.masks()).await?;
        self.take_writes(link).await?;
        self.find_reset(link).await
    }

    async fn write<B: Port>(
        &mut self,
        link: &mut Link<B>,
        pointer: u8,
        bytes: u8,
        value: u64,
    ) -> Result<(), Fault> {
        let register = Register::new(pointer, bytes);
        match self.has("limits not read back") {
            true => link.put(register, value).await,
            false => link.put_verified(register, value).await,
        }
    }

    pub(super) async fn write_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        [a, b]: &[AlertFlags; 2],
    ) -> Result<(), Fault> {
        self.writes_known = false;
        let own = match self.has("the part's own flags masked") {
            true => 0xF_FFFF,
            false => u64::MAX,
        };
        let (a_at, b_at) = match self.has("masks to the other output") {
            true => (0x36, 0x35),
            false => (0x35, 0x36),
        };
        self.write(link, a_at, 3, bits(*a) & own).await?;
        self.write(link, b_at, 3, bits(*b) & own).await
    }
}

fn bits(flags: AlertFlags) -> u64 {
    flags.bits() & 0xF_FFFF | (flags.bits() >> 41) & 0x70_0000
}
