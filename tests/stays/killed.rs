//! SIGKILL at random moments, from the first instant on; then the next agent goes on.

use super::lateness::{Stretch, hold};
use super::{Watch, all, folder, once, report};
use pathproof::judge::{Entry, Micros, Moment};
use pathproof::sys::clock;
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt as _, SeedableRng as _};
use std::path::Path;
use std::time::Duration;

/// What may be lost, and how long the program may take to start on a busy machine before it sees anything.
const MAY_LOSE: f64 = 5.0;
const STARTS: f64 = 3.0;

#[test]
fn ten_kills_leave_a_whole_record_that_knows_of_each() {
    killed(11, 10, 6_000);
}

#[test]
#[ignore = "twenty minutes; the record's own 300 kills under load are cargo bench --bench record"]
fn three_hundred_kills() {
    killed(12, 300, 8_000);
}

fn killed(seed: u64, times: usize, longest_ms: u64) {
    println!("seed {seed}");
    let mut draw = Xoshiro256PlusPlus::seed_from_u64(seed);
    let dir = folder();
    let path = dir.path().join("r.db");
    let (mut before, mut worst, mut told) = (Vec::new(), 0.0f64, 0);
    for n in 0..times {
        let started = clock::boot_time();
        let mut w = Watch::start(dir.path(), n, "", "r.db");
        let stretch = Stretch::begin(&[w.child.id()]);
        std::thread::sleep(Duration::from_millis(draw.random_range(0..longest_ms)));
        w.runs();
        let late = stretch.late();
        w.kill();
        let killed = clock::boot_time();
        let log = w.log();
        assert!(!log.contains("damaged") && !log.contains("passed over"), "{log}");
        told += usize::from(log.contains("it stopped without a word while this machine ran on"));
        let now = found(&path);
        assert!(now.len() >= before.len() && now[..before.len()] == before[..], "nothing that was there is gone");
        let new = &now[before.len()..];
        // The axis is the boot-time clock from this session's start on.
        let axis = new.iter().find_map(|e| if let Entry::Began(s) = e { Some(s.at - Moment(s.boot.0)) } else { None });
        let newest = new.iter().map(Entry::known).max();
        let since = match (axis, newest) {
            (Some(axis), Some(newest)) => Micros((newest - Moment(0)).0 - axis.0),
            _ => started + Micros((STARTS * 1e6) as i64),
        };
        let lost = (killed - since).secs().max(0.0);
        let seconds = Duration::from_secs_f64;
        hold(&format!("lost by kill {n}: {log}"), seconds(lost), seconds(MAY_LOSE), late);
        worst = worst.max(lost);
        before = now;
    }
    assert!(before.len() > times * 4, "only {} entries: nothing was tested", before.len());
    assert!(told >= times / 2, "the stop was recognised {told} times of {times}");
    let mut last = Watch::start(dir.path(), times, "", "r.db");
    last.says("Going on with r.db. The agent before: it stopped without a word");
    assert_eq!(last.stop(), Some(0));
    let json = report(dir.path(), "r.db");
    let troubles = json["troubles"].as_array().expect("troubles");
    assert!(troubles.iter().all(|t| t["outage"] == false), "a kill is no outage of the path: {troubles:#?}");
    assert!(once(dir.path(), &["export", "r.db"]).status.success());
    println!("{times} kills, {} entries, at most {worst:.2} s lost, {told} stops told by the next", before.len());
}

fn found(path: &Path) -> Vec<Entry> {
    match pathproof::record::read(path) {
        Ok(_) => all(path),
        // Killed before there was anything in it.
        Err(e) => {
            let words = e.to_string();
            let nothing_yet = ["no such file", "says nothing of itself", "mark", "is empty"];
            assert!(nothing_yet.iter().any(|w| words.to_lowercase().contains(w)), "{words}");
            Vec::new()
        }
    }
}
