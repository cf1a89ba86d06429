//! Which box is the second hop? The reference question again, with a life of two hops: the box at which it ends says so
//! (RFC 792 "time exceeded", RFC 4443 section 3.3).
//!
//! Decides only whose word is taken: the kernel matches the error to our socket. A private or shared (RFC 6598) address
//! there tells of a second translator; that is the judge's. A box that says nothing is no fault. Only reference points
//! the site file names are asked.

use super::turns::{self, Turns};
use super::{Context, datagram, errno};
use crate::judge::{Detail, Micros, Moment, Observation, Outcome, Question, Rtt};
use crate::site::Reference;
use crate::sys::errqueue::{Origin, Raised};
use crate::sys::way::Way;
use crate::sys::{errqueue, outgoing};
use crate::wire::dns::{Asked, Checked};
use crate::wire::icmp::Family;
use std::net::IpAddr;
use std::sync::Arc;
use tokio::task::JoinSet;
use tokio::time::timeout_at;

/// The life of the question, hops.
const HOPS: u32 = 2;
/// After the start, so as not to meet the other first questions.
const FIRST: Micros = Micros::from_secs(4);
/// Datagrams that are no reply, after which nothing better is waited for.
const MOST_JUNK: u32 = 200;

/// Asks by each named reference point each `between.second_hop` until the agent is gone.
pub async fn run(ctx: Context) {
    let plan = ctx.plan.clone();
    let named: Vec<Reference> = plan.references.iter().filter(|r| !r.builtin).cloned().collect();
    let (every, way) = (plan.between.second_hop, Arc::new(ctx.way()));
    let mut each = JoinSet::new();
    for (i, reference) in named.iter().enumerate() {
        let start = ctx.clock.now() + Micros(FIRST.0.min(every.0));
        let first = turns::spread(start, Micros::from_secs(10).min(every), i, named.len());
        let (given, reference, way) = (ctx.clone(), reference.clone(), way.clone());
        each.spawn(turns::each(ctx.clone(), Turns::new(every, every, first), 1, move |_| {
            let (ctx, reference, way) = (given.clone(), reference.clone(), way.clone());
            async move {
                let (asked, came) = ask(&ctx, &reference, &way).await;
                let known = ctx.clock.now();
                let (outcome, rtt, detail) = match came {
                    Ok(hop) => {
                        let rtt = Rtt { took: known - asked, kernel: false };
                        (Outcome::Answered, Some(rtt), Detail::SecondHop(hop))
                    }
                    Err((outcome, detail)) => (datagram::settled(outcome), None, detail),
                };
                let target = reference.name.clone();
                ctx.report(Observation { asked, known, question: Question::SecondHop, target, outcome, rtt, detail })
                    .await;
            }
        }));
    }
    each.join_all().await;
}

async fn ask(ctx: &Context, to: &Reference, way: &Way) -> (Moment, Result<IpAddr, datagram::Failed>) {
    let (asked, id) = (Asked::root_servers(), rand::random());
    let at = ctx.clock.now();
    let socket = match datagram::open(to.address, way) {
        Ok(s) => s,
        Err(e) => return (at, Err(e)),
    };
    if let Err(e) = outgoing::set_hops(&socket, HOPS) {
        return (at, Err(errno::while_asking(&e)));
    }
    let at = ctx.clock.now();
    if let Err(e) = datagram::send(&socket, &asked.query(id)).await {
        return (at, Err(e));
    }
    let deadline = ctx.clock.instant(at + ctx.plan.patience);
    let mut buffer = vec![0; 2_048];
    for _ in 0..MOST_JUNK {
        match timeout_at(deadline, socket.recv(&mut buffer)).await {
            Err(_) => return (at, Err((Outcome::Timeout, Detail::None))),
            Ok(Ok(n)) => match asked.check(id, &buffer[..n]) {
                // It came all the way: the target is no further than the second hop.
                Checked::Answer(_) | Checked::Truncated(_) => return (at, Ok(to.address.ip())),
                Checked::NotOurs | Checked::Malformed => {}
            },
            Ok(Err(e)) => {
                let told = errqueue::receive_error(&socket).ok().and_then(|m| m.raised);
                let came = match told {
                    Some(r) => expired(&r).ok_or_else(|| errno::raised(Family::of(to.address.ip()), &r)),
                    None => Err(errno::from_network(&e)),
                };
                return (at, came);
            }
        }
    }
    (at, Err((Outcome::Malformed, Detail::None)))
}

/// The box that says a packet's life ended there.
fn expired(r: &Raised) -> Option<IpAddr> {
    let in_transit = matches!((r.origin, r.kind, r.code), (Origin::Icmp, 11, 0) | (Origin::Icmp6, 3, 0));
    r.offender.filter(|_| in_transit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_time_exceeded_in_transit_names_a_hop() {
        let from: IpAddr = "100.64.0.1".parse().expect("an address");
        let told =
            |origin, kind, code| expired(&Raised { origin, kind, code, errno: 113, info: 0, offender: Some(from) });
        assert_eq!(told(Origin::Icmp, 11, 0), Some(from));
        assert_eq!(told(Origin::Icmp, 11, 1), None, "reassembly, not transit");
        assert_eq!(told(Origin::Icmp, 3, 1), None);
        assert_eq!(told(Origin::Icmp6, 3, 0), Some(from));
        assert_eq!(told(Origin::Local, 11, 0), None);
    }
}
