//! How late this host itself was: what a bound in seconds is widened by, and said to be.
//!
//! One thread sleeps a hundredth of a second over and over and notes how much later than that it woke. Twenty times a
//! second it also reads how long the threads of the processes it follows stood in line for a core (`/proc/PID/task/TID/schedstat`, second
//! number, nanoseconds; Linux kernel documentation, "Scheduler Statistics"), and whether they wait for the disk just then
//! (state D in `/proc/PID/task/TID/stat`; proc(5)): a record is closed with several flushes, each as slow as what others
//! write beside it. A process under test is late by all of it: it waits its own turn, and whoever it asks waits one more.
//!
//! A bound is held to its limit and that, no more. A host later than [`MOST`] is no judge of seconds: what misses its
//! limit then is neither passed nor failed, and the test stops and says so. Marks go to standard output past the test harness, which
//! keeps what a passed test prints: `WIDENED: `, `INCONCLUSIVE: ` and `REPLAYED: `, gathered by `tests/run`.
#![allow(dead_code, unreachable_pub, reason = "each test program uses its own part of this module")]

use pathproof::judge::{Micros, Observation};
use std::collections::BTreeMap;
use std::io::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::time::{Duration, Instant};

/// No bound is widened by more (choice: the longest bound held to the second here is 5 s).
pub const MOST: Duration = Duration::from_secs(5);
/// A host this late in two seconds may have been taken for a fault of the site (choice: half of the agent's patience).
pub const DISTURBING: Duration = Duration::from_millis(900);
const TICK: Duration = Duration::from_millis(10);
/// Ticks between two looks at the processes followed.
const LOOK: u32 = 5;
/// A sleep is never exact; what is less is not noted.
const NOTED: Duration = Duration::from_millis(2);
/// A look this long after a process is asked about still counts: who waits is counted when it gets its turn.
const AFTER: Duration = Duration::from_millis(100);

#[derive(Default)]
struct Seen {
    /// When a sleep was to end, and how much later it did.
    woke: Vec<(Instant, Duration)>,
    /// The last tick.
    beat: Option<Instant>,
    /// By process and thread: what it had waited until each look that found more.
    waited: BTreeMap<u32, BTreeMap<u32, Vec<(Instant, Duration)>>>,
    /// By process and thread: for how long looks found it waiting for the disk.
    disk: BTreeMap<(u32, u32), Duration>,
    /// The last look at the processes followed.
    looked: Option<Instant>,
}

/// A thread at a look.
struct Found {
    thread: u32,
    /// Stood in line for a core since it began.
    waited: Duration,
    /// Waits for the disk at this moment.
    disk: bool,
}

fn seen() -> MutexGuard<'static, Seen> {
    static SEEN: OnceLock<Mutex<Seen>> = OnceLock::new();
    let seen = SEEN.get_or_init(|| {
        std::thread::Builder::new().name("lateness".into()).spawn(tick).expect("a thread");
        Mutex::default()
    });
    // Every change is one push or assignment, so a panic elsewhere leaves nothing half-changed.
    seen.lock().unwrap_or_else(PoisonError::into_inner)
}

fn tick() {
    for n in 0_u32.. {
        let due = Instant::now() + TICK;
        std::thread::sleep(TICK);
        let by = due.elapsed();
        let followed: Vec<u32> = {
            let s = &mut *seen();
            s.beat = Some(Instant::now());
            if by > NOTED {
                s.woke.push((due, by));
            }
            if n.is_multiple_of(LOOK) { s.waited.keys().copied().collect() } else { Vec::new() }
        };
        for pid in followed {
            let (found, at) = (waited(pid), Instant::now());
            let s = &mut *seen();
            let since = s.looked.map_or(Duration::ZERO, |before| at - before);
            let Some(threads) = s.waited.get_mut(&pid) else { continue };
            for Found { thread, waited, disk } in found {
                let on_disk = s.disk.entry((pid, thread)).or_default();
                if disk {
                    *on_disk += since;
                }
                let total = waited + *on_disk;
                let looks = threads.entry(thread).or_default();
                if looks.last().is_none_or(|(_, before)| total > *before) {
                    looks.push((at, total));
                }
            }
        }
        if n.is_multiple_of(LOOK) {
            seen().looked = Some(Instant::now());
        }
    }
}

