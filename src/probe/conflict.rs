//! The address lane's question to the neighbours: does anyone else use our address (RFC 5227)?
//!
//! Decides who claimed our address while we probed for it: any other hardware address that names ours as its sender.
//! Other hosts' probes (sender 0.0.0.0) don't count: switches and routers send them to see whether we are there.
//! `Answered` means a conflict; `Timeout` means none was heard.

use super::host::{Blind, Host};
use super::offers::LEAST_BETWEEN;
use super::turns::{Timer, until};
use super::{Action, Context};
use crate::judge::{Detail, Mac, Micros, Moment, NotAsked, Observation, Outcome, Question};
use crate::sys::frames::{Frames, MOST_BYTES};
use crate::wire::arp;
use std::io;
use std::net::{IpAddr, Ipv4Addr};
use std::sync::Arc;

/// Probes in a round (RFC 5227 `PROBE_NUM`).
pub const PROBES: u32 = 3;
/// Time between them (RFC 5227 `PROBE_MIN`), and how long the last one waits.
pub const BETWEEN: Micros = Micros::from_secs(1);
/// Most claimants kept.
pub const MOST_CLAIMANTS: usize = 8;
/// Most frames looked at in a round.
const MOST_FRAMES: u32 = 512;

/// One round, pure.
#[derive(Clone, Debug)]
pub struct Round {
    target: Arc<str>,
    own: Mac,
    address: Ipv4Addr,
    asked: Moment,
    sent: u32,
    frames: u32,
    claimants: Vec<Mac>,
}

impl Round {
    /// A round for our `address` at hardware address `own`, beginning at `asked`.
    pub fn new(target: Arc<str>, own: Mac, address: Ipv4Addr, asked: Moment) -> Self {
        Self { target, own, address, asked, sent: 0, frames: 0, claimants: Vec::new() }
    }

    /// When [`Round::on_timer`] is next due.
    pub fn due(&self) -> Moment {
        self.asked + Micros(BETWEEN.0 * i64::from(self.sent))
    }

    /// The next probe, or the end.
    pub fn on_timer(&mut self, at: Moment) -> Action<[u8; arp::FRAME]> {
        if self.sent < PROBES {
            self.sent += 1;
            return Action::Ask(arp::probe(self.own, self.address));
        }
        let outcome = if self.claimants.is_empty() { Outcome::Timeout } else { Outcome::Answered };
        Action::Report(Observation {
            asked: self.asked,
            known: at,
            question: Question::Conflict,
            target: self.target.clone(),
            outcome,
            rtt: None,
            detail: Detail::Claimants(self.claimants.clone()),
        })
    }

    /// Whether more frames are of use.
    pub fn listens(&self) -> bool {
        self.frames < MOST_FRAMES
    }

    /// A frame heard.
    pub fn on_frame(&mut self, frame: &[u8]) {
        self.frames += 1;
        let Some(said) = arp::parse(frame) else { return };
        let claims = said.sender_ip == self.address && said.sender != self.own;
        if claims && !self.claimants.contains(&said.sender) && self.claimants.len() < MOST_CLAIMANTS {
            self.claimants.push(said.sender);
        }
    }
}

/// Asks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let every = ctx.plan.cadence.offers.max(LEAST_BETWEEN);
    let mut turns = Timer::after(&ctx, Micros::from_secs(2), every, LEAST_BETWEEN);
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let report = match round(&ctx, &mut host).await {
            Ok(Some(report)) => report,
            Ok(None) => return,
            Err(blind) => blind.observed(Question::Conflict, host.target(), ctx.clock.now()),
        };
        if !ctx.report(report).await {
            return;
        }
    }
}

/// One round; `None` once the agent is gone.
async fn round(ctx: &Context, host: &mut Host) -> Result<Option<Observation>, Blind> {
    let interface = host.carrying().await?;
    let mac = interface.mac.filter(|_| !interface.loopback).ok_or(Blind::NotAsked(NotAsked::Unsupported))?;
    let index = interface.carrier.index;
    let held = host.ask(async |kernel| kernel.addresses(index).await).await?;
    let own = held.iter().find_map(|h| match h.address {
        IpAddr::V4(a) => Some(a),
        IpAddr::V6(_) => None,
    });
    let address = own.ok_or(Blind::NotAsked(NotAsked::NoAddress))?;
    let failed = |e: io::Error| Blind::failed(&e);
    let frames = Frames::arp_from(index, address).map_err(failed)?;
    let mut round = Round::new(host.target(), mac, address, ctx.clock.now());
    let mut room = [0; MOST_BYTES];
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return Ok(None),
            () = until(ctx, Some(round.due())) => match round.on_timer(ctx.clock.now()) {
                Action::Ask(frame) => frames.send(&frame).await.map_err(failed)?,
                Action::Report(o) => return Ok(Some(o)),
            },
            heard = frames.hear(&mut room), if round.listens() => round.on_frame(heard.map_err(failed)?),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OURS: Mac = Mac([2, 0, 0, 0, 0, 1]);
    const OTHER: Mac = Mac([2, 0, 0, 0, 0, 2]);
    const ADDRESS: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 7);

    fn run_round(heard: &[[u8; arp::FRAME]]) -> Observation {
        let mut r = Round::new("eth0".into(), OURS, ADDRESS, Moment(0));
        for second in 0..3 {
            assert_eq!(r.due(), Moment(second * 1_000_000));
            assert_eq!(r.on_timer(r.due()), Action::Ask(arp::probe(OURS, ADDRESS)));
            for frame in heard {
                r.on_frame(frame);
            }
        }
        match r.on_timer(r.due()) {
            Action::Report(o) => o,
            Action::Ask(_) => panic!("three probes are enough"),
        }
    }

    #[test]
    fn silence_for_three_seconds_is_no_conflict() {
        let o = run_round(&[]);
        assert_eq!((o.outcome, o.known - o.asked), (Outcome::Timeout, Micros::from_secs(3)));
    }

    #[test]
    fn another_sender_of_our_address_is_a_conflict_once() {
        let o = run_round(&[arp::request(OTHER, ADDRESS, Ipv4Addr::new(192, 0, 2, 1))]);
        assert_eq!((o.outcome, o.detail), (Outcome::Answered, Detail::Claimants(vec![OTHER])));
    }

    #[test]
    fn our_own_frames_and_others_probes_are_no_conflict() {
        let own = arp::request(OURS, ADDRESS, Ipv4Addr::new(192, 0, 2, 1));
        assert_eq!(run_round(&[own, arp::probe(OTHER, ADDRESS)]).outcome, Outcome::Timeout);
    }
}
