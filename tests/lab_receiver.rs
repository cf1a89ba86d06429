//! The receiver probe against real sockets: servers on loopback, good and hostile, and filters and silence over a lead
//! between two network namespaces (root and `nft` needed).

mod asks_kit;
use asks_kit::lateness::answered;
use asks_kit::{Pair, context, inside, plan, sh};
use pathproof::judge::{Detail, NotAsked, Observation, Outcome, Question, TlsAnswer, Unreachable as U};
use pathproof::probe::receiver;
use serde_json::{Value, json};
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, mpsc};
use std::time::Duration;

/// The first `count` observations of one receiver.
async fn visit(host: &str, port: u16, transport: &str, with: Value, count: usize) -> Vec<Observation> {
    let mut fields = json!({"receivers": [{"name": "r", "host": host, "port": port, "transport": transport}]});
    let Value::Object(with) = with else { panic!("an object") };
    fields.as_object_mut().expect("an object").extend(with);
    let (ctx, mut agent) = context(plan(fields));
    let probe = tokio::spawn(receiver::run(ctx));
    let mut all = Vec::new();
    while all.len() < count {
        all.push(agent.next().await);
    }
    drop(agent);
    tokio::time::timeout(Duration::from_secs(5), probe).await.expect("ends").expect("no panic");
    all
}

/// Serves each connection on a thread of its own.
fn serve(at: &str, each: impl Fn(TcpStream) + Send + Sync + 'static) -> SocketAddr {
    let listener = TcpListener::bind(at).expect("a port");
    let address = listener.local_addr().expect("its address");
    let each = Arc::new(each);
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            let each = each.clone();
            std::thread::spawn(move || each(stream));
        }
    });
    address
}

#[tokio::test]
async fn a_connection_is_made_and_nothing_is_sent() {
    let (to, got) = mpsc::channel();
    for at in ["127.0.0.1:0", "[::1]:0"] {
        let to = to.clone();
        let server = serve(at, move |mut s| {
            let mut all = Vec::new();
            let end = s.read_to_end(&mut all).map_err(|e| e.kind());
            let _ = to.send((all, end));
        });
        let o = visit(&server.ip().to_string(), server.port(), "tcp", json!({}), 1).await.remove(0);
        assert_eq!((o.question, &*o.target, o.outcome), (Question::Connect, "r", Outcome::Answered));
        assert_eq!(o.rtt.map(|r| (r.took, r.kernel)), Some((o.known - o.asked, false)));
        let heard = got.recv_timeout(Duration::from_secs(5)).expect("the server saw the end");
        assert_eq!(heard, (vec![], Ok(0)), "an empty connection, closed in order");
    }
}

#[tokio::test]
async fn a_closed_port_is_refused() {
    for at in ["127.0.0.1:0", "[::1]:0"] {
        let closed = TcpListener::bind(at).expect("a port").local_addr().expect("its address");
        for transport in ["tcp", "tls"] {
            let o = visit(&closed.ip().to_string(), closed.port(), transport, json!({}), 1).await.remove(0);
            assert_eq!((o.question, o.outcome, o.rtt), (Question::Connect, Outcome::Refused, None));
        }
    }
}

/// A TLS server with a certificate it made itself (rcgen), its handshakes done by rustls.
fn self_made(version: &'static rustls::SupportedProtocolVersion) -> (SocketAddr, mpsc::Receiver<Vec<u8>>) {
    let made = rcgen::generate_simple_self_signed(vec!["receiver.example".to_owned()]).expect("a certificate");
    let key = rustls::pki_types::PrivateKeyDer::try_from(made.signing_key.serialize_der()).expect("a key");
    let config = rustls::ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_protocol_versions(&[version])
        .expect("ring has it")
        .with_no_client_auth()
        .with_single_cert(vec![made.cert.der().clone()], key)
        .expect("they belong together");
    let config = Arc::new(config);
    let (to, got) = mpsc::channel();
    let server = serve("127.0.0.1:0", move |mut s| {
        let mut tls = rustls::ServerConnection::new(config.clone()).expect("a session");
        let mut all = Vec::new();
        let _ = rustls::Stream::new(&mut tls, &mut s).read_to_end(&mut all);
        let _ = to.send(all);
    });
    (server, got)
}

