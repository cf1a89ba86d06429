//! The practice site against the world: do real packets flow, late and lost as told, and do the stamped truths agree
//! with what a plain program on the host sees?
//!
//! No standard harness: namespaces are entered by the process itself while it has one thread. Everything asked here is
//! asked with plain sockets and the kernel's own files, not with the code under test. Figures are printed.

#![expect(clippy::print_stdout, reason = "a test program of its own prints its findings")]
#![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

#[path = "support/lateness.rs"]
mod lateness;

use hickory_proto::op::{Message, MessageType, OpCode, Query, ResponseCode};
use hickory_proto::rr::{Name, RecordType};
use pathproof::judge::{Micros, Moment};
use pathproof::practice::{FaultKind, Ground, Script, Site, Truth, line, prepare};
use pathproof::site::plan::{Host, Plan};
use pathproof::sys::clock::Clock;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpStream, UdpSocket};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

fn main() -> ExitCode {
    if std::env::args().any(|a| a == "--list") {
        println!("practice_ground: test");
        return ExitCode::SUCCESS;
    }
    match prepare() {
        Ground::Loopback { why, allow } => {
            println!("SKIPPED: the virtual home of practice_ground, because {why}; to allow it: {allow}");
        }
        ground @ Ground::Namespaces(_) => home(ground),
    }
    loopback();
    println!("practice_ground: ok");
    ExitCode::SUCCESS
}

fn home(ground: Ground) {
    let Ground::Namespaces(entered) = &ground else { unreachable!("checked by the caller") };
    println!("namespaces: unprivileged {}, own sysfs {}", entered.unprivileged, entered.sysfs);
    let began = Instant::now();
    let site = Site::start(ground, script()).unwrap();
    println!("home built, lease held after {:.0} ms", ms(began.elapsed()));
    assert!(site.unplayable.is_empty());

    leased(&site);
    delays(&site);
    losses(&site);
    services(&site.plan);
    cut(&site);
    let seen = played(&site, true);
    assert_eq!(seen.len(), 13, "{seen:?}");
    renewed(&site, began);
    assert_eq!(site.visits().octets(), 0, "nobody sent the receiver anything");
    assert!(site.visits().connections() > 50);
    let folder = site.plan.lease_file.as_ref().unwrap().parent().unwrap().to_owned();
    drop(site);
    assert!(!folder.exists(), "the lease folder goes with the site");
    assert!(!own_interfaces().contains("h0:"), "the host's interface goes with the site");
}

fn loopback() {
    let ground = Ground::Loopback { why: "asked for".into(), allow: "nothing".into() };
    let site = Site::start(ground, script()).unwrap();
    assert!(site.plan.loopback && site.plan.interface.is_none() && site.plan.lease_file.is_none());
    let blind: Vec<_> = site.unplayable.iter().map(|(s, _)| s.fault.kind()).collect();
    let unplayable = [
        FaultKind::LinkFlap,
        FaultKind::SecondAddressServer,
        FaultKind::RouterRestart,
        FaultKind::AddressRemoved,
        FaultKind::RouteRemoved,
        FaultKind::LineCongested,
        FaultKind::ReferencesFiltered,
    ];
    assert_eq!(blind, unplayable);
    delays(&site);
    losses(&site);
    services(&site.plan);
    let seen = played(&site, false);
    assert_eq!(seen.len(), 6, "{seen:?}");
    assert_eq!(site.visits().octets(), 0);
}

fn script() -> Script {
    let step =
        |at: f64, long: f64, fault: &str| format!("[[step]]\nat_s = {at:?}\nfor_s = {long:?}\nfault = \"{fault}\"\n");
    let text: String = [
        step(1.0, 1.0, "link-flap"),
        step(1.0, 19.0, "second-address-server"),
        step(4.0, 2.0, "router-restart"),
        step(8.0, 2.0, "access-cut"),
        step(12.0, 1.5, "resolver-failure"),
        step(15.0, 1.5, "receiver-refusing"),
        step(18.0, 8.0, "loss-burst"),
        step(29.0, 2.0, "address-removed"),
        step(33.0, 2.0, "route-removed"),
        step(37.0, 2.0, "line-congested"),
        step(41.0, 2.0, "references-filtered"),
        step(45.0, 2.0, "receiver-silent"),
        step(49.0, 2.0, "names-rewritten"),
    ]
    .concat();
    Script::read("here", &text).unwrap()
}

