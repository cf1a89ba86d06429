//! Counts, times and the last facts per question and target, in bounded memory.

use crate::judge::facts::{Detail, Observation, Outcome, Question};
use crate::judge::facts::{Micros, Moment};
use crate::judge::lanes::course::Course;
use crate::judge::lanes::roster::Roster;
use crate::judge::stats::jitter::Jitter;
use hdrhistogram::Histogram;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Longest round trip told apart, microseconds (one minute).
const LONGEST_US: u64 = 60_000_000;

/// One target's counts and times.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Tally {
    /// Counts by outcome, blind ones included.
    pub outcomes: BTreeMap<Outcome, u64>,
    /// Round-trip times of answers, microseconds, to three figures; `None` until the first.
    #[serde(with = "times")]
    pub rtt: Option<Histogram<u32>>,
    /// Answers and times over the record.
    pub course: Course,
    /// Variation of the round trips, milliseconds, in the order they became known.
    pub jitter: Jitter,
    /// Of the answers, DNS answers whose code was neither "no error" nor "no such name" (RFC 1035 section 4.1.1).
    pub errors: u64,
    /// Last observation.
    pub last: (Moment, Outcome),
    /// Last observation with more to say than its outcome.
    pub last_detail: Option<Observation>,
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

    fn count(&mut self, o: &Observation) {
        *self.outcomes.entry(o.outcome).or_insert(0) += 1;
        self.last = (o.known, o.outcome);
        let answered = o.outcome == Outcome::Answered;
        if o.outcome.was_asked() {
            self.course.count(o.asked, answered, o.rtt.filter(|_| answered).map(|rtt| rtt.took));
        }
        if answered {
            if let Detail::Name(a) = &o.detail
                && !matches!(a.code, 0 | 3)
            {
                self.errors += 1;
            }
            if let Some(rtt) = o.rtt {
                self.time(rtt.took);
            }
        }
        if o.detail != Detail::None || !o.outcome.was_asked() {
            self.note(o);
        }
    }

    fn time(&mut self, took: Micros) {
        let us = took.0.clamp(1, LONGEST_US as i64) as u64;
        self.jitter.update(us as f64 / 1e3);
        if self.rtt.is_none() {
            // It grows to the longest time seen: a minute's range at once would cost more than all else of an update.
            self.rtt = Histogram::new(3).ok();
        }
        if let Some(Err(e)) = self.rtt.as_mut().map(|h| h.record(us)) {
            unreachable!("a growing histogram holds any time up to a minute: {e}");
        }
    }

    /// Keeps an observation that has more to say than its outcome. Answers repeat: what is the same is not copied again.
    fn note(&mut self, o: &Observation) {
        let Some(kept) = &mut self.last_detail else {
            self.last_detail = Some(o.clone());
            return;
        };
        (kept.asked, kept.known, kept.outcome, kept.rtt) = (o.asked, o.known, o.outcome, o.rtt);
        if kept.detail != o.detail {
            kept.detail.clone_from(&o.detail);
        }
    }
}

/// A histogram written down: how many there were of each time it tells apart.
mod times {
    use super::{Histogram, LONGEST_US};
    use serde::de::Error as _;
    use serde::{Deserialize as _, Deserializer, Serialize as _, Serializer};

    #[expect(clippy::ref_option, reason = "serde hands it over so")]
    pub(crate) fn serialize<S: Serializer>(h: &Option<Histogram<u32>>, to: S) -> Result<S::Ok, S::Error> {
        let counts = |h: &Histogram<u32>| {
            h.iter_recorded().map(|v| (v.value_iterated_to(), v.count_at_value())).collect::<Vec<_>>()
        };
        h.as_ref().map(counts).serialize(to)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Histogram<u32>>, D::Error> {
        let Some(counts) = Option::<Vec<(u64, u32)>>::deserialize(from)? else { return Ok(None) };
        let mut h = Histogram::new(3).map_err(D::Error::custom)?;
        for (us, many) in counts {
            // What was told apart goes back where it was.
            h.record_n(us.min(LONGEST_US), many).map_err(D::Error::custom)?;
        }
        Ok(Some(h))
    }
}

/// All tallies.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Tallies {
    roster: Roster,
    /// In the roster's order.
    by_place: Vec<Tally>,
    /// Places by question and target, for the reader.
    sorted: Vec<usize>,
}

impl Tallies {
    /// Counts an observation. Beyond what a roster holds, observations still reach the lanes but are not tallied.
    pub fn count(&mut self, o: &Observation) {
        let known = self.roster.place(o.question, &o.target);
        if let Some(place) = known.or_else(|| self.enrol(o)) {
            self.by_place[place].count(o);
        }
    }

    fn enrol(&mut self, o: &Observation) -> Option<usize> {
        let place = self.roster.add(o.question, &o.target)?;
        let at = self.sorted.partition_point(|p| self.roster.at(*p) < (o.question, &o.target));
        self.sorted.insert(at, place);
        self.by_place.push(Tally {
            outcomes: BTreeMap::new(),
            rtt: None,
            course: Course::default(),
            jitter: Jitter::default(),
            errors: 0,
            last: (o.known, o.outcome),
            last_detail: None,
        });
        Some(place)
    }

    /// Every tally, by question and target.
    pub fn iter(&self) -> impl Iterator<Item = (Question, &Arc<str>, &Tally)> {
        self.sorted.iter().map(|place| {
            let (question, target) = self.roster.at(*place);
            (question, target, &self.by_place[*place])
        })
    }

    /// Whether anything was really asked of this question.
    pub fn ever_asked(&self, question: Question) -> bool {
        self.iter().any(|(q, _, t)| q == question && t.asked() > 0)
    }
}
