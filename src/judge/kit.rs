//! For tests: a site as a script of times, and the entries its probes would have written. Decides nothing.

use super::*;
use crate::judge::decide::ask::RequirementSet;
use crate::judge::facts::{RouterLife, Web};
use std::collections::BTreeSet;
use std::net::IpAddr;

pub(crate) const MS: i64 = 1_000;
/// Wall time of the axis's zero: 14 November 2023, 22:13:20 UTC.
pub(crate) const WALL: i64 = 1_700_000_000_000_000;

/// What fails at a moment (ms): `None` where the named thing answers.
type Fails = Box<dyn Fn(&str, i64) -> Option<Outcome>>;

/// Milliseconds an answer of a target takes, by when it was asked.
pub(crate) type Takes = Box<dyn Fn(&str, i64) -> i64>;

/// A site with one receiver, three reference points and one resolver.
pub(crate) struct Site {
    pub(crate) seconds: i64,
    /// Everything is asked this often, seconds.
    pub(crate) every: i64,
    pub(crate) fails: Fails,
    /// Milliseconds an answer takes.
    pub(crate) took: Takes,
    /// The gateway's hardware address, the last octet.
    pub(crate) gateway: Box<dyn Fn(i64) -> u8>,
    /// The host's address.
    pub(crate) held: Box<dyn Fn(i64) -> Vec<HeldAddress>>,
    /// Entries besides.
    pub(crate) more: Vec<Entry>,
    pub(crate) boot_id: &'static str,
    pub(crate) from: i64,
    pub(crate) ends: bool,
}

pub(crate) fn settings(every: i64) -> Settings {
    Settings {
        receivers: BTreeSet::from(["receiver".into()]),
        tls_receivers: BTreeSet::new(),
        patience: Micros::from_secs(2),
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(every))),
        supervision: None,
        requirements: toml::from_str::<RequirementSet>(include_str!("../../config/requirements/household.toml"))
            .expect("the shipped set parses"),
        out_of_scope: vec![],
        known: Known::default(),
    }
}

pub(crate) fn ip(n: u8) -> IpAddr {
    IpAddr::from([192, 0, 2, n])
}

pub(crate) fn address(n: u8, valid_s: Option<u32>) -> HeldAddress {
    HeldAddress { address: ip(n), prefix: 24, valid_s, preferred_s: valid_s, permanent: valid_s.is_none() }
}

pub(crate) fn outside(target: &str) -> bool {
    target.starts_with("ref") || target == "receiver"
}

/// Three of four lost, out of step with who is asked when.
pub(crate) fn lossy(at: i64) -> bool {
    (at / 333) % 4 != 1
}

/// Everything that is asked over the lead.
pub(crate) fn beyond_lead(target: &str) -> bool {
    target != "carrier"
}

pub(crate) fn timeout(yes: bool) -> Option<Outcome> {
    yes.then_some(Outcome::Timeout)
}

const ASKS: [(Question, &str, i64); 7] = [
    (Question::GatewayArp, "gw", 0),
    (Question::GatewayEcho, "gw", 400),
    (Question::Name, "resolver", 200),
    (Question::Reference, "ref-a", 100),
    (Question::Reference, "ref-b", 433),
    (Question::Reference, "ref-c", 766),
    (Question::Connect, "receiver", 600),
];

impl Site {
    pub(crate) fn new(seconds: i64, fails: impl Fn(&str, i64) -> Option<Outcome> + 'static) -> Self {
        Self {
            seconds,
            every: 1,
            fails: Box::new(fails),
            took: Box::new(|_, _| 12),
            gateway: Box::new(|_| 1),
            held: Box::new(|_| vec![address(7, None)]),
            more: Vec::new(),
            boot_id: "b",
            from: 0,
            ends: true,
        }
    }

    pub(crate) fn and(mut self, more: impl IntoIterator<Item = Entry>) -> Self {
        self.more.extend(more);
        self
    }

    /// The entries, in the order they became known.
    pub(crate) fn entries(&self) -> Vec<Entry> {
        let end = Moment((self.from + self.seconds) * 1_000 * MS);
        let mut out = Vec::new();
        for second in (self.from..self.from + self.seconds).step_by(self.every as usize) {
            for (question, target, at) in ASKS {
                out.push(self.ask(question, target, second * 1_000 + at));
            }
            for half in [0, 500] {
                let at = second * 1_000 + half;
                let up = (self.fails)("carrier", at).is_none();
                out.push(said(
                    at,
                    Question::Carrier,
                    "eth0",
                    Detail::Carrier(Carrier { index: 2, up, ..Carrier::default() }),
                ));
            }
            let held = (self.held)(second);
            let gateway = if held.is_empty() { None } else { Some(ip(1)) };
            out.push(said(second * 1_000, Question::OwnAddress, "eth0", Detail::OwnAddress { held, gateway }));
        }
        out.extend(self.more.iter().cloned());
        out.retain(|e| e.known() <= end);
        out.sort_by_key(Entry::known);
        let began = Entry::Began(Session {
            at: Moment(self.from * 1_000 * MS),
            boot_id: self.boot_id.into(),
            boot: Micros::from_secs(20),
            wall: WallTime(WALL + self.from * 1_000 * MS),
            synced: Some(true),
        });
        out.insert(0, began);
        if self.ends {
            out.push(Entry::Ended { at: end, how: Ending::Complete });
        }
        out
    }

