//! Requirements: named thresholds with the source of each, and how the evidence stands against them.
//!
//! A requirement is met or not met only when its bound says so; in between it is open and says how much longer to look.
//! The unit of evidence is the outage, never the probe.

pub use crate::judge::decide::ask::{Ask, Require, RequirementSet};
use crate::judge::decide::delivering::{self, Delivery};
pub use crate::judge::decide::evidence::Evidence;
use crate::judge::decide::outage::Reading;
use crate::judge::decide::thresholds::{APART, LOOKS, LookRule};
use crate::judge::facts::{Micros, Moment};
use crate::judge::stats::band_posterior::{BandPosterior, BandPrior, clean_time_needed};
use crate::judge::stats::rate;
use crate::judge::stats::special::gamma_cdf;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Fewest outages apart from each other before their rate is called not met: outages come in clusters, and one event
/// says nothing of a rate.
const LEAST_SEPARATE: usize = 2;

/// How one requirement stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Shown to hold.
    Met,
    /// Shown not to hold.
    NotMet,
    /// The evidence decides neither.
    #[default]
    Open,
}

/// One requirement held against the evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// The requirement.
    pub require: Require,
    /// How it stands.
    pub standing: Standing,
    /// What was measured.
    pub measured: Measured,
    /// Probability that it holds, where that is a matter of probability.
    pub holds: Option<f64>,
    /// Observed time still needed if nothing more goes wrong; `None` where it stands or that can't be said.
    pub needs: Option<Micros>,
}

/// What was measured for a requirement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Measured {
    /// Share observed.
    Coverage(f64),
    /// Availability: point, and the probability that the requirement holds.
    Availability {
        /// Up time over observed time.
        point: f64,
        /// P(A >= required), after the evidence.
        holds: f64,
    },
    /// Outages longer than the length: count and one-sided bounds on the rate, each in the requirement's period.
    LongOutages {
        /// Count.
        count: u64,
        /// Lower bound.
        least: f64,
        /// Upper bound.
        most: f64,
    },
    /// Outages longer than the interval (s), and the longest outage (s).
    Supervision {
        /// The interval used, seconds.
        interval_s: f64,
        /// Outages longer than it.
        over: u32,
        /// The longest, seconds.
        longest_s: f64,
    },
    /// The delivery figure; `None` if nothing was seen.
    Delivery(Option<Delivery>),
}

impl Require {
    /// Holds the requirement against the evidence alone, by the rule for daily looks. This is what decides.
    pub fn hold(&self, e: &Evidence) -> Held {
        self.hold_by(e, BandPrior::PUBLISHED, &LOOKS)
    }

    /// The same without the search for how much longer to watch.
    pub fn hold_only(&self, e: &Evidence) -> Held {
        self.held(e, BandPrior::PUBLISHED, &LOOKS, false)
    }

    /// Holds it with another belief about the line, or by another rule.
    pub fn hold_by(&self, e: &Evidence, belief: BandPrior, rule: &LookRule) -> Held {
        self.held(e, belief, rule, true)
    }

