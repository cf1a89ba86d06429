//! The probes for signs of lost power against real servers in network namespaces: upsd with its dummy driver (Debian
//! nut-server), miniupnpd (miniupnpd-nftables), snmpd, and the kernel's own neighbour table. Needs root and iproute2;
//! fails where a program is missing.

mod support;

use pathproof::judge::{Detail, Mac, Mains, Micros, NotAsked, Observation, Outcome, Question, RouterLife};
use pathproof::probe::{communicator, mains, neighbours, nut, radio, snmp, upnp};
use pathproof::site::{Nut, Plan, Signs, Snmp};
use std::path::Path;
use std::process::Command;
use std::time::Duration;
use support::lateness::answered;
use support::{Lab, plan, sh, start};

fn watching(signs: Signs) -> Plan {
    let second = Micros::from_secs(1);
    Plan { signs: Signs { mains_every: second, signs_every: second, ..signs }, ..plan() }
}

/// Host and router on one network, the router being the gateway.
fn home() -> Lab {
    let lab = Lab::new();
    Lab::ip(&lab.host, "addr add 192.0.2.7/24 dev eth0");
    Lab::ip(&lab.router, "addr add 192.0.2.1/24 dev br0");
    Lab::ip(&lab.host, "route add default via 192.0.2.1");
    lab
}

fn of_mains(o: &Observation) -> Option<&Mains> {
    if let Detail::Mains(m) = &o.detail { Some(m) } else { None }
}

fn present(o: &Observation) -> Option<bool> {
    of_mains(o).and_then(|m| m.present)
}

fn life(o: &Observation) -> Option<&RouterLife> {
    if let Detail::RouterLife(l) = &o.detail { Some(l) } else { None }
}

fn up(o: &Observation) -> Option<u64> {
    life(o).and_then(|l| l.up_s)
}

fn why(o: &Observation) -> &str {
    if let Detail::Why(words) = &o.detail { words } else { "" }
}

#[test]
fn an_adapter_pulled_and_put_back_is_seen_within_a_turn() {
    let lab = Lab::new();
    let root = lab.files.path().join("power_supply");
    let set = |supply: &str, file: &str, value: &str| {
        std::fs::create_dir_all(root.join(supply)).expect("made");
        std::fs::write(root.join(supply).join(file), value).expect("written");
    };
    let (tree, mine) = (root.clone(), root.clone());
    std::fs::create_dir_all(&mine).expect("made");
    let mut seen = start(&lab.host, watching(Signs::default()), move |ctx| mains::run_at(ctx, tree));
    let blind = seen.wait(3, "no supply", |o| o.question == Question::Mains);
    assert_eq!((&*blind.target, blind.outcome), ("this host", Outcome::NotAsked(NotAsked::Unsupported)));
    set("BAT0", "status", "Charging\n");
    set("BAT0", "capacity", "93\n");
    set("BAT0", "type", "Battery\n");
    set("AC", "online", "1\n");
    set("AC", "type", "Mains\n");
    seen.wait(3, "mains", |o| present(o) == Some(true) && of_mains(o).is_some_and(|m| m.charge_percent == Some(93)));
    set("AC", "online", "0\n");
    set("BAT0", "status", "Discharging\n");
    seen.wait(3, "mains lost", |o| present(o) == Some(false));
    set("AC", "online", "1\n");
    seen.wait(3, "mains back", |o| present(o) == Some(true));
}

/// What the dummy driver is told of its unit (dummy-ups(8)).
fn unit(directory: &Path, status: &str) {
    let text = format!("ups.status: {status}\nbattery.charge: 87\nbattery.runtime: 1860\n");
    std::fs::write(directory.join("new.dev"), text).expect("written");
    // At once, so that the driver never reads half of it.
    std::fs::rename(directory.join("new.dev"), directory.join("house.dev")).expect("renamed");
}

fn nut_command(program: &str, directory: &Path) -> Command {
    let mut command = Command::new(format!("/lib/nut/{program}"));
    command.args(["-u", "root", "-F"]);
    for key in ["NUT_CONFPATH", "NUT_STATEPATH", "NUT_ALTPIDPATH"] {
        command.env(key, directory);
    }
    command
}

