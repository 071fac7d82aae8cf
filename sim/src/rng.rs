//! The bench's only source of chance: small, seeded, and split into named streams.

use core::ops::RangeInclusive;

/// A generator that yields the same draws from the same seed, on every machine.
///
/// xoshiro256++ (D. Blackman and S. Vigna, public domain), its state filled by SplitMix64. Not for
/// secrets.
///
/// Every concern takes a [stream](Rng::stream) of its own, so that one more draw in one of them
/// shifts no other:
///
/// ```
/// use crake_sim::rng::Rng;
///
/// let mut part = Rng::new(7).stream("part 0x32");
/// let mut faults = Rng::new(7).stream("faults");
/// assert_ne!(part.next_u64(), faults.next_u64());
/// ```
#[derive(Clone, Debug)]
pub struct Rng {
    seed: u64,
    state: [u64; 4],
}

impl Rng {
    /// The generator that belongs to `seed`; every value is a good one.
    pub fn new(seed: u64) -> Self {
        let mut mixer = seed;
        Self {
            seed,
            state: core::array::from_fn(|_| split_mix(&mut mixer)),
        }
    }

    /// A generator for the concern called `name`.
    ///
    /// It depends on the seed and the name alone, not on what was drawn before, and streams nest.
    pub fn stream(&self, name: &str) -> Self {
        // FNV-1a over the name, begun at the mixed seed: the order of nested names then matters.
        let begin = split_mix(&mut { self.seed });
        Self::new(name.bytes().fold(begin, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(FNV_PRIME)
        }))
    }

    /// 64 random bits.
    #[inline]
    pub fn next_u64(&mut self) -> u64 {
        let [a, b, c, d] = &mut self.state;
        let drawn = a.wrapping_add(*d).rotate_left(23).wrapping_add(*a);
        let shifted = *b << 17;
        *c ^= *a;
        *d ^= *b;
        *b ^= *c;
        *a ^= *d;
        *c ^= shifted;
        *d = d.rotate_left(45);
        drawn
    }

    /// A whole number from 0 to `bound - 1`, each equally likely; 0 for a bound of 0.
    pub fn below(&mut self, bound: u64) -> u64 {
        // The high word of draw x bound, where draws whose low word would favour some results are
        // drawn again (D. Lemire, "Fast random integer generation in an interval", 2019).
        let favoured = bound.wrapping_neg().checked_rem(bound).unwrap_or(0);
        loop {
            let product = u128::from(self.next_u64()) * u128::from(bound);
            if product as u64 >= favoured {
                return (product >> 64) as u64;
            }
        }
    }

    /// A whole number of `range`, ends included, each equally likely; the start of an empty range.
    pub fn integer(&mut self, range: RangeInclusive<i64>) -> i64 {
        let (start, end) = (*range.start(), *range.end());
        if end <= start {
            return start;
        }
        match end.wrapping_sub(start) as u64 {
            u64::MAX => self.next_u64() as i64,
            span => start.wrapping_add(self.below(span + 1) as i64),
        }
    }

    /// A number from `-limit` to `limit`, ends included, rectangular: the distribution of an error
    /// of which only the limit is known.
    pub fn rectangular(&mut self, limit: f64) -> f64 {
        let steps = self.integer(-(1 << 53)..=1 << 53);
        steps as f64 / (1_u64 << 53) as f64 * limit
    }

    /// The noise that belongs to this generator's seed, whatever was drawn before.
    pub fn noise(&self) -> Noise {
        Noise {
            key: split_mix(&mut { self.seed }),
        }
    }
}

/// Noise by position: each number has its own, in whatever order numbers are asked for, so a
/// stretch can be left out without changing what comes after it.
///
/// ```
/// use crake_sim::rng::Rng;
///
/// let noise = Rng::new(7).stream("sense 0").noise();
/// let third = noise.at(3);
/// noise.at(1);
/// assert_eq!(noise.at(3), third);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Noise {
    key: u64,
}

