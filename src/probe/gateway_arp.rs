//! The router lane on the local network: does the gateway answer ARP, how fast, and does anyone else answer for it?
//!
//! Decides who answered a request (RFC 826) within a second, and who else claimed the gateway's address within 200 ms of
//! the first answer. Where raw sockets are not permitted, and for an IPv6 gateway, reads the kernel's neighbour table
//! instead (RFC 4861 section 7.3.2): only `REACHABLE` is good and only `FAILED`, or `INCOMPLETE` twice, is bad; anything
//! else is skipped, after a nudge that makes the kernel ask anew.

use super::Context;
use super::gateway_table::Table;
use super::host::{Blind, Host};
use super::turns::{Timer, until};
use crate::judge::{Detail, Mac, Micros, Moment, NotAsked, Observation, Outcome, Question, Rtt};
use crate::sys::frames::{Frames, MOST_BYTES};
use crate::wire::arp;
use std::collections::VecDeque;
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, SocketAddrV6};
use std::sync::Arc;
use tokio::net::UdpSocket;

/// How long a request waits for its first answer.
pub const PATIENCE: Micros = Micros::from_secs(1);
/// How long after the first answer others are heard.
pub const SECOND_ANSWER: Micros = Micros::from_millis(200);
/// Most claimants kept.
pub const MOST_CLAIMANTS: usize = 8;
/// How often "not permitted" is repeated.
pub const REMIND: Micros = Micros::from_secs(60);
/// Most frames looked at between two turns.
const MOST_FRAMES: u32 = 64;
/// The discard service (RFC 863): whatever arrives there is thrown away.
const DISCARD_PORT: u16 = 9;

/// The pure part for ARP: requests under way for one gateway.
#[derive(Clone, Debug)]
pub struct Machine {
    gateway: Ipv4Addr,
    own: Mac,
    under_way: VecDeque<Asking>,
}

#[derive(Clone, Debug)]
struct Asking {
    asked: Moment,
    first: Option<Moment>,
    claimants: Vec<Mac>,
}

impl Asking {
    fn ends(&self) -> Moment {
        self.first.map_or(self.asked + PATIENCE, |first| first + SECOND_ANSWER)
    }
}

impl Machine {
    /// A machine for one gateway, with our hardware address.
    pub fn new(gateway: Ipv4Addr, own: Mac) -> Self {
        Self { gateway, own, under_way: VecDeque::new() }
    }

    /// A request left.
    pub fn on_sent(&mut self, asked: Moment) {
        self.under_way.push_back(Asking { asked, first: None, claimants: Vec::new() });
    }

    /// A frame heard.
    pub fn on_frame(&mut self, at: Moment, frame: &[u8]) {
        let Some(said) = arp::parse(frame) else { return };
        if said.sender_ip != self.gateway || said.sender == self.own {
            return;
        }
        for asking in self.under_way.iter_mut().filter(|a| at < a.ends()) {
            // Only a reply to us is an answer; after it, any other sender of the gateway's address is a claimant.
            let answers = said.reply && said.target == self.own;
            if asking.first.is_none() && !answers {
                continue;
            }
            asking.first.get_or_insert(at);
            if !asking.claimants.contains(&said.sender) && asking.claimants.len() < MOST_CLAIMANTS {
                asking.claimants.push(said.sender);
            }
        }
    }

    /// When [`Machine::on_timer`] is next due.
    pub fn due(&self) -> Option<Moment> {
        self.under_way.iter().map(Asking::ends).min()
    }

    /// Everything that is over by now.
    pub fn on_timer(&mut self, at: Moment) -> Vec<Observation> {
        let (over, rest): (Vec<_>, Vec<_>) = self.under_way.drain(..).partition(|a| a.ends() <= at);
        self.under_way = rest.into();
        over.into_iter().map(|a| self.observed(a, at)).collect()
    }

    fn observed(&self, asking: Asking, at: Moment) -> Observation {
        Observation {
            asked: asking.asked,
            known: at,
            question: Question::GatewayArp,
            target: self.gateway.to_string().into(),
            outcome: if asking.first.is_some() { Outcome::Answered } else { Outcome::Timeout },
            rtt: asking.first.map(|first| Rtt { took: first - asking.asked, kernel: false }),
            detail: Detail::Claimants(asking.claimants),
        }
    }
}

/// What the kernel says before a turn.
struct Site {
    index: u32,
    gateway: IpAddr,
    mac: Option<Mac>,
    own: Option<Ipv4Addr>,
}

/// An open packet socket and what it was opened for.
struct Raw {
    index: u32,
    frames: Frames,
    machine: Machine,
    heard: u32,
}

