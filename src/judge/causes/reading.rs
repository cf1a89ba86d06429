//! Reads the signs of a trouble from lanes, power, ground and patterns; weighs nothing. A sign that nobody looked for is
//! not known, and counts neither for nor against.

use super::around::Around;
use super::pattern::Follows;
use super::sign::Sign;
use super::trouble::Trouble;
use crate::judge::facts::{Lane, Micros, Moment, Outcome, Unreachable};
use crate::judge::lanes::ground::Change;
use crate::judge::lanes::span::{Cut, LaneState, Oddity, Span};
use crate::judge::lanes::thresholds::{RECOVERY, RESTART_WITHIN};

/// Loss of the gear this soon after the mains is at once (choice: no battery bridges less).
const AT_ONCE: Micros = Micros::from_secs(3);
/// ... and within this a battery that holds nothing ("seconds to minutes": common practice, no source).
const SOON: Micros = Micros::from_secs(600);
/// A router later than this after the carrier was starting (choice: an answer takes a second; 30 to 180 s are
/// common practice, no source).
const LATE: Micros = Micros::from_secs(8);
/// By how much a count of seconds since the start may place it too early (choice: whole seconds, a slow answer).
const START_SLACK: Micros = Micros::from_secs(5);
/// A trouble this long before something further in hid the rest is read from that part alone (choice: some looks).
const TELLING_PART: Micros = Micros::from_secs(8);
/// Looks this long before a trouble still tell of it.
const BEFORE: Micros = Micros::from_secs(60);