/// The threads of a process and what they wait for; nothing once the process is gone.
fn waited(pid: u32) -> Vec<Found> {
    let Ok(tasks) = std::fs::read_dir(format!("/proc/{pid}/task")) else { return Vec::new() };
    let of = |task: std::fs::DirEntry| {
        let text = std::fs::read_to_string(task.path().join("schedstat")).ok()?;
        let nanos = text.split_whitespace().nth(1)?.parse().ok()?;
        // The name before the state stands in brackets and may hold any.
        let stat = std::fs::read_to_string(task.path().join("stat")).ok()?;
        let disk = stat.rsplit_once(')')?.1.trim_start().starts_with('D');
        let thread = task.file_name().to_str()?.parse().ok()?;
        Some(Found { thread, waited: Duration::from_nanos(nanos), disk })
    };
    tasks.flatten().filter_map(of).collect()
}

/// Begins to watch this host, and a process if one is named. What comes before is not known.
pub fn follow(pid: Option<u32>) {
    let s = &mut *seen();
    if let Some(pid) = pid {
        // A process before it may have had the same number.
        let at = Instant::now();
        s.disk.retain(|(other, _), _| *other != pid);
        s.waited.insert(pid, waited(pid).into_iter().map(|f| (f.thread, vec![(at, f.waited)])).collect());
    }
}

/// How late this host was between two moments: the worst sleep, and what the thread that waited longest of each of these
/// processes waited in all.
pub fn between(from: Instant, to: Instant, pids: &[u32]) -> Duration {
    let s = &*seen();
    let slept = s.woke.iter().filter(|(due, by)| *due <= to && *due + *by >= from).map(|(_, by)| *by).max();
    // It sleeps still, and should not.
    let sleeping = s.beat.map_or(Duration::ZERO, |b| to.saturating_duration_since(b + TICK));
    let of = |looks: &Vec<(Instant, Duration)>| {
        // A thread seen first after that began after it, or had not waited before.
        let until = |t: Instant| looks.iter().rfind(|(at, _)| *at <= t).map_or(Duration::ZERO, |(_, n)| *n);
        until(to + AFTER).saturating_sub(until(from))
    };
    let of_all = |pid| s.waited.get(pid).and_then(|threads| threads.values().map(of).max());
    let waited: Duration = pids.iter().filter_map(of_all).sum();
    slept.unwrap_or_default().max(sleeping) + waited
}

/// What becomes of a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Held {
    /// Within the limit.
    Kept,
    /// Within the limit and what the host was late.
    Widened,
    /// Beyond the limit, and the host was later than any bound is widened by.
    Inconclusive,
    /// Beyond it, and the host was not late enough to explain it.
    Missed,
}

/// Holds what was measured to a limit on a host that was so late.
pub fn judge(measured: Duration, limit: Duration, late: Duration) -> Held {
    match () {
        () if measured <= limit => Held::Kept,
        () if late > MOST => Held::Inconclusive,
        () if measured <= limit + late => Held::Widened,
        () => Held::Missed,
    }
}

/// Holds a measure to its limit: says so where it was widened, panics where it was missed or nobody can say.
#[track_caller]
pub fn hold(what: &str, measured: Duration, limit: Duration, late: Duration) {
    let words = format!("{what}: {measured:.2?} with a limit of {limit:.2?}, on a host that was {late:.2?} late");
    match judge(measured, limit, late) {
        Held::Kept => {}
        Held::Widened => tell("WIDENED", &words),
        Held::Inconclusive => {
            tell("INCONCLUSIVE", &words);
            panic!("nobody can say on a host as late as this one; run it again when less else runs: {words}");
        }
        Held::Missed => panic!("{words}"),
    }
}

