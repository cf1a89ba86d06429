//! Counts and times per target, in bounded memory.

use super::observation::{Detail, Observation, Outcome, Question};
use super::time::Moment;
use hdrhistogram::Histogram;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Targets kept apart; beyond this, observations still reach the lanes but are not tallied one by one.
const MOST_TARGETS: usize = 64;
/// Longest round trip told apart, microseconds (one minute).
const LONGEST_US: u64 = 60_000_000;

/// One target's counts and times.
#[derive(Clone, Debug)]
pub struct Tally {
    /// Counts by outcome, blind ones included.
    pub outcomes: BTreeMap<Outcome, u64>,
    /// Round-trip times of answers, microseconds, to three figures; `None` until the first.
    pub rtt: Option<Histogram<u32>>,
    /// Of the answers, DNS answers whose code was neither "no error" nor "no such name" (RFC 1035 section 4.1.1).
    pub errors: u64,
    /// Last observation.
    pub last: (Moment, Outcome),
}

impl Tally {
    /// Times really asked.
    pub fn asked(&self) -> u64 {
        self.outcomes.iter().filter(|(o, _)| o.was_asked()).map(|(_, n)| n).sum()
    }

    /// Times answered.
    pub fn answered(&self) -> u64 {
        self.outcomes.get(&Outcome::Answered).copied().unwrap_or(0)
    }

    /// Least, median, 95th percentile and most, milliseconds.
    pub fn rtt_ms(&self) -> Option<[f64; 4]> {
        let h = self.rtt.as_ref()?;
        let ms = |us: u64| us as f64 / 1e3;
        Some([ms(h.min()), ms(h.value_at_quantile(0.5)), ms(h.value_at_quantile(0.95)), ms(h.max())])
    }
}

/// All tallies, sorted by question and target. A handful, so a walk is faster than a tree: the question and the very
/// pointer tell nearly always.
#[derive(Clone, Debug, Default)]
pub struct Tallies(Vec<(Question, Arc<str>, Tally)>);

impl Tallies {
    /// Counts an observation.
    pub fn count(&mut self, o: &Observation) {
        let same =
            |(q, t, _): &(Question, Arc<str>, Tally)| *q == o.question && (Arc::ptr_eq(t, &o.target) || *t == o.target);
        let at = match self.0.iter().position(same) {
            Some(at) => at,
            None if self.0.len() >= MOST_TARGETS => return,
            None => {
                let at = self.0.partition_point(|(q, t, _)| (*q, t) < (o.question, &o.target));
                let tally = Tally { outcomes: BTreeMap::new(), rtt: None, errors: 0, last: (o.known, o.outcome) };
                self.0.insert(at, (o.question, Arc::clone(&o.target), tally));
                at
            }
        };
        let tally = &mut self.0[at].2;
        *tally.outcomes.entry(o.outcome).or_insert(0) += 1;
        if let (Outcome::Answered, Detail::Name(a)) = (o.outcome, &o.detail)
            && !matches!(a.code, 0 | 3)
        {
            tally.errors += 1;
        }
        tally.last = (o.known, o.outcome);
        if let (Outcome::Answered, Some(rtt)) = (o.outcome, o.rtt) {
            let us = rtt.took.0.clamp(1, LONGEST_US as i64) as u64;
            if tally.rtt.is_none() {
                tally.rtt = Histogram::new_with_bounds(1, LONGEST_US, 3).ok();
            }
            if let Some(h) = &mut tally.rtt {
                h.saturating_record(us);
            }
        }
    }

    /// Every tally, by question and target.
    pub fn iter(&self) -> impl Iterator<Item = (Question, &Arc<str>, &Tally)> {
        self.0.iter().map(|(q, t, tally)| (*q, t, tally))
    }

    /// Whether anything was really asked of this question.
    pub fn ever_asked(&self, question: Question) -> bool {
        self.0.iter().any(|(q, _, t)| *q == question && t.asked() > 0)
    }
}
