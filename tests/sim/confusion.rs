//! Faults with a known truth at random times, under ordinary noise, and what the judge calls them: a confusion table, how
//! often the right cause comes first, and whether a confidence means what it says. Nothing here knows the judge's table.

use crate::draw::Draw;
use crate::probes::{PATIENCE, settings};
use crate::rule::household;
use pathproof::judge::*;
use std::collections::BTreeMap;
use std::sync::Arc;

const MS: i64 = 1_000;

/// What truly happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Truth {
    Lead,
    RestartDirect,
    RestartBehind,
    RouterHung,
    SwitchDead,
    RouterPower,
    SitePower,
    DeadBackup,
    StreetPower,
    AccessCut,
    ReferencesFiltered,
    Portal,
    ResolverDead,
    Refusing,
    Resetting,
    ReceiverDown,
    Prohibited,
    LanLoss,
    WeakRadio,
    LossBurst,
    Congestion,
    AddressTaken,
    LeaseRunOut,
    SecondServer,
    Conflict,
    OneReference,
    Swap,
}

use Truth as T;

impl Truth {
    pub(crate) const ALL: [Self; 27] = [
        T::Lead,
        T::RestartDirect,
        T::RestartBehind,
        T::RouterHung,
        T::SwitchDead,
        T::RouterPower,
        T::SitePower,
        T::DeadBackup,
        T::StreetPower,
        T::AccessCut,
        T::ReferencesFiltered,
        T::Portal,
        T::ResolverDead,
        T::Refusing,
        T::Resetting,
        T::ReceiverDown,
        T::Prohibited,
        T::LanLoss,
        T::WeakRadio,
        T::LossBurst,
        T::Congestion,
        T::AddressTaken,
        T::LeaseRunOut,
        T::SecondServer,
        T::Conflict,
        T::OneReference,
        T::Swap,
    ];

    /// The cause that is right.
    pub(crate) fn word(self) -> &'static str {
        match self {
            T::Lead => "own-link",
            T::RestartDirect | T::RestartBehind => "router-restart",
            T::RouterHung => "router-silent",
            T::SwitchDead => "lan-segment",
            T::RouterPower => "router-power",
            T::SitePower => "site-power",
            T::DeadBackup => "dead-backup",
            T::StreetPower => "street-power",
            T::AccessCut => "access-line",
            T::ReferencesFiltered => "references-filtered",
            T::Portal => "portal",
            T::ResolverDead => "name-service",
            T::Refusing => "receiver-refusing",
            T::Resetting => "receiver-resetting",
            T::ReceiverDown => "receiver-silent",
            T::Prohibited => "receiver-filtered",
            T::LanLoss => "lan-loss",
            T::WeakRadio => "weak-radio",
            T::LossBurst => "loss-burst",
            T::Congestion => "congestion",
            T::AddressTaken => "address-lost",
            T::LeaseRunOut => "lease-lost",
            T::SecondServer => "second-address-server",
            T::Conflict => "address-conflict",
            T::OneReference => "target-missing",
            T::Swap => "router-swap",
        }
    }

    /// Inside the site, or a matter of names or the receiver: the line must never be blamed for it.
    pub(crate) fn not_the_line(self) -> bool {
        !matches!(self, T::AccessCut | T::LossBurst | T::StreetPower | T::Portal | T::ReferencesFiltered)
    }

    /// How long it lasts, seconds.
    fn lasts(self, draw: &mut Draw) -> f64 {
        let (least, most) = match self {
            T::Lead => (2.0, 60.0),
            T::RestartDirect | T::RestartBehind => (45.0, 150.0),
            T::RouterHung | T::RouterPower => (340.0, 560.0),
            T::SwitchDead => (60.0, 500.0),
            T::SitePower | T::DeadBackup | T::StreetPower => (350.0, 560.0),
            T::LeaseRunOut | T::AddressTaken | T::Swap => (40.0, 200.0),
            T::Congestion => (30.0, 300.0),
            _ => (15.0, 300.0),
        };
        least * f64::powf(most / least, draw.uniform())
    }
}

/// Which signs there are beside the lanes.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_excessive_bools, reason = "each is there or not, whatever the others")]
pub(crate) struct Signs {
    mains: bool,
    life: bool,
    neighbours: bool,
    page: bool,
    radio: bool,
}

impl Signs {
    pub(crate) const ALL: Self = Self { mains: true, life: true, neighbours: true, page: true, radio: true };

    pub(crate) fn draw(draw: &mut Draw) -> Self {
        let mut some = || draw.chance(0.5);
        Self { mains: some(), life: some(), neighbours: some(), page: some(), radio: some() }
    }
}

