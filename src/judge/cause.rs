//! Causes: which span explains which, and what each is called.
//!
//! Works inside out: a span that began while a more inner lane was bad is that lane's doing. Reference points are asked
//! by literal address, so the outside lane explains the names lane and not the other way round. A refusal is an answer:
//! silence further in never explains it. Confidence is a first estimate from which discriminating lanes were really
//! seen, not yet calibrated.

use super::observation::{Lane, Outcome, Unreachable};
use super::settings::{RECOVERY, RESTART_WITHIN, Settings};
use super::span::{LaneState, Oddity, Span};
use super::time::{Edge, Micros, Moment};
use Cause as C;

/// Why a trouble happened. Each has a stable word.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Cause {
    /// The lead or port between this host and the next box.
    OwnLink,
    /// The interface vanished from the kernel.
    InterfaceGone,
    /// No address.
    AddressLost,
    /// Address held, default route gone.
    RouteLost,
    /// Two address servers on the LAN.
    SecondAddressServer,
    /// Two hosts with one address.
    AddressConflict,
    /// The router (or the box before it) went away and came back.
    RouterRestart,
    /// The router does not answer.
    RouterSilent,
    /// Losses on the LAN.
    LanLoss,
    /// Two hosts answer for the gateway.
    GatewayTwice,
    /// Everything outside lost with the router there.
    AccessLine,
    /// Losses beyond the router.
    LossBurst,
    /// Reference points lost while the receiver answers.
    ReferencesFiltered,
    /// One of several reference points or ways lost.
    TargetMissing,
    /// One of several resolvers lost.
    OneResolver,
    /// One of several receivers lost.
    OneReceiver,
    /// The receiver's name can't be looked up while others can.
    ReceiverUnresolved,
    /// Name resolution.
    NameService,
    /// A resolver loses part of the questions.
    NamesUnsteady,
    /// A resolver invents answers.
    NamesRewritten,
    /// The receiver refuses connections.
    ReceiverRefusing,
    /// The receiver drops connections after accepting.
    ReceiverResetting,
    /// The receiver does not answer.
    ReceiverSilent,
    /// A filter forbids the receiver's address or port.
    ReceiverFiltered,
    /// The receiver answers only in part.
    ReceiverUnsteady,
}

/// Who acts on a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Actor {
    /// The customer.
    Customer,
    /// The installer.
    Installer,
    /// The internet provider.
    Provider,
    /// The monitoring station.
    Station,
}

impl Cause {
    /// The stable word for JSON, metrics and comparison.
    pub const fn word(self) -> &'static str {
        match self {
            Self::OwnLink => "own-link",
            Self::InterfaceGone => "interface-gone",
            Self::AddressLost => "address-lost",
            Self::RouteLost => "route-lost",
            Self::SecondAddressServer => "second-address-server",
            Self::AddressConflict => "address-conflict",
            Self::RouterRestart => "router-restart",
            Self::RouterSilent => "router-silent",
            Self::LanLoss => "lan-loss",
            Self::GatewayTwice => "gateway-twice",
            Self::AccessLine => "access-line",
            Self::LossBurst => "loss-burst",
            Self::ReferencesFiltered => "references-filtered",
            Self::TargetMissing => "target-missing",
            Self::OneResolver => "one-resolver",
            Self::OneReceiver => "one-receiver",
            Self::ReceiverUnresolved => "receiver-unresolved",
            Self::NameService => "name-service",
            Self::NamesUnsteady => "names-unsteady",
            Self::NamesRewritten => "names-rewritten",
            Self::ReceiverRefusing => "receiver-refusing",
            Self::ReceiverResetting => "receiver-resetting",
            Self::ReceiverSilent => "receiver-silent",
            Self::ReceiverFiltered => "receiver-filtered",
            Self::ReceiverUnsteady => "receiver-unsteady",
        }
    }

    /// Who acts.
    pub const fn actor(self) -> Actor {
        match self {
            Self::OwnLink | Self::InterfaceGone | Self::AddressConflict | Self::SecondAddressServer => Actor::Installer,
            Self::LanLoss | Self::GatewayTwice | Self::RouteLost | Self::AddressLost => Actor::Installer,
            Self::RouterRestart | Self::RouterSilent => Actor::Customer,
            Self::NameService | Self::NamesUnsteady | Self::NamesRewritten | Self::OneResolver => Actor::Installer,
            Self::ReferencesFiltered | Self::ReceiverUnresolved => Actor::Installer,
            Self::OneReceiver => Actor::Station,
            Self::AccessLine | Self::LossBurst | Self::TargetMissing => Actor::Provider,
            Self::ReceiverRefusing | Self::ReceiverResetting | Self::ReceiverSilent => Actor::Station,
            Self::ReceiverFiltered => Actor::Customer,
            Self::ReceiverUnsteady => Actor::Station,
        }
    }

    /// Whether somebody at the site or the station can mend it, so that it should be mended before judging the line.
    pub const fn mendable(self) -> bool {
        !matches!(self, Self::AccessLine | Self::LossBurst | Self::ReferencesFiltered | Self::TargetMissing)
    }
}

