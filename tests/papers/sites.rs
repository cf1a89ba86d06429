//! Eight simulated sites: what their probes would have seen, judged by the real judge.
//!
//! Each world is written down here with its truth: when what failed. All four verdicts, a site that its power decides,
//! one that its name lookups decide, one mostly blind, and a clean year.

use pathproof::judge::{
    Carrier, Detail, Ending, Entry, HeldAddress, Judge, Known, Lane, Mains, Micros, Moment, NameAnswer, Observation,
    Outcome, Question, Rtt, Session, Settings, Standby, WallTime,
};
use pathproof::snapshot::{Header, Snapshot, VerdictKind, take};
use pathproof::worksheet::given::Power;
use pathproof::worksheet::outlook::standby;
use pathproof::worksheet::units::Hours;
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
    /// The mains, and the router with it; this device has a battery.
    Power,
}

/// A world.
pub(crate) struct Site {
    pub(crate) name: &'static str,
    /// What it must be judged.
    pub(crate) verdict: VerdictKind,
    /// How long it is watched, seconds.
    pub(crate) seconds: i64,
    /// Turns, seconds.
    pub(crate) every: i64,
    /// What failed, from and to, seconds.
    pub(crate) faults: Vec<(Fault, i64, i64)>,
    /// Whether this host may ask only its resolver and far ends, and only now and then.
    pub(crate) mostly_blind: bool,
    /// How it stands without mains.
    pub(crate) standby: Option<Standby>,
    /// The station's interval, seconds.
    pub(crate) supervision: Option<i64>,
}

fn site(name: &'static str, verdict: VerdictKind, seconds: i64, every: i64) -> Site {
    let supervision = Some(90_000);
    Site { name, verdict, seconds, every, faults: Vec::new(), mostly_blind: false, standby: None, supervision }
}

/// What is known of the power of the site that its power decides: the provider's street equipment ends before 4 h.
pub(crate) fn farmhouse() -> Power {
    let text = include_bytes!("../../config/power/farmhouse.toml");
    let file = pathproof::site::load("farmhouse.toml", text).expect("a shipped file is sound");
    let mut power = file.background.power("home-power-bound");
    power.mains.street = Some(Hours::of(2.0));
    power
}

/// The eight.
pub(crate) fn sites() -> Vec<Site> {
    use VerdictKind::{AddCellular, IpAlone, KeepWatching, MendFirst};
    let cuts = |n: i64| (0..n).map(|i| (Fault::Line, 40_000 + i * 50_000, 40_000 + i * 50_000 + 2_000 * (1 + i % 4)));
    vec![
        site("ip-alone", IpAlone, 140 * DAY, 600),
        Site {
            faults: vec![(Fault::Lead, 900, 960), (Fault::Lead, 2_000, 2_040)],
            ..site("mend-first", MendFirst, 3_600, 5)
        },
        Site { faults: cuts(12).collect(), ..site("add-cellular", AddCellular, 10 * DAY, 30) },
        Site {
            faults: vec![(Fault::Line, 200_000, 200_100), (Fault::Line, 200_400, 200_700)],
            supervision: None,
            ..site("keep-watching", KeepWatching, 7 * DAY, 30)
        },
        Site {
            faults: vec![(Fault::Power, 100_000, 101_500)],
            standby: standby(&farmhouse()),
            supervision: Some(300),
            ..site("power-bound", AddCellular, 3 * DAY, 30)
        },
        Site {
            faults: vec![(Fault::Names, 20_000, 23_000), (Fault::Names, 60_000, 61_000)],
            ..site("name-bound", MendFirst, DAY, 20)
        },
        Site { mostly_blind: true, ..site("mostly-blind", KeepWatching, DAY, 60) },
        site("clean-year", IpAlone, 365 * DAY, 900),
    ]
}

impl Site {
    fn under(&self, at: i64, fault: Fault) -> bool {
        self.faults.iter().any(|(f, from, to)| *f == fault && (*from..*to).contains(&at))
    }

