//! Sites with a known truth: when their path is down, and how available they are in the long run.
//!
//! The population is built from published tables. What those do not give is a choice and says so:
//!
//! - **Rates.** Days between dropouts, fibre 30, cable 16, DSL 9, fixed wireless 8, satellite 2, times the share of
//!   dropouts confirmed as outages, .563 .88 .31 .815 .723 [PADMAN19], [PADMAN18] (sampled
//!   around severe weather, so rather too bad). Taken as the rate of outages of ten minutes or more,
//!   which is what probing every eleven minutes sees.
//! - **Lengths.** Histograms of one cable and one DSL network [PADMAN16],
//!   log-uniform inside a bin (choice), the first bin from 30 s (choice). Fibre and fixed wireless: the shares back
//!   within 1, 3, 12 h of the same source, and cable's share of short ones; satellite as fixed wireless (choice).
//! - **Spread between sites** (choice, no source found): rates lognormal about the published mean with sigma 1, the
//!   short ones' rate by another sigma 0.7, long lengths scaled by sigma 0.5; three sites in ten are clustered: half of
//!   their outages are followed by another within half an hour of up-time on average.
//! - **Mix** (choice): fibre 30 %, cable 40 %, DSL 15 %, fixed wireless 10 %, satellite 5 %.
//!
//! Against it: the availability this gives by technology, and the one measured at 10 % loss [BISCHOF18], a
//! source not used here. `main.rs` tests that they agree.

use crate::draw::Draw;

pub(crate) const DAY: f64 = 86_400.0;

/// Longest outage, seconds: what lasts longer is an abandoned probe or a customer who moved (choice; the same as the
/// judge's belief). `LONG_CAP` is the other way of reading the histogram's last bins.
pub(crate) const CAP: f64 = 259_200.0;
pub(crate) const LONG_CAP: f64 = 1_209_600.0;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Technology {
    Fibre,
    Cable,
    Dsl,
    FixedWireless,
    Satellite,
}

/// A bin of lengths: from, to (seconds), weight.
type Bin = (f64, f64, f64);

const SHORT_CABLE: [Bin; 2] = [(30.0, 300.0, 495.0), (300.0, 600.0, 949.0)];
const SHORT_DSL: [Bin; 2] = [(30.0, 300.0, 1517.0), (300.0, 600.0, 949.0)];
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
const LONG_WIRELESS: [Bin; 4] =
    [(600.0, 3_600.0, 0.765), (3_600.0, 10_800.0, 0.120), (10_800.0, 43_200.0, 0.092), (43_200.0, 259_200.0, 0.023)];

impl Technology {
    pub(crate) const ALL: [Self; 5] = [Self::Fibre, Self::Cable, Self::Dsl, Self::FixedWireless, Self::Satellite];

    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Fibre => "fibre",
            Self::Cable => "cable",
            Self::Dsl => "DSL",
            Self::FixedWireless => "fixed wireless",
            Self::Satellite => "satellite",
        }
    }

    pub(crate) fn mix(self) -> f64 {
        match self {
            Self::Fibre => 0.30,
            Self::Cable => 0.40,
            Self::Dsl => 0.15,
            Self::FixedWireless => 0.10,
            Self::Satellite => 0.05,
        }
    }

    /// Days between outages of ten minutes or more.
    fn days_between(self) -> f64 {
        match self {
            Self::Fibre => 30.0 / 0.563,
            Self::Cable => 16.0 / 0.88,
            Self::Dsl => 9.0 / 0.31,
            Self::FixedWireless => 8.0 / 0.815,
            Self::Satellite => 2.0 / 0.723,
        }
    }

    fn bins(self) -> (&'static [Bin], &'static [Bin]) {
        match self {
            Self::Fibre => (&SHORT_CABLE, &LONG_FIBRE),
            Self::Cable => (&SHORT_CABLE, &LONG_CABLE),
            Self::Dsl => (&SHORT_DSL, &LONG_DSL),
            Self::FixedWireless | Self::Satellite => (&SHORT_CABLE, &LONG_WIRELESS),
        }
    }

    /// Short outages for each long one.
    fn short_per_long(self) -> f64 {
        match self {
            Self::Dsl => weight(&SHORT_DSL) / weight(&LONG_DSL),
            _ => weight(&SHORT_CABLE) / weight(&LONG_CABLE),
        }
    }

    pub(crate) fn draw(draw: &mut Draw) -> Self {
        let mut left = draw.uniform();
        for t in Self::ALL {
            left -= t.mix();
            if left <= 0.0 {
                return t;
            }
        }
        Self::Satellite
    }
}

fn weight(bins: &[Bin]) -> f64 {
    bins.iter().map(|b| b.2).sum()
}

fn draw_bin(bins: &[Bin], draw: &mut Draw) -> f64 {
    let mut left = draw.uniform() * weight(bins);
    let bin = bins.iter().find(|b| {
        left -= b.2;
        left <= 0.0
    });
    let (from, to, _) = bin.copied().unwrap_or(bins[bins.len() - 1]);
    from * (to / from).powf(draw.uniform())
}

