//! How long may a flow be idle before something between forgets it? The search, without sockets.
//!
//! [`Search`] decides which idle times are tried: first a ladder from ten seconds to the longest wanted, all at once;
//! then, between the longest kept and the shortest lost, finer ladders until the two are within a tenth of each other.
//! A loss counts when a second one confirms it; a flow kept for longer refutes it.
//! A trial whose end can't tell anything more is given up.

use std::collections::BTreeSet;

/// Trials at once.
pub const AT_ONCE: usize = 8;
/// Most trials of one measurement.
pub const MOST_TRIALS: usize = 40;
/// Losses that turned out not to be by age, beyond which nothing is concluded.
const MOST_CONTRADICTED: usize = 3;
/// The shortest idle time tried, seconds.
pub const SHORTEST_S: u32 = 10;

/// How a trial ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The flow still worked after the time.
    Kept,
    /// It did not, though the far end could be reached.
    Lost,
    /// The far end itself closed it, after so many seconds: longer times can't be tried there.
    Closed(u32),
}

/// What to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Try these idle times, seconds, all at once.
    Try(Vec<u32>),
    /// Wait for trials under way.
    Wait,
    /// All is known that can be.
    Done,
    /// Trials contradicted each other too often: flows are not lost by their idle time.
    Unsteady,
}

/// A measurement under way.
#[derive(Clone, Debug)]
pub struct Search {
    longest: u32,
    kept: u32,
    losses: Vec<u32>,
    under_way: BTreeSet<u32>,
    spent: usize,
    contradicted: usize,
    began: bool,
    closed: bool,
}

impl Search {
    /// A search up to `longest` seconds.
    pub fn new(longest: u32) -> Self {
        Self {
            longest: longest.max(SHORTEST_S),
            kept: 0,
            losses: Vec::new(),
            under_way: BTreeSet::new(),
            spent: 0,
            contradicted: 0,
            began: false,
            closed: false,
        }
    }

    /// The longest idle time kept and the shortest lost, seconds, so far.
    pub fn found(&self) -> (u32, Option<u32>) {
        (self.kept, self.losses.iter().min().copied())
    }

    /// As [`Self::found`], but a loss only where a second one confirms it.
    pub fn sure(&self) -> (u32, Option<u32>) {
        let (kept, lost) = self.found();
        (kept, lost.filter(|_| self.losses.len() > 1))
    }

    /// What to do next. Asked again after each [`Self::heard`].
    pub fn step(&mut self) -> Step {
        if self.contradicted > MOST_CONTRADICTED {
            return Step::Unsteady;
        }
        if !self.under_way.is_empty() {
            return Step::Wait;
        }
        let ages = match self.found() {
            (_, None) if !self.began => ladder(SHORTEST_S, self.longest, AT_ONCE),
            (kept, None) if kept >= self.longest || self.closed => Vec::new(),
            (kept, None) => ladder(kept, self.longest, AT_ONCE + 1).into_iter().filter(|a| *a > kept).collect(),
            (kept, Some(lost)) if !close(kept, lost) => {
                ladder(kept.max(1), lost, AT_ONCE + 2).into_iter().filter(|a| *a > kept && *a < lost).collect()
            }
            // One loss may be chance: three segments in a row can go astray.
            (_, Some(lost)) if self.losses.len() < 2 => vec![lost, lost + (lost / 20).max(2)],
            _ => Vec::new(),
        };
        self.began = true;
        if ages.is_empty() || self.spent + ages.len() > MOST_TRIALS {
            return Step::Done;
        }
        self.spent += ages.len();
        self.under_way.extend(&ages);
        Step::Try(ages)
    }

    /// A trial ended. The trials given back can't tell anything more and are to be given up.
    pub fn heard(&mut self, age: u32, ended: Ended) -> Vec<u32> {
        if !self.under_way.remove(&age) {
            return Vec::new();
        }
        match ended {
            Ended::Kept => {
                self.kept = self.kept.max(age);
                let before = self.losses.len();
                self.losses.retain(|l| *l > age);
                self.contradicted += before - self.losses.len();
            }
            // What was kept for longer was not lost by its age.
            Ended::Lost if age <= self.kept => self.contradicted += 1,
            Ended::Lost => self.losses.push(age),
            Ended::Closed(after) => {
                self.closed = true;
                self.longest = self.longest.min(after.saturating_sub(1));
            }
        }
        let (kept, lost) = self.found();
        let sure = self.losses.len() > 1 || lost.is_some_and(|l| !close(kept, l));
        let useless =
            |a: &u32| *a <= kept || (sure && lost.is_some_and(|l| *a >= l)) || (self.closed && *a > self.longest);
        let given_up: Vec<u32> = self.under_way.iter().copied().filter(useless).collect();
        self.under_way.retain(|a| !given_up.contains(a));
        given_up
    }
}

/// Whether two bounds are within a tenth, or a second, of each other.
fn close(low: u32, high: u32) -> bool {
    high <= low + 1 || u64::from(high) * 10 <= u64::from(low) * 11
}