fn ms(d: Duration) -> f64 {
    d.as_secs_f64() * 1e3
}

fn own_interfaces() -> String {
    std::fs::read_to_string("/proc/thread-self/net/dev").unwrap()
}

/// One question over UDP and its answer.
fn ask(to: SocketAddr, name: &str, kind: RecordType, patience: Duration) -> Option<(Message, Duration)> {
    let mut m = Message::new(rand::random(), MessageType::Query, OpCode::Query);
    m.metadata.recursion_desired = name != ".";
    m.add_query(Query::query(Name::from_ascii(name).unwrap(), kind));
    let any = if to.ip().is_loopback() { Ipv4Addr::LOCALHOST } else { Ipv4Addr::UNSPECIFIED };
    let socket = UdpSocket::bind((any, 0)).ok()?;
    socket.set_read_timeout(Some(patience)).unwrap();
    socket.connect(to).ok()?;
    let sent = Instant::now();
    socket.send(&m.to_vec().unwrap()).ok()?;
    let mut buffer = [0; 1_500];
    loop {
        let n = socket.recv(&mut buffer).ok()?;
        let took = sent.elapsed();
        let said = Message::from_vec(&buffer[..n]).unwrap();
        // On loopback a port is soon used again, and a late answer to the one before comes here.
        if said.metadata.id == m.metadata.id {
            assert_eq!(said.queries, m.queries);
            return Some((said, took));
        }
    }
}

fn trips(to: SocketAddr, n: usize, patience: Duration) -> Vec<f64> {
    let mut took: Vec<_> = (0..n).filter_map(|_| ask(to, ".", RecordType::NS, patience)).map(|(_, t)| ms(t)).collect();
    took.sort_by(f64::total_cmp);
    took
}

fn receiver(plan: &Plan) -> SocketAddr {
    let Host::Address(address) = plan.receivers[0].host else { panic!("by address") };
    (address, plan.receivers[0].port).into()
}

fn leased(site: &Site) {
    let held = site.held().unwrap();
    assert_eq!((held.address, held.prefix), (Ipv4Addr::new(192, 168, 77, 100), 24));
    assert_eq!((held.router, held.resolver, held.times_s), (held.server, held.server, [120, 60, 105]));
    assert_eq!(IpAddr::from(held.resolver), site.plan.resolvers[0].address.ip());
    let file = std::fs::read_to_string(site.plan.lease_file.as_ref().unwrap()).unwrap();
    for line in ["ADDRESS=192.168.77.100", "SERVER_ADDRESS=192.168.77.1", "LIFETIME=120", "T1=60", "T2=105"] {
        assert!(file.lines().any(|l| l == line), "{line} in\n{file}");
    }
    // The kernel's own table: destination 0, gateway 192.168.77.1 in the host's byte order (proc_net_route).
    let routes = std::fs::read_to_string("/proc/thread-self/net/route").unwrap();
    let gateway = format!("{:08X}", u32::from_le_bytes([192, 168, 77, 1]));
    assert!(routes.lines().any(|l| l.starts_with("h0") && l.contains(&format!("00000000\t{gateway}"))), "{routes}");
    println!("lease: {} for {} s from {}", held.address, held.times_s[0], held.server);
}

fn delays(site: &Site) {
    let usual = line::Manner::default();
    lateness::follow(None);
    let mut from = Instant::now();
    let mut late = || lateness::of_two(std::mem::replace(&mut from, Instant::now()));
    for reference in &site.plan.references {
        let took = trips(reference.address, 30, Duration::from_secs(1));
        assert_eq!(took.len(), 30, "nothing is lost on a good line");
        println!("{}: least {:.2}, median {:.2}, most {:.2} ms", reference.name, took[0], took[15], took[29]);
        // Two ways of 12 ms, give or take 1; a busy machine only adds.
        assert!(took[0] >= 21.9, "{took:?}");
        held("the least round trip", took[0] / 1e3, 0.028, late());
    }
    for delay in [5, 20, 80] {
        site.line().set_manner(line::Manner { delay: Micros::from_millis(delay), jitter: Micros::ZERO, loss: 0.0 });
        let took = trips(site.plan.references[1].address, 15, Duration::from_secs(1));
        let least = 2.0 * delay as f64;
        println!("told {delay} ms each way: median round trip {:.2} ms", took[7]);
        assert!(took.len() == 15 && took[0] >= least, "{took:?}");
        held("the least round trip", took[0] / 1e3, (least + 5.0) / 1e3, late());
    }
    site.line().set_manner(usual);
}