/// One history: a fault at a time.
pub(crate) struct Case {
    pub(crate) truth: Truth,
    signs: Signs,
    /// Milliseconds.
    pub(crate) from: i64,
    pub(crate) to: i64,
    /// When what follows a loss of the mains follows.
    later: i64,
    /// When the router is back, where that is after `to`.
    router_back: i64,
    seconds: i64,
    loss: f64,
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

impl Case {
    pub(crate) fn draw(truth: Truth, signs: Signs, draw: &mut Draw) -> Self {
        let from = 130_000 + (draw.uniform() * 60_000.0) as i64;
        let to = from + (truth.lasts(draw) * 1e3) as i64;
        let later = match truth {
            T::DeadBackup => from + 10_000 + (draw.uniform() * 190_000.0) as i64,
            T::StreetPower => from + 60_000 + (draw.uniform() * 200_000.0) as i64,
            T::SitePower => from + (draw.uniform() * 1_500.0) as i64,
            _ => from,
        };
        let starting = 20_000 + (draw.uniform() * 60_000.0) as i64;
        let router_back = match truth {
            T::RestartDirect | T::SitePower | T::DeadBackup | T::StreetPower => to + starting,
            _ => to,
        };
        Self { truth, signs, from, to, later, router_back, seconds: router_back / 1_000 + 60, loss: 0.01 }
    }

    fn during(&self, at: i64) -> bool {
        (self.from..self.to).contains(&at)
    }

    fn outcome(&self, target: &str, at: i64, draw: &mut Draw) -> Outcome {
        let outside = target.starts_with("ref") || target == "receiver";
        let receiver = target == "receiver";
        let now = self.during(at);
        let away = (self.later..self.router_back).contains(&at);
        let lost = match self.truth {
            T::Lead | T::RouterHung | T::SwitchDead | T::RouterPower | T::RestartBehind | T::Swap => now,
            T::RestartDirect | T::SitePower | T::DeadBackup => away,
            T::StreetPower => outside && away,
            T::AccessCut | T::Portal => outside && now,
            T::ReferencesFiltered => target.starts_with("ref") && now,
            T::ResolverDead => target == "resolver" && now,
            T::ReceiverDown => receiver && now,
            T::LanLoss | T::WeakRadio => now && draw.chance(0.6),
            T::LossBurst => outside && now && draw.chance(0.6),
            T::AddressTaken | T::LeaseRunOut => now && target != "gw",
            T::OneReference => target == "ref-b" && now,
            T::Congestion => outside && now && draw.chance(0.03),
            T::Refusing | T::Resetting | T::Prohibited | T::SecondServer | T::Conflict => false,
        };
        match self.truth {
            _ if lost || draw.chance(self.loss) => Outcome::Timeout,
            T::Refusing if receiver && now => Outcome::Refused,
            T::Resetting if receiver && now => Outcome::Reset,
            T::Prohibited if receiver && now => Outcome::Unreachable(Unreachable::Prohibited),
            _ => Outcome::Answered,
        }
    }

    pub(crate) fn entries(&self, draw: &mut Draw) -> Vec<Entry> {
        let mut out: Vec<Entry> = Vec::new();
        for second in 0..self.seconds {
            for (question, target, offset) in ASKS {
                out.push(Entry::Seen(self.ask(question, target, second * 1_000 + offset, draw)));
            }
            for half in [0, 500] {
                let at = second * 1_000 + half;
                let up = match self.truth {
                    T::Lead => !self.during(at),
                    T::RestartDirect => !self.during(at),
                    T::SitePower | T::DeadBackup => !(self.later..self.to).contains(&at),
                    _ => true,
                };
                out.push(said(
                    at,
                    Question::Carrier,
                    "eth0",
                    Detail::Carrier(Carrier { index: 2, up, ..Carrier::default() }),
                ));
            }
            self.beside(second, draw, &mut out);
        }
        let end = Moment(self.seconds * 1_000 * MS);
        out.retain(|e| e.known() <= end);
        out.sort_by_key(Entry::known);
        let wall = WallTime(1_700_000_000_000_000);
        let (at, boot) = (Moment(0), Micros(0));
        out.insert(0, Entry::Began(Session { at, boot_id: "b".into(), boot, wall, synced: Some(true) }));
        out.push(Entry::Ended { at: end, how: Ending::Complete });
        out
    }

