//! The watch as its keepers meet it: started, stopped, killed, told to read its site file anew, refused; and the agent
//! under a wall clock that is set.
//!
//! The program runs in a network namespace of its own (util-linux's `unshare`), where nothing can leave.

#[path = "support/lateness.rs"]
mod lateness;

use lateness::Stretch;
use pathproof::agent::{Agent, Leave, Left};
use pathproof::judge::{Entry, Judge, Lane, Micros, Moment, Settings, WallTime, requirement::RequirementSet};
use pathproof::record::{Fed, Last, Seal, Stop, Writer, hold, read};
use pathproof::site::{HostFacts, SiteFile, cadence, load, resolve_at};
use pathproof::sys::clock::{self, Clock};
use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");

fn folder() -> TempDir {
    tempfile::Builder::new().prefix("watch-").tempdir().expect("a folder")
}

fn site(dir: &TempDir, text: &str) {
    fs::write(dir.path().join("site.toml"), text).expect("writes");
}

const SITE: &str = "[site]\nid = \"house-7\"\n\n[[receiver]]\nname = \"station\"\nhost = \"127.0.0.1\"\nport = 7700\n\n\
                    [[reference]]\nname = \"near\"\naddress = \"127.0.0.1\"\n\n[cadence]\nreceiver = \"1s\"\n\
                    outside = \"1s\"\n";

/// A watch at work, its output in a file.
struct Watch {
    child: Child,
    log: PathBuf,
}

impl Watch {
    fn start(dir: &TempDir, n: u32) -> Self {
        let log = dir.path().join(format!("log-{n}"));
        let file = File::create(&log).expect("a log");
        let shell = format!("ip link set lo up && exec '{PROGRAM}' watch site.toml --record r.db");
        let child = Command::new("unshare")
            .args(["-Urn", "sh", "-c", &shell])
            .current_dir(dir)
            .env("PATHPROOF_LOG", "info")
            .stdin(Stdio::null())
            .stderr(file.try_clone().expect("the same log"))
            .stdout(file)
            .spawn()
            .expect("needs unshare of util-linux");
        Self { child, log }
    }

    fn log(&self) -> String {
        fs::read_to_string(&self.log).expect("reads")
    }

    fn says(&mut self, words: &str) {
        let log = self.log.clone();
        let said = || fs::read_to_string(&log).expect("reads");
        let stretch = Stretch::begin(&[self.child.id()]);
        stretch.until(
            Duration::from_mins(1),
            || format!("{words:?} is said:\n{}", said()),
            || {
                let ended = self.child.try_wait().expect("can be asked");
                assert!(ended.is_none(), "it ended ({ended:?}) before it said {words:?}:\n{}", said());
                said().contains(words)
            },
        );
    }

    fn signal(&self, name: &str) {
        let status = Command::new("sh").args(["-c", &format!("kill -s {name} {}", self.child.id())]).status();
        assert!(status.expect("sh runs").success(), "it runs");
    }

    fn ends(mut self, code: Option<i32>) -> String {
        let status = self.child.wait().expect("ends");
        assert_eq!(status.code(), code, "{}", self.log());
        self.log()
    }
}

/// Waits until a record that is being written has so many entries.
fn grown(path: &Path, entries: usize) {
    let words = || format!("{entries} entries are in the record");
    Stretch::begin(&[]).until(Duration::from_mins(1), words, || {
        let mut n = 0;
        if let Ok(record) = read(path) {
            let _ = record.replay(|_| n += 1);
        }
        n >= entries
    });
}

fn all(path: &Path) -> Vec<Entry> {
    let mut out = Vec::new();
    assert_eq!(read(path).expect("opens").replay(|e| out.push(e.clone())).expect("reads"), 0);
    out
}

fn once(dir: &TempDir, args: &[&str]) -> Output {
    Command::new("unshare").args(["-Urn", PROGRAM]).args(args).current_dir(dir).output().expect("runs")
}

