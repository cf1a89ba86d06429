//! What there is to tell a scraper, taken from a snapshot. Small, and free of anything that names people or hosts.

use crate::judge::Lane;
use crate::snapshot::{AgentView, Bout, LaneState, Snapshot, VerdictKind, down_s};
use std::collections::BTreeMap;

/// Whether the path can deliver.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum PathState {
    /// The far end it is judged by answers.
    Up,
    /// An outage is open.
    Down,
    /// Not measured: neither up nor down.
    #[default]
    Blind,
}

/// One lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LaneRow {
    /// Which.
    pub lane: Lane,
    /// State now.
    pub state: LaneState,
    /// Seconds on the record's axis of the last observation; `None` if there was none.
    pub last_s: Option<f64>,
    /// Questions asked, and answered.
    pub asked: u64,
    /// Of these, those answered.
    pub answered: u64,
}

/// Outages against the supervision interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supervised {
    /// The interval, seconds.
    pub interval_s: f64,
    /// True where the site file names it; else it is the shortest in common use.
    pub named: bool,
    /// Outages the station would have known of: breaches.
    pub breaches: u64,
    /// Outages for which that can't be told.
    pub possible: u64,
}

/// What there is to tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Board {
    /// Version of the program.
    pub version: String,
    /// Opaque site id.
    pub site: String,
    /// True on the practice site.
    pub practice: bool,
    /// Seconds on the record's axis when this was taken.
    pub taken_s: f64,
    /// Seconds the record spans.
    pub span_s: f64,
    /// Of these, those in which the path was observed.
    pub observed_s: f64,
    /// Every lane, inside out.
    pub lanes: Vec<LaneRow>,
    /// Whether the path can deliver.
    pub path: PathState,
    /// The open outage: its cause, and when it began (most likely), seconds on the record's axis.
    pub open: Option<(&'static str, f64)>,
    /// Outages in the record and their seconds, by the cause now held likeliest.
    pub outages: BTreeMap<&'static str, (u64, f64)>,
    /// Outages against the supervision interval.
    pub supervision: Option<Supervised>,
    /// The verdict and when it was reached, seconds on the record's axis; `None` until the first ruling.
    pub verdict: Option<(VerdictKind, f64)>,
    /// Things to mend, by who acts.
    pub mend: BTreeMap<&'static str, u64>,
    /// Whether the wall clock was synchronised when the agent began; `None` is unknown.
    pub clock_synced: Option<bool>,
    /// How the agent and its record fare.
    pub agent: AgentView,
}

impl Board {
    /// The board of a snapshot at a moment.
    pub fn of(s: &Snapshot, now_s: f64) -> Self {
        let lanes: Vec<LaneRow> = s.lanes.iter().map(|l| row(l.lane, l.state, l.last_s, s)).collect();
        let open = s.troubles.iter().filter_map(|t| open(t, now_s)).min_by(|a, b| a.1.total_cmp(&b.1));
        let mut by_cause = BTreeMap::<_, Vec<Bout<'_>>>::new();
        for bout in s.troubles.iter().filter_map(Bout::of) {
            by_cause.entry(bout.trouble.cause.word()).or_default().push(bout);
        }
        let counted = |all: Vec<Bout<'_>>| (all.len() as u64, down_s(&all, 0.0, now_s));
        let outages = by_cause.into_iter().map(|(cause, all)| (cause, counted(all))).collect();
        let mut mend = BTreeMap::new();
        for m in &s.mend {
            *mend.entry(m.who.word()).or_default() += 1;
        }
        Self {
            version: s.version.clone(),
            site: s.site.clone(),
            practice: s.practice,
            taken_s: now_s,
            span_s: s.watch.elapsed_s,
            observed_s: s.watch.observed_s,
            path: path(&lanes, open.is_some()),
            lanes,
            open,
            outages,
            supervision: s.supervision.first().map(|v| Supervised {
                interval_s: v.interval_s,
                named: v.tag == "site file",
                breaches: v.known as u64,
                possible: v.open as u64,
            }),
            verdict: s.ruling.as_ref().map(|r| (r.verdict.kind, r.reached_s)),
            mend,
            clock_synced: s.watch.clock_synced,
            agent: s.agent.clone().unwrap_or_default(),
        }
    }
}

