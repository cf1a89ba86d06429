//! The record whole: three hundred kills under load; a week and a year at the rhythm of a watch (virtual time): size,
//! speed of writing, opening, judging and asking for a span. `cargo bench --bench record [kills] [days]`.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

mod days;
#[path = "../record/kill.rs"]
mod kill;

use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::settings::Known;
use pathproof::judge::{Entry, Judge, Lane, Micros, Moment, Session, Settings, WallTime};
use pathproof::record::{Writer, hold, read};
use pathproof::site::cadence::WATCH;
use rand::SeedableRng as _;
use rand::rngs::Xoshiro256PlusPlus;
use std::collections::BTreeSet;
use std::path::Path;
use std::time::{Duration, Instant};

use days::{DAY, SECOND, asks, day};

fn main() {
    if let Ok(job) = std::env::var("PATHPROOF_TEST_JOB")
        && let Some(("write", path)) = job.split_once(' ')
    {
        return kill::write(Path::new(path));
    }
    let mut numbers = std::env::args().filter_map(|a| a.parse::<u64>().ok());
    let (kills, days) = (numbers.next().unwrap_or(300), numbers.next().unwrap_or(365));
    if kills > 0 {
        println!("{}", kill::many(10, kills.div_ceil(10), 4));
    }
    for days in [7, days] {
        if days > 0 {
            simulate(days as i64);
        }
    }
}

fn judge() -> Judge {
    let set: RequirementSet =
        toml::from_str(include_str!("../../config/requirements/household.toml")).expect("the shipped set parses");
    let c = WATCH.cadence;
    Judge::new(Settings {
        receivers: BTreeSet::from(["station".into(), "station-2".into()]),
        tls_receivers: BTreeSet::new(),
        patience: Micros::from_secs(2),
        cadence: Lane::ALL.map(|l| (l, if l == Lane::Outside { c.outside } else { c.names })),
        supervision: None,
        requirements: set,
        out_of_scope: vec![],
        known: Known::default(),
    })
}

fn simulate(days: i64) {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    let mut writer = Writer::resume(hold(&path).expect("holds"), "{}").expect("resumes");
    let (asks, mut draw, mut live) = (asks(), Xoshiro256PlusPlus::seed_from_u64(5), judge());
    let session = Entry::Began(Session {
        at: Moment(0),
        boot_id: "b".into(),
        boot: Micros(0),
        wall: WallTime(1_700_000_000 * SECOND),
        synced: Some(true),
    });
    live.take(&session);
    assert!(writer.keep(session));
    let (mut entries, began) = (1u64, Instant::now());
    for n in 0..days {
        for e in day(n, &asks, &mut draw) {
            live.take(&e);
            entries += 1;
            while !writer.keep(e.clone()) {
                std::thread::sleep(Duration::from_millis(1));
            }
        }
    }
    writer.finish().expect("written");
    let took = began.elapsed();
    let size = || std::fs::metadata(&path).expect("there").len() as f64;
    println!(
        "{days} d: {entries} entries in {took:.1?}; {:.1} MB, {:.2} bytes an entry, {:.2} MB a week",
        size() / 1e6,
        size() / entries as f64,
        size() / 1e6 / days as f64 * 7.0
    );
    let timed = |what: &str, run: &mut dyn FnMut() -> u64| {
        let began = Instant::now();
        let count = run();
        println!("  {what}: {:.3?} ({count} entries)", began.elapsed());
    };
    timed("held for writing, checked", &mut || drop_count(hold(&path)));
    let mut replayed = judge();
    timed("judged from the record", &mut || {
        let mut n = 0;
        read(&path)
            .expect("opens")
            .replay(|e| {
                n += 1;
                replayed.take(e);
            })
            .expect("reads");
        n
    });
    let same = |j: &Judge| format!("{:?}", j.look());
    assert!(same(&live) == same(&replayed), "the record judged is the watch judged");
    let outages = live.look().troubles.iter().filter(|t| t.path_down.is_some()).count() as i64;
    assert_eq!(outages, (0..days).filter(|d| d % 3 == 1).count() as i64, "as many as were played");
    let record = read(&path).expect("opens");
    timed("an hour in the middle", &mut || {
        let from = Moment(days / 2 * DAY + 40_000 * SECOND);
        let mut n = 0;
        record.replay_span(from..=from + Micros::from_secs(3_600), |_| n += 1).expect("reads");
        n
    });
    timed("starts and steps", &mut || {
        let mut n = 0;
        record.marks(|_| n += 1).expect("reads");
        n
    });
    drop(record);
    // As the writer does it of itself beyond its months.
    let mut held = hold(&path).expect("holds");
    let began = Instant::now();
    let groups = held.roll_up(Moment((days - 92).max(days / 2) * DAY)).expect("rolls up");
    drop(held);
    println!("  rolled up {groups} groups in {:.1?}: free pages are used again by what comes", began.elapsed());
    let kept: f64 = rusqlite::Connection::open(&path)
        .and_then(|c| c.query_row("SELECT sum(length(bytes)) FROM chunk", [], |r| r.get::<_, i64>(0)))
        .expect("sums") as f64;
    println!("  bytes of chunks after it: {:.1} MB", kept / 1e6);
    let mut after = judge();
    read(&path).expect("opens").replay(|e| after.take(e)).expect("reads");
    assert!(same(&live) == same(&after), "rolling up changes nothing that is judged");
}

fn drop_count<T>(held: Result<T, pathproof::record::RecordError>) -> u64 {
    drop(held.expect("holds"));
    0
}
