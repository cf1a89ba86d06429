//! A lab site: host, switch, router and internet in network namespaces, real servers in them, all gone on drop.

use crate::lateness::{self, Stretch, hold};
use pathproof::judge::{Entry, Micros};
use pathproof::practice::line::Line;
use pathproof::sys::clock;
use serde_json::Value;
use std::fmt::Write as _;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{JoinHandle, sleep};
use std::time::{Duration, Instant};

/// A site in namespaces.
pub(crate) struct Place {
    name: String,
    dir: tempfile::TempDir,
    servers: Vec<(String, Child)>,
    /// Lines carried by threads of this program: what ends each, and the thread.
    pub(crate) cables: Vec<(Arc<AtomicBool>, JoinHandle<()>)>,
    /// The line that such a thread carries.
    pub(crate) line: Option<Arc<Line>>,
    failed: bool,
}

/// What a survey said.
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) json: Value,
    pub(crate) record: PathBuf,
    began: Instant,
    pid: u32,
    /// How long after it was started the survey's own time begins, seconds: starting it takes as long as the host lets it.
    behind: f64,
}

pub(crate) const GATEWAY: &str = "192.168.50.1";
const REFERENCES: [&str; 3] = ["198.51.100.11", "203.0.113.12", "192.0.2.13"];
const RECEIVER: &str = "198.51.100.40";

/// Runs a command to its end; panics with its words if it fails.
pub(crate) fn must(line: &str) {
    let out = Command::new("sh").arg("-c").arg(line).output().expect("sh runs");
    assert!(
        out.status.success(),
        "{line}\n{}{}",
        String::from_utf8_lossy(&out.stdout),
        String::from_utf8_lossy(&out.stderr)
    );
}

/// A command in a namespace that ends with the thread that starts it, even where that is killed (prctl(2),
/// `PR_SET_PDEATHSIG`).
pub(crate) fn inside(ns: &str) -> Command {
    let mut command = Command::new("setpriv");
    command.args(["--pdeathsig", "KILL", "ip", "netns", "exec", ns]);
    command
}

impl Place {
    /// Builds the site: host 192.168.50.20 on a switch, router with address service, names and NAT, three reference
    /// points and a receiver outside.
    pub(crate) fn new(scenario: &str) -> Self {
        let name = format!("pp{}{}", std::process::id() % 10_000, scenario);
        let dir = tempfile::Builder::new().prefix(&format!("lab-{scenario}-")).tempdir().expect("temp dir");
        let mut p = Self { name, dir, servers: Vec::new(), cables: Vec::new(), line: None, failed: false };
        for ns in ["host", "sw", "router", "net", "stray"] {
            must(&format!("ip netns add {}", p.ns(ns)));
            p.ip(ns, "link set lo up");
        }
        for (a, dev_a, b, dev_b) in [
            ("host", "eth0", "sw", "port0"),
            ("router", "lan0", "sw", "port1"),
            ("stray", "eth0", "sw", "port2"),
            ("router", "wan0", "net", "far0"),
        ] {
            must(&format!("ip link add {dev_a} netns {} type veth peer name {dev_b} netns {}", p.ns(a), p.ns(b)));
            p.ip(a, &format!("link set {dev_a} up"));
            p.ip(b, &format!("link set {dev_b} up"));
        }
        p.ip("sw", "link add br0 type bridge");
        p.ip("sw", "link set br0 up");
        for port in ["port0", "port1", "port2"] {
            p.ip("sw", &format!("link set {port} master br0"));
        }
        p.ip("host", "addr add 192.168.50.20/24 dev eth0");
        p.ip("host", &format!("route add default via {GATEWAY}"));
        p.ip("router", &format!("addr add {GATEWAY}/24 dev lan0"));
        p.ip("router", "addr add 100.64.50.2/30 dev wan0");
        p.ip("router", "route add default via 100.64.50.1");
        p.ip("stray", "addr add 192.168.50.9/24 dev eth0");
        p.ip("net", "addr add 100.64.50.1/30 dev far0");
        for address in REFERENCES.iter().chain([&RECEIVER]) {
            p.ip("net", &format!("addr add {address}/32 dev lo"));
        }
        must(&format!("ip netns exec {} sysctl -qw net.ipv4.ip_forward=1", p.ns("router")));
        p.nft("router", "add table ip nat\nadd chain ip nat post { type nat hook postrouting priority 100; }\nadd rule ip nat post oifname wan0 masquerade");
        p.dnsmasq("outside", "net", &format!("--listen-address={} --bind-interfaces --no-resolv --address=/example.com/192.0.2.80 --local=/invalid/ --local=/com/", REFERENCES.join(",")));
        p.names();
        p.dnsmasq(
            "addresses",
            "router",
            "--port=0 --interface=lan0 --no-ping --dhcp-range=192.168.50.100,192.168.50.150,10m",
        );
        p.receiver();
        for (ns, transport, port) in
            [("net", "tcp", 7_700), ("net", "udp", 53), ("router", "udp", 53), ("router", "udp", 67)]
        {
            p.until_open(ns, transport, port);
        }
        p
    }

