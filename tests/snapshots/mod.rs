//! The simulated sites of the tests: each a world with its truth, judged by the real judge. Nothing of a snapshot is set
//! by hand, so a golden file can't say what the judge would not.
//!
//! Addresses are documentation ranges (RFC 5737); what happens at the sites is invented. [`attacked`] is not a site: it is
//! what a renderer must bear, whoever built it.

#![allow(dead_code, reason = "each test program uses its own part of this module")]

mod attack;
mod site;
mod stories;

#[allow(unused_imports, reason = "not every test program attacks")]
pub(crate) use attack::{HOSTILE, attacked};
pub(crate) use site::{DAY, Fault, May, Site};
#[allow(unused_imports, reason = "not every test program tells them")]
pub(crate) use stories::stories;

use jiff::tz::TimeZone;
use pathproof::judge::drill::{Act, CutShort, DrillEnd};
use pathproof::judge::{Access, Drill, Known, Micros, Prior, Recalled, Step, VerdictKind};
use pathproof::snapshot::Snapshot;
use pathproof::worksheet::given::Power;
use pathproof::worksheet::outlook::standby;
use pathproof::worksheet::units::Hours;
use std::sync::OnceLock;

use VerdictKind::{AddCellular, IpAlone, KeepWatching, MendFirst};

/// The zone of every golden file: Central European, spelt out so that no zone data is needed [POSIX1003].
pub(crate) fn zone() -> TimeZone {
    TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").expect("a valid POSIX zone")
}

/// A fibre that failed three times last year, and a second path for 15 a month.
pub(crate) fn fibre() -> Known {
    let recalled = Some(Recalled { last_year: 3, worst: Some(Micros::from_secs(4 * 3_600)) });
    let mut known =
        Known { prior: Prior { access: Some(Access::Fibre), recalled, ..Prior::default() }, ..Known::default() };
    known.assumed.monthly_fee = Some(15.0);
    known
}

/// What is known of the power of the site that its power decides: the provider's street equipment ends before 4 h.
pub(crate) fn farmhouse() -> Power {
    let text = include_bytes!("../../config/power/farmhouse.toml");
    let file = pathproof::site::load("farmhouse.toml", text).expect("a shipped file is sound");
    let mut power = file.background.power("home-power-bound");
    power.mains.street = Some(Hours::of(2.0));
    power
}

/// Half a year, one short cut, and an afternoon in which this host was off.
fn ip_alone() -> Site {
    let cut = 1_840_320;
    Site {
        faults: vec![(Fault::Line, cut, cut + 41), (Fault::Away, 40 * DAY, 40 * DAY + 15_600)],
        closer: vec![(cut - 20, cut + 120, 2)],
        known: fibre(),
        ..Site::new("ip-alone", IpAlone, 150 * DAY, 600)
    }
}

/// An hour with a lead that comes loose again and again, and a second address server.
fn mend_first() -> Site {
    let loose = [(900, 960), (1_290, 1_320), (1_380, 1_420), (1_500, 1_530), (2_000, 2_040)];
    let mut faults: Vec<_> = loose.map(|(from, to)| (Fault::Lead, from, to)).to_vec();
    faults.push((Fault::SecondServer, 2_400, 3_600));
    Site { faults, supply: true, known: fibre(), ..Site::new("mend-first", MendFirst, 3_600, 5) }
}

/// Ten days and twelve cuts of the line.
fn add_cellular() -> Site {
    let cuts = (0..12).map(|i| (Fault::Line, 40_000 + i * 50_000, 40_000 + i * 50_000 + 2_000 * (1 + i % 4)));
    Site { faults: cuts.collect(), ..Site::new("add-cellular", AddCellular, 10 * DAY, 30) }
}

/// A week with two short cuts of the line.
fn keep_watching() -> Site {
    Site {
        faults: vec![(Fault::Line, 200_000, 200_100), (Fault::Line, 200_400, 200_700)],
        known: Known { prior: fibre().prior, ..Known::default() },
        supervision: None,
        ..Site::new("keep-watching", KeepWatching, 7 * DAY, 30)
    }
}