    fn ask(&self, question: Question, target: &str, at: i64, draw: &mut Draw) -> Observation {
        let outcome = self.outcome(target, at, draw);
        let mut took = (draw.lognormal(15.0, 0.6) * 1e3) as i64;
        if self.truth == T::Congestion && self.during(at) && (target.starts_with("ref") || target == "receiver") {
            took += (400.0 + draw.uniform() * 900.0) as i64 * MS;
        }
        let wait = if outcome == Outcome::Timeout || took >= PATIENCE.0 { PATIENCE.0 } else { took };
        let outcome = if wait == PATIENCE.0 { Outcome::Timeout } else { outcome };
        let gateway = if self.truth == T::Swap && at >= self.from { 99 } else { 1 };
        let detail = match (question, outcome) {
            (Question::Name | Question::Reference, Outcome::Answered) => {
                Detail::Name(NameAnswer { answers: 1, ..NameAnswer::default() })
            }
            (Question::GatewayArp, Outcome::Answered) => Detail::Claimants(vec![mac(gateway)]),
            _ => Detail::None,
        };
        let (asked, known) = (Moment(at * MS), Moment(at * MS + wait));
        Observation { asked, known, question, target: Arc::from(target), outcome, rtt: None, detail }
    }

    /// What is asked besides, once a second or less.
    fn beside(&self, second: i64, draw: &mut Draw, out: &mut Vec<Entry>) {
        let at = second * 1_000;
        let now = self.during(at);
        let gone = now && matches!(self.truth, T::AddressTaken | T::LeaseRunOut);
        let lease = if self.truth == T::LeaseRunOut { self.from / 1_000 + 1 } else { 3_600 };
        let left = if at < self.from { lease - second } else { 3_600 };
        let first = if self.truth == T::Swap && at >= self.to { [198, 51, 100, 7] } else { [192, 0, 2, 7] };
        let valid_s = u32::try_from(left.max(0)).ok();
        let held = HeldAddress { address: first.into(), prefix: 24, valid_s, preferred_s: valid_s, permanent: false };
        let held = if gone { vec![] } else { vec![held] };
        let gateway = (!gone).then(|| [192, 0, 2, 1].into());
        out.push(said(at, Question::OwnAddress, "eth0", Detail::OwnAddress { held, gateway }));
        if second % 10 == 3 {
            let servers: &[u8] = if self.truth == T::SecondServer && now { &[1, 9] } else { &[1] };
            let offers: Vec<Lease> = servers
                .iter()
                .map(|n| Lease { server: Some([192, 0, 2, *n].into()), from: Some(mac(*n)), ..Lease::default() })
                .collect();
            let silent = self.truth == T::LeaseRunOut && (gone || at < self.to);
            let unreached = self.silent_router(at);
            out.push(if silent || unreached {
                seen(at, Question::Offers, "eth0", Outcome::Timeout, Detail::None)
            } else {
                said(at, Question::Offers, "eth0", Detail::Offers { offers, discarded: 0 })
            });
            let who = if self.truth == T::Conflict && now { vec![mac(44)] } else { vec![] };
            let outcome = if who.is_empty() { Outcome::Timeout } else { Outcome::Answered };
            out.push(seen(at, Question::Conflict, "eth0", outcome, Detail::Claimants(who)));
        }
        if self.signs.mains && second % 2 == 0 {
            let lost = now && matches!(self.truth, T::SitePower | T::DeadBackup | T::StreetPower);
            let mains = Mains { present: Some(!lost), ..Mains::default() };
            out.push(said(at + 50, Question::Mains, "battery", Detail::Mains(mains)));
        }
        if self.signs.life && second % 10 == 5 && !self.silent_router(at) {
            let anew = match self.truth {
                T::RestartDirect => Some(self.from + 8_000),
                T::RestartBehind | T::RouterPower => Some(self.to - 15_000),
                T::SitePower | T::DeadBackup => Some(self.to + 1_000),
                T::Swap => Some(self.to - 20_000),
                _ => None,
            };
            let start = anew.filter(|a| at >= *a).unwrap_or(-90_000_000);
            let connected = Some(!(self.truth == T::AccessCut && now));
            let life = RouterLife { up_s: Some(((at - start) / 1_000) as u64), connected, ..RouterLife::default() };
            out.push(said(at + 60, Question::RouterLife, "router", Detail::RouterLife(life)));
        }
        if self.signs.neighbours && second % 5 == 1 {
            let left = match self.truth {
                T::SwitchDead => now,
                T::SitePower | T::DeadBackup => (self.later..self.router_back).contains(&at),
                _ => false,
            };
            // A telephone that comes and goes.
            let most = if draw.chance(0.5) { 18 } else { 19 };
            let there = if left { 10..11 } else { 10..most };
            out.push(said(at + 70, Question::Neighbours, "eth0", Detail::Neighbours(there.map(mac).collect())));
        }
        if self.signs.page && second % 20 == 7 {
            let dark = self.truth == T::StreetPower && (self.later..self.router_back).contains(&at);
            let cut = now && self.truth == T::AccessCut;
            let reached = ![self.silent_router(at), gone, cut, dark].contains(&true);
            let odd = now && self.truth == T::Portal;
            let web = Web { status: if odd { 302 } else { 204 }, redirected_to: None, as_expected: Some(!odd) };
            out.push(if reached {
                said(at + 80, Question::Portal, "page", Detail::Web(web))
            } else {
                seen(at + 80, Question::Portal, "page", Outcome::Timeout, Detail::None)
            });
        }
        if self.signs.radio && matches!(self.truth, T::WeakRadio | T::LanLoss) && second % 5 == 2 {
            let weak = now && self.truth == T::WeakRadio;
            let dbm = (if weak { -83.0 } else { -60.0 } + 2.0 * draw.normal()) as i16;
            let radio = Radio { signal_dbm: Some(dbm), ..Radio::default() };
            out.push(said(at + 90, Question::Radio, "wlan0", Detail::Radio(radio)));
        }
    }

