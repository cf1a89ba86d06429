//! A real watch in namespaces of its own, and Python beside it as the one who asks.

use crate::lateness::Stretch;
use serde_json::Value;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");
/// Everything on loopback, as often as may be.
pub(crate) const SITE: &str = "[site]\nid = \"house-7\"\n\n[[receiver]]\nname = \"station\"\nhost = \"127.0.0.1\"\nport = 7700\n\n\
                    [[reference]]\nname = \"near\"\naddress = \"127.0.0.1\"\n\n[cadence]\nlocal = \"500ms\"\n\
                    router = \"1s\"\nnames = \"1s\"\nreceiver = \"1s\"\noutside = \"1s\"\n";

/// The station and the reference point: accepts and closes; answers a name question with nothing (RFC 1035, section
/// 4.1). While a file named `down` is there, neither is.
const FAR_ENDS: &str = "
import os, select, socket, time
def opened():
    u = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    u.bind(('127.0.0.1', 53))
    s = socket.socket()
    s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    s.bind(('127.0.0.1', 7700))
    s.listen(64)
    return u, s
u, s = opened()
while True:
    if os.path.exists('down'):
        u.close(); s.close()
        while os.path.exists('down'):
            time.sleep(0.02)
        u, s = opened()
    for ready in select.select([u, s], [], [], 0.05)[0]:
        if ready is s:
            s.accept()[0].close()
        else:
            question, whose = u.recvfrom(600)
            u.sendto(question[:2] + bytes([0x81, 0x80]) + question[4:], whose)
";

/// A watch at work, its output in a file.
pub(crate) struct Watch {
    pub(crate) dir: TempDir,
    child: Child,
}

impl Watch {
    pub(crate) fn start(site: &str, options: &str) -> Self {
        let dir = tempfile::Builder::new().prefix("web-").tempdir().expect("a folder");
        fs::write(dir.path().join("site.toml"), site).expect("writes");
        fs::write(dir.path().join("far.py"), FAR_ENDS).expect("writes");
        fs::write(dir.path().join("token"), crate::TOKEN).expect("writes");
        let child = Self::run(dir.path(), options);
        let mut this = Self { dir, child };
        this.says("Page: ");
        this
    }

    fn run(dir: &Path, options: &str) -> Child {
        let file = File::options().create(true).append(true).open(dir.join("log")).expect("a log");
        // The far ends go when the watch goes (PR_SET_PDEATHSIG); 1E14 is their port in the kernel's table.
        let far = "setpriv --pdeathsig KILL /usr/bin/python3 far.py >/dev/null 2>&1 & \
                   until grep -q ':1E14 ' /proc/net/tcp; do sleep 0.02; done";
        let shell = format!("ip link set lo up && {far}; exec '{PROGRAM}' watch site.toml --record r.db {options}");
        Command::new("unshare")
            .args(["-Urnm", "sh", "-c", &shell])
            .current_dir(dir)
            .env("PATHPROOF_LOG", "info")
            .stdin(Stdio::null())
            .stderr(file.try_clone().expect("the same log"))
            .stdout(file)
            .spawn()
            .expect("needs unshare of util-linux")
    }

    /// Starts it again, in the same folder and by other options.
    pub(crate) fn again(&mut self, options: &str) {
        self.child = Self::run(self.dir.path(), options);
    }

    pub(crate) fn pid(&self) -> u32 {
        self.child.id()
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub(crate) fn log(&self) -> String {
        fs::read_to_string(self.path("log")).expect("reads")
    }

    #[track_caller]
    pub(crate) fn says(&mut self, words: &str) {
        self.until(words, |w| w.log().contains(words));
    }

    #[track_caller]
    pub(crate) fn until(&mut self, what: &str, mut is: impl FnMut(&Self) -> bool) {
        let log = self.path("log");
        let said = || fs::read_to_string(&log).expect("reads");
        let stretch = Stretch::begin(&[self.child.id()]);
        stretch.until(
            Duration::from_mins(1),
            || format!("{what} comes:\n{}", said()),
            || {
                let ended = self.child.try_wait().expect("can be asked");
                assert!(ended.is_none(), "it ended by itself ({ended:?}):\n{}", said());
                is(self)
            },
        );
    }

    /// A program run where it is, in its folder; what it prints.
    #[track_caller]
    pub(crate) fn beside(&self, program: &[&str]) -> String {
        let pid = self.child.id().to_string();
        let out = Command::new("nsenter")
            .args(["-U", "-n", "--preserve-credentials", "-t", &pid])
            .args(program)
            .current_dir(self.dir.path())
            .output()
            .expect("nsenter of util-linux");
        assert!(
            out.status.success(),
            "{}\n{}",
            String::from_utf8_lossy(&out.stdout),
            String::from_utf8_lossy(&out.stderr)
        );
        String::from_utf8_lossy(&out.stdout).into_owned()
    }

    /// What is at an address on its host.
    #[track_caller]
    pub(crate) fn text(&self, address: &str) -> String {
        const ASK: &str =
            "import sys, urllib.request as u\nsys.stdout.write(u.urlopen(sys.argv[1], timeout=10).read().decode())";
        self.beside(&["/usr/bin/python3", "-c", ASK, address])
    }

    #[track_caller]
    pub(crate) fn api(&self, what: &str) -> Value {
        serde_json::from_str(&self.text(&format!("http://127.0.0.1:9760/api/v1/{what}"))).expect("JSON")
    }

    /// Stops it; its exit code.
    pub(crate) fn stop(&mut self) -> Option<i32> {
        let status = Command::new("sh").args(["-c", &format!("kill -TERM {}", self.child.id())]).status();
        assert!(status.expect("sh runs").success());
        self.child.wait().expect("ends").code()
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

pub(crate) fn once(dir: &Path, args: &[&str]) -> String {
    let out = Command::new("unshare").args(["-Urn", PROGRAM]).args(args).current_dir(dir).output().expect("runs");
    String::from_utf8_lossy(&out.stdout).into_owned()
}

/// What the program says where it ends with an error.
pub(crate) fn refused(dir: &Path, args: &[&str]) -> String {
    let out = Command::new("unshare").args(["-Urn", PROGRAM]).args(args).current_dir(dir).output().expect("runs");
    assert!(!out.status.success(), "{args:?}");
    String::from_utf8_lossy(&out.stderr).into_owned()
}