/// The practice site with a drill of its mains, 41 minutes on its battery where four hours are needed, and a second drill
/// that was stopped; its receiver has just begun to refuse, and the watch goes on.
fn drilled() -> Site {
    let file = pathproof::site::load("site.toml", b"[mains]\nneeded = \"4 h\"\n").expect("a sound site file");
    let began = |drill, needed| Step::Began { drill, needed };
    Site {
        faults: vec![
            (Fault::Mains, 610, 3_069),
            (Fault::Power, 3_069, 3_269),
            (Fault::Lead, 4_004, 4_010),
            (Fault::Refusing, 4_100, 4_200),
        ],
        drills: vec![
            (600, began(Drill::MainsOff, Some(Micros::from_secs(4 * 3_600)))),
            (610, Step::Acted(Act::Off)),
            (3_209, Step::Acted(Act::On)),
            (3_330, Step::Ended(DrillEnd::Complete)),
            (4_000, began(Drill::CablePull, None)),
            (4_004, Step::Acted(Act::Off)),
            (4_012, Step::Ended(DrillEnd::CutShort(CutShort::Stopped))),
        ],
        supply: true,
        background: Some(file.background),
        ends: false,
        practice: true,
        ..Site::new("drilled", MendFirst, 4_200, 1)
    }
}

/// What a hostile network can put where its names are shown: interface, targets, boot id, notes.
fn hostile() -> Site {
    Site {
        faults: vec![(Fault::Lead, 100, 160), (Fault::SecondServer, 200, 600), (Fault::Refusing, 300, 600)],
        attack: Some(HOSTILE),
        ends: false,
        ..Site::new("hostile", MendFirst, 600, 5)
    }
}

/// Every site that has golden files of its snapshot.
fn shown() -> Vec<Site> {
    vec![ip_alone(), mend_first(), add_cellular(), keep_watching(), drilled(), mostly_blind(), hostile()]
}

fn mostly_blind() -> Site {
    Site { may: May::Little, ..Site::new("mostly-blind", KeepWatching, DAY, 60) }
}

/// Every site that has golden files of its papers: all four verdicts, one that its power decides, one that its name lookups
/// decide, one mostly blind, and a clean year.
pub(crate) fn papered() -> Vec<Site> {
    vec![
        ip_alone(),
        mend_first(),
        add_cellular(),
        keep_watching(),
        Site {
            faults: vec![(Fault::Power, 100_000, 101_500)],
            supply: true,
            known: Known { standby: standby(&farmhouse()), ..Known::default() },
            supervision: Some(300),
            ..Site::new("power-bound", AddCellular, 3 * DAY, 30)
        },
        Site {
            faults: vec![(Fault::Names, 20_000, 23_000), (Fault::Names, 60_000, 61_000)],
            ..Site::new("name-bound", MendFirst, DAY, 20)
        },
        mostly_blind(),
        Site::new("clean-year", IpAlone, 365 * DAY, 900),
    ]
}

/// Judges sites, side by side; fails where one is not judged as it must be.
pub(crate) fn judged(sites: &[Site]) -> Vec<(&'static str, Snapshot)> {
    std::thread::scope(|scope| {
        let judging: Vec<_> = sites.iter().map(|s| (s, scope.spawn(|| s.judged(s.seconds)))).collect();
        let judged = judging.into_iter().map(|(s, snapshot)| {
            let snapshot = snapshot.join().expect("a site can be judged");
            assert_eq!(snapshot.verdict().kind, s.verdict, "{}: {:#?}", s.name, snapshot.verdict());
            (s.name, snapshot)
        });
        judged.collect()
    })
}

/// The snapshots of all sites that have golden files of them, judged once for all tests of a program.
pub(crate) fn all() -> Vec<(&'static str, Snapshot)> {
    static ALL: OnceLock<Vec<(&'static str, Snapshot)>> = OnceLock::new();
    ALL.get_or_init(|| judged(&shown())).clone()
}

/// The snapshot of one of [`all`].
pub(crate) fn of(name: &str) -> Snapshot {
    all().into_iter().find(|(n, _)| *n == name).expect("a site of that name").1
}