fn losses(site: &Site) {
    let quick = line::Manner { delay: Micros::from_millis(1), jitter: Micros::ZERO, loss: 0.2 };
    site.line().set_manner(quick);
    let answered = trips(site.plan.references[2].address, 400, Duration::from_millis(60)).len() as f64 / 400.0;
    site.line().set_manner(line::Manner::default());
    println!("told 0.2 loss each way: {answered:.3} of round trips came back, 0.640 expected");
    // Binomial, n = 400, p = 0.8 * 0.8: standard deviation 0.024; five of them.
    assert!((answered - 0.64).abs() < 0.12);
}

fn services(plan: &Plan) {
    let resolver = plan.resolvers[0].address;
    let patience = Duration::from_secs(1);
    let (known, took) = ask(resolver, &plan.existing_name, RecordType::A, patience).unwrap();
    assert_eq!((known.metadata.response_code, known.answers.len()), (ResponseCode::NoError, 1));
    let (none, _) = ask(resolver, "nothing-here.invalid.", RecordType::A, patience).unwrap();
    assert_eq!(none.metadata.response_code, ResponseCode::NXDomain);
    let started = Instant::now();
    let connection = TcpStream::connect_timeout(&receiver(plan), patience).unwrap();
    println!("name over the line {:.2} ms, receiver connected in {:.2} ms", ms(took), ms(started.elapsed()));
    assert!(ms(took) >= 21.9, "the forwarder keeps nothing: {took:?}");
    drop(connection);
}

fn cut(site: &Site) {
    let patience = Duration::from_millis(800);
    site.line().set_cut(true);
    for reference in &site.plan.references {
        assert!(ask(reference.address, ".", RecordType::NS, Duration::from_millis(200)).is_none());
    }
    let (said, took) = ask(site.plan.resolvers[0].address, &site.plan.existing_name, RecordType::A, patience).unwrap();
    assert_eq!(said.metadata.response_code, ResponseCode::ServFail, "a forwarder that hears nothing says so");
    println!("cut: no reference point answers; the resolver says server failure after {:.0} ms", ms(took));
    site.line().set_cut(false);
    for reference in &site.plan.references {
        assert!(ask(reference.address, ".", RecordType::NS, patience).is_some());
    }
}

/// When a question was put, and whether it was answered well.
type Log = Vec<(Moment, bool)>;

fn watch(
    clock: Clock,
    over: &Arc<AtomicBool>,
    every: Duration,
    mut look: impl FnMut() -> bool + Send + 'static,
) -> thread::JoinHandle<Log> {
    let over = Arc::clone(over);
    thread::spawn(move || {
        let mut log = Vec::new();
        while !over.load(Ordering::Relaxed) {
            let asked = clock.now();
            log.push((asked, look()));
            thread::sleep(every);
        }
        log
    })
}

/// An answer this late counts as lost. Ten round trips, so that a busy machine's late answers don't.
const LOST: Duration = Duration::from_millis(240);

/// The span of bad answers around a truth: first bad, first good after.
fn bad_span(log: &Log, truth: &Truth) -> Option<(f64, f64)> {
    let near = |m: Moment| (truth.from.secs() - 0.5..truth.to.secs() + 0.5).contains(&m.secs());
    let first = log.iter().position(|(m, good)| near(*m) && !good)?;
    let last = log.iter().rposition(|(m, good)| near(*m) && !good)?;
    Some((log[first].0.secs(), log.get(last + 1)?.0.secs()))
}

/// Holds seconds to a limit and what the host was late.
#[track_caller]
fn held(what: &str, off: f64, limit: f64, late: Duration) {
    lateness::hold(what, Duration::from_secs_f64(off.abs()), Duration::from_secs_f64(limit), late);
}

