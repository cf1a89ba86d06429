//! The watch through what it is there to survive, the program whole: killed at any moment, a disk that fills up, records
//! that are not its own. In namespaces of its own (util-linux's `unshare`), where nothing can leave.
#![expect(clippy::print_stdout, reason = "seeds and figures")]

mod drilled;
mod full;
mod killed;
#[path = "../support/lateness.rs"]
mod lateness;
mod refused;
mod resumed;

use lateness::Stretch;
use pathproof::judge::Entry;
use pathproof::record::read;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");
/// Everything on loopback, as often as may be.
const SITE: &str = "[site]\nid = \"house-7\"\n\n[[receiver]]\nname = \"station\"\nhost = \"127.0.0.1\"\nport = 7700\n\n\
                    [[reference]]\nname = \"near\"\naddress = \"127.0.0.1\"\n\n[cadence]\nlocal = \"500ms\"\n\
                    router = \"1s\"\nnames = \"1s\"\nreceiver = \"1s\"\noutside = \"1s\"\n";

/// The station and the reference point: accepts and waits; answers a name question with nothing (RFC 1035, section 4.1).
const FAR_ENDS: &str = "
import socket, threading
def names():
    u = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    u.bind(('127.0.0.1', 53))
    while True:
        question, whose = u.recvfrom(600)
        u.sendto(question[:2] + bytes([0x81, 0x80]) + question[4:], whose)
threading.Thread(target=names, daemon=True).start()
s = socket.socket()
s.bind(('127.0.0.1', 7700))
s.listen(64)
while True:
    s.accept()[0].close()
";

fn folder() -> TempDir {
    let dir = tempfile::Builder::new().prefix("stays-").tempdir().expect("a folder");
    fs::write(dir.path().join("site.toml"), SITE).expect("writes");
    fs::write(dir.path().join("far.py"), FAR_ENDS).expect("writes");
    dir
}

/// A watch at work, its output in a file.
struct Watch {
    child: Child,
    log: PathBuf,
}

impl Watch {
    /// Starts one in a folder; `before` is shell run in its namespaces first.
    fn start(dir: &Path, n: usize, before: &str, record: &str) -> Self {
        let log = dir.join(format!("log-{n}"));
        let file = File::create(&log).expect("a log");
        // The far ends go when the watch goes (PR_SET_PDEATHSIG); 1E14 is their port in the kernel's table.
        let far = "setpriv --pdeathsig KILL /usr/bin/python3 far.py >/dev/null 2>&1 & \
                   until grep -q ':1E14 ' /proc/net/tcp; do sleep 0.02; done";
        let shell = format!("ip link set lo up && {before} {far}; exec '{PROGRAM}' watch site.toml --record {record}");
        let child = Command::new("unshare")
            .args(["-Urnm", "sh", "-c", &shell])
            .current_dir(dir)
            .env("PATHPROOF_LOG", "info")
            .stdin(Stdio::null())
            .stderr(file.try_clone().expect("the same log"))
            .stdout(file)
            .spawn()
            .expect("needs unshare of util-linux");
        Self { child, log }
    }

    fn log(&self) -> String {
        fs::read_to_string(&self.log).expect("reads")
    }

    fn runs(&mut self) {
        let ended = self.child.try_wait().expect("can be asked");
        assert!(ended.is_none(), "it ended by itself ({ended:?}):\n{}", self.log());
    }

    #[track_caller]
    fn until(&mut self, what: &str, mut is: impl FnMut(&Self) -> bool) {
        let stretch = Stretch::begin(&[self.child.id()]);
        let log = self.log.clone();
        let words = || format!("{what} comes:\n{}", fs::read_to_string(&log).expect("reads"));
        stretch.until(Duration::from_mins(1), words, || {
            self.runs();
            is(self)
        });
    }

    #[track_caller]
    fn says(&mut self, words: &str) {
        self.until(words, |w| w.log().contains(words));
    }

    fn kill(&mut self) {
        self.child.kill().expect("is killed");
        self.child.wait().expect("is gone");
    }

    fn stop(&mut self) -> Option<i32> {
        let status = Command::new("sh").args(["-c", &format!("kill -TERM {}", self.child.id())]).status();
        assert!(status.expect("sh runs").success());
        self.child.wait().expect("ends").code()
    }

    /// Its metrics, asked for where it is.
    fn metrics(&self) -> String {
        const ASK: &str =
            "import urllib.request as u\nprint(u.urlopen('http://127.0.0.1:9750/metrics', timeout=5).read().decode())";
        let pid = self.child.id().to_string();
        let args = ["-U", "-n", "--preserve-credentials", "-t", &pid, "/usr/bin/python3", "-c", ASK];
        let out = Command::new("nsenter").args(args).output().expect("nsenter of util-linux");
        String::from_utf8_lossy(&out.stdout).into_owned()
    }
}

fn once(dir: &Path, args: &[&str]) -> Output {
    Command::new("unshare").args(["-Urn", PROGRAM]).args(args).current_dir(dir).output().expect("runs")
}

/// Every entry of a record, none passed over.
fn all(path: &Path) -> Vec<Entry> {
    let mut out = Vec::new();
    assert_eq!(read(path).expect("opens").replay(|e| out.push(e.clone())).expect("reads"), 0);
    out
}

/// What a report of the record says; panics where it says nothing.
fn report(dir: &Path, record: &str) -> serde_json::Value {
    let out = once(dir, &["report", record, "--format", "json"]);
    serde_json::from_slice(&out.stdout).unwrap_or_else(|e| panic!("{e}: {out:?}"))
}
