//! The practice site as a newcomer meets it: every scripted fault seen, named right, edges within a second, nothing
//! invented - for twenty seeds, without root, and where namespaces are refused.
//!
//! The truth is the script's own, stamped when each action took effect; the survey does not see it.

#[path = "support/lateness.rs"]
mod lateness;

use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

const PROGRAM: &str = env!("CARGO_BIN_EXE_pathproof");
/// Surveys at a time: each is idle most of the while, but edges are timed.
const AT_ONCE: u64 = 10;
/// A host this late, in any two seconds of a survey, may have made what was seen (choice: well under the second that edges
/// are held to, and the patience).
const HELD_UP: Duration = Duration::from_millis(500);

/// What a survey says of a practice line that was held up.
const BUSY: &str = "This machine was busy: the practice line gave frames out up to";

fn said(out: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr))
}

/// The comparison at the end of a practice survey.
fn comparison(text: &str) -> &str {
    text.find("What the script did").map_or(text, |at| &text[at..])
}

/// Every number after `word` in the comparison, in seconds.
fn errors<'a>(text: &'a str, word: &'a str) -> impl Iterator<Item = f64> + 'a {
    comparison(text).split(word).skip(1).filter_map(|rest| rest.trim().split(' ').next()?.parse().ok())
}

/// What is wrong with a practice survey, if anything.
fn unsound(out: &Output, faults: usize) -> Option<String> {
    let text = said(out);
    // What is looked for in rounds has no edge to compare, only a time by which it must be known.
    let starts: Vec<f64> = errors(&text, ", start").collect();
    let ends: Vec<f64> = errors(&text, ", end").collect();
    let edged = faults - text.matches(", known by").count();
    let sound = out.status.code() == Some(0)
        && text.contains(&format!("{faults} of {faults} right, 0 invented"))
        && (starts.len(), ends.len()) == (edged, edged)
        && starts.iter().chain(&ends).all(|e| e.abs() <= 1.0);
    (!sound).then(|| format!("{:?}\n{}", out.status.code(), comparison(&text)))
}

/// Runs a survey to its end; with it, how late this host was in any two seconds of it.
fn watched(command: &mut Command) -> (Output, Duration) {
    let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("runs");
    let (began, pid) = (Instant::now(), child.id());
    lateness::follow(Some(pid));
    let out = child.wait_with_output().expect("ends");
    let seconds = (0..began.elapsed().as_secs()).map(|s| began + Duration::from_secs(s));
    let late = seconds.map(|from| lateness::between(from, from + Duration::from_secs(2), &[pid])).max();
    (out, late.unwrap_or_default())
}

/// Only a survey that was held up itself, by its own line's measure or by this host's, may be played again, and is counted.
#[track_caller]
fn may_be_played_again(name: &str, late: Duration, why: &str) {
    let held_up = why.contains(BUSY) || late >= HELD_UP;
    assert!(held_up, "{name} was not seen as scripted, on a host no more than {late:.2?} late: {why}");
    lateness::tell("REPLAYED", &format!("practice, {name}, on a host {late:.2?} late: {}", why.replace('\n', " ")));
}

/// A survey that sees the script as it was played: in a folder of its own each time.
#[track_caller]
fn sound(name: &str, faults: usize, survey: impl Fn(&Path) -> Command) -> Output {
    for last in [false, true] {
        let dir = tempfile::tempdir().expect("temp dir");
        let (out, late) = watched(&mut survey(dir.path()));
        match unsound(&out, faults) {
            None => return out,
            Some(why) if last => panic!("{name}, again, on a host {late:.2?} late\n{why}"),
            Some(why) => may_be_played_again(name, late, &why),
        }
    }
    unreachable!("the last one returns or panics")
}

fn seeded(seed: u64, dir: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command.args(["survey", "--practice", "--seed", &seed.to_string(), "--record"]).arg(dir.join(format!("{seed}.db")));
    command
}

#[test]
fn twenty_seeds_are_all_seen_as_scripted() {
    let dir = tempfile::tempdir().expect("temp dir");
    let dir = dir.path();
    let mut again = Vec::new();
    for first in (1..=20).step_by(AT_ONCE as usize) {
        std::thread::scope(|scope| {
            let survey = |seed| scope.spawn(move || watched(&mut seeded(seed, dir)));
            let running: Vec<_> = (first..first + AT_ONCE).map(|seed| (seed, survey(seed))).collect();
            for (seed, thread) in running {
                let (out, late) = thread.join().expect("joins");
                if let Some(why) = unsound(&out, 7) {
                    again.push((seed, late, why));
                }
            }
        });
    }
    if again.len() > 3 && again.iter().all(|(_, late, _)| *late >= HELD_UP) {
        let late: Vec<String> = again.iter().map(|(seed, late, _)| format!("{seed}: {late:.2?}")).collect();
        lateness::tell("INCONCLUSIVE", &format!("practice seeds, each on a host so late: {}", late.join(", ")));
    }
    assert!(again.len() <= 3, "so many were not seen as scripted: {again:#?}");
    for (seed, late, why) in again {
        may_be_played_again(&format!("seed {seed}"), late, &why);
        // Once, by itself.
        let fresh = tempfile::tempdir().expect("temp dir");
        let (out, late) = watched(&mut seeded(seed, fresh.path()));
        if let Some(why) = unsound(&out, 7) {
            panic!("seed {seed}, by itself, on a host {late:.2?} late\n{why}");
        }
    }
}

/// The program as nobody, from a folder nobody may read.
fn as_nobody(dir: &Path, shell: &str) -> Command {
    std::fs::copy(PROGRAM, dir.join("pathproof")).expect("copies");
    let mut command = Command::new("sh");
    let line = format!("chmod 777 . && chmod 755 pathproof && {shell}");
    command.current_dir(dir).env("HOME", dir).args(["-c", &line]);
    command
}

#[test]
fn an_ordinary_user_needs_no_root() {
    let line =
        "exec setpriv --reuid=65534 --regid=65534 --clear-groups ./pathproof survey --practice --seed 3 --record a.db";
    sound("as nobody", 7, |dir| as_nobody(dir, line));
}

#[test]
fn a_locked_down_shell_practises_on_loopback_and_says_so() {
    // No capabilities, no new ones, and no namespaces to be had: like a container's shell.
    let line = "exec unshare -Ur sh -c 'echo 0 > /proc/sys/user/max_user_namespaces && exec setpriv --bounding-set=-all \
                --inh-caps=-all --no-new-privs ./pathproof survey --practice --seed 20 --record a.db'";
    let out = sound("locked down", 4, |dir| as_nobody(dir, line));
    let text = said(&out).split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "Namespaces are refused here",
        "To allow them:",
        "Not played here:",
        "link-flap",
        "loopback has no link to lose",
        "Not seen: router lane. Not seen for",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
}

#[test]
fn a_script_of_ones_own_is_played() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("config/practice-script.toml");
    sound("own script", 2, |dir| {
        let mut command = Command::new(PROGRAM);
        command.args(["survey", "--practice", "--script"]).arg(&script).arg("--record").arg(dir.join("a.db"));
        command
    });
}
