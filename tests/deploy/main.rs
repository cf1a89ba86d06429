//! What is shipped around the program: the unit, the rules, the package. Each is put to the tool that will read it.
//!
//! Oracles: systemd-analyze (the unit's score, its list of system calls), promtool (rules and their tests), dpkg in a
//! Debian tree made by debootstrap (the package), man (its pages). Needs root for the tree; `tests/run` installs the rest.

mod installed;
#[path = "../support/lateness.rs"]
mod lateness;
mod unit;

use pathproof::metrics::TABLE;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The deploy folder.
fn deploy() -> PathBuf {
    root().join("deploy")
}

/// Runs a line of shell in a folder.
fn sh(dir: &Path, line: &str) -> Output {
    let mut command = Command::new("sh");
    // A cargo started from here must not take this test's surroundings for changed ones, and build everything anew.
    for (name, _) in std::env::vars().filter(|(n, _)| n.starts_with("CARGO_") && n != "CARGO_HOME") {
        command.env_remove(name);
    }
    command.args(["-c", line]).current_dir(dir).output().expect("sh runs")
}

/// What a command said, both ways.
fn said(out: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr))
}

/// Runs a line that must do well; what it said.
fn must(dir: &Path, line: &str) -> String {
    let out = sh(dir, line);
    assert!(out.status.success(), "{line}\n{}", said(&out));
    said(&out)
}

#[test]
fn promtool_takes_the_rules_and_their_tests_hold() {
    let dir = deploy().join("prometheus");
    must(&dir, "promtool check config scrape.yml && promtool check rules --lint-fatal rules.yml");
    let text = std::fs::read_to_string(dir.join("rules.yml")).expect("reads");
    must(&dir, "promtool test rules rules.test.yml");
    // The tests notice rules that are wrong.
    let copy = tempfile::tempdir().expect("temp dir");
    std::fs::copy(dir.join("rules.test.yml"), copy.path().join("rules.test.yml")).expect("copies");
    for (right, wrong) in [
        ("> on (job, instance) group_left (source)", "> 10 * on (job, instance) group_left (source)"),
        ("unless on (job, instance, verdict)", "unless on (job, instance)"),
        ("and on (job, instance) (pathproof_verdict offset 1h)", ""),
        ("or pathproof_look_age_seconds > 60", ""),
        ("{state=\"blind\"}", "{state=~\"blind|down\"}"),
        ("for: 1h", "for: 2h"),
        ("or (increase(pathproof_record_entries_lost_total[15m]) > 0)", ""),
    ] {
        assert!(text.contains(right), "{right}");
        std::fs::write(copy.path().join("rules.yml"), text.replace(right, wrong)).expect("writes");
        assert!(!sh(copy.path(), "promtool test rules rules.test.yml").status.success(), "not noticed: {wrong}");
    }
}

#[test]
fn the_rules_name_only_metrics_there_are() {
    let known: Vec<String> = TABLE.iter().map(pathproof::metrics::Metric::full_name).collect();
    let text = std::fs::read_to_string(deploy().join("prometheus/rules.yml")).expect("reads");
    let words = text.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == ':'));
    let used: Vec<&str> = words.filter(|w| w.starts_with("pathproof_")).collect();
    assert!(used.len() > 15, "{used:?}");
    for name in used {
        assert!(known.iter().any(|k| k == name), "{name} is not in the table");
    }
}