    fn ask(&self, question: Question, target: &str, at: i64) -> Entry {
        let outcome = (self.fails)(target, at).unwrap_or(Outcome::Answered);
        let wait = match outcome {
            Outcome::Answered => (self.took)(target, at),
            Outcome::Refused | Outcome::Reset | Outcome::NotAsked(_) | Outcome::Unreachable(_) => 12,
            _ => 2_000,
        };
        let detail = match (question, outcome) {
            (Question::Name | Question::Reference, Outcome::Answered) => {
                Detail::Name(NameAnswer { answers: 1, ..NameAnswer::default() })
            }
            (Question::GatewayArp, Outcome::Answered) => Detail::Claimants(vec![mac((self.gateway)(at / 1_000))]),
            _ => Detail::None,
        };
        Entry::Seen(Observation {
            asked: Moment(at * MS),
            known: Moment((at + wait) * MS),
            question,
            target: target.into(),
            outcome,
            rtt: Some(Rtt { took: Micros(wait * MS), kernel: false }),
            detail,
        })
    }

    /// The judge of the play. It was written down somewhere on the way and read again, and ends as one that never was.
    pub(crate) fn judged(&self) -> Judge {
        let mut judge = Judge::new(settings(self.every));
        let entries = self.entries();
        // Anywhere, and the same place each time.
        let (before, after) = entries.split_at(entries.len() * (1 + entries.len() % 7) / 8);
        for e in before {
            judge.take(e);
        }
        let mut resumed = read_again(&judge);
        for e in after {
            judge.take(e);
            resumed.take(e);
        }
        assert!(written(&judge) == written(&resumed), "written down after {} of {}", before.len(), entries.len());
        resumed
    }

    pub(crate) fn look(&self) -> Look {
        self.judged().look()
    }
}

/// All that a judge keeps, as bytes (CBOR).
pub(crate) fn written(judge: &Judge) -> Vec<u8> {
    let mut bytes = Vec::new();
    ciborium::into_writer(judge.folded(), &mut bytes).expect("is written");
    bytes
}

/// A judge written down and read again.
pub(crate) fn read_again(judge: &Judge) -> Judge {
    let folded = ciborium::from_reader(written(judge).as_slice()).expect("is read");
    Judge::resume(judge.settings().clone(), folded).expect("the same settings")
}

pub(crate) fn mac(n: u8) -> Mac {
    Mac([2, 0, 0, 0, 0, n])
}

/// An answer at a moment (ms).
pub(crate) fn said(at: i64, question: Question, target: &str, detail: Detail) -> Entry {
    seen(at, question, target, Outcome::Answered, detail)
}

pub(crate) fn seen(at: i64, question: Question, target: &str, outcome: Outcome, detail: Detail) -> Entry {
    let at = Moment(at * MS);
    Entry::Seen(Observation { asked: at, known: at, question, target: target.into(), outcome, rtt: None, detail })
}

/// Mains looked at each two seconds, present but for these spans (seconds).
pub(crate) fn mains(until: i64, lost: &[(i64, i64)]) -> Vec<Entry> {
    let gone = |s: i64| lost.iter().any(|(a, b)| (*a..*b).contains(&s));
    let look = |s: i64| {
        let mains = Mains { present: Some(!gone(s)), ..Mains::default() };
        said(s * 1_000 + 250, Question::Mains, "battery", Detail::Mains(mains))
    };
    (0..until).step_by(2).map(look).collect()
}

/// The router's own count each ten seconds while it is up: it started at these (seconds, the first may be before 0), and
/// can't be asked during these spans.
pub(crate) fn life(until: i64, starts: &[i64], away: &[(i64, i64)]) -> Vec<Entry> {
    let there = |s: &i64| !away.iter().any(|(a, b)| (*a..*b).contains(s));
    let up = |s: i64| starts.iter().filter(|b| **b <= s).max().map(|b| (s - b) as u64);
    let look = |s: i64| {
        let life = RouterLife { up_s: up(s), ..RouterLife::default() };
        said(s * 1_000 + 300, Question::RouterLife, "router", Detail::RouterLife(life))
    };
    (0..until).step_by(10).filter(there).map(look).collect()
}

/// Eight neighbours each five seconds, but for a span in which only one is left.
pub(crate) fn neighbours(until: i64, left: (i64, i64)) -> Vec<Entry> {
    let look = |s: i64| {
        let there = if (left.0..left.1).contains(&s) { 10..11 } else { 10..18 };
        said(s * 1_000 + 350, Question::Neighbours, "eth0", Detail::Neighbours(there.map(mac).collect()))
    };
    (0..until).step_by(5).map(look).collect()
}

/// A page in between each twenty seconds, in these seconds.
pub(crate) fn pages(until: i64, odd: (i64, i64)) -> Vec<Entry> {
    let look = |s: i64| {
        let ours = !(odd.0..odd.1).contains(&s);
        let web = Web { status: if ours { 204 } else { 302 }, redirected_to: None, as_expected: Some(ours) };
        said(s * 1_000 + 450, Question::Portal, "page", Detail::Web(web))
    };
    (0..until).step_by(20).map(look).collect()
}
