//! How well each reference site explains what was seen: the logarithm of its likelihood.
//!
//! Decides how outages and quiet time count; what is told of the time before counts by `past`. Up-times are exponential, and in clustered sites half of them short;
//! so two outages within an hour say little more than one. An outage still running counts as longer than so far; edges
//! that leave its length open count as the whole span between. Unobserved time is neither up nor down: it is left out.
//!
//! Outages shorter than [`LEAST_LENGTH`] were not seen by the studies the sites are built from; they count neither way.

use super::past::Past;
use super::sites::{ANYWHERE, CAP, FOLLOW, FOLLOW_UP, Kind, SCALES, Site};
use crate::judge::decide::evidence::Evidence;
use crate::judge::decide::outage::Reading;
use crate::judge::facts::{Micros, Moment, stretches};

/// Shortest outage that says something of the line, seconds.
pub const LEAST_LENGTH: f64 = 30.0;
/// A length is known to no better than this ratio either way, for the likelihood (choice: shapes are coarse).
const BLUR: f64 = 1.2;

/// One outage, as it counts. Seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// Observed up-time before it, since the one before or the start.
    pub up_before: f64,
    /// Shortest and longest it can have been.
    pub length: [f64; 2],
    /// Whether it ended.
    pub ended: bool,
    /// Whether it was running when the watch began.
    pub at_start: bool,
}

/// What was watched. Seconds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Watched {
    /// The outages, in order.
    pub events: Vec<Event>,
    /// Observed up-time after the last, or in all.
    pub up_after: f64,
}

impl Watched {
    /// The evidence as it counts here.
    pub fn of(e: &Evidence) -> Self {
        let now = e.now();
        let up = |from: Moment, to: Moment| {
            let first = e.unseen.partition_point(|u| u.1 <= from);
            let touching = &e.unseen[first..first + e.unseen[first..].partition_point(|u| u.0 < to)];
            stretches::total(&stretches::less(&[(from, to.max(from))], touching)).secs()
        };
        let mut last = Moment(0);
        let mut events = Vec::with_capacity(e.outages.len());
        let shortest = Micros((LEAST_LENGTH * 1e6) as i64);
        for o in e.outages.iter().filter(|o| o.length(Reading::Longest, now) >= shortest) {
            let (from, to) = o.span(Reading::Middle, now);
            let up_before = up(last, from);
            let length = [Reading::Shortest, Reading::Longest].map(|r| o.length(r, now).secs());
            let at_start = events.is_empty() && up_before < 1.0;
            events.push(Event { up_before, length, ended: o.to.is_some(), at_start });
            last = to;
        }
        Self { events, up_after: up(last, now) }
    }
}