/// What a lane did during a trouble.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Clue {
    /// The lane.
    pub lane: Lane,
    /// Its state meanwhile; blind when it was not measured.
    pub state: LaneState,
    /// Whether that speaks for the cause; `None` when it does neither.
    pub speaks_for: Option<bool>,
}

/// A span with its cause and everything it brought with it.
#[derive(Clone, Debug)]
pub struct Trouble {
    /// Where it began.
    pub root: Span,
    /// Spans of outer lanes that it explains.
    pub followers: Vec<Span>,
    /// Why.
    pub cause: Cause,
    /// How sure, 0 to 1. A first estimate.
    pub confidence: f64,
    /// What the lanes did.
    pub clues: Vec<Clue>,
    /// Other causes not excluded.
    pub not_excluded: Vec<Cause>,
    /// When the path could not deliver, if it could not.
    pub path_down: Option<(Edge, Option<Edge>)>,
}

impl Trouble {
    /// How long the path could not deliver; `now` closes an open one.
    pub fn down_for(&self, now: Moment) -> Micros {
        self.path_down
            .map_or(Micros::ZERO, |(from, to)| Micros((to.map_or(now, Edge::midpoint) - from.midpoint()).0.max(0)))
    }
}

/// What the explainer needs to know of a lane.
#[derive(Clone, Debug)]
pub struct LaneRecord {
    /// Which.
    pub lane: Lane,
    /// Its spans.
    pub spans: Vec<Span>,
    /// First and last moment observed.
    pub reach: Option<(Moment, Moment)>,
    /// Blind pauses.
    pub blind: Vec<(Moment, Moment)>,
    /// Unbroken runs of answers, by the times of asking the first and the last; empty for lanes that are not asked.
    pub answers: Vec<(Moment, Moment)>,
}

impl LaneRecord {
    /// Whether the lane is known by asking targets.
    pub fn is_asked(&self) -> bool {
        matches!(self.lane, Lane::Router | Lane::Names | Lane::Outside | Lane::Receiver)
    }

    /// Whether something of the lane was asked between two moments and answered.
    pub fn answered_between(&self, from: Moment, to: Moment) -> bool {
        let within = |m: &Moment| from <= *m && *m <= to;
        let spans = |a: &Moment, b: &Moment| *a < from && to < *b && to - from > Micros::from_secs(10);
        self.answers.iter().any(|(a, b)| within(a) || within(b) || spans(a, b))
    }

    /// Whether something was answered well inside a span: an answer at its very edge says nothing.
    pub fn answered_inside(&self, span: &Span, now: Moment) -> bool {
        let (from, to) = (span.start.latest + INSIDE, span.end.map_or(now, |e| e.earliest) - INSIDE);
        from <= to && self.answered_between(from, to)
    }

    /// The worst the lane did between two moments; blind when it was not observed then.
    pub fn state_between(&self, from: Moment, to: Moment, now: Moment) -> LaneState {
        let (Some((first, last)), middle) = (self.reach, from.midpoint(to)) else { return LaneState::Blind };
        if to < first || from > last || self.blind.iter().any(|(a, b)| *a <= middle && middle <= *b) {
            return LaneState::Blind;
        }
        let during = self.spans.iter().filter(|s| s.start.earliest < to && s.end.map_or(now, |e| e.latest) > from);
        let states: Vec<_> = during.map(|s| s.oddity.state()).collect();
        // Nothing bad enough to be a trouble and nothing answered either: not known to be good.
        if states.is_empty() && self.is_asked() && self.answers.is_empty() {
            return LaneState::Blind;
        }
        if states.contains(&LaneState::Bad) {
            LaneState::Bad
        } else if states.contains(&LaneState::Strained) {
            LaneState::Strained
        } else {
            LaneState::Good
        }
    }
}

/// How far inside a span an answer must lie to count as one during it.
const INSIDE: Micros = Micros::from_millis(500);

/// Lanes in the order in which one explains the next.
const ORDER: [Lane; 6] = [Lane::Link, Lane::Address, Lane::Router, Lane::Outside, Lane::Names, Lane::Receiver];

fn rank(lane: Lane) -> usize {
    ORDER.iter().position(|l| *l == lane).unwrap_or(ORDER.len())
}

