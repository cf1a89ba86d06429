//! What stands beside the lanes: pages in between, small packets, short memories, a weak radio, a communicator that is
//! gone, IPv4 missing, a lease not renewed; and what changed: gateway, subnet, server, resolvers, outer address.
//!
//! Each condition has its own rule for when one odd answer is no condition yet. Sources beside each. Does not weigh
//! causes.

use crate::judge::facts::{Detail, HeldAddress, Lane, Mac, Observation, Outcome, Question, Transport, Web};
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::lanes::power::push;
use crate::judge::lanes::span::{Oddity, Span};
use crate::judge::lanes::standing::Standing;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Arc;

/// A signal at or under this is weak, dBm (choice; better than -67 for voice is common practice, no source).
pub const WEAK_DBM: i16 = -75;
/// An offset over this counts (the open IP protocol lets a message be 20 s ahead or 40 s behind, second-hand
/// [DC0913]: the nearer of the two).
pub const CLOCK_OFF: Micros = Micros::from_secs(20);
/// A UDP binding must last this long (RFC 4787 REQ-5); a TCP connection that is forgotten as soon counts as well (choice:
/// RFC 5382 REQ-5 asks for over two hours, which homes hardly have).
pub const IDLE_LEAST_S: u32 = 120;
/// A packet of this size is what every LAN carries [IEEE8023].
const LAN_MTU: u16 = 1_500;
/// Looks in a row before a missing communicator or IPv4 counts (choice).
const MISSES: u32 = 3;
/// ... and the least time they must span (choice: an interface that comes up gets IPv6 first).
const MISSING_FOR: Micros = Micros::from_secs(30);
/// Share of the lease left when both renewing and rebinding have failed (RFC 2131 section 4.4.5: T2 at 0.875).
const REBIND_LEFT: f64 = 0.125;

/// What changed at the site, a fact with a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Change {
    /// Another hardware address answers for the gateway.
    Gateway {
        /// Before.
        from: Mac,
        /// Since.
        to: Mac,
    },
    /// This host's IPv4 address is another, in the same subnet or not.
    Address {
        /// Before.
        from: IpAddr,
        /// Since.
        to: IpAddr,
        /// Whether the subnet is another as well.
        subnet: bool,
    },
    /// Another address server answers.
    Server {
        /// Before.
        from: IpAddr,
        /// Since.
        to: IpAddr,
    },
    /// The address server gives other resolvers; the first of each.
    Resolvers {
        /// Before.
        from: IpAddr,
        /// Since.
        to: IpAddr,
    },
    /// The site's outer address is another, in the same /24 (IPv4) or /48 (IPv6) or not.
    Outer {
        /// Before.
        from: IpAddr,
        /// Since.
        to: IpAddr,
        /// Whether the prefix is another as well.
        prefix: bool,
    },
}

/// What becomes of a lease.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
struct LeaseLog {
    /// Renewals: when, and how long for (seconds).
    renewals: Vec<(Moment, u32)>,
    last: Option<(Moment, Option<u32>)>,
    /// When it was first seen gone, and whether it had run out; `None` for an address without an end.
    losses: Vec<(Moment, Option<bool>)>,
    standing: Standing,
}

/// The conditions and changes of the site.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Ground {
    portal: (u32, Standing),
    /// Pages got, and whether somebody else's.
    pages: Vec<(Moment, bool)>,
    idle: BTreeMap<Transport, Standing>,
    mtu: Standing,
    clock: Standing,
    radio: (u32, Standing),
    radio_looks: Vec<(Moment, bool)>,
    communicators: BTreeMap<Arc<str>, (u32, Option<Moment>, Standing)>,
    ipv4: (u32, Option<Moment>, Standing),
    /// Whether each resolver translates; one that does is enough.
    translates: BTreeMap<Arc<str>, bool>,
    lease: LeaseLog,
    offers: Vec<(Moment, bool)>,
    changes: Vec<(Edge, Change)>,
    gateway: Option<(Moment, Mac)>,
    gateway_next: Option<Mac>,
    held: Option<(Moment, IpAddr, u8)>,
    server: Option<(Moment, IpAddr)>,
    resolver: Option<(Moment, IpAddr)>,
    /// As the outside sees it, and as the router knows it: behind two routers the two differ.
    outer: [Option<(Moment, IpAddr)>; 2],
}

