//! The fields of a ticket, as programs read them in the JSON and as the paper tells them.

use super::Given;
use crate::judge::{Actor, Cause, Lane};
use crate::show::say;
use crate::show::say::codes::Code;
use crate::snapshot::{Bout, Window};
use crate::snapshot::{LaneState, Snapshot, Trouble};
use serde::{Serialize, Serializer};

/// Windows of the history, days.
const HISTORY_DAYS: [u32; 3] = [7, 30, 90];

/// What a ticket is about.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TicketKind {
    /// One outage.
    #[default]
    Outage,
    /// Outages close together.
    Storm,
    /// One cause that comes again and again.
    Recurring,
    /// Something lasting that cut nothing.
    Condition,
}

/// A ticket. Seconds (`*_s`) are on the record's axis; edges are earliest, middle, latest.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Ticket {
    /// Its name: the same for the same outage, however often it is made.
    pub id: String,
    /// What it is about.
    pub kind: TicketKind,
    /// All of it in one line.
    pub line: String,
    /// Whether it lasts at the record's end.
    pub open: bool,
    /// When it began.
    pub from_s: Option<[f64; 3]>,
    /// When it ended.
    pub to_s: Option<[f64; 3]>,
    /// How long the path was down, by the edges: at least, middle, at most.
    pub down_s: Option<[f64; 3]>,
    /// The cause; of a storm, that of its longest outage. `None`, told as `without-mains`, where nothing went wrong yet.
    #[serde(serialize_with = "cause_word")]
    pub cause: Option<Cause>,
    /// How sure of it.
    pub confidence: f64,
    /// Other causes not excluded.
    pub not_excluded: Vec<Cause>,
    /// Who acts.
    pub who: Actor,
    /// What was seen and what it points to.
    pub technician: String,
    /// Observations for the cause.
    pub evidence_for: Vec<String>,
    /// Observations against it.
    pub evidence_against: Vec<String>,
    /// Each lane meanwhile.
    pub lanes: Vec<LaneMeanwhile>,
    /// Which supervision intervals its longest outage outlasted.
    pub known: Vec<Known>,
    /// The next step.
    pub step: String,
    /// How to prove it mended.
    pub proof: String,
    /// Whether somebody must go there, and why not.
    pub visit: &'static str,
    /// Seconds of record after it without the same cause.
    pub quiet_s: f64,
    /// Its outages.
    pub outages: Vec<Outage>,
    /// When it was seen, where it cut nothing.
    pub times: Vec<Outage>,
    /// All outages of the site, and those of this cause, over some windows.
    pub history: Vec<History>,
    /// What follows the clock, in words.
    pub patterns: Vec<String>,
    /// Event codes the station may have seen.
    pub codes: Vec<Code>,
    /// Names of the tickets of its outages, where it is about a cause that comes again.
    pub tickets: Vec<String>,
}

#[allow(clippy::ref_option, clippy::trivially_copy_pass_by_ref, reason = "the shape serde asks for")]
fn cause_word<S: Serializer>(cause: &Option<Cause>, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(cause.map_or("without-mains", Cause::word))
}

/// One outage of a ticket, or one time that something was seen which cut nothing.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Outage {
    /// The trouble's number in this reading of the record.
    pub trouble: u32,
    /// When it began.
    pub from_s: [f64; 3],
    /// When it ended.
    pub to_s: Option<[f64; 3]>,
    /// The same as wall time, UTC (RFC 3339), of the middles.
    pub from_utc: String,
    /// Likewise.
    pub to_utc: Option<String>,
    /// How long: at least, middle, at most.
    pub length_s: [f64; 3],
    /// Its cause.
    pub cause: Cause,
    /// In one sentence.
    pub sentence: String,
}

/// One supervision interval.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Known {
    /// The interval, seconds.
    pub interval_s: f64,
    /// Where it is used.
    pub used: String,
    /// Whether the outage was longer; `None`: the edges leave it open.
    pub noticed: Option<bool>,
    /// The chance that the station noticed it, at least and at most, where it is known how often the communicator
    /// checks in.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub chance: Option<[f64; 2]>,
}

/// A lane over the span of a ticket.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LaneMeanwhile {
    /// Which.
    pub lane: Lane,
    /// The worst it was.
    pub state: LaneState,
    /// From when it was bad, where it was.
    pub lost_s: Option<f64>,
    /// From when it was no longer bad; `None` also while it lasts.
    pub back_s: Option<f64>,
}

/// Outages over a window up to the record's end.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct History {
    /// The window, days.
    pub days: u32,
    /// Seconds of it the record covers.
    pub covered_s: f64,
    /// Outages, all and of this cause.
    pub outages: [usize; 2],
    /// Seconds down, likewise.
    pub down_s: [f64; 2],
    /// The longest, seconds, likewise.
    pub longest_s: [f64; 2],
}

