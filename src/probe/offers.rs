//! The address lane's question to the servers: who answers a discover, and with what?
//!
//! Decides what one round of DHCPDISCOVER heard: every distinct offer for four seconds, not only the first. Never sends a
//! DHCPREQUEST, so no server binds anything and the host's own client is not disturbed: the transaction id is ours alone
//! (RFC 2131 section 4.1). A second server is reported as soon as it is heard, and again with the whole round.

use super::Context;
use super::host::{Blind, Host};
use super::turns::{Timer, until};
use crate::judge::{Detail, Lease, Mac, Micros, Moment, NotAsked, Observation, Outcome, Question, Rtt};
use crate::sys::frames::{Frames, MOST_BYTES};
use crate::wire::dhcp;
use std::io;
use std::net::IpAddr;
use std::sync::Arc;

/// How long a round listens. Servers may try the address first, for a second or three.
pub const LISTENS: Micros = Micros::from_secs(4);
/// Rounds are never closer than this, whatever the pace.
pub const LEAST_BETWEEN: Micros = Micros::from_secs(10);
/// Most offers kept of a round.
pub const MOST_OFFERS: usize = 16;
/// Most frames looked at in a round; a flood can't hold us longer.
const MOST_FRAMES: u32 = 512;

/// One round, pure.
#[derive(Clone, Debug)]
pub struct Round {
    target: Arc<str>,
    xid: u32,
    asked: Moment,
    first: Option<Moment>,
    offers: Vec<Lease>,
    discarded: u32,
    frames: u32,
    told_early: bool,
}

impl Round {
    /// A round whose discover left at `asked`.
    pub fn new(target: Arc<str>, xid: u32, asked: Moment) -> Self {
        let (first, offers, discarded, frames, told_early) = (None, Vec::new(), 0, 0, false);
        Self { target, xid, asked, first, offers, discarded, frames, told_early }
    }

    /// When the round ends.
    pub fn ends(&self) -> Moment {
        self.asked + LISTENS
    }

    /// Whether more frames are of use.
    pub fn listens(&self) -> bool {
        self.frames < MOST_FRAMES
    }

    /// A frame heard; an observation where it shows the first offer of a second server.
    pub fn on_frame(&mut self, at: Moment, frame: &[u8]) -> Option<Observation> {
        self.frames += 1;
        match dhcp::offer(frame, self.xid) {
            Ok(None) => return None,
            Ok(Some(lease)) => self.take(at, lease),
            Err(_) => self.discarded += 1,
        }
        let second = !self.told_early && self.offers.iter().any(|o| server(o) != server(&self.offers[0]));
        self.told_early |= second;
        second.then(|| self.observed(at))
    }

    fn take(&mut self, at: Moment, lease: Lease) {
        self.first.get_or_insert(at);
        let same = |o: &Lease| (o.server, o.from, o.address) == (lease.server, lease.from, lease.address);
        if self.offers.iter().any(same) {
            return;
        }
        if self.offers.len() < MOST_OFFERS {
            self.offers.push(lease);
        } else {
            self.discarded += 1;
        }
    }

    /// The whole round.
    pub fn finish(self, at: Moment) -> Observation {
        self.observed(at)
    }

    fn observed(&self, at: Moment) -> Observation {
        let outcome = match (self.offers.is_empty(), self.discarded) {
            (false, _) => Outcome::Answered,
            (true, 0) => Outcome::Timeout,
            (true, _) => Outcome::Malformed,
        };
        Observation {
            asked: self.asked,
            known: at,
            question: Question::Offers,
            target: self.target.clone(),
            outcome,
            rtt: self.first.map(|first| Rtt { took: first - self.asked, kernel: false }),
            detail: Detail::Offers { offers: self.offers.clone(), discarded: self.discarded },
        }
    }
}

/// What tells servers apart: the identifier, or the hardware address where there is none.
fn server(lease: &Lease) -> (Option<IpAddr>, Option<Mac>) {
    (lease.server, if lease.server.is_some() { None } else { lease.from })
}