    fn held(&self, e: &Evidence, belief: BandPrior, rule: &LookRule, search: bool) -> Held {
        let needs_of = |standing, more: &dyn Fn() -> Option<f64>| if search { needs_of(standing, more) } else { 0.0 };
        let seen = e.observed().secs();
        let unsure = |least: Micros| (least.secs() - seen).max(0.0);
        let (standing, measured, holds, needs_s) = match self.ask {
            Ask::Coverage { at_least } => {
                let elapsed = (e.elapsed - e.planned).secs();
                let share = if elapsed > 0.0 { seen / elapsed } else { 0.0 };
                let standing = if share >= at_least { Standing::Met } else { Standing::Open };
                // Watching on without a gap lifts the share: (seen + x) / (elapsed + x) = at_least.
                let needs = (at_least * elapsed - seen) / (1.0 - at_least);
                (standing, Measured::Coverage(share), None, needs.max(0.0))
            }
            Ask::Availability { at_least, sure } => {
                let (outages, up) = (e.lasted(), e.up_s());
                let holds = BandPosterior::new(belief, &outages, up).probability_at_least(at_least);
                let lost: f64 = outages.iter().map(|o| o.seconds).sum();
                let point = 1.0 - lost / seen.max(lost).max(1.0);
                let measured = Measured::Availability { point, holds };
                let standing = rule.three_way(holds, sure, seen, outages.len()).unless_missed(point < at_least);
                let more = || clean_time_needed(belief, &outages, up, at_least, rule.met_at(sure));
                let needs = needs_of(standing, &|| more().map(|s| s.max(unsure(rule.least_watch_met))));
                (standing, measured, Some(holds), needs)
            }
            Ask::Delivery { within_s, at_least, sure } => {
                let within = e.within(within_s);
                let missed = delivering::undelivered(e, within);
                let up = (seen - missed.iter().map(|o| o.seconds).sum::<f64>()).max(0.0);
                let holds = BandPosterior::new(belief, &missed, up).probability_at_least(at_least);
                let figure = delivering::delivery(e, within);
                let short = figure.is_some_and(|d| d.best.miss > 1.0 - at_least);
                let standing = rule.three_way(holds, sure, seen, missed.len()).unless_missed(short);
                let more = || clean_time_needed(belief, &missed, up, at_least, rule.met_at(sure));
                let needs = needs_of(standing, &|| more().map(|s| s.max(unsure(rule.least_watch_met))));
                (standing, Measured::Delivery(figure), Some(holds), needs)
            }
            Ask::LongOutages { longer_than_s, at_most, per_days, sure } => {
                let count = e.lasted().iter().filter(|o| o.seconds > longer_than_s).count() as u64;
                let period = per_days * 86_400.0;
                let bounds = |more: f64, sure: f64| {
                    let periods = (seen + more).max(1.0) / period;
                    (rate::garwood_lower(count, periods, sure), rate::garwood_upper(count, periods, sure))
                };
                let (met_at, not_met_at) = (rule.met_at(sure), 1.0 - rule.not_met_at(sure));
                let standing = if bounds(0.0, met_at).1 <= at_most && seen >= rule.least_watch_met.secs() {
                    Standing::Met
                } else if bounds(0.0, not_met_at).0 > at_most && separate(e, longer_than_s) >= LEAST_SEPARATE {
                    Standing::NotMet
                } else {
                    Standing::Open
                };
                let (least, most) = bounds(0.0, sure);
                let enough = |more: f64| bounds(more, met_at).1 <= at_most;
                let needs = needs_of(standing, &|| Some(longer_until(enough).max(unsure(rule.least_watch_met))));
                // The confidence at which Garwood's upper bound is what is asked.
                let holds = gamma_cdf(count as f64 + 1.0, at_most * seen / period);
                (standing, Measured::LongOutages { count, least, most }, Some(holds), needs)
            }
            Ask::Supervision { interval_s } => {
                let interval_s = e.supervision.map_or(interval_s, Micros::secs);
                let over = e.lasted().iter().filter(|o| o.seconds > interval_s).count() as u32;
                let longest_s = e.lasted().iter().map(|o| o.seconds).fold(0.0, f64::max);
                // A watch shorter than the interval cannot have seen an outage longer than it.
                let least = interval_s.max(rule.least_watch_met.secs());
                let standing = match (over, seen >= least) {
                    (0, true) => Standing::Met,
                    (0, false) => Standing::Open,
                    _ => Standing::NotMet,
                };
                (standing, Measured::Supervision { interval_s, over, longest_s }, None, (least - seen).max(0.0))
            }
        };
        let needs = (standing == Standing::Open && needs_s.is_finite()).then_some(Micros((needs_s * 1e6) as i64));
        Held { require: self.clone(), standing, measured, holds, needs }
    }

    /// The shortest watch that could call it met, with not one outage in it; `None` if no watch can.
    pub fn shortest_watch(&self, e: &Evidence) -> Option<Micros> {
        let nothing = Evidence {
            elapsed: Micros::ZERO,
            outages: Vec::new(),
            unseen: Vec::new(),
            planned: Micros::ZERO,
            ..e.clone()
        };
        let held = self.hold(&nothing);
        if held.standing == Standing::Met { Some(Micros::ZERO) } else { held.needs }
    }
}

impl RequirementSet {
    /// The shortest watch that could call all of it met, and which requirement asks for it; the time is `None` if no
    /// watch can.
    pub fn shortest_watch(&self, e: &Evidence) -> Option<(&Require, Option<Micros>)> {
        let each = self.require.iter().map(|r| (r, r.shortest_watch(e)));
        each.max_by_key(|(_, t)| t.map_or(i64::MAX, |t| t.0))
    }
}

impl Standing {
    /// What was measured short of what is asked is not met, however rare such an outage is believed to be.
    fn unless_missed(self, missed: bool) -> Self {
        if missed && self == Self::Met { Self::Open } else { self }
    }
}

/// How many outages longer than so many seconds came apart from each other.
fn separate(e: &Evidence, longer_than_s: f64) -> usize {
    let mut last: Option<Moment> = None;
    let mut count = 0;
    for o in e.outages.iter().filter(|o| o.lasted(e.now()).seconds > longer_than_s) {
        let (from, to) = o.span(Reading::Middle, e.now());
        count += usize::from(last.is_none_or(|l| (from - l).secs() > APART));
        last = Some(to);
    }
    count
}