impl Ground {
    /// Takes in an observation; those of other questions are ignored. `quiet` is the longest the path may be silent, for
    /// what is forgotten in between.
    pub fn observe(&mut self, o: &Observation, quiet: Option<Micros>) {
        let (at, since) = (o.known, o.asked);
        match (o.question, &o.detail) {
            (Question::OwnAddress, Detail::OwnAddress { held, .. }) if o.outcome == Outcome::Answered => {
                self.own(at, held);
            }
            (Question::GatewayArp | Question::GatewayNeighbour, Detail::Claimants(who))
                if o.outcome == Outcome::Answered =>
            {
                if let [one] = who.as_slice() {
                    self.gateway(at, *one);
                }
            }
            (Question::Offers, detail) if o.outcome.was_asked() => {
                let offers = if let Detail::Offers { offers, .. } = detail { offers.as_slice() } else { &[] };
                push(&mut self.offers, (since, o.outcome == Outcome::Answered && !offers.is_empty()));
                if let [one] = offers {
                    change(&mut self.server, &mut self.changes, at, one.server, |from, to| Change::Server { from, to });
                    let first = one.resolvers.first().copied();
                    change(&mut self.resolver, &mut self.changes, at, first, |from, to| Change::Resolvers { from, to });
                }
            }
            (Question::SeenFrom, Detail::SeenFrom(seen)) => self.outer(0, at, seen.ip()),
            (Question::RouterLife, Detail::RouterLife(life)) => {
                if let Some(outer) = life.outer.filter(|a| !a.is_unspecified()) {
                    self.outer(1, at, outer);
                }
            }
            // A server that fails (RFC 9110 section 15.6) tells neither way: nobody took its place. Except by 511.
            (Question::Portal, Detail::Web(Web { status: 500..=510 | 512..=599, redirected_to: None, .. })) => {}
            (Question::Portal, Detail::Web(web)) if o.outcome == Outcome::Answered => {
                // 511 is a portal by its own word (RFC 6585); a redirect or another body where neither belongs is one too.
                let odd = web.status == 511 || web.redirected_to.is_some() || web.as_expected == Some(false);
                push(&mut self.pages, (at, odd));
                self.portal.0 = if odd { self.portal.0 + 1 } else { 0 };
                let now = (self.portal.0 >= 2).then(|| Oddity::Intercepted { to: web.redirected_to.clone() });
                if now.is_some() || !odd {
                    self.portal.1.look(Lane::Outside, since, at, now);
                }
            }
            (Question::IdleTimeout, Detail::Idle { over, kept_s, lost_s }) => {
                let quiet = quiet.map_or(IDLE_LEAST_S, |q| u32::try_from(q.0 / 1_000_000).unwrap_or(u32::MAX));
                let short = lost_s.filter(|s| *s <= quiet.max(IDLE_LEAST_S));
                let odd = short.map(|lost_s| Oddity::IdleTimeout { over: *over, kept_s: *kept_s, lost_s });
                self.idle.entry(*over).or_default().look(Lane::Receiver, since, at, odd);
            }
            (Question::PathMtu, Detail::PathMtu { passed, lost, told }) => {
                let hole = lost.is_some_and(|l| l <= LAN_MTU) && told.is_none() && *passed > 0;
                let odd = hole.then_some(Oddity::MtuBlackHole { passed: *passed });
                self.mtu.look(Lane::Receiver, since, at, odd);
            }
            (Question::ClockOffset, Detail::ClockOffset { offset, error }) => {
                let sure = Micros((offset.0.saturating_abs() - error.0.max(0)).max(0));
                self.clock.look(Lane::Outside, since, at, (sure > CLOCK_OFF).then_some(Oddity::ClockOffset(*offset)));
            }
            (Question::Radio, Detail::Radio(radio)) => {
                let Some(dbm) = radio.signal_dbm else { return };
                let weak = dbm <= WEAK_DBM;
                push(&mut self.radio_looks, (at, weak));
                self.radio.0 = if weak { self.radio.0 + 1 } else { 0 };
                let odd = (self.radio.0 >= MISSES).then_some(Oddity::WeakRadio(dbm));
                if odd.is_some() || !weak {
                    self.radio.1.look(Lane::Link, since, at, odd);
                }
            }
            (Question::Communicator, detail) if o.outcome.was_asked() => {
                let there = o.outcome == Outcome::Answered && matches!(detail, Detail::Claimants(w) if !w.is_empty());
                if self.communicators.len() >= 8 && !self.communicators.contains_key(&o.target) {
                    return;
                }
                let (misses, from, standing) = self.communicators.entry(Arc::clone(&o.target)).or_default();
                let odd = missing(misses, from, !there, since);
                let odd = odd.then(|| Oddity::CommunicatorAbsent(Arc::clone(&o.target)));
                if odd.is_some() || there {
                    standing.look(Lane::Address, since, at, odd);
                }
            }
            // A resolver that fails or refuses has not said whether it translates.
            (Question::Translation, Detail::Name(answer))
                if o.outcome == Outcome::Answered
                    && matches!(answer.code, 0 | 3)
                    && (self.translates.len() < 8 || self.translates.contains_key(&o.target)) =>
            {
                self.translates.insert(Arc::clone(&o.target), answer.addresses.iter().any(IpAddr::is_ipv6));
            }
            _ => {}
        }
    }

