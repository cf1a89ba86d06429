//! The kit that widens bounds is itself held to something: a host kept busy is seen to be late, a bound is widened by no
//! more than that, and a host too late decides nothing.

#[path = "support/lateness.rs"]
mod lateness;

use lateness::{Held, MOST, Stretch, between, follow, judge};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const S: Duration = Duration::from_secs(1);

#[test]
fn a_bound_is_widened_by_what_the_host_was_late_and_no_more() {
    let ms = Duration::from_millis;
    assert_eq!(judge(ms(1_000), S, ms(0)), Held::Kept);
    assert_eq!(judge(ms(1_380), S, ms(379)), Held::Missed);
    assert_eq!(judge(ms(1_380), S, ms(380)), Held::Widened);
    assert_eq!(judge(ms(1_380), S, MOST), Held::Widened);
    assert_eq!(judge(ms(1_380), S, MOST + ms(1)), Held::Inconclusive);
    assert_eq!(judge(ms(900), S, MOST + ms(1)), Held::Kept, "in time even so");
}

#[test]
fn a_process_that_waits_for_a_core_is_seen_to_wait_and_one_that_is_stopped_is_not() {
    // Two that want all of one core: one of them always stands in line (sched(7), sched_setaffinity(2)).
    let spin = || {
        let mut c = Command::new("taskset");
        c.args(["-c", "0", "sh", "-c", "while :; do :; done"]).stdin(Stdio::null());
        c.spawn().expect("taskset of util-linux")
    };
    let mut pair = [spin(), spin()];
    let pids = pair.each_ref().map(std::process::Child::id);
    std::thread::sleep(Duration::from_millis(100));
    let stretch = Stretch::begin(&pids);
    std::thread::sleep(S * 2);
    let late = stretch.late();
    for child in &mut pair {
        child.kill().expect("it runs");
        child.wait().expect("is gone");
    }
    // Both together wait at least half of the time that one core has; more where others want it too.
    assert!(late > S && late < S * 5, "two that share a core for 2 s waited {late:?}");

    // Stopped, it wants no core: that is not this host being late.
    let mut idle = Command::new("sleep").arg("60").spawn().expect("sleep of coreutils");
    follow(Some(idle.id()));
    let from = Instant::now();
    std::thread::sleep(S);
    let (alone, with) = (between(from, Instant::now(), &[]), between(from, Instant::now(), &[idle.id()]));
    idle.kill().expect("it runs");
    idle.wait().expect("is gone");
    let waited = with.saturating_sub(alone);
    assert!(waited < Duration::from_millis(50), "one that sleeps waited {waited:?}");
}

#[test]
fn a_process_that_waits_for_the_disk_is_seen_to_wait() {
    // Every block is on the disk before the next one is written (open(2), O_SYNC).
    let file = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("lateness-disk");
    let mut writer = Command::new("dd");
    let to = format!("of={}", file.display());
    writer.args(["if=/dev/zero", &to, "bs=64k", "count=200000", "oflag=sync"]).stderr(Stdio::null());
    let mut writer = writer.spawn().expect("dd of coreutils");
    let stretch = Stretch::begin(&[writer.id()]);
    std::thread::sleep(S * 2);
    let in_line = std::fs::read_to_string(format!("/proc/{}/schedstat", writer.id())).expect("it runs");
    let late = stretch.late();
    writer.kill().expect("it runs");
    writer.wait().expect("is gone");
    std::fs::remove_file(file).expect("it wrote");
    let in_line: u64 = in_line.split_whitespace().nth(1).expect("a number").parse().expect("nanoseconds");
    let disk = late.saturating_sub(Duration::from_nanos(in_line));
    assert!(disk > Duration::from_millis(100), "one that flushes all the time waited {disk:?} of {late:?}");
}
