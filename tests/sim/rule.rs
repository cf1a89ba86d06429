//! The one place where the simulator meets the verdict rule, so that a change of its API is a change here only.
//!
//! Keeps the numbers each standing rests on rather than the standing alone, so that one pass over the sites serves
//! every threshold. `main.rs` tests that it says the same as `Require::hold`, which it does not call for each look
//! because that also searches for the time still needed.

use crate::world::DAY;
use pathproof::judge::outage::Outage;
use pathproof::judge::requirement::{Ask, Evidence, RequirementSet};
use pathproof::judge::stats::band_posterior::{BandPosterior, BandPrior};
use pathproof::judge::stats::duration::Lasted;
use pathproof::judge::stats::rate::{garwood_lower, garwood_upper};
use pathproof::judge::thresholds::{LOOKS, LookRule};
use pathproof::judge::{Micros, Moment, Standing, VerdictKind};
use std::cell::RefCell;
use std::collections::HashMap;

/// The household set's numbers, read from the shipped file.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Numbers {
    pub(crate) available: f64,
    pub(crate) sure: f64,
    pub(crate) longer_than: f64,
    pub(crate) at_most: f64,
    pub(crate) per_days: f64,
    pub(crate) long_sure: f64,
    pub(crate) interval: f64,
}

pub(crate) fn household() -> RequirementSet {
    toml::from_str(include_str!("../../config/requirements/household.toml")).expect("the shipped set parses")
}

impl Numbers {
    pub(crate) fn household() -> Self {
        let mut n = Self {
            available: f64::NAN,
            sure: f64::NAN,
            longer_than: f64::NAN,
            at_most: f64::NAN,
            per_days: f64::NAN,
            long_sure: f64::NAN,
            interval: f64::NAN,
        };
        for r in household().require {
            match r.ask {
                Ask::Coverage { .. } | Ask::Delivery { .. } => {}
                Ask::Availability { at_least, sure } => (n.available, n.sure) = (at_least, sure),
                Ask::LongOutages { longer_than_s, at_most, per_days, sure } => {
                    (n.longer_than, n.at_most, n.per_days, n.long_sure) = (longer_than_s, at_most, per_days, sure);
                }
                Ask::Supervision { interval_s } => n.interval = interval_s,
            }
        }
        n
    }
}

/// What one look at a site has to go by.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Looked {
    /// Seconds watched.
    pub(crate) watched: f64,
    /// P(availability as required), after what was seen.
    pub(crate) holds: f64,
    /// Outages seen, those longer than the requirement counts, and those longer than the supervision interval.
    pub(crate) outages: u32,
    pub(crate) long: u32,
    /// Those of the long ones that came apart from each other.
    pub(crate) separate: u32,
    /// Share of the time watched that was up.
    pub(crate) point: f64,
    pub(crate) over: u32,
}

/// A rule: the shipped one, or one of the candidates compared with it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Rule {
    pub(crate) numbers: Numbers,
    pub(crate) looks: LookRule,
}

impl Rule {
    /// The rule in force.
    pub(crate) fn shipped() -> Self {
        Self { numbers: Numbers::household(), looks: LOOKS }
    }

    pub(crate) fn availability(&self, l: Looked) -> Standing {
        let (rule, sure) = (&self.looks, self.numbers.sure);
        let measured = l.point >= self.numbers.available;
        if l.holds >= rule.met_at(sure) && l.watched >= rule.least_watch_met.secs() && measured {
            Standing::Met
        } else if l.holds <= rule.not_met_at(sure)
            && l.watched >= rule.least_watch_not_met.secs()
            && l.outages as usize >= rule.least_outages
        {
            Standing::NotMet
        } else {
            Standing::Open
        }
    }

