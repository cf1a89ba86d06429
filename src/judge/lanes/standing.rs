//! Lanes and conditions that stand rather than answer: the host's own address and route, a second address server, an
//! address conflict, a second host on the gateway's address, rewritten names.
//!
//! Each is a state with a first and a last sight; edges lie between the looks that disagree.

use crate::judge::facts::{Detail, HeldAddress, Lane, Observation, Outcome, Question};
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::lanes::span::{Oddity, Span};
use serde::{Deserialize, Serialize};
use std::net::IpAddr;

/// One standing condition: what it is now and the looks around its changes.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub(crate) struct Standing {
    pub(crate) last: Option<Moment>,
    /// When the last look was begun: some take long.
    pub(crate) last_begun: Option<Moment>,
    open: Option<Span>,
    spans: Vec<Span>,
}

impl Standing {
    /// A look at `at` that was begun at `since`: what stood then, if anything.
    pub(crate) fn look(&mut self, lane: Lane, since: Moment, at: Moment, now: Option<Oddity>) {
        let before = self.last.replace(at);
        self.last_begun = Some(since);
        let edge = Edge::between(before.unwrap_or(since).min(at), at);
        match (&mut self.open, now) {
            (Some(open), Some(now)) => {
                if std::mem::discriminant(&open.oddity) == std::mem::discriminant(&now) {
                    open.oddity = now;
                } else {
                    self.end(edge);
                    self.open = Some(Span::new(lane, now, edge));
                }
            }
            (Some(_), None) => self.end(edge),
            (None, Some(now)) => {
                let mut span = Span::new(lane, now, edge);
                span.from_first_look = before.is_none();
                self.open = Some(span);
            }
            (None, None) => {}
        }
    }

    fn end(&mut self, edge: Edge) {
        if let Some(mut span) = self.open.take() {
            span.end = Some(edge);
            self.spans.push(span);
        }
    }

    pub(crate) fn spans(&self) -> impl Iterator<Item = Span> {
        self.spans.iter().cloned().chain(self.open.clone())
    }
}

/// The standing conditions of the site.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Standings {
    gap: Micros,
    own: Standing,
    first: Option<Moment>,
    blind: Vec<(Moment, Moment)>,
    servers: Standing,
    conflict: Standing,
    gateway: Standing,
    gateway_doubled: u32,
    rewritten: Standing,
    rewritten_seen: u32,
    held: Vec<HeldAddress>,
    route: Option<IpAddr>,
}

impl Standings {
    /// Nothing seen yet; a pause longer than `gap` between looks at the own address is blind.
    pub fn new(gap: Micros) -> Self {
        Self {
            gap,
            own: Standing::default(),
            first: None,
            blind: Vec::new(),
            servers: Standing::default(),
            conflict: Standing::default(),
            gateway: Standing::default(),
            gateway_doubled: 0,
            rewritten: Standing::default(),
            rewritten_seen: 0,
            held: Vec::new(),
            route: None,
        }
    }

    /// Takes in an observation; those of other questions are ignored.
    pub fn observe(&mut self, o: &Observation) {
        match (o.question, &o.detail) {
            (Question::OwnAddress, Detail::OwnAddress { held, gateway }) if o.outcome == Outcome::Answered => {
                if let Some(last) = self.own.last
                    && o.known - last > self.gap
                {
                    self.blind.push((last, o.known));
                }
                self.first.get_or_insert(o.known);
                let odd = if held.is_empty() {
                    Some(Oddity::NoAddress)
                } else if gateway.is_none() {
                    Some(Oddity::NoRoute)
                } else {
                    None
                };
                self.own.look(Lane::Address, o.asked, o.known, odd);
                self.held.clone_from(held);
                self.route = *gateway;
            }
            (Question::Offers, _) if o.outcome == Outcome::Timeout => {
                // Nobody answered the round: that says nothing about how many servers there are.
            }
            (Question::Offers, Detail::Offers { offers, .. }) if o.outcome == Outcome::Answered => {
                let mut servers: Vec<_> = offers.iter().map(|l| (l.server, l.from)).collect();
                servers.sort();
                servers.dedup();
                let odd = (servers.len() > 1).then_some(Oddity::SecondAddressServer(servers));
                // A round listens for seconds: the second server was there when the round was asked or came after.
                let at = if odd.is_some() { o.asked.midpoint(o.known) } else { o.asked };
                self.servers.look(Lane::Address, o.asked, at, odd);
            }
            (Question::Conflict, detail) if o.outcome.was_asked() => {
                let odd = match detail {
                    Detail::Claimants(who) if o.outcome == Outcome::Answered && !who.is_empty() => {
                        Some(Oddity::AddressConflict(who.clone()))
                    }
                    _ => None,
                };
                self.conflict.look(Lane::Address, o.asked, o.known, odd);
            }
            (Question::GatewayArp, Detail::Claimants(who)) if o.outcome == Outcome::Answered => {
                // Twice in a row: one late answer of a box just replaced is no second gateway.
                self.gateway_doubled = if who.len() > 1 { self.gateway_doubled.saturating_add(1) } else { 0 };
                let odd = (self.gateway_doubled >= 2).then(|| Oddity::GatewayTwice(who.clone()));
                if odd.is_some() || who.len() == 1 {
                    self.gateway.look(Lane::Router, o.asked, o.known, odd);
                }
            }
            (Question::ControlName, Detail::Name(answer)) if o.outcome == Outcome::Answered => {
                let invented = answer.code == 0 && answer.answers > 0;
                self.rewritten_seen = if invented { self.rewritten_seen.saturating_add(1) } else { 0 };
                let odd = (self.rewritten_seen >= 2).then(|| Oddity::NamesRewritten(o.target.clone()));
                if odd.is_some() || !invented {
                    self.rewritten.look(Lane::Names, o.asked, o.known, odd);
                }
            }
            _ => {}
        }
    }

