//! Reference sites: what lines of a kind are like, as a fixed set of sites that evidence is weighed over.
//!
//! Decides how rates, lengths and clustering differ between sites of one kind, and prints no odds itself. The set is
//! the same in every run: points of a quasi-random sequence put through inverse distribution functions, so that the same
//! record always gives the same odds.
//!
//! Sources. Rates: days between outages by kind of line, as in `prior`. Lengths: histograms of one cable and one DSL
//! network [PADMAN16], log-uniform inside a bin (choice), the first bin from 30 s (choice);
//! fibre and radio by the shares back within 1, 3 and 12 h of the same source. How far sites of one kind differ is a
//! choice, no source found: rates lognormal about the published mean with sigma 1, the short ones' by another 0.7, long
//! lengths scaled by 0.5, three sites in ten clustered so that half of their outages are followed by another within half
//! an hour of up-time on average. One in twenty besides drops for short every so often, from once a month to twice a day,
//! whatever its long outages do: providers that renew each night, boxes that restart.

use crate::judge::decide::prior::Access;
use crate::judge::stats::special::normal_quantile;
use std::sync::OnceLock;

/// Share of lengths that come from anywhere: a length no site explains must not decide between them (choice).
pub(super) const ANYWHERE: f64 = 0.03;
/// Outages from this length on are those the studies of rates counted, seconds.
pub(super) const LONG: f64 = 600.0;
/// Sites of one kind.
pub const SITES: usize = 2_048;
/// Scales of long lengths told apart.
pub const SCALES: usize = 16;
/// Longest outage, seconds: what lasts longer is a line given up (choice).
pub const CAP: f64 = 259_200.0;
/// Chance that an outage of a clustered site is followed closely, and the mean up-time then, seconds.
pub const FOLLOW: f64 = 0.5;
/// Mean up-time before an outage that follows closely, seconds.
pub const FOLLOW_UP: f64 = 1_800.0;
/// Spread of the rates of one kind, as the sigma of their logarithm.
pub const RATE_SIGMA: f64 = 1.0;

const DAY: f64 = 86_400.0;
const RATIO_SIGMA: f64 = 0.7;
const SCALE_SIGMA: f64 = 0.5;
const CLUSTERED: f64 = 0.3;
const DROPPING: f64 = 0.05;
/// Least and most short drops of such a site, a second.
const DROPS: [f64; 2] = [1.0 / (30.0 * DAY), 2.0 / DAY];

/// A bin of lengths: from, to (seconds), weight.
type Bin = (f64, f64, f64);

const SHORT_CABLE: [Bin; 2] = [(30.0, 300.0, 495.0), (300.0, 600.0, 949.0)];
const SHORT_DSL: [Bin; 2] = [(30.0, 300.0, 1_517.0), (300.0, 600.0, 949.0)];
const LONG_CABLE: [Bin; 10] = [
    (600.0, 1_200.0, 843.0),
    (1_200.0, 1_800.0, 375.0),
    (1_800.0, 3_600.0, 327.0),
    (3_600.0, 10_800.0, 201.0),
    (10_800.0, 21_600.0, 159.0),
    (21_600.0, 43_200.0, 130.0),
    (43_200.0, 86_400.0, 36.0),
    (86_400.0, 259_200.0, 15.0),
    (259_200.0, 604_800.0, 20.0),
    (604_800.0, 1_209_600.0, 28.0),
];
const LONG_DSL: [Bin; 10] = [
    (600.0, 1_200.0, 422.0),
    (1_200.0, 1_800.0, 134.0),
    (1_800.0, 3_600.0, 228.0),
    (3_600.0, 10_800.0, 176.0),
    (10_800.0, 21_600.0, 117.0),
    (21_600.0, 43_200.0, 149.0),
    (43_200.0, 86_400.0, 94.0),
    (86_400.0, 259_200.0, 41.0),
    (259_200.0, 604_800.0, 18.0),
    (604_800.0, 1_209_600.0, 52.0),
];
const LONG_FIBRE: [Bin; 4] =
    [(600.0, 3_600.0, 0.725), (3_600.0, 10_800.0, 0.145), (10_800.0, 43_200.0, 0.098), (43_200.0, 259_200.0, 0.032)];
const LONG_RADIO: [Bin; 4] =
    [(600.0, 3_600.0, 0.765), (3_600.0, 10_800.0, 0.120), (10_800.0, 43_200.0, 0.092), (43_200.0, 259_200.0, 0.023)];

/// The kinds told apart, each with its share where the kind is not known (choice).
pub const KINDS: [(Access, f64); 5] = [
    (Access::Fibre, 0.30),
    (Access::Cable, 0.40),
    (Access::Dsl, 0.15),
    (Access::FixedWireless, 0.10),
    (Access::Satellite, 0.05),
];

/// Lengths of outages of one kind: short and long ones.
#[derive(Clone, Copy, Debug)]
pub struct Lengths {
    short: &'static [Bin],
    long: &'static [Bin],
}

impl Lengths {
    fn of(access: Access) -> Self {
        match access {
            Access::Fibre => Self { short: &SHORT_CABLE, long: &LONG_FIBRE },
            Access::Dsl => Self { short: &SHORT_DSL, long: &LONG_DSL },
            Access::FixedWireless | Access::Satellite => Self { short: &SHORT_CABLE, long: &LONG_RADIO },
            Access::Cable | Access::Unknown => Self { short: &SHORT_CABLE, long: &LONG_CABLE },
        }
    }

    /// Share of short ones over `length` seconds.
    pub fn short_over(&self, length: f64) -> f64 {
        share_over(self.short, 1.0, length)
    }