    pub(crate) fn long_outages(&self, l: Looked) -> Standing {
        let (n, rule) = (&self.numbers, &self.looks);
        let (count, periods) = (u64::from(l.long), l.watched.max(1.0) / (n.per_days * DAY));
        if garwood_upper(count, periods, rule.met_at(n.long_sure)) <= n.at_most
            && l.watched >= rule.least_watch_met.secs()
        {
            Standing::Met
        } else if garwood_lower(count, periods, 1.0 - rule.not_met_at(n.long_sure)) > n.at_most && l.separate >= 2 {
            Standing::NotMet
        } else {
            Standing::Open
        }
    }

    pub(crate) fn supervision(&self, l: Looked) -> Standing {
        match (l.over, l.watched >= self.numbers.interval.max(self.looks.least_watch_met.secs())) {
            (0, true) => Standing::Met,
            (0, false) => Standing::Open,
            _ => Standing::NotMet,
        }
    }

    /// The verdict where nothing can be mended and nothing went unwatched.
    pub(crate) fn verdict(&self, l: Looked) -> VerdictKind {
        let all = [self.supervision(l), self.availability(l), self.long_outages(l)];
        if all.contains(&Standing::NotMet) {
            VerdictKind::AddCellular
        } else if all.iter().all(|s| *s == Standing::Met) {
            VerdictKind::IpAlone
        } else {
            VerdictKind::KeepWatching
        }
    }
}

/// Makes looks; remembers the answer for surveys without an outage, which are many and alike.
pub(crate) struct Looker {
    numbers: Numbers,
    prior: BandPrior,
    clean: RefCell<HashMap<u64, f64>>,
}

impl Looker {
    pub(crate) fn new(numbers: Numbers, prior: BandPrior) -> Self {
        Self { numbers, prior, clean: RefCell::default() }
    }

    pub(crate) fn look(&self, history: &[(f64, f64)], watched: f64) -> Looked {
        let seen = &seen(history, watched)[..];
        let lost: f64 = seen.iter().map(|o| o.seconds).sum();
        let up = (watched - lost).max(0.0);
        let posterior = || BandPosterior::new(self.prior, seen, up).probability_at_least(self.numbers.available);
        let holds = if seen.is_empty() {
            *self.clean.borrow_mut().entry(watched.to_bits()).or_insert_with(posterior)
        } else {
            posterior()
        };
        let count = |over: f64| seen.iter().filter(|o| o.seconds > over).count() as u32;
        Looked {
            watched,
            holds,
            outages: seen.len() as u32,
            long: count(self.numbers.longer_than),
            separate: separate(history, watched, self.numbers.longer_than),
            point: 1.0 - lost / watched.max(1.0),
            over: count(self.numbers.interval),
        }
    }
}

/// Outages longer than `over` seconds with an hour of up-time or more between them.
fn separate(history: &[(f64, f64)], watched: f64, over: f64) -> u32 {
    let began = history.iter().take_while(|(from, _)| *from < watched);
    let long: Vec<(f64, f64)> = began.map(|o| (o.0, o.1.min(watched))).filter(|o| o.1 - o.0 > over).collect();
    let apart = long.windows(2).filter(|w| w[1].0 - w[0].1 > 3_600.0).count();
    (apart + usize::from(!long.is_empty())) as u32
}

/// What had been seen of a history after `watched` seconds.
pub(crate) fn seen(history: &[(f64, f64)], watched: f64) -> Vec<Lasted> {
    history
        .iter()
        .take_while(|(from, _)| *from < watched)
        .map(|(from, to)| Lasted { seconds: to.min(watched) - from, ended: *to <= watched })
        .collect()
}

/// The same as the judge's evidence.
pub(crate) fn evidence(history: &[(f64, f64)], watched: f64) -> Evidence {
    let at = |s: f64| Moment((s * 1e6) as i64);
    let began = history.iter().take_while(|(from, _)| *from < watched);
    let outages = began.map(|(from, to)| Outage::exact(at(*from), (*to <= watched).then(|| at(*to)))).collect();
    Evidence::new(Micros(at(watched).0), outages)
}
