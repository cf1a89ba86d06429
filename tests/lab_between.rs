//! The probes of what lies between against real faults and real servers: two boxes that translate, each in its own
//! network namespace (root, `nft`, coturn, unbound and chrony needed).

mod asks_kit;
mod between;
use asks_kit::lateness::answered;
use asks_kit::{inside, sh};
use between::{FAR, FAR_TOO, Line, asked, first};
use pathproof::judge::{Detail, NameAnswer, NotAsked, Observation, Outcome, Unreachable, Web};
use pathproof::probe::{clock_offset, path_mtu, portal, second_hop, seen_from, translation};
use serde_json::{Value, json};
use std::io::{Read as _, Write as _};
use std::net::{IpAddr, TcpListener, TcpStream, UdpSocket};
use std::sync::Arc;
use std::time::Duration;

fn ip(text: &str) -> IpAddr {
    text.parse().expect("an address")
}

fn reference(address: &str) -> Value {
    json!([{"name": "ref", "address": address}])
}

fn sizes(line: &Line) -> Observation {
    let with =
        json!({"references": reference(&format!("{FAR}:53")), "patience": 500_000, "between": {"path_mtu": 1_000_000}});
    first(&line.host, with, path_mtu::run)
}

#[test]
fn sizes_that_pass_are_told_from_those_a_router_names_and_those_that_vanish() {
    let line = Line::new();
    line.translate(&line.router, "wan0", "");
    let clean = sizes(&line);
    assert_eq!(
        (clean.outcome, clean.detail),
        (Outcome::Answered, Detail::PathMtu { passed: 1_500, lost: None, told: None })
    );

    // A link that takes less, and a router that says so (RFC 1191): through the translation, to a ping socket...
    sh(&format!("ip -n {} link set out0 mtu 1440", line.provider));
    let told = Detail::PathMtu { passed: 1_440, lost: Some(1_441), told: Some(1_440) };
    assert_eq!(sizes(&line).detail, told);
    // ... and to a raw one, where ping sockets are not to be had.
    line.sysctl(&line.host, "net.ipv4.ping_group_range='1 0'");
    assert_eq!(sizes(&line).detail, told);

    // The same link with a filter that eats the router's word: a black hole (RFC 2923 section 2.1).
    line.nft(
        &line.router,
        "table ip f { chain c { type filter hook forward priority 0; icmp type destination-unreachable drop; } }",
    );
    assert_eq!(sizes(&line).detail, Detail::PathMtu { passed: 1_440, lost: Some(1_441), told: None });

    // Large packets dropped without any link being small.
    sh(&format!("ip -n {} link set out0 mtu 1500", line.provider));
    line.nft(
        &line.provider,
        "table ip f { chain c { type filter hook forward priority 0; meta length > 1404 drop; } }",
    );
    assert_eq!(sizes(&line).detail, Detail::PathMtu { passed: 1_404, lost: Some(1_405), told: None });

    // Its own link takes less: no fault of the way.
    sh(&format!("ip -n {} link set eth0 mtu 1300", line.host));
    assert_eq!(sizes(&line).detail, Detail::PathMtu { passed: 1_300, lost: None, told: None });

    // Nobody answers echoes: nothing is known, and nothing is said of sizes.
    line.nft(
        &line.provider,
        "table ip g { chain c { type filter hook forward priority 0; icmp type echo-request drop; } }",
    );
    let o = sizes(&line);
    assert_eq!((o.outcome, o.detail), (Outcome::Timeout, Detail::None));
}

