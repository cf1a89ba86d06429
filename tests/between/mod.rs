//! A line with two boxes that translate, for the tests of what lies between: host, router, provider, far end, each in
//! its own network namespace. Needs root, iproute2 and nftables. Gone when dropped.
#![allow(dead_code, unreachable_pub, reason = "each test program uses its own part of this module")]
#![allow(clippy::unused_self, reason = "what is done on a line reads as its method")]

use crate::asks_kit::lateness::Stretch;
use crate::asks_kit::{self, inside, sh};
use pathproof::judge::{Detail, Observation, Question};
use pathproof::probe::Context;
use serde_json::{Value, json};
use std::net::TcpListener;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

static NEXT: AtomicU32 = AtomicU32::new(0);

/// The far end, and its second address.
pub const FAR: &str = "203.0.113.9";
pub const FAR_TOO: &str = "203.0.113.10";

/// `host` 192.168.70.2 - `router` .1 | 100.64.7.2 - `provider` 100.64.7.1 | 203.0.113.1 - `far` 203.0.113.9 and .10.
/// The router translates; the provider does so only when told.
pub struct Line {
    pub host: String,
    pub router: String,
    pub provider: String,
    pub far: String,
    pub servers: Vec<Child>,
    pub files: tempfile::TempDir,
}

impl Line {
    pub fn new() -> Self {
        let id = format!("pb{}x{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let [host, router, provider, far] = ["h", "r", "p", "f"].map(|n| format!("{id}{n}"));
        let files = tempfile::tempdir().expect("a directory");
        let line = Self { host, router, provider, far, servers: Vec::new(), files };
        let Self { host: h, router: r, provider: p, far: f, .. } = &line;
        sh(&format!(
            "for n in {h} {r} {p} {f}; do ip netns add $n; ip -n $n link set lo up; done
             ip -n {h} link add eth0 type veth peer name lan0 netns {r}
             ip -n {r} link add wan0 type veth peer name in0 netns {p}
             ip -n {p} link add out0 type veth peer name eth0 netns {f}
             ip -n {h} addr add 192.168.70.2/24 dev eth0; ip -n {r} addr add 192.168.70.1/24 dev lan0
             ip -n {r} addr add 100.64.7.2/24 dev wan0; ip -n {p} addr add 100.64.7.1/24 dev in0
             ip -n {p} addr add 203.0.113.1/24 dev out0
             ip -n {f} addr add {FAR}/24 dev eth0; ip -n {f} addr add {FAR_TOO}/24 dev eth0
             ip -n {h} link set eth0 up; ip -n {r} link set lan0 up; ip -n {r} link set wan0 up
             ip -n {p} link set in0 up; ip -n {p} link set out0 up; ip -n {f} link set eth0 up
             ip -n {h} route add default via 192.168.70.1; ip -n {r} route add default via 100.64.7.1
             ip -n {f} route add 100.64.7.0/24 via 203.0.113.1
             for n in {r} {p}; do ip netns exec $n sysctl -qw net.ipv4.ip_forward=1; done
             ip netns exec {h} sysctl -qw net.ipv4.ping_group_range='0 2147483647'"
        ));
        line
    }

    /// An nft script in a namespace.
    pub fn nft(&self, ns: &str, script: &str) {
        // nft wants a statement to end before a brace closes.
        let script = script.replace('}', "\n}");
        sh(&format!("ip netns exec {ns} nft -f - <<'END'\n{script}\nEND"));
    }

    /// The router translates; `how` is what follows `masquerade`.
    pub fn translate(&self, ns: &str, out: &str, how: &str) {
        self.nft(
            ns,
            &format!(
                "table ip nat {{ chain post {{ type nat hook postrouting priority 100; oifname {out} masquerade {how}; }} }}"
            ),
        );
    }

    pub fn sysctl(&self, ns: &str, setting: &str) {
        sh(&format!("ip netns exec {ns} sysctl -qw {setting}"));
    }

    /// Starts a server in a namespace; its words go to a file of the name given.
    pub fn serve(&mut self, ns: &str, log: &str, arguments: &[&str]) {
        let file = std::fs::File::create(self.files.path().join(log)).expect("a log");
        let mut command = Command::new("ip");
        command.args(["netns", "exec", ns]).args(arguments).stdin(Stdio::null());
        command.stdout(file.try_clone().expect("a log")).stderr(file);
        self.servers.push(command.spawn().unwrap_or_else(|e| panic!("{arguments:?}: {e}")));
    }

    /// Waits until a UDP or TCP port is bound in a namespace.
    pub fn bound(&self, ns: &str, kind: &str, port: u16) {
        let files = self.files.path();
        let words = || {
            let all = std::fs::read_dir(files).expect("files").flatten();
            let said: Vec<String> = all.filter_map(|f| std::fs::read_to_string(f.path()).ok()).collect();
            format!("somebody listens on {port} in {ns}: {said:#?}")
        };
        Stretch::begin(&[]).until(Duration::from_secs(10), words, || {
            sh(&format!("ip netns exec {ns} ss -Hln{kind} sport = :{port}")).contains(&format!(":{port}"))
        });
    }

    /// A host at the far end that holds every connection and says nothing.
    pub fn hold(&self, port: u16) {
        inside(&self.far, async move || {
            let listener = TcpListener::bind(("0.0.0.0", port)).expect("a port");
            std::thread::spawn(move || {
                let mut held = Vec::new();
                for stream in listener.incoming().flatten() {
                    held.push(stream);
                }
            });
        });
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        for server in &mut self.servers {
            let _ = server.kill();
            let _ = server.wait();
        }
        for ns in [&self.host, &self.router, &self.provider, &self.far] {
            let _ = Command::new("ip").args(["netns", "del", ns]).status();
        }
    }
}

/// A plan on the line's host; `with` replaces top-level fields.
pub fn plan(with: Value) -> pathproof::site::Plan {
    let mut fields = json!({"interface": "eth0", "loopback": false});
    let Value::Object(with) = with else { panic!("an object") };
    fields.as_object_mut().expect("an object").extend(with);
    asks_kit::plan(fields)
}

/// A host named for a question.
pub fn asked(host: &str, port: u16) -> Value {
    json!({"name": "t", "host": host, "port": port, "every": 3_600_000_000_u64})
}

/// The first observation of a probe on a host.
pub fn first<F>(ns: &str, with: Value, probe: fn(Context) -> F) -> Observation
where
    F: Future<Output = ()> + Send + 'static,
{
    inside(ns, async move || {
        let (ctx, mut agent) = asks_kit::context(plan(with));
        let running = tokio::spawn(probe(ctx));
        let next = tokio::time::timeout(Duration::from_mins(2), agent.seen.recv()).await;
        let o = next.expect("an observation within two minutes").expect("the probe runs");
        drop(agent);
        tokio::time::timeout(Duration::from_secs(10), running).await.expect("ends with the agent").expect("no panic");
        o
    })
}

/// The bounds in an observation of idle times.
pub fn bounds(o: &Observation) -> Option<(u32, Option<u32>)> {
    match o.detail {
        Detail::Idle { kept_s, lost_s, .. } if o.question == Question::IdleTimeout => Some((kept_s, lost_s)),
        _ => None,
    }
}
