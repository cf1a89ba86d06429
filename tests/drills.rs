//! `pathproof drill` as its users meet it: cautions and permission first, answers from a pipe, one document on standard
//! output, exit codes. What needs a network is the practice site in namespaces of its own; `tests/lab/drills.rs` holds
//! the times against real servers.

#[path = "support/lateness.rs"]
mod lateness;

use lateness::Stretch;
use serde_json::Value;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");
const KINDS: [&str; 4] = ["mains-off", "router-restart", "cable-pull", "receiver-path"];

fn folder() -> TempDir {
    tempfile::Builder::new().prefix("drills-").tempdir().expect("a folder")
}

/// The program in an empty network (util-linux), answered from `says`.
fn apart(dir: &Path, says: &str, args: &[&str]) -> Output {
    let mut child = Command::new("unshare")
        .args(["-Urn", PROGRAM, "drill"])
        .args(args)
        .current_dir(dir)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("needs unshare of util-linux");
    // One that ends before it reads is no fault of this.
    let _ = child.stdin.take().expect("piped").write_all(says.as_bytes());
    child.wait_with_output().expect("ends")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("text")
}

fn files(dir: &Path) -> usize {
    std::fs::read_dir(dir).expect("reads").count()
}

fn site(dir: &Path, words: &str) -> String {
    let path = dir.join("site.toml");
    std::fs::write(&path, words).expect("writes");
    path.display().to_string()
}

#[test]
fn without_permission_nothing_is_sent_or_made_and_the_cautions_are_there() {
    for kind in KINDS {
        for answer in ["", "no\n", "\n", "y\n", "yes please\n"] {
            let d = folder();
            let file = site(d.path(), "[[receiver]]\nname = \"station\"\nhost = \"192.0.2.40\"\nport = 7700\n");
            let out = apart(d.path(), answer, &[kind, &file]);
            assert_eq!(out.status.code(), Some(77), "{kind} {answer:?}");
            assert_eq!(files(d.path()), 1, "{kind}: a record was made");
            let said = text(&out.stdout).replace("\n  ", " ");
            for word in ["CAUTIONS", "permission", "out of scope", "Local code", "type yes", "Never sent"] {
                assert!(said.contains(word), "{kind}: {word}");
            }
            let at = |word| said.find(word).expect("said");
            assert!(at("CAUTIONS") < at("WHAT HAPPENS") && at("WHAT HAPPENS") < at("type yes"), "{kind}");
            assert!(text(&out.stderr).contains("nothing was sent"), "{}", text(&out.stderr));
        }
    }
}

#[test]
fn what_makes_no_sense_is_said_before_anything_is_asked() {
    let d = folder();
    let nobody = site(d.path(), "");
    for (args, code, words) in [
        (&["mains-off", "--needed", "0s"][..], 64, "more than nothing"),
        (&["mains-off", "--needed", "200h"], 64, "at most a week"),
        (&["mains-off", "--needed", "soon"], 64, ""),
        (&["lights-off"], 64, "mains-off"),
        (&[], 64, ""),
        (&["mains-off", "--practice", &nobody], 64, "cannot be used with"),
        (&["mains-off", &nobody, "--onto", "a.db"], 64, "cannot be used with"),
        (&["mains-off", "--onto", "no-such.db"], 66, ""),
        (&["mains-off", "--onto", &nobody], 65, "no pathproof record"),
        (&["mains-off", "no-such.toml"], 66, ""),
        (&["receiver-path", &nobody], 78, "no receiver is named"),
        (&["mains-off", "--permitted", &nobody, "--record", &nobody], 64, "exists already"),
    ] {
        let out = apart(d.path(), "yes\n", args);
        assert_eq!(out.status.code(), Some(code), "{args:?}: {}", text(&out.stderr));
        assert!(text(&out.stderr).contains(words), "{args:?}: {}", text(&out.stderr));
    }
    assert_eq!(files(d.path()), 1);
}

#[test]
fn a_site_without_a_path_is_not_drilled() {
    let d = folder();
    let file = site(d.path(), "[[reference]]\nname = \"a\"\naddress = \"192.0.2.1\"\n");
    let out = apart(d.path(), "yes\n", &["mains-off", &file, "--record", "d.db", "--format", "json"]);
    assert_eq!(out.status.code(), Some(21), "{}", text(&out.stderr));
    let page: Value = serde_json::from_slice(&out.stdout).expect("one document");
    assert_eq!(page["drill"]["cut_short"], "the path did not carry at its beginning");
    assert!(!text(&out.stderr).contains("Take mains from"), "{}", text(&out.stderr));
}

