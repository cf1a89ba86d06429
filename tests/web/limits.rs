//! What one who asks may take: size, time, places.

use crate::lateness::{MOST, Stretch, hold};
use crate::{Site, connect, request, sample};
use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// When the other end closes a connection.
fn closes(stream: &mut TcpStream) -> Duration {
    let began = Instant::now();
    let mut rest = Vec::new();
    let _ = stream.read_to_end(&mut rest);
    began.elapsed()
}

#[test]
fn heads_and_targets_have_a_size() {
    let site = Site::open(sample("mend-first"));
    let large =
        [b"GET / HTTP/1.1\r\nHost: localhost\r\nA: ".to_vec(), vec![b'a'; 60_000], b"\r\n\r\n".to_vec()].concat();
    assert_eq!(site.ask(&large).code, 431);
    let many = format!("GET / HTTP/1.1\r\nHost: localhost\r\n{}\r\n", "A: b\r\n".repeat(200));
    assert_eq!(site.ask(many.as_bytes()).code, 431);
    assert_eq!(site.get(&format!("/?{}", "a".repeat(3_000))).code, 414);
    for wrong in [&b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n"[..], b"GET /\r\n\r\n", b"\0\r\n\r\n"] {
        assert_eq!(site.ask(wrong).code, 400);
    }
    // A body where none belongs is left unread.
    let body = [request("GET", "/", "Content-Length: 1000000\r\n"), vec![b'a'; 200_000]].concat();
    assert_eq!(site.ask(&body).code, 200);
    // Two requests in one (RFC 9112, section 6.3): one is answered.
    let two = b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET /api/v1/snapshot HTTP/1.1\r\nHost: localhost\r\n\r\n";
    assert!(!site.ask(two).body.contains("\"format\""));
}

#[test]
fn who_is_slow_is_put_out() {
    let site = Site::open(sample("mend-first"));
    let stretch = Stretch::begin(&[]);
    let mut silent = connect(site.at, "127.0.0.1");
    let mut slow = connect(site.at, "127.0.0.1");
    let dripping = std::thread::spawn(move || {
        let began = Instant::now();
        for b in request("GET", "/", "").iter().cycle() {
            if slow.write_all(&[*b]).is_err() || began.elapsed() > Duration::from_secs(15) + MOST {
                break;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        began.elapsed()
    });
    let (silent, slow) = (closes(&mut silent), dripping.join().expect("ends"));
    let late = stretch.late();
    hold("who says nothing is put out", silent, Duration::from_secs(9), late);
    hold("who drips is put out", slow, Duration::from_secs(9), late);
}

#[test]
fn places_are_limited_for_each_and_others_have_theirs() {
    let site = Site::open(sample("mend-first"));
    let open = |from: &str| {
        let mut s = connect(site.at, from);
        s.set_read_timeout(Some(Duration::from_millis(300))).expect("can be set");
        let _ = s.write_all(b"GET ");
        s
    };
    let mut greedy: Vec<TcpStream> = (0..120).map(|_| open("127.0.0.4")).collect();
    let closed = greedy.iter_mut().filter_map(|s| {
        let mut byte = [0];
        // Nothing to read is a connection still open; the end or a reset is one that was not let in.
        match s.read(&mut byte) {
            Ok(_) => Some(()),
            Err(e) if e.kind() == std::io::ErrorKind::ConnectionReset => Some(()),
            Err(_) => None,
        }
    });
    assert!(closed.take(24).count() == 24, "not more than its places");
    let stretch = Stretch::begin(&[]);
    assert_eq!(site.get("/").code, 200);
    stretch.within("another gets the page", Duration::from_secs(1));
}