#[test]
fn the_second_hop_names_itself_or_is_the_target_or_is_silent() {
    let line = Line::new();
    line.translate(&line.router, "wan0", "");
    let hop = |to: &str| {
        let with = json!({"references": reference(to), "between": {"second_hop": 1_000_000}});
        first(&line.host, with, second_hop::run)
    };
    let o = hop(&format!("{FAR}:53"));
    assert_eq!((o.outcome, &o.detail), (Outcome::Answered, &Detail::SecondHop(ip("100.64.7.1"))), "RFC 6598 space");
    assert!(o.rtt.is_some());
    // A closed port at the second hop itself.
    assert_eq!(hop("100.64.7.1:53").outcome, Outcome::Refused);
    // Linux looks the way up before it counts the hop down.
    assert_eq!(hop("198.51.100.1:53").outcome, Outcome::Unreachable(Unreachable::Net));
    line.nft(
        &line.provider,
        "table ip f { chain c { type filter hook output priority 0; icmp type time-exceeded drop; } }",
    );
    assert_eq!(hop(&format!("{FAR}:53")).outcome, Outcome::Timeout);
    sh(&format!("ip -n {} route del default", line.host));
    assert_eq!(hop(&format!("{FAR}:53")).outcome, Outcome::NotAsked(NotAsked::NoRoute));
}

/// A STUN server as coturn has it, on both of the far end's addresses, so that it knows RFC 5780.
fn coturn(line: &mut Line) {
    let far = line.far.clone();
    let files = line.files.path().display().to_string();
    let (pid, db, log) = (format!("{files}/turn.pid"), format!("{files}/turn.db"), format!("{files}/turn.out"));
    line.serve(
        &far,
        "turn.log",
        &[
            "turnserver",
            "-n",
            "-S",
            "--no-tls",
            "--no-dtls",
            "--no-cli",
            "-L",
            FAR,
            "-L",
            FAR_TOO,
            "-E",
            FAR,
            "--pidfile",
            &pid,
            "-b",
            &db,
            "-l",
            &log,
        ],
    );
    line.bound(&far, "u", 3_478);
}

#[test]
fn the_outside_sees_the_last_of_the_boxes_that_translate() {
    let mut line = Line::new();
    coturn(&mut line);
    line.translate(&line.router, "wan0", "");
    let seen = |line: &Line| {
        let o = first(&line.host, json!({"between": {"stun_servers": [asked(FAR, 3_478)]}}), seen_from::run);
        let Detail::SeenFrom(at) = o.detail else { panic!("{o:?}") };
        assert_eq!(o.outcome, Outcome::Answered);
        at.ip()
    };
    assert_eq!(seen(&line), ip("100.64.7.2"), "the router's outer address");
    line.translate(&line.provider, "out0", "");
    assert_eq!(seen(&line), ip("203.0.113.1"), "the provider's");
    let closed = first(&line.host, json!({"between": {"stun_servers": [asked(FAR, 3_479 + 100)]}}), seen_from::run);
    assert_eq!(closed.outcome, Outcome::Refused);
    // Whatever name led to it: what is a receiver's address is not asked.
    let receivers = json!([{"name": "r", "host": FAR, "port": 7_700, "transport": "tcp"}]);
    let with = json!({"between": {"stun_servers": [asked(FAR, 3_478)]}, "receivers": receivers});
    let theirs = first(&line.host, with, seen_from::run);
    assert_eq!(theirs.outcome, Outcome::NotAsked(NotAsked::Unresolved), "{theirs:?}");
}

/// Serves each connection of a namespace on a thread of its own.
fn web(ns: &str, at: &'static str, each: impl Fn(TcpStream) + Send + Sync + 'static) {
    inside(ns, async move || {
        let listener = TcpListener::bind(at).expect("a port");
        let each = Arc::new(each);
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let each = each.clone();
                std::thread::spawn(move || each(stream));
            }
        });
    });
}

fn page(line: &Line, port: u16) -> Observation {
    let page = json!({"at": asked(FAR, port), "path": "/empty", "status": 204, "body": null});
    first(&line.host, json!({"between": {"control_pages": [page]}}), portal::run)
}