#[test]
fn a_real_nut_server_tells_of_mains_lost_and_back() {
    let mut lab = home();
    let directory = lab.files.path().join("nut");
    std::fs::create_dir(&directory).expect("made");
    let config = |file: &str, text: &str| std::fs::write(directory.join(file), text).expect("written");
    let device = directory.join("house.dev");
    config("ups.conf", &format!("pollinterval = 1\n[house]\ndriver = dummy-ups\nport = {}\n", device.display()));
    config("upsd.conf", "LISTEN 192.0.2.1 3493\nMAXAGE 15\n");
    config("upsd.users", "");
    unit(&directory, "OL CHRG");
    let router = lab.router.clone();
    lab.serve(&router, "driver", nut_command("dummy-ups", &directory).args(["-a", "house"]));
    lab.serve(&router, "upsd", &mut nut_command("upsd", &directory));

    let at = |unit: &str| Signs {
        nut: Some(Nut { unit: unit.into(), server: "192.0.2.1:3493".parse().expect("literal") }),
        ..Signs::default()
    };
    let mut seen = start(&lab.host, watching(at("house")), nut::run);
    let o = seen.wait(10, "mains", |o| present(o) == Some(true));
    let expected = Mains { present: Some(true), charge_percent: Some(87), runtime_s: Some(1_860), ..Mains::default() };
    assert_eq!((&*o.target, of_mains(&o)), ("house@192.0.2.1", Some(&expected)));
    // The driver looks at its file every second, and so do we at the driver.
    unit(&directory, "OB DISCHRG LB");
    let o = seen.wait(4, "mains lost", |o| present(o) == Some(false));
    assert!(of_mains(&o).is_some_and(|m| m.battery_low && !m.battery_bad));
    unit(&directory, "OL CHRG RB");
    let o = seen.wait(4, "mains back", |o| present(o) == Some(true) && of_mains(o).is_some_and(|m| m.battery_bad));
    assert!(of_mains(&o).is_some_and(|m| !m.battery_low));

    let mut other = start(&lab.host, watching(at("shed")), nut::run);
    let o = other.wait(3, "a unit that is not there", |o| o.outcome == Outcome::Refused);
    assert_eq!(why(&o), "the NUT server says UNKNOWN-UPS");

    lab.stop("driver");
    seen.wait(20, "a server that does not know", |o| o.outcome == Outcome::Answered && present(o).is_none());
    lab.stop("upsd");
    seen.wait(4, "no server", |o| o.outcome == Outcome::Refused && why(o).is_empty());
}

#[test]
fn a_real_gateway_tells_its_life_and_a_restart_is_seen() {
    let mut lab = home();
    let router = lab.router.clone();
    sh(&format!("ip -n {router} link add wan type veth peer name isp && ip -n {router} link set wan up"));
    sh(&format!("ip -n {router} link set isp up && ip -n {router} addr add 203.0.113.7/24 dev wan"));
    let config = lab.files.path().join("upnp.conf");
    let text = "ext_ifname=wan\nlistening_ip=br0\nenable_natpmp=no\nenable_upnp=yes\nsystem_uptime=no\n\
                uuid=00000000-0000-4000-8000-000000000001\n";
    std::fs::write(&config, text).expect("written");
    let pid = lab.files.path().join("upnp.pid");
    let mut daemon = Command::new("/usr/sbin/miniupnpd");
    daemon.arg("-d").arg("-f").arg(&config).arg("-P").arg(&pid);

    let mut seen = start(&lab.host, watching(Signs { upnp: true, ..Signs::default() }), upnp::run);
    let o = seen.wait(8, "a router without UPnP", |o| o.question == Question::RouterLife);
    assert_eq!((&*o.target, o.outcome), ("UPnP at 192.0.2.1", Outcome::Timeout));
    lab.serve(&router, "upnp", &mut daemon);
    let o = seen.wait(30, "its life", |o| up(o).is_some_and(|s| s >= 4));
    let told = life(&o).expect("told");
    assert_eq!((told.of_connection, told.connected), (true, Some(true)));
    // This server keeps addresses of the documentation ranges to itself; lab_signs_hostile.rs has one that tells them.
    assert_eq!(told.outer, None);
    answered(&o, Duration::from_secs(3));

    lab.stop("upnp");
    seen.wait(12, "nobody", |o| o.outcome != Outcome::Answered);
    let _ = std::fs::remove_file(&pid);
    lab.serve(&router, "upnp", &mut daemon);
    let o = seen.wait(30, "its new life", |o| up(o).is_some());
    assert!(up(&o).is_some_and(|s| s < 30), "{o:?}");

    // The outer side loses its address: the router says so.
    Lab::ip(&router, "addr del 203.0.113.7/24 dev wan");
    Lab::ip(&router, "link set wan down");
    seen.wait(12, "no outer side", |o| life(o).is_some_and(|l| l.connected == Some(false)));
}

