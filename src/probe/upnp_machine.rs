//! The pure part of asking a router by UPnP: what is asked next, and what a turn came to.
//!
//! Decides which of a router's services speaks for it, when a remembered place is searched for anew, and how often a silent
//! router is searched for. Knows no socket and no clock.

use super::Action;
use crate::judge::{Detail, Outcome, RouterLife};
use crate::wire::http::Answer;
use crate::wire::upnp::{self, Action as Call, Place, Service, Wrong};
use std::net::Ipv4Addr;

/// After so many searches without an answer only every [`SELDOM`]th turn searches.
const PATIENT: u32 = 3;
/// See [`PATIENT`].
const SELDOM: u32 = 5;

/// Why an exchange came to nothing.
pub(super) type Failure = (Outcome, Detail);

/// What was asked last.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Doing {
    Nothing,
    Searching,
    Describing(Place),
    Asking { at: usize, best: Option<(usize, RouterLife)>, remembered: bool },
    AskingOuter(RouterLife),
}

/// The pure part, for one gateway.
#[derive(Clone, Debug)]
pub(super) struct Machine {
    gateway: Ipv4Addr,
    services: Vec<Service>,
    doing: Doing,
    silent: u32,
    turns: u32,
}

/// What to ask next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Ask {
    /// Search, then [`Machine::on_datagram`] for each answer or [`Machine::on_silence`].
    Search,
    /// Send this to a TCP port of the gateway, then [`Machine::on_answer`].
    Exchange {
        /// The port.
        port: u16,
        /// The whole request.
        request: String,
    },
}

/// The next question, or what the turn came to.
pub(super) type Step = Action<Ask, (Outcome, Detail)>;

impl Machine {
    /// A machine that knows nothing of the gateway yet.
    pub(super) fn new(gateway: Ipv4Addr) -> Self {
        Self { gateway, services: Vec::new(), doing: Doing::Nothing, silent: 0, turns: 0 }
    }

    /// The gateway it asks.
    pub(super) fn gateway(&self) -> Ipv4Addr {
        self.gateway
    }

    /// A turn begins; `None`: nothing is asked in this one.
    pub(super) fn on_turn(&mut self) -> Option<Step> {
        self.turns = self.turns.wrapping_add(1);
        if self.services.is_empty() {
            let skips = self.silent >= PATIENT && !self.turns.is_multiple_of(SELDOM);
            return (!skips).then(|| self.search());
        }
        Some(self.ask(0, None, true))
    }

    /// A datagram of the gateway came while searching; `None`: wait on.
    pub(super) fn on_datagram(&mut self, datagram: &[u8]) -> Option<Step> {
        match upnp::found(datagram, self.gateway) {
            Ok(place) => {
                self.silent = 0;
                let step = Step::Ask(Ask::Exchange { port: place.port, request: upnp::get(self.gateway, &place) });
                self.doing = Doing::Describing(place);
                Some(step)
            }
            Err(Wrong::NoAnswer) => None,
            Err(wrong) => Some(malformed(wrong.to_string())),
        }
    }

    /// No answer came to the search, or `heard` datagrams that are none.
    pub(super) fn on_silence(&mut self, heard: u32) -> Step {
        self.silent = self.silent.saturating_add(1);
        if heard > 0 { malformed(Wrong::NoAnswer.to_string()) } else { Step::Report((Outcome::Timeout, Detail::None)) }
    }