/// The page itself by Python's own web server; the portal by redirecting everything to another in the router.
#[test]
fn a_page_in_between_is_seen_by_its_redirect_and_by_its_own_text() {
    let mut line = Line::new();
    line.translate(&line.router, "wan0", "");
    let far = line.far.clone();
    let program = "import http.server as h
class H(h.BaseHTTPRequestHandler):
 def do_GET(self):
  assert self.headers['Host']=='203.0.113.9' and self.path=='/empty'
  self.send_response(204); self.end_headers()
h.ThreadingHTTPServer(('203.0.113.9',80),H).serve_forever()";
    line.serve(&far, "page.log", &["python3", "-c", program]);
    line.bound(&far, "t", 80);
    let web = |status, to: Option<&str>, as_expected| {
        Detail::Web(Web { status, redirected_to: to.map(str::to_owned), as_expected: Some(as_expected) })
    };
    let o = page(&line, 80);
    assert_eq!((o.outcome, o.detail), (Outcome::Answered, web(204, None, true)));

    let router = line.router.clone();
    let program = "import http.server as h
class H(h.BaseHTTPRequestHandler):
 def do_GET(self):
  self.send_response(302); self.send_header('Location','http://login.portal.example/hello'); self.end_headers()
h.ThreadingHTTPServer(('192.168.70.1',8080),H).serve_forever()";
    line.serve(&router, "portal.log", &["python3", "-c", program]);
    line.bound(&router, "t", 8_080);
    line.nft(
        &router,
        "table ip p { chain c { type nat hook prerouting priority -100; iifname lan0 tcp dport 80 dnat to 192.168.70.1:8080; } }",
    );
    let o = page(&line, 80);
    assert_eq!((o.outcome, o.detail), (Outcome::Answered, web(302, Some("login.portal.example"), false)));
    // The far end's other ports are as they were: closed.
    assert_eq!(page(&line, 81).outcome, Outcome::Refused);
}

/// unbound with its own dns64 module, and without; RFC 7050 section 8.1 names 192.0.0.170 and .171, and RFC 6052
/// section 2.2 puts them into the last 32 bits of a /96.
#[test]
fn a_resolver_that_translates_is_told_from_one_that_does_not() {
    let mut line = Line::new();
    line.translate(&line.router, "wan0", "");
    let far = line.far.clone();
    for (name, at, modules) in [("plain", FAR, "iterator"), ("dns64", FAR_TOO, "dns64 iterator")] {
        let text = format!(
            "server:\n interface: {at}\n port: 53\n do-daemonize: no\n use-syslog: no\n username: \"\"\n chroot: \"\"\n pidfile: \"\"\n \
             access-control: 0.0.0.0/0 allow\n module-config: \"{modules}\"\n dns64-prefix: 64:ff9b::/96\n \
             dns64-ignore-aaaa: ipv4only.arpa\n\
             auth-zone:\n name: \"ipv4only.arpa\"\n for-upstream: yes\n for-downstream: no\n zonefile: \"{}\"\n\
             remote-control:\n control-enable: no\n",
            line.files.path().join("zone").display()
        );
        // The zone as RFC 7050 section 8.2 and 8.3 describe it: two A records and no AAAA.
        let zone = "ipv4only.arpa. 3600 IN SOA a.test. b.test. 1 2 3 4 5\nipv4only.arpa. 3600 IN NS a.test.\n\
                    ipv4only.arpa. 3600 IN A 192.0.0.170\nipv4only.arpa. 3600 IN A 192.0.0.171\n";
        std::fs::write(line.files.path().join("zone"), zone).expect("a file");
        let config = line.files.path().join(format!("{name}.conf"));
        std::fs::write(&config, text).expect("a file");
        line.serve(&far, name, &["unbound", "-d", "-c", &config.display().to_string()]);
    }
    line.bound(&far, "u", 53);
    std::thread::sleep(Duration::from_millis(500));
    let ask = |line: &Line, at: &str| -> NameAnswer {
        let with =
            json!({"resolvers": [{"name": "r", "address": format!("{at}:53")}], "between": {"translation": 1_000_000}});
        let o = first(&line.host, with, translation::run);
        match (o.outcome, o.detail) {
            (Outcome::Answered, Detail::Name(a)) => a,
            other => panic!("{other:?}"),
        }
    };
    let plain = ask(&line, FAR);
    assert_eq!((plain.code, plain.addresses.len()), (0, 0));
    let mut translated = ask(&line, FAR_TOO).addresses;
    translated.sort();
    assert_eq!(translated, [ip("64:ff9b::192.0.0.170"), ip("64:ff9b::192.0.0.171")]);
}