    /// The judge after `seconds` of it; the record ends there only where that is all of it.
    pub(crate) fn judged(&self, seconds: i64) -> Snapshot {
        let mut judge = Judge::new(Settings {
            receivers: BTreeSet::from(["receiver".into()]),
            tls_receivers: BTreeSet::new(),
            patience: Micros::from_secs(2),
            cadence: Lane::ALL.map(|l| (l, Micros::from_secs(self.every))),
            supervision: self.supervision.map(Micros::from_secs),
            requirements: toml::from_str(include_str!("../../config/requirements/household.toml")).expect("parses"),
            out_of_scope: Vec::new(),
            known: Known { standby: self.standby.clone(), ..Known::default() },
        });
        judge.take(&Entry::Began(Session {
            at: Moment(0),
            boot_id: "b".into(),
            boot: Micros(0),
            wall: BEGAN,
            synced: (!self.mostly_blind).then_some(true),
        }));
        let mut at = 0;
        while at < seconds {
            let mut seen = self.turn(at);
            seen.sort_by_key(|o| o.known);
            for o in seen {
                judge.take(&Entry::Seen(o));
            }
            at += self.every;
        }
        if seconds == self.seconds {
            judge.take(&Entry::Ended { at: Moment(seconds * SECOND), how: Ending::Complete });
        }
        let planned = Some(Micros::from_secs(self.seconds));
        take(&judge, &Header { site: format!("home-{}", self.name), planned, ..Header::default() })
    }

    fn turn(&self, at: i64) -> Vec<Observation> {
        let [line, lead, names, power] =
            [Fault::Line, Fault::Lead, Fault::Names, Fault::Power].map(|f| self.under(at, f));
        if self.mostly_blind && at % 14_400 >= 3_600 {
            return Vec::new();
        }
        let now = Moment(at * SECOND);
        let host: Arc<str> = "eth0".into();
        let told = |question, detail| Observation {
            asked: now,
            known: now,
            question,
            target: Arc::clone(&host),
            outcome: Outcome::Answered,
            rtt: None,
            detail,
        };
        let carrier = Carrier { index: 2, name: "eth0".into(), up: !(lead || power), ..Carrier::default() };
        let address = HeldAddress {
            address: [192, 0, 2, 7].into(),
            prefix: 24,
            valid_s: Some(3_600),
            preferred_s: Some(3_600),
            permanent: false,
        };
        let own = Detail::OwnAddress { held: vec![address], gateway: Some([192, 0, 2, 1].into()) };
        let mut out = vec![told(Question::Carrier, Detail::Carrier(carrier)), told(Question::OwnAddress, own)];
        if self.standby.is_some() {
            let mains = Mains { present: Some(!power), ..Mains::default() };
            out.push(told(Question::Mains, Detail::Mains(mains)));
        }
        let far = lead || power || line;
        for (question, target, offset, lost) in [
            (Question::GatewayEcho, "192.0.2.1", 100, lead || power),
            (Question::Name, "192.0.2.1", 200, far || names),
            (Question::Reference, "ref-a", 300, far),
            (Question::Reference, "ref-b", 400, far),
            (Question::Connect, "receiver", 500, far),
        ] {
            let asked = Moment(at * SECOND + offset * 1_000);
            if self.mostly_blind && !matches!(question, Question::Name | Question::Reference) {
                let outcome = Outcome::NotPermitted;
                let target = target.into();
                out.push(Observation {
                    asked,
                    known: asked,
                    question,
                    target,
                    outcome,
                    rtt: None,
                    detail: Detail::None,
                });
                continue;
            }
            let took = Micros::from_millis(if lost { 2_000 } else { 14 + (at / 7) % 5 });
            let of_names = matches!(question, Question::Name | Question::Reference) && !lost;
            let answer = Detail::Name(NameAnswer { code: 0, answers: 1, ..NameAnswer::default() });
            out.push(Observation {
                asked,
                known: asked + took,
                question,
                target: target.into(),
                outcome: if lost { Outcome::Timeout } else { Outcome::Answered },
                rtt: (!lost).then_some(Rtt { took, kernel: true }),
                detail: if of_names { answer } else { Detail::None },
            });
        }
        out
    }
}