/// ln of the likelihood of each site of a kind.
pub fn log_likelihood(kind: &Kind, watched: &Watched, past: &Past) -> Vec<f64> {
    let lengths: Vec<(f64, [f64; SCALES])> = watched.events.iter().map(|e| length_shares(kind, e)).collect();
    // Up-times so long that none can follow closely need no exponential of their own.
    let far = 40.0 * FOLLOW_UP;
    let first_is_up = watched.events.first().is_none_or(|e| !e.at_start);
    let gaps: Vec<f64> = watched.events.iter().filter(|e| !e.at_start).map(|e| e.up_before).collect();
    let (long_sum, long_count) =
        gaps.iter().skip(1).filter(|g| **g > far).fold((0.0, 0.0), |(s, n), g| (s + g, n + 1.0));
    let near: Vec<f64> = gaps.iter().skip(1).copied().filter(|g| *g <= far).collect();
    let down = |s: &Site| (1.0 - s.long_share) * kind.mean_short + s.long_share * kind.mean_long[s.scale];
    let site = |s: &Site| {
        let follow = if s.clustered { FOLLOW } else { 0.0 };
        // Of each kind of up-time its part; most sites have one kind only.
        let parts = |g: f64, far: f64, near: f64| {
            let far = (1.0 - follow) * far * (-g / s.up).exp();
            if s.clustered { far + follow * near * (-g / FOLLOW_UP).exp() } else { far }
        };
        let density = |g: f64| parts(g, 1.0 / s.up, 1.0 / FOLLOW_UP);
        let survival = |g: f64| parts(g, 1.0, 1.0);
        let residual = |g: f64| parts(g, s.up, FOLLOW_UP) / s.mean_up;
        let cycle = s.mean_up + down(s);
        let mut l = if first_is_up { (s.mean_up / cycle).ln() } else { 0.0 };
        // The first up-time began before the watch did, the last ends after it.
        l += match gaps.first() {
            Some(first) if first_is_up => ((survival(*first) / s.mean_up).max(1e-300)).ln(),
            Some(first) => density(*first).max(1e-300).ln(),
            None => 0.0,
        };
        let mut product = Product::default();
        for g in &near {
            product.times(density(*g));
        }
        l += long_count * ((1.0 - follow) / s.up).ln() - long_sum / s.up;
        l += match watched.events.last() {
            None => residual_ln(residual(watched.up_after), watched.up_after, s),
            Some(e) if e.ended => residual_ln(survival(watched.up_after), watched.up_after, s),
            Some(_) => 0.0,
        };
        for (e, (short, long)) in watched.events.iter().zip(&lengths) {
            let p = (1.0 - s.long_share) * short + s.long_share * long[s.scale];
            // One running at the start is met in proportion to how long such last.
            product.times(if e.at_start { p / cycle } else { (1.0 - ANYWHERE) * p + ANYWHERE * anywhere(e) });
        }
        l + product.ln() + past.ln(kind, s)
    };
    kind.sites.iter().map(site).collect()
}

/// ln of a survival that may have run under what a float holds.
fn residual_ln(value: f64, gap: f64, s: &Site) -> f64 {
    if value > 1e-290 { value.ln() } else { -gap / s.up }
}

/// Probability of an outage's length for short ones and for long ones by scale; for one running at the start the same
/// times its mean length.
fn length_shares(kind: &Kind, e: &Event) -> (f64, [f64; SCALES]) {
    let l = &kind.lengths;
    let [least, most] = blurred(e);
    let scales = std::array::from_fn::<usize, SCALES, _>(|i| i);
    match (e.at_start, e.ended) {
        (false, true) => {
            (l.short_over(least) - l.short_over(most), scales.map(|i| l.long_over(i, least) - l.long_over(i, most)))
        }
        (false, false) => (l.short_over(e.length[0]), scales.map(|i| l.long_over(i, e.length[0]))),
        (true, true) => (
            l.short_within(most) - l.short_within(least),
            scales.map(|i| l.long_within(i, most) - l.long_within(i, least)),
        ),
        (true, false) => (
            l.short_within(CAP) - l.short_within(e.length[0]),
            scales.map(|i| l.long_within(i, CAP) - l.long_within(i, e.length[0])),
        ),
    }
}

fn blurred(e: &Event) -> [f64; 2] {
    let middle = (e.length[0] * e.length[1]).sqrt().max(LEAST_LENGTH);
    [e.length[0].min(middle / BLUR).max(1.0), e.length[1].max(middle * BLUR)]
}

fn anywhere(e: &Event) -> f64 {
    if e.ended {
        let [least, most] = blurred(e);
        (most / least).ln() / (30.0 * 86_400.0f64).ln()
    } else {
        1.0 - (e.length[0].clamp(1.0, 2e6)).ln() / (30.0 * 86_400.0f64).ln()
    }
}

/// A product of many factors that does not run under.
struct Product {
    ln: f64,
    now: f64,
}

impl Default for Product {
    fn default() -> Self {
        Self { ln: 0.0, now: 1.0 }
    }
}

impl Product {
    fn times(&mut self, factor: f64) {
        self.now *= factor.max(1e-30);
        if self.now < 1e-200 {
            self.ln += self.now.ln();
            self.now = 1.0;
        }
    }

    fn ln(&self) -> f64 {
        self.ln + self.now.ln()
    }
}