    fn own(&mut self, at: Moment, held: &[HeldAddress]) {
        let four = held.iter().find(|h| h.address.is_ipv4());
        let (misses, from, standing) = &mut self.ipv4;
        let odd = missing(misses, from, four.is_none() && !held.is_empty(), at);
        if odd || four.is_some() {
            let translated = (!self.translates.is_empty()).then(|| self.translates.values().any(|t| *t));
            standing.look(Lane::Address, at, at, odd.then_some(Oddity::Ipv4Missing { translated }));
        }
        self.lease.look(at, four);
        let Some(four) = four else { return };
        if let Some((last, address, prefix)) = &mut self.held
            && *address == four.address
            && *prefix == four.prefix
        {
            *last = at;
            return;
        }
        if let Some((last, from, prefix)) = self.held.replace((at, four.address, four.prefix)) {
            let subnet = prefix != four.prefix || masked(from, prefix) != masked(four.address, prefix);
            push(&mut self.changes, (Edge::between(last, at), Change::Address { from, to: four.address, subnet }));
        }
    }

    fn gateway(&mut self, at: Moment, one: Mac) {
        match &mut self.gateway {
            Some((last, mac)) if *mac == one => {
                *last = at;
                self.gateway_next = None;
            }
            // Twice in a row: two boxes that both answer are another matter.
            Some((last, mac)) if self.gateway_next == Some(one) => {
                let (last, from) = (*last, *mac);
                self.gateway = Some((at, one));
                self.gateway_next = None;
                push(&mut self.changes, (Edge::between(last, at), Change::Gateway { from, to: one }));
            }
            Some(_) => self.gateway_next = Some(one),
            None => self.gateway = Some((at, one)),
        }
    }

    fn outer(&mut self, source: usize, at: Moment, now: IpAddr) {
        let bits = if now.is_ipv4() { 24 } else { 48 };
        change(&mut self.outer[source], &mut self.changes, at, Some(now), |from, to| Change::Outer {
            from,
            to,
            prefix: masked(from, bits) != masked(to, bits),
        });
    }

    /// Spans of every condition.
    pub fn spans(&self) -> Vec<Span> {
        let communicators = self.communicators.values().map(|(.., s)| s);
        [&self.portal.1, &self.mtu, &self.clock, &self.radio.1, &self.ipv4.2, &self.lease.standing]
            .into_iter()
            .chain(self.idle.values())
            .chain(communicators)
            .flat_map(Standing::spans)
            .collect()
    }

    /// When the last measurement of what is measured seldom was begun: only one begun after what disturbs it tells whether
    /// it stands. `None` for all else.
    pub fn last_measured_from(&self, oddity: &Oddity) -> Option<Moment> {
        match oddity {
            Oddity::MtuBlackHole { .. } => self.mtu.last_begun,
            Oddity::IdleTimeout { over, .. } => self.idle.get(over)?.last_begun,
            _ => None,
        }
    }

    /// What changed, in order, each with the looks around it.
    pub fn changes(&self) -> &[(Edge, Change)] {
        &self.changes
    }

    /// Whether somebody else's page was got between two moments; `None` when no page was got then. One is enough where the
    /// outside was silent as well; by itself it takes two.
    pub fn intercepted_between(&self, from: Moment, to: Moment) -> Option<bool> {
        any_between(&self.pages, from, to)
    }

    /// Whether large packets vanished when last tried.
    pub fn small_packets_only(&self, at: Moment) -> Option<bool> {
        let odd = self.mtu.spans().any(|s| s.start.earliest <= at && s.end.is_none_or(|e| e.latest >= at));
        self.mtu.last.map(|_| odd)
    }

    /// Whether the radio was weak at a look between two moments; `None` without a look.
    pub fn radio_weak_between(&self, from: Moment, to: Moment) -> Option<bool> {
        any_between(&self.radio_looks, from, to)
    }