    /// The full name of one of the site's namespaces.
    pub(crate) fn ns(&self, which: &str) -> String {
        format!("{}-{which}", self.name)
    }

    /// `ip` inside a namespace.
    pub(crate) fn ip(&self, ns: &str, args: &str) {
        must(&format!("ip -n {} {args}", self.ns(ns)));
    }

    /// An nft script inside a namespace.
    pub(crate) fn nft(&self, ns: &str, script: &str) {
        must(&format!("ip netns exec {} nft -f - <<'EOF'\n{script}\nEOF", self.ns(ns)));
    }

    /// Starts a server under a name; its output goes to a log of that name.
    pub(crate) fn start(&mut self, name: &str, ns: &str, argv: &[&str]) {
        let log = File::create(self.dir.path().join(format!("{name}.log"))).expect("log");
        let child = inside(&self.ns(ns))
            .args(argv)
            .stdin(Stdio::null())
            .stdout(log.try_clone().expect("log"))
            .stderr(log)
            .spawn()
            .unwrap_or_else(|e| panic!("{argv:?}: {e}"));
        self.servers.push((name.to_owned(), child));
    }

    /// Kills a server by name.
    pub(crate) fn kill(&mut self, name: &str) {
        let at = self.servers.iter().position(|(n, _)| n == name).unwrap_or_else(|| panic!("no server {name}"));
        let (_, mut child) = self.servers.remove(at);
        child.kill().expect("kill");
        child.wait().expect("wait");
    }

    /// A real dnsmasq in the foreground, its own configuration only.
    pub(crate) fn dnsmasq(&mut self, name: &str, ns: &str, options: &str) {
        let lease = self.dir.path().join(format!("{name}.leases")).display().to_string();
        let mut argv = vec![
            "dnsmasq",
            "--conf-file=/dev/null",
            "--keep-in-foreground",
            "--pid-file=",
            "--user=root",
            "--log-facility=-",
            "--log-dhcp",
        ];
        let lease = format!("--dhcp-leasefile={lease}");
        argv.push(&lease);
        argv.extend(options.split_whitespace());
        self.start(name, ns, &argv);
    }

    /// The receiver: accepts, reads nothing, waits for the other side to close, complains if anything was sent.
    pub(crate) fn receiver(&mut self) {
        let program = format!(
            "import socket\ns=socket.socket()\ns.setsockopt(socket.SOL_SOCKET,socket.SO_REUSEADDR,1)\ns.bind(('{RECEIVER}',7700))\ns.listen(64)\nwhile True:\n c,a=s.accept()\n c.settimeout(5)\n try:\n  d=c.recv(64)\n  print('RECEIVED',d,flush=True) if d else print('visited',flush=True)\n except OSError as e: print(e,flush=True)\n c.close()\n"
        );
        self.start("receiver", "net", &["/usr/bin/python3", "-c", &program]);
    }

    /// A server's log so far.
    pub(crate) fn log(&self, name: &str) -> String {
        std::fs::read_to_string(self.dir.path().join(format!("{name}.log"))).unwrap_or_default()
    }

    /// Waits until a socket has a port, by the kernel's own table; panics after half a minute.
    pub(crate) fn until_open(&self, ns: &str, transport: &str, port: u16) {
        let line = format!("ip netns exec {} grep -q ':{port:04X} ' /proc/net/{transport}", self.ns(ns));
        let listens = || Command::new("sh").arg("-c").arg(&line).status().is_ok_and(|s| s.success());
        Stretch::begin(&[]).until(Duration::from_secs(30), || format!("somebody listens: {line}"), listens);
    }

    /// Keeps the site's folder after the end.
    pub(crate) fn keep_logs(&mut self) {
        self.failed = true;
    }

