//! One DNS question to one server, with its own socket and one deadline: the engine of `names` and `outside`.
//!
//! [`Machine`] decides what each thing that happens means: ignore late or forged replies, go on over TCP when the
//! answer was cut short, or be done. No cache and no retransmission: a lost packet is what we came to see. [`ask`]
//! owns the sockets.

use super::turns::{self, Turns};
use super::{Context, errno};
use crate::judge::{Detail, Moment, NameAnswer, NotAsked, Observation, Outcome, Question, Rtt, Unreachable};
use crate::sys::clock::Clock;
use crate::sys::way::Way;
use crate::sys::{errqueue, outgoing};
use crate::wire::dns::{self, Asked, Checked};
use crate::wire::icmp::Family;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::time::timeout_at;

/// REFUSED (RFC 1035 section 4.1.1).
const REFUSED: u16 = 5;

/// Whom to ask.
#[derive(Clone, Debug)]
pub(super) struct Server {
    /// The observation's target.
    pub(super) name: Arc<str>,
    /// Address and port.
    pub(super) address: SocketAddr,
    /// The interface to ask by.
    pub(super) way: Arc<Way>,
}

/// One query under way.
pub(super) struct Machine {
    asked: Asked,
    id: u16,
    question: Question,
    target: Arc<str>,
    at: Moment,
    /// The answer over UDP, cut short.
    cut: Option<NameAnswer>,
    /// Something came with our id that was no answer.
    malformed: bool,
}

/// What to do next.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// Go on waiting.
    Wait,
    /// Ask again over TCP.
    OverTcp,
    /// Done.
    Done(Observation),
}

impl Machine {
    fn new(question: Question, target: Arc<str>, asked: Asked, id: u16, at: Moment) -> Self {
        Self { asked, id, question, target, at, cut: None, malformed: false }
    }

    /// A datagram came.
    fn datagram(&mut self, now: Moment, bytes: &[u8]) -> Step {
        match self.asked.check(self.id, bytes) {
            Checked::NotOurs => Step::Wait,
            Checked::Malformed => {
                self.malformed = true;
                Step::Wait
            }
            Checked::Truncated(cut) => {
                self.cut = Some(cut);
                Step::OverTcp
            }
            Checked::Answer(a) => Step::Done(self.answer(now, a)),
        }
    }

    /// A whole reply came over TCP.
    fn stream(&mut self, now: Moment, bytes: &[u8]) -> Observation {
        match self.asked.check(self.id, bytes) {
            Checked::Answer(a) => self.answer(now, NameAnswer { truncated: true, over_tcp: true, ..a }),
            Checked::NotOurs | Checked::Malformed | Checked::Truncated(_) => {
                self.failed(now, Outcome::Malformed, Detail::None)
            }
        }
    }

    /// It ended without an answer. What a cut answer said is kept.
    fn failed(&mut self, now: Moment, outcome: Outcome, detail: Detail) -> Observation {
        let outcome = if outcome == Outcome::Unreachable(Unreachable::Port) { Outcome::Refused } else { outcome };
        let detail = self.cut.take().map_or(detail, Detail::Name);
        self.observation(now, outcome, None, detail)
    }

    /// The time is over.
    fn over(&mut self, now: Moment) -> Observation {
        let outcome = if self.malformed { Outcome::Malformed } else { Outcome::Timeout };
        self.failed(now, outcome, Detail::None)
    }

    fn answer(&self, now: Moment, a: NameAnswer) -> Observation {
        let outcome = if a.code == REFUSED { Outcome::Refused } else { Outcome::Answered };
        let rtt = Rtt { took: now - self.at, kernel: false };
        self.observation(now, outcome, Some(rtt), Detail::Name(a))
    }

    fn observation(&self, known: Moment, outcome: Outcome, rtt: Option<Rtt>, detail: Detail) -> Observation {
        Observation {
            asked: self.at,
            known,
            question: self.question,
            target: self.target.clone(),
            outcome,
            rtt,
            detail,
        }
    }
}