#[test]
fn a_search_goes_once_a_turn_to_the_local_group_and_no_further() {
    let lab = home();
    let host = Lab::mac(&lab.host, "eth0");
    let heard = frames_from(&lab.other, &host, 7);
    let mut seen = start(&lab.host, watching(Signs { upnp: true, ..Signs::default() }), upnp::run);
    seen.wait(8, "silence", |o| o.outcome == Outcome::Timeout);
    let told = heard.join().expect("counted");
    // The group's Ethernet address is that of RFC 1112 section 6.4; a time to live of 1 is never passed on.
    assert!((1..=3).contains(&told.lines().count()), "{told}");
    assert!(told.lines().all(|l| l == "0800 01:00:5e:7f:ff:fa ttl 1 239.255.255.250 1900"), "{told}");
}

#[test]
fn a_real_snmp_agent_tells_how_long_it_is_up_and_a_restart_is_seen() {
    let mut lab = home();
    let router = lab.router.clone();
    // Not under the name of the agent's own persistent file, which it writes beside it.
    let config = lab.files.path().join("agent.conf");
    std::fs::write(&config, "rocommunity lab 192.0.2.0/24\n").expect("written");
    let mut daemon = Command::new("/usr/sbin/snmpd");
    daemon.args(["-f", "-Lo", "-C", "-c"]).arg(&config).args(["-I", "-smux", "udp:192.0.2.1:161"]);
    daemon.env("SNMP_PERSISTENT_DIR", lab.files.path()).env("MIBS", "");

    let with = |community: &str| Signs {
        snmp: Some(Snmp { agent: "192.0.2.1:161".parse().expect("literal"), community: community.into() }),
        ..Signs::default()
    };
    let mut seen = start(&lab.host, watching(with("lab")), snmp::run);
    seen.wait(4, "no agent", |o| o.outcome == Outcome::Refused);
    lab.serve(&router, "snmpd", &mut daemon);
    let o = seen.wait(15, "its time", |o| up(o).is_some_and(|s| s >= 3));
    assert_eq!((&*o.target, life(&o).map(|l| l.of_connection)), ("SNMP at 192.0.2.1", Some(false)));
    assert!(o.rtt.is_some());
    let mut stranger = start(&lab.host, watching(with("other")), snmp::run);
    stranger.wait(5, "an agent that answers only its community", |o| o.outcome == Outcome::Timeout);
    lab.stop("snmpd");
    seen.wait(5, "gone", |o| o.outcome != Outcome::Answered);
    lab.serve(&router, "snmpd", &mut daemon);
    let again = seen.wait(15, "a new start", |o| up(o).is_some());
    assert!(up(&again) < up(&o), "{again:?} after {o:?}");
}

/// Lets the kernel find out within seconds who is gone (arp(7), ip-sysctl: the neigh settings).
fn quick_table(ns: &str) {
    for (setting, value) in [("base_reachable_time_ms", 1_000), ("delay_first_probe_time", 1), ("ucast_solicit", 1)] {
        sh(&format!("ip netns exec {ns} sh -c 'echo {value} > /proc/sys/net/ipv4/neigh/eth0/{setting}'"));
    }
}

fn ping(from: &str, to: &str) {
    let _ = Command::new("ip").args(["netns", "exec", from, "ping", "-c1", "-W1", to]).output();
}