/// Turns spans into troubles, in order of time.
pub fn explain(lanes: &[LaneRecord], settings: &Settings, now: Moment) -> Vec<Trouble> {
    let mut spans: Vec<&Span> = lanes.iter().flat_map(|l| &l.spans).collect();
    spans.sort_by_key(|s| (rank(s.lane), s.start.midpoint()));
    let mut troubles: Vec<Trouble> = Vec::new();
    for span in spans {
        let Some(owner) = troubles.iter().position(|t| explains(&t.root, span, now)) else {
            troubles.push(Trouble::new(span.clone()));
            continue;
        };
        troubles[owner].followers.push(span.clone());
        // What goes on long after its explanations ended is a trouble of its own from there on.
        if let Some(end) = explained_until(owner, span, &troubles, now)
            && span.end_or(now) - end.latest > RECOVERY
        {
            let mut rest = span.clone();
            rest.start = end;
            troubles.push(Trouble::new(rest));
        }
    }
    for t in &mut troubles {
        t.path_down = path_down(t, lanes, settings, now);
        name(t, lanes, now);
    }
    troubles.sort_by_key(|t| (t.root.start.midpoint(), rank(t.root.lane)));
    troubles
}

impl Trouble {
    fn new(root: Span) -> Self {
        Self {
            root,
            followers: Vec::new(),
            cause: Cause::TargetMissing,
            confidence: 0.0,
            clues: Vec::new(),
            not_excluded: Vec::new(),
            path_down: None,
        }
    }
}

/// Until when a span is explained: by its owner, and by troubles further in that began before the last explanation had
/// been over for long. `None` when to the end.
fn explained_until(owner: usize, span: &Span, troubles: &[Trouble], now: Moment) -> Option<Edge> {
    let mut until = troubles[owner].root.end?;
    while let Some(next) = troubles.iter().map(|t| &t.root).find(|r| {
        weighs(r)
            && rank(r.lane) < rank(span.lane)
            && r.start.earliest <= until.latest + RECOVERY
            && r.end.map_or(now, |e| e.latest) > until.latest
    }) {
        until = next.end?;
    }
    Some(until)
}

/// Whether a span is bad enough to explain others.
fn weighs(span: &Span) -> bool {
    span.oddity.state() == LaneState::Bad || span.oddity == Oddity::LossBurst
}

/// Whether `inner` explains `outer`: further in, bad enough, and `outer` began while it lasted.
fn explains(inner: &Span, outer: &Span, now: Moment) -> bool {
    let slack = Micros::from_secs(1);
    let answered =
        outer.lane == Lane::Receiver && matches!(outer.main_failure(), Some(Outcome::Refused | Outcome::Reset));
    let condition = !matches!(outer.oddity, Oddity::Silent | Oddity::LossBurst | Oddity::TargetMissing(_))
        && outer.oddity.state() != LaneState::Bad;
    weighs(inner)
        && !answered
        && !condition
        && rank(inner.lane) < rank(outer.lane)
        && inner.start.earliest - slack <= outer.start.latest
        && outer.start.earliest <= inner.end.map_or(now, |e| e.latest) + slack
}

/// When the path could not deliver because of this trouble.
fn path_down(t: &Trouble, lanes: &[LaneRecord], settings: &Settings, now: Moment) -> Option<(Edge, Option<Edge>)> {
    let receivers_seen =
        !settings.receivers.is_empty() && lanes.iter().any(|l| l.lane == Lane::Receiver && l.reach.is_some());
    let last = if receivers_seen { Lane::Receiver } else { Lane::Outside };
    // Where the last lane answered all the same, the path has another way.
    let answered = |s: &Span| lanes.iter().any(|l| l.lane == last && l.answered_inside(s, now));
    let stops = |s: &&Span| {
        s.oddity.state() == LaneState::Bad
            && (s.lane == last || (matches!(s.lane, Lane::Link | Lane::Address) && !answered(s)))
    };
    let mut down: Option<(Edge, Option<Edge>)> = None;
    for span in std::iter::once(&t.root).chain(&t.followers).filter(stops) {
        // A follower's own edges are duller than the root's: the path went when the root went.
        let from = if span.lane == t.root.lane { span.start } else { t.root.start };
        down = Some(match down {
            None => (from, span.end),
            Some((start, end)) => {
                let earlier = if from.midpoint() < start.midpoint() { from } else { start };
                let later = match (end, span.end) {
                    (Some(a), Some(b)) => Some(if a.midpoint() > b.midpoint() { a } else { b }),
                    _ => None,
                };
                (earlier, later)
            }
        });
    }
    down
}

