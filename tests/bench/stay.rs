//! What a watch takes while it stays: a busy spell in the lab, with a real Prometheus' pace of scrapes, once from
//! nothing and once on a record of months; figures set beside the aims, and a day reckoned from them.
//!
//! `cargo bench --bench stay [minutes] [days before]` (10 and 92). Every other minute something fails: the line, the
//! receiver, the lead. Memory, descriptors, processor time and written bytes are the kernel's (`proc(5)`), traffic is the
//! interface's counters. Needs root and what the lab needs.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![allow(clippy::unwrap_used, reason = "a bench may stop at the first surprise")]

mod days;
#[path = "../support/lateness.rs"]
mod lateness;
#[path = "../lab/place.rs"]
#[allow(dead_code, clippy::print_stderr, reason = "the lab has more than is needed here, and says where its logs are")]
mod place;

use days::{DAY, asks, day};
use pathproof::judge::{Ending, Entry, Micros, Moment, Observation, Session, WallTime};
use pathproof::record::{Writer, hold};
use pathproof::sys::clock;
use place::Place;
use rand::SeedableRng as _;
use rand::rngs::Xoshiro256PlusPlus;
use std::path::Path;
use std::process::{Child, Command, ExitCode, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");
/// The aims.
const MOST_MEMORY_MB: f64 = 20.0;
const MOST_CORE_PERCENT: f64 = 1.0;
const MOST_TRAFFIC_MB: f64 = 10.0;
/// Left out: reading the record back, the first look round, what is allocated once.
const START: Duration = Duration::from_mins(1);
const SCRAPED: Duration = Duration::from_secs(15);

fn main() -> ExitCode {
    let mut numbers = std::env::args().filter_map(|a| a.parse::<u64>().ok());
    let (minutes, before) = (numbers.next().unwrap_or(10), numbers.next().unwrap_or(92));
    let mut fine = true;
    for days_before in [0, before] {
        println!("{minutes} min in the lab, on a record of {days_before} days:");
        let quiet = run(Duration::from_secs(minutes * 60), days_before, false);
        fine &= quiet.told("  quiet");
        let busy = run(Duration::from_secs(minutes * 60), days_before, true);
        // Trouble is asked about each second, and is no day's whole: only memory is held to its aim here.
        busy.told("  busy");
        fine &= busy.most_mb <= MOST_MEMORY_MB;
        if before == 0 {
            break;
        }
    }
    if fine { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

#[derive(Debug, Default)]
struct Figures {
    ready_s: f64,
    most_mb: f64,
    rss_mb: Vec<f64>,
    descriptors: Vec<usize>,
    threads: f64,
    core_percent: f64,
    written_mb_a_day: f64,
    beyond_mb_a_day: f64,
    traffic_mb_a_day: f64,
    metrics_bytes: usize,
}

impl Figures {
    fn told(&self, when: &str) -> bool {
        let third = self.rss_mb.len() / 3;
        let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len().max(1) as f64;
        let (early, late) = (mean(&self.rss_mb[..third]), mean(&self.rss_mb[self.rss_mb.len() - third..]));
        let (few, many) = (self.descriptors.iter().min().unwrap(), self.descriptors.iter().max().unwrap());
        println!(
            "{when}: ready after {:.1} s; {:.0} threads; {} bytes a scrape",
            self.ready_s, self.threads, self.metrics_bytes
        );
        println!(
            "{when}: memory at most {:.2} MB, first third {early:.2}, last third {late:.2}; descriptors {few} to {many}",
            self.most_mb
        );
        println!(
            "{when}: {:.3} % of a core; a day: {:.2} MB of traffic, {:.2} MB of it beyond the router; {:.2} MB handed to the disk",
            self.core_percent, self.traffic_mb_a_day, self.beyond_mb_a_day, self.written_mb_a_day
        );
        let all = [
            ("memory, MB", self.most_mb, MOST_MEMORY_MB),
            ("processor, % of a core", self.core_percent, MOST_CORE_PERCENT),
            ("traffic, MB a day", self.traffic_mb_a_day, MOST_TRAFFIC_MB),
        ];
        for (what, value, aim) in all {
            println!("{when}: {what}: {value:.2}, aim {aim:.2}: {}", if value <= aim { "ok" } else { "OVER" });
        }
        all.iter().all(|(_, value, aim)| value <= aim)
    }
}

fn run(length: Duration, days_before: u64, busy: bool) -> Figures {
    let mut lab = Place::new(if busy { "busy" } else { "quiet" });
    let site = lab.site_file("");
    let text = std::fs::read_to_string(&site).unwrap();
    let (head, _) = text.split_once("[cadence]").expect("the lab's file is faster than the default");
    std::fs::write(&site, head).unwrap();
    let record = lab.dir().join("stay.db");
    if days_before > 0 {
        fill(&lab, &site, &record, days_before as i64);
    }
    let began = Instant::now();
    let log = lab.dir().join("watch.log");
    let mut child = ready(&lab, &site, &record, "watch.log");
    let mut f = Figures { ready_s: began.elapsed().as_secs_f64(), ..Figures::default() };
    let pid = child.id();
    let mut from = None;
    let (mut last_scrape, mut step) = (Instant::now(), 0);
    while began.elapsed() < START + length {
        sleep(Duration::from_secs(1));
        if last_scrape.elapsed() >= SCRAPED {
            last_scrape = Instant::now();
            f.metrics_bytes = scrape(&lab);
        }
        if busy {
            let minute = began.elapsed().as_secs() / 60;
            if minute > step {
                step = minute;
                trouble(&mut lab, minute);
            }
        }
        f.most_mb = f.most_mb.max(status(pid, "VmHWM") / 1024.0);
        if began.elapsed() < START {
            continue;
        }
        from.get_or_insert_with(|| {
            (Instant::now(), used_s(pid), written(pid), traffic(&lab, "host", "eth0"), traffic(&lab, "router", "wan0"))
        });
        f.rss_mb.push(status(pid, "VmRSS") / 1024.0);
        f.descriptors.push(std::fs::read_dir(format!("/proc/{pid}/fd")).unwrap().count());
    }
    let (at, used, disk, wire, beyond) = from.unwrap();
    let seconds = at.elapsed().as_secs_f64();
    let a_day = |bytes: f64| bytes / seconds * 86_400.0 / 1e6;
    f.threads = status(pid, "Threads");
    f.core_percent = 100.0 * (used_s(pid) - used) / seconds;
    f.written_mb_a_day = a_day(written(pid) - disk);
    f.traffic_mb_a_day = a_day(traffic(&lab, "host", "eth0") - wire);
    f.beyond_mb_a_day = a_day(traffic(&lab, "router", "wan0") - beyond);
    place::must(&format!("kill -TERM {pid}"));
    let ended = child.wait().unwrap();
    assert_eq!(ended.code(), Some(0), "{}", std::fs::read_to_string(&log).unwrap());
    papers(&lab, &record);
    let again = Instant::now();
    let mut child = ready(&lab, &site, &record, "again.log");
    println!("  ready again, from its checkpoint, after {:.1} s", again.elapsed().as_secs_f64());
    place::must(&format!("kill -TERM {}", child.id()));
    assert_eq!(child.wait().unwrap().code(), Some(0));
    f
}

/// A watch that has read its record back and watches.
fn ready(lab: &Place, site: &Path, record: &Path, log: &str) -> Child {
    let mut child = start(lab, site, record, log);
    let log = lab.dir().join(log);
    while !std::fs::read_to_string(&log).unwrap().contains("Metrics:") {
        assert!(child.try_wait().unwrap().is_none(), "{}", std::fs::read_to_string(&log).unwrap());
        sleep(Duration::from_millis(20));
    }
    child
}

/// Every paper in every form, from the record as the watch left it, and once more as somebody else would judge it: without
/// the checkpoint.
fn papers(lab: &Place, record: &Path) {
    let told = |kind: &str, record: &Path| {
        let files = ["html", "pdf", "txt", "json"].map(|form| lab.dir().join(format!("{kind}.{form}")));
        let mut all = vec!["report".as_ref(), record.as_os_str(), "--as".as_ref(), kind.as_ref()];
        all.extend(files.iter().flat_map(|f| ["--out".as_ref(), f.as_os_str()]));
        let began = Instant::now();
        // The kernel's own count of the most memory it held (wait4(2)).
        let out = Command::new("/usr/bin/python3")
            .args(["-c", "import os, sys\npid = os.spawnv(os.P_NOWAIT, sys.argv[1], sys.argv[1:])\nprint(os.wait4(pid, 0)[2].ru_maxrss)", PROGRAM])
            .args(all)
            .stderr(Stdio::inherit())
            .output()
            .unwrap();
        let took = began.elapsed();
        let kib: f64 = String::from_utf8_lossy(&out.stdout).trim().parse().unwrap();
        println!("  {kind}, four forms: {:.3} s, at most {:.1} MB", took.as_secs_f64(), kib / 1024.0);
    };
    println!("  from the record as the watch left it:");
    for kind in ["letter", "ticket", "survey-record"] {
        told(kind, record);
    }
    let bare = lab.dir().join("bare.db");
    std::fs::copy(record, &bare).unwrap();
    rusqlite::Connection::open(&bare).and_then(|c| c.execute_batch("DELETE FROM checkpoint")).unwrap();
    println!("  without its checkpoint:");
    told("ticket", &bare);
    let json =
        |r: &Path| Command::new(PROGRAM).arg("report").arg(r).args(["--format", "json"]).output().unwrap().stdout;
    assert!(json(record) == json(&bare), "a checkpoint changes nothing that is told");
}

fn start(lab: &Place, site: &Path, record: &Path, log: &str) -> Child {
    let log = std::fs::File::create(lab.dir().join(log)).unwrap();
    Command::new("setpriv")
        .args(["--pdeathsig", "KILL", "ip", "netns", "exec", &lab.ns("host"), PROGRAM, "watch"])
        .arg(site)
        .arg("--record")
        .arg(record)
        .stdin(Stdio::null())
        .stdout(log.try_clone().unwrap())
        .stderr(log)
        .spawn()
        .unwrap()
}

/// Months of made-up days put into a record that the program itself has begun, as if it had been off for a moment since.
fn fill(lab: &Place, site: &Path, record: &Path, days: i64) {
    let mut child = start(lab, site, record, "first.log");
    sleep(Duration::from_secs(8));
    place::must(&format!("kill -TERM {}", child.id()));
    assert_eq!(child.wait().unwrap().code(), Some(0));
    let held = hold(record).unwrap();
    let about = held.about().unwrap().to_owned();
    let mut base = Moment(0);
    held.replay(|e| base = base.max(e.known() + Micros::from_secs(1))).unwrap();
    let mut writer = Writer::resume(held, &about).unwrap();
    let mut keep = |e: Entry| {
        while !writer.keep(e.clone()) {
            sleep(Duration::from_millis(1));
        }
    };
    let wall = WallTime(clock::wall_time().0 - days * DAY);
    keep(Entry::Began(Session { at: base, boot_id: "before".into(), boot: Micros(0), wall, synced: Some(true) }));
    let (asks, mut draw) = (asks(), Xoshiro256PlusPlus::seed_from_u64(5));
    let later = |at: Moment| base + (at - Moment(0));
    for n in 0..days {
        for e in day(n, &asks, &mut draw) {
            if let Entry::Seen(o) = e {
                keep(Entry::Seen(Observation { asked: later(o.asked), known: later(o.known), ..o }));
            }
        }
    }
    keep(Entry::Ended { at: later(Moment(days * DAY)), how: Ending::Interrupted });
    writer.finish().unwrap();
}

/// Something fails on odd minutes and is well again on even ones.
fn trouble(lab: &mut Place, minute: u64) {
    match minute % 6 {
        1 => lab.drop_arriving("net", "cut", "iifname far0"),
        2 => lab.let_pass("net", "cut"),
        3 => lab.kill("receiver"),
        4 => lab.receiver(),
        5 => lab.ip("sw", "link set port0 down"),
        _ => lab.ip("sw", "link set port0 up"),
    }
}

fn scrape(lab: &Place) -> usize {
    let program =
        "import urllib.request as u\nprint(len(u.urlopen('http://127.0.0.1:9750/metrics', timeout=5).read()))";
    let out = Command::new("ip")
        .args(["netns", "exec", &lab.ns("host"), "/usr/bin/python3", "-c", program])
        .output()
        .unwrap();
    String::from_utf8_lossy(&out.stdout).trim().parse().unwrap()
}

fn status(pid: u32, name: &str) -> f64 {
    let text = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap();
    let value = text.lines().find_map(|l| l.strip_prefix(name)?.strip_prefix(':'));
    value.and_then(|v| v.split_whitespace().next()?.parse().ok()).unwrap()
}

/// Bytes it caused to be sent to the disk; what is written again before it is sent counts each time.
fn written(pid: u32) -> f64 {
    let text = std::fs::read_to_string(format!("/proc/{pid}/io")).unwrap();
    text.lines().find_map(|l| l.strip_prefix("write_bytes: ")?.parse().ok()).unwrap()
}

/// Bytes through an interface, both ways, frames' heads with them.
fn traffic(lab: &Place, ns: &str, dev: &str) -> f64 {
    let out = Command::new("ip").args(["-n", &lab.ns(ns), "-j", "-s", "link", "show", dev]).output().unwrap();
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
    let of = |way: &str| json[0]["stats64"][way]["bytes"].as_f64().unwrap();
    of("rx") + of("tx")
}

/// Processor time of all its threads, user and system (fields 14 and 15 of `proc_pid_stat(5)`), seconds.
fn used_s(pid: u32) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap();
    // The name in parentheses may hold anything; what follows the last one starts with field 3.
    let after: Vec<&str> = stat.rsplit_once(')').unwrap().1.split_whitespace().collect();
    let ticks = after[11].parse::<f64>().unwrap() + after[12].parse::<f64>().unwrap();
    ticks / nix::unistd::sysconf(nix::unistd::SysconfVar::CLK_TCK).unwrap().unwrap() as f64
}