#[test]
fn neighbours_leave_and_return_and_the_gateway_is_none() {
    let lab = home();
    quick_table(&lab.host);
    Lab::ip(&lab.other, "addr add 192.0.2.2/24 dev eth0");
    let other = Lab::mac(&lab.other, "eth0");
    let macs = |o: &Observation| match &o.detail {
        Detail::Neighbours(macs) => Some(macs.iter().map(ToString::to_string).collect::<Vec<_>>()),
        _ => None,
    };
    let mut seen = start(&lab.host, watching(Signs { kernel_tables: true, ..Signs::default() }), neighbours::run);
    let o = seen.wait(3, "an empty table", |o| macs(o).is_some());
    assert_eq!((&*o.target, macs(&o)), ("eth0", Some(vec![])));
    ping(&lab.host, "192.0.2.1");
    ping(&lab.host, "192.0.2.2");
    seen.wait(3, "the other and not the gateway", |o| macs(o) == Some(vec![other.clone()]));

    Lab::ip(&lab.other, "link set eth0 down");
    let mut gone = false;
    for _ in 0..15 {
        ping(&lab.host, "192.0.2.2");
        gone |= seen.of(Question::Neighbours).last().is_some_and(|o| macs(o) == Some(vec![]));
        if gone {
            break;
        }
    }
    assert!(gone, "{:#?}", seen.of(Question::Neighbours));
    Lab::ip(&lab.other, "link set eth0 up");
    std::thread::sleep(std::time::Duration::from_secs(1));
    ping(&lab.host, "192.0.2.2");
    seen.wait(4, "back", |o| macs(o) == Some(vec![other.clone()]));

    Lab::ip(&lab.router, "link set p1 down");
    let o = seen.wait(3, "blind without carrier", |o| !o.outcome.was_asked());
    assert_eq!(o.outcome, Outcome::NotAsked(NotAsked::NoInterface));
}

/// What reaches eth0 of a namespace from one hardware address, but IPv6's own neighbour and group messages: for each
/// frame, its protocol and destination, and for IPv4 its time to live, address and port. Counted by an independent reader, Linux's own packet socket in Python.
fn frames_from(ns: &str, from: &str, seconds: u32) -> std::thread::JoinHandle<String> {
    let script = format!(
        r"
import socket, time
s = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(3))
s.bind(('eth0', 0))
end = time.time() + {seconds}
print('ready', flush=True)
while time.time() < end:
    s.settimeout(max(0.01, end - time.time()))
    try: f, a = s.recvfrom(2048)
    except TimeoutError: break
    if f[6:12].hex(':') != '{from}' or a[2] == socket.PACKET_OUTGOING or f[12:14].hex() == '86dd': continue
    ip = f[14:]
    more = ['ttl', ip[8], socket.inet_ntoa(ip[16:20]), int.from_bytes(ip[22:24], 'big')] if f[12:14].hex() == '0800' else []
    print(f[12:14].hex(), f[0:6].hex(':'), *more)
"
    );
    let mut child = Command::new("ip")
        .args(["netns", "exec", ns, "/usr/bin/python3", "-c", &script])
        .stdout(std::process::Stdio::piped())
        .spawn()
        .expect("ip runs");
    let mut out = std::io::BufReader::new(child.stdout.take().expect("piped"));
    let mut ready = String::new();
    std::io::BufRead::read_line(&mut out, &mut ready).expect("python starts");
    assert_eq!(ready, "ready\n");
    std::thread::spawn(move || {
        let mut told = String::new();
        std::io::Read::read_to_string(&mut out, &mut told).expect("text");
        assert!(child.wait().expect("ends").success());
        told
    })
}

#[test]
fn nothing_is_sent_to_a_communicator_that_has_not_spoken_and_one_arp_request_a_turn_to_one_that_has() {
    let lab = home();
    Lab::ip(&lab.other, "addr add 192.0.2.50/24 dev eth0");
    let mac = Mac::try_from(Lab::mac(&lab.other, "eth0")).expect("a hardware address");
    let host = Lab::mac(&lab.host, "eth0");
    let quiet = frames_from(&lab.other, &host, 6);
    let signs = Signs { communicator: Some(mac), ..Signs::default() };
    let mut seen = start(&lab.host, watching(signs), communicator::run);
    seen.wait(6, "unknown", |o| o.outcome == Outcome::NotAsked(NotAsked::NoAddress));
    assert_eq!(quiet.join().expect("counted"), "", "before it spoke");
    let asked = frames_from(&lab.other, &host, 6);
    ping(&lab.other, "192.0.2.1");
    seen.wait(6, "asked for", |o| o.rtt.is_some());
    let told = asked.join().expect("counted");
    let requests = told.lines().count();
    assert!((3..=6).contains(&requests), "one a second at most: {told}");
    assert!(told.lines().all(|l| l == "0806 ff:ff:ff:ff:ff:ff"), "nothing but ARP requests: {told}");
}