#[expect(clippy::too_many_lines, reason = "a script of acts in the order they are played")]
fn played(site: &Site, home: bool) -> Vec<Truth> {
    let (clock, began) = (Clock::starting_at(Moment(0)), Instant::now());
    // Who looks, who plays and who carries frames are threads of this process: each may have waited its turn.
    let late = |at: f64| {
        let at = began + Duration::from_secs_f64(at);
        let from = at.checked_sub(Duration::from_secs(1)).unwrap_or(at);
        lateness::between(from, at + Duration::from_secs(1), &[]) * 3
    };
    let over = Arc::new(AtomicBool::new(false));
    let (reference, resolver) = (site.plan.references[0].address, site.plan.resolvers[0].address);
    let (name, receiver) = (site.plan.existing_name.clone(), receiver(&site.plan));
    let pause = Duration::from_millis(10);
    let outside = watch(clock, &over, pause, move || ask(reference, ".", RecordType::NS, LOST).is_some());
    let names = watch(clock, &over, pause, move || {
        ask(resolver, &name, RecordType::A, LOST)
            .is_some_and(|(m, _)| m.metadata.response_code == ResponseCode::NoError)
    });
    let none = watch(clock, &over, pause, move || {
        // Silence and failures are another's; only an address made up is felt here.
        ask(resolver, "nothing-here.invalid.", RecordType::A, LOST)
            .is_none_or(|(m, _)| m.metadata.response_code != ResponseCode::NoError)
    });
    let connects = watch(clock, &over, pause, move || TcpStream::connect_timeout(&receiver, LOST).is_ok());
    let link = watch(clock, &over, Duration::from_millis(2), move || !home || host_has_carrier());
    let offers = thread::spawn({
        let over = Arc::clone(&over);
        move || if home { stray_offers(clock, &over) } else { Vec::new() }
    });

    let started = clock.now();
    let truths = site.play(clock).unwrap().wait().unwrap();
    over.store(true, Ordering::Relaxed);
    let [outside, names, none, connects, link] = [outside, names, none, connects, link].map(|t| t.join().unwrap());
    let offers = offers.join().unwrap();

    // Either may have lost the datagram that marks an edge of the burst.
    let mut both: Log = outside.iter().chain(&names).copied().collect();
    both.sort_by_key(|(asked, _)| *asked);
    for truth in &truths {
        let step = site.script.steps.iter().find(|s| s.fault.kind() == truth.fault).unwrap();
        let told = (started.secs() + step.at_s, started.secs() + step.until_s());
        let (from, to) = (truth.from.secs(), truth.to.secs());
        held(&format!("{truth:?} begins by the script"), from - told.0, 0.5, late(from));
        held(&format!("{truth:?} ends by the script"), to - told.1, 0.5, late(to));
        let log = match truth.fault {
            FaultKind::LinkFlap => &link,
            FaultKind::ResolverFailure => &names,
            FaultKind::ReceiverRefusing | FaultKind::ReceiverSilent => &connects,
            FaultKind::NamesRewritten => &none,
            FaultKind::SecondAddressServer => {
                // While the link is down it can't be heard; otherwise it is heard when it serves and only then.
                let deaf = |m: Moment| {
                    truths.iter().any(|t| {
                        t.fault == FaultKind::LinkFlap && (t.from.secs() - 0.5..t.to.secs() + 0.1).contains(&m.secs())
                    })
                };
                for (at, stray) in offers.iter().filter(|(at, _)| !deaf(*at)) {
                    let about = late(at.secs()).as_secs_f64();
                    let serving = (from + 0.1 + about..to - 0.4 - about).contains(&at.secs());
                    let gone = at.secs() > to + 0.1 + about || at.secs() < from - 0.4 - about;
                    assert!(!(serving && !stray || gone && *stray), "{stray} at {}", at.secs());
                }
                let heard = offers.iter().filter(|(_, stray)| *stray).count();
                println!(
                    "{:<22} truth {from:.3} to {to:.3} s, {heard} of {} rounds heard it",
                    truth.fault,
                    offers.len()
                );
                assert!(heard >= 12 && heard < offers.len());
                continue;
            }
            FaultKind::AccessCut => {
                let (bad, good) = bad_span(&connects, truth).expect("the receiver is cut off too");
                held("connections are cut", bad - from, 0.3, late(from));
                held("connections are back", good - to, 0.4, late(to));
                &outside
            }
            FaultKind::LossBurst => &both,
            // A slow line's round trip is longer than is waited for here.
            FaultKind::RouterRestart
            | FaultKind::AddressRemoved
            | FaultKind::RouteRemoved
            | FaultKind::LineCongested
            | FaultKind::ReferencesFiltered => &outside,
        };
        let (bad, good) = bad_span(log, truth).unwrap_or_else(|| panic!("{truth:?} was not felt"));
        println!(
            "{:<22} truth {from:.3} to {to:.3} s, felt {:+.0} ms and {:+.0} ms beside it",
            truth.fault,
            (bad - from) * 1e3,
            (good - to) * 1e3
        );
        held(&format!("{truth:?} is felt"), bad - from, 0.2, late(from));
        held(&format!("{truth:?} is felt no more"), good - to, 0.4, late(to));
        if truth.fault == FaultKind::LossBurst {
            let within: Vec<_> = log.iter().filter(|(m, _)| (from..to).contains(&m.secs())).collect();
            let lost = within.iter().filter(|(_, good)| !good).count() as f64 / within.len() as f64;
            println!("{:<22} {lost:.2} of {} round trips lost, 0.75 told", "", within.len());
            // At least 50 trips at 0.75: standard deviation at most 0.061; four of them.
            assert!(within.len() >= 50 && (lost - 0.75).abs() < 0.245);
        }
    }
    let quiet_losses = outside
        .iter()
        .filter(|(m, good)| {
            !good
                && truths
                    .iter()
                    .filter(|t| t.fault != FaultKind::SecondAddressServer)
                    .all(|t| m.secs() < t.from.secs() - 0.3 || m.secs() > t.to.secs() + 0.1)
        })
        .count();
    println!("{} questions outside, {quiet_losses} lost in quiet spells", outside.len());
    assert_eq!(quiet_losses, 0);
    truths
}

