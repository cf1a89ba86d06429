//! Does the gateway answer an ICMP echo?
//!
//! [`Machine`] matches replies, send stamps and errors to the echoes under way and gives each one deadline. [`run`]
//! owns the socket. Which gateway it is, the kernel says (`watch` channel); a new one starts a new machine, and what
//! was under way to the old one is dropped: its answer can't be heard any more, so it is neither good nor bad.

use super::turns::{self, Timer, Turns};
use super::{Context, errno};
use crate::judge::{Detail, Micros, Moment, NotAsked, Observation, Outcome, Question, Rtt};
use crate::site::cadence;
use crate::sys::clock::{boot_time, wall_time};
use crate::sys::errqueue::{Origin, Stamp};
use crate::sys::icmp::{EchoSocket, Heard};
use crate::sys::way::Way;
use crate::wire::icmp::{self, Family};
use std::collections::VecDeque;
use std::net::IpAddr;
use std::sync::Arc;
use tokio::sync::watch;

/// "Not permitted" is said at most this often.
const NOT_PERMITTED_AGAIN: Micros = Micros::from_secs(60);
/// Observations held while the agent is busy; beyond it no further echo is sent.
const HELD: usize = 64;

/// An instant as the machine wants it: the moment, and how far wall time is from boot time, which moves when the wall
/// clock is stepped.
#[derive(Clone, Copy, Debug)]
pub struct Instant {
    /// On the record's axis.
    pub at: Moment,
    /// Wall clock minus boot clock.
    pub skew: Micros,
}

struct Flight {
    seq: u16,
    asked: Instant,
    left: Option<Stamp>,
}

/// Echoes under way to one target.
pub struct Machine {
    target: Arc<str>,
    patience: Micros,
    flights: VecDeque<Flight>,
    next: u16,
    most: usize,
}

impl Machine {
    /// A machine with nothing under way; at most `most` echoes will be.
    pub fn new(target: Arc<str>, patience: Micros, most: usize) -> Self {
        Self { target, patience, flights: VecDeque::new(), next: 0, most }
    }

    /// The sequence number to send now; `None` while too many are under way.
    pub fn ask(&mut self, now: Instant) -> Option<u16> {
        if self.flights.len() >= self.most {
            return None;
        }
        let seq = self.next;
        self.next = self.next.wrapping_add(1);
        self.flights.push_back(Flight { seq, asked: now, left: None });
        Some(seq)
    }

    /// The kernel says when an echo left.
    pub fn left(&mut self, seq: u16, stamp: Stamp) {
        if let Some(f) = self.flights.iter_mut().find(|f| f.seq == seq) {
            f.left = Some(stamp);
        }
    }

    /// A reply came. `None` if nothing under way belongs to it (late, repeated or forged).
    pub fn answered(&mut self, seq: u16, now: Instant, stamp: Option<Stamp>) -> Option<Observation> {
        let f = self.take(seq)?;
        let around = now.at - f.asked.at;
        let kernel = f.left.zip(stamp).map(|(left, came)| Micros((came.0 - left.0 + 500) / 1_000)).filter(|took| {
            // Kernel stamps are wall time: a clock stepped in between makes them worthless. Slewing (at most 500 ppm,
            // adjtimex(2)) and two clocks read one after the other are no step.
            let moved = (now.skew - f.asked.skew).0.abs();
            moved <= 250 + around.0 / 2_000 && *took >= Micros::ZERO && *took <= around + Micros(250)
        });
        let rtt = kernel.map_or(Rtt { took: around, kernel: false }, |took| Rtt { took, kernel: true });
        // Read late is not answered late, as long as the kernel saw it in time.
        if rtt.took > self.patience {
            return Some(self.observation(&f, f.asked.at + self.patience, Outcome::Timeout, Detail::None, None));
        }
        Some(self.observation(&f, now.at, Outcome::Answered, Detail::None, Some(rtt)))
    }

    /// An echo could not be sent, or an error about it came back.
    pub fn failed(&mut self, seq: u16, now: Instant, outcome: Outcome, detail: Detail) -> Option<Observation> {
        let f = self.take(seq)?;
        Some(self.observation(&f, now.at, outcome, detail, None))
    }

    /// The next echo whose time is over.
    pub fn expired(&mut self, now: Instant) -> Option<Observation> {
        let due = self.deadline()?;
        if now.at < due {
            return None;
        }
        let f = self.flights.pop_front()?;
        Some(self.observation(&f, now.at, Outcome::Timeout, Detail::None, None))
    }

    /// When the oldest echo under way is over.
    pub fn deadline(&self) -> Option<Moment> {
        self.flights.front().map(|f| f.asked.at + self.patience)
    }

    fn take(&mut self, seq: u16) -> Option<Flight> {
        let i = self.flights.iter().position(|f| f.seq == seq)?;
        self.flights.remove(i)
    }

    fn observation(
        &self,
        f: &Flight,
        known: Moment,
        outcome: Outcome,
        detail: Detail,
        rtt: Option<Rtt>,
    ) -> Observation {
        Observation {
            asked: f.asked.at,
            known,
            question: Question::GatewayEcho,
            target: self.target.clone(),
            outcome,
            rtt,
            detail,
        }
    }
}

