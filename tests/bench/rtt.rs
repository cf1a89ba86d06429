//! Round-trip times of our echo against iputils ping, over the practice cable at 5, 20 and 80 ms.
//!
//! 201 echoes each and distance, in turns of three; what is compared is the median over all echoes. Above 10 ms ping
//! prints single times to 0.1 ms only, but least, mean and most of a run to the microsecond: in a run of three these
//! give all three times to 3 microseconds. Ping takes its send time itself, before the system call; ours is the kernel's,
//! so ours should be a little less.
//!
//! Run as root it measures twice: raw sockets in root's own namespaces, and ping sockets in a user namespace as nobody.

#![expect(clippy::print_stdout, reason = "a bench prints its figures")]
#![allow(clippy::unwrap_used, reason = "a bench may stop at the first surprise")]

use pathproof::judge::Micros;
use pathproof::practice::line::Manner;
use pathproof::practice::two_boxes::{FAR, INTERFACE, TwoBoxes};
use pathproof::practice::{Ground, prepare};
use pathproof::sys::errqueue::Origin;
use pathproof::sys::icmp::{EchoSocket, Heard};
use pathproof::sys::namespace::Entered;
use pathproof::wire::icmp::{self, Family};
use std::process::{Command, ExitCode};
use std::time::Duration;

const ROUND_TRIPS_MS: [i64; 3] = [5, 20, 80];
const TURNS: usize = 67;
const TURN: usize = 3;
/// Between two echoes of a turn.
const GAP: Duration = Duration::from_millis(20);
/// The aim.
const MOST_MS: f64 = 0.1;
const TOKEN: u64 = 0x7061_7468;

fn main() -> ExitCode {
    match std::env::args().find_map(|a| a.strip_prefix("--as=").map(str::to_owned)).as_deref() {
        Some("root") => {
            // `unshare -n` has given this process its own network already.
            let network = std::fs::File::open("/proc/thread-self/ns/net").unwrap().into();
            measure(Ground::Namespaces(Entered { network, unprivileged: false, sysfs: false }), "1 0")
        }
        Some("nobody") => measure(prepare(), "0 0"),
        _ => both(),
    }
}

