//! What the page costs: a first view with a year of record, and 50 open views.
//!
//! `cargo bench --bench page [days] [seconds]` (365 and 60). The record is made up at the rhythm of a watch (virtual
//! time); the server is the real one, its guests are another process. Aims: a first view within 200 ms, 50 open views
//! under 2 % of a core.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

mod days;

use days::{DAY, SECOND, asks, day};
use nix::time::{ClockId, clock_gettime};
use pathproof::judge::requirement::RequirementSet;
use pathproof::judge::settings::Known;
use pathproof::judge::{Entry, Judge, Lane, Micros, Moment, Session, Settings, WallTime};
use pathproof::serve::{Access, Address, Published, Server, Surface};
use pathproof::site::cadence::WATCH;
use pathproof::snapshot::{Header, take, take_live};
use pathproof::sys::clock::{self, Clock};
use rand::SeedableRng as _;
use rand::rngs::Xoshiro256PlusPlus;
use std::collections::BTreeSet;
use std::io::{Read as _, Write as _};
use std::net::{SocketAddr, TcpStream};
use std::process::Command;
use std::sync::Arc;
use std::thread::sleep;
use std::time::{Duration, Instant};

const VIEWS: usize = 50;

fn main() {
    if let Ok(job) = std::env::var("PATHPROOF_TEST_JOB") {
        return listen(job.parse().expect("an address"));
    }
    let mut numbers = std::env::args().filter_map(|a| a.parse::<i64>().ok());
    let (days, seconds) = (numbers.next().unwrap_or(365), numbers.next().unwrap_or(60));
    let began = Instant::now();
    let (asks, mut draw, mut judge) = (asks(), Xoshiro256PlusPlus::seed_from_u64(5), judge());
    for n in 0..days {
        for e in day(n, &asks, &mut draw) {
            judge.take(&e);
        }
    }
    println!("{days} days judged in {:.0} s", began.elapsed().as_secs_f64());
    let mut ahead = day(days, &asks, &mut draw).into_iter().peekable();
    let header = Header { site: "house-7".into(), ..Header::default() };
    let began = Instant::now();
    let whole = take(&judge, &header);
    println!("a whole judgement and its snapshot: {:.1} ms", began.elapsed().as_secs_f64() * 1e3);
    let access = Access { names: vec![], token: None, allow: vec![] };
    let here = "127.0.0.1:0".parse().expect("an address");
    let clock = Clock::starting_at(Moment(days * DAY));
    let mut server = Server::new("r.db".into(), clock);
    let at = Address { address: here, surface: Surface::Page, access, certificate: None };
    let address = server.listen(at).expect("listens");
    let published = server.start().expect("serves").expect("somewhere");
    let sends: Arc<[String]> = vec!["What is sent: nothing".to_owned()].into();
    let ruling = whole.ruling.clone().expect("a whole look");
    let mut look = |at: Moment| {
        while let Some(e) = ahead.next_if(|e| e.known() <= at) {
            judge.take(&e);
        }
        let began = Instant::now();
        let snapshot = take_live(&judge, &header).with_ruling(ruling.clone());
        let took = began.elapsed();
        let (looked_s, looked, sends) = (at.secs(), clock::wall_time(), Arc::clone(&sends));
        published.publish(Published { snapshot, looked_s, looked, sends });
        took
    };
    let took = look(clock.now());
    println!("a look: {:.1} ms", took.as_secs_f64() * 1e3);
    for target in ["/", "/", "/technician", "/api/v1/snapshot", "/api/v1/troubles", "/api/v1/report"] {
        let (took, bytes) = get(address, target);
        println!("{target}: {:.1} ms, {bytes} bytes", took.as_secs_f64() * 1e3);
    }
    // Looks as a watch takes them: each five seconds, and each second while something is wrong.
    for (views, every) in [(0, 5), (VIEWS, 5), (VIEWS, 1)] {
        let mut guests = (views > 0).then(|| {
            let this = std::env::current_exe().expect("has a path");
            Command::new(this).env("PATHPROOF_TEST_JOB", address.to_string()).spawn().expect("starts")
        });
        while published.views() < views {
            sleep(Duration::from_millis(50));
        }
        let (began, cpu) = (Instant::now(), cpu_time());
        let mut looking = Duration::ZERO;
        while began.elapsed() < Duration::from_secs(seconds as u64) {
            let before = cpu_time();
            look(clock.now());
            looking += cpu_time().saturating_sub(before);
            sleep(Duration::from_secs(every));
        }
        let share = |cpu: Duration| cpu.as_secs_f64() / began.elapsed().as_secs_f64() * 100.0;
        let all = cpu_time().saturating_sub(cpu);
        println!(
            "{views} views, a look each {every} s: {:.2} % of a core, {:.2} % without the looks themselves (aim: under 2 %)",
            share(all),
            share(all.saturating_sub(looking))
        );
        if let Some(guests) = &mut guests {
            guests.kill().expect("ends");
            guests.wait().expect("is gone");
            while published.views() > 0 {
                sleep(Duration::from_millis(100));
            }
        }
    }
}

/// Time this process has run on its cores.
fn cpu_time() -> Duration {
    clock_gettime(ClockId::CLOCK_PROCESS_CPUTIME_ID).expect("Linux has the clock").into()
}

fn get(address: SocketAddr, target: &str) -> (Duration, usize) {
    let began = Instant::now();
    let mut stream = TcpStream::connect(address).expect("connects");
    stream.write_all(format!("GET {target} HTTP/1.1\r\nHost: localhost\r\n\r\n").as_bytes()).expect("takes it");
    let mut text = Vec::new();
    stream.read_to_end(&mut text).expect("answers");
    assert!(text.starts_with(b"HTTP/1.1 200"), "{target}");
    (began.elapsed(), text.len())
}

/// As many open views as are asked for, half of each kind; takes what comes.
fn listen(at: SocketAddr) {
    let mut all: Vec<TcpStream> = (0..VIEWS)
        .map(|n| {
            let mut stream = TcpStream::connect(at).expect("connects");
            let view = if n % 2 == 0 { "home" } else { "technician" };
            let head = format!("GET /live?view={view} HTTP/1.1\r\nHost: localhost\r\n\r\n");
            stream.write_all(head.as_bytes()).expect("takes it");
            stream.set_nonblocking(true).expect("can be set");
            stream
        })
        .collect();
    let mut bytes = vec![0; 64 << 10];
    loop {
        for stream in &mut all {
            while stream.read(&mut bytes).is_ok_and(|n| n > 0) {}
        }
        sleep(Duration::from_millis(200));
    }
}

fn judge() -> Judge {
    let set: RequirementSet =
        toml::from_str(include_str!("../../config/requirements/household.toml")).expect("the shipped set parses");
    let c = WATCH.cadence;
    let mut judge = Judge::new(Settings {
        receivers: BTreeSet::from(["station".into(), "station-2".into()]),
        tls_receivers: BTreeSet::new(),
        patience: Micros::from_secs(2),
        cadence: Lane::ALL.map(|l| (l, if l == Lane::Outside { c.outside } else { c.names })),
        supervision: None,
        requirements: set,
        out_of_scope: vec![],
        known: Known::default(),
    });
    judge.take(&Entry::Began(Session {
        at: Moment(0),
        boot_id: "b".into(),
        boot: Micros(0),
        wall: WallTime(1_767_225_600 * SECOND),
        synced: Some(true),
    }));
    judge
}
