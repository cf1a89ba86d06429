//! A simulated site: what is wrong with it and when, and what its probes would have written down of that.
//!
//! Decides nothing: the entries go to the real judge, and what is shown of it is `snapshot::take` of that judge.

use pathproof::judge::{
    Carrier, Detail, Ending, Entry, HeldAddress, Judge, Known, Lane, Lease, Mac, Mains, Micros, Moment, NameAnswer,
    Observation, Outcome, Question, Rtt, Session, Settings, Step, VerdictKind, WallTime,
};
use pathproof::site::Background;
use pathproof::snapshot::{Header, Snapshot, take};
use std::collections::BTreeSet;
use std::sync::Arc;

pub(crate) const DAY: i64 = 86_400;
const SECOND: i64 = 1_000_000;
/// 2026-03-10 08:15:30 UTC.
const BEGAN: WallTime = WallTime(1_773_130_530_000_000);

/// What fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fault {
    /// Everything beyond the router.
    Line,
    /// The lead.
    Lead,
    /// The resolver.
    Names,
    /// The receiver refuses.
    Refusing,
    /// A second address server answers.
    SecondServer,
    /// The mains; everything goes on from batteries.
    Mains,
    /// The mains, and the router with it; this device has a battery.
    Power,
    /// The agent is off.
    Away,
}

/// What this host may ask.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum May {
    /// Everything, all the time.
    Everything,
    /// Only its resolver and the reference points, for an hour in four.
    Little,
}

/// A world and how it is watched.
#[derive(Clone)]
pub(crate) struct Site {
    pub(crate) name: &'static str,
    /// What it must be judged.
    pub(crate) verdict: VerdictKind,
    /// How long it is watched, seconds.
    pub(crate) seconds: i64,
    /// Turns, seconds.
    pub(crate) every: i64,
    /// Stretches looked at more often: from, to and turns, seconds.
    pub(crate) closer: Vec<(i64, i64, i64)>,
    /// What failed, from and to, seconds.
    pub(crate) faults: Vec<(Fault, i64, i64)>,
    pub(crate) may: May,
    /// Whether a supply tells of the mains.
    pub(crate) supply: bool,
    /// What is known of it besides.
    pub(crate) known: Known,
    /// The station's interval, seconds.
    pub(crate) supervision: Option<i64>,
    /// What somebody did on purpose, second by second, and what is known of the power there.
    pub(crate) drills: Vec<(i64, Step)>,
    pub(crate) background: Option<Background>,
    /// Whether the watch is over when its time is.
    pub(crate) ends: bool,
    pub(crate) practice: bool,
    /// What the names found on the network say, each time; `None`: ordinary names.
    pub(crate) attack: Option<&'static str>,
}

impl Site {
    pub(crate) fn new(name: &'static str, verdict: VerdictKind, seconds: i64, every: i64) -> Self {
        Self {
            name,
            verdict,
            seconds,
            every,
            closer: Vec::new(),
            faults: Vec::new(),
            may: May::Everything,
            supply: false,
            known: Known::default(),
            supervision: Some(90_000),
            drills: Vec::new(),
            background: None,
            ends: true,
            practice: false,
            attack: None,
        }
    }

    fn under(&self, at: i64, fault: Fault) -> bool {
        self.faults.iter().any(|(f, from, to)| *f == fault && (*from..*to).contains(&at))
    }

    /// A name as this site says it.
    fn name(&self, usual: &str) -> Arc<str> {
        self.attack.map_or_else(|| usual.into(), |a| format!("{usual}{a}").into())
    }

    fn settings(&self) -> Settings {
        Settings {
            receivers: BTreeSet::from([self.name("receiver-a")]),
            tls_receivers: BTreeSet::new(),
            patience: Micros::from_secs(2),
            cadence: Lane::ALL.map(|l| (l, Micros::from_secs(self.every))),
            supervision: self.supervision.map(Micros::from_secs),
            requirements: toml::from_str(include_str!("../../config/requirements/household.toml")).expect("parses"),
            out_of_scope: self.attack.map(str::to_owned).into_iter().collect(),
            known: self.known.clone(),
        }
    }

    /// The entries of the first `seconds`, in the order they became known; the record ends only where that is all of it.
    pub(crate) fn play(&self, seconds: i64, mut give: impl FnMut(Entry)) {
        let mut drills = self.drills.iter().peekable();
        let (mut at, mut off) = (0, true);
        while at < seconds {
            let was_off = std::mem::replace(&mut off, self.under(at, Fault::Away));
            if was_off && !off {
                give(Entry::Began(Session {
                    at: Moment(at * SECOND),
                    boot_id: self.name("b").to_string(),
                    boot: Micros::from_secs(at),
                    wall: WallTime(BEGAN.0 + at * SECOND),
                    synced: (self.may == May::Everything).then_some(true),
                }));
            }
            if !off {
                let mut entries: Vec<Entry> = self.turn(at).into_iter().map(Entry::Seen).collect();
                let due = |(when, _): &&(i64, Step)| *when < at + self.every;
                while let Some((when, step)) = drills.next_if(due) {
                    entries.push(Entry::Drill { at: Moment(when * SECOND), step: *step });
                }
                entries.sort_by_key(Entry::known);
                entries.into_iter().for_each(&mut give);
            }
            let within = self.closer.iter().find(|(from, to, _)| (*from..*to).contains(&at));
            let next = self.closer.iter().map(|c| c.0).filter(|from| *from > at).min().unwrap_or(i64::MAX);
            at = within.map_or(at + self.every - at % self.every, |c| at + c.2).min(next);
        }
        if seconds == self.seconds && self.ends {
            give(Entry::Ended { at: Moment(seconds * SECOND), how: Ending::Complete });
        }
    }

