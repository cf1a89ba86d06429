//! How large a packet gets through, and does anybody say so when one does not?
//!
//! [`Machine`] looks for the largest IP packet with "don't fragment" set that a reference point answers, in the manner of
//! RFC 4821: by what arrives, not by what routers say; but a size a router names (RFC 1191, RFC 8201) is remembered. A
//! packet too large that vanishes without a word is a black hole (RFC 2923 section 2.1). A size counts as lost after
//! three silences. Only reference points the site file names are asked: the built-in ones are no echo service.

use super::turns::{self, Turns};
use super::{Action, Context, errno};
use crate::judge::{Detail, Micros, Moment, Observation, Outcome, Question};
use crate::site::Reference;
use crate::sys::errqueue::Origin;
use crate::sys::icmp::{EchoSocket, Heard};
use crate::sys::way::Way;
use crate::wire::icmp::{self, Family};
use std::net::IpAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::task::JoinSet;
use tokio::time::timeout_at;

/// The largest packet tried: what Ethernet carries.
pub const LARGEST: u16 = 1_500;
/// Most echoes of one measurement.
pub const MOST_ECHOES: u32 = 45;
/// Every IPv4 host takes this much (RFC 791 section 3.1), and every IPv6 link carries 1280 (RFC 8200 section 5).
const SMALL_V4: u16 = 576;
const SMALL_V6: u16 = 1_280;
/// Silences after which a size is lost.
const SILENCES: u8 = 3;
/// So many silences at sizes that were answered when asked again are a way that loses packets of any size: three in a row
/// may then be chance, and what was lost says nothing (choice: one may happen on any line).
const LOSSY: u32 = 2;
/// Between two echoes.
const PAUSE: Duration = Duration::from_millis(100);
/// After the start, so as not to meet the other first questions.
const FIRST: Micros = Micros::from_secs(8);

/// Send an echo that makes a packet of this size; or the measurement is done.
pub type Step = Action<u16, (Outcome, Detail)>;

/// What came of an echo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Came {
    /// The answer.
    Answer,
    /// Nothing in time.
    Nothing,
    /// A router said it is too big; and what would fit, where it said that.
    TooBig(Option<u16>),
    /// It does not fit this host's own interface, which takes so much.
    OwnLink(u16),
}

/// A measurement under way.
#[derive(Clone, Debug)]
pub struct Machine {
    small: u16,
    top: u16,
    passed: u16,
    lost: Option<u16>,
    told: Option<u16>,
    trying: u16,
    silences: u8,
    /// Silences at sizes that were answered later.
    missed: u32,
    spent: u32,
    checking: bool,
}

impl Machine {
    /// A machine that begins with a packet every host takes.
    pub fn new(family: Family) -> Self {
        let small = match family {
            Family::V4 => SMALL_V4,
            Family::V6 => SMALL_V6,
        };
        Self {
            small,
            top: LARGEST,
            passed: 0,
            lost: None,
            told: None,
            trying: small,
            silences: 0,
            missed: 0,
            spent: 0,
            checking: false,
        }
    }

    /// The first step.
    pub fn begin(&mut self) -> Step {
        self.send(self.small)
    }

    /// The next step after what came of the last one.
    pub fn came(&mut self, what: Came) -> Step {
        if what == Came::Answer {
            self.missed += u32::from(self.silences);
        }
        match what {
            Came::Answer if self.checking => return self.done(),
            Came::Answer => self.passed = self.passed.max(self.trying),
            Came::Nothing if self.silences + 1 < SILENCES => {
                self.silences += 1;
                return self.again();
            }
            // The small packet unanswered: it answers no echoes, or the way was lost meanwhile.
            Came::Nothing | Came::TooBig(_) if self.trying == self.small => {
                return Step::Report((Outcome::Timeout, Detail::None));
            }
            Came::Nothing => self.lost = Some(self.trying),
            Came::TooBig(size) => {
                self.lost = Some(self.trying);
                // RFC 1191 section 5 lets old routers say nothing (0); a size not below ours is no news.
                let sound = size.filter(|s| *s < self.trying && *s >= 68);
                if sound.is_some() {
                    self.told = sound;
                }
                if let Some(size) = sound.filter(|s| *s > self.passed) {
                    return self.send(size);
                }
            }
            Came::OwnLink(size) if size < self.trying && size > self.small => self.top = size,
            Came::OwnLink(_) => return Step::Report((Outcome::Timeout, Detail::None)),
        }
        let next = match self.lost {
            None => self.top,
            Some(lost) => self.passed + (lost - self.passed) / 2,
        };
        let finished = self.passed >= next;
        if finished && self.lost.is_some() {
            // What was lost counts only if the way still stands.
            self.checking = true;
            return self.send(self.small);
        }
        if finished { self.done() } else { self.send(next) }
    }

    fn done(&self) -> Step {
        if self.lost.is_some() && self.told.is_none() && self.missed >= LOSSY {
            return Step::Report((Outcome::Timeout, Detail::None));
        }
        let detail = Detail::PathMtu { passed: self.passed, lost: self.lost, told: self.told };
        Step::Report((Outcome::Answered, detail))
    }

    fn send(&mut self, size: u16) -> Step {
        self.trying = size;
        self.silences = 0;
        self.again()
    }

