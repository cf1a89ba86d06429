//! Is the communicator on the network, by its hardware address, so that its cover can stay shut?
//!
//! Hears the ARP frames that one hardware address sends (RFC 826) and learns its IPv4 address from them or from the
//! kernel's neighbour table. Once the address is known, one ARP request a turn asks for it: `Answered` when the hardware
//! address was heard since the turn before, `Timeout` when it was asked and stayed silent. Until the address is known
//! nothing is sent and nothing is said of it: it may be there and have had no reason to speak. Nothing but ARP is ever
//! sent to it. Where raw sockets are not permitted the table alone speaks, and only of what the kernel confirmed itself.

use super::host::{Blind, Host};
use super::turns::{Timer, until};
use super::{Action, Context};
use crate::judge::{Detail, Mac, Micros, Moment, NotAsked, Observation, Outcome, Question, Rtt};
use crate::site::cadence::FLOOR_SIGNS;
use crate::sys::frames::{Frames, MOST_BYTES};
use crate::sys::netlink::{Neighbour, NeighbourState};
use crate::wire::arp;
use std::io;
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;

/// How long a request waits.
pub const PATIENCE: Micros = Micros::from_secs(1);
/// Most frames looked at between two turns.
const MOST_FRAMES: u32 = 64;

/// The pure part.
#[derive(Clone, Debug)]
pub struct Machine {
    mac: Mac,
    target: Arc<str>,
    address: Option<Ipv4Addr>,
    heard: Option<Moment>,
    asked: Option<Moment>,
}

impl Machine {
    /// A machine for one hardware address.
    pub fn new(mac: Mac) -> Self {
        Self { mac, target: mac.to_string().into(), address: None, heard: None, asked: None }
    }

    /// A turn: it was heard by itself, or can't be asked, or is to be asked at an address; then call
    /// [`Machine::on_sent`]. None while the last request is still out.
    pub fn on_turn(&mut self, at: Moment) -> Option<Action<Ipv4Addr>> {
        if let Some(heard) = self.heard.take() {
            return Some(Action::Report(self.observed(heard, at, Outcome::Answered, None)));
        }
        match self.address {
            Some(_) if self.asked.is_some() => None,
            Some(address) => Some(Action::Ask(address)),
            None => Some(Action::Report(self.observed(at, at, Outcome::NotAsked(NotAsked::NoAddress), None))),
        }
    }

    /// The request left.
    pub fn on_sent(&mut self, at: Moment) {
        self.asked = Some(at);
    }

    /// A frame heard. The answer to a request is told at once.
    pub fn on_frame(&mut self, at: Moment, frame: &[u8]) -> Option<Observation> {
        let said = arp::parse(frame).filter(|said| said.sender == self.mac)?;
        // A probe names no address yet (RFC 5227).
        if !said.sender_ip.is_unspecified() {
            self.address = Some(said.sender_ip);
        }
        let Some(asked) = self.asked.take() else {
            self.heard = Some(at);
            return None;
        };
        let rtt = said.reply.then_some(Rtt { took: at - asked, kernel: false });
        Some(self.observed(asked, at, Outcome::Answered, rtt))
    }

    /// When [`Machine::on_timer`] is due.
    pub fn due(&self) -> Option<Moment> {
        self.asked.map(|asked| asked + PATIENCE)
    }

    /// The request stayed unanswered.
    pub fn on_timer(&mut self, at: Moment) -> Option<Observation> {
        let asked = self.asked.take_if(|asked| at >= *asked + PATIENCE)?;
        Some(self.observed(asked, at, Outcome::Timeout, None))
    }

    /// The neighbour table: its address, and whether the kernel has confirmed it within `every`.
    pub fn on_table(&mut self, at: Moment, every: Micros, table: &[(IpAddr, Neighbour)]) {
        for (address, entry) in table.iter().filter(|(_, n)| n.mac == Some(self.mac)) {
            if let (IpAddr::V4(address), None) = (address, self.address) {
                self.address = Some(*address);
            }
            let age = Micros::from_millis(i64::from(entry.confirmed_ms.unwrap_or(u32::MAX)));
            if entry.state == NeighbourState::Reachable && age < every {
                let confirmed = (at - age).max(Moment(0));
                self.heard = self.heard.max(Some(confirmed));
            }
        }
    }