impl Sign {
    /// Reads the sign for a trouble.
    #[expect(clippy::too_many_lines, reason = "a table: one arm a sign")]
    pub(super) fn read(self, t: &Trouble, around: &Around<'_>) -> Option<bool> {
        let now = around.now;
        let root = &t.root;
        // Well inside: what is only known to have happened somewhere within an edge tells nothing of the time between.
        let inner = (root.start.latest, root.end.map_or(now, |e| e.earliest));
        let (from, to) = if inner.0 < inner.1 { inner } else { (root.start.midpoint(), root.end_or(now)) };
        // What went bad further in much later is a trouble of its own, and hides the rest of this one.
        let hiding = around.lanes.iter().zip(around.spans).filter(|(l, _)| further_in(l.lane, root.lane));
        let hidden = hiding.flat_map(|(l, spans)| spans.meeting(from, to).map(|place| &l.spans[place]));
        let hidden = hidden.filter(|s| s.oddity.state() == LaneState::Bad && s.start.earliest - from >= TELLING_PART);
        let to = hidden.map(|s| s.start.earliest).min().map_or(to, |h| h.min(to));
        let (wide_from, wide_to) = (root.start.earliest - BEFORE, root.end.map_or(now, |e| e.latest) + RESTART_WITHIN);
        // What started before it is not what it was.
        let starts_from = root.start.earliest - START_SLACK;
        // While it lasts, whatever told of itself since it began.
        let after = root.end.map_or(root.start.latest, |e| e.latest);
        let lane = |lane: Lane| around.lane(lane).map(|(l, _)| l);
        let carried = |which: Lane| around.lane(which).and_then(|(l, spans)| l.carried_between(spans, from, to));
        // Further out an answer must be seen: silence may only not have been noticed yet.
        let answered = |which: Lane| match around.lane(which) {
            Some((l, spans)) if which > root.lane || which == Lane::Outside => {
                // A lane that came back for a moment did not answer meanwhile.
                let inside = l.answered_inside(root, now) && !l.mostly_bad(spans, from, to, now);
                let bad = || carried(which) == Some(false);
                if inside { Some(true) } else { bad().then_some(false) }
            }
            _ => carried(which),
        };
        let failure = || root.main_failure();
        let power = around.power;
        let follows = |f: Follows| {
            let start = root.start.midpoint();
            around.patterns.iter().any(|p| p.follows == f && p.members.contains(&start)).then_some(true)
        };
        match self {
            Self::LinkKept => carried(Lane::Link),
            Self::AddressKept => carried(Lane::Address),
            // Where the router's own silence is the trouble, that is no further sign.
            Self::RouterAnswered if root.lane == Lane::Router => None,
            Self::RouterAnswered => carried(Lane::Router),
            Self::NamesAnswered => answered(Lane::Names),
            Self::OutsideAnswered if root.lane == Lane::Outside => None,
            Self::OutsideAnswered if root.lane > Lane::Outside || root.lane == Lane::Names => carried(Lane::Outside),
            Self::OutsideAnswered => answered(Lane::Outside),
            Self::ReceiverAnswered if root.lane == Lane::Receiver => None,
            // A receiver that lost much of what was asked tells neither way.
            Self::ReceiverAnswered => {
                answered(Lane::Receiver).filter(|yes| !yes || carried(Lane::Receiver) != Some(false))
            }
            Self::BackSoon => {
                let length = root.length(now);
                (root.end.is_some() || length > RESTART_WITHIN).then_some(length <= RESTART_WITHIN)
            }
            Self::Brief => Some(root.is_short_run()),
            Self::Lasts => Some(root.end.is_none()),
            Self::RouterCameLate => {
                let end = root.end?;
                let router = t.followers.iter().filter(|s| s.lane == Lane::Router && s.oddity == Oddity::Silent);
                let later = router.map(|s| s.end.map_or(now, |e| e.earliest) - end.latest).max();
                // The router must have been seen since.
                lane(Lane::Router)?.reach.filter(|(_, last)| *last > end.latest)?;
                Some(later.is_some_and(|l| l > LATE))
            }
            Self::ManyFlaps => match root.oddity {
                Oddity::CarrierLost { times } => Some(times >= 3),
                _ => None,
            },
            Self::FromFirstLook => Some(root.from_first_look),
            Self::MainsPresent if root.lane == Lane::Power => None,
            Self::MainsPresent => power.mains_between(root.start.earliest, to),
            Self::RouterRestarted => power.started_between(starts_from, wide_to, after, false),
            Self::ConnectionAnew => {
                let anew = power.started_between(starts_from, wide_to, after, true);
                let other = changed(around, wide_from, wide_to, |c| matches!(c, Change::Outer { .. }));
                if other { Some(true) } else { anew }
            }
            Self::RouterSaysConnected => power.connected_between(from, to + Micros::from_secs(5)),
            Self::NeighboursStayed if root.lane == Lane::Link || carried(Lane::Link) == Some(false) => None,
            Self::NeighboursStayed => {
                power.neighbours_stayed(root.start.earliest, (root.start.latest + SOON).min(wide_to))
            }
            Self::PortalSeen => around.ground.intercepted_between(root.start.earliest, to),
            Self::ServerSilent => around.ground.server_silent_between(from - SOON, to + BEFORE),
            Self::LeaseRanOut => around.ground.lease_lost_between(root.start.earliest, root.start.latest + BEFORE)?,
            Self::StaticAddress => around
                .ground
                .lease_lost_between(root.start.earliest, root.start.latest + BEFORE)
                .map(|out| out.is_none()),
            Self::Swapped => {
                let gateway = changed(around, wide_from, wide_to, |c| matches!(c, Change::Gateway { .. }));
                let rest = changed(around, wide_from, wide_to, |c| {
                    matches!(c, Change::Address { subnet: true, .. } | Change::Server { .. })
                });
                // Nothing changed is a sign only once the router was seen again.
                let seen = lane(Lane::Router).and_then(|l| l.reach).is_some_and(|(_, last)| last > to);
                if gateway && rest { Some(true) } else { seen.then_some(false) }
            }
            Self::OutsideLossy => lossy(around, Lane::Outside, root),
            Self::RouterLossy => lossy(around, Lane::Router, root),
            Self::OutsideSlow => slow(around, Lane::Outside, root, now),
            Self::RouterSlow => slow(around, Lane::Router, root, now),
            Self::RadioWeak => around.ground.radio_weak_between(root.start.earliest - BEFORE, to + BEFORE),
            Self::SmallPacketsOnly => around.ground.small_packets_only(from),
            Self::Refused => failure().map(|o| o == Outcome::Refused),
            Self::TornDown => failure().map(|o| matches!(o, Outcome::Reset | Outcome::Malformed)),
            Self::Forbidden => failure().map(|o| o == Outcome::Unreachable(Unreachable::Prohibited)),
            Self::Unresolved => failure().map(|o| matches!(o, Outcome::NotAsked(_))),
            Self::BootAnew => match root.oddity {
                Oddity::CutOff(Cut { boot_anew, .. }) => Some(boot_anew),
                _ => None,
            },
            Self::RouterAwayOnReturn => {
                let router = lane(Lane::Router)?;
                let back = root.end?.latest;
                router.reach.filter(|(_, last)| *last > back)?;
                let away = |s: &&Span| s.oddity == Oddity::Silent && s.lane == Lane::Router;
                Some(t.followers.iter().any(|s| away(&s)))
            }
            Self::OnBattery => power.on_battery_at(root.start.earliest),
            Self::GoneAtOnce => Some(gone_after(t)? <= AT_ONCE),
            Self::GoneSoon => {
                let after = gone_after(t)?;
                Some(AT_ONCE < after && after <= SOON)
            }
            Self::PathHeld => {
                let held = !t.followers.iter().any(|s| s.oddity.state() == LaneState::Bad);
                (root.end.is_some() || !held).then_some(held)
            }
            Self::Translated => match root.oddity {
                Oddity::Ipv4Missing { translated } => translated,
                _ => None,
            },
            Self::SameMinute => follows(Follows::Minute),
            Self::SameHours => follows(Follows::Hours),
            Self::SameAge => follows(Follows::Age),
            Self::LeaseMoment => follows(Follows::Lease),
            Self::AfterMains => follows(Follows::Mains),
        }
    }
}