/// Asks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let mut turns = Timer::after(&ctx, Micros::ZERO, ctx.plan.cadence.router, Micros::from_secs(1));
    let mut raw: Option<Raw> = None;
    let mut table = Table::default();
    let mut reminded: Option<Moment> = None;
    let mut room = [0; MOST_BYTES];
    loop {
        let reports = tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => turn(&ctx, &mut host, &mut raw, &mut table, &mut reminded).await,
            () = until(&ctx, raw.as_ref().and_then(|r| r.machine.due())) => {
                raw.as_mut().map(|r| r.machine.on_timer(ctx.clock.now())).unwrap_or_default()
            }
            heard = hear(raw.as_ref(), &mut room) => {
                match (heard, raw.as_mut()) {
                    (Ok(frame), Some(raw)) => {
                        raw.heard += 1;
                        raw.machine.on_frame(ctx.clock.now(), frame);
                    }
                    // The interface went down under us; what was under way can't be told from silence. Open anew.
                    _ => raw = None,
                }
                Vec::new()
            }
        };
        for report in reports {
            if !ctx.report(report).await {
                return;
            }
        }
    }
}

async fn hear<'a>(raw: Option<&Raw>, room: &'a mut [u8; MOST_BYTES]) -> io::Result<&'a [u8]> {
    match raw {
        Some(raw) if raw.heard < MOST_FRAMES => raw.frames.hear(room).await,
        _ => std::future::pending().await,
    }
}

async fn turn(
    ctx: &Context,
    host: &mut Host,
    raw: &mut Option<Raw>,
    table: &mut Table,
    reminded: &mut Option<Moment>,
) -> Vec<Observation> {
    let site = match site(host).await {
        Ok(site) => site,
        Err(blind) => {
            *raw = None;
            return vec![blind.observed(Question::GatewayArp, host.target(), ctx.clock.now())];
        }
    };
    let target: Arc<str> = site.gateway.to_string().into();
    let mut reports = Vec::new();
    if let IpAddr::V4(gateway) = site.gateway {
        let failure = match request(ctx, &site, gateway, raw).await {
            Ok(over) => return over,
            Err(failure) => failure,
        };
        *raw = None;
        if failure != Blind::NotPermitted {
            return vec![failure.observed(Question::GatewayArp, target, ctx.clock.now())];
        }
        let now = ctx.clock.now();
        if reminded.is_none_or(|at| now - at >= REMIND) {
            *reminded = Some(now);
            reports.push(failure.observed(Question::GatewayArp, target.clone(), now));
        }
    } else {
        *raw = None;
    }
    match host.ask(async |kernel| kernel.neighbour(site.index, site.gateway).await).await {
        Ok(entry) => {
            let (report, nudges) = table.on_look(ctx.clock.now(), site.gateway, entry);
            reports.extend(report);
            if nudges {
                // Whether it arrives does not matter; that the kernel has to resolve the gateway does.
                let _ = nudge(site.gateway, site.index).await;
            }
        }
        Err(blind) => reports.push(blind.observed(Question::GatewayNeighbour, target, ctx.clock.now())),
    }
    reports
}

async fn site(host: &mut Host) -> Result<Site, Blind> {
    let interface = host.carrying().await?;
    let index = interface.carrier.index;
    let (held, gateways) =
        host.ask(async |kernel| Ok((kernel.addresses(index).await?, kernel.gateways(index).await?))).await?;
    let gateway = gateways.first().copied().ok_or(Blind::NotAsked(NotAsked::NoRoute))?;
    let mut own = held.iter().filter_map(|h| match (h.address, gateway) {
        (IpAddr::V4(own), IpAddr::V4(gateway)) => Some((own, same_network(own, gateway, h.prefix))),
        _ => None,
    });
    let first = own.clone().next();
    let own = own.find(|(_, near)| *near).or(first).map(|(own, _)| own);
    Ok(Site { index, gateway, mac: interface.mac.filter(|_| !interface.loopback), own })
}

/// Whether two addresses lie in one network of this prefix length.
pub(super) fn same_network(a: Ipv4Addr, b: Ipv4Addr, prefix: u8) -> bool {
    (a.to_bits() ^ b.to_bits()).leading_zeros() >= u32::from(prefix)
}

