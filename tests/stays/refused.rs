//! Records that are not this agent's to write: refused with words and a code of their own, nothing touched.

use super::{Watch, folder, once};
use std::path::Path;

#[track_caller]
fn refused(dir: &Path, record: &str, code: i32, words: &str) {
    let path = dir.join(record);
    let before = std::fs::read(&path).expect("reads");
    let said = once(dir, &["watch", "site.toml", "--record", record]);
    let text = String::from_utf8_lossy(&said.stderr);
    assert_eq!(said.status.code(), Some(code), "{text}");
    assert!(text.contains(words), "{words:?} is not in {text}");
    assert!(std::fs::read(&path).expect("still there") == before, "{record} was touched");
    for end in ["-wal", "-shm", "-journal", ".damaged-1"] {
        assert!(!dir.join(format!("{record}{end}")).exists(), "{record}{end} was left");
    }
}

#[test]
fn a_foreign_file_a_newer_record_another_sites_and_a_busy_one() {
    let dir = folder();
    let d = dir.path();
    let mut w = Watch::start(d, 1, "", "ours.db");
    w.says("A new record");
    w.until("the record", |_| d.join("ours.db").metadata().is_ok_and(|m| m.len() > 4_000));
    let second = once(d, &["watch", "site.toml", "--record", "ours.db"]);
    let text = String::from_utf8_lossy(&second.stderr).into_owned();
    assert_eq!(second.status.code(), Some(75), "{text}");
    assert!(text.contains("another agent") && text.contains("nothing was touched"), "{text}");
    w.runs();
    assert_eq!(w.stop(), Some(0));

    std::fs::copy(d.join("ours.db"), d.join("newer.db")).expect("copies");
    rusqlite::Connection::open(d.join("newer.db"))
        .and_then(|c| c.pragma_update(None, "user_version", 99))
        .expect("raises its version");
    refused(d, "newer.db", 65, "was written by a newer version (record version 99");
    rusqlite::Connection::open(d.join("other.db"))
        .and_then(|c| c.execute_batch("CREATE TABLE t (x); INSERT INTO t VALUES (1)"))
        .expect("makes another program's file");
    refused(d, "other.db", 65, "is no pathproof record");
    std::fs::write(d.join("text.db"), "words that somebody keeps in a file and would like to find again\n".repeat(99))
        .expect("writes");
    refused(d, "text.db", 65, "is no pathproof record");
    let site = std::fs::read_to_string(d.join("site.toml")).expect("reads");
    std::fs::write(d.join("site.toml"), site.replace("house-7", "house-8")).expect("writes");
    refused(d, "ours.db", 64, "is the record of the site house-7");
}

#[test]
fn metrics_that_cannot_be_served_as_asked_are_refused_with_words() {
    let dir = folder();
    let watch = |more: &[&str]| {
        let args = [&["watch", "site.toml", "--record", "r.db"], more].concat();
        let said = once(dir.path(), &args);
        (said.status.code(), String::from_utf8_lossy(&said.stderr).into_owned())
    };
    let (code, words) = watch(&["--metrics", "0.0.0.0:9750"]);
    assert!(code == Some(64) && words.contains("--metrics-token"), "{code:?} {words}");
    // Before a word of what would be sent: nothing will be.
    for open in ["--metrics", "--page"] {
        let said = once(dir.path(), &["watch", "site.toml", "--record", "r.db", open, "0.0.0.0:9750"]);
        assert!(said.status.code() == Some(64) && said.stdout.is_empty(), "{said:?}");
    }
    let (code, words) = watch(&["--metrics", "everywhere"]);
    assert!(code == Some(64) && words.contains("127.0.0.1:9750, or off"), "{code:?} {words}");
    std::fs::write(dir.path().join("token"), "short\n").expect("writes");
    let (code, words) = watch(&["--metrics-token", "token"]);
    assert!(code == Some(64) && words.contains("16 to 512"), "{code:?} {words}");
    let (code, words) = watch(&["--metrics-token", "nowhere"]);
    assert!(code == Some(66) && words.contains("nowhere"), "{code:?} {words}");
    // lo is down here: the address can't be had.
    let (code, words) = watch(&["--metrics", "192.0.2.1:9750", "--metrics-token", "/proc/version"]);
    assert!(code == Some(64) || code == Some(74), "{code:?} {words}");
}

#[test]
fn a_port_that_is_taken_stops_nothing() {
    let dir = folder();
    let taken = "setpriv --pdeathsig KILL /usr/bin/python3 -c \"import socket, time; s = socket.socket(); \
                 s.bind(('127.0.0.1', 9750)); s.listen(); time.sleep(90)\" & \
                 until grep -q ':2616 ' /proc/net/tcp; do sleep 0.02; done;";
    let mut w = Watch::start(dir.path(), 1, taken, "r.db");
    w.says("Watching goes on without; --metrics names another address.");
    w.says("Receiver: answers");
    assert_eq!(w.stop(), Some(0));
}