    /// Share of long ones over `length` seconds, by the scale with this number.
    pub fn long_over(&self, scale: usize, length: f64) -> f64 {
        share_over(self.long, scale_of(scale), length)
    }

    /// Mean of the lesser of a short one and `most` seconds.
    pub fn short_within(&self, most: f64) -> f64 {
        mean_within(self.short, 1.0, most)
    }

    /// Mean of the lesser of a long one and `most` seconds.
    pub fn long_within(&self, scale: usize, most: f64) -> f64 {
        mean_within(self.long, scale_of(scale), most)
    }
}

/// One reference site. Times in seconds.
#[derive(Clone, Copy, Debug)]
pub struct Site {
    /// Its rate on the normal scale of its kind: 0 is the median.
    pub z: f64,
    /// Mean up-time before an outage that does not follow another closely.
    pub up: f64,
    /// Whether outages follow closely.
    pub clustered: bool,
    /// Mean up-time.
    pub mean_up: f64,
    /// Share of long ones.
    pub long_share: f64,
    /// Number of the scale of its long lengths.
    pub scale: usize,
}

/// The reference sites of one kind.
#[derive(Clone, Debug)]
pub struct Kind {
    /// Lengths of its outages.
    pub lengths: Lengths,
    /// Mean length of short ones, seconds.
    pub mean_short: f64,
    /// Mean length of long ones, by scale, seconds.
    pub mean_long: [f64; SCALES],
    /// Its sites.
    pub sites: Vec<Site>,
}

impl Kind {
    /// The sites of one kind; made once and kept, about 130 kB a kind.
    pub fn of(access: Access) -> &'static Self {
        static KEPT: [OnceLock<Kind>; KINDS.len()] = [const { OnceLock::new() }; KINDS.len()];
        let place = KINDS.iter().position(|(a, _)| *a == access).unwrap_or(1);
        KEPT[place].get_or_init(|| Self::new(KINDS[place].0))
    }

    fn new(access: Access) -> Self {
        let lengths = Lengths::of(access);
        let p = access.published();
        let days_between = p.days_between / p.confirmed;
        // Shares back within hours are no counts: those kinds borrow the cable's share of short ones.
        let short_per_long = match access {
            Access::Dsl => weight(&SHORT_DSL) / weight(&LONG_DSL),
            _ => weight(&SHORT_CABLE) / weight(&LONG_CABLE),
        };
        let site = |i: usize| {
            let u = point(i);
            let z = normal_quantile(u[0]);
            // exp(-1/2): a lognormal of sigma 1 with mean 1.
            let long = (RATE_SIGMA * z - RATE_SIGMA * RATE_SIGMA / 2.0).exp() / (days_between * DAY);
            let clustered = u[3] < CLUSTERED;
            let dropping = !clustered && u[3] < CLUSTERED + DROPPING;
            let short = if dropping {
                long * short_per_long + DROPS[0] * (DROPS[1] / DROPS[0]).powf(u[1])
            } else {
                long * short_per_long * (RATIO_SIGMA * normal_quantile(u[1])).exp()
            };
            let rate = long + short;
            let up = if clustered { (1.0 / rate - FOLLOW * FOLLOW_UP) / (1.0 - FOLLOW) } else { 1.0 / rate };
            let up = up.max(FOLLOW_UP);
            let mean_up = if clustered { (1.0 - FOLLOW) * up + FOLLOW * FOLLOW_UP } else { up };
            let scale = ((u[2] * SCALES as f64) as usize).min(SCALES - 1);
            Site { z, up, clustered, mean_up, long_share: long / rate, scale }
        };
        let mean_long = std::array::from_fn(|i| lengths.long_within(i, CAP));
        Self { lengths, mean_short: lengths.short_within(CAP), mean_long, sites: (0..SITES).map(site).collect() }
    }
}

/// Point of the additive recurrence in four dimensions, in (0, 1): multiples of the powers of 1/g, g the root of
/// g^5 = g + 1, less whole parts (the generalised golden ratio; M).
fn point(i: usize) -> [f64; 4] {
    const G: f64 = 1.167_303_978_261_418_7;
    let mut step = 1.0;
    [(); 4].map(|()| {
        step /= G;
        (0.5 + (i + 1) as f64 * step).fract().clamp(1e-9, 1.0 - 1e-9)
    })
}

fn scale_of(number: usize) -> f64 {
    (SCALE_SIGMA * normal_quantile((number as f64 + 0.5) / SCALES as f64)).exp()
}

fn weight(bins: &[Bin]) -> f64 {
    bins.iter().map(|b| b.2).sum()
}

fn mean_within(bins: &[Bin], scale: f64, most: f64) -> f64 {
    let most = most.min(CAP);
    let one = |&(from, to, w): &Bin| {
        let (from, to) = (from * scale, to * scale);
        let top = to.min(most);
        let log = (to / from).ln();
        let below = if top > from { (top - from) / log } else { 0.0 };
        let above = if to > most { most * (to / most.max(from)).ln() / log } else { 0.0 };
        w * (below + above)
    };
    bins.iter().map(one).sum::<f64>() / weight(bins)
}

fn share_over(bins: &[Bin], scale: f64, length: f64) -> f64 {
    if length >= CAP {
        return 0.0;
    }
    let one = |&(from, to, w): &Bin| {
        let (from, to) = (from * scale, to * scale);
        w * ((to / length.max(from)).ln() / (to / from).ln()).max(0.0)
    };
    bins.iter().map(one).sum::<f64>() / weight(bins)
}
