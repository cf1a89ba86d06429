//! How long has the router been connected, and does it call its outer side connected, by its own account (UPnP IGD)?
//!
//! One search on the local network finds the description; then the gateway alone is asked, at places on the gateway
//! alone. No redirect is followed, every answer is bounded in size and time, and a whole turn in time. What a router says
//! of itself is evidence, not proof: some never reset the count, some reset it at every reconnection. A router that stays
//! silent is searched for less often, for a search wakes every host of the network.

use super::gateway_arp::same_network;
use super::host::{Blind, Host};
use super::turns::Timer;
use super::{Context, errno};
use crate::judge::{Detail, Micros, NotAsked, Observation, Outcome, Question, RouterLife};
use crate::site::cadence::FLOOR_SIGNS;
use crate::sys::way::Way;
use crate::sys::{outgoing, search};
use crate::wire::http::{self, Answer, Incoming, Wanted};
use crate::wire::upnp::{self, Action, LONGEST_FOUND, LONGEST_XML, Place, Service, Wrong};
use std::net::{IpAddr, Ipv4Addr, SocketAddrV4};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

/// How long a search waits: `MX` of one second, and a slow box.
const SEARCH: Duration = Duration::from_secs(2);
/// How long one HTTP exchange may take.
const EXCHANGE: Duration = Duration::from_secs(3);
/// How long a whole turn may take.
const TURN: Duration = Duration::from_secs(8);
/// Most datagrams of the gateway looked at in one search.
const MOST_DATAGRAMS: u32 = 32;
/// After so many searches without an answer only every [`SELDOM`]th turn searches.
const PATIENT: u32 = 3;
/// See [`PATIENT`].
const SELDOM: u32 = 5;

/// Why an exchange came to nothing.
pub type Failure = (Outcome, Detail);

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
pub struct Machine {
    gateway: Ipv4Addr,
    services: Vec<Service>,
    doing: Doing,
    silent: u32,
    turns: u32,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Search, then [`Machine::on_datagram`] for each answer or [`Machine::on_silence`].
    Search,
    /// Send this to a TCP port of the gateway, then [`Machine::on_answer`].
    Exchange {
        /// The port.
        port: u16,
        /// The whole request.
        request: String,
    },
    /// The turn is over.
    Over(Outcome, Detail),
    /// Nothing this time.
    Skip,
}

impl Machine {
    /// A machine that knows nothing of the gateway yet.
    pub fn new(gateway: Ipv4Addr) -> Self {
        Self { gateway, services: Vec::new(), doing: Doing::Nothing, silent: 0, turns: 0 }
    }

    /// A turn begins.
    pub fn on_turn(&mut self) -> Step {
        self.turns = self.turns.wrapping_add(1);
        if self.services.is_empty() {
            return if self.silent >= PATIENT && !self.turns.is_multiple_of(SELDOM) {
                Step::Skip
            } else {
                self.search()
            };
        }
        self.ask(0, None, true)
    }

    /// A datagram of the gateway came while searching; `None`: wait on.
    pub fn on_datagram(&mut self, datagram: &[u8]) -> Option<Step> {
        match upnp::found(datagram, self.gateway) {
            Ok(place) => {
                self.silent = 0;
                let step = Step::Exchange { port: place.port, request: upnp::get(self.gateway, &place) };
                self.doing = Doing::Describing(place);
                Some(step)
            }
            Err(Wrong::NoAnswer) => None,
            Err(wrong) => Some(malformed(wrong.to_string())),
        }
    }

    /// No answer came to the search, or `heard` datagrams that are none.
    pub fn on_silence(&mut self, heard: u32) -> Step {
        self.silent = self.silent.saturating_add(1);
        if heard > 0 { malformed(Wrong::NoAnswer.to_string()) } else { Step::Over(Outcome::Timeout, Detail::None) }
    }