    /// Drops what matches an nft expression on its way into a namespace, under a name that [`Self::let_pass`] takes.
    pub(crate) fn drop_arriving(&self, ns: &str, name: &str, what: &str) {
        self.nft(ns, &format!("add table inet {name}\nadd chain inet {name} in {{ type filter hook prerouting priority -300; }}\nadd rule inet {name} in {what} drop"));
    }

    /// Ends a rule of [`Self::drop_arriving`] or [`Self::refuse_passing`].
    pub(crate) fn let_pass(&self, ns: &str, name: &str) {
        self.nft(ns, &format!("delete table inet {name}"));
    }

    /// Answers what matches on its way through a router with a refusal.
    pub(crate) fn refuse_passing(&self, ns: &str, name: &str, what: &str, with: &str) {
        self.nft(ns, &format!("add table inet {name}\nadd chain inet {name} through {{ type filter hook forward priority -300; }}\nadd rule inet {name} through {what} reject with {with}"));
    }

    /// The site's own resolver, as it stands at the start.
    pub(crate) fn names(&mut self) {
        let options = format!(
            "--listen-address={GATEWAY} --bind-interfaces --no-resolv --server={} --cache-size=0 --local=/invalid/",
            REFERENCES[0]
        );
        self.dnsmasq("names", "router", &options);
    }

    /// The site's folder.
    pub(crate) fn dir(&self) -> &Path {
        self.dir.path()
    }

    /// A site file with fast cadences; `more` is added at the end.
    pub(crate) fn site_file(&self, more: &str) -> PathBuf {
        let path = self.dir.path().join("site.toml");
        let mut text = format!(
            "[site]\nid = \"lab\"\nsupervision = \"1h\"\n\n[[receiver]]\nname = \"receiver\"\nhost = \"{RECEIVER}\"\nport = 7700\n\n[[resolver]]\naddress = \"{GATEWAY}\"\n\n"
        );
        for (n, a) in REFERENCES.iter().enumerate() {
            let _ = write!(text, "[[reference]]\nname = \"reference {n}\"\naddress = \"{a}\"\n\n");
        }
        text.push_str("[cadence]\nlocal = \"500ms\"\nrouter = \"1s\"\nnames = \"1s\"\noutside = \"1s\"\nreceiver = \"1s\"\noffers = \"10s\"\n\n");
        text.push_str(more);
        std::fs::write(&path, text).expect("site file");
        path
    }

    /// Starts a survey of so many seconds in the host.
    pub(crate) fn begin(&self, seconds: u32, more: &[&str]) -> Running {
        self.begin_by(&[], env!("CARGO_BIN_EXE_pathproof"), seconds, more)
    }

    /// The same as an ordinary user without any capability.
    pub(crate) fn begin_as_nobody(&self, seconds: u32) -> Running {
        let copy = self.dir.path().join("pathproof");
        std::fs::copy(env!("CARGO_BIN_EXE_pathproof"), &copy).expect("copies");
        must(&format!("chmod 777 {} && chmod 755 {}", self.dir.path().display(), copy.display()));
        let nobody =
            ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "--bounding-set=-all", "--no-new-privs"];
        self.begin_by(&nobody, &copy.display().to_string(), seconds, &[])
    }

    fn begin_by(&self, prefix: &[&str], program: &str, seconds: u32, more: &[&str]) -> Running {
        let file = self.dir.path().join("site.toml");
        let record = self.dir.path().join("survey.db");
        let json = File::create(self.dir.path().join("survey.json")).expect("file");
        let log = File::create(self.dir.path().join("survey.log")).expect("file");
        let child = inside(&self.ns("host"))
            .args(prefix)
            .args([program, "survey"])
            .arg(&file)
            .args(["--for", &format!("{seconds}s"), "--format", "json", "--record"])
            .arg(&record)
            .args(more)
            .stdin(Stdio::null())
            .stdout(json)
            .stderr(log)
            .spawn()
            .expect("pathproof starts");
        lateness::follow(Some(child.id()));
        Running { child, began: Instant::now(), spawned: clock::boot_time(), record }
    }

    /// Waits for the survey and reads what it said.
    pub(crate) fn end(&mut self, mut running: Running) -> Said {
        let status = running.child.wait().expect("pathproof ends");
        let text = std::fs::read_to_string(self.dir.path().join("survey.json")).expect("output");
        let log = std::fs::read_to_string(self.dir.path().join("survey.log")).expect("log");
        let json = serde_json::from_str(&text).unwrap_or_else(|e| panic!("not JSON: {e}\n{text}\n{log}"));
        let (began, pid) = (running.began, running.child.id());
        let behind = behind(&running.record, running.spawned);
        Said { code: status.code().unwrap_or(-1), json, record: running.record, began, pid, behind }
    }
}