fn host_has_carrier() -> bool {
    std::fs::read_to_string("/sys/class/net/h0/carrier").is_ok_and(|s| s.trim() == "1")
}

/// Discovers once a second with the host's own hardware address, and tells whether the stray box answered.
fn stray_offers(clock: Clock, over: &AtomicBool) -> Vec<(Moment, bool)> {
    use dhcproto::v4::{DhcpOption, Flags, Message, MessageType, OptionCode};
    use dhcproto::{Decodable, Decoder, Encodable, Encoder};
    let socket = socket2::Socket::new(socket2::Domain::IPV4, socket2::Type::DGRAM, None).unwrap();
    socket.set_reuse_address(true).unwrap();
    socket.set_broadcast(true).unwrap();
    socket.bind_device(Some(b"h0")).unwrap();
    socket.bind(&SocketAddr::from((Ipv4Addr::UNSPECIFIED, 68)).into()).unwrap();
    let socket = UdpSocket::from(socket);
    let mut rounds = Vec::new();
    while !over.load(Ordering::Relaxed) {
        let asked = clock.now();
        let mut m = Message::default();
        m.set_flags(Flags::default().set_broadcast()).set_chaddr(&[0, 0, 0x5e, 0, 0x53, 0x10]);
        m.opts_mut().insert(DhcpOption::MessageType(MessageType::Discover));
        let mut bytes = Vec::new();
        m.encode(&mut Encoder::new(&mut bytes)).unwrap();
        let sent = socket.send_to(&bytes, (Ipv4Addr::BROADCAST, 67));
        let mut servers = std::collections::BTreeSet::new();
        let until = Instant::now() + Duration::from_millis(300);
        while let Some(left) = until.checked_duration_since(Instant::now()).filter(|d| !d.is_zero()) {
            socket.set_read_timeout(Some(left)).unwrap();
            let mut buffer = [0; 1_500];
            let Ok(n) = socket.recv(&mut buffer) else { break };
            let offer = Message::decode(&mut Decoder::new(&buffer[..n])).unwrap();
            if let Some(DhcpOption::ServerIdentifier(s)) = offer.opts().get(OptionCode::ServerIdentifier) {
                servers.insert(*s);
            }
        }
        if sent.is_ok() {
            rounds.push((asked, servers.contains(&Ipv4Addr::new(192, 168, 77, 66))));
        }
        thread::sleep(Duration::from_millis(700));
    }
    rounds
}

fn renewed(site: &Site, began: Instant) {
    // While this test listens for the stray server on the client's own port, it takes the answers to the client.
    let left = Duration::from_secs(100).saturating_sub(began.elapsed());
    lateness::Stretch::begin(&[]).until(
        left,
        || "a renewal at T1".to_owned(),
        || site.held().is_some_and(|h| h.renewals > 0),
    );
    println!("lease renewed {:.1} s after the start (T1 is 60 s, asked again each 5 s)", began.elapsed().as_secs_f64());
    assert!(began.elapsed() > Duration::from_secs(58));
    let held = site.held().unwrap();
    assert_eq!(held.server, Ipv4Addr::new(192, 168, 77, 1), "renewed with its own server, not with the stray one");
}