/// Asks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let every = ctx.plan.cadence.offers.max(LEAST_BETWEEN);
    let mut turns = Timer::after(&ctx, Micros::from_secs(1), every, LEAST_BETWEEN);
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        if !round(&ctx, &mut host).await {
            return;
        }
    }
}

/// One round; false once the agent is gone.
async fn round(ctx: &Context, host: &mut Host) -> bool {
    let target = host.target();
    let blind = |blind: Blind| blind.observed(Question::Offers, target.clone(), ctx.clock.now());
    let (frames, mut round) = match begin(ctx, host, target.clone()).await {
        Ok(begun) => begun,
        Err(why) => return ctx.report(blind(why)).await,
    };
    let mut room = [0; MOST_BYTES];
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return false,
            () = until(ctx, Some(round.ends())) => return ctx.report(round.finish(ctx.clock.now())).await,
            heard = frames.hear(&mut room), if round.listens() => match heard {
                Ok(frame) => {
                    if let Some(early) = round.on_frame(ctx.clock.now(), frame)
                        && !ctx.report(early).await
                    {
                        return false;
                    }
                }
                // The interface went away under the question: what was heard counts, silence does not.
                Err(e) if round.offers.is_empty() => return ctx.report(blind(Blind::failed(&e))).await,
                Err(_) => return ctx.report(round.finish(ctx.clock.now())).await,
            },
        }
    }
}

async fn begin(ctx: &Context, host: &mut Host, target: Arc<str>) -> Result<(Frames, Round), Blind> {
    let interface = host.carrying().await?;
    let mac = interface.mac.filter(|_| !interface.loopback).ok_or(Blind::NotAsked(NotAsked::Unsupported))?;
    let failed = |e: io::Error| Blind::failed(&e);
    let frames = Frames::to_dhcp_client(interface.carrier.index).map_err(failed)?;
    let xid = rand::random();
    let round = Round::new(target, xid, ctx.clock.now());
    frames.send(&dhcp::discover(mac, xid)).await.map_err(failed)?;
    Ok((frames, round))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lease(server: u8, from: u8, address: u8) -> Lease {
        Lease {
            address: Some([192, 0, 2, address].into()),
            server: (server != 0).then(|| [192, 0, 2, server].into()),
            from: Some(Mac([2, 0, 0, 0, 0, from])),
            ..Lease::default()
        }
    }

    fn offers(o: &Observation) -> (usize, u32) {
        match &o.detail {
            Detail::Offers { offers, discarded } => (offers.len(), *discarded),
            other => panic!("{other:?}"),
        }
    }

    fn started() -> Round {
        Round::new("eth0".into(), 7, Moment(0))
    }

    #[test]
    fn silence_is_a_timeout_and_junk_is_not_silence() {
        assert_eq!(started().finish(Moment(4_000_000)).outcome, Outcome::Timeout);
        let mut junk = started();
        junk.discarded = 2;
        assert_eq!(junk.finish(Moment(4_000_000)).outcome, Outcome::Malformed);
    }

    #[test]
    fn a_repeated_offer_is_one_offer_and_its_time_is_the_first() {
        let mut r = started();
        r.take(Moment(1_200), lease(1, 1, 50));
        r.take(Moment(9_000), lease(1, 1, 50));
        let o = r.finish(Moment(4_000_000));
        assert_eq!((offers(&o), o.rtt.map(|r| r.took)), ((1, 0), Some(Micros(1_200))));
    }

    #[test]
    fn offers_beyond_the_cap_are_counted_not_kept() {
        let mut r = started();
        for n in 0..40 {
            r.take(Moment(1), lease(1, n, n));
        }
        assert_eq!(offers(&r.finish(Moment(4_000_000))), (MOST_OFFERS, 24));
    }

    #[test]
    fn servers_are_told_apart_by_identifier_then_by_hardware() {
        assert_eq!(server(&lease(1, 1, 50)), server(&lease(1, 2, 51)));
        assert_ne!(server(&lease(1, 1, 50)), server(&lease(2, 1, 50)));
        assert_ne!(server(&lease(0, 1, 50)), server(&lease(0, 2, 50)));
    }
}
