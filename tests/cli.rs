//! The command line as its users meet it: the built program, its streams, its files and its exit codes.
//!
//! Surveys run in a network namespace of their own (util-linux's `unshare`), where nothing can leave: the default
//! reference points are real addresses. Exit codes are those of `--help`; 64 and above those of sysexits.h.

#[path = "support/lateness.rs"]
mod lateness;

use lateness::Stretch;
use serde_json::Value;
use std::fs::{self, File};
use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::process::ExitStatusExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::thread::sleep;
use std::time::Duration;
use tempfile::TempDir;

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");

fn folder() -> TempDir {
    tempfile::Builder::new().prefix("cli-").tempdir().expect("a folder")
}

/// The program in the machine's own network: for commands that send nothing.
fn plain(dir: &TempDir, args: &[&str]) -> Output {
    let sends = args.first() == Some(&"survey") && !args.contains(&"--script");
    assert!(!sends, "a survey must be put in a namespace");
    Command::new(PROGRAM).current_dir(dir).args(args).output().expect("runs")
}

/// The program in an empty network, under its own process id.
fn apart(dir: &TempDir, args: &[&str]) -> Command {
    let mut command = Command::new("unshare");
    command.args(["-Urn", PROGRAM]).args(args).current_dir(dir).stdin(Stdio::null());
    command
}

fn surveyed(dir: &TempDir, args: &[&str]) -> Output {
    apart(dir, &[&["survey"], args].concat()).output().expect("needs unshare of util-linux")
}

fn out(o: &Output) -> String {
    String::from_utf8(o.stdout.clone()).expect("text")
}

fn err(o: &Output) -> String {
    String::from_utf8(o.stderr.clone()).expect("text")
}

#[track_caller]
fn ends(o: &Output, code: i32, words: &[&str]) {
    assert_eq!(o.status.code(), Some(code), "{}{}", out(o), err(o));
    for w in words {
        assert!(err(o).contains(w), "{w:?} is not in:\n{}", err(o));
    }
}

/// One JSON document and nothing else.
#[track_caller]
fn document(text: &[u8]) -> Value {
    let mut all = serde_json::Deserializer::from_slice(text).into_iter::<Value>();
    let first = all.next().expect("a document").expect("JSON");
    assert!(all.next().is_none(), "something follows the document");
    first
}

fn files(dir: &TempDir) -> Vec<String> {
    let entries = fs::read_dir(dir).expect("reads");
    let mut names: Vec<_> = entries.map(|e| e.expect("entry").file_name().into_string().expect("text")).collect();
    names.sort();
    names
}

fn write(dir: &TempDir, name: &str, text: &str) -> String {
    let path = dir.path().join(name);
    fs::write(&path, text).expect("writes");
    path.display().to_string()
}

#[test]
fn help_and_version_say_what_they_should() {
    let d = folder();
    let help = plain(&d, &["--help"]);
    ends(&help, 0, &[]);
    for code in ["0 IP", "10 mend", "11 add", "12 keep", "20 the", "64 usage", "65 ", "66 ", "70 ", "74 ", "77 ", "78 "]
    {
        assert!(out(&help).contains(code), "{code}: {}", out(&help));
    }
    assert!(out(&help).contains("not for fire") && help.stderr.is_empty());
    assert!(out(&help).lines().all(|l| l.chars().count() <= 100), "{}", out(&help));
    let version = plain(&d, &["--version"]);
    ends(&version, 0, &[]);
    assert_eq!(out(&version), format!("pathproof {}\n", env!("CARGO_PKG_VERSION")));
    for command in ["survey", "watch", "check", "report", "export", "forget"] {
        let help = plain(&d, &["help", command]);
        ends(&help, 0, &[]);
        assert!(out(&help).contains(&format!("Usage: pathproof {command}")), "{}", out(&help));
    }
}

#[test]
fn a_command_line_that_makes_no_sense_is_64() {
    let d = folder();
    for args in [
        &[][..],
        &["watch-the-sky"],
        &["report"],
        &["report", "a.db", "--format", "xml"],
        &["survey", "--seed", "1"],
        &["survey", "--practice", "--for", "1m"],
        &["survey", "--practice", "--announce-only"],
        &["survey", "--practice", "--seed", "1", "--script", "x"],
        &["survey", "--for", "soon"],
        &["survey", "--for", "0s"],
        &["survey", "--for=-5s"],
        &["survey", "--for", "99999999h"],
        &["survey", "--for", "0s", "--announce-only"],
    ] {
        let said = apart(&d, args).output().expect("runs");
        ends(&said, 64, &[]);
        assert!(said.stdout.is_empty() && !said.stderr.is_empty(), "{args:?}");
    }
    assert_eq!(files(&d), Vec::<String>::new());
}