#[test]
fn the_communicator_is_heard_then_asked_for_and_its_leaving_is_seen() {
    let lab = home();
    Lab::ip(&lab.other, "addr add 192.0.2.50/24 dev eth0");
    let mac = Mac::try_from(Lab::mac(&lab.other, "eth0")).expect("a hardware address");
    let signs = Signs { communicator: Some(mac), ..Signs::default() };
    let mut seen = start(&lab.host, watching(signs), communicator::run);
    let o = seen.wait(6, "unknown", |o| o.question == Question::Communicator);
    assert_eq!((o.outcome, &*o.target), (Outcome::NotAsked(NotAsked::NoAddress), mac.to_string().as_str()));
    assert_eq!(why(&o), "it has not spoken yet, so its address is not known");

    // It speaks to its router, as it would; its question for the router is a broadcast.
    ping(&lab.other, "192.0.2.1");
    let o = seen.wait(4, "heard", |o| o.outcome == Outcome::Answered);
    assert_eq!(o.detail, Detail::Claimants(vec![mac]));
    let o = seen.wait(4, "asked for", |o| o.outcome == Outcome::Answered && o.rtt.is_some());
    assert!(o.rtt.is_some_and(|r| r.took < pathproof::judge::Micros::from_millis(500)));
    Lab::ip(&lab.other, "link set eth0 down");
    let o = seen.wait(5, "gone", |o| o.outcome == Outcome::Timeout);
    assert_eq!(o.detail, Detail::Claimants(vec![]));
    Lab::ip(&lab.other, "link set eth0 up");
    seen.wait(5, "back", |o| o.outcome == Outcome::Answered);
}

#[test]
fn a_lead_is_no_radio() {
    let lab = home();
    let mut seen = start(&lab.host, watching(Signs { kernel_tables: true, ..Signs::default() }), radio::run);
    let o = seen.wait(4, "no radio", |o| o.question == Question::Radio);
    assert_eq!(o.outcome, Outcome::NotAsked(NotAsked::Unsupported));
}

#[test]
fn a_whole_survey_asks_what_it_announced_and_says_what_it_is_blind_to() {
    let mut lab = home();
    let router = lab.router.clone();
    let config = lab.files.path().join("agent.conf");
    std::fs::write(&config, "rocommunity lab 192.0.2.0/24\n").expect("written");
    let mut agent = Command::new("/usr/sbin/snmpd");
    agent.args(["-f", "-Lo", "-C", "-c"]).arg(&config).args(["-I", "-smux", "udp:192.0.2.1:161"]);
    agent.env("SNMP_PERSISTENT_DIR", lab.files.path()).env("MIBS", "");
    lab.serve(&router, "snmpd", &mut agent);
    let site = lab.files.path().join("site.toml");
    let text = "[site]\ninterface = \"eth0\"\n[power]\nnut = \"192.0.2.1:3493\"\nsnmp = \"192.0.2.1\"\nsnmp_community = \"lab\"\n\
                [cadence]\nmains = \"1s\"\nsigns = \"10s\"\n[panel]\ncommunicator_mac = \"02:00:5e:10:00:01\"\n\
                [[resolver]]\naddress = \"192.0.2.1\"\n[[reference]]\nname = \"near\"\naddress = \"192.0.2.1\"\n";
    std::fs::write(&site, text).expect("written");
    let out = Command::new("ip")
        .args([
            "netns",
            "exec",
            &lab.host,
            env!("CARGO_BIN_EXE_pathproof"),
            "survey",
            "--for",
            "14s",
            "--format",
            "json",
        ])
        .arg("--record")
        .arg(lab.files.path().join("record"))
        .arg(&site)
        .current_dir(lab.files.path())
        .output()
        .expect("ip runs");
    let told = String::from_utf8_lossy(&out.stdout);
    let snapshot: serde_json::Value = serde_json::from_str(&told).unwrap_or_else(|e| panic!("{e}: {told} {out:?}"));
    let targets = snapshot["targets"].as_array().expect("targets").clone();
    let of = |target: &str| {
        let found = targets.iter().find(|t| t["target"] == target).unwrap_or_else(|| panic!("{target}: {targets:#?}"));
        (found["asked"].as_u64().expect("a count"), found["answered"].as_u64().expect("a count"))
    };
    let (asked, answered) = of("SNMP at 192.0.2.1");
    assert!((1..=2).contains(&asked) && asked == answered, "{asked} {answered}");
    // Nobody listens there, and the router says so: asked every second, never answered.
    let (asked, answered) = of("ups@192.0.2.1");
    assert!((10..=15).contains(&asked) && answered == 0, "{asked} {answered}");
    let (asked, answered) = of("UPnP at 192.0.2.1");
    assert!((1..=2).contains(&asked) && answered == 0, "{asked} {answered}");
    assert!(of("eth0").0 > 0);
    let blind = snapshot["blind"].as_array().expect("a list").clone();
    let about = |what: &str| blind.iter().find(|b| b["what"] == what).cloned();
    let communicator = about("communicator on the network").unwrap_or_else(|| panic!("{blind:#?}"));
    assert_eq!(communicator["opens"], "waiting until the communicator has spoken on this network once");
    assert!(about("radio signal").is_none(), "a lead has none to be blind to: {blind:#?}");
    assert!(about("mains and backup power").is_none(), "mains was asked for: {blind:#?}");
}