impl Noise {
    /// Noise of mean 0 and standard deviation 1 that never leaves ±6: nearly normal, with honest
    /// bounds.
    ///
    /// Three draws of SplitMix64, whose n-th is a function of n alone. The sum of the twelve
    /// uniforms in them, less its mean: each uniform is a 16-bit slice u of a draw, taken at the
    /// middle of its cell, (u + 1/2)/2^16 - 1/2, so the mean is exactly zero. A uniform on 2^16
    /// such points has the variance (1 - 2^-32)/12, hence the sum has 1 - 2^-32; the factor 1 +
    /// 2^-33 makes that 1 to within 2^-64. The greatest value is (6 - 6/2^16)(1 + 2^-33), below 6.
    #[inline]
    pub fn at(&self, number: u64) -> f64 {
        let mut state = self
            .key
            .wrapping_add(number.wrapping_mul(3).wrapping_mul(GOLDEN));
        noise_6_sigma([
            split_mix(&mut state),
            split_mix(&mut state),
            split_mix(&mut state),
        ])
    }
}

/// Twelve slices of 16 bits, added up.
#[inline]
fn noise_6_sigma(draws: [u64; 3]) -> f64 {
    // Two 16-bit slices at a time in lanes of 32 bits: six of them cannot carry into the next lane.
    const LANES: u64 = 0x0000_FFFF_0000_FFFF;
    let lanes: u64 = draws
        .iter()
        .map(|draw| (draw & LANES) + ((draw >> 16) & LANES))
        .sum();
    let sum = (lanes & 0xFFFF_FFFF) + (lanes >> 32);
    let centred = 2 * sum as i64 - 12 * 65_535;
    centred as f64 * NOISE_STEP
}

/// Half a cell of 2^-16, times 1 + 2^-33; exact in an f64.
const NOISE_STEP: f64 = (1.0 + 1.0 / (1_u64 << 33) as f64) / 131_072.0;

const FNV_PRIME: u64 = 0x0000_0100_0000_01B3;
/// The step of SplitMix64.
const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