/// Mean of min(scale X, cap).
fn mean_of(bins: &[Bin], scale: f64, cap: f64) -> f64 {
    let one = |&(from, to, w): &Bin| {
        let (from, to) = (from * scale, to * scale);
        let top = to.min(cap);
        let below = if top > from { (top - from) / (to / from).ln() } else { 0.0 };
        let above = if to > cap { cap * (to / cap.max(from)).ln() / (to / from).ln() } else { 0.0 };
        w * (below + above)
    };
    bins.iter().map(one).sum::<f64>() / weight(bins)
}

/// Share of lengths over `length`.
fn share_over(bins: &[Bin], scale: f64, length: f64) -> f64 {
    let one = |&(from, to, w): &Bin| {
        let (from, to) = (from * scale, to * scale);
        w * ((to / length.max(from)).ln() / (to / from).ln()).max(0.0)
    };
    bins.iter().map(one).sum::<f64>() / weight(bins)
}

/// One site's outage process: exponential up-times, lengths of two kinds, perhaps clustered. Seconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Site {
    pub(crate) technology: Technology,
    /// Mean up-time before an outage that does not follow another closely.
    up: f64,
    /// Chance that an outage is followed closely.
    follow: f64,
    /// Mean up-time then.
    follow_up: f64,
    long_share: f64,
    long_scale: f64,
    cap: f64,
}

/// Outages as (start, end), in order, that touch a watch; the last may end after it.
pub(crate) type History = Vec<(f64, f64)>;

impl Site {
    pub(crate) fn draw(technology: Technology, cap: f64, draw: &mut Draw) -> Self {
        Self::draw_times(technology, cap, 1.0, draw)
    }

    /// A site of a population whose rates are so many times the published ones.
    pub(crate) fn draw_times(technology: Technology, cap: f64, factor: f64, draw: &mut Draw) -> Self {
        // exp(-1/2): a lognormal of sigma 1 with mean 1.
        let long_rate = factor * draw.lognormal((-0.5f64).exp(), 1.0) / (technology.days_between() * DAY);
        let short_rate = long_rate * technology.short_per_long() * draw.lognormal(1.0, 0.7);
        let rate = long_rate + short_rate;
        let clustered = draw.chance(0.3);
        let (follow, follow_up) = if clustered { (0.5, 1_800.0) } else { (0.0, 0.0) };
        Self {
            technology,
            up: ((1.0 / rate - follow * follow_up) / (1.0 - follow)).max(1_800.0),
            follow,
            follow_up,
            long_share: long_rate / rate,
            long_scale: draw.lognormal(1.0, 0.5),
            cap,
        }
    }

    /// A site with exactly the published rate and lengths.
    pub(crate) fn published(technology: Technology, cap: f64) -> Self {
        let long_share = 1.0 / (1.0 + technology.short_per_long());
        let up = technology.days_between() * DAY * long_share;
        Self { technology, up, follow: 0.0, follow_up: 0.0, long_share, long_scale: 1.0, cap }
    }

    fn mean_up(self) -> f64 {
        (1.0 - self.follow) * self.up + self.follow * self.follow_up
    }

    /// Mean length of an outage, seconds.
    pub(crate) fn mean_down(self) -> f64 {
        let (short, long) = self.technology.bins();
        (1.0 - self.long_share) * mean_of(short, 1.0, self.cap)
            + self.long_share * mean_of(long, self.long_scale, self.cap)
    }

    /// Long-run share of time down: mean down over mean cycle (renewal theorem).
    pub(crate) fn unavailability(self) -> f64 {
        self.mean_down() / (self.mean_down() + self.mean_up())
    }

    /// Outages longer than `length` seconds in `days`, in the long run.
    pub(crate) fn longer_in(self, length: f64, days: f64) -> f64 {
        let (short, long) = self.technology.bins();
        let share = (1.0 - self.long_share) * share_over(short, 1.0, length)
            + self.long_share * share_over(long, self.long_scale, length);
        share * days * DAY / (self.mean_up() + self.mean_down())
    }

    /// The same site with outages so much rarer or more frequent that `value` of it becomes `want`.
    pub(crate) fn tuned(mut self, want: f64, value: impl Fn(Self) -> f64) -> Self {
        let (mut low, mut high) = (60f64.ln(), 1e12f64.ln());
        for _ in 0..100 {
            let middle = f64::midpoint(low, high);
            self.up = middle.exp();
            if value(self) > want { low = middle } else { high = middle }
        }
        self
    }

    pub(crate) fn length(self, draw: &mut Draw) -> f64 {
        let (short, long) = self.technology.bins();
        let length =
            if draw.chance(self.long_share) { draw_bin(long, draw) * self.long_scale } else { draw_bin(short, draw) };
        length.min(self.cap)
    }

    /// Outages of a watch of so many seconds that begins at a random moment of the site's life.
    pub(crate) fn history(self, watch: f64, draw: &mut Draw) -> History {
        // Forty days before: outages end by the cap, so that the state at the start is then as good as stationary.
        let mut at = -40.0 * DAY + draw.exponential(self.up);
        let mut out = Vec::new();
        while at < watch {
            let end = at + self.length(draw);
            if end > 0.0 {
                out.push((at.max(0.0), end));
            }
            let mean = if draw.chance(self.follow) { self.follow_up } else { self.up };
            at = end + draw.exponential(mean);
        }
        out
    }
}