    fn silent_router(&self, at: i64) -> bool {
        match self.truth {
            T::Lead | T::RouterHung | T::SwitchDead | T::RouterPower | T::RestartBehind | T::Swap => self.during(at),
            T::RestartDirect | T::SitePower | T::DeadBackup => (self.later..self.router_back).contains(&at),
            _ => false,
        }
    }
}

fn mac(n: u8) -> Mac {
    Mac([2, 0, 0, 0, 0, n])
}

fn said(at: i64, question: Question, target: &str, detail: Detail) -> Entry {
    seen(at, question, target, Outcome::Answered, detail)
}

fn seen(at: i64, question: Question, target: &str, outcome: Outcome, detail: Detail) -> Entry {
    let at = Moment(at * MS);
    Entry::Seen(Observation { asked: at, known: at, question, target: target.into(), outcome, rtt: None, detail })
}

/// What the judge made of many cases.
#[derive(Default)]
pub(crate) struct Tally {
    /// By truth: what was named first, how often.
    pub(crate) named: BTreeMap<Truth, BTreeMap<&'static str, u32>>,
    /// By tenth of confidence: cases, of them right, sum of confidences.
    pub(crate) bins: [(u32, u32, f64); 10],
    /// The surest that was wrong.
    pub(crate) surest_wrong: (f64, String),
    /// Times the line was blamed for what is none of it.
    pub(crate) line_blamed: u32,
    /// Troubles that met no fault.
    pub(crate) invented: u32,
    /// Truths named first or among what is not excluded.
    pub(crate) not_excluded: u32,
}

impl Tally {
    pub(crate) fn add(&mut self, case: &Case, look: &Look) {
        let (from, to) = (Moment((case.from - 3_000) * MS), Moment((case.router_back + 12_000) * MS));
        let meets = |t: &&Trouble| t.root.start.earliest <= to && t.root.end_or(look.now) >= from;
        self.invented += look.troubles.iter().filter(|t| !meets(t)).count() as u32;
        let first = look.troubles.iter().find(meets);
        let word = first.map_or("nothing", |t| t.cause.word());
        *self.named.entry(case.truth).or_default().entry(word).or_insert(0) += 1;
        let right = word == case.truth.word();
        let among = |t: &Trouble| t.alternatives.iter().any(|a| a.0.word() == case.truth.word());
        self.not_excluded += u32::from(right || first.is_some_and(among));
        if let Some(t) = first {
            let bin = &mut self.bins[((t.confidence * 10.0) as usize).min(9)];
            *bin = (bin.0 + 1, bin.1 + u32::from(right), bin.2 + t.confidence);
            if !right && t.confidence > self.surest_wrong.0 {
                self.surest_wrong = (t.confidence, format!("{:?} called {word}", case.truth));
            }
        }
        let blamed = |t: &&Trouble| t.cause == Cause::AccessLine;
        self.line_blamed += u32::from(case.truth.not_the_line() && look.troubles.iter().any(|t| blamed(&t)));
    }

