//! The unit: its score, and whether the program can live with the system calls it leaves.

use super::{deploy, must, sh};
use std::collections::BTreeSet;
use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// systemd-analyze(1): exposure from 0 to 10; 2.0 was asked for.
#[test]
fn its_exposure_is_at_most_two() {
    let line = |threshold| {
        format!("systemd-analyze security --no-pager --offline=true --threshold={threshold} pathproof.service")
    };
    let told = must(&deploy(), &line(20));
    assert!(told.contains("Overall exposure level"), "{told}");
    assert!(!sh(&deploy(), &line(5)).status.success(), "the threshold is looked at");
    // What it says of files that are not on this machine aside, the unit has no mistakes.
    let verified =
        sh(&deploy(), "systemd-analyze verify --man=no pathproof.service 2>&1 | grep -v 'is not executable'");
    assert_eq!(String::from_utf8_lossy(&verified.stdout), "");
}

/// The names in a set of system calls, sets in it taken apart, as this systemd has them.
fn calls(set: &str) -> BTreeSet<String> {
    let told = must(&deploy(), &format!("systemd-analyze --no-pager syscall-filter {set}"));
    let names = told.lines().filter(|l| l.starts_with("    ")).map(str::trim).filter(|l| !l.starts_with('#'));
    names.flat_map(|n| if n.starts_with('@') { calls(n) } else { BTreeSet::from([n.to_owned()]) }).collect()
}

/// The unit's own list, applied by libseccomp (Debian's python3-seccomp) in an empty network; the rest of the sandbox
/// needs a running systemd and is not tried here.
#[test]
fn the_program_lives_with_the_system_calls_it_leaves() {
    let unit = std::fs::read_to_string(deploy().join("pathproof.service")).expect("reads");
    let mut allowed = calls("@default");
    for line in unit.lines().filter_map(|l| l.strip_prefix("SystemCallFilter=")) {
        let (taken, names) = line.strip_prefix('~').map_or((false, line), |names| (true, names));
        for name in names.split_whitespace() {
            let set = if name.starts_with('@') { calls(name) } else { BTreeSet::from([name.to_owned()]) };
            allowed = if taken { &allowed - &set } else { &allowed | &set };
        }
    }
    assert!(allowed.contains("sendto") && allowed.contains("adjtimex") && !allowed.contains("mount"));
    let dir = tempfile::tempdir().expect("temp dir");
    let site = "[[receiver]]\nname = \"station\"\nhost = \"127.0.0.1\"\nport = 7700\n[[reference]]\nname = \"near\"\naddress = \"127.0.0.1\"\n[cadence]\nreceiver = \"1s\"\noutside = \"1s\"\n";
    std::fs::write(dir.path().join("site.toml"), site).expect("writes");
    let names: Vec<&str> = allowed.iter().map(String::as_str).collect();
    let program = format!(
        "import errno, os, seccomp, sys\nf = seccomp.SyscallFilter(seccomp.ERRNO(errno.EPERM))\nknown = 0\nfor n in '{}'.split():\n  try: f.add_rule(seccomp.ALLOW, n); known += 1\n  except Exception: pass\nassert known > 200, known\nf.load()\ntry: os.setuid(os.getuid())\nexcept PermissionError: print('the filter holds', flush=True)\nos.execv(sys.argv[1], sys.argv[1:])\n",
        names.join(" ")
    );
    let notify = dir.path().join("notify");
    let manager = UnixDatagram::bind(&notify).expect("binds");
    manager.set_read_timeout(Some(Duration::from_mins(1))).expect("can be set");
    let mut child = Command::new("unshare")
        .args(["-Urn", "sh", "-c", "ip link set lo up && exec \"$@\"", "sh", "/usr/bin/python3", "-c", &program])
        .args([env!("CARGO_BIN_EXE_pathproof"), "watch", "site.toml", "--record", "r.db", "--metrics", "127.0.0.1:0"])
        .env("NOTIFY_SOCKET", &notify)
        .env("WATCHDOG_USEC", "1000000")
        .current_dir(&dir)
        .stdin(Stdio::null())
        .stdout(std::fs::File::create(dir.path().join("log")).expect("a log"))
        .stderr(std::fs::File::create(dir.path().join("errors")).expect("a log"))
        .spawn()
        .expect("needs unshare of util-linux");
    let mut words = Vec::new();
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(15) {
        let mut bytes = [0; 300];
        let n = manager.recv(&mut bytes).expect("it says how it fares");
        words.push(String::from_utf8_lossy(&bytes[..n]).into_owned());
    }
    must(dir.path(), &format!("kill -TERM {}", child.id()));
    let status = child.wait().expect("ends");
    let log = std::fs::read_to_string(dir.path().join("log")).expect("reads");
    let errors = std::fs::read_to_string(dir.path().join("errors")).expect("reads");
    assert_eq!(status.code(), Some(0), "{log}{errors}");
    assert!(log.contains("the filter holds") && log.contains("Metrics: http://127.0.0.1:"), "{log}");
    assert!(words.iter().any(|w| w == "READY=1"), "{words:?}");
    assert!(words.iter().filter(|w| *w == "WATCHDOG=1").count() > 8, "{words:?}");
    assert!(words.iter().any(|w| w.starts_with("STATUS=")), "{words:?}");
    let report = Command::new(env!("CARGO_BIN_EXE_pathproof"))
        .args(["report", "r.db", "--format", "json"])
        .current_dir(&dir)
        .output()
        .expect("runs");
    let json: serde_json::Value = serde_json::from_slice(&report.stdout).expect("JSON");
    assert!(json["watch"]["clock_synced"].is_boolean(), "it may ask whether the clock is right: {}", json["watch"]);
    let asked = |lane: &str| {
        let targets = json["targets"].as_array().expect("targets");
        targets.iter().filter(|t| t["lane"] == lane).map(|t| t["asked"].as_u64().expect("a count")).sum::<u64>()
    };
    assert!(asked("receiver") >= 8 && asked("outside") >= 4, "{:#}", json["targets"]);
}
