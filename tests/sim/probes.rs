//! From a site's world to the entries its probes would have written: times of asking and knowing, patience, loss, gaps,
//! restarts, duplicates, clock steps.

use crate::draw::Draw;
use pathproof::judge::*;
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::sync::Arc;

const SECOND: i64 = 1_000_000;
pub(crate) const PATIENCE: Micros = Micros::from_secs(2);

/// What goes wrong between two moments (microseconds).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// The access line: nothing outside answers.
    Line,
    /// The lead: no carrier, and nothing answers.
    Lead,
    /// The resolver is silent.
    Names,
    /// The router and all beyond it are silent.
    Router,
    /// Half of what is asked outside is lost.
    Lossy,
    /// The agent is off.
    Off,
}

/// A site's network for a while.
#[derive(Clone, Debug)]
pub(crate) struct Network {
    pub(crate) seconds: i64,
    pub(crate) faults: Vec<(Fault, i64, i64)>,
    /// Chance that any one question is lost.
    pub(crate) loss: f64,
    /// Median and sigma of round trips, milliseconds.
    pub(crate) latency: (f64, f64),
    /// Chance that the resolver takes over a second.
    pub(crate) slow_names: f64,
    /// Chance that an entry is written twice.
    pub(crate) twice: f64,
    /// Lease time, seconds: the valid lifetime counts down and is renewed at half of it.
    pub(crate) lease: i64,
    /// Whether what stands beside the lanes is asked too: neighbours that come and go, the router's count, mains, offers,
    /// radio, a page, the clock, the communicator.
    pub(crate) beside: bool,
    /// Clock steps: when, and by how much.
    pub(crate) steps: Vec<(i64, i64)>,
}

const ASKS: [(Question, &str, i64); 7] = [
    (Question::GatewayArp, "gw", 0),
    (Question::GatewayEcho, "gw", 400_000),
    (Question::Name, "resolver", 200_000),
    (Question::Reference, "ref-a", 100_000),
    (Question::Reference, "ref-b", 433_000),
    (Question::Reference, "ref-c", 766_000),
    (Question::Connect, "receiver", 600_000),
];

pub(crate) fn settings(requirements: requirement::RequirementSet) -> Settings {
    Settings {
        receivers: BTreeSet::from(["receiver".into()]),
        tls_receivers: BTreeSet::new(),
        patience: PATIENCE,
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements,
        out_of_scope: vec![],
        known: settings::Known::default(),
    }
}

impl Network {
    /// Ordinary noise and no fault: jitter, loss, a resolver that is slow at times, lease renewals.
    pub(crate) fn clean(seconds: i64) -> Self {
        Self {
            seconds,
            faults: Vec::new(),
            loss: 0.01,
            latency: (15.0, 0.6),
            slow_names: 0.02,
            twice: 0.0,
            lease: 3_600,
            beside: true,
            steps: Vec::new(),
        }
    }

    /// A short history with a bit of everything.
    pub(crate) fn random(seconds: i64, draw: &mut Draw) -> Self {
        const KINDS: [Fault; 6] = [Fault::Line, Fault::Lead, Fault::Names, Fault::Router, Fault::Lossy, Fault::Off];
        let span = |draw: &mut Draw| {
            let from = draw.below(seconds as u64 * 1_000_000) as i64;
            (from, from + (draw.exponential(12.0) * 1e6) as i64)
        };
        let faults = (0..draw.below(6))
            .map(|_| {
                let kind = KINDS[draw.below(6) as usize];
                let (from, to) = span(draw);
                (kind, from, to)
            })
            .collect();
        let steps = (0..draw.below(3))
            .map(|_| (draw.below(seconds as u64 * 1_000_000) as i64, (draw.normal() * 3_600e6) as i64))
            .collect();
        Self {
            faults,
            steps,
            loss: 0.05 * draw.uniform(),
            // Up to nearly the patience, so that answers overtake one another.
            latency: (20.0 + 300.0 * draw.uniform(), 1.0),
            slow_names: 0.1 * draw.uniform(),
            twice: 0.03,
            lease: 60,
            beside: false,
            seconds,
        }
    }