    /// Whether the address server kept silent at the last round asked between two moments.
    pub fn server_silent_between(&self, from: Moment, to: Moment) -> Option<bool> {
        let at = self.offers.partition_point(|(m, _)| *m < from);
        self.offers[at..].iter().take_while(|(m, _)| *m <= to).map(|(_, answered)| !answered).last()
    }

    /// Whether the address first seen gone between two moments had run out; the inner `None` for one without an end.
    #[allow(clippy::option_option, reason = "lost or not, and then whether that is known")]
    pub fn lease_lost_between(&self, from: Moment, to: Moment) -> Option<Option<bool>> {
        self.lease.losses.iter().find(|(at, _)| from <= *at && *at <= to).map(|(_, out)| *out)
    }

    /// The lease's age at a moment as a share of its length; `None` without one.
    pub fn lease_age_at(&self, at: Moment) -> Option<f64> {
        let before = self.lease.renewals.partition_point(|(m, _)| *m <= at);
        let (renewed, length) = self.lease.renewals.get(before.checked_sub(1)?)?;
        (*length > 0).then(|| (at - *renewed).secs() / f64::from(*length))
    }
}

impl LeaseLog {
    fn look(&mut self, at: Moment, four: Option<&HeldAddress>) {
        let Some(four) = four else {
            self.standing.look(Lane::Address, at, at, None);
            if let Some((last, left)) = self.last.take() {
                let slack = 5.0 + (at - last).secs();
                push(&mut self.losses, (at, left.map(|l| f64::from(l) <= slack)));
            }
            return;
        };
        let left = if four.permanent { None } else { four.valid_s };
        if let Some(now) = left {
            let expected = self.last.and_then(|(last, left)| left.map(|l| f64::from(l) - (at - last).secs()));
            if expected.is_none_or(|e| f64::from(now) > e + 5.0) {
                push(&mut self.renewals, (at, now));
            }
            let full = self.renewals.iter().rev().take(3).map(|(_, l)| *l).max().unwrap_or(0);
            // Seconds count: under two minutes a round of the client's own retries is longer than what is left.
            let late = full >= 120 && f64::from(now) < f64::from(full) * REBIND_LEFT;
            self.standing.look(Lane::Address, at, at, late.then_some(Oddity::LeaseNotRenewed));
        }
        self.last = Some((at, left));
    }
}

/// Whether any look between two moments was so; `None` without a look. Looks come in order.
fn any_between(looks: &[(Moment, bool)], from: Moment, to: Moment) -> Option<bool> {
    let at = looks.partition_point(|(m, _)| *m < from);
    looks[at..].iter().take_while(|(m, _)| *m <= to).map(|(_, so)| *so).reduce(|a, b| a || b)
}

/// Counts looks that miss; true once there were enough of them over a while.
fn missing(misses: &mut u32, from: &mut Option<Moment>, miss: bool, at: Moment) -> bool {
    if !miss {
        (*misses, *from) = (0, None);
        return false;
    }
    *misses = misses.saturating_add(1);
    let from = *from.get_or_insert(at);
    *misses >= MISSES && at - from >= MISSING_FOR
}

/// Notes a value that is another than before.
fn change(
    last: &mut Option<(Moment, IpAddr)>,
    changes: &mut Vec<(Edge, Change)>,
    at: Moment,
    now: Option<IpAddr>,
    what: impl Fn(IpAddr, IpAddr) -> Change,
) {
    let Some(now) = now else { return };
    if let Some((before, from)) = last.replace((at, now))
        && from != now
    {
        push(changes, (Edge::between(before, at), what(from, now)));
    }
}

/// The network part of an address.
fn masked(a: IpAddr, bits: u8) -> u128 {
    let (value, width) = match a {
        IpAddr::V4(a) => (u128::from(a.to_bits()), 32),
        IpAddr::V6(a) => (a.to_bits(), 128),
    };
    value.checked_shr(width - u32::from(bits).min(width)).unwrap_or(0)
}

/// Whether an address lies in space that is not routed on the internet: private (RFC 1918) or shared between the
/// subscribers of a provider (RFC 6598).
pub fn unrouted(a: IpAddr) -> Option<&'static str> {
    match a {
        IpAddr::V4(a) if a.is_private() => Some("private"),
        IpAddr::V4(a) if a.octets()[0] == 100 && a.octets()[1] & 0xc0 == 64 => Some("shared"),
        _ => None,
    }
}

#[cfg(test)]
#[path = "ground_tests.rs"]
mod tests;
