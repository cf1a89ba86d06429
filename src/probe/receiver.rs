//! Does the station's receiver answer?
//!
//! Opens a TCP connection to each receiver the site file names, and for TLS shakes hands; then closes. Nothing is sent
//! after connecting: never an alarm event, never a test signal. [`Tries`] decides which of several addresses counts.

use super::dns_ask;
use super::receiver_tls as tls;
use super::turns::{self, Turns};
use super::{Context, errno, lookup};
use crate::judge::{Detail, Moment, NotAsked, Observation, Outcome, Question, Rtt, TlsAnswer};
use crate::site::{Host, Receiver, Transport, cadence};
use crate::sys::outgoing;
use crate::sys::way::Way;
use rustls::pki_types::ServerName;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::net::TcpStream;
use tokio::task::JoinSet;
use tokio::time::timeout_at;

/// Connections to one receiver under way at once.
const OVERLAP: usize = 3;

/// Connects to each receiver each `cadence.receiver` until the agent is gone.
pub async fn run(ctx: Context) {
    let plan = ctx.plan.clone();
    let (base, floor, start) = (plan.cadence.receiver, cadence::FLOOR_RECEIVER, ctx.clock.now());
    if plan.receivers.is_empty() {
        return dns_ask::nobody(ctx, Turns::new(base, floor, start), Question::Connect).await;
    }
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, receiver) in plan.receivers.iter().enumerate() {
        let first = turns::spread(start, base.max(floor), i, plan.receivers.len());
        let (given, receiver, way) = (ctx.clone(), receiver.clone(), way.clone());
        each.spawn(turns::each(ctx.clone(), Turns::new(base, floor, first), OVERLAP, move |_| {
            let (ctx, receiver, way) = (given.clone(), receiver.clone(), way.clone());
            async move { visit(&ctx, &receiver, &way).await }
        }));
    }
    each.join_all().await;
}

/// The addresses tried in one visit: the first that connects counts, else the last that was really asked.
#[derive(Debug, Default)]
struct Tries {
    best: Option<(Moment, Moment, Outcome, Detail)>,
}

impl Tries {
    fn failed(&mut self, asked: Moment, known: Moment, (outcome, detail): (Outcome, Detail)) {
        let keep = self.best.as_ref().is_some_and(|b| b.2.was_asked() && !outcome.was_asked());
        if !keep {
            self.best = Some((asked, known, outcome, detail));
        }
    }
}

/// One visit: look up, connect, shake hands where that is wanted, close. Reports each step.
async fn visit(ctx: &Context, receiver: &Receiver, way: &Way) {
    let say = |question, asked, known, outcome, rtt, detail| {
        ctx.report(Observation { asked, known, question, target: receiver.name.clone(), outcome, rtt, detail })
    };
    let began = ctx.clock.now();
    let addresses = match lookup::addresses(&receiver.host, &ctx.plan.resolvers, ctx.plan.patience).await {
        Ok(a) => a,
        Err(why) => {
            let outcome = Outcome::NotAsked(NotAsked::Unresolved);
            say(Question::Connect, began, ctx.clock.now(), outcome, None, Detail::Why(why)).await;
            return;
        }
    };
    let mut tries = Tries::default();
    let mut reached = None;
    for address in addresses {
        let asked = ctx.clock.now();
        match connect(ctx, way, SocketAddr::new(address, receiver.port), asked).await {
            Ok(stream) => {
                reached = Some((asked, stream));
                break;
            }
            Err(why) => tries.failed(asked, ctx.clock.now(), why),
        }
    }
    let Some((asked, stream)) = reached else {
        let (asked, known, outcome, detail) = tries.best.unwrap_or_else(|| {
            let none = Detail::Why("the name has no address".to_owned());
            (began, ctx.clock.now(), Outcome::NotAsked(NotAsked::Unresolved), none)
        });
        say(Question::Connect, asked, known, outcome, None, detail).await;
        return;
    };
    let known = ctx.clock.now();
    let connected = say(Question::Connect, asked, known, Outcome::Answered, Some(rtt(asked, known)), Detail::None);
    if receiver.transport == Transport::Tcp {
        // Closed before the report is handed over: a busy agent must not hold the receiver's connection open.
        drop(stream);
        connected.await;
        return;
    }
    let (known_tls, outcome, detail, shaken) = shake(ctx, receiver, stream, known).await;
    if let Some(s) = shaken {
        s.close().await;
    }
    connected.await;
    let took = (outcome == Outcome::Answered).then(|| rtt(known, known_tls));
    say(Question::Handshake, known, known_tls, outcome, took, detail).await;
}