#[test]
fn inputs_that_cannot_be_used_have_their_own_codes() {
    let d = folder();
    let script = ["survey", "--practice", "--script"];
    let check = plain(&d, &["check", "nowhere"]);
    ends(&check, 66, &[]);
    assert!(out(&check).contains("nowhere"), "what `check` finds is its result: {}", out(&check));
    for command in [&["report"][..], &script] {
        ends(&plain(&d, &[command, &["nowhere"]].concat()), 66, &["nowhere"]);
    }
    let junk = write(&d, "junk", "not a record \u{1b}[2J");
    ends(&plain(&d, &["report", &junk]), 65, &["junk", "nothing was touched"]);
    ends(&plain(&d, &["report", "."]), 65, &["."]);
    assert_eq!(fs::read_to_string(&junk).expect("still there"), "not a record \u{1b}[2J");
    let wrong = write(&d, "wrong.toml", "[site]\nid = \"a\"\nkind = \"castle\"\n");
    let said = plain(&d, &["check", &wrong]);
    ends(&said, 78, &[]);
    for words in ["line 3, column", "kind", "castle"] {
        assert!(out(&said).contains(words), "{words}: {}", out(&said));
    }
    ends(&surveyed(&d, &[&wrong, "--for", "2s"]), 78, &["line 3, column", "kind", "castle"]);
    let late = write(&d, "late.toml", "[[step]]\nat_s = 1.0\nfor_s = -4.0\nfault = \"access-cut\"\n");
    ends(&plain(&d, &[&script[..], &[&late]].concat()), 78, &["late.toml", "line 3", "for_s"]);
    fs::write(d.path().join("octets"), [0xff, 0xfe, 0x00]).expect("writes");
    ends(&plain(&d, &[&script[..], &["octets"]].concat()), 78, &["octets"]);
    // A device that never ends must not be read to its end.
    ends(&plain(&d, &[&script[..], &["/dev/zero"]].concat()), 78, &["/dev/zero"]);
    ends(&plain(&d, &["report", "/dev/zero"]), 65, &["/dev/zero"]);
    assert_eq!(files(&d), ["junk", "late.toml", "octets", "wrong.toml"]);
}

#[test]
fn what_is_not_permitted_is_77() {
    let d = folder();
    fs::set_permissions(&d, fs::Permissions::from_mode(0o755)).expect("may");
    // The build folder may be closed to others.
    fs::copy(PROGRAM, d.path().join("program")).expect("copies");
    let shut = write(&d, "shut", "[site]\nid = \"a\"\n");
    fs::set_permissions(&shut, fs::Permissions::from_mode(0o000)).expect("may");
    let ordinary = |args: &[&str]| {
        let program = d.path().join("program");
        let mut command = if nix::unistd::geteuid().is_root() {
            let mut c = Command::new("setpriv");
            c.args(["--reuid=65534", "--regid=65534", "--clear-groups", "unshare", "-Urn"]).arg(program);
            c
        } else {
            let mut c = Command::new("unshare");
            c.arg("-Urn").arg(program);
            c
        };
        command.args(args).current_dir("/").output().expect("needs setpriv and unshare of util-linux")
    };
    ends(&ordinary(&["report", &shut]), 77, &["shut"]);
    ends(&ordinary(&["survey", &shut, "--for", "1s"]), 77, &["shut"]);
    ends(&ordinary(&["survey", "--practice", "--script", &shut]), 77, &["shut"]);
    let checked = ordinary(&["check", &shut]);
    assert_eq!(checked.status.code(), Some(77));
    assert!(out(&checked).contains("shut"), "{}", out(&checked));
    fs::set_permissions(&d, fs::Permissions::from_mode(0o555)).expect("may");
    ends(&ordinary(&["survey", "--for", "1s", "--record", &format!("{}/new.db", d.path().display())]), 77, &["new.db"]);
}

