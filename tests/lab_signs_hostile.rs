//! Hostile peers for the probes of power signs, on real sockets in network namespaces: servers that never end, never
//! answer, answer junk or point elsewhere. What must hold: a bounded time, a bounded amount read, clear words, and the
//! next question asked as if nothing had been. Needs root and iproute2.

mod support;

use pathproof::judge::{Detail, Micros, Observation, Outcome, Question};
use pathproof::probe::{nut, snmp, upnp};
use pathproof::site::{Nut, Plan, Signs, Snmp};
use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream, UdpSocket};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use support::lateness::answered;
use support::{Lab, inside, plan, start};

/// What a peer may push before we stop reading: our own bounds and what kernels buffer on both sides.
const MOST_TAKEN: usize = 8 * 1024 * 1024;

fn watching(signs: Signs) -> Plan {
    let second = Micros::from_secs(1);
    Plan { signs: Signs { mains_every: second, signs_every: second, ..signs }, ..plan() }
}

fn home() -> Lab {
    let lab = Lab::new();
    Lab::ip(&lab.host, "addr add 192.0.2.7/24 dev eth0");
    Lab::ip(&lab.router, "addr add 192.0.2.1/24 dev br0");
    Lab::ip(&lab.other, "addr add 192.0.2.66/24 dev eth0");
    Lab::ip(&lab.host, "route add default via 192.0.2.1");
    lab
}

fn why(o: &Observation) -> &str {
    if let Detail::Why(words) = &o.detail { words } else { "" }
}

/// A TCP server that does `each` to every connection; gives how many bytes its clients took, and how many came.
struct Server {
    taken: Arc<AtomicUsize>,
    came: Arc<AtomicUsize>,
    stop: Arc<AtomicBool>,
}

impl Server {
    fn open(ns: &str, port: u16, each: impl Fn(&mut Peer) + Send + Sync + 'static) -> Self {
        let (taken, came, stop) = (Arc::default(), Arc::<AtomicUsize>::default(), Arc::<AtomicBool>::default());
        let (total, count, ends, each) = (Arc::clone(&taken), Arc::clone(&came), Arc::clone(&stop), Arc::new(each));
        let (ready, open) = std::sync::mpsc::channel();
        inside(ns, move || {
            let listener = TcpListener::bind((Ipv4Addr::UNSPECIFIED, port)).expect("a free port");
            ready.send(()).expect("waited for");
            for stream in listener.incoming().flatten() {
                if ends.load(Ordering::Relaxed) {
                    return;
                }
                count.fetch_add(1, Ordering::Relaxed);
                let (each, taken) = (Arc::clone(&each), Arc::clone(&total));
                std::thread::spawn(move || each(&mut Peer { stream, taken }));
            }
        });
        open.recv().expect("it listens");
        Self { taken, came, stop }
    }

    fn taken(&self) -> usize {
        self.taken.load(Ordering::Relaxed)
    }