/// A stretch of time that a test holds to a limit, from its beginning on.
#[derive(Clone, Debug)]
pub struct Stretch {
    pub from: Instant,
    pids: Vec<u32>,
}

impl Stretch {
    /// One that begins now, with the processes that are followed in it.
    pub fn begin(pids: &[u32]) -> Self {
        follow(None);
        for pid in pids {
            let known = seen().waited.contains_key(pid);
            if !known {
                follow(Some(*pid));
            }
        }
        Self { from: Instant::now(), pids: pids.to_vec() }
    }

    pub fn took(&self) -> Duration {
        self.from.elapsed()
    }

    /// How late the host was in it so far.
    pub fn late(&self) -> Duration {
        between(self.from, Instant::now(), &self.pids)
    }

    /// Holds what it took so far to a limit.
    #[track_caller]
    pub fn within(&self, what: &str, limit: Duration) {
        hold(what, self.took(), limit, self.late());
    }

    /// Waits until something is so, looking each twentieth of a second; panics once the limit and what the host was late
    /// are over, with the words given then.
    #[track_caller]
    pub fn until(&self, limit: Duration, words: impl Fn() -> String, mut is: impl FnMut() -> bool) {
        while !is() {
            let (took, late) = (self.took(), self.late());
            if matches!(judge(took, limit, late), Held::Missed | Held::Inconclusive) {
                hold(&words(), took, limit, late);
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        if judge(self.took(), limit, self.late()) == Held::Widened {
            self.within(&words(), limit);
        }
    }
}

/// How late this host was from then on, for a thread of this test that asks another one: each may have waited its turn.
pub fn of_two(from: Instant) -> Duration {
    between(from, Instant::now(), &[]) * 2
}

/// Holds how long an answer took, asked just now by a probe in this test, to a limit.
#[track_caller]
pub fn answered(o: &Observation, limit: Duration) {
    took(&format!("{o:?}"), o.known - o.asked, limit);
}

/// Holds what took so long, up to now, in this test to a limit.
#[track_caller]
pub fn took(what: &str, took: Micros, limit: Duration) {
    let took = took.to_std();
    let now = Instant::now();
    hold(what, took, limit, of_two(now.checked_sub(took + limit).unwrap_or(now)));
}

/// The latest that this host was, with what one process that is followed waited, in any two seconds up to now.
pub fn worst(from: Instant) -> Duration {
    let (to, pids) = (Instant::now(), seen().waited.keys().copied().collect::<Vec<_>>());
    let seconds = (0..=(to - from).as_secs()).map(|s| from + Duration::from_secs(s));
    let late = |at: Instant| pids.iter().map(|pid| between(at, at + S * 2, &[*pid])).max();
    seconds.map(|at| late(at).unwrap_or_else(|| between(at, at + S * 2, &[]))).max().unwrap_or_default()
}

/// Plays a scenario. Where it failed on a host so late that its own questions were answered too late, which is what a fault
/// looks like, it is played once more, and that is counted; where the host was in time, it has failed.
pub fn fairly(name: &str, scenario: impl Fn()) {
    follow(None);
    let from = Instant::now();
    let Err(why) = catch_unwind(AssertUnwindSafe(&scenario)) else { return };
    let late = worst(from);
    if late < DISTURBING {
        resume_unwind(why);
    }
    tell("REPLAYED", &format!("{name}, on a host {late:.2?} late"));
    scenario();
}

const S: Duration = Duration::from_secs(1);

/// Says a mark where the run's summary finds it, past the harness.
pub fn tell(mark: &str, words: &str) {
    // At the start of a line, whatever the harness has begun to say.
    let _ = std::io::stdout().write_all(format!("\n{mark}: {words}\n").as_bytes());
}
