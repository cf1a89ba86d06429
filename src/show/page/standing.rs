//! The plain line at the top: does the path work now, since when, and when it was last looked at.
//!
//! Decides between three answers (it works, it does not, it can't be told) from the snapshot alone: an outage that is not
//! over comes first, then the receiver's lane, then the internet's where no receiver is asked. Old news is no news: a
//! snapshot that is behind the clock is "can't tell".

use super::Look;
use crate::judge::Lane;
use crate::snapshot::{LaneState, LaneView, Snapshot, Trouble};

/// A snapshot further behind the clock than this says nothing of now (choice: ten looks at the slowest pace of a lane
/// that judges the path, in seconds).
const STALE_S: f64 = 300.0;

/// Between the end of an outage and the first look after it there is no more than this, seconds (choice: as above).
const PAUSE_S: f64 = STALE_S;

/// Whether the path works now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Now {
    /// It carries.
    Works,
    /// It carries, losing part.
    Unsteady,
    /// It does not carry.
    Fails,
    /// Nobody can say.
    Unknown,
}

/// The answer with its times, in seconds on the record's axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct PlainLine<'a> {
    /// The answer.
    pub(super) now: Now,
    /// Since when it is so; `None` where that can't be said.
    pub(super) since_s: Option<f64>,
    /// Whether `since_s` is only where looking began: it may have been so before.
    pub(super) at_least: bool,
    /// When the lane that answers was last looked at.
    pub(super) looked_s: Option<f64>,
    /// The outage that is not over.
    pub(super) outage: Option<&'a Trouble>,
    /// The lane the answer was read from; `None` where none was asked.
    pub(super) lane: Option<Lane>,
}

/// Whether the watch that the snapshot is of goes on, as far as it says.
fn goes_on(look: &Look<'_>) -> bool {
    look.snapshot.watch.ended.is_none()
}

/// The lane that tells whether the path works: the last one on the way that was ever asked.
pub(super) fn path_lane(s: &Snapshot) -> Option<&LaneView> {
    [Lane::Receiver, Lane::Outside].into_iter().find_map(|lane| {
        s.lanes.iter().find(|v| v.lane == lane).filter(|v| v.stretches.iter().any(|x| x.state != LaneState::Blind))
    })
}

/// The outage that is not over, the last one begun.
pub(super) fn open_outage(s: &Snapshot) -> Option<&Trouble> {
    s.troubles.iter().rfind(|t| t.outage && t.down_to_s.is_none() && t.end_s.is_none())
}

/// Reads the plain line.
pub(super) fn plain_line<'a>(look: &Look<'a>) -> PlainLine<'a> {
    let s = look.snapshot;
    let view = path_lane(s);
    let mut line = PlainLine {
        now: Now::Unknown,
        since_s: None,
        at_least: false,
        looked_s: view.and_then(|v| v.last_s).filter(|at| at.is_finite()),
        outage: None,
        lane: view.map(|v| v.lane),
    };
    let Some(view) = view else { return line };
    if !goes_on(look) || look.now_s - s.watch.elapsed_s > STALE_S {
        return line;
    }
    if let Some(t) = open_outage(s) {
        line.now = Now::Fails;
        line.since_s = Some(t.down_from_s.map_or(t.start_s[1], |from| from[1])).filter(|at| at.is_finite());
        line.outage = Some(t);
        return line;
    }
    line.now = match view.state {
        LaneState::Good => Now::Works,
        LaneState::Strained => Now::Unsteady,
        LaneState::Bad => Now::Fails,
        LaneState::Blind => Now::Unknown,
    };
    let alike = |state: LaneState| match line.now {
        Now::Works | Now::Unsteady => matches!(state, LaneState::Good | LaneState::Strained),
        Now::Fails => state == LaneState::Bad,
        Now::Unknown => state == LaneState::Blind,
    };
    let run = view.stretches.iter().rev().take_while(|x| alike(x.state)).count();
    let first = view.stretches.len() - run;
    let from = view.stretches.get(first).map(|x| x.from_s).filter(|at| at.is_finite());
    let unseen_before = first == 0 || view.stretches[first - 1].state == LaneState::Blind;
    line.since_s = from;
    line.at_least = unseen_before;
    if matches!(line.now, Now::Works | Now::Unsteady) {
        // An outage whose end another lane's looks tell is over for the path then, whatever this lane saw first.
        let ends = s.troubles.iter().filter(|t| t.outage).filter_map(|t| t.down_to_s.or(t.end_s)).map(|e| e[1]);
        let over = ends.filter(|at| at.is_finite()).fold(0.0, f64::max);
        if from.is_some_and(|from| over > from) {
            (line.since_s, line.at_least) = (Some(over), false);
        } else if over > 0.0 && from.is_some_and(|from| from - over < PAUSE_S) {
            // The first look after an outage that kept this lane from being asked.
            line.at_least = false;
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::{Stretch, Watch};
    use jiff::tz::TimeZone;

    fn of(lane: Lane, states: &[(f64, f64, LaneState)]) -> Snapshot {
        let stretches: Vec<Stretch> =
            states.iter().map(|&(from_s, to_s, state)| Stretch { from_s, to_s, state }).collect();
        let elapsed_s = states.last().map_or(0.0, |s| s.1);
        let state = states.last().map_or(LaneState::Blind, |s| s.2);
        let view = LaneView { lane, state, last: String::new(), last_s: Some(elapsed_s), stretches };
        Snapshot { watch: Watch { elapsed_s, ..Watch::default() }, lanes: vec![view], ..Snapshot::default() }
    }

    fn line(s: &Snapshot, now_s: f64) -> (Now, Option<f64>, bool) {
        let look = Look { snapshot: s, zone: &TimeZone::UTC, now_s, sends: &[], record: "r" };
        let l = plain_line(&look);
        (l.now, l.since_s, l.at_least)
    }

    #[test]
    fn a_good_receiver_works_since_it_last_did_not() {
        let s = of(
            Lane::Receiver,
            &[(0.0, 10.0, LaneState::Good), (10.0, 20.0, LaneState::Bad), (20.0, 90.0, LaneState::Good)],
        );
        assert_eq!(line(&s, 91.0), (Now::Works, Some(20.0), false));
        let s = of(Lane::Receiver, &[(0.0, 90.0, LaneState::Bad)]);
        assert_eq!(line(&s, 91.0).0, Now::Fails);
    }

    #[test]
    fn a_pause_of_looking_begins_the_time_anew() {
        let s = of(
            Lane::Outside,
            &[(0.0, 10.0, LaneState::Good), (10.0, 50.0, LaneState::Blind), (50.0, 90.0, LaneState::Strained)],
        );
        assert_eq!(line(&s, 91.0), (Now::Unsteady, Some(50.0), true));
    }

    #[test]
    fn nobody_can_say_where_nothing_was_asked_or_the_news_is_old() {
        assert_eq!(line(&Snapshot::default(), 0.0), (Now::Unknown, None, false));
        let blind = of(Lane::Receiver, &[(0.0, 90.0, LaneState::Blind)]);
        assert_eq!(line(&blind, 90.0).0, Now::Unknown);
        let s = of(Lane::Receiver, &[(0.0, 90.0, LaneState::Good)]);
        assert_eq!(line(&s, 90.0 + STALE_S).0, Now::Works);
        assert_eq!(line(&s, 91.0 + STALE_S).0, Now::Unknown);
        let mut ended = s;
        ended.watch.ended = Some("complete".into());
        assert_eq!(line(&ended, 91.0).0, Now::Unknown);
    }
}
