//! A small lab for the tests: three hosts on one switch, each in its own network namespace. Needs root and iproute2, and
//! fails where they are missing. Everything is taken down again when the lab is dropped.
#![allow(dead_code, unreachable_pub, reason = "each test program uses its own part of this module")]

pub mod lateness;

use lateness::{Held, hold, judge, of_two};
use pathproof::judge::{Detail, Micros, Moment, Observation, Question};
use pathproof::probe::{Context, Pace};
use pathproof::site::{Background, Between, Cadence, Plan, Signs, SiteKind};
use pathproof::sys::clock::Clock;
use std::fs::File;
use std::future::Future;
use std::process::{Child, Command};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};
use tokio::sync::{mpsc, watch};

static NEXT: AtomicU32 = AtomicU32::new(0);

/// `host` with eth0; `router` with br0, which joins the others; `other` with eth0. No addresses yet.
pub struct Lab {
    pub host: String,
    pub router: String,
    pub other: String,
    servers: Vec<Child>,
    named: Vec<(String, Child)>,
    pub files: tempfile::TempDir,
}

pub fn sh(line: &str) -> String {
    let out = Command::new("sh").args(["-c", line]).output().expect("sh runs");
    let (told, failed) = (String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    assert!(out.status.success(), "{line}: {failed} (the lab tests need root and iproute2)");
    told.into_owned()
}

impl Lab {
    pub fn new() -> Self {
        let id = format!("pp{}x{}", std::process::id(), NEXT.fetch_add(1, Ordering::Relaxed));
        let [host, router, other] = ["a", "b", "c"].map(|n| format!("{id}{n}"));
        let files = tempfile::tempdir().expect("a directory");
        let lab = Self { host, router, other, servers: Vec::new(), named: Vec::new(), files };
        for ns in [&lab.host, &lab.router, &lab.other] {
            sh(&format!("ip netns add {ns} && ip -n {ns} link set lo up"));
        }
        let Self { router, .. } = &lab;
        sh(&format!("ip -n {router} link add br0 type bridge && ip -n {router} link set br0 up"));
        lab.plug(&lab.host, "p1");
        lab.plug(&lab.other, "p2");
        lab
    }

    /// A new lead from eth0 of a namespace to a port of the switch.
    pub fn plug(&self, ns: &str, port: &str) {
        let router = &self.router;
        sh(&format!("ip -n {router} link add {port} type veth peer name eth0 netns {ns}"));
        sh(&format!("ip -n {router} link set {port} master br0 up && ip -n {ns} link set eth0 up"));
    }

    /// `ip` in a namespace.
    pub fn ip(ns: &str, arguments: &str) -> String {
        sh(&format!("ip -n {ns} {arguments}"))
    }

    pub fn mac(ns: &str, interface: &str) -> String {
        sh(&format!("ip -n {ns} -o link show {interface}"))
            .split("link/ether ")
            .nth(1)
            .and_then(|rest| rest.split(' ').next())
            .expect("an Ethernet device")
            .to_owned()
    }

    /// Starts a server in a namespace, its output going to a log beside the lab's other files; `name` is its log and what
    /// [`Lab::stop`] calls it. Needs the program's Debian package and fails without it.
    pub fn serve(&mut self, ns: &str, name: &str, command: &mut Command) -> std::path::PathBuf {
        let log = self.files.path().join(format!("{name}.log"));
        let out = File::create(&log).expect("a log file");
        let mut inside = Command::new("ip");
        inside.args(["netns", "exec", ns]).arg(command.get_program()).args(command.get_args());
        for (key, value) in command.get_envs() {
            inside.env(key, value.expect("only set"));
        }
        let server = inside
            .stdin(std::process::Stdio::null())
            .stdout(out.try_clone().expect("a second handle"))
            .stderr(out)
            .spawn()
            .expect("ip runs");
        self.named.push((name.to_owned(), server));
        log
    }

    /// Stops a server and waits until it is gone.
    pub fn stop(&mut self, name: &str) {
        let at = self.named.iter().position(|(n, _)| n == name).expect("it was started");
        let (_, mut server) = self.named.swap_remove(at);
        let _ = server.kill();
        let _ = server.wait();
    }

    /// Starts dnsmasq as an address server; gives the file its log goes to.
    pub fn dnsmasq(&mut self, ns: &str, interface: &str, arguments: &[&str]) -> std::path::PathBuf {
        let log = self.files.path().join(format!("{ns}.log"));
        let server = Command::new("ip")
            .args(["netns", "exec", ns, "dnsmasq", "--conf-file=/dev/null", "--no-daemon", "--port=0", "--log-dhcp"])
            .args(["--pid-file=", "--user=root", "--no-ping"])
            .arg(format!("--interface={interface}"))
            .arg(format!("--dhcp-leasefile={}", self.files.path().join(format!("{ns}.leases")).display()))
            .args(arguments)
            .stderr(File::create(&log).expect("a log file"))
            .spawn()
            .expect("ip runs");
        self.servers.push(server);
        let said = || std::fs::read_to_string(&log).unwrap_or_default();
        let words = || format!("dnsmasq starts (apt-get install dnsmasq-base): {}", said());
        lateness::Stretch::begin(&[]).until(Duration::from_secs(5), words, || said().contains("DHCP, "));
        log
    }
}

impl Drop for Lab {
    fn drop(&mut self) {
        for server in self.servers.iter_mut().chain(self.named.iter_mut().map(|(_, s)| s)) {
            let _ = server.kill();
            let _ = server.wait();
        }
        for ns in [&self.host, &self.router, &self.other] {
            let _ = Command::new("ip").args(["netns", "del", ns]).output();
        }
    }
}

pub fn plan() -> Plan {
    let second = Micros::from_secs(1);
    Plan {
        site: "lab".into(),
        kind: SiteKind::Household,
        interface: Some("eth0".into()),
        lease_file: None,
        resolvers: Vec::new(),
        existing_name: "example.test".into(),
        references: Vec::new(),
        receivers: Vec::new(),
        cadence: Cadence {
            local: second,
            router: second,
            names: second,
            outside: second,
            receiver: second,
            offers: Micros::from_secs(10),
        },
        between: Between::default(),
        patience: second,
        supervision: None,
        requirements: "lab".into(),
        uses: Vec::new(),
        background: Background::default(),
        signs: Signs::default(),
        practice: false,
        loopback: false,
    }
}

/// What a probe said, as it says it.
pub struct Seen {
    said: mpsc::Receiver<Observation>,
    all: Vec<Observation>,
}

impl Seen {
    /// Waits for an observation; panics with all that was seen when none comes in time, and what the host was late.
    pub fn wait(&mut self, seconds: u64, what: &str, wanted: impl Fn(&Observation) -> bool) -> Observation {
        lateness::follow(None);
        let (from, limit) = (Instant::now(), Duration::from_secs(seconds));
        loop {
            match self.said.try_recv() {
                Ok(o) => {
                    self.all.push(o.clone());
                    if wanted(&o) {
                        hold(what, from.elapsed(), limit, of_two(from));
                        return o;
                    }
                }
                Err(_) if from.elapsed() < limit => std::thread::sleep(Duration::from_millis(5)),
                Err(_) if judge(from.elapsed(), limit, of_two(from)) == Held::Widened => {
                    std::thread::sleep(Duration::from_millis(5));
                }
                Err(e) => {
                    let words = format!("waited for {what} ({e}); saw {:#?}", self.all);
                    hold(&words, from.elapsed(), limit, of_two(from));
                }
            }
        }
    }

    pub fn of(&mut self, question: Question) -> Vec<Observation> {
        while let Ok(o) = self.said.try_recv() {
            self.all.push(o);
        }
        self.all.iter().filter(|o| o.question == question).cloned().collect()
    }
}

/// Runs a probe in a namespace until its [`Seen`] is dropped.
pub fn start<F: Future<Output = ()> + 'static>(
    ns: &str,
    plan: Plan,
    probe: impl FnOnce(Context) -> F + Send + 'static,
) -> Seen {
    let (seen, said) = mpsc::channel(1_024);
    let inside = File::open(format!("/run/netns/{ns}")).expect("the namespace is there");
    std::thread::spawn(move || {
        nix::sched::setns(inside, nix::sched::CloneFlags::CLONE_NEWNET).expect("root may enter a namespace");
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        let (_pace, pace) = watch::channel(Pace::Steady);
        let ctx = Context { clock: Clock::starting_at(Moment(0)), plan: Arc::new(plan), seen, pace };
        runtime.block_on(probe(ctx));
    });
    Seen { said, all: Vec::new() }
}