    fn under(&self, fault: Fault, at: i64) -> bool {
        self.faults.iter().any(|(f, from, to)| *f == fault && (*from..*to).contains(&at))
    }

    fn lost(&self, question: Question, at: i64, draw: &mut Draw) -> bool {
        let beyond = matches!(question.lane(), Lane::Outside | Lane::Receiver);
        let silent = self.under(Fault::Lead, at)
            || self.under(Fault::Router, at)
            || (beyond && self.under(Fault::Line, at))
            || (question.lane() == Lane::Names && (self.under(Fault::Names, at) || self.under(Fault::Line, at)));
        silent || (beyond && self.under(Fault::Lossy, at) && draw.chance(0.5)) || draw.chance(self.loss)
    }

    fn ask(&self, question: Question, target: &Arc<str>, asked: i64, draw: &mut Draw) -> Observation {
        let lost = self.lost(question, asked, draw);
        let slow = if question.lane() == Lane::Names && draw.chance(self.slow_names) { 1_200.0 } else { 0.0 };
        let took = ((draw.lognormal(self.latency.0, self.latency.1) + slow) * 1e3) as i64;
        // A lead pulled or an answer later than the patience are both "no answer" to the probe.
        let (outcome, took) =
            if lost || took >= PATIENCE.0 { (Outcome::Timeout, PATIENCE.0) } else { (Outcome::Answered, took) };
        let answered = outcome == Outcome::Answered;
        let detail = match question {
            _ if !answered => Detail::None,
            Question::Name | Question::Reference => {
                Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() })
            }
            Question::GatewayArp => Detail::Claimants(vec![Mac([2, 0, 0, 0, 0, 1])]),
            _ => Detail::None,
        };
        Observation {
            asked: Moment(asked),
            known: Moment(asked + took),
            question,
            target: Arc::clone(target),
            outcome,
            rtt: answered.then_some(Rtt { took: Micros(took), kernel: true }),
            detail,
        }
    }

    /// The entries in the order they became known, handed over one by one; memory stays small however long it is.
    pub(crate) fn play(&self, draw: &mut Draw, mut give: impl FnMut(Entry)) {
        let targets: Vec<Arc<str>> = ASKS.iter().map(|(_, t, _)| (*t).into()).collect();
        let host: Arc<str> = "eth0".into();
        let mut pending: Vec<Entry> = Vec::new();
        let mut off = true;
        let mut steps = self.steps.clone();
        steps.sort_unstable();
        steps.reverse();
        let mut wall = 1_700_000_000 * SECOND;
        for second in 0..self.seconds {
            let now = second * SECOND;
            let was_off = std::mem::replace(&mut off, self.under(Fault::Off, now));
            while let Some((at, by)) = steps.pop_if(|(at, _)| *at <= now) {
                wall += by;
                pending.push(Entry::Stepped { at: Moment(at), wall: WallTime(wall + at) });
            }
            if was_off && !off {
                pending.push(Entry::Began(Session {
                    at: Moment(now),
                    boot_id: "b".into(),
                    boot: Micros(now),
                    wall: WallTime(wall + now),
                    synced: Some(true),
                }));
            }
            if !off {
                self.second(now, &targets, &host, draw, &mut pending);
            }
            // What is known by now; stable, so entries of one moment keep the order they were made in.
            pending.sort_by_key(Entry::known);
            let ready = pending.partition_point(|e| e.known().0 < now + SECOND);
            for e in pending.drain(..ready) {
                let again = draw.chance(self.twice).then(|| e.clone());
                give(e);
                if let (Some(e @ Entry::Seen(_)), true) = (again, self.twice > 0.0) {
                    give(e);
                }
            }
        }
        let end = Moment(self.seconds * SECOND);
        for e in pending.drain(..).filter(|e| e.known() <= end) {
            give(e);
        }
        give(Entry::Ended { at: end, how: Ending::Complete });
    }

    fn second(&self, now: i64, targets: &[Arc<str>], host: &Arc<str>, draw: &mut Draw, out: &mut Vec<Entry>) {
        for ((question, _, offset), target) in ASKS.iter().zip(targets) {
            let asked = now + offset + (draw.uniform() * 2e4) as i64;
            out.push(Entry::Seen(self.ask(*question, target, asked, draw)));
        }
        for half in [0, SECOND / 2] {
            let up = !self.under(Fault::Lead, now + half);
            let carrier = Carrier { index: 2, name: "eth0".into(), up, ..Carrier::default() };
            out.push(Entry::Seen(plain(now + half, Question::Carrier, host, Detail::Carrier(carrier))));
        }
        // Renewed at half the lease (RFC 2131 section 4.4.5): the lifetime jumps back up.
        let left = self.lease - (now / SECOND) % (self.lease / 2);
        let held = HeldAddress {
            address: IpAddr::from([192, 0, 2, 7]),
            prefix: 24,
            valid_s: u32::try_from(left).ok(),
            preferred_s: u32::try_from(left).ok(),
            permanent: false,
        };
        let own = Detail::OwnAddress { held: vec![held], gateway: Some(IpAddr::from([192, 0, 2, 1])) };
        out.push(Entry::Seen(plain(now, Question::OwnAddress, host, own)));
        if self.beside {
            noise_beside(now, host, draw, out);
        }
    }
}