    /// What came of an exchange.
    pub fn on_answer(&mut self, answer: Result<Answer, Failure>) -> Step {
        match std::mem::replace(&mut self.doing, Doing::Nothing) {
            Doing::Describing(place) => {
                let described = good(answer).and_then(|xml| upnp::services(&xml, self.gateway, &place).map_err(wrong));
                match described {
                    Ok(services) => {
                        self.services = services;
                        self.ask(0, None, false)
                    }
                    Err(failed) => Step::Over(failed.0, failed.1),
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
                    Err(failed) if at + 1 >= self.services.len() && best.is_none() => Step::Over(failed.0, failed.1),
                    Err(_) => self.ask(at + 1, best, remembered),
                }
            }
            Doing::AskingOuter(life) => {
                // An outer address is a bonus: the state was told before.
                let outer = good(answer).ok().and_then(|xml| upnp::outer(&xml).ok()).flatten();
                Step::Over(Outcome::Answered, Detail::RouterLife(RouterLife { outer, ..life }))
            }
            Doing::Nothing | Doing::Searching => Step::Skip,
        }
    }

    fn search(&mut self) -> Step {
        self.doing = Doing::Searching;
        Step::Search
    }

    /// Asks one service for its state; beyond the last, the best answer so far counts.
    fn ask(&mut self, at: usize, best: Option<(usize, RouterLife)>, remembered: bool) -> Step {
        match (self.services.get(at), best) {
            (Some(service), best) => {
                let (port, request) = (service.control.port, upnp::post(self.gateway, service, Action::Status));
                self.doing = Doing::Asking { at, best, remembered };
                Step::Exchange { port, request }
            }
            (None, Some((_, life))) => Step::Over(Outcome::Answered, Detail::RouterLife(life)),
            (None, None) => malformed(Wrong::NoState.to_string()),
        }
    }

    fn ask_outer(&mut self, at: usize, life: RouterLife) -> Step {
        let Some(service) = self.services.get(at) else {
            return Step::Over(Outcome::Answered, Detail::RouterLife(life));
        };
        let (port, request) = (service.control.port, upnp::post(self.gateway, service, Action::Outer));
        self.doing = Doing::AskingOuter(life);
        Step::Exchange { port, request }
    }
}

fn malformed(why: String) -> Step {
    Step::Over(Outcome::Malformed, Detail::Why(why))
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

/// Asks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let way = ctx.way();
    let mut turns = Timer::after(&ctx, Micros::from_secs(2), ctx.plan.signs.signs_every, FLOOR_SIGNS);
    let mut machine: Option<Machine> = None;
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let asked = ctx.clock.now();
        let report = match site(&mut host).await {
            Err(blind) => blind.observed(Question::RouterLife, host.target(), asked),
            Ok((gateway, own)) => {
                let fresh = machine.take().filter(|m| m.gateway == gateway);
                let machine = machine.insert(fresh.unwrap_or_else(|| Machine::new(gateway)));
                let whole = tokio::select! {
                    () = ctx.seen.closed() => return,
                    whole = timeout(TURN, turn(machine, &way, own)) => whole,
                };
                let late = || Some((Outcome::Timeout, Detail::Why("the router took too long over its answers".into())));
                let Some((outcome, detail)) = whole.unwrap_or_else(|_| late()) else { continue };
                let (known, target) = (ctx.clock.now(), format!("UPnP at {gateway}").into());
                Observation { asked, known, question: Question::RouterLife, target, outcome, rtt: None, detail }
            }
        };
        if !ctx.report(report).await {
            return;
        }
    }
}

