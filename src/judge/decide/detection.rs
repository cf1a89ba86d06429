//! Which short outages a way of asking can see at all.
//!
//! Decides, from how often a lane is asked and how many failures in a row declare it silent, the share of outages of a
//! length that would be noticed, were they to begin at any moment alike. Follows what `lane` does: silence is declared
//! when at least k questions in a row failed and every target was among them. One target asked every τ seconds gives
//! the rule of the success runs: x/τ - (k - 1), held to 0..1. Does not correct any count by it.

use crate::judge::decide::settings::Settings;
use crate::judge::facts::Lane;
use crate::judge::lanes::lane::LaneTracker;
use crate::judge::lanes::thresholds::{CLOSE, TRIED_AGAIN};

/// Lengths the share is shown for, seconds.
pub const SHOWN_S: [f64; 6] = [1.0, 2.0, 5.0, 10.0, 30.0, 60.0];

/// How a lane is asked, and when it is called silent.
#[derive(Clone, Debug, PartialEq)]
pub struct Rhythm {
    /// Seconds between two questions to one target.
    pub every_s: f64,
    /// When in that interval each target has its turn, seconds, ascending.
    pub phases_s: Vec<f64>,
    /// Failures in a row needed.
    pub run: u32,
    /// A question asked so shortly before an outage ends is answered all the same, seconds.
    pub forgiven_s: f64,
    /// What happens at the first failure, where that can be counted on.
    pub closer: Option<Closer>,
}

/// Looking closer after a first failure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Closer {
    /// The failure is known so long after it was asked, seconds.
    pub after_s: f64,
    /// From then on each target is asked this often, seconds.
    pub every_s: f64,
}

impl Rhythm {
    /// How the lane of a tracker is asked, by these settings.
    pub fn of(tracker: &LaneTracker, settings: &Settings) -> Option<Self> {
        let every = settings.cadence.iter().find(|(l, _)| *l == tracker.lane()).map(|(_, c)| c.secs())?;
        // A receiver asked in an outage's last second still answers.
        let again = tracker.lane() == Lane::Receiver && settings.patience > TRIED_AGAIN;
        let forgiven = if again { TRIED_AGAIN.secs() } else { 0.0 };
        let mut rhythm = Self::spread(every, tracker.targets_there(), tracker.run_needed(), forgiven);
        // A receiver was named by the user and may be asked as closely; of strangers' reference points nobody knows here.
        if tracker.lane() == Lane::Receiver && CLOSE.secs() < every {
            rhythm.closer = Some(Closer { after_s: settings.patience.secs(), every_s: CLOSE.secs() });
        }
        Some(rhythm)
    }

    /// Turns that lie evenly over the interval, as the probes begin.
    pub fn spread(every_s: f64, targets: usize, run: u32, forgiven_s: f64) -> Self {
        let part = every_s / targets.max(1) as f64;
        let phases_s = (0..targets.max(1)).map(|i| part * i as f64).collect();
        Self { every_s, phases_s, run, forgiven_s, closer: None }
    }

    /// Share of outages of this length that would be noticed, 0 to 1.
    pub fn noticed(&self, length_s: f64) -> f64 {
        let n = self.phases_s.len();
        let down = length_s - self.forgiven_s;
        if n == 0 || down <= 0.0 || self.every_s <= 0.0 {
            return 0.0;
        }
        let asked = |i: usize| self.asked(i);
        let mut share = 0.0;
        for first in n..2 * n {
            // Outages that begin after the question before this one meet this one first, and are noticed if they last
            // past the one that completes the run.
            let (before, this) = (asked(first - 1), asked(first));
            let completes = self.completes(first);
            share += (this - before.max(completes - down)).max(0.0);
        }
        (share / self.every_s).min(1.0)
    }

    /// When the question of this number is asked at the steady pace, seconds; target by target, turn by turn.
    fn asked(&self, i: usize) -> f64 {
        let n = self.phases_s.len();
        (i / n) as f64 * self.every_s + self.phases_s[i % n]
    }