/// Ordinary life beside the lanes, nothing of it a fault.
fn noise_beside(now: i64, host: &Arc<str>, draw: &mut Draw, out: &mut Vec<Entry>) {
    let second = now / SECOND;
    let mut say = |question, detail| out.push(Entry::Seen(plain(now, question, host, detail)));
    if second % 5 == 0 {
        // Twelve boxes of which each is away now and then, for minutes.
        let there = |n: i64| (second / (200 + 37 * n) + n) % 5 != 0;
        let macs = (0..12i64).filter(|n| there(*n)).map(|n| Mac([2, 0, 0, 0, 1, n as u8])).collect();
        say(Question::Neighbours, Detail::Neighbours(macs));
    }
    if second % 30 == 7 {
        let mains = Mains { present: Some(true), charge_percent: Some(100), ..Mains::default() };
        say(Question::Mains, Detail::Mains(mains));
        // A count by a crystal that runs off by 100 parts in a million, in whole seconds.
        let up_s = Some(90_000 + (second as f64 * 1.000_1) as u64);
        let life = RouterLife { up_s, connected: Some(true), ..RouterLife::default() };
        say(Question::RouterLife, Detail::RouterLife(life));
        let dbm = (-62.0 + 4.0 * draw.normal()) as i16;
        say(Question::Radio, Detail::Radio(Radio { signal_dbm: Some(dbm), ..Radio::default() }));
    }
    if second % 60 == 11 {
        let lost = draw.chance(0.02);
        let offer = Lease { server: Some(IpAddr::from([192, 0, 2, 1])), ..Lease::default() };
        let offers = if lost { vec![] } else { vec![offer] };
        say(Question::Offers, Detail::Offers { offers, discarded: 0 });
        let web = Web { status: if lost { 503 } else { 204 }, redirected_to: None, as_expected: Some(!lost) };
        say(Question::Portal, Detail::Web(web));
        let offset = Micros((20_000.0 * draw.normal()) as i64);
        say(Question::ClockOffset, Detail::ClockOffset { offset, error: Micros(10_000) });
        let panel = if draw.chance(0.02) { vec![] } else { vec![Mac([2, 0, 0, 0, 2, 1])] };
        say(Question::Communicator, Detail::Claimants(panel));
    }
}

fn plain(at: i64, question: Question, target: &Arc<str>, detail: Detail) -> Observation {
    let at = Moment(at);
    Observation {
        asked: at,
        known: at,
        question,
        target: Arc::clone(target),
        outcome: Outcome::Answered,
        rtt: None,
        detail,
    }
}