/// A drill on the practice site, spoken to like a person would.
struct Practice {
    dir: TempDir,
    child: Child,
}

impl Practice {
    fn begin(args: &[&str]) -> Self {
        let dir = folder();
        let file = |name: &str| std::fs::File::create(dir.path().join(name)).expect("file");
        let child = Command::new(PROGRAM)
            .args(["drill"])
            .args(args)
            .args(["--practice", "--format", "json", "--record"])
            .arg(dir.path().join("d.db"))
            .stdin(Stdio::piped())
            .stdout(file("out"))
            .stderr(file("err"))
            .spawn()
            .expect("runs");
        Self { dir, child }
    }

    fn said(&self) -> String {
        std::fs::read_to_string(self.dir.path().join("err")).expect("reads").replace('\n', " ")
    }

    fn answer(&mut self, when: &str, line: &str) {
        let stretch = Stretch::begin(&[self.child.id()]);
        let words = || format!("{when:?} is said: {}", self.said());
        stretch.until(Duration::from_secs(90), words, || self.said().contains(when));
        self.child.stdin.as_mut().expect("piped").write_all(line.as_bytes()).expect("takes a line");
    }

    fn end(mut self) -> (i32, Value, String, PathBuf, TempDir) {
        let code = self.child.wait().expect("ends").code().unwrap_or(-1);
        let out = std::fs::read(self.dir.path().join("out")).expect("reads");
        let page: Value = serde_json::from_slice(&out).unwrap_or_else(|e| panic!("{e}: {}", self.said()));
        (code, page["drill"].clone(), self.said(), self.dir.path().join("d.db"), self.dir)
    }
}

#[test]
fn practice_drills_measure_what_was_done() {
    // Side by side: each mostly waits.
    let mut mains = Practice::begin(&["mains-off"]);
    let mut lead = Practice::begin(&["cable-pull"]);
    let mut restart = Practice::begin(&["router-restart"]);
    let receiver = Practice::begin(&["receiver-path", "--permitted"]);
    for p in [&mut mains, &mut lead, &mut restart] {
        p.answer("type yes", "yes\n");
    }
    restart.answer("Restart the router now", "\n");
    lead.answer("Pull the lead now", "\n");
    mains.answer("Take mains from", "\n");
    lead.answer("It was seen. Put the lead back", "\n");
    mains.answer("The path gave out. Give mains back", "\n");
    for (p, key) in [(mains, "path_lasted_s"), (lead, "seen_s"), (restart, "back_s")] {
        let (code, drill, said, record, _dir) = p.end();
        assert_eq!(code, 0, "{drill:#}\n{said}");
        assert!(drill["cut_short"].is_null() && drill[key].is_array() && drill["back_s"].is_array(), "{drill:#}");
        assert!(said.contains(": right") && !said.contains("WRONG"), "{said}");
        let again = Command::new(PROGRAM).arg("report").arg(&record).args(["--format", "json"]).output().expect("runs");
        let again: Value = serde_json::from_slice(&again.stdout).expect("JSON");
        assert_eq!(again["drills"][0], drill);
        assert_eq!(again["troubles"].as_array().map(Vec::len), Some(0), "{:#}", again["troubles"]);
    }
    let (code, drill, _, _, _dir) = receiver.end();
    assert_eq!(code, 0);
    assert_eq!(drill["says"][0], "The receiver receiver-a was reached.");
}

#[test]
fn the_drills_of_another_site_are_not_taken() {
    let mut p = Practice::begin(&["mains-off", "--permitted"]);
    p.answer("Take mains from", "stop\n");
    let (code, drill, said, record, dir) = p.end();
    assert_eq!((code, drill["cut_short"].as_str()), (21, Some("it was stopped by hand")), "{said}");
    let onto = ["mains-off", "--onto", record.to_str().expect("text")];
    let again = apart(dir.path(), "yes\n", &onto);
    assert_eq!(again.status.code(), Some(64), "{}", text(&again.stderr));
    assert!(text(&again.stderr).contains("practice site is gone"), "{}", text(&again.stderr));
    let other = site(dir.path(), "[site]\nid = \"other\"\n");
    let out = Command::new(PROGRAM).args(["power", &other, "--drills"]).arg(&record).output().expect("runs");
    assert_eq!(out.status.code(), Some(64));
    assert!(text(&out.stderr).contains("not at \"other\""), "{}", text(&out.stderr));
}