#[tokio::test]
async fn a_self_made_certificate_completes_and_is_not_trusted() {
    for (version, word) in [(&rustls::version::TLS13, "TLSv1_3"), (&rustls::version::TLS12, "TLSv1_2")] {
        let (server, got) = self_made(version);
        let all = visit("127.0.0.1", server.port(), "tls", json!({}), 2).await;
        assert_eq!((all[0].question, all[0].outcome), (Question::Connect, Outcome::Answered));
        assert_eq!((all[1].question, all[1].outcome), (Question::Handshake, Outcome::Answered));
        assert_eq!(all[1].rtt.map(|r| r.took), Some(all[1].known - all[1].asked));
        let Detail::Tls(TlsAnswer { version, trusted, why }) = &all[1].detail else { panic!("{:?}", all[1]) };
        assert_eq!((version.as_deref(), *trusted), (Some(word), Some(false)));
        // rustls' own words for RFC 5280 path validation without an anchor.
        assert!(why.as_deref().is_some_and(|w| w.contains("UnknownIssuer")), "{why:?}");
        assert_eq!(got.recv_timeout(Duration::from_secs(5)), Ok(vec![]), "no data sent");
    }
}

#[tokio::test]
async fn hostile_servers_neither_hang_nor_pass() {
    let handshake = async |server: SocketAddr| {
        let all = visit("127.0.0.1", server.port(), "tls", json!({}), 2).await;
        assert_eq!((all[0].outcome, all[1].question), (Outcome::Answered, Question::Handshake));
        answered(&all[1], Duration::from_millis(1_500));
        all[1].outcome
    };
    // Closing without lingering sends RST (RFC 9293 section 3.10.4, socket(7)).
    let reset = |s: TcpStream| {
        socket2::Socket::from(s).set_linger(Some(Duration::ZERO)).expect("an option every kernel has");
    };
    let resets = serve("127.0.0.1:0", move |mut s| {
        let _ = s.read(&mut [0; 4_096]);
        reset(s);
    });
    assert_eq!(handshake(resets).await, Outcome::Reset);
    let resets_at_once = serve("127.0.0.1:0", reset);
    let o = visit("127.0.0.1", resets_at_once.port(), "tcp", json!({}), 1).await.remove(0);
    assert!(matches!(o.outcome, Outcome::Answered | Outcome::Reset), "which of the two is a race: {o:?}");

    let hangs_up = serve("127.0.0.1:0", |mut s| {
        let _ = s.read(&mut [0; 4_096]);
    });
    assert_eq!(handshake(hangs_up).await, Outcome::Reset);

    let says_nothing = serve("127.0.0.1:0", |s| {
        std::thread::sleep(Duration::from_secs(5));
        drop(s);
    });
    assert_eq!(handshake(says_nothing).await, Outcome::Timeout);

    let no_tls = serve("127.0.0.1:0", |mut s| {
        let _ = s.read(&mut [0; 4_096]);
        let _ = s.write_all(b"220 ready\r\n");
        std::thread::sleep(Duration::from_secs(3));
    });
    assert_eq!(handshake(no_tls).await, Outcome::Malformed);

    // RFC 8446 section 6.2: a fatal handshake_failure alert.
    let alert = serve("127.0.0.1:0", |mut s| {
        let _ = s.read(&mut [0; 4_096]);
        let _ = s.write_all(&[21, 3, 3, 0, 2, 2, 40]);
        std::thread::sleep(Duration::from_secs(3));
    });
    assert_eq!(handshake(alert).await, Outcome::Refused);

    // A handshake record whose message claims 16 MiB, then endless bytes.
    let endless = serve("127.0.0.1:0", |mut s| {
        let record = [&[22, 3, 3, 0x40, 0, 2, 0xff, 0xff, 0xff][..], &[0; 0x4000 - 4]].concat();
        while s.write_all(&record).is_ok() {}
    });
    assert_eq!(handshake(endless).await, Outcome::Malformed);
}