/// How long after a survey was started its own time begins (the record's first entry says when that was), seconds.
fn behind(record: &Path, spawned: Micros) -> f64 {
    let mut zero = None;
    if let Ok(read) = pathproof::record::read(record) {
        let _ = read.replay(|e| {
            if let Entry::Began(s) = e {
                zero.get_or_insert(Micros(s.boot.0 - s.at.0));
            }
        });
    }
    zero.map_or(0.0, |zero| (zero - spawned).secs().max(0.0))
}

/// A survey under way.
pub(crate) struct Running {
    pub(crate) child: Child,
    began: Instant,
    /// The same moment by the clock that a record begins with.
    spawned: Micros,
    record: PathBuf,
}

impl Running {
    /// Sleeps until so many seconds after the start.
    pub(crate) fn until(&self, seconds: f64) {
        sleep(Duration::from_secs_f64(seconds).saturating_sub(self.began.elapsed()));
    }

    /// Seconds since the start.
    pub(crate) fn now(&self) -> f64 {
        self.began.elapsed().as_secs_f64()
    }
}

impl Said {
    /// The verdict's word.
    pub(crate) fn verdict(&self) -> &str {
        self.json["verdict"]["kind"].as_str().expect("verdict")
    }

    /// Cause words of all troubles, in order.
    pub(crate) fn causes(&self) -> Vec<&str> {
        self.troubles().iter().map(|t| t["cause"].as_str().expect("cause")).collect()
    }

    /// The troubles.
    pub(crate) fn troubles(&self) -> &Vec<Value> {
        self.json["troubles"].as_array().expect("troubles")
    }

    /// A time since the survey was started, by the survey's own time.
    pub(crate) fn own(&self, seconds: f64) -> f64 {
        seconds - self.behind
    }

    /// How late this host and the survey's process were between two times of the survey's own, seconds.
    pub(crate) fn late(&self, from: f64, to: f64) -> f64 {
        let at = |s: f64| self.began + Duration::from_secs_f64((s + self.behind).max(0.0));
        lateness::between(at(from), at(to), &[self.pid]).as_secs_f64()
    }

    /// Fails unless exactly this happened, within a second of the truth (seconds since the survey's start) and what the
    /// host was late.
    pub(crate) fn only(&self, cause: &str, from: f64, to: Option<f64>) {
        assert_eq!(self.causes(), [cause], "{:#}", self.json["troubles"]);
        let t = &self.troubles()[0];
        let ends = to.map(|to| ("the end", t["end_s"][1].as_f64().expect("ended"), to));
        let start = ("the start", t["start_s"][1].as_f64().expect("start"), from);
        for (what, seen, truth) in std::iter::once(start).chain(ends) {
            let truth = self.own(truth);
            let late = Duration::from_secs_f64(self.late(truth - 2.0, truth + 2.0));
            let off = Duration::from_secs_f64((seen - truth).abs());
            hold(
                &format!("{what} of {cause} is at {seen:.2} s, truth {truth:.2} s"),
                off,
                Duration::from_secs(1),
                late,
            );
        }
    }

    /// Judging the record again must give the same JSON, byte for byte, and the same exit code.
    pub(crate) fn same_when_judged_again(&self) {
        let again = Command::new(env!("CARGO_BIN_EXE_pathproof"))
            .arg("report")
            .arg(&self.record)
            .args(["--format", "json"])
            .output()
            .expect("runs");
        let json: Value = serde_json::from_slice(&again.stdout).expect("JSON");
        assert_eq!(json, self.json);
        assert_eq!(again.status.code(), Some(self.code));
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        for (_, child) in &mut self.servers {
            let _ = child.kill();
            let _ = child.wait();
        }
        for (stop, thread) in self.cables.drain(..) {
            stop.store(true, Ordering::Relaxed);
            let _ = thread.join();
        }
        for ns in ["host", "sw", "router", "net", "stray"] {
            let _ = Command::new("ip").args(["netns", "del", &self.ns(ns)]).output();
        }
        self.failed |= std::thread::panicking();
        if self.failed {
            self.dir.disable_cleanup(true);
            eprintln!("logs kept in {}", self.dir.path().display());
        }
    }
}