/// `count` whole seconds from `low` to `high`, both in it, evenly spaced by ratio; fewer where they fall together.
fn ladder(low: u32, high: u32, count: usize) -> Vec<u32> {
    let ratio = f64::from(high) / f64::from(low);
    let step = |i: usize| (f64::from(low) * ratio.powf(i as f64 / (count - 1) as f64)).round() as u32;
    let mut ages: Vec<u32> = (0..count).map(step).collect();
    ages.dedup();
    ages
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Plays a search against something that forgets after `limit` seconds; gives the bounds and how long it took.
    fn play(longest: u32, limit: u32, blur: u32) -> ((u32, Option<u32>), u32, usize) {
        let mut search = Search::new(longest);
        let mut took = 0;
        loop {
            match search.step() {
                Step::Try(ages) => {
                    assert!(ages.len() <= AT_ONCE);
                    let mut waited = 0;
                    let mut given_up: Vec<u32> = Vec::new();
                    for age in ages {
                        if given_up.contains(&age) {
                            continue;
                        }
                        let edge = if age % 2 == 0 { limit + blur } else { limit - blur };
                        given_up.extend(search.heard(age, if age < edge { Ended::Kept } else { Ended::Lost }));
                        waited = age;
                    }
                    took += waited;
                }
                Step::Done => return (search.found(), took, search.spent),
                other => panic!("{other:?}"),
            }
        }
    }

    /// Usual times, each within a tenth, in two rounds at most.
    #[test]
    fn usual_timeouts_are_bracketed_within_a_tenth() {
        for limit in [30, 60, 120, 300] {
            let ((kept, lost), took, spent) = play(600, limit, 0);
            let lost = lost.expect("lost");
            assert!(kept < limit && limit <= lost, "{kept} {limit} {lost}");
            assert!(lost * 10 <= limit * 11 && kept * 11 >= limit * 10, "{kept} {limit} {lost}");
            assert!(took <= limit * 3 && spent <= 16, "{limit}: {took} s, {spent} trials");
        }
    }

    #[test]
    fn what_never_forgets_is_kept_to_the_longest_in_one_round() {
        assert_eq!(play(600, 100_000, 0), ((600, None), 600, AT_ONCE));
        assert_eq!(play(10, 100_000, 0).0, (10, None));
    }

    #[test]
    fn what_forgets_at_once_is_known_by_the_first() {
        let ((kept, lost), took, _) = play(600, 3, 0);
        assert!(kept < 3 && lost.is_some_and(|l| (3..=4).contains(&l)), "{kept} {lost:?}");
        assert!(took < 40, "{took}");
    }

    #[test]
    fn a_far_end_that_closes_bounds_what_can_be_tried() {
        let mut s = Search::new(600);
        let Step::Try(ages) = s.step() else { panic!("begins") };
        assert_eq!(ages.len(), 8);
        assert!(s.heard(ages[0], Ended::Kept).is_empty());
        let given_up = s.heard(ages[7], Ended::Closed(60));
        assert_eq!(given_up, ages[4..7]);
        for age in &ages[1..4] {
            s.heard(*age, Ended::Kept);
        }
        assert_eq!((s.step(), s.found()), (Step::Done, (ages[3], None)));
    }

    /// Ends every trial under way, in order of age, by what `end` says.
    fn round(s: &mut Search, mut end: impl FnMut(u32) -> Ended) -> Vec<u32> {
        let Step::Try(ages) = s.step() else { panic!("a round: {s:?}") };
        let mut given_up = Vec::new();
        for age in &ages {
            if !given_up.contains(age) {
                given_up.extend(s.heard(*age, end(*age)));
            }
        }
        ages
    }

    #[test]
    fn a_chance_loss_is_refuted_and_the_search_goes_on_above() {
        let mut s = Search::new(600);
        let mut first = true;
        round(&mut s, |age| if age > 30 && std::mem::take(&mut first) { Ended::Lost } else { Ended::Kept });
        assert_eq!(s.found(), (18, Some(32)));
        round(&mut s, |_| Ended::Kept);
        assert_eq!(round(&mut s, |_| Ended::Kept), [32, 34], "one loss is not believed");
        assert_eq!(s.found(), (34, None));
        assert_eq!(round(&mut s, |_| Ended::Kept).last(), Some(&600));
        assert_eq!((s.step(), s.found()), (Step::Done, (600, None)));
    }

    #[test]
    fn what_is_lost_at_random_is_called_unsteady() {
        let mut s = Search::new(600);
        let mut n = 0;
        let end = loop {
            match s.step() {
                Step::Try(_) => {}
                Step::Wait => {
                    let age = *s.under_way.first().expect("under way");
                    n += 1;
                    s.heard(age, if n % 4 == 3 { Ended::Lost } else { Ended::Kept });
                }
                end => break end,
            }
        };
        assert!(matches!(end, Step::Unsteady | Step::Done) && s.spent <= MOST_TRIALS, "{end:?}");
    }

    proptest! {
        #[test]
        fn any_limit_is_bracketed_and_the_traffic_bounded(longest in 30_u32..9_000, limit in 12_u32..9_000, blur in 0_u32..2) {
            let ((kept, lost), _, spent) = play(longest, limit, blur);
            prop_assert!(spent <= MOST_TRIALS, "{spent}");
            match lost {
                None => prop_assert!(kept == longest.max(SHORTEST_S) && limit + blur > kept),
                Some(lost) => {
                    prop_assert!(kept <= limit + blur && lost + blur >= limit, "{kept} {limit} {lost}");
                    prop_assert!(close(kept, lost) , "{kept} {lost}");
                }
            }
        }
    }
}