fn row(lane: Lane, state: LaneState, last_s: Option<f64>, s: &Snapshot) -> LaneRow {
    let (mut asked, mut answered) = (0, 0);
    for t in s.targets.iter().filter(|t| t.lane == lane) {
        asked += t.asked;
        answered += t.answered;
    }
    LaneRow { lane, state, last_s, asked, answered }
}

fn open(t: &crate::snapshot::Trouble, now_s: f64) -> Option<(&'static str, f64)> {
    let from = t.down_from_s.filter(|_| t.down_to_s.is_none())?;
    Some((t.cause.word(), from[1].min(now_s)))
}

/// The path is judged by the receiver where one was ever asked, else by the outside.
fn path(lanes: &[LaneRow], down: bool) -> PathState {
    let of = |lane| lanes.iter().find(|l| l.lane == lane && l.last_s.is_some());
    let far = of(Lane::Receiver).or_else(|| of(Lane::Outside));
    match far.map(|l| l.state) {
        _ if down => PathState::Down,
        None | Some(LaneState::Blind) => PathState::Blind,
        // A lane that has just gone bad is not an outage before as many failures as chance does not make.
        Some(LaneState::Good | LaneState::Strained | LaneState::Bad) => PathState::Up,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Actor, Cause};
    use crate::snapshot::{LaneView, Trouble};

    fn lane(lane: Lane, state: LaneState, last_s: Option<f64>) -> LaneView {
        LaneView { lane, state, last: String::new(), last_s, stretches: Vec::new() }
    }

    fn outage(cause: Cause, from: f64, to: Option<f64>) -> Trouble {
        let bracket = |at: f64| [at - 1.0, at, at + 1.0];
        Trouble {
            number: 1,
            lane: Lane::Outside,
            cause,
            sentence: String::new(),
            start_s: bracket(from),
            end_s: to.map(bracket),
            outage: true,
            unwatched: false,
            down_from_s: Some(bracket(from)),
            down_to_s: to.map(bracket),
            confidence: 1.0,
            evidence: Vec::new(),
            evidence_for: Vec::new(),
            evidence_against: Vec::new(),
            not_excluded: Vec::new(),
            alternatives: Vec::new(),
            technician: String::new(),
            step: String::new(),
            proof: String::new(),
            who: Actor::Provider,
            station_would_know: None,
        }
    }

    #[test]
    fn not_measured_is_neither_up_nor_down() {
        let board = |lanes: Vec<LaneView>| Board::of(&Snapshot { lanes, ..Snapshot::default() }, 9.0).path;
        assert_eq!(board(vec![]), PathState::Blind);
        let outside = |state| lane(Lane::Outside, state, Some(8.0));
        let receiver = |state, last| lane(Lane::Receiver, state, last);
        assert_eq!(board(vec![outside(LaneState::Good)]), PathState::Up);
        assert_eq!(board(vec![outside(LaneState::Blind)]), PathState::Blind);
        // A receiver that is asked decides; one that never was does not.
        let both = |r, last| board(vec![outside(LaneState::Good), receiver(r, last)]);
        assert_eq!(both(LaneState::Blind, Some(2.0)), PathState::Blind);
        assert_eq!(both(LaneState::Blind, None), PathState::Up);
    }

    #[test]
    fn the_oldest_open_outage_counts() {
        let troubles = vec![
            outage(Cause::AccessLine, 10.0, Some(20.0)),
            outage(Cause::AccessLine, 40.0, None),
            outage(Cause::RouterSilent, 30.0, None),
        ];
        let b = Board::of(&Snapshot { troubles, ..Snapshot::default() }, 60.0);
        assert_eq!((b.path, b.open), (PathState::Down, Some(("router-silent", 30.0))));
        assert_eq!(b.outages["access-line"], (2, 30.0));
    }
}