#[tokio::test]
async fn a_receiver_that_hangs_is_visited_three_at_a_time() {
    let open = Arc::new(std::sync::atomic::AtomicI32::new(0));
    let most = Arc::new(std::sync::atomic::AtomicI32::new(0));
    let (count, peak) = (open.clone(), most.clone());
    let server = serve("127.0.0.1:0", move |mut s| {
        use std::sync::atomic::Ordering::SeqCst;
        // Whoever left meanwhile has the time to be counted as gone, on a busy host as well.
        std::thread::sleep(Duration::from_millis(300));
        peak.fetch_max(count.fetch_add(1, SeqCst) + 1, SeqCst);
        while s.read(&mut [0; 4_096]).is_ok_and(|n| n > 0) {}
        count.fetch_sub(1, SeqCst);
    });
    visit("127.0.0.1", server.port(), "tls", json!({"patience": 6_000_000}), 4).await;
    assert_eq!(most.load(std::sync::atomic::Ordering::SeqCst), 3);
}

#[tokio::test]
async fn a_name_that_does_not_resolve_is_not_asked() {
    let unresolved = Outcome::NotAsked(NotAsked::Unresolved);
    let o = visit("receiver.test", 9, "tcp", json!({}), 1).await.remove(0);
    assert_eq!((o.question, o.outcome), (Question::Connect, unresolved));
    let silent = std::net::UdpSocket::bind("127.0.0.1:0").expect("a port").local_addr().expect("its address");
    let resolvers = json!({"resolvers": [{"name": "silent", "address": silent.to_string()}]});
    let o = visit("receiver.test", 9, "tcp", resolvers, 1).await.remove(0);
    assert_eq!(o.outcome, unresolved);
    answered(&o, Duration::from_millis(1_300));
}

/// A small resolver: AAAA is `::1`, where nobody listens; A is `127.0.0.1`, where somebody does.
#[tokio::test]
async fn the_first_address_that_connects_counts() {
    let names = std::net::UdpSocket::bind("127.0.0.1:0").expect("a port");
    let at = names.local_addr().expect("its address");
    std::thread::spawn(move || {
        let mut q = [0; 512];
        while let Ok((n, from)) = names.recv_from(&mut q) {
            // RFC 1035 section 4.1: header, question, one answer whose name points at the question's.
            let end = 12 + q[12..n].iter().position(|b| *b == 0).expect("a name ends") + 5;
            let data: Vec<u8> = if q[end - 3] == 28 { [[0; 15].as_slice(), &[1]].concat() } else { vec![127, 0, 0, 1] };
            let header = [q[0], q[1], 0x81, 0x80, 0, 1, 0, 1, 0, 0, 0, 0];
            let answer = [0xc0, 12, 0, q[end - 3], 0, 1, 0, 0, 0, 60, 0, data.len() as u8];
            let _ = names.send_to(&[&header, &q[12..end], &answer, &data].concat(), from);
        }
    });
    let server = serve("127.0.0.1:0", drop);
    let resolvers = json!({"resolvers": [{"name": "small", "address": at.to_string()}]});
    let o = visit("receiver.test", server.port(), "tcp", resolvers, 1).await.remove(0);
    assert_eq!(o.outcome, Outcome::Answered, "{o:?}");
}