/// A machine with its socket.
struct Line {
    address: IpAddr,
    machine: Machine,
    socket: Option<EchoSocket>,
    token: u64,
}

impl Line {
    /// Reads what the socket heard into observations.
    fn read(&mut self, heard: Heard, now: Instant, out: &mut VecDeque<Observation>) {
        let family = Family::of(self.address);
        let Some(socket) = &self.socket else { return };
        match heard {
            Heard::Packet(m) => {
                let message = if socket.with_ip_header() { icmp::inside_ipv4(&m.bytes) } else { Some(&m.bytes[..]) };
                let ours = message
                    .and_then(|b| icmp::reply(family, b))
                    .filter(|e| e.id == socket.id() && e.token == Some(self.token));
                out.extend(ours.and_then(|e| self.machine.answered(e.seq, now, m.stamp)));
            }
            Heard::Queue(m) => match m.raised.map(|r| (r, r.origin)) {
                Some((_, Origin::Timestamping)) => {
                    let ours = icmp::own_request_at_end(family, &m.bytes).filter(|e| e.token == Some(self.token));
                    if let Some((e, stamp)) = ours.zip(m.stamp) {
                        self.machine.left(e.seq, stamp);
                    }
                }
                Some((r, _)) => {
                    let ours = icmp::own_request(family, &m.bytes).filter(|e| e.id == socket.id());
                    let (outcome, detail) = errno::raised(family, &r);
                    out.extend(ours.and_then(|e| self.machine.failed(e.seq, now, outcome, detail)));
                }
                None => {}
            },
        }
    }

    /// Sends one echo, opening the socket if need be.
    async fn ask(&mut self, now: Instant, way: &Way) -> Option<Observation> {
        let seq = self.machine.ask(now)?;
        let socket = match self.socket.take() {
            Some(s) => s,
            None => match EchoSocket::open(self.address, way.name().as_deref(), rand::random()) {
                Ok(s) => s,
                Err(e) => {
                    let (outcome, detail) = errno::while_asking(&e);
                    return self.machine.failed(seq, now, outcome, detail);
                }
            },
        };
        let message = icmp::request(Family::of(self.address), socket.id(), seq, self.token);
        let sent = socket.send(&message).await;
        let Err(e) = sent else {
            self.socket = Some(socket);
            return None;
        };
        let (outcome, detail) = errno::while_asking(&e);
        // A missing route comes back to the same socket; a missing interface needs a new one, and over IPv6 the kernel
        // calls that a missing route too.
        if outcome == Outcome::NotAsked(NotAsked::NoRoute) && self.address.is_ipv4() {
            self.socket = Some(socket);
        }
        self.machine.failed(seq, now, outcome, detail)
    }
}

/// Asks the gateway each `cadence.router` until the agent is gone. `gateway` is the default gateway of the plan's
/// interface as the kernel has it now.
pub async fn run(ctx: Context, mut gateway: watch::Receiver<Option<IpAddr>>) {
    let plan = ctx.plan.clone();
    let (base, floor) = (plan.cadence.router, cadence::FLOOR_ROUTER);
    let way = ctx.way();
    let mut timer = Timer::new(&ctx, Turns::new(base, floor, ctx.clock.now()));
    let mut line: Option<Line> = None;
    let mut target: Arc<str> = "gateway".into();
    let mut out: VecDeque<Observation> = VecDeque::new();
    let mut refused_at: Option<Moment> = None;
    let mut gateway_known = true;
    loop {
        let now_is = *gateway.borrow_and_update();
        if line.as_ref().map(|l| l.address) != now_is {
            line = now_is.map(|address| {
                target = address.to_string().into();
                let machine = Machine::new(target.clone(), plan.patience, turns::overlap(plan.patience, base, floor));
                Line { address, machine, socket: None, token: rand::random() }
            });
        }
        let deadline = line.as_ref().and_then(|l| l.machine.deadline()).map(|at| ctx.clock.instant(at));
        let socket = line.as_ref().and_then(|l| l.socket.as_ref());
        let mut turn = false;
        // In this order: a flood of answers can't keep turns away, and what has come is read before anything is called late.
        let heard = tokio::select! {
            biased;
            () = ctx.seen.closed() => return,
            permit = ctx.seen.reserve(), if !out.is_empty() => {
                let Ok(permit) = permit else { return };
                permit.send(out.pop_front().unwrap_or_else(|| unreachable!("guarded by the branch condition")));
                continue;
            }
            () = timer.next() => {
                turn = true;
                None
            }
            heard = hear(socket) => Some(heard),
            () = wait(deadline) => None,
            changed = gateway.changed(), if gateway_known => {
                gateway_known = changed.is_ok();
                continue;
            }
        };
        let now = instant(&ctx);
        match (heard, &mut line) {
            (Some(Ok(all)), Some(line)) => all.into_iter().for_each(|h| line.read(h, now, &mut out)),
            (Some(Err(_)), Some(line)) => line.socket = None,
            _ => {}
        }
        if let Some(line) = line.as_mut().filter(|_| !turn) {
            while let Some(o) = line.machine.expired(now) {
                out.push_back(o);
            }
        }
        if !turn || out.len() >= HELD {
            continue;
        }
        let said = match &mut line {
            Some(line) => line.ask(now, &way).await,
            None => Some(no_gateway(&target, now.at)),
        };
        if let Some(o) = said {
            let again = refused_at.is_none_or(|at| now.at - at >= NOT_PERMITTED_AGAIN);
            if o.outcome != Outcome::NotPermitted {
                out.push_back(o);
            } else if again {
                refused_at = Some(now.at);
                out.push_back(o);
            }
        }
    }
}