    /// What came of an exchange; `None` where none was asked for.
    pub(super) fn on_answer(&mut self, answer: Result<Answer, Failure>) -> Option<Step> {
        let step = match std::mem::replace(&mut self.doing, Doing::Nothing) {
            Doing::Describing(place) => {
                let described = good(answer).and_then(|xml| upnp::services(&xml, self.gateway, &place).map_err(wrong));
                match described {
                    Ok(services) => {
                        self.services = services;
                        self.ask(0, None, false)
                    }
                    Err(failed) => Step::Report(failed),
                }
            }
            Doing::Asking { at, best, remembered } => {
                let told = good(answer).and_then(|xml| upnp::status(&xml).map_err(wrong));
                match told {
                    Ok(life) if life.connected == Some(true) => self.ask_outer(at, life),
                    Ok(life) => self.ask(at + 1, best.or(Some((at, life))), remembered),
                    // The box was restarted and moved its places, or is another one: find it anew.
                    Err(_) if remembered && best.is_none() => {
                        self.services.clear();
                        self.search()
                    }
                    Err(failed) if at + 1 >= self.services.len() && best.is_none() => Step::Report(failed),
                    Err(_) => self.ask(at + 1, best, remembered),
                }
            }
            Doing::AskingOuter(life) => {
                // An outer address is a bonus: the state was told before.
                let outer = good(answer).ok().and_then(|xml| upnp::outer(&xml).ok()).flatten();
                Step::Report((Outcome::Answered, Detail::RouterLife(RouterLife { outer, ..life })))
            }
            Doing::Nothing | Doing::Searching => return None,
        };
        Some(step)
    }

    fn search(&mut self) -> Step {
        self.doing = Doing::Searching;
        Step::Ask(Ask::Search)
    }

    /// Asks one service for its state; beyond the last, the best answer so far counts.
    fn ask(&mut self, at: usize, best: Option<(usize, RouterLife)>, remembered: bool) -> Step {
        match (self.services.get(at), best) {
            (Some(service), best) => {
                let (port, request) = (service.control.port, upnp::post(self.gateway, service, Call::Status));
                self.doing = Doing::Asking { at, best, remembered };
                Step::Ask(Ask::Exchange { port, request })
            }
            (None, Some((_, life))) => Step::Report((Outcome::Answered, Detail::RouterLife(life))),
            (None, None) => malformed(Wrong::NoState.to_string()),
        }
    }

    fn ask_outer(&mut self, at: usize, life: RouterLife) -> Step {
        let Some(service) = self.services.get(at) else {
            return Step::Report((Outcome::Answered, Detail::RouterLife(life)));
        };
        let (port, request) = (service.control.port, upnp::post(self.gateway, service, Call::Outer));
        self.doing = Doing::AskingOuter(life);
        Step::Ask(Ask::Exchange { port, request })
    }
}

fn malformed(why: String) -> Step {
    Step::Report((Outcome::Malformed, Detail::Why(why)))
}

fn wrong(w: Wrong) -> Failure {
    (Outcome::Malformed, Detail::Why(w.to_string()))
}