#[test]
fn it_goes_on_with_its_record_and_knows_how_it_stopped() {
    let d = folder();
    let path = d.path().join("r.db");
    site(&d, SITE);
    let mut first = Watch::start(&d, 1);
    first.says("A new record: r.db");
    first.says("What is sent, to whom, and how often:");
    grown(&path, 10);
    first.signal("TERM");
    let log = first.ends(Some(0));
    assert!(log.contains("Stopped.") && log.contains("pathproof report r.db"), "{log}");
    let clean = all(&path);
    assert!(matches!(clean.last(), Some(Entry::Ended { .. })));

    let mut second = Watch::start(&d, 2);
    second.says("Going on with r.db. The agent before: it was stopped");
    grown(&path, clean.len() + 10);
    // A second agent on the same record.
    let other = once(&d, &["watch", "site.toml", "--record", "r.db"]);
    assert_eq!(other.status.code(), Some(75), "{other:?}");
    assert!(String::from_utf8_lossy(&other.stderr).contains("another agent"), "{other:?}");
    let refused = once(&d, &["forget", "r.db", "--all"]);
    assert_eq!(refused.status.code(), Some(75), "{refused:?}");
    second.child.kill().expect("is killed");
    second.child.wait().expect("is gone");
    let killed = all(&path);
    assert_eq!(killed[..clean.len()], clean, "nothing of before is changed");

    let mut third = Watch::start(&d, 3);
    third.says("The agent before: it stopped without a word while this machine ran on");
    grown(&path, killed.len() + 10);
    third.signal("INT");
    third.ends(Some(0));
    let whole = all(&path);
    let mut judge = Judge::new(settings());
    let mut sessions = 0;
    let mut before = Moment(0);
    for e in &whole {
        judge.take(e);
        sessions += u32::from(matches!(e, Entry::Began(_)));
        if let Entry::Began(s) = e {
            assert!(s.at >= before, "the axis runs on");
        }
        before = before.max(e.known());
    }
    assert_eq!((sessions, Last::of(&judge).stop(&clock::boot_id())), (3, Some(Stop::Clean)));
    let report = once(&d, &["report", "r.db", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_slice(&report.stdout).expect("JSON");
    assert_eq!(json["site"], "house-7");

    // The record for other programs: both forms say the same, and a span is a part of the whole.
    let csv = String::from_utf8(once(&d, &["export", "r.db"]).stdout).expect("text");
    let lines = String::from_utf8(once(&d, &["export", "r.db", "--format", "jsonl"]).stdout).expect("text");
    assert_eq!(csv.lines().count(), whole.len() + 1);
    assert_eq!(lines.lines().count(), whole.len());
    let object = |l: &str| serde_json::from_str::<serde_json::Value>(l).expect("JSON");
    let middle = object(lines.lines().nth(whole.len() / 2).expect("there"))["at"].as_str().expect("text").to_owned();
    let from = once(&d, &["export", "r.db", "--format", "jsonl", "--from", &middle]).stdout;
    let to = once(&d, &["export", "r.db", "--format", "jsonl", "--to", &middle]).stdout;
    // Entries of one moment may be known out of order, so a cut by time is not one by line.
    let sorted = |text: Vec<u8>| {
        let mut all: Vec<String> = String::from_utf8(text).expect("text").lines().map(str::to_owned).collect();
        all.sort();
        all
    };
    assert!(!to.is_empty() && !from.is_empty());
    assert!(sorted([to, from].concat()) == sorted(lines.into_bytes()), "two parts are the whole");
    let done = once(&d, &["forget", "r.db", "--before", &middle]);
    assert!(done.status.success(), "{done:?}");
    let left = all(&path);
    assert!(
        left.len() <= whole.len() / 2 + 2 && left.len() + 2 >= whole.len() / 2,
        "{} of {}",
        left.len(),
        whole.len()
    );
    assert!(once(&d, &["forget", "r.db", "--all"]).status.success() && !path.exists());
}

#[test]
fn the_site_file_is_read_anew_and_a_wrong_one_changes_nothing() {
    let d = folder();
    let path = d.path().join("r.db");
    site(&d, SITE);
    let mut w = Watch::start(&d, 1);
    grown(&path, 10);
    site(&d, &SITE.replace("[site]", "[sight]"));
    w.signal("HUP");
    w.says("The site file can't be used as it is now; the one before stays in force:");
    w.says("sight");
    site(&d, &SITE.replace("house-7", "house-8"));
    w.signal("HUP");
    w.says("The site file is now of another site (house-8)");
    site(&d, &format!("{SITE}\n[[receiver]]\nname = \"second\"\nhost = \"127.0.0.1\"\nport = 7701\n"));
    let before = all(&path).len();
    w.signal("HUP");
    w.says("The plan has changed:");
    w.says("second");
    grown(&path, before + 40);
    w.signal("TERM");
    w.ends(Some(0));
    let entries = all(&path);
    assert_eq!(entries.iter().filter(|e| matches!(e, Entry::Began(_))).count(), 1, "the same agent goes on");
    let asked = |name: &str| entries.iter().any(|e| matches!(e, Entry::Seen(o) if &*o.target == name));
    assert!(asked("station") && asked("second"));
    assert!(read(&path).expect("opens").about().contains("\"second\""));
    // Another site's record is refused.
    site(&d, &SITE.replace("house-7", "house-9"));
    let other = once(&d, &["watch", "site.toml", "--record", "r.db"]);
    assert_eq!(other.status.code(), Some(64), "{other:?}");
    assert!(String::from_utf8_lossy(&other.stderr).contains("house-7"), "{other:?}");
    assert_eq!(all(&path), entries);
}

static AHEAD: AtomicI64 = AtomicI64::new(0);

fn set_wall() -> WallTime {
    WallTime(clock::wall_time().0 + AHEAD.load(Ordering::Relaxed))
}

fn settings() -> Settings {
    Settings {
        receivers: BTreeSet::from(["station".into()]),
        tls_receivers: BTreeSet::new(),
        patience: Micros::from_secs(2),
        cadence: Lane::ALL.map(|l| (l, Micros::from_secs(1))),
        supervision: None,
        requirements: RequirementSet {
            require: Vec::new(),
            ..pathproof::site::requirements::shipped("household").expect("ships")
        },
        out_of_scope: vec![],
        known: pathproof::judge::settings::Known::default(),
    }
}

/// On loopback, where a listener stands for the station. The wall clock of the agent is set by an hour, by a year, and
/// back again, while it runs and while it is off.
#[test]
fn a_wall_clock_that_is_set_makes_no_outage_and_no_time() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = listener.local_addr().expect("has one").port();
    std::thread::spawn(move || listener.incoming().for_each(drop));
    let text = format!(
        "[[receiver]]\nname = \"station\"\nhost = \"127.0.0.1\"\nport = {port}\n[cadence]\nreceiver = \"1s\"\n"
    );
    let file: SiteFile = load("site.toml", text.as_bytes()).expect("sound");
    let mut plan = resolve_at(&file, &HostFacts::default(), &cadence::WATCH).plan;
    // Loopback alone: no packet may leave.
    (plan.loopback, plan.references, plan.resolvers) = (true, Vec::new(), Vec::new());
    plan.signs = pathproof::site::Signs::default();
    let plan = Arc::new(plan);
    let dir = folder();
    let path = dir.path().join("r.db");
    let year = 365 * 86_400_000_000i64;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("starts");
    let mut begins = Vec::new();
    let stretch = Stretch::begin(&[std::process::id()]);
    for (while_off, while_on) in [(0, [3_600_000_000, -year]), (year, [-3_600_000_000, 2 * year])] {
        AHEAD.fetch_add(while_off, Ordering::Relaxed);
        let held = hold(&path).expect("holds");
        // The second is judged on from the checkpoint of the first.
        let seal = Seal::new(b"this machine");
        let Fed { judge, passed_over, spared } = held.judge(settings(), Some(&seal), || {}).expect("reads");
        assert_eq!(spared > 0, while_off > 0);
        let last = Last::of(&judge);
        let at = last.begins(&clock::boot_id(), clock::boot_time(), set_wall(), Some(true));
        begins.push(at);
        let agent = Agent {
            plan: Arc::clone(&plan),
            clock: Clock::starting_at(at),
            wall: set_wall,
            judge,
            writer: Some(Writer::resume(held, "{}").expect("resumes").sealing(Some(seal), passed_over)),
            length: None,
            goes_on: false,
            marks: None,
        };
        let stop = async {
            for by in while_on {
                tokio::time::sleep(Duration::from_millis(2_500)).await;
                AHEAD.fetch_add(by, Ordering::Relaxed);
            }
            tokio::time::sleep(Duration::from_millis(2_500)).await;
            Leave::Stop
        };
        let mut steps = 0;
        let left = runtime.block_on(agent.run_until(stop, |turn| steps = turn.health.steps));
        let Left::Over(finished) = left else { panic!("nobody asked for another") };
        assert_eq!((steps, finished.record_trouble), (2, None));
        let look = finished.judge.look();
        assert!(look.troubles.is_empty(), "{:#?}", look.troubles);
    }
    assert!(begins[1].secs() > 5.0, "the axis knows of no year: {begins:?}");
    let seconds = Duration::from_secs_f64;
    lateness::hold("the axis knows of no year", seconds(begins[1].secs()), seconds(60.0), stretch.late());
    let mut judge = Judge::new(settings());
    let entries = all(&path);
    for e in &entries {
        judge.take(e);
    }
    let look = judge.look();
    assert_eq!(entries.iter().filter(|e| matches!(e, Entry::Stepped { .. })).count(), 4);
    lateness::hold("all of the watch", seconds(look.now.secs()), seconds(90.0), stretch.late());
    assert!(look.observed.secs() > 10.0, "{} of {}", look.observed, look.now.secs());
    assert!(look.troubles.is_empty(), "{:#?}", look.troubles);
}