fn instant(ctx: &Context) -> Instant {
    Instant { skew: Micros(wall_time().0) - boot_time(), at: ctx.clock.now() }
}

fn no_gateway(target: &Arc<str>, now: Moment) -> Observation {
    Observation {
        asked: now,
        known: now,
        question: Question::GatewayEcho,
        target: target.clone(),
        outcome: Outcome::NotAsked(NotAsked::NoRoute),
        rtt: None,
        detail: Detail::None,
    }
}

async fn hear(socket: Option<&EchoSocket>) -> std::io::Result<Vec<Heard>> {
    match socket {
        Some(s) => s.hear().await,
        None => std::future::pending().await,
    }
}

async fn wait(until: Option<tokio::time::Instant>) {
    match until {
        Some(at) => tokio::time::sleep_until(at).await,
        None => std::future::pending().await,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Unreachable;

    fn at(us: i64) -> Instant {
        Instant { at: Moment(us), skew: Micros(77) }
    }

    fn machine() -> Machine {
        Machine::new("192.0.2.1".into(), Micros::from_secs(2), 3)
    }

    #[test]
    fn each_echo_has_its_own_answer_and_deadline() {
        let mut m = machine();
        assert_eq!(m.deadline(), None);
        let (a, b) = (m.ask(at(0)).expect("room"), m.ask(at(1_000_000)).expect("room"));
        assert_eq!(m.deadline(), Some(Moment(2_000_000)));
        let o = m.answered(b, at(1_000_900), None).expect("under way");
        assert_eq!((o.outcome, o.rtt), (Outcome::Answered, Some(Rtt { took: Micros(900), kernel: false })));
        assert_eq!(m.expired(at(1_999_999)), None);
        let o = m.expired(at(2_000_000)).expect("over");
        assert_eq!((o.outcome, o.asked, o.known), (Outcome::Timeout, Moment(0), Moment(2_000_000)));
        assert_eq!(m.answered(a, at(2_000_001), None), None, "too late");
        assert_eq!(m.answered(b, at(2_000_001), None), None, "twice");
    }

    #[test]
    fn kernel_stamps_count_unless_the_clock_was_stepped() {
        let mut m = machine();
        let seq = m.ask(at(0)).expect("room");
        m.left(seq, Stamp(5_000_000_000));
        let o = m.answered(seq, at(900), Some(Stamp(5_000_021_400))).expect("under way");
        assert_eq!(o.rtt, Some(Rtt { took: Micros(21), kernel: true }));

        for (came, skew) in
            [(4_999_000_000, 77), (5_001_000_000, 77), (5_000_021_400, 1_000_077), (5_000_021_400, -900)]
        {
            let seq = m.ask(at(0)).expect("room");
            m.left(seq, Stamp(5_000_000_000));
            let now = Instant { at: Moment(700), skew: Micros(skew) };
            let o = m.answered(seq, now, Some(Stamp(came))).expect("under way");
            assert_eq!(o.rtt, Some(Rtt { took: Micros(700), kernel: false }), "{came} {skew}");
        }
    }

    #[test]
    fn an_answer_read_late_but_stamped_in_time_counts() {
        let mut m = machine();
        let seq = m.ask(at(0)).expect("room");
        m.left(seq, Stamp(1_000_000_000));
        let o = m.answered(seq, at(9_000_000), Some(Stamp(1_001_000_000))).expect("under way");
        assert_eq!((o.outcome, o.rtt.map(|r| r.took)), (Outcome::Answered, Some(Micros(1_000))));
        let seq = m.ask(at(0)).expect("room");
        assert_eq!(m.answered(seq, at(9_000_000), None).map(|o| o.outcome), Some(Outcome::Timeout));
    }

    #[test]
    fn errors_end_only_their_own_echo_and_too_many_are_not_sent() {
        let mut m = machine();
        let first = m.ask(at(0)).expect("room");
        m.ask(at(1)).expect("room");
        m.ask(at(2)).expect("room");
        assert_eq!(m.ask(at(3)), None);
        let host = Outcome::Unreachable(Unreachable::Host);
        assert_eq!(m.failed(first, at(50), host, Detail::None).map(|o| o.outcome), Some(host));
        assert_eq!(m.failed(first, at(51), host, Detail::None), None);
        assert_eq!(m.deadline(), Some(Moment(2_000_001)));
        assert!(m.ask(at(60)).is_some());
    }
}