fn clock(line: &Line, port: u16) -> Observation {
    first(&line.host, json!({"between": {"time_sources": [asked(FAR, port)]}}), clock_offset::run)
}

/// chronyd without leave to touch the clock, serving this machine's own time; and a server made of scapy's NTP layer
/// whose clock is off.
#[test]
fn the_offset_from_a_time_source_is_measured_within_its_bound() {
    let mut line = Line::new();
    line.translate(&line.router, "wan0", "");
    let far = line.far.clone();
    let config = line.files.path().join("chrony.conf");
    let files = line.files.path().display().to_string();
    let text = format!(
        "local stratum 3\nallow all\nbindaddress {FAR}\ncmdport 0\nbindcmdaddress /\npidfile {files}/chrony.pid\ndriftfile {files}/drift\n"
    );
    std::fs::write(&config, text).expect("a file");
    line.serve(&far, "chrony.log", &["chronyd", "-d", "-x", "-u", "root", "-f", &config.display().to_string()]);
    line.bound(&far, "u", 123);
    let o = clock(&line, 123);
    let Detail::ClockOffset { offset, error } = o.detail else { panic!("{o:?}") };
    assert!(offset.0.abs() <= error.0 && error.0 < 100_000, "{offset:?} {error:?}");

    let program = "import socket, sys, time
from scapy.layers.ntp import NTPHeader
s=socket.socket(socket.AF_INET,socket.SOCK_DGRAM); s.bind(('203.0.113.9',1123)); off=float(sys.argv[1])
while True:
 d,a=s.recvfrom(2000); q=NTPHeader(d)
 now=time.time()+off+2208988800
 r=NTPHeader(leap=0,version=4,mode=4,stratum=2,delay=0.02,dispersion=0.01,ref=now,recv=now,sent=time.time()+off+2208988800)
 b=bytearray(bytes(r)); b[24:32]=d[40:48]
 s.sendto(bytes(b),a)";
    line.serve(&far, "off.log", &["/usr/bin/python3", "-c", program, "-7200.25"]);
    line.bound(&far, "u", 1_123);
    let o = clock(&line, 1_123);
    let Detail::ClockOffset { offset, error } = o.detail else { panic!("{o:?}") };
    assert!((offset.0 - 7_200_250_000).abs() <= error.0, "this clock is ahead: {offset:?} {error:?}");
    assert!((20_000..200_000).contains(&error.0), "0.02 s / 2 + 0.01 s and half the way: {error:?}");
}

/// A server of a namespace that answers each datagram with what `reply` makes of it.
fn udp(ns: &str, port: u16, reply: impl Fn(&[u8]) -> Vec<Vec<u8>> + Send + 'static) {
    inside(ns, async move || {
        let socket = UdpSocket::bind((FAR, port)).expect("a port");
        std::thread::spawn(move || {
            let mut buffer = [0; 2_048];
            while let Ok((n, from)) = socket.recv_from(&mut buffer) {
                for r in reply(&buffer[..n]) {
                    let _ = socket.send_to(&r, from);
                }
            }
        });
    });
}