    /// The judge after the first `seconds`.
    pub(crate) fn judge(&self, seconds: i64) -> Judge {
        let mut judge = Judge::new(self.settings());
        self.play(seconds, |e| judge.take(&e));
        // As `report` does: what drills of this very record measured goes before what was known when it was begun.
        if let Some(background) = &self.background {
            let mut background = background.clone();
            background.take_drills(&judge.drill_results(&judge.look()));
            judge.know(background.known());
        }
        judge
    }

    /// What is shown after the first `seconds`.
    pub(crate) fn judged(&self, seconds: i64) -> Snapshot {
        let planned = Some(Micros::from_secs(self.seconds));
        let site = self.attack.map_or_else(|| format!("home-{}", self.name), str::to_owned);
        let notes = self.attack.map(str::to_owned).into_iter().collect();
        let header = Header { site, planned, practice: self.practice, notes, ..Header::default() };
        take(&self.judge(seconds), &header)
    }

    fn turn(&self, at: i64) -> Vec<Observation> {
        let under = |fault| self.under(at, fault);
        if self.may == May::Little && at % 14_400 >= 3_600 {
            return Vec::new();
        }
        let (host, now) = (self.name("eth0"), Moment(at * SECOND));
        let told = |question, detail| Observation {
            asked: now,
            known: now,
            question,
            target: Arc::clone(&host),
            outcome: Outcome::Answered,
            rtt: None,
            detail,
        };
        let dead = under(Fault::Lead) || under(Fault::Power);
        let carrier = Carrier { index: 2, name: host.to_string(), up: !dead, ..Carrier::default() };
        let address = HeldAddress {
            address: [192, 0, 2, 7].into(),
            prefix: 24,
            valid_s: Some(3_600),
            preferred_s: Some(3_600),
            permanent: false,
        };
        let own = Detail::OwnAddress { held: vec![address], gateway: Some([192, 0, 2, 1].into()) };
        let mut out = vec![told(Question::Carrier, Detail::Carrier(carrier)), told(Question::OwnAddress, own)];
        if self.supply {
            let present = Some(!(under(Fault::Power) || under(Fault::Mains)));
            out.push(told(Question::Mains, Detail::Mains(Mains { present, ..Mains::default() })));
        }
        let servers = self.faults.iter().any(|(f, ..)| *f == Fault::SecondServer);
        if servers && !dead && at % 60 < self.every {
            let others = u8::from(under(Fault::SecondServer));
            let offers = (0..=others).map(|n| offer([1, 77][usize::from(n)])).collect();
            out.push(told(Question::Offers, Detail::Offers { offers, discarded: 0 }));
        }
        let far = dead || under(Fault::Line);
        out.extend(
            [
                (Question::GatewayEcho, "192.0.2.1", 100, dead),
                (Question::Name, "192.0.2.1", 200, far || under(Fault::Names)),
                (Question::Reference, "ref-a", 300, far),
                (Question::Reference, "ref-b", 400, far),
                (Question::Connect, "receiver-a", 500, far),
            ]
            .map(|(question, target, offset, lost)| {
                self.ask(question, target, Moment(at * SECOND + offset * 1_000), lost)
            }),
        );
        out
    }

    fn ask(&self, question: Question, target: &str, asked: Moment, lost: bool) -> Observation {
        let at = asked.0 / SECOND;
        let permitted = self.may == May::Everything || matches!(question, Question::Name | Question::Reference);
        let (outcome, took) = match question {
            _ if !permitted => (Outcome::NotPermitted, Micros::ZERO),
            _ if lost => (Outcome::Timeout, Micros::from_secs(2)),
            Question::Connect if self.under(at, Fault::Refusing) => (Outcome::Refused, Micros::from_millis(14)),
            _ => (Outcome::Answered, Micros::from_millis(14 + (at / 7) % 5)),
        };
        let answered = outcome == Outcome::Answered;
        let detail = match question {
            Question::Name | Question::Reference if answered => {
                Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() })
            }
            _ => Detail::None,
        };
        Observation {
            asked,
            known: asked + took,
            question,
            target: self.name(target),
            outcome,
            rtt: answered.then_some(Rtt { took, kernel: true }),
            detail,
        }
    }
}

/// An offer of a server with this last octet.
fn offer(server: u8) -> Lease {
    Lease {
        server: Some([192, 0, 2, server].into()),
        from: Some(Mac([2, 0, 0x5e, 0x10, 0, server])),
        routers: vec![[192, 0, 2, server].into()],
        lease_s: Some(86_400),
        ..Lease::default()
    }
}