    fn observed(&self, asked: Moment, known: Moment, outcome: Outcome, rtt: Option<Rtt>) -> Observation {
        let there = outcome == Outcome::Answered;
        let detail = match outcome {
            Outcome::NotAsked(_) => Detail::Why("it has not spoken yet, so its address is not known".into()),
            _ => Detail::Claimants(there.then_some(self.mac).into_iter().collect()),
        };
        let (question, target) = (Question::Communicator, self.target.clone());
        Observation { asked, known, question, target, outcome, rtt, detail }
    }
}

struct Raw {
    index: u32,
    frames: Frames,
    heard: u32,
}

/// Asks until the agent is gone. Needs a hardware address in the plan.
pub async fn run(ctx: Context) {
    let Some(mac) = ctx.plan.signs.communicator else { return ctx.seen.closed().await };
    let mut host = Host::new(&ctx);
    let mut machine = Machine::new(mac);
    let mut raw = None;
    // Hears for a while before the first turn, and opens its ears at once.
    let opened = open(&mut host, mac, &mut raw).await;
    tracing::debug!(?opened, "listening for the communicator");
    let mut turns = Timer::after(&ctx, Micros::from_secs(3), ctx.plan.signs.signs_every, FLOOR_SIGNS);
    let mut room = [0; MOST_BYTES];
    loop {
        let report = tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => turn(&ctx, &mut host, &mut machine, &mut raw, turns.every()).await,
            () = until(&ctx, machine.due()) => machine.on_timer(ctx.clock.now()),
            heard = hear(raw.as_ref(), &mut room) => {
                if let (Ok(frame), Some(raw)) = (heard, raw.as_mut()) {
                    raw.heard += 1;
                    machine.on_frame(ctx.clock.now(), frame)
                } else {
                    // The interface went down under us: open anew at the next turn.
                    raw = None;
                    None
                }
            }
        };
        if let Some(report) = report
            && !ctx.report(report).await
        {
            return;
        }
    }
}

async fn hear<'a>(raw: Option<&Raw>, room: &'a mut [u8; MOST_BYTES]) -> io::Result<&'a [u8]> {
    match raw {
        Some(raw) if raw.heard < MOST_FRAMES => raw.frames.hear(room).await,
        _ => std::future::pending().await,
    }
}

/// The interface's index, hardware address and IPv4 address, with a socket open on it.
async fn open(host: &mut Host, mac: Mac, raw: &mut Option<Raw>) -> Result<(u32, Mac), Blind> {
    let interface = host.carrying().await?;
    let own = interface.mac.filter(|_| !interface.loopback).ok_or(Blind::NotAsked(NotAsked::Unsupported))?;
    let index = interface.carrier.index;
    if raw.as_ref().is_none_or(|r| r.index != index) {
        *raw = None;
        let frames = Frames::arp_of(index, mac).map_err(|e| Blind::failed(&e))?;
        *raw = Some(Raw { index, frames, heard: 0 });
    }
    Ok((index, own))
}