    /// Takes in what another tally counted.
    fn join(&mut self, other: Self) {
        for (truth, named) in other.named {
            let ours = self.named.entry(truth).or_default();
            for (word, n) in named {
                *ours.entry(word).or_insert(0) += n;
            }
        }
        for (a, b) in self.bins.iter_mut().zip(other.bins) {
            *a = (a.0 + b.0, a.1 + b.1, a.2 + b.2);
        }
        if other.surest_wrong.0 > self.surest_wrong.0 {
            self.surest_wrong = other.surest_wrong;
        }
        self.line_blamed += other.line_blamed;
        self.invented += other.invented;
        self.not_excluded += other.not_excluded;
    }

    pub(crate) fn cases(&self) -> u32 {
        self.named.values().flat_map(BTreeMap::values).sum()
    }

    pub(crate) fn right(&self) -> u32 {
        self.named.iter().map(|(t, n)| n.get(t.word()).copied().unwrap_or(0)).sum()
    }

    /// The confusion table, one truth a line.
    pub(crate) fn table(&self) -> String {
        use std::fmt::Write as _;
        let mut out = String::new();
        for (truth, named) in &self.named {
            let all: u32 = named.values().sum();
            let right = named.get(truth.word()).copied().unwrap_or(0);
            let wrong: Vec<String> =
                named.iter().filter(|(w, _)| **w != truth.word()).map(|(w, n)| format!("{w} {n}")).collect();
            let _ = writeln!(
                out,
                "{:<20} {right:>3} of {all:<3} {:<22} {}",
                format!("{truth:?}"),
                truth.word(),
                wrong.join(", ")
            );
        }
        let _ = writeln!(
            out,
            "right first {} of {}; right or not excluded {}; invented {}; the line blamed wrongly {}; surest wrong {:.2} {}",
            self.right(),
            self.cases(),
            self.not_excluded,
            self.invented,
            self.line_blamed,
            self.surest_wrong.0,
            self.surest_wrong.1
        );
        for (i, (n, right, sum)) in self.bins.iter().enumerate().filter(|(_, b)| b.0 > 0) {
            let (said, is) = (sum / f64::from(*n), f64::from(*right) / f64::from(*n));
            let _ = writeln!(out, "confidence from 0.{i}: {n} cases, {said:.2} on average, right {is:.2}");
        }
        out
    }
}

/// Plays so many timings of every truth.
pub(crate) fn run(timings: u64, every_sign: bool, seed: u64) -> Tally {
    let mut tally = Tally::default();
    for (truth, timing) in Truth::ALL.into_iter().flat_map(|t| (0..timings).map(move |i| (t, i))) {
        let mut draw = Draw::new(seed * 1_000_000 + truth as u64 * 1_000 + timing);
        let signs = if every_sign { Signs::ALL } else { Signs::draw(&mut draw) };
        let case = Case::draw(truth, signs, &mut draw);
        let mut judge = Judge::new(settings(household()));
        case.entries(&mut draw).iter().for_each(|e| judge.take(e));
        tally.add(&case, &judge.look());
    }
    tally
}

/// Seeds played: ten in a row, none chosen for what it gives. On 1 December 2026, right first: with all signs 265 of 270
/// (worst seed 25 of 27), with half of the signs 232 (worst 20). The bounds leave four binomial standard deviations of the
/// sum (2.2 and 5.7), rounded down, and three cases of the worst seed. With all signs a cause that is never named any more
/// takes ten away and is found.
const SEEDS: std::ops::Range<u64> = 21..31;

/// Plays every truth once a seed, and holds what was right of all and of the worst seed.
fn named_right(every_sign: bool, least: u32, least_of_a_seed: u32) {
    let mut all = Tally::default();
    let mut of_seeds = Vec::new();
    for seed in SEEDS {
        let tally = run(1, every_sign, seed);
        of_seeds.push(tally.right());
        all.join(tally);
    }
    let signs = if every_sign { "all" } else { "each by half a chance" };
    println!("signs: {signs}, right of 27 by seed {SEEDS:?}: {of_seeds:?}\n{}", all.table());
    assert_eq!(all.cases(), 270);
    // What is inferred is never said to be surer than that, so a wrong one may just reach it.
    assert!(all.surest_wrong.0 <= 0.9, "{:?}", all.surest_wrong);
    assert_eq!((all.line_blamed, all.invented), (0, 0));
    assert!(all.right() >= least, "{} of 270, at least {least}", all.right());
    assert!(of_seeds.iter().all(|n| *n >= least_of_a_seed), "{of_seeds:?}, at least {least_of_a_seed} of 27 each");
}

#[test]
fn causes_are_named_right_and_no_wrong_one_is_sure() {
    named_right(true, 257, 22);
}

#[test]
fn with_half_of_the_signs_most_are_named_right_and_no_wrong_one_is_sure() {
    named_right(false, 210, 17);
}
