//! The page's server and its API as those meet them who may look, and those who may not.
//!
//! `access`, `paging`, `views` and `limits` ask a server of this process, on loopback; `whole` and `attacked` a real watch
//! in namespaces of its own (util-linux's `unshare`), where nothing can leave.
#![expect(clippy::print_stdout, reason = "figures")]

mod access;
mod attacked;
#[path = "../support/lateness.rs"]
mod lateness;
mod limits;
mod paging;
#[path = "../snapshots/mod.rs"]
mod snapshots;
mod views;
mod watching;
mod whole;

use pathproof::judge::{Moment, WallTime};
use pathproof::serve::{Access, Address, Certificate, Published, Served, Server, Surface, Token};
use pathproof::snapshot::Snapshot;
use pathproof::sys::clock::Clock;
use serde_json::Value;
use socket2::{Domain, Socket, Type};
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::time::Duration;

const TOKEN: &str = "correct-horse-battery";

/// A server of this process.
struct Site {
    served: Served,
    at: SocketAddr,
}

/// An answer as it came.
#[derive(Debug)]
struct Got {
    code: u16,
    head: String,
    body: String,
}

impl Got {
    fn field(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|l| {
            let (n, value) = l.split_once(':')?;
            n.eq_ignore_ascii_case(name).then(|| value.trim())
        })
    }

    #[track_caller]
    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {self:?}"))
    }
}

impl Site {
    /// One with what may be shown, or without a look yet.
    fn new(token: Option<&str>, allow: &[&str], record: PathBuf, snapshot: Option<Snapshot>) -> Self {
        let access = Access {
            names: vec!["page.home.arpa".into()],
            token: token.map(|t| Token::new(t, &[7; 32]).expect("a token")),
            allow: allow.iter().map(|p| p.parse().expect("a prefix")).collect(),
        };
        let site = Self::serve(access, None, record);
        if let Some(s) = snapshot {
            site.tell(s);
        }
        site
    }

    fn serve(access: Access, certificate: Option<Certificate>, record: PathBuf) -> Self {
        let address = "127.0.0.1:0".parse().expect("an address");
        let mut server = Server::new(record, Clock::starting_at(Moment(1_000_000)));
        let at = server.listen(Address { address, surface: Surface::Page, access, certificate }).expect("listens");
        Self { served: server.start().expect("serves").expect("somewhere"), at }
    }

    /// Open to this host, with a snapshot.
    fn open(snapshot: Snapshot) -> Self {
        Self::new(None, &[], "/nonexistent/r.db".into(), Some(snapshot))
    }

    fn tell(&self, mut snapshot: Snapshot) {
        let looked_s = snapshot.watch.elapsed_s;
        if let Some(r) = &mut snapshot.ruling {
            r.reached_s = looked_s;
        }
        self.served.publish(Published {
            looked_s,
            looked: WallTime(1_767_225_600_000_000),
            sends: vec!["What is sent: nothing".to_owned()].into(),
            snapshot,
        });
    }

    /// Sends bytes from one of this host's addresses and takes what comes back until the end.
    fn ask_from(&self, from: &str, bytes: &[u8]) -> Got {
        got(&exchange(self.at, from, bytes))
    }

    fn ask(&self, bytes: &[u8]) -> Got {
        self.ask_from("127.0.0.1", bytes)
    }

    fn get(&self, target: &str) -> Got {
        self.ask(&request("GET", target, ""))
    }

    fn get_with(&self, target: &str, fields: &str) -> Got {
        self.ask(&request("GET", target, fields))
    }
}

fn request(method: &str, target: &str, fields: &str) -> Vec<u8> {
    format!("{method} {target} HTTP/1.1\r\nHost: localhost\r\n{fields}\r\n").into_bytes()
}

fn post(target: &str, fields: &str, body: &str) -> Vec<u8> {
    let length = body.len();
    let form = "Content-Type: application/x-www-form-urlencoded";
    format!("POST {target} HTTP/1.1\r\nHost: localhost\r\n{form}\r\nContent-Length: {length}\r\n{fields}\r\n{body}")
        .into_bytes()
}

fn connect(at: SocketAddr, from: &str) -> TcpStream {
    let socket = Socket::new(Domain::IPV4, Type::STREAM, None).expect("a socket");
    socket.bind(&SocketAddr::new(from.parse().expect("an address"), 0).into()).expect("binds");
    socket.connect(&at.into()).expect("connects");
    let stream = TcpStream::from(socket);
    stream.set_read_timeout(Some(Duration::from_secs(20) + lateness::MOST)).expect("can be set");
    stream
}

fn exchange(at: SocketAddr, from: &str, bytes: &[u8]) -> String {
    let mut stream = connect(at, from);
    // Whoever is turned away early may be so while still talking.
    let _ = stream.write_all(bytes);
    let mut text = Vec::new();
    let _ = stream.read_to_end(&mut text);
    String::from_utf8_lossy(&text).into_owned()
}

fn got(text: &str) -> Got {
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((text, ""));
    let code = head.split(' ').nth(1).and_then(|c| c.parse().ok()).unwrap_or(0);
    Got { code, head: head.to_owned(), body: body.to_owned() }
}

fn sample(name: &str) -> Snapshot {
    snapshots::all().into_iter().find(|(n, _)| *n == name).expect("a sample").1
}