#[test]
fn output_that_cannot_be_written_is_74() {
    let d = folder();
    let full = || Stdio::from(File::options().write(true).open("/dev/full").expect("Linux has it"));
    ends(&surveyed(&d, &["--for", "1s", "--format", "json", "--record", "r.db", "--html", "r.html"]), 12, &[]);
    for args in
        [&["--help"][..], &["--version"], &["check"], &["report", "r.db"], &["report", "r.db", "--format", "json"]]
    {
        let status = Command::new(PROGRAM).current_dir(&d).args(args).stdout(full()).stderr(Stdio::null()).status();
        assert_eq!(status.expect("runs").code(), Some(74), "{args:?}");
    }
    // It must not go on to send what it could not announce.
    let stretch = Stretch::begin(&[]);
    let said = apart(&d, &["survey", "--for", "9s", "--record", "n.db"]).stdout(full()).output().expect("runs");
    ends(&said, 74, &["could not write"]);
    stretch.within("it ends", Duration::from_secs(5));
    ends(&surveyed(&d, &["--for", "1s", "--record", "no/where.db"]), 74, &["no/where.db"]);
    let said = surveyed(&d, &["--for", "1s", "--record", "h.db", "--html", "no/where.html"]);
    ends(&said, 74, &["no/where.html"]);
    assert!(
        out(&said).contains("Record: h.db") && !out(&said).contains("Report:"),
        "the record is there, the page not"
    );
    ends(&plain(&d, &["report", "h.db", "--html", "no/where.html"]), 74, &["no/where.html"]);
    assert_eq!(files(&d), ["h.db", "r.db", "r.html"]);
}

#[test]
fn a_survey_without_a_network_keeps_watching_and_is_the_same_when_judged_again() {
    let d = folder();
    let args = ["--for", "4s", "--format", "json", "--record", "a.db"];
    let said = surveyed(&d, &args);
    ends(&said, 12, &["What is sent, to whom, and how often:", "Record: a.db", "Report: a.html"]);
    let json = document(&said.stdout);
    assert_eq!(json["verdict"]["kind"], "keep-watching");
    assert_eq!(json["watch"]["ended"], "complete");
    assert_eq!(json["troubles"], Value::Array(vec![]), "what can't be asked is no trouble");
    let (elapsed, observed) = (&json["watch"]["elapsed_s"], &json["watch"]["observed_s"]);
    assert!((4.0..6.0).contains(&elapsed.as_f64().expect("a number")), "{elapsed}");
    assert!(observed.as_f64().expect("a number").abs() < 1e-9, "nothing was seen: {observed}");

    let again = plain(&d, &["report", "a.db", "--format", "json"]);
    ends(&again, 12, &[]);
    assert!(again.stdout == said.stdout, "byte for byte");
    let words = plain(&d, &["report", "a.db", "--html", "b.html"]);
    ends(&words, 12, &[]);
    assert!(out(&words).starts_with("Keep watching"), "{}", out(&words));
    let page = fs::read_to_string(d.path().join("a.html")).expect("beside the record");
    assert_eq!(page, fs::read_to_string(d.path().join("b.html")).expect("where asked"));
    // Self-contained: nothing to load, nothing that runs. The name of the SVG namespace is no address, and the header
    // field's name forbids what this looks for.
    let lower = page
        .to_lowercase()
        .replace("\"http://www.w3.org/2000/svg\"", "")
        .replace("http-equiv", "")
        .replace("url(#", "");
    for never in ["http", "<script", "javascript:", "<iframe", "<link", "@import", "url(", " src="] {
        assert!(!lower.contains(never), "{never}");
    }
    assert!(lower.starts_with("<!doctype html>") && page.contains("Keep watching"));

    let before = fs::read(d.path().join("a.db")).expect("reads");
    ends(&surveyed(&d, &args), 64, &["a.db exists already"]);
    assert!(before == fs::read(d.path().join("a.db")).expect("reads"), "the record was not touched");
    assert_eq!(files(&d), ["a.db", "a.html", "b.html"], "one file is the whole record");
}

/// In a network with a way out and nobody there: what the kernel counted as sent, on the lead.
fn sent(dir: &TempDir, args: &str) -> (u64, Output) {
    let shell = format!(
        "echo 1 >/proc/sys/net/ipv6/conf/default/disable_ipv6
         ip link add way type veth peer name far && ip link set way up && ip link set far up
         ip addr add 192.0.2.2/24 dev way && ip route add default via 192.0.2.1
         ip neigh add 192.0.2.1 lladdr 00:00:5e:00:53:01 dev way nud permanent
         '{PROGRAM}' survey {args}; code=$?
         awk '$1 == \"way:\" {{ print $11 > \"sent\" }}' /proc/net/dev; exit $code"
    );
    let mut command = Command::new("unshare");
    let said = command.args(["-Urn", "sh", "-c", &shell]).current_dir(dir).output().expect("needs unshare");
    let count = fs::read_to_string(dir.path().join("sent")).expect("needs iproute2 and awk");
    (count.trim().parse().expect("a number"), said)
}

