//! How long has the router been up, as the SNMP agent the site file names counts it?
//!
//! One datagram a turn, with the community the site file gives; `wire::snmp` decides its bytes and what the answer says.
//! Answers to other questions are passed over, a bounded number of them. The count wraps after 497 days, which looks like
//! a start and is left to the judge, who sees the number before it.

use super::turns::Timer;
use super::{Context, errno};
use crate::judge::{Detail, Micros, Observation, Outcome, Question, RouterLife, Rtt};
use crate::site::Snmp;
use crate::site::cadence::FLOOR_SIGNS;
use crate::sys::outgoing;
use crate::wire::snmp::{self, LONGEST, Said};
use tokio::time::timeout_at;

/// Most datagrams looked at for one answer.
const MOST_DATAGRAMS: u32 = 16;

/// Asks until the agent is gone. Needs an agent in the plan.
pub async fn run(ctx: Context) {
    let Some(named) = ctx.plan.signs.snmp.clone() else { return ctx.seen.closed().await };
    let way = ctx.way();
    let target = format!("SNMP at {}", named.agent.ip());
    let mut turns = Timer::after(&ctx, Micros::from_secs(1), ctx.plan.signs.signs_every, FLOOR_SIGNS);
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let asked = ctx.clock.now();
        let interface = way.name();
        let answer = ask(&named, interface.as_deref());
        let whole = timeout_at(ctx.clock.instant(asked + ctx.plan.patience), answer).await;
        let (outcome, detail) = whole.unwrap_or((Outcome::Timeout, Detail::None));
        let known = ctx.clock.now();
        let rtt = (outcome == Outcome::Answered).then_some(Rtt { took: known - asked, kernel: false });
        let (question, target) = (Question::RouterLife, target.as_str().into());
        if !ctx.report(Observation { asked, known, question, target, outcome, rtt, detail }).await {
            return;
        }
    }
}

async fn ask(named: &Snmp, interface: Option<&str>) -> (Outcome, Detail) {
    let socket = match outgoing::udp(named.agent, interface) {
        Ok(socket) => socket,
        Err(e) => return errno::while_asking(&e),
    };
    let id = rand::random::<u16>();
    if let Err(e) = socket.send(&snmp::ask(&named.community, id)).await {
        return errno::while_asking(&e);
    }
    // One byte more than we take, so that what is cut can be told from what fits.
    let mut room = [0; LONGEST + 1];
    for _ in 0..MOST_DATAGRAMS {
        let length = match socket.recv(&mut room).await {
            Ok(length) => length,
            Err(e) => return errno::from_network(&e),
        };
        match snmp::read(&room[..length], &named.community, id) {
            Some(Said::Up(hundredths)) => {
                let up_s = Some(u64::from(hundredths / 100));
                return (Outcome::Answered, Detail::RouterLife(RouterLife { up_s, ..RouterLife::default() }));
            }
            Some(Said::Without) => {
                return (Outcome::Refused, Detail::Why("the agent does not tell how long it has been up".into()));
            }
            None => {}
        }
    }
    (Outcome::Malformed, Detail::Why("only datagrams that answer nothing we asked".into()))
}