/// Asks once and waits for the outcome, at most `plan.patience`.
pub(super) async fn ask(ctx: &Context, server: &Server, question: Question, asked: Asked) -> Observation {
    let interface = server.way.name();
    let interface = interface.as_deref();
    let id = rand::random();
    let query = asked.query(id);
    let opened = outgoing::udp(server.address, interface);
    let at = ctx.clock.now();
    let mut machine = Machine::new(question, server.name.clone(), asked, id, at);
    let sent = match opened {
        Ok(socket) => socket.send(&query).await.map(|_| socket),
        Err(e) => Err(e),
    };
    let socket = match sent {
        Ok(s) => s,
        Err(e) => {
            let (outcome, detail) = errno::while_asking(&e);
            return machine.failed(ctx.clock.now(), outcome, detail);
        }
    };
    let deadline = ctx.clock.instant(at + ctx.plan.patience);
    let talk = async {
        if let Some(o) = over_udp(&mut machine, ctx.clock, &socket, server.address).await {
            return o;
        }
        match over_tcp(&query, server.address, interface).await {
            Ok(reply) => machine.stream(ctx.clock.now(), &reply),
            Err((outcome, detail)) => machine.failed(ctx.clock.now(), outcome, detail),
        }
    };
    match timeout_at(deadline, talk).await {
        Ok(o) => o,
        Err(_) => machine.over(ctx.clock.now()),
    }
}

/// The outcome over UDP; `None` when it is to be asked over TCP.
async fn over_udp(
    machine: &mut Machine,
    clock: Clock,
    socket: &tokio::net::UdpSocket,
    server: SocketAddr,
) -> Option<Observation> {
    let mut buffer = vec![0u8; 4_096];
    loop {
        match socket.recv(&mut buffer).await {
            Ok(n) => match machine.datagram(clock.now(), &buffer[..n]) {
                Step::Wait => {}
                Step::OverTcp => return None,
                Step::Done(o) => return Some(o),
            },
            Err(e) => {
                let told = errqueue::receive_error(socket).ok().and_then(|m| m.raised);
                let (outcome, detail) = match told {
                    Some(r) => errno::raised(Family::of(server.ip()), &r),
                    None => errno::from_network(&e),
                };
                return Some(machine.failed(clock.now(), outcome, detail));
            }
        }
    }
}

/// The reply over TCP, or the outcome without one.
async fn over_tcp(query: &[u8], server: SocketAddr, interface: Option<&str>) -> Result<Vec<u8>, (Outcome, Detail)> {
    let connecting = outgoing::tcp(server, interface).map_err(|e| errno::at_connect(&e))?;
    let talk = async {
        let mut stream = connecting.done().await?;
        stream.write_all(&dns::framed(query)).await?;
        let length = stream.read_u16().await?;
        // Grows with what really comes, never beyond what 16 bits can announce.
        let mut reply = Vec::new();
        (&mut stream).take(u64::from(length)).read_to_end(&mut reply).await?;
        if reply.len() < usize::from(length) { Err(io::ErrorKind::UnexpectedEof.into()) } else { Ok(reply) }
    };
    talk.await.map_err(|e: io::Error| match e.kind() {
        io::ErrorKind::UnexpectedEof => (Outcome::Reset, Detail::None),
        _ => errno::from_network(&e),
    })
}

/// Asks one server at each of its turns until the agent is gone. `question` is told the turn's number; `None` for what
/// can't be asked.
pub(super) async fn keep_asking<Q>(ctx: Context, server: Server, turns: Turns, most: usize, question: Q)
where
    Q: Fn(u64) -> (Question, Option<Asked>) + Send,
{
    let given = ctx.clone();
    turns::each(ctx, turns, most, move |number| {
        let (ctx, server) = (given.clone(), server.clone());
        let (question, asked) = question(number);
        async move {
            let o = if let Some(asked) = asked {
                ask(&ctx, &server, question, asked).await
            } else {
                let why = Detail::Why("not a domain name".to_owned());
                not_asked(ctx.clock.now(), question, server.name.clone(), NotAsked::Local, why)
            };
            ctx.report(o).await;
        }
    })
    .await;
}