    fn again(&mut self) -> Step {
        self.spent += 1;
        if self.spent > MOST_ECHOES {
            return self.done();
        }
        Step::Ask(self.trying)
    }
}

/// Measures towards each named reference point each `between.path_mtu` until the agent is gone.
pub async fn run(ctx: Context) {
    let plan = ctx.plan.clone();
    let named: Vec<Reference> = plan.references.iter().filter(|r| !r.builtin).cloned().collect();
    let (every, way) = (plan.between.path_mtu, Arc::new(ctx.way()));
    let mut each = JoinSet::new();
    for (i, reference) in named.iter().enumerate() {
        let first = turns::spread(
            ctx.clock.now() + Micros(FIRST.0.min(every.0)),
            Micros::from_secs(60).min(every),
            i,
            named.len(),
        );
        let (given, reference, way) = (ctx.clone(), reference.clone(), way.clone());
        each.spawn(turns::each(ctx.clone(), Turns::new(every, every, first), 1, move |_| {
            let (ctx, reference, way) = (given.clone(), reference.clone(), way.clone());
            async move {
                let asked = ctx.clock.now();
                let (outcome, detail) = measure(&ctx, reference.address.ip(), &way).await;
                let (known, target) = (ctx.clock.now(), reference.name.clone());
                ctx.report(Observation {
                    asked,
                    known,
                    question: Question::PathMtu,
                    target,
                    outcome,
                    rtt: None,
                    detail,
                })
                .await;
            }
        }));
    }
    each.join_all().await;
}

async fn measure(ctx: &Context, target: IpAddr, way: &Way) -> (Outcome, Detail) {
    let opened = EchoSocket::open(target, way.name().as_deref(), rand::random()).and_then(|s| s.whole().map(|()| s));
    let socket = match opened {
        Ok(s) => s,
        Err(e) => return errno::while_asking(&e),
    };
    let family = Family::of(target);
    let token = rand::random();
    let mut machine = Machine::new(family);
    let mut step = machine.begin();
    let mut seq = 0_u16;
    loop {
        let size = match step {
            Step::Report(done) => return done,
            Step::Ask(size) => size,
        };
        seq = seq.wrapping_add(1);
        let message = icmp::request_of(family, socket.id(), seq, token, size);
        let came = match socket.send(&message).await {
            Ok(()) => {
                let until = ctx.clock.now() + ctx.plan.patience;
                match listen(ctx, &socket, family, seq, token, until).await {
                    Ok(came) => came,
                    Err(stopped) => return stopped,
                }
            }
            Err(e) if e.raw_os_error() == Some(nix::libc::EMSGSIZE) => own_link(&socket, size).await,
            Err(e) => return errno::while_asking(&e),
        };
        step = machine.came(came);
        tokio::time::sleep(PAUSE).await;
    }
}

/// What came of one echo; an error where the network said that the target can't be reached at all.
async fn listen(
    ctx: &Context,
    socket: &EchoSocket,
    family: Family,
    seq: u16,
    token: u64,
    until: Moment,
) -> Result<Came, (Outcome, Detail)> {
    let until = ctx.clock.instant(until);
    while let Ok(heard) = timeout_at(until, socket.hear()).await {
        for h in heard.map_err(|e| errno::from_network(&e))? {
            match h {
                Heard::Packet(m) => {
                    let message =
                        if socket.with_ip_header() { icmp::inside_ipv4(&m.bytes) } else { Some(&m.bytes[..]) };
                    let reply = message.and_then(|b| icmp::reply(family, b));
                    if reply.is_some_and(|e| e.id == socket.id() && e.seq == seq && e.token == Some(token)) {
                        return Ok(Came::Answer);
                    }
                }
                Heard::Queue(m) => {
                    let Some(r) = m.raised.filter(|r| r.origin != Origin::Timestamping) else { continue };
                    let ours = icmp::own_request(family, &m.bytes).is_some_and(|e| e.id == socket.id() && e.seq == seq);
                    if !ours {
                        continue;
                    }
                    // RFC 792: type 3 code 4. RFC 4443 section 3.2: type 2.
                    let too_big = matches!((r.origin, r.kind, r.code), (Origin::Icmp, 3, 4) | (Origin::Icmp6, 2, _));
                    if too_big {
                        return Ok(Came::TooBig(u16::try_from(r.info).ok().filter(|s| *s > 0)));
                    }
                    return Err(errno::raised(family, &r));
                }
            }
        }
    }
    Ok(Came::Nothing)
}

/// The kernel refused to send: what the interface takes is on the error queue (`ip_local_error`).
async fn own_link(socket: &EchoSocket, size: u16) -> Came {
    let heard = tokio::time::timeout(PAUSE, socket.hear()).await;
    let all = heard.ok().and_then(Result::ok).unwrap_or_default();
    let named = all.iter().find_map(|h| match h {
        Heard::Queue(m) => m.raised.filter(|r| r.origin == Origin::Local).and_then(|r| u16::try_from(r.info).ok()),
        Heard::Packet(_) => None,
    });
    Came::OwnLink(named.filter(|s| *s < size).unwrap_or(size.saturating_sub(4)))
}

#[cfg(test)]
#[path = "path_mtu_tests.rs"]
mod tests;