#[test]
fn announce_only_says_all_and_sends_nothing() {
    let d = folder();
    let site = "[[receiver]]\nname = \"station\"\nhost = \"198.51.100.40\"\nport = 7700\n\n[[reference]]\n\
                name = \"near\"\naddress = \"203.0.113.12\"\n\n[[resolver]]\naddress = \"192.0.2.53\"\n\n\
                [cadence]\noutside = \"3s\"\nnames = \"4s\"\nreceiver = \"7s\"\n";
    write(&d, "site.toml", site);
    let (count, said) = sent(&d, "site.toml --announce-only");
    ends(&said, 0, &[]);
    assert_eq!(count, 0, "packets");
    let text = out(&said);
    for (lane, what) in [
        ("outside:", &["203.0.113.12", "every 3.0 s"][..]),
        ("names:", &["192.0.2.53", "DNS", "every 4.0 s"]),
        ("receiver:", &["station", "198.51.100.40", "7700", "every 7.0 s"]),
        ("router:", &["way", "every 1.0 s"]),
        ("address:", &["way", "DHCP discover", "every 1 min"]),
    ] {
        let told = |l: &str| l.trim_start().starts_with(lane) && what.iter().all(|w| l.contains(w));
        assert!(text.lines().any(told), "{lane} {what:?} is not in\n{text}");
    }
    assert_eq!(files(&d), ["sent", "site.toml"], "no record is begun");
    let (count, said) = sent(&d, "site.toml --announce-only --format json");
    ends(&said, 0, &["What is sent"]);
    assert_eq!((count, said.stdout.len()), (0, 0), "standard output is for JSON");
    // The same without `--announce-only` does send: the count can tell.
    let (count, said) = sent(&d, "site.toml --for 3s --record r.db");
    assert!(count >= 3, "{count} packets: {}", out(&said));
}

/// Starts a survey of a minute and waits until the record has entries.
fn under_way(dir: &TempDir, record: &str) -> Child {
    let mut command = apart(dir, &["survey", "--for", "60s", "--format", "json", "--record", record]);
    let child = command.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("starts");
    let log = PathBuf::from(format!("{}-wal", dir.path().join(record).display()));
    let grown = |path: &Path| fs::metadata(path).is_ok_and(|m| m.len() > 0);
    let words = || format!("{} grows", log.display());
    Stretch::begin(&[child.id()]).until(Duration::from_secs(20), words, || grown(&log));
    sleep(Duration::from_millis(3_500)); // a few commits, one a second
    child
}

fn signal(child: &Child, name: &str) {
    let status = Command::new("sh").args(["-c", &format!("kill -s {name} {}", child.id())]).status();
    assert!(status.expect("sh runs").success(), "it runs");
}

#[test]
fn an_interrupt_ends_early_with_a_report_and_the_verdicts_code() {
    for s in ["INT", "TERM"] {
        let d = folder();
        let child = under_way(&d, "i.db");
        let asked = Stretch::begin(&[child.id()]);
        signal(&child, s);
        let said = child.wait_with_output().expect("ends");
        asked.within("it ends", Duration::from_secs(3));
        ends(&said, 12, &[]);
        let json = document(&said.stdout);
        assert_eq!(json["watch"]["ended"], "interrupted");
        assert!(json["watch"]["elapsed_s"].as_f64().expect("a number") < 30.0);
        assert!(plain(&d, &["report", "i.db", "--format", "json"]).stdout == said.stdout);
        assert_eq!(files(&d), ["i.db", "i.html"]);
    }
}

#[test]
fn a_killed_survey_leaves_a_record_that_can_be_judged() {
    let d = folder();
    let mut child = under_way(&d, "k.db");
    child.kill().expect("it runs");
    let status: ExitStatus = child.wait().expect("ends");
    assert_eq!(status.signal(), Some(9));
    let judged = plain(&d, &["report", "k.db", "--format", "json"]);
    ends(&judged, 12, &[]);
    let json = document(&judged.stdout);
    assert_eq!(json["watch"]["ended"], Value::Null, "nobody said that it ended");
    let elapsed = json["watch"]["elapsed_s"].as_f64().expect("a number");
    assert!((1.0..30.0).contains(&elapsed), "what was committed is there: {elapsed}");
    assert!(plain(&d, &["report", "k.db", "--format", "json"]).stdout == judged.stdout, "reading changes nothing");
}
