//! The record under what kills it: SIGKILL at random moments under load, and disks that are full or may only be read.
//! `cargo bench --bench record` does the first three hundred times.
//!
//! Writers run as processes of their own: this test program, started again with a job in its environment.
#![expect(clippy::print_stdout, reason = "seeds and figures")]

mod kill;
#[path = "../support/lateness.rs"]
mod lateness;

use pathproof::judge::{Entry, Moment};
use pathproof::record::{Keeping, Writer, hold, read};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

/// What a process of this program is to do; unset in the tests' own.
const JOB: &str = "PATHPROOF_TEST_JOB";

/// The body of every process started below; fails where none was given.
#[test]
#[ignore = "not a test by itself: the body of the processes that the tests start"]
fn job() {
    match std::env::var(JOB).unwrap_or_default().split_once(' ') {
        Some(("write", path)) => kill::write(Path::new(path)),
        Some(("fill", folder)) => fill(Path::new(folder)),
        _ => panic!("no job was given"),
    }
}

#[test]
fn a_kill_at_any_moment_loses_five_seconds_at_most_and_is_told() {
    println!("{}", kill::many(6, 5, 8));
}

/// In a mount namespace of its own, where a small disk costs nobody anything.
#[test]
fn a_disk_that_is_full_or_may_only_be_read_is_borne_and_the_record_goes_on() {
    let dir = tempfile::tempdir().expect("temp dir");
    let shell = format!(
        "mount -t tmpfs -o size=400k none '{dir}' && exec '{program}' job --exact --ignored --nocapture",
        dir = dir.path().display(),
        program = std::env::current_exe().expect("has a path").display()
    );
    let said = Command::new("unshare")
        .args(["-Urm", "sh", "-c", &shell])
        .env(JOB, format!("fill {}", dir.path().display()))
        .stdin(Stdio::null())
        .output()
        .expect("needs unshare of util-linux and unprivileged namespaces");
    let told = format!("{}{}", String::from_utf8_lossy(&said.stdout), String::from_utf8_lossy(&said.stderr));
    assert!(said.status.success() && told.contains("the disk was full and the record is whole"), "{told}");
}

fn waits(w: &Writer) -> bool {
    matches!(w.status().keeping, Keeping::Waiting { .. })
}

fn until(what: &str, is: impl FnMut() -> bool) {
    lateness::Stretch::begin(&[]).until(Duration::from_mins(1), || format!("{what} comes"), is);
}

fn fill(folder: &Path) {
    let (path, ballast) = (folder.join("r.db"), folder.join("ballast"));
    let mut w = Writer::resume(hold(&path).expect("holds"), "{}").expect("resumes");
    let mut kept = 0i64;
    let mut keep = |w: &mut Writer, count: i64| {
        for _ in 0..count {
            assert!(w.keep(kill::entry(kept, Moment(kept * 10_000))));
            kept += 1;
        }
    };
    keep(&mut w, 1_000);
    assert!(w.commit().recv().expect("answers"));
    // The disk fills up under it.
    let mut block = 256 << 10;
    while block > 0 {
        let mut all = std::fs::read(&ballast).unwrap_or_default();
        all.resize(all.len() + block, 7);
        if std::fs::write(&ballast, &all).is_err() {
            block /= 2;
        }
    }
    for _ in 0..50 {
        keep(&mut w, 1_000);
        if !w.commit().recv().expect("answers") {
            break;
        }
    }
    let status = w.status();
    assert!(matches!(&status.keeping, Keeping::Waiting { why } if why.contains("full")), "{status:?}");
    // What is in the file is read meanwhile, and is what was put in.
    let mut n = 0;
    read(&path)
        .expect("opens")
        .replay(|e| {
            assert_eq!(*e, kill::entry(n, e_asked(e)));
            n += 1;
        })
        .expect("reads");
    assert!(n >= 1_000);
    keep(&mut w, 5_000);
    std::thread::sleep(Duration::from_millis(500));
    assert!(waits(&w) && w.status().lost == 0);
    std::fs::remove_file(&ballast).expect("makes room");
    until("writing", || {
        keep(&mut w, 1);
        !waits(&w)
    });
    w.finish().expect("finishes");
    let count = |path: &Path| {
        let mut n = 0i64;
        let passed_over = read(path).expect("opens").replay(|e| {
            assert_eq!(*e, kill::entry(n, Moment(n * 10_000)));
            n += 1;
        });
        assert_eq!(passed_over.expect("reads"), 0);
        n
    };
    assert_eq!(count(&path), kept);

    // A file system that may only be read when the agent starts, as after an error of the disk.
    let mount = |how: &str| {
        let done = Command::new("mount").args(["-o", how]).arg(folder).status().expect("mount runs");
        assert!(done.success(), "mount -o {how}");
    };
    mount("remount,ro");
    let why = hold(&path).expect_err("may only be read");
    assert!(why.may_pass(), "{why}");
    assert_eq!(count(&path), kept, "it can be read");
    let mut w = Writer::waiting(&path, "{}", &why).expect("waits");
    let mut more = |w: &mut Writer| {
        assert!(w.keep(kill::entry(kept, Moment(kept * 10_000))));
        kept += 1;
    };
    (0..500).for_each(|_| more(&mut w));
    assert!(!w.commit().recv().expect("answers") && waits(&w));
    mount("remount,rw");
    assert!(w.commit().recv().expect("answers") && !waits(&w));
    more(&mut w);
    w.finish().expect("finishes");
    assert_eq!(count(&path), kept);
    println!("the disk was full and the record is whole: {kept} entries");
}

fn e_asked(e: &Entry) -> Moment {
    match e {
        Entry::Seen(o) => o.asked,
        other => panic!("{other:?}"),
    }
}