    /// Spans of the address lane's own state (no address, no route): these are bad, not merely strained.
    pub fn own_spans(&self) -> Vec<Span> {
        self.own.spans().collect()
    }

    /// Whether the host is without an address or a route right now.
    pub fn own_is_off(&self) -> bool {
        self.own.open.is_some()
    }

    /// Every other standing condition.
    pub fn condition_spans(&self) -> Vec<Span> {
        [&self.servers, &self.conflict, &self.gateway, &self.rewritten].into_iter().flat_map(Standing::spans).collect()
    }

    /// First and last look at the own address.
    pub fn reach(&self) -> Option<(Moment, Moment)> {
        self.first.zip(self.own.last)
    }

    /// Pauses between looks at the own address too long to count as observed.
    pub fn blind(&self) -> &[(Moment, Moment)] {
        &self.blind
    }

    /// Addresses held and the gateway at the last look.
    pub fn own(&self) -> (&[HeldAddress], Option<IpAddr>) {
        (&self.held, self.route)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::facts::{Lease, Mac, NameAnswer};

    fn seen(at: i64, question: Question, outcome: Outcome, detail: Detail) -> Observation {
        let at = Moment(at * 1_000_000);
        Observation { asked: at, known: at, question, target: "t".into(), outcome, rtt: None, detail }
    }

    fn offers(servers: &[u8]) -> Detail {
        let offers = servers
            .iter()
            .map(|n| Lease {
                server: Some(IpAddr::from([192, 0, 2, *n])),
                from: Some(Mac([2, 0, 0, 0, 0, *n])),
                ..Lease::default()
            })
            .collect();
        Detail::Offers { offers, discarded: 0 }
    }

    #[test]
    fn a_second_address_server_stands_from_the_round_that_heard_it_to_the_first_that_did_not() {
        let mut s = Standings::new(Micros::from_secs(10));
        for (at, who) in [(0, &[1][..]), (10, &[1, 9]), (20, &[1, 9]), (30, &[1])] {
            s.observe(&seen(at, Question::Offers, Outcome::Answered, offers(who)));
        }
        s.observe(&seen(40, Question::Offers, Outcome::Timeout, Detail::None));
        let spans = s.condition_spans();
        assert_eq!(spans.len(), 1);
        assert_eq!(spans[0].start, Edge::between(Moment(0), Moment(10_000_000)));
        assert_eq!(spans[0].end, Some(Edge::between(Moment(20_000_000), Moment(30_000_000))));
    }

    #[test]
    fn one_odd_answer_for_a_name_is_not_rewriting_but_two_are() {
        let mut s = Standings::new(Micros::from_secs(10));
        let invented = || Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() });
        let honest = || Detail::Name(NameAnswer { code: 3, ..NameAnswer::default() });
        s.observe(&seen(0, Question::ControlName, Outcome::Answered, invented()));
        s.observe(&seen(1, Question::ControlName, Outcome::Answered, honest()));
        assert!(s.condition_spans().is_empty());
        for at in 2..4 {
            s.observe(&seen(at, Question::ControlName, Outcome::Answered, invented()));
        }
        assert_eq!(s.condition_spans().len(), 1);
    }

    #[test]
    fn an_address_lost_and_found_is_a_bad_span() {
        let mut s = Standings::new(Micros::from_secs(10));
        let held = HeldAddress {
            address: IpAddr::from([192, 0, 2, 7]),
            prefix: 24,
            valid_s: Some(60),
            preferred_s: Some(60),
            permanent: false,
        };
        let with = Detail::OwnAddress { held: vec![held], gateway: Some(IpAddr::from([192, 0, 2, 1])) };
        let without = Detail::OwnAddress { held: vec![], gateway: None };
        for (at, d) in [(0, &with), (5, &without), (10, &with)] {
            s.observe(&seen(at, Question::OwnAddress, Outcome::Answered, d.clone()));
        }
        let spans = s.own_spans();
        assert_eq!(spans.len(), 1);
        assert_eq!(
            (spans[0].oddity.clone(), spans[0].oddity.state()),
            (Oddity::NoAddress, crate::judge::lanes::span::LaneState::Bad)
        );
    }

    #[test]
    fn one_answer_of_two_boxes_for_the_gateway_is_not_two_gateways_but_two_in_a_row_are() {
        let mut s = Standings::new(Micros::from_secs(10));
        let claim = |who: &[u8]| Detail::Claimants(who.iter().map(|n| Mac([2, 0, 0, 0, 0, *n])).collect());
        for (at, who) in [(0, &[1][..]), (1, &[1, 2]), (2, &[1])] {
            s.observe(&seen(at, Question::GatewayArp, Outcome::Answered, claim(who)));
        }
        assert!(s.condition_spans().is_empty(), "{:?}", s.condition_spans());
        for at in [3, 4] {
            s.observe(&seen(at, Question::GatewayArp, Outcome::Answered, claim(&[1, 2])));
        }
        assert_eq!(s.condition_spans().len(), 1);
    }
}