/// Names the cause, with clues and confidence.
fn name(t: &mut Trouble, lanes: &[LaneRecord], now: Moment) {
    let (from, to) = (t.root.start.midpoint(), t.root.end_or(now));
    let state =
        |lane: Lane| lanes.iter().find(|l| l.lane == lane).map_or(LaneState::Blind, |l| l.state_between(from, to, now));
    let length = t.root.length(now);
    let good = |lane| state(lane) == LaneState::Good;
    let answered = |lane: Lane| lanes.iter().any(|l| l.lane == lane && l.answered_inside(&t.root, now));
    let receiver_answered = answered(Lane::Receiver);
    let (cause, confidence, not_excluded): (C, f64, Vec<C>) = match (t.root.lane, &t.root.oddity) {
        (_, Oddity::CarrierLost { .. }) => (C::OwnLink, 0.95, vec![]),
        (_, Oddity::InterfaceGone) => (C::InterfaceGone, 0.95, vec![]),
        (_, Oddity::NoAddress) => (C::AddressLost, 0.9, vec![]),
        (_, Oddity::NoRoute) => (C::RouteLost, 0.9, vec![]),
        (_, Oddity::SecondAddressServer(_)) => (C::SecondAddressServer, 0.97, vec![]),
        (_, Oddity::AddressConflict(_)) => (C::AddressConflict, 0.95, vec![]),
        (_, Oddity::GatewayTwice(_)) => (C::GatewayTwice, 0.8, vec![]),
        (_, Oddity::NamesRewritten(_)) => (C::NamesRewritten, 0.9, vec![]),
        (Lane::Names, Oddity::TargetMissing(_)) => (C::OneResolver, 0.9, vec![]),
        (Lane::Receiver, Oddity::TargetMissing(_)) => (C::OneReceiver, 0.85, vec![C::ReceiverFiltered]),
        (_, Oddity::TargetMissing(_)) => (C::TargetMissing, 0.8, vec![]),
        (Lane::Router, Oddity::Silent) if t.root.end.is_some() && length <= RESTART_WITHIN => {
            (C::RouterRestart, if good(Lane::Link) { 0.75 } else { 0.5 }, vec![C::RouterSilent, C::LanLoss])
        }
        (Lane::Router, Oddity::Silent) => (C::RouterSilent, 0.7, vec![C::RouterRestart]),
        (Lane::Router, _) => (C::LanLoss, 0.8, vec![]),
        (Lane::Outside, Oddity::Silent) if good(Lane::Receiver) && receiver_answered => {
            (C::ReferencesFiltered, 0.85, vec![C::AccessLine])
        }
        (Lane::Outside, oddity) => {
            let cause = if *oddity == Oddity::Silent { C::AccessLine } else { C::LossBurst };
            match state(Lane::Router) {
                LaneState::Good => (cause, 0.9, vec![]),
                LaneState::Blind => (cause, 0.4, vec![C::RouterRestart, C::RouterSilent]),
                _ => (cause, 0.5, vec![C::LanLoss]),
            }
        }
        (Lane::Names, Oddity::Silent) if good(Lane::Outside) => (C::NameService, 0.95, vec![]),
        (Lane::Names, Oddity::Silent) => (C::NameService, 0.6, vec![C::AccessLine]),
        (Lane::Names, _) => (C::NamesUnsteady, 0.7, vec![]),
        (Lane::Receiver, Oddity::Silent) => {
            let sure = if good(Lane::Outside) { 0.9 } else { 0.5 };
            match t.root.main_failure() {
                Some(Outcome::NotAsked(_)) => (C::ReceiverUnresolved, sure, vec![C::NameService]),
                Some(Outcome::Refused) => (C::ReceiverRefusing, sure, vec![C::ReceiverFiltered]),
                Some(Outcome::Reset | Outcome::Malformed) => (C::ReceiverResetting, sure, vec![C::ReceiverFiltered]),
                Some(Outcome::Unreachable(Unreachable::Prohibited)) => (C::ReceiverFiltered, sure, vec![]),
                _ => (C::ReceiverSilent, sure - 0.2, vec![C::ReceiverFiltered]),
            }
        }
        _ => (C::ReceiverUnsteady, 0.6, vec![C::LossBurst]),
    };
    (t.cause, t.confidence, t.not_excluded) = (cause, confidence, not_excluded);
    let own = rank(t.root.lane);
    t.clues = ORDER
        .iter()
        .map(|lane| {
            let s = state(*lane);
            let speaks_for = match (rank(*lane).cmp(&own), s) {
                (_, LaneState::Blind) => None,
                (std::cmp::Ordering::Less, LaneState::Good) | (std::cmp::Ordering::Equal, _) => Some(true),
                (std::cmp::Ordering::Less, _) => Some(false),
                // Lanes further out follow when the path hangs on this one; names and receivers may be cached or near.
                (std::cmp::Ordering::Greater, LaneState::Bad | LaneState::Strained) => Some(true),
                // What answers through a bad lane further in speaks against that lane being the whole path.
                (std::cmp::Ordering::Greater, LaneState::Good) => {
                    let blocks = t.root.oddity.state() == LaneState::Bad && t.root.lane <= Lane::Router;
                    (blocks && answered(*lane)).then_some(false)
                }
            };
            Clue { lane: *lane, state: s, speaks_for }
        })
        .collect();
}