async fn turn(
    ctx: &Context,
    host: &mut Host,
    machine: &mut Machine,
    raw: &mut Option<Raw>,
    every: Micros,
) -> Option<Observation> {
    let target = machine.target.clone();
    let blind = |b: Blind| b.observed(Question::Communicator, target.clone(), ctx.clock.now());
    let opened = open(host, machine.mac, raw).await;
    let (index, own) = match (opened, host.index()) {
        (Ok((index, own)), _) => (index, Some(own)),
        // The table can still be read.
        (Err(Blind::NotPermitted), Some(index)) => (index, None),
        (Err(b), _) => return Some(blind(b)),
    };
    let (table, held) =
        match host.ask(async |kernel| Ok((kernel.neighbours(index).await?, kernel.addresses(index).await?))).await {
            Ok(told) => told,
            Err(b) => return Some(blind(b)),
        };
    if let Some(raw) = raw {
        raw.heard = 0;
    }
    machine.on_table(ctx.clock.now(), every, &table);
    let address = match machine.on_turn(ctx.clock.now()) {
        Some(Action::Report(o)) if own.is_none() && !o.outcome.was_asked() => return Some(blind(Blind::NotPermitted)),
        Some(Action::Report(o)) => return Some(o),
        None => return None,
        Some(Action::Ask(address)) => address,
    };
    let ours = held.iter().find_map(|h| if let IpAddr::V4(a) = h.address { Some(a) } else { None });
    let (Some(own), Some(raw)) = (own, raw.as_ref()) else { return Some(blind(Blind::NotPermitted)) };
    // Without an address of our own the question is a probe, which any host answers too (RFC 5227).
    let frame = ours.map_or_else(|| arp::probe(own, address), |ours| arp::request(own, ours, address));
    match raw.frames.send(&frame).await {
        Ok(()) => {
            machine.on_sent(ctx.clock.now());
            None
        }
        Err(e) => Some(blind(Blind::failed(&e))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PANEL: Mac = Mac([2, 0, 0x5e, 0x10, 0, 1]);
    const OTHER: Mac = Mac([2, 0, 0x5e, 0x10, 0, 2]);
    const ADDRESS: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 50);
    const MINUTE: Micros = Micros::from_secs(60);

    fn at(s: i64) -> Moment {
        Moment(s * 1_000_000)
    }

    fn request(from: Mac) -> [u8; arp::FRAME] {
        arp::request(from, ADDRESS, Ipv4Addr::new(192, 0, 2, 1))
    }

    fn reported(action: Option<Action<Ipv4Addr>>) -> Outcome {
        match action {
            Some(Action::Report(o)) => o.outcome,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn until_it_spoke_nothing_is_sent_and_nothing_is_known() {
        let mut m = Machine::new(PANEL);
        assert_eq!(reported(m.on_turn(at(0))), Outcome::NotAsked(NotAsked::NoAddress));
        assert_eq!(m.on_frame(at(1), &request(OTHER)), None);
        assert_eq!(reported(m.on_turn(at(60))), Outcome::NotAsked(NotAsked::NoAddress));
        m.on_frame(at(61), &arp::probe(PANEL, ADDRESS));
        assert_eq!(reported(m.on_turn(at(120))), Outcome::Answered, "a probe is presence without an address");
        assert_eq!(reported(m.on_turn(at(180))), Outcome::NotAsked(NotAsked::NoAddress));
    }

    #[test]
    fn heard_by_itself_it_is_not_asked_and_silent_it_is() {
        let mut m = Machine::new(PANEL);
        assert_eq!(m.on_frame(at(5), &request(PANEL)), None);
        let Some(Action::Report(o)) = m.on_turn(at(60)) else { panic!("heard") };
        assert_eq!((o.outcome, o.asked, o.detail), (Outcome::Answered, at(5), Detail::Claimants(vec![PANEL])));
        assert_eq!(m.on_turn(at(120)), Some(Action::Ask(ADDRESS)));
        m.on_sent(at(120));
        let o = m.on_frame(at(120) + Micros::from_millis(4), &request(PANEL)).expect("it spoke");
        assert_eq!((o.outcome, o.rtt), (Outcome::Answered, None), "a request of its own is no round trip");
        assert_eq!(m.on_turn(at(180)), Some(Action::Ask(ADDRESS)));
        m.on_sent(at(180));
        assert_eq!((m.due(), m.on_turn(at(180))), (Some(at(181)), None));
        assert_eq!(m.on_timer(at(180)), None);
        let o = m.on_timer(at(181)).expect("over");
        assert_eq!((o.outcome, o.detail), (Outcome::Timeout, Detail::Claimants(vec![])));
    }

    #[test]
    fn the_table_tells_its_address_and_only_a_fresh_confirmation_is_presence() {
        let entry = |state, confirmed| {
            [(IpAddr::V4(ADDRESS), Neighbour { state, mac: Some(PANEL), confirmed_ms: Some(confirmed) })]
        };
        let mut m = Machine::new(PANEL);
        m.on_table(at(100), MINUTE, &entry(NeighbourState::Stale, 3_000));
        assert_eq!(m.on_turn(at(100)), Some(Action::Ask(ADDRESS)));
        m.on_table(at(200), MINUTE, &entry(NeighbourState::Reachable, 3_000));
        let Some(Action::Report(o)) = m.on_turn(at(200)) else { panic!("confirmed") };
        assert_eq!((o.outcome, o.asked), (Outcome::Answered, at(197)));
        m.on_table(at(300), MINUTE, &entry(NeighbourState::Reachable, 61_000));
        assert_eq!(m.on_turn(at(300)), Some(Action::Ask(ADDRESS)));
    }
}