/// SplitMix64 (S. Vigna, public domain): moves `state` on and yields 64 well-mixed bits.
#[inline]
fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(GOLDEN);
    let z = (*state ^ (*state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    // First outputs of the authors' generators, as their other implementations print them (from
    // memory; agreement of 64-bit values by accident is out of the question).
    #[test]
    fn generators_agree_with_their_authors() {
        let mut state = 1_234_567;
        let mixed = [
            split_mix(&mut state),
            split_mix(&mut state),
            split_mix(&mut state),
        ];
        assert_eq!(
            mixed,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );

        // The second number's noise goes on where the first one's ended.
        let noise = Noise { key: 1_234_567 };
        assert_eq!(noise.at(0), noise_6_sigma(mixed));
        assert_eq!(
            noise.at(1),
            noise_6_sigma(core::array::from_fn(|_| split_mix(&mut state)))
        );

        let mut rng = Rng {
            seed: 0,
            state: [1, 2, 3, 4],
        };
        let drawn: [u64; 5] = core::array::from_fn(|_| rng.next_u64());
        assert_eq!(
            drawn,
            [
                41_943_041,
                58_720_359,
                3_588_806_011_781_223,
                3_591_011_842_654_386,
                9_228_616_714_210_784_205
            ]
        );
    }

    #[test]
    fn a_stream_depends_on_seed_and_name_alone() {
        let mut used = Rng::new(1);
        used.next_u64();
        let first = |mut rng: Rng| rng.next_u64();
        assert_eq!(first(used.stream("a")), first(Rng::new(1).stream("a")));
        assert_ne!(
            first(Rng::new(1).stream("a")),
            first(Rng::new(1).stream("b"))
        );
        assert_ne!(
            first(Rng::new(1).stream("a")),
            first(Rng::new(2).stream("a"))
        );
        assert_ne!(
            first(Rng::new(1).stream("a").stream("b")),
            first(Rng::new(1).stream("b").stream("a"))
        );
    }

    #[test]
    fn integers_fill_their_range_and_never_leave_it() {
        let mut rng = Rng::new(2);
        let mut seen = [0_u32; 7];
        for _ in 0..7_000 {
            seen[(rng.integer(-3..=3) + 3) as usize] += 1;
        }
        // 1000 expected with a standard deviation of 29: six of them.
        assert!(seen.iter().all(|&n| (826..=1174).contains(&n)), "{seen:?}");
        assert_eq!(rng.integer(5..=5), 5);
        #[expect(
            clippy::reversed_empty_ranges,
            reason = "the empty range is the case under test"
        )]
        let empty = rng.integer(5..=4);
        assert_eq!(empty, 5);
        assert_eq!(rng.below(0), 0);
        assert_eq!(rng.below(1), 0);
        let _any = rng.integer(i64::MIN..=i64::MAX);
    }

    /// FNV-1a by its authors' text: of each byte first exclusive or, then times 2^40 + 2^8 + 0xB3.
    #[test]
    fn a_stream_begins_at_the_hash_of_its_name() {
        let rng = Rng::new(7);
        let prime = (1 << 40) + (1 << 8) + 0xB3;
        let first = split_mix(&mut { 7 }) ^ u64::from(b'a');
        let second = first.wrapping_mul(prime) ^ u64::from(b'b');
        let hash = second.wrapping_mul(prime);
        assert_eq!(rng.stream("ab").next_u64(), Rng::new(hash).next_u64());
    }

    #[test]
    fn rectangular_stays_within_its_limit_and_has_its_variance() {
        let mut rng = Rng::new(3);
        let n = 100_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..n {
            let x = rng.rectangular(2.0);
            assert!((-2.0..=2.0).contains(&x));
            sum += x;
            squares += x * x;
        }
        // Variance limit²/3; six standard deviations of the two estimates.
        assert!((sum / f64::from(n)).abs() < 6.0 * 1.155 / 316.0);
        assert!((squares / f64::from(n) - 4.0 / 3.0).abs() < 6.0 * 1.2 / 316.0);
    }

    // Mean, variance and fourth moment of a sum of twelve uniforms: 0, 1, 3 - 6/(5 x 12) = 2.9.
    #[test]
    fn noise_has_the_moments_of_twelve_uniforms() {
        let noise = Rng::new(4).noise();
        let n = 1_000_000;
        let (mut mean, mut variance, mut fourth, mut greatest) = (0.0, 0.0, 0.0, 0.0_f64);
        for number in 0..n {
            let x = noise.at(number);
            mean += x / n as f64;
            variance += x * x / n as f64;
            fourth += x * x * x * x / n as f64;
            greatest = greatest.max(x.abs());
        }
        assert!(mean.abs() < 0.006, "{mean}");
        assert!((variance - 1.0).abs() < 0.009, "{variance}");
        assert!((fourth - 2.9).abs() < 0.06, "{fourth}");
        assert!((4.0..6.0).contains(&greatest), "{greatest}");
    }

    /// Neighbours, and the same number of another stream, have nothing in common: a correlation of
    /// 0, to six standard deviations 1/√n of its estimate.
    #[test]
    fn noise_of_one_position_says_nothing_of_another() {
        let (one, other) = (Rng::new(4).noise(), Rng::new(4).stream("other").noise());
        let n = 100_000;
        for lag in 1..4 {
            let along: f64 = (0..n).map(|at| one.at(at) * one.at(at + lag)).sum();
            assert!((along / n as f64).abs() < 6.0 / 316.0, "{lag}: {along}");
        }
        let across: f64 = (0..n).map(|at| one.at(at) * other.at(at)).sum();
        assert!((across / n as f64).abs() < 6.0 / 316.0, "{across}");
    }

    /// Slices of 0 and of 65535 are the ends: twelve times half less half a cell, 6 - 6/65536, and
    /// a little for the variance. Every slice counts alike.
    #[test]
    fn noise_is_bounded_by_six_at_both_ends() {
        let end = (6.0 - 6.0 / 65_536.0) * (1.0 + 1.0 / 8_589_934_592.0);
        assert!((noise_6_sigma([u64::MAX; 3]) - end).abs() < 1e-15);
        assert_eq!(noise_6_sigma([0; 3]), -noise_6_sigma([u64::MAX; 3]));
        for draw in 0..3 {
            for slice in 0..4 {
                let mut draws = [0; 3];
                draws[draw] = 0xFFFF << (16 * slice);
                // Half below to half above zero.
                let moved = noise_6_sigma(draws) + end;
                assert!((moved - end / 6.0).abs() < 1e-15, "{draw} {slice}: {moved}");
            }
        }
    }

    #[test]
    fn where_there_is_no_choice_nothing_is_drawn() {
        let (mut one, mut other) = (Rng::new(1), Rng::new(1));
        let [only, empty] = [(5, 5), (7, 6)].map(|(start, end)| one.integer(start..=end));
        assert_eq!((only, empty), (5, 7));
        assert_eq!(one.next_u64(), other.next_u64());
    }
}