/// Further time is only worked out where it is asked for: it costs as much as all the rest.
fn needs_of(standing: Standing, more: impl Fn() -> Option<f64>) -> f64 {
    if standing == Standing::Open { more().unwrap_or(f64::INFINITY) } else { 0.0 }
}

impl LookRule {
    /// Met, not met, or open in between, from the probability that a requirement holds.
    fn three_way(&self, holds: f64, sure: f64, seen_s: f64, outages: usize) -> Standing {
        if holds >= self.met_at(sure) && seen_s >= self.least_watch_met.secs() {
            Standing::Met
        } else if holds <= self.not_met_at(sure)
            && seen_s >= self.least_watch_not_met.secs()
            && outages >= self.least_outages
        {
            // With little observed the posterior is all prior: it may not reject on that.
            Standing::NotMet
        } else {
            Standing::Open
        }
    }
}

/// Least further seconds, to an hour, until `enough` holds; infinite beyond ten years. `enough` must be monotone.
fn longer_until(enough: impl Fn(f64) -> bool) -> f64 {
    const HOUR: f64 = 3_600.0;
    let (mut low, mut high) = (0.0, 10.0 * 8_766.0 * HOUR);
    if enough(low) {
        return 0.0;
    }
    if !enough(high) {
        return f64::INFINITY;
    }
    while high - low > HOUR {
        let middle = 0.5 * (low + high);
        if enough(middle) { high = middle } else { low = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::decide::outage::Outage;
    use crate::judge::facts::Moment;

    fn days(n: f64) -> Micros {
        Micros((n * 86_400e6) as i64)
    }

    fn require(ask: Ask) -> Require {
        Require { name: "r".into(), ask, source: "s".into(), tag: "choice".into() }
    }

    fn clean(n: f64) -> Evidence {
        Evidence::new(days(n), Vec::new())
    }

    /// `n` days with outages of these seconds, an hour apart.
    fn with(n: f64, lengths: &[f64]) -> Evidence {
        let at = |i: usize| Moment(i as i64 * 3_600_000_000);
        let outages =
            lengths.iter().enumerate().map(|(i, s)| Outage::exact(at(i), Some(at(i) + Micros((s * 1e6) as i64))));
        Evidence::new(days(n), outages.collect())
    }

    const LONG: Ask = Ask::LongOutages { longer_than_s: 60.0, at_most: 1.0, per_days: 30.0, sure: 0.95 };

    #[test]
    fn what_little_was_seen_rejects_nothing() {
        let rule = LookRule { met_share: 1.0, not_met_share: 1.0, least_outages: 2, ..LookRule::SINGLE };
        let rule = LookRule { least_watch_met: days(7.0), least_watch_not_met: days(7.0), ..rule };
        let week = 7.0 * 86_400.0;
        let standing = |holds, seen_s, outages| rule.three_way(holds, 0.95, seen_s, outages);
        assert_eq!(standing(0.0, week, 2), Standing::NotMet);
        assert_eq!(standing(0.0, week, 1), Standing::Open, "too few outages");
        assert_eq!(standing(0.0, week - 1.0, 2), Standing::Open, "too short a watch");
        assert_eq!(standing(1.0, week, 0), Standing::Met);
        assert_eq!(standing(1.0, week - 1.0, 0), Standing::Open, "too short a watch");
        assert_eq!(standing(0.5, week, 2), Standing::Open, "in between");
    }

    #[test]
    fn a_clean_stretch_of_ninety_days_just_supports_one_long_outage_a_month() {
        // Zero events need -ln(0.05) = 2.9957 periods [GARWOOD36], [HANLEY83].
        let r = require(LONG);
        let held = |n| r.hold_by(&clean(n), BandPrior::PUBLISHED, &LookRule::SINGLE);
        assert_eq!(held(89.8).standing, Standing::Open);
        assert_eq!(held(89.9).standing, Standing::Met);
        let needs = held(0.0).needs.expect("open").secs() / 86_400.0;
        assert!((needs - 89.87).abs() < 0.1, "{needs}");
        // Under daily looks a look may spend only its share of the error: -ln(0.05 share) periods.
        let daily = r.shortest_watch(&clean(0.0)).expect("a time").secs() / 86_400.0;
        assert!((daily + 30.0 * (0.05 * LOOKS.met_share).ln()).abs() < 0.1, "{daily}");
    }

    #[test]
    fn two_long_outages_in_a_day_are_not_met_one_or_short_ones_decide_nothing() {
        let r = require(LONG);
        let standing = |lengths: &[f64]| r.hold(&with(1.0, lengths)).standing;
        assert_eq!(standing(&[61.0, 61.0]), Standing::Open, "within an hour of each other they are one event");
        let at = |s: i64| Moment(s * 1_000_000);
        let apart = [100, 40_000].map(|s| Outage::exact(at(s), Some(at(s + 61)))).to_vec();
        assert_eq!(r.hold(&Evidence::new(days(1.0), apart)).standing, Standing::NotMet);
        assert_eq!(standing(&[61.0]), Standing::Open);
        assert_eq!(standing(&[59.0, 59.0]), Standing::Open);
    }

    #[test]
    fn no_requirement_is_met_by_less_than_a_week() {
        let r = require(Ask::Supervision { interval_s: 90_000.0 });
        let held = r.hold(&clean(2.0));
        assert_eq!(held.standing, Standing::Open);
        assert!((held.needs.expect("open").secs() - 5.0 * 86_400.0).abs() < 1.0);
        assert_eq!(r.hold(&clean(7.0)).standing, Standing::Met);
    }

    #[test]
    fn what_was_measured_short_is_not_met_by_belief() {
        // 143 days with one outage of 70 h: down 2 % of the time, where 1 % is allowed.
        let e = Evidence::new(days(143.0), vec![Outage::exact(Moment(0), Some(Moment(252_000_000_000)))]);
        let held = require(Ask::Availability { at_least: 0.99, sure: 0.95 }).hold(&e);
        assert_ne!(held.standing, Standing::Met);
    }

    #[test]
    fn delivery_forgives_what_the_retries_bridge() {
        let r = require(Ask::Delivery { within_s: 90.0, at_least: 0.995, sure: 0.95 });
        let short = r.hold(&with(30.0, &[70.0; 20]));
        let long = r.hold(&with(30.0, &[7_200.0; 20]));
        assert_eq!(long.standing, Standing::NotMet);
        assert!(short.holds > Some(0.5) && short.standing != Standing::NotMet, "{:?}", short.holds);
        let Measured::Delivery(Some(d)) = short.measured else { panic!("{:?}", short.measured) };
        assert!(d.best.miss < 1e-12, "each is bridged by the try after 75 s");
    }

    #[test]
    fn a_set_of_ones_own_is_checked() {
        let set = |r: Require| RequirementSet { name: "own".into(), words: "w".into(), require: vec![r] };
        assert!(set(require(LONG)).check().is_ok());
        assert!(set(require(Ask::Availability { at_least: 1.0, sure: 0.95 })).check().is_err());
        assert!(set(require(Ask::Supervision { interval_s: f64::NAN })).check().is_err());
        assert!(set(Require { tag: "sure".into(), ..require(LONG) }).check().is_err());
        assert!(RequirementSet { require: vec![], ..set(require(LONG)) }.check().is_err());
    }

    #[test]
    fn planned_time_need_not_be_watched_and_what_is_asked_may_just_be_met() {
        let r = require(Ask::Coverage { at_least: 0.95 });
        let standing = |seen: f64, planned: f64| {
            let unseen = vec![(Moment(0) + days(seen), Moment(0) + days(100.0))];
            r.hold(&Evidence { unseen, planned: days(planned), ..clean(100.0) }).standing
        };
        assert_eq!((standing(95.1, 0.0), standing(94.9, 0.0)), (Standing::Met, Standing::Open));
        assert_eq!(standing(90.0, 10.0), Standing::Met);
    }

    #[test]
    fn an_outage_of_just_the_length_allowed_is_not_longer() {
        let r = require(LONG);
        assert_eq!(r.hold(&with(1.0, &[60.0, 60.0])).standing, Standing::Open);
    }

    #[test]
    fn outages_soon_after_each_other_are_one_event_and_a_day_never_shows_a_rate_low_enough() {
        let often = require(Ask::LongOutages { longer_than_s: 60.0, at_most: 0.001, per_days: 30.0, sure: 0.95 });
        let apart = |hours: i64| {
            let at = |h: i64| Moment(h * 3_600_000_000);
            let two = [0, hours].map(|h| Outage::exact(at(h), Some(at(h) + Micros(61_000_000))));
            often.hold(&Evidence::new(days(7.0), two.to_vec())).standing
        };
        assert_eq!((apart(1), apart(72)), (Standing::Open, Standing::NotMet));
        let seldom = require(Ask::LongOutages { longer_than_s: 60.0, at_most: 1_000.0, per_days: 30.0, sure: 0.95 });
        assert_eq!(
            (seldom.hold(&clean(1.0)).standing, seldom.hold(&clean(7.0)).standing),
            (Standing::Open, Standing::Met)
        );
    }
}