/// The body of an answer that says "OK". A redirect is none.
fn good(answer: Result<Answer, Failure>) -> Result<Vec<u8>, Failure> {
    match answer? {
        Answer { status: 200, body, .. } => Ok(body),
        Answer { status, .. } => {
            let why = format!("the router answers a UPnP question with HTTP status {status}");
            Err((Outcome::Malformed, Detail::Why(why)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const GATEWAY: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 1);
    const FOUND: &[u8] = b"HTTP/1.1 200 OK\r\nST: urn:schemas-upnp-org:device:InternetGatewayDevice:1\r\nLOCATION: \
                           http://192.0.2.1:5000/d.xml\r\n\r\n";

    fn page(body: &str) -> Answer {
        Answer { status: 200, redirected_to: None, body: body.as_bytes().to_vec() }
    }

    fn refused(status: u16) -> Answer {
        Answer { status, redirected_to: None, body: Vec::new() }
    }

    fn described(services: usize) -> String {
        let one = "<service><serviceType>urn:schemas-upnp-org:service:WANIPConnection:1</serviceType><controlURL>/c\
                   </controlURL></service>";
        format!("<root><device><serviceList>{}</serviceList></device></root>", one.repeat(services))
    }

    fn state(connected: &str, up: u32) -> String {
        format!("<a><NewConnectionStatus>{connected}</NewConnectionStatus><NewUptime>{up}</NewUptime></a>")
    }

    fn asks(step: Option<&Step>, what: &str) -> bool {
        matches!(step, Some(Step::Ask(Ask::Exchange { port: 5_000, request })) if request.contains(what))
    }

    fn found(services: usize) -> Machine {
        let mut m = Machine::new(GATEWAY);
        assert_eq!(m.on_turn(), Some(Step::Ask(Ask::Search)));
        assert!(asks(m.on_datagram(FOUND).as_ref(), "GET /d.xml "));
        assert!(asks(m.on_answer(Ok(page(&described(services)))).as_ref(), "GetStatusInfo"));
        m
    }

    #[test]
    fn a_search_a_description_a_state_and_an_outer_address() {
        let mut m = found(1);
        assert!(asks(m.on_answer(Ok(page(&state("Connected", 77)))).as_ref(), "GetExternalIPAddress"));
        let outer = m.on_answer(Ok(page("<a><NewExternalIPAddress>203.0.113.9</NewExternalIPAddress></a>")));
        let life = RouterLife {
            up_s: Some(77),
            of_connection: true,
            connected: Some(true),
            outer: "203.0.113.9".parse().ok(),
        };
        assert_eq!(outer, Some(Step::Report((Outcome::Answered, Detail::RouterLife(life)))));
        assert!(asks(m.on_turn().as_ref(), "GetStatusInfo"), "what was found is remembered");
    }

    #[test]
    fn of_several_services_the_connected_one_speaks_else_the_first() {
        let mut m = found(2);
        assert!(asks(m.on_answer(Ok(page(&state("Unconfigured", 0)))).as_ref(), "GetStatusInfo"));
        assert!(asks(m.on_answer(Ok(page(&state("Connected", 5)))).as_ref(), "GetExternalIPAddress"));
        let over = m.on_answer(Err((Outcome::Reset, Detail::None)));
        assert!(matches!(over, Some(Step::Report((Outcome::Answered, Detail::RouterLife(l)))) if l.up_s == Some(5)));
        let mut m = found(2);
        m.on_answer(Ok(page(&state("Disconnected", 3))));
        let over = m.on_answer(Ok(refused(500)));
        assert!(
            matches!(over, Some(Step::Report((Outcome::Answered, Detail::RouterLife(l)))) if l.connected == Some(false))
        );
    }

    #[test]
    fn a_restarted_router_is_found_anew_in_the_same_turn_and_only_once() {
        let mut m = found(1);
        m.on_answer(Ok(page(&state("Disconnected", 3))));
        assert!(asks(m.on_turn().as_ref(), "GetStatusInfo"));
        assert_eq!(m.on_answer(Err((Outcome::Refused, Detail::None))), Some(Step::Ask(Ask::Search)));
        assert!(m.on_datagram(FOUND).is_some());
        assert!(asks(m.on_answer(Ok(page(&described(1)))).as_ref(), "GetStatusInfo"));
        let over = m.on_answer(Err((Outcome::Refused, Detail::None)));
        assert_eq!(over, Some(Step::Report((Outcome::Refused, Detail::None))));
    }

    #[test]
    fn redirects_and_other_places_are_not_followed() {
        let mut m = Machine::new(GATEWAY);
        m.on_turn();
        m.on_datagram(FOUND);
        assert!(matches!(m.on_answer(Ok(refused(302))), Some(Step::Report((Outcome::Malformed, _)))));
        assert_eq!(m.on_turn(), Some(Step::Ask(Ask::Search)));
        let elsewhere = String::from_utf8_lossy(FOUND).replace("192.0.2.1", "192.0.2.66");
        assert!(matches!(m.on_datagram(elsewhere.as_bytes()), Some(Step::Report((Outcome::Malformed, _)))));
        assert_eq!(m.on_datagram(b"junk"), None);
        assert!(matches!(m.on_silence(3), Step::Report((Outcome::Malformed, _))));
    }

    #[test]
    fn a_silent_router_is_searched_for_less_often() {
        let mut m = Machine::new(GATEWAY);
        let mut searched = 0;
        for _ in 0..100 {
            if m.on_turn() == Some(Step::Ask(Ask::Search)) {
                searched += 1;
                assert_eq!(m.on_silence(0), Step::Report((Outcome::Timeout, Detail::None)));
            }
        }
        assert_eq!(searched, 3 + 20, "the first three turns, then every fifth");
        m.on_turn();
        m.on_datagram(FOUND);
        assert_eq!(m.on_turn(), Some(Step::Ask(Ask::Search)), "once heard, every turn again");
    }
}