pub(super) fn outage(given: &Given, b: &Bout) -> Outage {
    let s = given.snapshot;
    Outage {
        trouble: b.trouble.number,
        from_s: b.from_s,
        to_s: b.to_s,
        from_utc: say::utc(s.wall(b.from_s[1])),
        to_utc: b.to_s.map(|t| say::utc(s.wall(t[1]))),
        length_s: b.length_s(s.watch.elapsed_s),
        cause: b.trouble.cause,
        sentence: b.trouble.sentence.clone(),
    }
}

/// One time that a trouble was seen, whatever it cut.
pub(super) fn seen(s: &Snapshot, t: &Trouble) -> Outage {
    let end = t.end_s.unwrap_or([s.watch.elapsed_s; 3]);
    let length = [end[0] - t.start_s[2], end[1] - t.start_s[1], end[2] - t.start_s[0]].map(|x| x.max(0.0));
    Outage {
        trouble: t.number,
        from_s: t.start_s,
        to_s: t.end_s,
        from_utc: say::utc(s.wall(t.start_s[1])),
        to_utc: t.end_s.map(|e| say::utc(s.wall(e[1]))),
        length_s: length,
        cause: t.cause,
        sentence: t.sentence.clone(),
    }
}

pub(super) fn known(s: &Snapshot, b: &Bout) -> Vec<Known> {
    let of = |v: &crate::snapshot::SupervisionView| Known {
        interval_s: v.interval_s,
        used: v.used.clone(),
        noticed: b.noticed(v.interval_s, s.watch.elapsed_s),
        chance: v.check_in_s.map(|p| b.chance(v.interval_s, p, s.watch.elapsed_s)),
    };
    let mut out: Vec<Known> = s.supervision.iter().map(of).collect();
    // The site's own stands first; the common ones follow by length.
    out.get_mut(1..).unwrap_or_default().sort_by(|a, b| a.interval_s.total_cmp(&b.interval_s));
    out
}

pub(super) fn lanes(s: &Snapshot, from_s: f64, to_s: f64) -> Vec<LaneMeanwhile> {
    s.lanes
        .iter()
        .map(|l| {
            let within = || l.stretches.iter().filter(|x| x.to_s > from_s && x.from_s < to_s);
            let any = |state| within().any(|x| x.state == state);
            let worst = [LaneState::Bad, LaneState::Strained, LaneState::Good].into_iter().find(|w| any(*w));
            let state = worst.unwrap_or(LaneState::Blind);
            // A lane that was looked at only part of the time was not good throughout.
            let state = if state == LaneState::Good && any(LaneState::Blind) { LaneState::Blind } else { state };
            let bad = || within().filter(|x| x.state == LaneState::Bad);
            let lost_s = bad().next().map(|x| x.from_s);
            let back_s = bad().next_back().map(|x| x.to_s).filter(|t| *t < s.watch.elapsed_s);
            LaneMeanwhile { lane: l.lane, state, lost_s, back_s }
        })
        .collect()
}

/// The lanes over several outages: good or bad only where it was so in each of them.
pub(super) fn lanes_in_each(s: &Snapshot, outages: &[Outage]) -> Vec<LaneMeanwhile> {
    let end = |o: &Outage| o.to_s.map_or(s.watch.elapsed_s, |e| e[1]);
    let mut each = outages.iter().map(|o| lanes(s, o.from_s[1], end(o)));
    let mut all = each.next().unwrap_or_default();
    for other in each {
        for (l, o) in all.iter_mut().zip(other) {
            let state = if l.state == o.state { l.state } else { LaneState::Strained };
            *l = LaneMeanwhile { lane: l.lane, state, lost_s: None, back_s: None };
        }
    }
    all
}

/// The windows of the history, worked out once for all tickets.
pub(super) fn windows(s: &Snapshot) -> Vec<(u32, Window<'_>)> {
    HISTORY_DAYS.map(|days| (days, Window::last(s, f64::from(days) * 86_400.0))).to_vec()
}

pub(super) fn history(windows: &[(u32, Window)], cause: Cause) -> Vec<History> {
    windows
        .iter()
        .map(|(days, all)| {
            let mut own = all.clone();
            own.bouts.retain(|b| b.trouble.cause == cause);
            let longest = |w: &Window| w.longest().map_or(0.0, |b| b.length_s(w.to_s)[1]);
            History {
                days: *days,
                covered_s: all.length_s(),
                outages: [all.bouts.len(), own.bouts.len()],
                down_s: [all.down_s(), own.down_s()],
                longest_s: [longest(all), longest(&own)],
            }
        })
        .collect()
}

/// What the snapshot says of patterns.
pub(super) fn patterns(s: &Snapshot) -> Vec<String> {
    s.facts.iter().filter(|f| f.label == "pattern").map(|f| f.value.clone()).collect()
}