async fn site(host: &mut Host) -> Result<(Ipv4Addr, Ipv4Addr), Blind> {
    let index = host.carrying().await?.carrier.index;
    let (held, gateways) =
        host.ask(async |kernel| Ok((kernel.addresses(index).await?, kernel.gateways(index).await?))).await?;
    let four = |address: IpAddr| if let IpAddr::V4(a) = address { Some(a) } else { None };
    let gateway = match (gateways.first(), gateways.iter().find_map(|g| four(*g))) {
        (None, _) => return Err(Blind::NotAsked(NotAsked::NoRoute)),
        (Some(_), None) => {
            let why = "the gateway has an IPv6 address only, and UPnP is asked over IPv4";
            return Err(Blind::Failed(NotAsked::Unsupported, why.into()));
        }
        (Some(_), Some(gateway)) => gateway,
    };
    let mut own = held.iter().filter_map(|h| Some((four(h.address)?, h.prefix)));
    let first = own.clone().next().ok_or(Blind::NotAsked(NotAsked::NoAddress))?;
    let (own, _) = own.find(|(own, prefix)| same_network(*own, gateway, *prefix)).unwrap_or(first);
    Ok((gateway, own))
}

/// One turn; `None` where nothing was to be asked.
async fn turn(machine: &mut Machine, way: &Way, own: Ipv4Addr) -> Option<(Outcome, Detail)> {
    let mut step = machine.on_turn();
    loop {
        step = match step {
            Step::Search => seek(machine, way, own).await,
            Step::Exchange { port, request } => {
                let to = SocketAddrV4::new(machine.gateway, port);
                let answer = match timeout(EXCHANGE, exchange(to, &request, way)).await {
                    Ok(answer) => answer,
                    Err(_) => Err((Outcome::Timeout, Detail::None)),
                };
                machine.on_answer(answer)
            }
            Step::Over(outcome, detail) => return Some((outcome, detail)),
            Step::Skip => return None,
        }
    }
}

async fn seek(machine: &mut Machine, way: &Way, own: Ipv4Addr) -> Step {
    let local = |e| {
        let (outcome, detail) = errno::while_asking(&e);
        Step::Over(outcome, detail)
    };
    let socket = match search::open(way.name().as_deref(), own, machine.gateway) {
        Ok(socket) => socket,
        Err(e) => return local(e),
    };
    if let Err(e) = socket.send_to(upnp::search().as_bytes(), upnp::GROUP).await {
        return local(e);
    }
    let mut heard = 0;
    let listening = async {
        let mut room = [0; LONGEST_FOUND];
        while heard < MOST_DATAGRAMS {
            let Ok((length, _)) = socket.recv_from(&mut room).await else { return None };
            heard += 1;
            if let Some(step) = machine.on_datagram(&room[..length]) {
                return Some(step);
            }
        }
        None
    };
    match timeout(SEARCH, listening).await {
        Ok(Some(step)) => step,
        _ => machine.on_silence(heard),
    }
}