    fn came(&self) -> usize {
        self.came.load(Ordering::Relaxed)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

struct Peer {
    stream: TcpStream,
    taken: Arc<AtomicUsize>,
}

impl Peer {
    /// Reads what is there of the request.
    fn hear(&mut self) -> String {
        let mut room = [0; 4_096];
        let length = self.stream.read(&mut room).unwrap_or(0);
        String::from_utf8_lossy(&room[..length]).into_owned()
    }

    fn say(&mut self, bytes: &[u8]) -> bool {
        let said = self.stream.write_all(bytes).is_ok();
        if said {
            self.taken.fetch_add(bytes.len(), Ordering::Relaxed);
        }
        said
    }

    fn say_for_ever(&mut self, bytes: &[u8]) {
        let until = Instant::now() + Duration::from_secs(30);
        while self.say(bytes) && Instant::now() < until {}
    }
}

#[test]
fn a_nut_server_of_junk_costs_a_turn_and_no_more() {
    let lab = home();
    let page = |status: &'static str| {
        move |p: &mut Peer| {
            p.hear();
            p.say(
                format!("VAR ups ups.status \"{status}\"\nERR VAR-NOT-SUPPORTED\nERR VAR-NOT-SUPPORTED\n").as_bytes(),
            );
        }
    };
    let junk = "the answer is not the protocol of a NUT server";
    let servers = [
        (3_493, Server::open(&lab.router, 3_493, |p| p.say_for_ever(&[b'x'; 4_096])), Outcome::Malformed, junk),
        (
            3_494,
            Server::open(&lab.router, 3_494, |p| p.say_for_ever(b"VAR ups ups.model \"m\"\n")),
            Outcome::Malformed,
            junk,
        ),
        (
            3_495,
            Server::open(&lab.router, 3_495, |p| {
                p.say_for_ever(b"");
            }),
            Outcome::Timeout,
            "",
        ),
        (
            3_496,
            Server::open(&lab.router, 3_496, |p| {
                p.hear();
            }),
            Outcome::Malformed,
            "the server closed before it had answered",
        ),
        (
            3_497,
            Server::open(&lab.router, 3_497, |p| {
                p.say(b"\x1b[2J\x00\xff\n");
            }),
            Outcome::Malformed,
            junk,
        ),
        // One byte a while: the whole exchange has one time.
        (
            3_498,
            Server::open(&lab.router, 3_498, |p| {
                while p.say(b"V") {
                    std::thread::sleep(Duration::from_millis(300));
                }
            }),
            Outcome::Timeout,
            "",
        ),
        (3_499, Server::open(&lab.router, 3_499, page("\u{1b}]0;x\u{7} OL")), Outcome::Answered, ""),
    ];
    for (port, server, outcome, words) in servers {
        let unit = Nut { unit: "ups".into(), server: (Ipv4Addr::new(192, 0, 2, 1), port).into() };
        let mut seen = start(&lab.host, watching(Signs { nut: Some(unit), ..Signs::default() }), nut::run);
        for turn in 0..2 {
            let o = seen.wait(4, "a turn", |o| o.question == Question::Mains);
            assert_eq!((o.outcome, why(&o)), (outcome, words), "port {port}, turn {turn}");
            answered(&o, Duration::from_millis(1_500));
        }
        assert!(server.taken() < MOST_TAKEN, "port {port}: {} bytes", server.taken());
    }
}

#[test]
fn an_snmp_agent_of_junk_costs_a_turn_and_no_more() {
    let lab = home();
    let (ready, open) = std::sync::mpsc::channel();
    inside(&lab.router, move || {
        let socket = UdpSocket::bind("192.0.2.1:161").expect("a free port");
        socket.set_read_timeout(Some(Duration::from_secs(20))).expect("set");
        ready.send(()).expect("waited for");
        let mut room = [0; 2_048];
        while let Ok((length, from)) = socket.recv_from(&mut room) {
            for n in 0..1_000_u32 {
                // Our own question back, long junk, nothing at all, and lengths that lie.
                let junk: Vec<u8> = match n % 4 {
                    0 => room[..length].to_vec(),
                    1 => vec![0x30; 1_600],
                    2 => Vec::new(),
                    _ => vec![0x30, 0x84, 0xff, 0xff, 0xff, 0xff, 2, 1, 1],
                };
                let _ = socket.send_to(&junk, from);
            }
        }
    });
    open.recv().expect("it listens");
    let agent = Snmp { agent: "192.0.2.1:161".parse().expect("literal"), community: "public".into() };
    let mut seen = start(&lab.host, watching(Signs { snmp: Some(agent), ..Signs::default() }), snmp::run);
    for _ in 0..3 {
        let o = seen.wait(5, "a turn", |o| o.question == Question::RouterLife);
        assert_eq!((o.outcome, why(&o)), (Outcome::Malformed, "only datagrams that answer nothing we asked"));
        answered(&o, Duration::from_millis(1_300));
    }
}

/// Answers each search on the gateway with these datagrams, in order.
fn answer_searches(ns: &str, own: &'static str, datagrams: Vec<Vec<u8>>) {
    let (ready, open) = std::sync::mpsc::channel();
    inside(ns, move || {
        let socket = UdpSocket::bind("0.0.0.0:1900").expect("a free port");
        let own = own.parse().expect("literal");
        socket.join_multicast_v4(&Ipv4Addr::new(239, 255, 255, 250), &own).expect("joined");
        socket.set_read_timeout(Some(Duration::from_secs(40))).expect("set");
        ready.send(()).expect("waited for");
        let mut room = [0; 2_048];
        while let Ok((_, from)) = socket.recv_from(&mut room) {
            for datagram in &datagrams {
                let _ = socket.send_to(datagram, from);
            }
        }
    });
    open.recv().expect("it listens");
}

fn located(location: &str) -> Vec<u8> {
    format!(
        "HTTP/1.1 200 OK\r\nST: urn:schemas-upnp-org:device:InternetGatewayDevice:1\r\nLOCATION: {location}\r\n\r\n"
    )
    .into_bytes()
}

const KIND: &str = "urn:schemas-upnp-org:service:WANIPConnection:1";

fn ok(body: &str) -> Vec<u8> {
    format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
}

fn description(control: &str) -> Vec<u8> {
    ok(&format!(
        "<root><device><serviceList><service><serviceType>{KIND}</serviceType><controlURL>{control}</controlURL></service>\
         </serviceList></device></root>"
    ))
}

/// A gateway that answers as a good one does.
fn good(p: &mut Peer) {
    let asked = p.hear();
    let inside = if asked.starts_with("GET ") {
        p.say(&description("/ctl"));
        return;
    } else if asked.contains("GetExternalIPAddress") {
        "<NewExternalIPAddress>203.0.113.7</NewExternalIPAddress>"
    } else {
        "<NewConnectionStatus>Connected</NewConnectionStatus><NewUptime>4711</NewUptime>"
    };
    p.say(&ok(&format!("<a>{inside}</a>")));
}

fn router_says(lab: &Lab, seconds: u64) -> Observation {
    let mut seen = start(&lab.host, watching(Signs { upnp: true, ..Signs::default() }), upnp::run);
    let o = seen.wait(seconds, "a turn", |o| o.question == Question::RouterLife);
    answered(&o, Duration::from_millis(8_500));
    o
}

#[test]
fn a_flood_of_answers_by_others_does_not_drown_the_gateways_own() {
    let lab = home();
    let elsewhere = Server::open(&lab.other, 5_000, good);
    let gateway = Server::open(&lab.router, 5_000, good);
    answer_searches(&lab.other, "192.0.2.66", vec![located("http://192.0.2.66:5000/d.xml"); 2_000]);
    answer_searches(&lab.router, "192.0.2.1", vec![b"junk".to_vec(), located("http://192.0.2.1:5000/d.xml")]);
    let o = router_says(&lab, 12);
    let Detail::RouterLife(life) = &o.detail else { panic!("{o:?}") };
    assert_eq!((life.up_s, life.connected), (Some(4_711), Some(true)));
    assert_eq!(life.outer, "203.0.113.7".parse().ok());
    assert_eq!((elsewhere.came(), gateway.came() >= 3), (0, true), "only the gateway is ever asked");
}

#[test]
fn a_gateway_that_points_elsewhere_is_not_followed() {
    for (location, control, redirect) in [
        ("http://192.0.2.66:5000/d.xml", "/ctl", false),
        ("http://192.0.2.1:5000/d.xml", "http://192.0.2.66:5000/ctl", false),
        ("http://192.0.2.1:5000/d.xml", "/ctl", true),
    ] {
        let lab = home();
        let elsewhere = Server::open(&lab.other, 5_000, good);
        let _gateway = Server::open(&lab.router, 5_000, move |p| {
            p.hear();
            let moved = b"HTTP/1.1 302 Found\r\nLocation: http://192.0.2.66:5000/d.xml\r\nContent-Length: 0\r\n\r\n";
            p.say(if redirect { moved } else { b"" });
            p.say(&description(control));
        });
        answer_searches(&lab.router, "192.0.2.1", vec![located(location)]);
        let o = router_says(&lab, 12);
        let words = if redirect {
            "the router answers a UPnP question with HTTP status 302"
        } else {
            "the router's UPnP answer names a place that is not on the router"
        };
        assert_eq!((o.outcome, why(&o)), (Outcome::Malformed, words), "{location} {control}");
        assert_eq!(elsewhere.came(), 0);
    }
}

#[test]
fn endless_slow_and_malformed_descriptions_are_bounded() {
    type Each = fn(&mut Peer);
    let cases: [(&str, Each, Outcome, &str); 7] = [
        (
            "an endless body",
            |p| {
                p.hear();
                p.say(b"HTTP/1.1 200 OK\r\n\r\n<root>");
                p.say_for_ever(&[b'a'; 8_192]);
            },
            Outcome::Malformed,
            "the router's UPnP answer is longer than is read here",
        ),
        ("an endless head", |p| p.say_for_ever(b"HTTP/1.1 200 OK\r\nX: y\r\n"), Outcome::Malformed, ""),
        (
            "a byte now and then",
            |p| {
                while p.say(b"H") {
                    std::thread::sleep(Duration::from_millis(400));
                }
            },
            Outcome::Malformed,
            "the router's UPnP answer is no HTTP answer",
        ),
        (
            "a head and then silence",
            |p| {
                p.say(b"HTTP/1.1 200 OK\r\nContent-Length: 500\r\n\r\n");
                std::thread::sleep(Duration::from_secs(20));
            },
            Outcome::Timeout,
            "",
        ),
        (
            "entities in entities",
            |p| {
                p.hear();
                p.say(&ok("<!DOCTYPE a [<!ENTITY b \"bbbb\"><!ENTITY c \"&b;&b;\">]><a>&c;</a>"));
            },
            Outcome::Malformed,
            "the router's UPnP answer is no XML of the kind",
        ),
        (
            "nesting without end",
            |p| {
                p.hear();
                p.say(&ok(&"<a>".repeat(20_000)));
            },
            Outcome::Malformed,
            "the router's UPnP answer is no XML of the kind",
        ),
        (
            "no connection service",
            |p| {
                p.hear();
                p.say(&ok("<root><device/></root>"));
            },
            Outcome::Malformed,
            "the router's UPnP description names no connection service",
        ),
    ];
    for (what, each, outcome, words) in cases {
        let lab = home();
        let gateway = Server::open(&lab.router, 5_000, each);
        answer_searches(&lab.router, "192.0.2.1", vec![located("http://192.0.2.1:5000/d.xml")]);
        let o = router_says(&lab, 12);
        assert_eq!(o.outcome, outcome, "{what}: {o:?}");
        assert!(words.is_empty() || why(&o) == words, "{what}: {o:?}");
        answered(&o, Duration::from_secs(4));
        assert!(gateway.taken() < MOST_TAKEN, "{what}: {} bytes", gateway.taken());
    }
}

#[test]
fn a_gateway_that_floods_a_search_with_junk_is_given_up() {
    let lab = home();
    answer_searches(&lab.router, "192.0.2.1", vec![vec![0xff; 1_400]; 2_000]);
    let o = router_says(&lab, 8);
    assert_eq!((o.outcome, why(&o)), (Outcome::Malformed, "no answer to a search for a gateway"));
    answered(&o, Duration::from_millis(2_500));
}
