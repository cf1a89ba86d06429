//! Idle times against real translators that forget: conntrack with the timeout given, in network namespaces of their own
//! (root, `nft` and coturn needed). The short ones run always, all at once; the long ones by
//! `cargo test --test lab_idle -- --ignored`.
#![allow(clippy::print_stdout, reason = "the figures are for people")]

mod asks_kit;
mod between;
use asks_kit::lateness::{MOST, follow, hold, of_two};
use asks_kit::{context, inside};
use between::{FAR, FAR_TOO, Line, asked, bounds, plan};
use pathproof::judge::{Outcome, Question};
use pathproof::probe::{idle, receiver};
use serde_json::json;
use std::net::{SocketAddr, UdpSocket};
use std::time::{Duration, Instant};

/// How the translator forgets, and by what it is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// TCP: what belongs to no flow it knows is dropped.
    Dropped,
    /// TCP: what it forgot is taken for new and leaves by another port, which the far end resets.
    Reset,
    /// UDP: the same port is kept where it is free, so only a server that answers to it tells (RFC 5780).
    SamePort,
    /// UDP: a forgotten flow gets another port.
    OtherPort,
}

/// A STUN server that knows nothing of RFC 5780: one XOR-MAPPED-ADDRESS (RFC 8489 section 14.2), by hand.
fn plain_stun(line: &Line) {
    inside(&line.far, async || {
        let socket = UdpSocket::bind((FAR, 3_478)).expect("a port");
        std::thread::spawn(move || {
            let mut q = [0; 600];
            while let Ok((n, SocketAddr::V4(from))) = socket.recv_from(&mut q) {
                if n < 20 {
                    continue;
                }
                let port = (from.port() ^ 0x2112).to_be_bytes();
                let ip = (from.ip().to_bits() ^ 0x2112_a442).to_be_bytes();
                let reply = [&[1, 1, 0, 12], &q[4..20], &[0, 0x20, 0, 8, 0, 1], &port, &ip].concat();
                let _ = socket.send_to(&reply, SocketAddr::V4(from));
            }
        });
    });
}

/// Builds a line whose router forgets after `limit` seconds and measures it. Gives the bounds and how long it took.
fn measure(way: Way, limit: u32) -> ((u32, Option<u32>), Duration) {
    let mut line = Line::new();
    let (router, far) = (line.router.clone(), line.far.clone());
    line.translate(&router, "wan0", if way == Way::Dropped || way == Way::SamePort { "" } else { "fully-random" });
    let (over, port) = match way {
        Way::Dropped | Way::Reset => {
            line.sysctl(&router, &format!("net.netfilter.nf_conntrack_tcp_timeout_established={limit}"));
            line.hold(7_000);
            line.hold(7_700);
            ("tcp", 7_000)
        }
        Way::SamePort | Way::OtherPort => {
            line.sysctl(&router, "net.netfilter.nf_conntrack_udp_timeout=10");
            line.sysctl(&router, &format!("net.netfilter.nf_conntrack_udp_timeout_stream={limit}"));
            ("udp", 3_478)
        }
    };
    match way {
        Way::Dropped => {
            line.sysctl(&router, "net.netfilter.nf_conntrack_tcp_loose=0");
            line.nft(&router, "table ip f { chain c { type filter hook forward priority 0; ct state invalid drop; } }");
        }
        Way::Reset => {}
        Way::OtherPort => plain_stun(&line),
        Way::SamePort => {
            let files = line.files.path().display().to_string();
            let (pid, log) = (format!("{files}/turn.pid"), format!("{files}/turn.out"));
            let turn = ["turnserver", "-n", "-S", "--no-tls", "--no-dtls", "--no-cli", "-L", FAR, "-L", FAR_TOO];
            line.serve(&far, "turn.log", &[&turn[..], &["-E", FAR, "--pidfile", &pid, "-l", &log]].concat());
            line.bound(&far, "u", 3_478);
        }
    }
    let test = json!({"at": asked(FAR, port), "over": over, "longest": 600_000_000_u64});
    let receivers = json!([{"name": "r", "host": FAR_TOO, "port": 7_700, "transport": "tcp"}]);
    let with = json!({"between": {"idle_tests": [test]}, "receivers": receivers});
    let began = Instant::now();
    let last = inside(&line.host, async move || {
        let (ctx, mut agent) = context(plan(with));
        tokio::spawn(idle::run(ctx.clone()));
        if over == "tcp" {
            tokio::spawn(receiver::run(ctx));
        }
        follow(None);
        let (mut last, mut visited) = ((0, None), Instant::now());
        loop {
            let wait = Duration::from_secs(u64::from(limit) * 3 + 60);
            let o =
                tokio::time::timeout(wait + MOST, agent.seen.recv()).await.expect("in time").expect("the probe runs");
            if o.question == Question::Connect {
                // The receiver is visited each second all the while.
                assert_eq!(o.outcome, Outcome::Answered, "{o:?}");
                hold("a visit to the receiver", visited.elapsed(), Duration::from_secs(4), of_two(visited));
                visited = Instant::now();
                hold(&format!("{way:?} {limit}, so far {last:?}"), began.elapsed(), wait, of_two(began));
                continue;
            }
            assert_eq!((o.question, o.outcome), (Question::IdleTimeout, Outcome::Answered), "{way:?} {limit}: {o:?}");
            last = bounds(&o).expect("bounds");
            if last.1.is_some_and(|lost| lost <= last.0 + 1 || lost * 10 <= last.0 * 11) {
                return last;
            }
        }
    });
    (last, began.elapsed())
}

