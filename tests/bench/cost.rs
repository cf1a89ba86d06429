//! What the agent costs: size of the binary, memory, processor time.
//!
//! Two surveys of the built program: the practice site, whose boxes and services live in the same process and are
//! counted with it, and a survey at the default cadence in the lab, where everything else is another process: the
//! agent's own figures. Memory and processor time are the kernel's (`proc_pid_status(5)`, `proc_pid_stat(5)`); a megabyte
//! is 1024 KiB here. Needs root, iproute2, nftables, dnsmasq and python3 for the lab.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![allow(clippy::unwrap_used, reason = "a bench may stop at the first surprise")]

#[path = "../support/lateness.rs"]
mod lateness;
#[path = "../lab/place.rs"]
#[allow(dead_code, clippy::print_stderr, reason = "the lab has more than is needed here, and says where its logs are")]
mod place;

use std::process::{Child, Command, ExitCode, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");
/// The aims.
const MOST_BINARY_MB: f64 = 12.0;
const MOST_MEMORY_MB: f64 = 15.0;
const MOST_CORE_PERCENT: f64 = 1.0;
/// Left out of the processor time, which is given on its own: reading the binary in and the first look round.
const START: Duration = Duration::from_secs(5);
const MEASURED: Duration = Duration::from_mins(1);

fn main() -> ExitCode {
    let binary = std::fs::metadata(PROGRAM).unwrap().len() as f64 / 1024.0 / 1024.0;
    let mut fine = told("binary", binary, MOST_BINARY_MB, "MB");

    println!("practice site and agent in one process, seed 1 (no aim):");
    let dir = tempfile::tempdir().unwrap();
    let mut practice = Command::new(PROGRAM);
    practice.args(["survey", "--practice", "--seed", "1", "--record"]).arg(dir.path().join("practice.db"));
    let mut child = practice.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let figures = watched(&mut child);
    figures.tell();
    assert_eq!(child.wait().unwrap().code(), Some(0), "the practice survey went well");

    println!("agent alone at the default cadence, in the lab:");
    if !nix::unistd::geteuid().is_root() {
        println!("  NOT RUN: the lab needs root");
        return ExitCode::FAILURE;
    }
    let mut lab = place::Place::new("cost");
    let site = lab.site_file("");
    let text = std::fs::read_to_string(&site).unwrap();
    let (head, _) = text.split_once("[cadence]").expect("the lab's file is faster than the default");
    std::fs::write(&site, head).unwrap();
    let mut running = lab.begin((START + MEASURED).as_secs() as u32 + 5, &[]);
    let figures = watched(&mut running.child);
    figures.tell();
    let said = lab.end(running);
    assert_eq!(said.code, 12, "a quiet lab: {:#}", said.json["troubles"]);
    fine &= told("memory, most", figures.most_mb, MOST_MEMORY_MB, "MB");
    fine &= told("processor", figures.core_percent, MOST_CORE_PERCENT, "% of a core");
    if fine { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn told(what: &str, value: f64, aim: f64, unit: &str) -> bool {
    let verdict = if value <= aim { "ok" } else { "OVER" };
    println!("{what}: {value:.2} {unit}, aim {aim} {unit}: {verdict}");
    value <= aim
}

/// What a process used.
struct Figures {
    most_mb: f64,
    now_mb: f64,
    own_mb: f64,
    file_mb: f64,
    threads: f64,
    start_s: f64,
    core_percent: f64,
}

impl Figures {
    fn tell(&self) {
        println!(
            "  memory: most {:.2} MB (VmHWM), at the end {:.2} MB (VmRSS): its own {:.2} MB, of files {:.2} MB; {:.0} threads",
            self.most_mb, self.now_mb, self.own_mb, self.file_mb, self.threads
        );
        println!(
            "  processor: {:.2} s in the first {} s, then {:.3} % of a core over {} s",
            self.start_s,
            START.as_secs(),
            self.core_percent,
            MEASURED.as_secs()
        );
    }
}

/// Watches a process until it ends; memory is as last seen, a tenth of a second before that at most.
fn watched(child: &mut Child) -> Figures {
    let pid = child.id();
    let began = Instant::now();
    let mut marks = [None; 2];
    let mut status = String::new();
    while child.try_wait().unwrap().is_none() {
        let at = began.elapsed();
        for (mark, due) in marks.iter_mut().zip([START, START + MEASURED]) {
            if mark.is_none() && at >= due {
                *mark = processor_s(pid).map(|used| (at, used));
            }
        }
        // Between its end and being waited for, a process has no memory to tell of.
        if let Some(text) = std::fs::read_to_string(format!("/proc/{pid}/status")).ok().filter(|t| t.contains("VmHWM"))
        {
            status = text;
        }
        sleep(Duration::from_millis(100));
    }
    let [Some((from, start_s)), Some((to, used_s))] = marks else {
        panic!("it ended before it was measured:\n{status}")
    };
    let field = |name: &str| -> f64 {
        let value = status.lines().find_map(|l| l.strip_prefix(name)?.strip_prefix(':'));
        value.and_then(|v| v.split_whitespace().next()?.parse().ok()).unwrap()
    };
    let mb = |name: &str| field(name) / 1024.0;
    Figures {
        most_mb: mb("VmHWM"),
        now_mb: mb("VmRSS"),
        own_mb: mb("RssAnon"),
        file_mb: mb("RssFile"),
        threads: field("Threads"),
        start_s,
        core_percent: 100.0 * (used_s - start_s) / to.saturating_sub(from).as_secs_f64(),
    }
}

/// Processor time of all its threads, user and system (fields 14 and 15), seconds.
fn processor_s(pid: u32) -> Option<f64> {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    // The name in parentheses may hold anything; what follows the last one starts with field 3.
    let after: Vec<&str> = stat.rsplit_once(')')?.1.split_whitespace().collect();
    let ticks: f64 = after.get(11)?.parse::<f64>().ok()? + after.get(12)?.parse::<f64>().ok()?;
    let per_second = nix::unistd::sysconf(nix::unistd::SysconfVar::CLK_TCK).ok()??;
    Some(ticks / per_second as f64)
}
