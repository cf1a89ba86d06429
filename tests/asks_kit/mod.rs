//! What the tests of the asking probes share: a plan, a context, network namespaces, and things that must be there.
#![allow(dead_code, unreachable_pub, reason = "each test binary uses its own part")]

#[path = "../support/lateness.rs"]
pub mod lateness;

use lateness::{MOST, hold, of_two};
use pathproof::judge::{Moment, Observation};
use pathproof::probe::{Context, Pace};
use pathproof::site::Plan;
use pathproof::sys::clock::Clock;
use serde_json::{Value, json};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::{mpsc, watch};

/// A plan with a second's cadence and no targets; `with` replaces top-level fields.
pub fn plan(with: Value) -> Plan {
    let second = 1_000_000;
    let mut plan = json!({
        "site": "test", "kind": "household", "interface": null, "resolvers": [], "existing_name": "a.test.",
        "references": [], "receivers": [], "patience": second, "supervision": null, "requirements": "none",
        "practice": false, "loopback": true,
        "cadence": {"local": second, "router": second, "names": second, "outside": second, "receiver": second,
            "offers": 60 * second},
    });
    let Value::Object(with) = with else { panic!("an object") };
    plan.as_object_mut().expect("an object").extend(with);
    serde_json::from_value(plan).expect("a plan")
}

/// The agent's side of a context.
pub struct Agent {
    pub seen: mpsc::Receiver<Observation>,
    pub pace: watch::Sender<Pace>,
}

impl Agent {
    /// The next observation; fails after ten seconds and what the host was late.
    pub async fn next(&mut self) -> Observation {
        lateness::follow(None);
        let (from, limit) = (Instant::now(), Duration::from_secs(10));
        let next = tokio::time::timeout(limit + MOST, self.seen.recv()).await;
        hold("an observation", from.elapsed(), limit, of_two(from));
        next.expect("an observation in time").expect("the probe still runs")
    }
}

pub fn context(plan: Plan) -> (Context, Agent) {
    let (to, seen) = mpsc::channel(64);
    let (pace, at) = watch::channel(Pace::Steady);
    let context = Context { clock: Clock::starting_at(Moment(0)), plan: Arc::new(plan), seen: to, pace: at };
    (context, Agent { seen, pace })
}

/// Runs a command to its end; fails loudly, also where the tool is missing.
pub fn sh(line: &str) -> String {
    let out = Command::new("sh").args(["-ec", line]).output().expect("sh runs");
    assert!(out.status.success(), "{line}: {}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// A child that ends with its owner.
pub struct Running(pub Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub fn start(program: &str, arguments: &[&str]) -> Running {
    let child = Command::new(program).args(arguments).stdin(Stdio::null()).spawn();
    Running(child.unwrap_or_else(|e| panic!("{program} is needed for this test: {e}")))
}

/// Two hosts on one lead: `here` (192.0.2.2, `2001:db8::2`) and `there` (192.0.2.1, `2001:db8::1`).
pub struct Pair {
    pub here: String,
    pub there: String,
}

impl Pair {
    pub fn new(tag: &str) -> Self {
        let id = std::process::id();
        let pair = Self { here: format!("pp{tag}a{id}"), there: format!("pp{tag}b{id}") };
        let (a, b) = (&pair.here, &pair.there);
        sh(&format!(
            "ip netns add {a}; ip netns add {b}
             ip -n {a} link add lead0 type veth peer name lead0 netns {b}
             for n in {a} {b}; do ip -n $n link set lo up; ip -n $n link set lead0 up; done
             ip -n {a} addr add 192.0.2.2/24 dev lead0; ip -n {b} addr add 192.0.2.1/24 dev lead0
             ip -n {a} addr add 2001:db8::2/64 dev lead0 nodad; ip -n {b} addr add 2001:db8::1/64 dev lead0 nodad"
        ));
        pair
    }

    /// Runs `work` on a thread of its own inside `here`, as the practice site does.
    pub fn within<T: Send + 'static, F>(&self, work: F) -> T
    where
        F: AsyncFnOnce() -> T + Send + 'static,
    {
        inside(&self.here, work)
    }
}

/// Runs `work` on a thread of its own inside a named network namespace.
pub fn inside<T: Send + 'static, F>(name: &str, work: F) -> T
where
    F: AsyncFnOnce() -> T + Send + 'static,
{
    let path = PathBuf::from("/run/netns").join(name);
    let thread = std::thread::spawn(move || {
        let file = std::fs::File::open(path).expect("the namespace is there");
        nix::sched::setns(file, nix::sched::CloneFlags::CLONE_NEWNET).expect("root may enter it");
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(work())
    });
    thread.join().unwrap_or_else(|e| std::panic::resume_unwind(e))
}

impl Drop for Pair {
    fn drop(&mut self) {
        for name in [&self.here, &self.there] {
            let _ = Command::new("ip").args(["netns", "del", name]).status();
        }
    }
}
