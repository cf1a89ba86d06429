//! A small disk that fills up under a watch: it says so everywhere, loses nothing, and writes when it can again; killed
//! meanwhile, what it held in memory is a gap that the next agent knows of.

use super::lateness::{Stretch, hold};
use super::{Watch, all, folder, report};
use pathproof::judge::Entry;
use std::fs::File;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Every entry of the record there. On a copy: `SQLite` takes apart links on the way to a file, which this way does not
/// bear.
fn entries_of(disk: &Path) -> Vec<Entry> {
    let dir = tempfile::tempdir().expect("temp dir");
    copy(disk, dir.path());
    all(&dir.path().join("r.db"))
}

/// Copies the record between two commits: what is torn is looked for by its size, and copied again.
fn copy(disk: &Path, to: &Path) {
    let sizes = || ["r.db", "r.db-wal"].map(|n| disk.join(n).metadata().map(|m| (m.len(), m.modified().ok())).ok());
    loop {
        let before = sizes();
        for name in ["r.db", "r.db-wal"] {
            let _ = std::fs::remove_file(to.join(name));
            if disk.join(name).exists() {
                std::fs::copy(disk.join(name), to.join(name)).expect("copies");
            }
        }
        if sizes() == before {
            return;
        }
    }
}

/// The small disk, seen from outside its mount namespace.
fn disk(w: &Watch, dir: &Path) -> PathBuf {
    PathBuf::from(format!("/proc/{}/root{}/disk", w.child.id(), dir.display()))
}

fn fill(disk: &Path) {
    let mut ballast = File::create(disk.join("ballast")).expect("is made");
    for block in [64 << 10, 4 << 10, 1 << 10, 64, 1] {
        while ballast.write_all(&vec![7; block]).is_ok() {}
    }
}

const MOUNT: &str = "mount -t tmpfs -o size=600k none disk &&";

#[test]
fn a_full_disk_is_told_everywhere_and_nothing_is_lost_when_there_is_room_again() {
    let dir = folder();
    std::fs::create_dir(dir.path().join("disk")).expect("is made");
    let mut w = Watch::start(dir.path(), 1, MOUNT, "disk/r.db");
    w.says("Metrics: ");
    let stretch = Stretch::begin(&[w.child.id()]);
    let disk = disk(&w, dir.path());
    let record = disk.join("r.db");
    w.until("the first entries", |_| record.metadata().is_ok_and(|m| m.len() > 4_000) && entries_of(&disk).len() > 10);
    w.until("metrics", |w| w.metrics().contains("pathproof_record_state{state=\"writing\"} 1"));
    fill(&disk);
    w.until("the metric", |w| w.metrics().contains("pathproof_record_state{state=\"waiting\"} 1"));
    w.says("the record can't be written: record: database or disk is full; watching goes on in memory");
    let waiting = |text: &str| -> f64 {
        let line = text.lines().find(|l| l.starts_with("pathproof_record_entries_waiting ")).expect("told");
        line.rsplit(' ').next().expect("a value").parse().expect("a number")
    };
    w.until("entries that wait", |w| waiting(&w.metrics()) > 20.0);
    std::fs::remove_file(disk.join("ballast")).expect("goes");
    w.until("writing again", |w| {
        let text = w.metrics();
        text.contains("pathproof_record_state{state=\"writing\"} 1") && waiting(&text) < 20.0
    });
    assert!(w.metrics().contains("pathproof_record_entries_lost_total 0"));
    let entries = entries_of(&disk);
    let known: Vec<f64> = entries.iter().map(|e| e.known().secs()).collect();
    let widest = known.windows(2).map(|p| p[1] - p[0]).fold(0.0, f64::max);
    println!("the widest gap between two entries is {widest:.2} s");
    let (widest, most) = (Duration::from_secs_f64(widest), Duration::from_secs(3));
    hold("the widest gap, for nothing is missing", widest, most, stretch.late());
    // Full again, and killed: what waited in memory is gone, and the gap is known as one.
    fill(&disk);
    w.until("waiting again", |w| w.metrics().contains("pathproof_record_state{state=\"waiting\"} 1"));
    w.until("entries that wait", |w| waiting(&w.metrics()) > 20.0);
    copy(&disk, dir.path());
    w.kill();
    let before = all(&dir.path().join("r.db")).len();
    let mut next = Watch::start(dir.path(), 2, "", "r.db");
    next.says("The agent before: it stopped without a word while this machine ran on");
    next.until("new entries", |_| all(&dir.path().join("r.db")).len() > before + 10);
    assert_eq!(next.stop(), Some(0));
    let entries = all(&dir.path().join("r.db"));
    assert_eq!(entries.iter().filter(|e| matches!(e, Entry::Began(_))).count(), 2);
    let json = report(dir.path(), "r.db");
    let (elapsed, observed) = (json["watch"]["elapsed_s"].as_f64(), json["watch"]["observed_s"].as_f64());
    assert!(
        observed.expect("seen") < elapsed.expect("spans") - 2.0,
        "the gap is not counted as seen: {}",
        json["watch"]
    );
    assert!(json["troubles"].as_array().expect("troubles").iter().all(|t| t["outage"] == false));
}
