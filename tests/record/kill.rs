//! Killing a writer at random moments, and what must be left of the record then.

use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::{
    Detail, Entry, Judge, Known, Lane, Micros, Moment, NameAnswer, Observation, Outcome, Question, Rtt, Session,
    Settings,
};
use pathproof::record::{Last, Seal, Stop, Writer, hold, read};
use pathproof::site::requirements::shipped;
use pathproof::sys::clock;
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};
use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Entries a second: a hundred times what a watch writes.
const A_SECOND: u64 = 200;
/// How long a process may take to start, hold the record and write, on a busy machine.
const STARTS: f64 = 3.0;
/// What may be lost.
const MAY_LOSE: f64 = 5.0;

fn settings() -> Settings {
    let all = shipped("household").expect("ships");
    Settings {
        receivers: BTreeSet::new(),
        tls_receivers: BTreeSet::new(),
        patience: Micros::from_secs(2),
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements: RequirementSet { require: Vec::new(), ..all },
        out_of_scope: vec![],
        known: Known::default(),
    }
}

/// The `n`th entry of a writer.
pub(crate) fn entry(n: i64, asked: Moment) -> Entry {
    let targets = ["reference-a", "reference-b", "reference-c"];
    Entry::Seen(Observation {
        asked,
        known: asked + Micros(500),
        question: Question::Reference,
        target: targets[n as usize % 3].into(),
        outcome: if n % 97 == 0 { Outcome::Timeout } else { Outcome::Answered },
        rtt: Some(Rtt { took: Micros(n), kernel: true }),
        detail: if n % 5 == 0 {
            Detail::Name(NameAnswer { answers: 3, ..NameAnswer::default() })
        } else {
            Detail::None
        },
    })
}

/// Goes on with a record until killed. Each entry carries its number and the time it was made.
pub(crate) fn write(path: &Path) {
    let held = hold(path).expect("holds");
    assert_eq!(held.mended(), None, "a kill must not damage the record");
    let (mut plain, mut n) = (Judge::new(settings()), 0);
    let passed_over = held
        .replay(|e| {
            plain.take(e);
            n += i64::from(matches!(e, Entry::Seen(_)));
        })
        .expect("reads");
    assert_eq!(passed_over, 0);
    // Whatever checkpoint the kill has left tells what the whole record does.
    let seal = Seal::new(b"this machine");
    let mut judge = held.judge(settings(), Some(&seal), || {}).expect("reads").judge;
    assert!(format!("{:?}", judge.look()) == format!("{:?}", plain.look()), "a checkpoint is not the record's");
    let last = Last::of(&judge);
    let id = clock::boot_id();
    let boot = clock::boot_time();
    assert!(matches!(last.stop(&id), None | Some(Stop::Killed)), "{:?}", last.stop(&id));
    let mut w = Writer::resume(held, "{}").expect("resumes").sealing(Some(seal), 0);
    // The axis of this test is the boot-time clock itself.
    let session = Session { at: Moment(boot.0), boot_id: id, boot, wall: clock::wall_time(), synced: None };
    let mut keep = |e: Entry, checkpoint: bool| {
        judge.take(&e);
        assert!(w.keep(e));
        if checkpoint {
            w.checkpoint(&judge);
        }
    };
    keep(Entry::Began(session), false);
    loop {
        for _ in 0..A_SECOND / 20 {
            keep(entry(n, Moment(clock::boot_time().0)), n % 41 == 0);
            n += 1;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// Kills `writers` writers `times` times each, at moments up to `longest` seconds after their start; checks each time
/// that the record is whole and what was lost. Gives the figures in words.
pub(crate) fn many(writers: u64, times: u64, longest: u64) -> String {
    let all: Vec<(f64, u64)> = std::thread::scope(|s| {
        let each: Vec<_> = (0..writers).map(|w| s.spawn(move || one(w, times, longest))).collect();
        each.into_iter().flat_map(|t| t.join().expect("no writer's check fails")).collect()
    });
    let worst = all.iter().map(|l| l.0).fold(0.0, f64::max);
    let entries: u64 = all.iter().map(|l| l.1).sum();
    assert!(entries > A_SECOND * all.len() as u64 / 2, "only {entries} entries were ever found: nothing was tested");
    format!("{} kills, {entries} entries found again, at most {worst:.2} s lost", all.len())
}

fn one(seed: u64, times: u64, longest: u64) -> Vec<(f64, u64)> {
    let mut draw = Xoshiro256PlusPlus::seed_from_u64(seed);
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    let mut before = 0;
    (0..times)
        .map(|_| {
            let started = clock::boot_time();
            let mut child = Command::new(std::env::current_exe().expect("has a path"))
                .args(["job", "--exact", "--ignored", "--nocapture"])
                .env("PATHPROOF_TEST_JOB", format!("write {}", path.display()))
                .stdout(Stdio::null())
                .spawn()
                .expect("starts");
            // Random from nothing on: making the file and taking it over must bear it too.
            std::thread::sleep(Duration::from_micros(draw.random_range(0..longest * 1_000_000)));
            assert!(child.try_wait().expect("can be asked").is_none(), "it ended by itself: see above");
            child.kill().expect("is killed");
            let killed = clock::boot_time();
            child.wait().expect("is gone");
            let (numbers, newest) = found(&path);
            assert!(numbers.iter().copied().eq(0..numbers.len() as i64), "none is missing in between");
            assert!(numbers.len() >= before, "nothing that was there is gone");
            let new = numbers.len() - before;
            // Where nothing of this round is found, all it may have made is lost.
            let since = if new > 0 { Micros(newest.0) } else { started + Micros((STARTS * 1e6) as i64) };
            let lost = (killed - since).secs().max(0.0);
            assert!(lost <= MAY_LOSE, "{lost} s lost");
            before = numbers.len();
            (lost, new as u64)
        })
        .collect()
}

/// Numbers of the entries and the time of the last one.
fn found(path: &Path) -> (Vec<i64>, Moment) {
    if !path.exists() || path.metadata().is_ok_and(|m| m.len() == 0) {
        return (Vec::new(), Moment(0));
    }
    let (mut numbers, mut at) = (Vec::new(), Moment(0));
    // Reading before `SQLite` has put its log away: as a report of a killed record does.
    let record = match read(path) {
        Ok(record) => record,
        Err(e) => {
            // Killed before it could say what it is; nothing was in it.
            assert!(e.to_string().contains("says nothing of itself") || e.to_string().contains("mark"), "{e}");
            return (numbers, at);
        }
    };
    let passed_over = record
        .replay(|e| {
            if let Entry::Seen(o) = e {
                numbers.push(o.rtt.expect("carries its number").took.0);
                at = o.asked;
            }
        })
        .expect("reads");
    assert_eq!(passed_over, 0);
    (numbers, at)
}
