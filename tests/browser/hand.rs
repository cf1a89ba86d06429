//! A browser and somebody who uses it: orders go out, one a line, and each is answered (`drive.js`).
//!
//! Needs a Chromium (Debian's package `chromium`, or `BROWSER`) and Node.js with npm; what else the driver needs is
//! installed once, pinned by `package-lock.json`, into the test's folder under `target`. Without them the test fails
//! and says so, it is never skipped.

use crate::lateness::{MOST, Stretch, hold};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::Mutex;
use std::time::Duration;

/// Someone at a browser.
pub(crate) struct Hand {
    child: Child,
    orders: ChildStdin,
    answers: BufReader<ChildStdout>,
    /// Processes beside the driver's whose lateness widens how long a text may take.
    pids: Vec<u32>,
}

static INSTALLING: Mutex<()> = Mutex::new(());

/// The driver with what it needs, installed where that is not so yet.
fn driver() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser");
    let there = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    let _one = INSTALLING.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    std::fs::create_dir_all(&there).expect("a folder under target");
    let wanted = std::fs::read(here.join("package-lock.json")).expect("the pins");
    let done = there.join("installed-lock.json");
    if std::fs::read(&done).ok().as_ref() != Some(&wanted) {
        for file in ["package.json", "package-lock.json"] {
            std::fs::copy(here.join(file), there.join(file)).expect("copies");
        }
        let npm = Command::new("npm")
            .args(["ci", "--ignore-scripts", "--no-audit", "--no-fund"])
            .current_dir(&there)
            .output()
            .expect("the browser tests need Node.js with npm");
        assert!(npm.status.success(), "npm ci: {}", String::from_utf8_lossy(&npm.stderr));
        std::fs::write(done, wanted).expect("writes");
    }
    std::fs::copy(here.join("drive.js"), there.join("drive.js")).expect("copies");
    there.join("drive.js")
}

impl Hand {
    /// Opens a browser, by a command that leads into a namespace or is empty.
    pub(crate) fn open(by: Option<Command>) -> Self {
        let driver = driver();
        let mut command = by.map_or_else(
            || Command::new("node"),
            |mut c| {
                c.arg("node");
                c
            },
        );
        let mut child = command
            .arg(driver)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the browser tests need Node.js");
        let (orders, answers) = (child.stdin.take().expect("piped"), child.stdout.take().expect("piped"));
        let pids = vec![child.id()];
        let mut hand = Self { child, orders, answers: BufReader::new(answers), pids };
        let hello = hand.hear();
        println!("browser {}", hello["version"]);
        hand
    }

    fn hear(&mut self) -> Value {
        let mut line = String::new();
        self.answers.read_line(&mut line).expect("the driver speaks");
        assert!(!line.is_empty(), "the driver ended; is there a Chromium (apt-get install chromium, or BROWSER)?");
        serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"))
    }

    /// Gives an order and waits for its answer; panics where it failed or came too late.
    pub(crate) fn order(&mut self, name: &str, mut order: Value) -> Value {
        order["do"] = json!(name);
        writeln!(self.orders, "{order}").expect("the driver listens");
        let said = self.hear();
        for trouble in ["failed", "late"] {
            assert!(said.get(trouble).is_none(), "{order}: {}", said[trouble]);
        }
        said
    }

    /// Opens a page; milliseconds until it was loaded.
    pub(crate) fn goto(&mut self, path: &str, size: &str, theme: &str, script: bool) -> u64 {
        let said = self.order("open", json!({ "path": path, "size": size, "theme": theme, "script": script }));
        assert_eq!(said["status"], 200, "{path}");
        said["ms"].as_u64().expect("a number")
    }

    /// From now on what this process waits for a core counts as the host's being late.
    pub(crate) fn beside(&mut self, pid: u32) {
        self.pids.push(pid);
    }

    /// Waits until an element holds a text; milliseconds that took.
    pub(crate) fn wait(&mut self, selector: &str, text: &str, ms: u64) -> u64 {
        self.wait_for(selector, text, false, ms)
    }

    /// Waits until an element holds a text or, with `not`, holds it no more: so many milliseconds, and what the host is late.
    pub(crate) fn wait_for(&mut self, selector: &str, text: &str, not: bool, ms: u64) -> u64 {
        let stretch = Stretch::begin(&self.pids);
        let limit = Duration::from_millis(ms);
        let longest = (limit + MOST).as_millis() as u64;
        let said = self.order("wait", json!({ "selector": selector, "text": text, "not": not, "ms": longest }));
        let took = said["ms"].as_u64().expect("a number");
        let what = format!("{selector} {} {text:?}", if not { "no longer holds" } else { "holds" });
        hold(&what, Duration::from_millis(took), limit, stretch.late());
        took
    }

    /// The words of an element.
    pub(crate) fn text(&mut self, selector: &str) -> String {
        self.order("text", json!({ "selector": selector }))["text"].as_str().expect("text").to_owned()
    }

    /// Where one is on the page.
    pub(crate) fn place(&mut self) -> Value {
        self.order("where", json!({}))
    }

    /// That the page breaks no serious rule of accessibility, runs into no wall of its policy and asks nobody else.
    pub(crate) fn is_sound(&mut self, what: &str) {
        let said = self.order("axe", json!({}));
        let serious: Vec<&Value> = said["broken"]
            .as_array()
            .expect("a list")
            .iter()
            .filter(|b| matches!(b["impact"].as_str(), Some("serious" | "critical")))
            .collect();
        assert!(said["rules"].as_u64() > Some(14), "{what}: hardly a rule was tried: {said}");
        assert!(serious.is_empty(), "{what}: {serious:#?}");
        self.is_quiet(what);
    }

    /// That the page as it was sent keeps to the standard, by a checker that is not this project's (`html-validate`).
    pub(crate) fn is_valid(&mut self, what: &str) {
        let said = self.order("valid", json!({}));
        assert!(said["bytes"].as_u64() > Some(500), "{what}: {said}");
        assert_eq!(said["wrong"], json!([]), "{what}");
    }

    /// That nothing was complained of since the page was opened.
    pub(crate) fn is_quiet(&mut self, what: &str) {
        let said = self.order("complaints", json!({}));
        assert_eq!(said["complaints"], json!([]), "{what}");
    }

    /// A picture and a print for looking at, where `PATHPROOF_SHOTS` names a folder.
    pub(crate) fn shot(&mut self, name: &str) {
        if let Ok(dir) = std::env::var("PATHPROOF_SHOTS") {
            self.order("shot", json!({ "file": format!("{dir}/{name}.png") }));
            self.order("print", json!({ "file": format!("{dir}/{name}.pdf") }));
        }
    }
}

impl Drop for Hand {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