    /// When the run is complete that begins with the question of this number, seconds: k failures, one of each target at
    /// least.
    fn completes(&self, first: usize) -> f64 {
        let (n, k) = (self.phases_s.len(), self.run.max(1) as usize);
        // At one pace any n questions in a row are one to each target.
        let steady = self.asked(first + k.max(n) - 1);
        let Some(closer) = self.closer.filter(|c| c.every_s > 0.0 && c.every_s < self.every_s) else { return steady };
        let known = self.asked(first) + closer.after_s;
        if steady <= known {
            return steady;
        }
        // Each target's failures: at the steady pace until the first is known, closer from there on.
        let mut failures: Vec<f64> = Vec::new();
        let mut all_asked: f64 = 0.0;
        for target in 0..n {
            let mut last = f64::NEG_INFINITY;
            let turns = (first.saturating_sub(n)..first + (k + 1) * n).filter(|i| i % n == target);
            let before: Vec<f64> = turns.map(|i| self.asked(i)).take_while(|at| *at <= known).collect();
            let mut own: Vec<f64> = before.iter().copied().filter(|at| *at >= self.asked(first)).collect();
            if let Some(at) = before.last() {
                last = *at;
            }
            while own.len() < k.max(1) {
                last = known.max(last + closer.every_s);
                own.push(last);
            }
            all_asked = all_asked.max(own[0]);
            failures.extend(own);
        }
        failures.sort_by(f64::total_cmp);
        failures[k - 1].max(all_asked)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Judge;
    use crate::judge::decide::ask::RequirementSet;
    use crate::judge::decide::settings::Known;
    use crate::judge::facts::{Detail, Entry, NameAnswer, Observation, Outcome, Question, Rtt, Session};
    use crate::judge::facts::{Micros, Moment, WallTime};
    use crate::judge::stats::testing::{Lcg, near};
    use proptest::prelude::*;

    /// A site asked in a given rhythm; `receiver` says which lane the path ends in.
    struct Site {
        rhythm: Rhythm,
        receiver: bool,
    }

    impl Site {
        fn settings(&self) -> Settings {
            let receivers = (0..self.rhythm.phases_s.len()).filter(|_| self.receiver).map(name).collect();
            Settings {
                receivers,
                tls_receivers: std::collections::BTreeSet::new(),
                patience: Micros::from_secs(2),
                cadence: Lane::ALL.map(|l| (l, Micros((self.rhythm.every_s * 1e6) as i64))),
                supervision: None,
                requirements: RequirementSet { name: "none".into(), words: String::new(), require: Vec::new() },
                out_of_scope: Vec::new(),
                known: Known::default(),
            }
        }

        /// Whether the real judge finds an outage where one of this length began at a random moment.
        fn finds(&self, length_s: f64, draw: &mut Lcg) -> bool {
            let quiet = 6.0 * self.rhythm.every_s;
            let from = quiet + self.rhythm.every_s * draw.uniform();
            let end = from + length_s + quiet;
            let question = if self.receiver { Question::Connect } else { Question::Reference };
            let mut judge = Judge::new(self.settings());
            judge.take(&Entry::Began(Session {
                at: Moment(0),
                boot_id: "b".into(),
                boot: Micros(0),
                wall: WallTime(0),
                synced: None,
            }));
            let mut seen = Vec::new();
            // What the agent does: at the steady pace until a failure is known, closer from there on.
            let lost = |asked: f64| (from..from + length_s - self.rhythm.forgiven_s).contains(&asked);
            let steady = |i: usize| (0..).map(move |t| f64::from(t) * self.rhythm.every_s + self.rhythm.phases_s[i]);
            let n = self.rhythm.phases_s.len();
            let first =
                (0..n).flat_map(|i| steady(i).take_while(|at| *at < end)).filter(|at| lost(*at)).reduce(f64::min);
            let known = first.zip(self.rhythm.closer).map(|(at, c)| (at + c.after_s, c.every_s));
            for i in 0..n {
                let mut due = steady(i).next().expect("endless");
                while due < end {
                    let asked = due;
                    due = asked + self.rhythm.every_s;
                    if let Some((from, every)) = known
                        && due > from
                    {
                        due = from.max(asked + every);
                    }
                    let lost = lost(asked);
                    let took = Micros::from_millis(if lost { 2_000 } else { 12 });
                    let outcome = if lost { Outcome::Timeout } else { Outcome::Answered };
                    let at = Moment((asked * 1e6) as i64);
                    let answer = Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() });
                    seen.push(Observation {
                        asked: at,
                        known: at + took,
                        question,
                        target: name(i),
                        outcome,
                        rtt: (!lost).then_some(Rtt { took, kernel: true }),
                        detail: if lost || self.receiver { Detail::None } else { answer },
                    });
                }
            }
            seen.sort_by_key(|o| o.known);
            for o in seen {
                judge.take(&Entry::Seen(o));
            }
            judge.look().troubles.iter().any(|t| t.path_down.is_some())
        }
    }

    fn name(i: usize) -> std::sync::Arc<str> {
        format!("target-{i}").into()
    }

    #[test]
    fn the_share_is_what_the_real_judge_finds() {
        // Fresh judges: under a hundred questions k is the least, 3. The check is the binomial error of the trials.
        const TRIALS: u32 = 400;
        let mut draw = Lcg(20_261_125);
        let uneven = Rhythm { every_s: 10.0, phases_s: vec![0.0, 0.9, 4.2], run: 3, forgiven_s: 0.0, closer: None };
        let closer = |r: Rhythm| Rhythm { closer: Some(Closer { after_s: 2.0, every_s: 1.0 }), ..r };
        let (mut partly, mut checked) = (0, 0);
        for (rhythm, receiver) in [
            (Rhythm::spread(5.0, 1, 3, 1.0), true),
            (Rhythm::spread(2.0, 2, 3, 1.0), true),
            (Rhythm::spread(10.0, 3, 3, 0.0), false),
            (Rhythm::spread(10.0, 5, 3, 0.0), false),
            (closer(Rhythm::spread(5.0, 1, 3, 1.0)), true),
            (closer(Rhythm::spread(5.0, 2, 3, 1.0)), true),
            (closer(Rhythm::spread(10.0, 3, 3, 0.0)), false),
            (closer(uneven.clone()), false),
            (uneven, false),
        ] {
            let site = Site { rhythm, receiver };
            for length in SHOWN_S.into_iter().chain([3.5, 4.3, 7.5, 8.5, 11.5, 13.0]) {
                let want = site.rhythm.noticed(length);
                let found = (0..TRIALS).filter(|_| site.finds(length, &mut draw)).count() as f64 / f64::from(TRIALS);
                let error = (want * (1.0 - want) / f64::from(TRIALS)).sqrt();
                assert!((found - want).abs() <= 4.0 * error + 1e-9, "{:?} {length} s: {found} {want}", site.rhythm);
                partly += u32::from((0.02..0.98).contains(&want));
                checked += 1;
            }
        }
        assert!(partly >= 8, "only {partly} of {checked} shares lie between none and all");
    }

    #[test]
    fn the_judge_tells_its_own_rhythm() {
        let site = Site { rhythm: Rhythm::spread(5.0, 2, 3, 1.0), receiver: true };
        let mut judge = Judge::new(site.settings());
        assert_eq!(judge.path_rhythm(), None);
        for i in 0..20 {
            let at = Moment(i64::from(i) * 2_500_000);
            judge.take(&Entry::Seen(Observation {
                asked: at,
                known: at,
                question: Question::Connect,
                target: name(usize::from(i % 2 == 1)),
                outcome: Outcome::Answered,
                rtt: None,
                detail: Detail::None,
            }));
        }
        let closer = Some(Closer { after_s: 2.0, every_s: 1.0 });
        assert_eq!(judge.path_rhythm(), Some(Rhythm { closer, ..site.rhythm }));
    }

    proptest! {
        #[test]
        fn evenly_spread_turns_give_the_success_run_rule(
            x in 0.1f64..300.0, every in 0.5f64..60.0, n in 1usize..6, k in 1u32..9
        ) {
            let needed = k.max(u32::try_from(n).expect("small"));
            // x/τ - (k - 1), held to 0..1 (success runs).
            let want = (x / (every / n as f64) - (f64::from(needed) - 1.0)).clamp(0.0, 1.0);
            near(Rhythm::spread(every, n, k, 0.0).noticed(x), want, 1e-9);
            prop_assert!(Rhythm::spread(every, n, k, 1.0).noticed(x) <= want + 1e-9);
        }
    }
}
