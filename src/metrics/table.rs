//! Every metric: its name, unit, kind, labels, meaning and value. The names are an interface, documented in `names.md`
//! (which a test holds to this table) and held still by a golden file.
//!
//! Conventions: base units, `_total` on counters, `_info` on facts, states as one series a state with 0 or 1 (the
//! `StateSet` of OpenMetrics). Ages are worked out when asked, by a clock that no wall clock's step moves: this program
//! runs where clocks are wrong.

use super::board::{Board, PathState};
use crate::judge::{Actor, Lane};
use crate::snapshot::{LaneState, VerdictKind};

/// Kind of a metric.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A value that goes both ways.
    Gauge,
    /// One that only grows while the agent runs.
    Counter,
    /// A fact: the value is 1, what counts is in the labels.
    Info,
}

/// Unit, as the name's end says it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unit {
    None,
    Seconds,
    Bytes,
}

/// Labels and value of one series.
pub(super) type Series<'a> = (Vec<(&'static str, &'a str)>, f64);

/// One metric.
#[derive(Debug)]
pub struct Metric {
    /// Its name, without what unit and kind put at the end.
    pub(super) name: &'static str,
    /// Gauge, counter or fact.
    pub kind: Kind,
    pub(super) unit: Unit,
    /// Its labels and the words each may hold.
    pub labels: &'static [(&'static str, &'static str)],
    /// What it says, one sentence without its full stop.
    pub help: &'static str,
    /// Its series on a board at a moment on the record's axis.
    pub(super) series: fn(&Board, f64) -> Vec<Series<'_>>,
}

impl Metric {
    /// The name of its series.
    pub fn full_name(&self) -> String {
        let unit = match self.unit {
            Unit::None => "",
            Unit::Seconds => "_seconds",
            Unit::Bytes => "_bytes",
        };
        let end = match self.kind {
            Kind::Gauge => "",
            Kind::Counter => "_total",
            Kind::Info => "_info",
        };
        format!("{}{unit}{end}", self.name)
    }
}

const LANES: &str = "power, link, address, router, names, outside, receiver";
const CAUSES: &str = "a word of the table of causes, other";
const STATES: [(LaneState, &str); 4] = [
    (LaneState::Good, "good"),
    (LaneState::Strained, "strained"),
    (LaneState::Bad, "bad"),
    (LaneState::Blind, "blind"),
];
const PATHS: [(PathState, &str); 3] = [(PathState::Up, "up"), (PathState::Down, "down"), (PathState::Blind, "blind")];
const VERDICTS: [(VerdictKind, &str); 4] = [
    (VerdictKind::IpAlone, "ip-alone"),
    (VerdictKind::MendFirst, "mend-first"),
    (VerdictKind::AddCellular, "add-cellular"),
    (VerdictKind::KeepWatching, "keep-watching"),
];