#[test]
fn filters_and_silence_over_a_lead() {
    let pair = Pair::new("rv");
    let there = pair.there.clone();
    inside(&there, async || {
        // The listeners outlive this call on their own threads, in this namespace.
        serve("192.0.2.1:7000", drop);
        serve("[2001:db8::1]:7000", drop);
    });
    sh(&format!(
        "ip netns exec {there} nft -f - <<'END'
table inet t {{
  chain c {{
    type filter hook input priority 0
    tcp dport 7001 drop
    tcp dport 7002 reject with icmpx type admin-prohibited
    tcp dport 7003 reject with icmpx type no-route
    tcp dport 7004 reject with icmpx type host-unreachable
  }}
}}
END"
    ));
    for (host, port, outcome) in [
        ("192.0.2.1", 7000, Outcome::Answered),
        ("2001:db8::1", 7000, Outcome::Answered),
        ("192.0.2.1", 7001, Outcome::Timeout),
        ("2001:db8::1", 7001, Outcome::Timeout),
        // Linux makes EHOSTUNREACH of ICMP code 13 (icmp_err_convert) and EACCES of its IPv6 sister: the code tells more.
        ("192.0.2.1", 7002, Outcome::Unreachable(U::Prohibited)),
        ("2001:db8::1", 7002, Outcome::Unreachable(U::Prohibited)),
        ("192.0.2.1", 7003, Outcome::Unreachable(U::Net)),
        ("2001:db8::1", 7003, Outcome::Unreachable(U::Net)),
        ("192.0.2.1", 7004, Outcome::Unreachable(U::Host)),
        ("2001:db8::1", 7004, Outcome::Unreachable(U::Host)),
        ("2001:db8:1::1", 7000, Outcome::NotAsked(NotAsked::NoRoute)),
    ] {
        // Over a lead without delay an ICMP error can come while `connect` still holds the socket, and Linux then waits
        // for the one that answers the repeated SYN a second later.
        let with = json!({"interface": "lead0", "loopback": false, "patience": 3_000_000});
        let o = pair.within(async move || visit(host, port, "tcp", with, 1).await.remove(0));
        assert_eq!(o.outcome, outcome, "{host} {port}: {o:?}");
    }
    let gone = json!({"interface": "lead9", "loopback": false});
    let o = pair.within(async move || visit("192.0.2.1", 7000, "tcp", gone, 1).await.remove(0));
    assert_eq!(o.outcome, Outcome::NotAsked(NotAsked::NoInterface), "{o:?}");
}

/// The DNS probe's socket reads the ICMP code itself, so a filter is told from a dead host in both families.
#[test]
fn a_resolver_behind_a_filter_is_told_from_a_dead_one() {
    let pair = Pair::new("ns");
    sh(&format!(
        "ip netns exec {} nft -f - <<'END'
table inet t {{
  chain c {{
    type filter hook input priority 0
    udp dport 53 reject with icmpx type admin-prohibited
  }}
}}
END",
        pair.there
    ));
    for (server, outcome) in [
        ("192.0.2.1:53", Outcome::Unreachable(U::Prohibited)),
        ("[2001:db8::1]:53", Outcome::Unreachable(U::Prohibited)),
        ("192.0.2.1:54", Outcome::Refused),
        ("[2001:db8::1]:54", Outcome::Refused),
        ("192.0.2.77:53", Outcome::Unreachable(U::Host)),
        ("[2001:db8::77]:53", Outcome::Unreachable(U::Host)),
        ("[2001:db8:1::1]:53", Outcome::NotAsked(NotAsked::NoRoute)),
    ] {
        let fields = json!({"interface": "lead0", "loopback": false, "patience": 5_000_000,
            "resolvers": [{"name": "r", "address": server}]});
        let o = pair.within(async move || {
            let (ctx, mut agent) = context(plan(fields));
            tokio::spawn(pathproof::probe::names::run(ctx));
            agent.next().await
        });
        assert_eq!((o.question, o.outcome), (Question::Name, outcome), "{server}: {o:?}");
    }
}

