//! One datagram out and the reply to it, with its own socket and one deadline: the engine of the small UDP questions.
//!
//! Decides nothing of what a reply means: the caller's check does. No retransmission. A flood of junk ends the wait.

use super::{Context, errno};
use crate::judge::{Detail, Moment, NotAsked, Observation, Outcome, Question, Rtt};
use crate::site::plan::Asked;
use crate::sys::way::Way;
use crate::sys::{errqueue, outgoing};
use crate::wire::icmp::Family;
use std::net::{IpAddr, SocketAddr};
use std::time::Duration;
use tokio::net::UdpSocket;
use tokio::time::timeout_at;

/// Datagrams that are no reply, after which nothing better is waited for.
const MOST_JUNK: u32 = 200;
/// Longest datagram read.
const LONGEST: usize = 2_048;

/// What a datagram turned out to be.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Heard<T> {
    /// Late or forged: to be ignored.
    NotOurs,
    /// For our question, but no sound reply: to be ignored, and remembered if nothing better comes.
    Malformed,
    /// The reply.
    Is(T),
}

/// Why there was no reply.
pub(super) type Failed = (Outcome, Detail);

/// The first address of a host that the site file names; the error says why there is none. A receiver's address is none,
/// whatever name led to it: nothing is ever sent to a receiver.
pub(super) async fn first_address(ctx: &Context, asked: &Asked) -> Result<SocketAddr, Failed> {
    let found = super::lookup::addresses(&asked.host, &ctx.plan.resolvers, ctx.plan.patience).await;
    let unresolved = |why| (Outcome::NotAsked(NotAsked::Unresolved), Detail::Why(why));
    let mut all: Vec<IpAddr> = found.map_err(unresolved)?;
    let had_some = !all.is_empty();
    for receiver in &ctx.plan.receivers {
        let theirs = super::lookup::addresses(&receiver.host, &ctx.plan.resolvers, ctx.plan.patience).await;
        let theirs = theirs.map_err(|why| unresolved(format!("whether it is a receiver can't be told: {why}")))?;
        all.retain(|a| !theirs.contains(a));
    }
    if had_some && all.is_empty() {
        return Err(unresolved("this is a receiver's address, and nothing is sent to one".to_owned()));
    }
    // By IPv4 where there is any: what lies between is mostly about IPv4.
    let first = all.iter().find(|a| a.is_ipv4()).or(all.first());
    let none = || unresolved("the name has no address".to_owned());
    first.map(|ip| SocketAddr::new(*ip, asked.port)).ok_or_else(none)
}

/// Opens a socket to a target.
pub(super) fn open(to: SocketAddr, way: &Way) -> Result<UdpSocket, Failed> {
    outgoing::udp(to, way.name().as_deref()).map_err(|e| errno::while_asking(&e))
}

/// Sends a message by a socket.
pub(super) async fn send(socket: &UdpSocket, message: &[u8]) -> Result<(), Failed> {
    // An error that an earlier packet raised is told once, by whatever call comes next.
    if socket.send(message).await.is_err() {
        socket.send(message).await.map_err(|e| errno::while_asking(&e))?;
    }
    Ok(())
}

/// Waits for the reply on a connected socket until a moment.
pub(super) async fn wait<T>(
    ctx: &Context,
    socket: &UdpSocket,
    to: SocketAddr,
    until: Moment,
    mut check: impl FnMut(&[u8]) -> Heard<T>,
) -> Result<T, Failed> {
    let mut buffer = vec![0; LONGEST];
    let (mut malformed, mut junk) = (false, 0);
    let deadline = ctx.clock.instant(until);
    loop {
        match timeout_at(deadline, socket.recv(&mut buffer)).await {
            Err(_) => break,
            Ok(Ok(n)) => match check(&buffer[..n]) {
                Heard::Is(t) => return Ok(t),
                Heard::NotOurs => junk += 1,
                Heard::Malformed => {
                    junk += 1;
                    malformed = true;
                }
            },
            Ok(Err(e)) => {
                let told = errqueue::receive_error(socket).ok().and_then(|m| m.raised);
                return Err(match told {
                    Some(r) => errno::raised(Family::of(to.ip()), &r),
                    None => errno::from_network(&e),
                });
            }
        }
        if junk >= MOST_JUNK {
            return Err((Outcome::Malformed, Detail::Why("a flood of datagrams that are no answer".to_owned())));
        }
    }
    Err((if malformed { Outcome::Malformed } else { Outcome::Timeout }, Detail::None))
}

/// A closed port is a refusal.
pub(super) fn settled(outcome: Outcome) -> Outcome {
    if outcome == Outcome::Unreachable(crate::judge::Unreachable::Port) { Outcome::Refused } else { outcome }
}

/// The observation of a question about `asked`, from what came of it.
pub(super) fn observation(
    question: Question,
    target: &Asked,
    (asked, known): (Moment, Moment),
    came: Result<Detail, Failed>,
) -> Observation {
    let (outcome, rtt, detail) = match came {
        Ok(detail) => (Outcome::Answered, Some(Rtt { took: known - asked, kernel: false }), detail),
        Err((outcome, detail)) => (settled(outcome), None, detail),
    };
    Observation { asked, known, question, target: target.name.clone(), outcome, rtt, detail }
}

/// How long to wait before the first question about target `index`: they are not all put at once.
pub(super) fn first_after(index: usize) -> Duration {
    Duration::from_millis(500 + 700 * u64::try_from(index).unwrap_or(0).min(8))
}