/// Sends a request, with a socket opened anew if need be. Gives what the old socket still had under way.
async fn request(
    ctx: &Context,
    site: &Site,
    gateway: Ipv4Addr,
    raw: &mut Option<Raw>,
) -> Result<Vec<Observation>, Blind> {
    let mac = site.mac.ok_or(Blind::NotAsked(NotAsked::Unsupported))?;
    let own = site.own.ok_or(Blind::NotAsked(NotAsked::NoAddress))?;
    let failed = |e: io::Error| Blind::failed(&e);
    let usable = raw.take().filter(|r| (r.index, r.machine.gateway, r.machine.own) == (site.index, gateway, mac));
    let open = match usable {
        Some(open) => open,
        None => Raw {
            index: site.index,
            frames: Frames::arp_from(site.index, gateway).map_err(failed)?,
            machine: Machine::new(gateway, mac),
            heard: 0,
        },
    };
    let open = raw.insert(open);
    open.heard = 0;
    let asked = ctx.clock.now();
    open.frames.send(&arp::request(mac, own, gateway)).await.map_err(failed)?;
    open.machine.on_sent(asked);
    Ok(open.machine.on_timer(asked))
}

async fn nudge(gateway: IpAddr, index: u32) -> io::Result<()> {
    let (from, to): (SocketAddr, SocketAddr) = match gateway {
        IpAddr::V4(a) => ((Ipv4Addr::UNSPECIFIED, 0).into(), (a, DISCARD_PORT).into()),
        IpAddr::V6(a) => {
            let scope = if a.is_unicast_link_local() { index } else { 0 };
            ((std::net::Ipv6Addr::UNSPECIFIED, 0).into(), SocketAddrV6::new(a, DISCARD_PORT, 0, scope).into())
        }
    };
    UdpSocket::bind(from).await?.send_to(&[], to).await.map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;
    use pnet::packet::arp::{ArpOperations, MutableArpPacket};
    use pnet::util::MacAddr;

    const OURS: Mac = Mac([2, 0, 0, 0, 0, 1]);
    const ROUTER: Mac = Mac([2, 0, 0, 0, 0, 2]);
    const OTHER: Mac = Mac([2, 0, 0, 0, 0, 3]);
    const GATEWAY: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 1);

    fn ms(ms: i64) -> Moment {
        Moment(ms * 1_000)
    }

    fn reply(from: Mac, to: Mac) -> Vec<u8> {
        let mut frame = arp::request(from, GATEWAY, Ipv4Addr::new(192, 0, 2, 7)).to_vec();
        let mut body = MutableArpPacket::new(&mut frame[14..]).expect("long enough");
        body.set_operation(ArpOperations::Reply);
        body.set_target_hw_addr(MacAddr::from(to.0));
        frame
    }

    fn machine() -> Machine {
        Machine::new(GATEWAY, OURS)
    }

    #[test]
    fn an_answer_is_known_when_others_had_their_time() {
        let mut m = machine();
        m.on_sent(ms(0));
        m.on_frame(ms(3), &reply(ROUTER, OURS));
        assert_eq!(m.due(), Some(ms(203)));
        let over = m.on_timer(ms(203));
        assert_eq!((over.len(), over[0].outcome), (1, Outcome::Answered));
        assert_eq!(over[0].rtt, Some(Rtt { took: Micros::from_millis(3), kernel: false }));
        assert_eq!(over[0].detail, Detail::Claimants(vec![ROUTER]));
    }

    #[test]
    fn a_second_answerer_within_200_ms_is_kept_and_a_later_one_is_not() {
        let mut m = machine();
        m.on_sent(ms(0));
        for (at, from) in [(3, ROUTER), (4, ROUTER), (150, OTHER), (250, Mac([2, 0, 0, 0, 0, 4]))] {
            m.on_frame(ms(at), &reply(from, OURS));
        }
        assert_eq!(m.on_timer(ms(250))[0].detail, Detail::Claimants(vec![ROUTER, OTHER]));
    }

    #[test]
    fn silence_is_a_timeout_after_a_second_and_late_is_silence() {
        let mut m = machine();
        m.on_sent(ms(0));
        m.on_frame(ms(1_000), &reply(ROUTER, OURS));
        let over = m.on_timer(ms(1_000));
        assert_eq!((over[0].outcome, over[0].rtt), (Outcome::Timeout, None));
        assert_eq!(m.due(), None);
    }

    #[test]
    fn only_a_reply_to_us_about_the_gateway_is_an_answer() {
        let mut m = machine();
        m.on_sent(ms(0));
        m.on_frame(ms(1), &reply(ROUTER, OTHER));
        m.on_frame(ms(2), &arp::request(ROUTER, GATEWAY, Ipv4Addr::new(192, 0, 2, 7)));
        m.on_frame(ms(3), &reply(OURS, OURS));
        m.on_frame(ms(4), &[0; 60]);
        assert_eq!(m.on_timer(ms(1_000))[0].outcome, Outcome::Timeout);
    }
}