#[test]
fn without_raw_sockets_all_but_the_communicator_is_asked() {
    // The same test program as another user: no capability, so the kernel refuses the packet socket.
    let lab = home();
    Lab::ip(&lab.other, "addr add 192.0.2.2/24 dev eth0");
    ping(&lab.host, "192.0.2.2");
    let me = std::env::current_exe().expect("this program");
    let told = sh(&format!(
        "ip netns exec {} setpriv --reuid 65534 --regid 65534 --clear-groups {} --ignored --exact --nocapture unprivileged_part",
        lab.host,
        me.display()
    ));
    assert!(told.contains("1 passed"), "{told}");
}

#[test]
#[ignore = "run by without_raw_sockets_all_but_the_communicator_is_asked, as another user"]
fn unprivileged_part() {
    let (seen, mut said) = tokio::sync::mpsc::channel(64);
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
    let (_pace, pace) = tokio::sync::watch::channel(pathproof::probe::Pace::Steady);
    let clock = pathproof::sys::clock::Clock::starting_at(pathproof::judge::Moment(60_000_000));
    let signs = Signs { communicator: Some(Mac([2, 0, 0x5e, 0x10, 0, 1])), ..Signs::default() };
    let ctx = pathproof::probe::Context { clock, plan: std::sync::Arc::new(watching(signs)), seen, pace };
    let all = runtime.block_on(async move {
        tokio::spawn(neighbours::run(ctx.clone()));
        tokio::spawn(communicator::run(ctx.clone()));
        tokio::spawn(radio::run(ctx.clone()));
        tokio::spawn(upnp::run(ctx));
        let mut all = Vec::new();
        let _ = tokio::time::timeout(std::time::Duration::from_secs(6), async {
            while let Some(o) = said.recv().await {
                all.push(o);
            }
        })
        .await;
        all
    });
    let outcomes = |q| all.iter().filter(move |o| o.question == q).map(|o| o.outcome).collect::<Vec<_>>();
    let only = |q, outcome| {
        let all = outcomes(q);
        assert!(!all.is_empty() && all.iter().all(|o| *o == outcome), "{q:?}: {all:?}");
    };
    only(Question::Neighbours, Outcome::Answered);
    only(Question::Communicator, Outcome::NotPermitted);
    only(Question::Radio, Outcome::NotAsked(NotAsked::Unsupported));
    only(Question::RouterLife, Outcome::Timeout);
    assert!(all.iter().any(|o| matches!(&o.detail, Detail::Neighbours(macs) if macs.len() == 1)), "{all:#?}");
}