#[test]
fn hostile_replies_end_in_time_and_are_called_what_they_are() {
    let line = Line::new();
    line.translate(&line.router, "wan0", "");
    let far = line.far.clone();
    // Junk, our own request back, ten thousand forged replies, a kiss of death (RFC 5905 section 7.4).
    udp(&far, 1, |_| vec![vec![0xff; 60]]);
    udp(&far, 2, |q| vec![q.to_vec()]);
    udp(&far, 3, |q| (0..10_000_u32).map(|n| [&q[..q.len().min(8)], &n.to_be_bytes(), &[0; 36]].concat()).collect());
    udp(&far, 4, |q| {
        let mut r = q.to_vec();
        (r[0], r[1]) = (0xe4, 0);
        r[12..16].copy_from_slice(b"DENY");
        r.copy_within(40..48, 24);
        vec![r]
    });
    // A STUN error 401 (RFC 8489 section 14.8), which is a refusal.
    udp(&far, 5, |q| vec![[&[1, 0x11, 0, 8], &q[4..20], &[0, 9, 0, 4, 0, 0, 4, 1]].concat()]);
    let stun = |port| first(&line.host, json!({"between": {"stun_servers": [asked(FAR, port)]}}), seen_from::run);
    for (port, outcome) in
        [(1, Outcome::Timeout), (2, Outcome::Malformed), (3, Outcome::Malformed), (5, Outcome::Refused)]
    {
        let o = stun(port);
        assert_eq!(o.outcome, outcome, "STUN {port}: {o:?}");
        answered(&o, Duration::from_millis(1_500));
    }
    for (port, outcome) in
        [(1, Outcome::Timeout), (2, Outcome::Timeout), (3, Outcome::Malformed), (4, Outcome::Refused)]
    {
        let o = clock(&line, port);
        assert_eq!(o.outcome, outcome, "NTP {port}: {o:?}");
        answered(&o, Duration::from_millis(1_500));
    }
    // Web servers that never end, say nothing, hang up, reset, or speak something else.
    web(&far, "203.0.113.9:8001", |mut s| {
        let _ = s.write_all(b"HTTP/1.1 204 No Content\r\n");
        while s.write_all(b"X-Filler: 0123456789012345678901234567890123456789\r\n").is_ok() {}
    });
    web(&far, "203.0.113.9:8002", |mut s| {
        let _ = s.write_all(b"HTTP/1.1 200 OK\r\n\r\n");
        while s.write_all(&[b'x'; 4_096]).is_ok() {}
    });
    web(&far, "203.0.113.9:8003", |s| {
        std::thread::sleep(Duration::from_secs(10));
        drop(s);
    });
    web(&far, "203.0.113.9:8004", |mut s| {
        let _ = s.read(&mut [0; 1_024]);
    });
    web(&far, "203.0.113.9:8005", |mut s| {
        let _ = s.read(&mut [0; 1_024]);
        socket2::Socket::from(s).set_linger(Some(Duration::ZERO)).expect("an option every kernel has");
    });
    web(&far, "203.0.113.9:8006", |mut s| {
        let _ = s.write_all(b"220 mail.example ready\r\n");
        std::thread::sleep(Duration::from_secs(10));
    });
    web(&far, "203.0.113.9:8007", |mut s| {
        // A byte each tenth of a second, for ever.
        while s.write_all(b"H").is_ok() {
            std::thread::sleep(Duration::from_millis(100));
        }
    });
    for (port, outcome) in [
        (8_001, Outcome::Malformed),
        (8_002, Outcome::Answered),
        (8_003, Outcome::Timeout),
        (8_004, Outcome::Malformed),
        (8_005, Outcome::Reset),
        (8_006, Outcome::Malformed),
        (8_007, Outcome::Malformed),
    ] {
        let o = page(&line, port);
        assert_eq!(o.outcome, outcome, "HTTP {port}: {o:?}");
        answered(&o, Duration::from_millis(2_600));
    }
    line.nft(&line.router, "table ip f { chain c { type filter hook forward priority 0; tcp dport 8008 reject with icmp type admin-prohibited; } }");
    let filtered = page(&line, 8_008);
    assert!(
        matches!(
            filtered.outcome,
            Outcome::Unreachable(Unreachable::Host | Unreachable::Prohibited) | Outcome::Timeout
        ),
        "{filtered:?}"
    );
}