async fn exchange(to: SocketAddrV4, request: &str, way: &Way) -> Result<Answer, Failure> {
    let connecting = outgoing::tcp(to.into(), way.name().as_deref()).map_err(|e| errno::at_connect(&e))?;
    let mut stream = connecting.done().await.map_err(|e| errno::from_network(&e))?;
    stream.write_all(request.as_bytes()).await.map_err(|e| errno::from_network(&e))?;
    let wrong = |w: http::Wrong| (Outcome::Malformed, Detail::Why(format!("the router's UPnP answer is {w}")));
    let mut incoming = Incoming::new(Wanted::Whole(LONGEST_XML));
    let mut room = [0; 4_096];
    loop {
        match stream.read(&mut room).await {
            Ok(0) => return incoming.end().map_err(wrong),
            Ok(length) => {
                if let Some(answer) = incoming.take(&room[..length]).map_err(wrong)? {
                    return Ok(answer);
                }
            }
            Err(e) => return Err(errno::from_network(&e)),
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

    fn asks(step: &Step, what: &str) -> bool {
        matches!(step, Step::Exchange { port: 5_000, request } if request.contains(what))
    }

    fn found(services: usize) -> Machine {
        let mut m = Machine::new(GATEWAY);
        assert_eq!(m.on_turn(), Step::Search);
        assert!(asks(&m.on_datagram(FOUND).expect("an answer"), "GET /d.xml "));
        assert!(asks(&m.on_answer(Ok(page(&described(services)))), "GetStatusInfo"));
        m
    }

    #[test]
    fn a_search_a_description_a_state_and_an_outer_address() {
        let mut m = found(1);
        assert!(asks(&m.on_answer(Ok(page(&state("Connected", 77)))), "GetExternalIPAddress"));
        let outer = m.on_answer(Ok(page("<a><NewExternalIPAddress>203.0.113.9</NewExternalIPAddress></a>")));
        let life = RouterLife {
            up_s: Some(77),
            of_connection: true,
            connected: Some(true),
            outer: "203.0.113.9".parse().ok(),
        };
        assert_eq!(outer, Step::Over(Outcome::Answered, Detail::RouterLife(life)));
        assert!(asks(&m.on_turn(), "GetStatusInfo"), "what was found is remembered");
    }

    #[test]
    fn of_several_services_the_connected_one_speaks_else_the_first() {
        let mut m = found(2);
        assert!(asks(&m.on_answer(Ok(page(&state("Unconfigured", 0)))), "GetStatusInfo"));
        assert!(asks(&m.on_answer(Ok(page(&state("Connected", 5)))), "GetExternalIPAddress"));
        let over = m.on_answer(Err((Outcome::Reset, Detail::None)));
        assert!(matches!(over, Step::Over(Outcome::Answered, Detail::RouterLife(l)) if l.up_s == Some(5)));
        let mut m = found(2);
        m.on_answer(Ok(page(&state("Disconnected", 3))));
        let over = m.on_answer(Ok(refused(500)));
        assert!(matches!(over, Step::Over(Outcome::Answered, Detail::RouterLife(l)) if l.connected == Some(false)));
    }

    #[test]
    fn a_restarted_router_is_found_anew_in_the_same_turn_and_only_once() {
        let mut m = found(1);
        m.on_answer(Ok(page(&state("Disconnected", 3))));
        assert!(asks(&m.on_turn(), "GetStatusInfo"));
        assert_eq!(m.on_answer(Err((Outcome::Refused, Detail::None))), Step::Search);
        assert!(m.on_datagram(FOUND).is_some());
        assert!(asks(&m.on_answer(Ok(page(&described(1)))), "GetStatusInfo"));
        let over = m.on_answer(Err((Outcome::Refused, Detail::None)));
        assert_eq!(over, Step::Over(Outcome::Refused, Detail::None));
    }

    #[test]
    fn redirects_and_other_places_are_not_followed() {
        let mut m = Machine::new(GATEWAY);
        m.on_turn();
        m.on_datagram(FOUND);
        assert!(matches!(m.on_answer(Ok(refused(302))), Step::Over(Outcome::Malformed, _)));
        assert_eq!(m.on_turn(), Step::Search);
        let elsewhere = String::from_utf8_lossy(FOUND).replace("192.0.2.1", "192.0.2.66");
        assert!(matches!(m.on_datagram(elsewhere.as_bytes()), Some(Step::Over(Outcome::Malformed, _))));
        assert_eq!(m.on_datagram(b"junk"), None);
        assert!(matches!(m.on_silence(3), Step::Over(Outcome::Malformed, _)));
    }

    #[test]
    fn a_silent_router_is_searched_for_less_often() {
        let mut m = Machine::new(GATEWAY);
        let mut searched = 0;
        for _ in 0..100 {
            if m.on_turn() == Step::Search {
                searched += 1;
                assert_eq!(m.on_silence(0), Step::Over(Outcome::Timeout, Detail::None));
            }
        }
        assert_eq!(searched, 3 + 20, "the first three turns, then every fifth");
        m.on_turn();
        m.on_datagram(FOUND);
        assert_eq!(m.on_turn(), Step::Search, "once heard, every turn again");
    }
}