/// Whether one lane can hide another: names and the outside are beyond the router alike.
fn further_in(inner: Lane, outer: Lane) -> bool {
    inner < outer && !matches!(inner, Lane::Power | Lane::Names)
}

/// How long after the mains the lead or the router went; `None` if they held.
fn gone_after(t: &Trouble) -> Option<Micros> {
    let gear = |s: &&Span| matches!(s.lane, Lane::Link | Lane::Router) && s.oddity.state() == LaneState::Bad;
    t.followers.iter().filter(gear).map(|s| s.start.midpoint() - t.root.start.midpoint()).min()
}

fn changed(around: &Around<'_>, from: Moment, to: Moment, what: impl Fn(&Change) -> bool) -> bool {
    around.ground.changes().iter().any(|(e, c)| e.latest >= from && e.earliest <= to && what(c))
}

/// Whether a lane lost much about then.
fn lossy(around: &Around<'_>, lane: Lane, root: &Span) -> Option<bool> {
    let (record, spans) = around.lane(lane)?;
    record.lossy_between(spans, root.start.earliest - RECOVERY, root.end.map_or(around.now, |e| e.latest) + RECOVERY)
}

/// Whether answers of a lane were slow with it.
fn slow(around: &Around<'_>, lane: Lane, root: &Span, now: Moment) -> Option<bool> {
    if root.lane == lane && matches!(root.oddity, Oddity::Slow { .. }) {
        return None;
    }
    let (record, spans) = around.lane(lane)?;
    let mut meanwhile = record.during(spans, root.start.earliest, root.end_or(now));
    let slow = meanwhile.any(|s| matches!(s.oddity, Oddity::Slow { .. }));
    record.reach.map(|_| slow)
}