/// All at once; each bound within a tenth of the truth.
fn all(cases: &[(Way, u32)]) {
    follow(None);
    let from = Instant::now();
    std::thread::scope(|scope| {
        let running: Vec<_> =
            cases.iter().map(|&(way, limit)| (way, limit, scope.spawn(move || measure(way, limit)))).collect();
        for (way, limit, thread) in running {
            let ((kept, lost), took) = thread.join().unwrap_or_else(|e| std::panic::resume_unwind(e));
            let lost = lost.expect("lost");
            let words = format!("{way:?}: {limit} s is between {kept} and {lost} s, measured in {took:.0?}");
            assert!(kept <= limit && lost >= limit, "{words}");
            // Each bound within a tenth. One that was asked for by a late host is as much further off.
            let (seconds, tenth, late) = (Duration::from_secs_f64, f64::from(limit) / 10.0, of_two(from));
            hold(&words, seconds(f64::from(limit - kept)), seconds(tenth / 1.1), late);
            hold(&words, seconds(f64::from(lost - limit)), seconds(tenth), late);
            hold(&words, took, Duration::from_secs(u64::from(limit) * 4 + 60), late);
            println!("{words}");
        }
    });
}

#[test]
fn timeouts_of_30_and_60_seconds_are_measured_within_a_tenth() {
    all(&[(Way::Dropped, 30), (Way::Reset, 60), (Way::SamePort, 30), (Way::OtherPort, 60)]);
}

#[test]
#[ignore = "takes a quarter of an hour; run with the benches"]
fn timeouts_of_30_to_300_seconds_are_measured_within_a_tenth() {
    let ways = [Way::Dropped, Way::Reset, Way::SamePort, Way::OtherPort];
    let cases: Vec<_> = [30, 60, 120, 300].into_iter().flat_map(|limit| ways.map(|w| (w, limit))).collect();
    all(&cases);
}

/// A far end that closes by itself is no translator that forgets, and one that speaks leaves no idle time.
#[test]
fn far_ends_that_do_not_leave_connections_alone_are_told_apart() {
    let line = Line::new();
    line.translate(&line.router, "wan0", "");
    for (port, outcome, pause) in [(7_001, Outcome::Reset, None), (7_002, Outcome::Malformed, Some(500))] {
        inside(&line.far, async move || {
            let listener = std::net::TcpListener::bind((FAR, port)).expect("a port");
            std::thread::spawn(move || {
                for mut stream in listener.incoming().flatten() {
                    std::thread::spawn(move || {
                        use std::io::Write as _;
                        match pause {
                            None => std::thread::sleep(Duration::from_secs(3)),
                            Some(ms) => {
                                while stream.write_all(b"hello\r\n").is_ok() {
                                    std::thread::sleep(Duration::from_millis(ms));
                                }
                            }
                        }
                    });
                }
            });
        });
        let test = json!({"at": asked(FAR, port), "over": "tcp", "longest": 60_000_000});
        let o = between::first(&line.host, json!({"between": {"idle_tests": [test]}}), idle::run);
        assert_eq!((o.question, o.outcome), (Question::IdleTimeout, outcome), "{o:?}");
    }
}