/// Renamed, an interface keeps its index (netdevice(7)): the sockets go on by it.
#[test]
fn a_renamed_interface_is_followed_and_one_that_comes_back_too() {
    let pair = Pair::new("rn");
    let (here, there) = (pair.here.clone(), pair.there.clone());
    inside(&there, async || {
        serve("192.0.2.1:7000", drop);
        let udp = std::net::UdpSocket::bind("192.0.2.1:53").expect("a port");
        std::thread::spawn(move || {
            let mut q = [0; 512];
            while let Ok((n, from)) = udp.recv_from(&mut q) {
                // The question back as a response with REFUSED (RFC 1035 section 4.1.1).
                q[2] |= 0x80;
                q[3] = 5;
                let _ = udp.send_to(&q[..n], from);
            }
        });
    });
    let fields = json!({"interface": "lead0", "loopback": false,
        "receivers": [{"name": "r", "host": "192.0.2.1", "port": 7000, "transport": "tcp"}],
        "resolvers": [{"name": "n", "address": "192.0.2.1:53"}]});
    pair.within(async move || {
        let (ctx, mut agent) = context(plan(fields));
        tokio::spawn(receiver::run(ctx.clone()));
        tokio::spawn(pathproof::probe::names::run(ctx));
        let again = format!(
            "ip -n {here} link del lead0; ip -n {here} link add lead0 type veth peer name lead0 netns {there}
             for n in {here} {there}; do ip -n $n link set lead0 up; done
             ip -n {here} addr add 192.0.2.2/24 dev lead0; ip -n {there} addr add 192.0.2.1/24 dev lead0"
        );
        let renamed = format!("ip -n {here} link set lead0 name other0");
        let back = again.replacen("link del lead0", "link del other0", 1);
        for step in [None, Some(renamed), Some(back)] {
            if let Some(step) = &step {
                sh(step);
                while agent.seen.try_recv().is_ok() {}
            }
            let (mut connected, mut asked, mut seen) = (false, false, Vec::new());
            while !(connected && asked) {
                let o = agent.next().await;
                connected |= o.question == Question::Connect && o.outcome == Outcome::Answered;
                asked |= o.question == Question::Name && o.outcome == Outcome::Refused;
                seen.push((o.question, o.outcome));
                assert!(seen.len() < 12, "{step:?}: {seen:?}");
            }
        }
    });
}

/// Linux takes a target for on-link where a socket names its interface and no route matches; that is no timeout.
#[test]
fn without_a_route_or_an_address_nothing_is_asked() {
    let pair = Pair::new("nr");
    let here = pair.here.clone();
    // A second way out with a route must not stand in for the first.
    sh(&format!(
        "ip -n {here} link add side0 type veth peer name side1; ip -n {here} link set side1 up; ip -n {here} link set side0 up
         ip -n {here} addr add 198.51.100.2/24 dev side0; ip -n {here} route add default via 198.51.100.1 dev side0"
    ));
    let all = |host: &'static str, why: NotAsked| {
        let with = json!({"interface": "lead0", "loopback": false, "patience": 3_000_000});
        let o = pair.within(async move || visit(host, 7000, "tcp", with, 1).await.remove(0));
        assert_eq!(o.outcome, Outcome::NotAsked(why), "{host}: {o:?}");
        let fields = json!({"interface": "lead0", "loopback": false, "patience": 3_000_000,
            "resolvers": [{"name": "n", "address": format!("{host}:53")}]});
        let o = pair.within(async move || {
            let (ctx, mut agent) = context(plan(fields));
            tokio::spawn(pathproof::probe::names::run(ctx));
            agent.next().await
        });
        assert_eq!(o.outcome, Outcome::NotAsked(why), "{host}: {o:?}");
    };
    all("203.0.113.1", NotAsked::NoRoute);
    sh(&format!("ip -n {here} -4 addr flush dev lead0"));
    all("192.0.2.1", NotAsked::NoAddress);
}