fn rtt(asked: Moment, known: Moment) -> Rtt {
    Rtt { took: known - asked, kernel: false }
}

async fn connect(ctx: &Context, way: &Way, to: SocketAddr, asked: Moment) -> Result<TcpStream, (Outcome, Detail)> {
    let connecting = outgoing::tcp(to, way.name().as_deref()).map_err(|e| errno::at_connect(&e))?;
    match timeout_at(ctx.clock.instant(asked + ctx.plan.patience), connecting.done()).await {
        Ok(done) => done.map_err(|e| errno::from_network(&e)),
        Err(_) => Err((Outcome::Timeout, Detail::None)),
    }
}

/// Shakes hands from `asked` on, at most `plan.patience`.
async fn shake(
    ctx: &Context,
    receiver: &Receiver,
    stream: TcpStream,
    asked: Moment,
) -> (Moment, Outcome, Detail, Option<tls::Shaken>) {
    let Some(name) = server_name(&receiver.host) else {
        let why = Detail::Why("not a name a certificate can carry".to_owned());
        return (ctx.clock.now(), Outcome::NotAsked(NotAsked::Local), why, None);
    };
    let shaking = timeout_at(ctx.clock.instant(asked + ctx.plan.patience), tls::shake(stream, name)).await;
    let known = ctx.clock.now();
    match shaking {
        Ok(Ok(mut s)) => {
            let answer = std::mem::take(&mut s.answer);
            (known, Outcome::Answered, Detail::Tls(answer), Some(s))
        }
        Ok(Err((outcome, detail))) => (known, outcome, detail, None),
        Err(_) => (known, Outcome::Timeout, Detail::Tls(TlsAnswer::default()), None),
    }
}

fn server_name(host: &Host) -> Option<ServerName<'static>> {
    match host {
        Host::Address(a) => Some(ServerName::from(*a)),
        Host::Name(n) => ServerName::try_from(n.trim_end_matches('.').to_owned()).ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Unreachable;

    #[test]
    fn what_was_really_asked_counts_more_than_what_was_not() {
        let blind = || (Outcome::NotAsked(NotAsked::NoRoute), Detail::None);
        let mut t = Tries::default();
        t.failed(Moment(1), Moment(2), blind());
        assert_eq!(t.best.as_ref().map(|b| b.2), Some(blind().0));
        t.failed(Moment(3), Moment(4), (Outcome::Timeout, Detail::None));
        t.failed(Moment(5), Moment(6), blind());
        assert_eq!(t.best.as_ref().map(|b| (b.0, b.2)), Some((Moment(3), Outcome::Timeout)));
        let host = Outcome::Unreachable(Unreachable::Host);
        t.failed(Moment(7), Moment(8), (host, Detail::None));
        assert_eq!(t.best.map(|b| (b.0, b.2)), Some((Moment(7), host)));
    }

    #[test]
    fn a_trailing_dot_is_no_part_of_a_certificate_name() {
        let named = server_name(&Host::Name("receiver.example.".into())).expect("a name");
        assert_eq!(named.to_str(), "receiver.example");
        assert!(server_name(&Host::Name("not a name".into())).is_none());
    }
}