/// Runs something in a namespace on a thread of its own.
pub fn inside<T: Send + 'static>(ns: &str, run: impl FnOnce() -> T + Send + 'static) -> std::thread::JoinHandle<T> {
    let inside = File::open(format!("/run/netns/{ns}")).expect("the namespace is there");
    std::thread::spawn(move || {
        nix::sched::setns(inside, nix::sched::CloneFlags::CLONE_NEWNET).expect("root may enter a namespace");
        run()
    })
}

/// The carrier in an observation.
pub fn carrier(o: &Observation) -> Option<&pathproof::judge::Carrier> {
    match &o.detail {
        Detail::Carrier(c) => Some(c),
        _ => None,
    }
}

/// Asks the kernel of a namespace something.
pub fn ask<T: Send>(ns: &str, question: impl AsyncFnOnce(&pathproof::sys::netlink::Kernel) -> T + Send) -> T {
    let inside = File::open(format!("/run/netns/{ns}")).expect("the namespace is there");
    std::thread::scope(|scope| {
        let asking = scope.spawn(move || {
            nix::sched::setns(inside, nix::sched::CloneFlags::CLONE_NEWNET).expect("root may enter a namespace");
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
            runtime.block_on(async {
                let kernel = pathproof::sys::netlink::Kernel::connect().expect("netlink");
                question(&kernel).await
            })
        });
        asking.join().expect("no panic")
    })
}