/// Says at each turn that nobody is configured to be asked, so that the lane is seen to be blind.
pub(super) async fn nobody(ctx: Context, turns: Turns, question: Question) {
    let given = ctx.clone();
    turns::each(ctx, turns, 1, move |_| {
        let ctx = given.clone();
        async move {
            ctx.report(not_asked(ctx.clock.now(), question, "none".into(), NotAsked::NoTarget, Detail::None)).await;
        }
    })
    .await;
}

fn not_asked(now: Moment, question: Question, target: Arc<str>, why: NotAsked, detail: Detail) -> Observation {
    Observation { asked: now, known: now, question, target, outcome: Outcome::NotAsked(why), rtt: None, detail }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Micros;

    /// A reply made from our own query: response bit, code, flags.
    fn reply(id: u16, flags: u8, code: u8) -> Vec<u8> {
        let mut r = Asked::root_servers().query(id);
        r[2] |= 0x80 | flags;
        r[3] = code;
        r
    }

    fn machine() -> Machine {
        Machine::new(Question::Reference, "a".into(), Asked::root_servers(), 7, Moment(100))
    }

    fn done(step: Step) -> Observation {
        match step {
            Step::Done(o) => o,
            other => panic!("not done: {other:?}"),
        }
    }

    #[test]
    fn late_and_forged_replies_are_passed_over() {
        let mut m = machine();
        assert_eq!(m.datagram(Moment(200), &reply(8, 0, 0)), Step::Wait);
        let o = done(m.datagram(Moment(350), &reply(7, 0, 0)));
        assert_eq!((o.outcome, o.rtt), (Outcome::Answered, Some(Rtt { took: Micros(250), kernel: false })));
    }

    #[test]
    fn only_junk_is_malformed_and_nothing_is_a_timeout() {
        let mut m = machine();
        assert_eq!(m.datagram(Moment(200), &reply(8, 0, 0)), Step::Wait);
        assert_eq!(m.over(Moment(900)).outcome, Outcome::Timeout);
        assert_eq!(m.datagram(Moment(200), &[0, 7, 1, 2, 3]), Step::Wait);
        assert_eq!(m.over(Moment(900)).outcome, Outcome::Malformed);
    }

    #[test]
    fn codes_are_answers_and_refused_is_refused() {
        for (code, outcome) in
            [(0, Outcome::Answered), (2, Outcome::Answered), (3, Outcome::Answered), (5, Outcome::Refused)]
        {
            let o = done(machine().datagram(Moment(200), &reply(7, 0, code)));
            assert_eq!(o.outcome, outcome);
            assert!(matches!(o.detail, Detail::Name(a) if a.code == u16::from(code)));
        }
    }

    #[test]
    fn a_cut_answer_goes_over_tcp_and_is_remembered() {
        let mut m = machine();
        assert_eq!(m.datagram(Moment(200), &reply(7, 2, 0)), Step::OverTcp);
        let o = m.stream(Moment(400), &reply(7, 0, 0));
        assert!(matches!(o.detail, Detail::Name(NameAnswer { truncated: true, over_tcp: true, .. })));
        let o = m.failed(Moment(400), Outcome::Refused, Detail::None);
        assert_eq!(o.outcome, Outcome::Refused);
        assert!(matches!(o.detail, Detail::Name(NameAnswer { truncated: true, over_tcp: false, .. })));
    }

    #[test]
    fn a_closed_port_is_a_refusal() {
        let o = machine().failed(Moment(200), Outcome::Unreachable(Unreachable::Port), Detail::None);
        assert_eq!((o.outcome, o.rtt), (Outcome::Refused, None));
    }
}
