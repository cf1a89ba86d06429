//! How strong is the radio signal, where this host looks through a radio?
//!
//! Reads the kernel's own account of the link (`sys::radio`); sends nothing and never scans. On a lead there is nothing
//! to ask, and it says so.

use super::Context;
use super::host::{Blind, Host};
use super::turns::Timer;
use crate::judge::{Detail, Micros, NotAsked, Observation, Outcome, Question, Radio};
use crate::site::cadence::FLOOR_SIGNS;
use crate::sys::radio::Radios;

/// Looks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let mut turns = Timer::after(&ctx, Micros::from_secs(1), ctx.plan.signs.signs_every, FLOOR_SIGNS);
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let seen = look(&mut host).await;
        let (at, question, target) = (ctx.clock.now(), Question::Radio, host.target());
        let report = match seen {
            Ok(radio) => {
                let (outcome, detail) = (Outcome::Answered, Detail::Radio(radio));
                Observation { asked: at, known: at, question, target, outcome, rtt: None, detail }
            }
            Err(blind) => blind.observed(question, target, at),
        };
        if !ctx.report(report).await {
            return;
        }
    }
}

/// A connection a look: a minute lies between two, and a kernel module may come and go in it.
async fn look(host: &mut Host) -> Result<Radio, Blind> {
    let index = host.interface().await?.carrier.index;
    Radios::connect()?.link(index).await?.ok_or(Blind::NotAsked(NotAsked::Unsupported))
}