fn both() -> ExitCode {
    match Command::new("ping").arg("-V").output() {
        Ok(o) if String::from_utf8_lossy(&o.stdout).contains("iputils") => {
            println!("{}", String::from_utf8_lossy(&o.stdout).lines().next().unwrap_or_default());
        }
        _ => {
            println!("NOT RUN: this needs ping of iputils (Debian: apt-get install iputils-ping).");
            return ExitCode::FAILURE;
        }
    }
    let program = std::env::current_exe().unwrap();
    let root = nix::unistd::geteuid().is_root();
    // A copy, because the build folder may be closed to others.
    let copy =
        tempfile::Builder::new().permissions(std::os::unix::fs::PermissionsExt::from_mode(0o755)).tempdir().unwrap();
    let mut unprivileged = Command::new(&program);
    if root {
        let at = copy.path().join("rtt");
        std::fs::copy(&program, &at).unwrap();
        unprivileged = Command::new("setpriv");
        unprivileged.args(["--reuid=65534", "--regid=65534", "--clear-groups", "--bounding-set=-all"]).arg(at);
    }
    println!("\nUnprivileged, in a user namespace, ping sockets:");
    let mut fine = unprivileged.arg("--as=nobody").current_dir("/").status().unwrap().success();
    if root {
        println!("\nAs root, without a user namespace, raw sockets:");
        fine &= Command::new("unshare").arg("-n").arg(program).arg("--as=root").status().unwrap().success();
    } else {
        println!("\nNOT RUN: as root, because this is not root.");
    }
    if fine { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

fn measure(ground: Ground, ping_groups: &str) -> ExitCode {
    let boxes = match TwoBoxes::build(ground, 1) {
        Ok(boxes) => boxes,
        Err(why) => {
            println!("NOT RUN: the boxes can't be built: {why}");
            return ExitCode::FAILURE;
        }
    };
    std::fs::write("/proc/sys/net/ipv4/ping_group_range", ping_groups).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    println!("  line     median: ours       ping   ours less ping     middle half: ours           ping");
    let mut fine = true;
    for trip in ROUND_TRIPS_MS {
        boxes.line().set_manner(Manner { delay: Micros(trip * 500), jitter: Micros::ZERO, loss: 0.0 });
        let (mut ours, mut theirs) = (Vec::new(), Vec::new());
        runtime.block_on(async {
            let socket = EchoSocket::open(FAR.into(), Some(INTERFACE), 4_242).unwrap();
            // The neighbour is learnt, and the kernel's stamping is switched on in the background: not counted.
            turn(&socket, 2).await;
            for _ in 0..TURNS {
                ours.extend(turn(&socket, TURN).await);
                theirs.extend(ping());
            }
        });
        assert_eq!(ours.len(), TURNS * TURN, "nothing is lost on this line, and every echo is stamped");
        let (a, b) = (quarters(&mut ours), quarters(&mut theirs));
        let less = a[1] - b[1];
        fine &= less.abs() < MOST_MS;
        println!(
            "  {trip:>2} ms  {:>12.3} ms {:>7.3} ms  {less:>+7.3} ms {:<5} {:>7.3} to {:>6.3} ms, {:>7.3} to {:>6.3} ms",
            a[1],
            b[1],
            if less.abs() < MOST_MS { "ok" } else { "OVER" },
            a[0],
            a[2],
            b[0],
            b[2],
        );
    }
    if fine { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// One turn of ours: milliseconds between the kernel's two stamps of each echo.
async fn turn(socket: &EchoSocket, count: usize) -> Vec<f64> {
    let mut left = vec![None; count];
    let mut came = vec![None; count];
    let mut next = 0;
    let mut rhythm = tokio::time::interval(GAP);
    let over = tokio::time::sleep(GAP * count as u32 + Duration::from_secs(1));
    tokio::pin!(over);
    while came.contains(&None) {
        tokio::select! {
            biased;
            heard = socket.hear() => for h in heard.unwrap() {
                match h {
                    Heard::Packet(m) => {
                        let message =
                            if socket.with_ip_header() { icmp::inside_ipv4(&m.bytes).unwrap() } else { &m.bytes };
                        let echo = icmp::reply(Family::V4, message).filter(|e| e.id == socket.id());
                        if let Some(e) = echo.filter(|e| e.token == Some(TOKEN)) {
                            came[usize::from(e.seq)] = m.stamp;
                        }
                    }
                    Heard::Queue(m) if m.raised.is_some_and(|r| r.origin == Origin::Timestamping) => {
                        if let Some(e) = icmp::own_request_at_end(Family::V4, &m.bytes) {
                            left[usize::from(e.seq)] = m.stamp;
                        }
                    }
                    Heard::Queue(m) => panic!("the line raised an error: {m:?}"),
                }
            },
            _ = rhythm.tick(), if next < count => {
                let message = icmp::request(Family::V4, socket.id(), next as u16, TOKEN);
                socket.send(&message).await.unwrap();
                next += 1;
            }
            () = &mut over => break,
        }
    }
    let both = left.into_iter().zip(came).filter_map(|(l, c)| Some((l?, c?)));
    both.map(|(l, c)| (c.0 - l.0) as f64 / 1e6).collect()
}

/// One turn of ping, milliseconds.
fn ping() -> [f64; TURN] {
    let gap = format!("{}", GAP.as_secs_f64());
    let count = TURN.to_string();
    // The length of our data, so that both weigh the same on the line.
    let size = icmp::DATA.to_string();
    let said = Command::new("ping")
        .env("LC_ALL", "C")
        .args(["-n", "-q", "-c", &count, "-i", &gap, "-s", &size, "-I", INTERFACE, &FAR.to_string()])
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&said.stdout).into_owned();
    assert!(text.contains(&format!("{TURN} received")), "{text}{}", String::from_utf8_lossy(&said.stderr));
    let figures = text.lines().find_map(|l| l.strip_prefix("rtt ")?.split(" = ").nth(1)).unwrap();
    let figures: Vec<f64> = figures.split('/').map_while(|f| f.trim().parse().ok()).collect();
    let [least, mean, most, ..] = figures[..] else { panic!("no figures in {text}") };
    // The mean is cut to a microsecond.
    [least, (3.0 * mean - least - most).clamp(least, most), most]
}

/// Sorts; a quarter of the values, half of them, three quarters of them are below.
fn quarters(values: &mut [f64]) -> [f64; 3] {
    values.sort_by(f64::total_cmp);
    [1, 2, 3].map(|q| values[(values.len() - 1) * q / 4])
}