/// The metrics, in the order they are told.
pub const TABLE: &[Metric] = &[
    Metric {
        name: "pathproof_build",
        kind: Kind::Info,
        unit: Unit::None,
        labels: &[("version", "the program's version")],
        help: "The program that answers",
        series: |b, _| vec![(vec![("version", &b.version)], 1.0)],
    },
    Metric {
        name: "pathproof_site",
        kind: Kind::Info,
        unit: Unit::None,
        labels: &[("site", "the site file's opaque id"), ("practice", "true, false")],
        help: "The site that is watched, by the opaque id its site file gives it",
        series: |b, _| vec![(vec![("site", &b.site), ("practice", if b.practice { "true" } else { "false" })], 1.0)],
    },
    Metric {
        name: "pathproof_path_state",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("state", "up, down, blind")],
        help: "Whether the path can deliver signals now: 1 for the state it is in; blind is not measured, neither up nor down",
        series: |b, _| PATHS.iter().map(|(s, word)| (vec![("state", *word)], flag(b.path == *s))).collect(),
    },
    Metric {
        name: "pathproof_outage_open_age",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[("cause", "none, or a word of the table of causes, other")],
        help: "How long the path has been unable to deliver, by the cause held likeliest; 0 with the cause none while no outage is open",
        series: |b, now| {
            let (cause, age) = b.open.map_or(("none", 0.0), |(cause, from)| (cause, (now - from).max(0.0)));
            vec![(vec![("cause", cause)], age)]
        },
    },
    Metric {
        name: "pathproof_lane_state",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("lane", LANES), ("state", "good, strained, bad, blind")],
        help: "State of each layer of the path, inside out: 1 for the state it is in; blind is not measured, neither good nor bad",
        series: |b, _| {
            let of = |lane: &Lane| b.lanes.iter().find(|l| l.lane == *lane).map_or(LaneState::Blind, |l| l.state);
            let each = |lane: &Lane| {
                let (word, is) = (lane.word(), of(lane));
                STATES.map(|(s, state)| (vec![("lane", word), ("state", state)], flag(s == is)))
            };
            Lane::ALL.iter().flat_map(each).collect()
        },
    },
    Metric {
        name: "pathproof_lane_observation_age",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[("lane", LANES)],
        help: "Time since the layer was last asked about; absent if it never was",
        series: |b, now| {
            let age = |last: Option<f64>| last.map(|at| (now - at).max(0.0));
            b.lanes.iter().filter_map(|l| Some((vec![("lane", l.lane.word())], age(l.last_s)?))).collect()
        },
    },
    Metric {
        name: "pathproof_lane_questions",
        kind: Kind::Counter,
        unit: Unit::None,
        labels: &[("lane", LANES)],
        help: "Questions asked of the layer over the whole record",
        series: |b, _| b.lanes.iter().map(|l| (vec![("lane", l.lane.word())], l.asked as f64)).collect(),
    },
    Metric {
        name: "pathproof_lane_answers",
        kind: Kind::Counter,
        unit: Unit::None,
        labels: &[("lane", LANES)],
        help: "Questions of the layer that were answered, over the whole record",
        series: |b, _| b.lanes.iter().map(|l| (vec![("lane", l.lane.word())], l.answered as f64)).collect(),
    },
    Metric {
        name: "pathproof_outages",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("cause", CAUSES)],
        help: "Outages in the record by the cause now held likeliest; what is seen later can move one to another cause",
        series: |b, _| b.outages.iter().map(|(cause, (n, _))| (vec![("cause", *cause)], *n as f64)).collect(),
    },
    Metric {
        name: "pathproof_outages_length",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[("cause", CAUSES)],
        help: "Time the path could not deliver, over all outages in the record",
        series: |b, _| b.outages.iter().map(|(cause, (_, s))| (vec![("cause", *cause)], *s)).collect(),
    },
    Metric {
        name: "pathproof_watched_span",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[],
        help: "Time the record spans",
        series: |b, _| vec![(vec![], b.span_s)],
    },
    Metric {
        name: "pathproof_watched_observed",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[],
        help: "Of the time the record spans, that in which the path was observed",
        series: |b, _| vec![(vec![], b.observed_s)],
    },
    Metric {
        name: "pathproof_supervision_interval",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[("source", "site-file, common")],
        help: "How long the station waits in silence before it knows; common is the shortest in common use, where the site file names none",
        series: |b, _| {
            let source = |named| if named { "site-file" } else { "common" };
            b.supervision.iter().map(|s| (vec![("source", source(s.named))], s.interval_s)).collect()
        },
    },
    Metric {
        name: "pathproof_supervision_breaches",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("certainty", "certain, possible")],
        help: "Outages in the record that outlasted the supervision interval; possible where their edges leave it open",
        series: |b, _| {
            let both = b.supervision.iter().flat_map(|s| [("certain", s.breaches), ("possible", s.possible)]);
            both.map(|(word, n)| (vec![("certainty", word)], n as f64)).collect()
        },
    },
    Metric {
        name: "pathproof_verdict",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("verdict", "ip-alone, mend-first, add-cellular, keep-watching")],
        help: "The verdict: 1 for the one that holds; absent until the first whole judgement",
        series: |b, _| {
            let each = |is: VerdictKind| VERDICTS.map(|(v, word)| (vec![("verdict", word)], flag(v == is)));
            b.verdict.iter().flat_map(|(kind, _)| each(*kind)).collect()
        },
    },
    Metric {
        name: "pathproof_verdict_age",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[],
        help: "Time since the last whole judgement; absent until the first",
        series: |b, now| b.verdict.iter().map(|(_, at_s)| (vec![], (now - at_s).max(0.0))).collect(),
    },
    Metric {
        name: "pathproof_mend_open",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("who", "customer, installer, provider, station, nobody")],
        help: "Things to mend that the record shows, by who acts",
        series: |b, _| {
            Actor::ALL
                .iter()
                .map(|a| a.word())
                .map(|who| (vec![("who", who)], b.mend.get(who).copied().unwrap_or(0) as f64))
                .collect()
        },
    },
    Metric {
        name: "pathproof_look_age",
        kind: Kind::Gauge,
        unit: Unit::Seconds,
        labels: &[],
        help: "Time since the agent last looked its lanes over; it does so every few seconds",
        series: |b, now| vec![(vec![], (now - b.taken_s).max(0.0))],
    },
    Metric {
        name: "pathproof_record_state",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("state", "writing, waiting")],
        help: "Whether observations reach the record: 1 for the state it is in; waiting is kept in memory until it can be written",
        series: |b, _| {
            let waits = b.agent.record_waits.is_some();
            vec![(vec![("state", "writing")], flag(!waits)), (vec![("state", "waiting")], flag(waits))]
        },
    },
    Metric {
        name: "pathproof_record_entries_waiting",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[],
        help: "Entries in memory that the record does not hold yet",
        series: |b, _| vec![(vec![], b.agent.waiting as f64)],
    },
    Metric {
        name: "pathproof_record_entries_lost",
        kind: Kind::Counter,
        unit: Unit::None,
        labels: &[],
        help: "Entries given up because they could not be written for too long",
        series: |b, _| vec![(vec![], b.agent.lost as f64)],
    },
    Metric {
        name: "pathproof_record_size",
        kind: Kind::Gauge,
        unit: Unit::Bytes,
        labels: &[],
        help: "Size of the record's file",
        series: |b, _| vec![(vec![], b.agent.record_bytes as f64)],
    },
    Metric {
        name: "pathproof_probe_restarts",
        kind: Kind::Counter,
        unit: Unit::None,
        labels: &[],
        help: "Probes that ended or fell silent and were started again",
        series: |b, _| vec![(vec![], b.agent.restarts as f64)],
    },
    Metric {
        name: "pathproof_machine_sleeps",
        kind: Kind::Counter,
        unit: Unit::None,
        labels: &[],
        help: "Sleeps of the machine while the agent ran",
        series: |b, _| vec![(vec![], b.agent.sleeps as f64)],
    },
    Metric {
        name: "pathproof_clock_steps",
        kind: Kind::Counter,
        unit: Unit::None,
        labels: &[],
        help: "Steps of the wall clock while the agent ran",
        series: |b, _| vec![(vec![], b.agent.steps as f64)],
    },
    Metric {
        name: "pathproof_clock_state",
        kind: Kind::Gauge,
        unit: Unit::None,
        labels: &[("state", "synchronised, unsynchronised, unknown")],
        help: "Whether the wall clock was synchronised when the agent began: 1 for the state it was in",
        series: |b, _| {
            let states = [("synchronised", Some(true)), ("unsynchronised", Some(false)), ("unknown", None)];
            states.iter().map(|(word, is)| (vec![("state", *word)], flag(b.clock_synced == *is))).collect()
        },
    },
];

fn flag(is: bool) -> f64 {
    f64::from(u8::from(is))
}
