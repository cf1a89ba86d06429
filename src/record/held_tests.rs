//! The record held for writing: older versions, damage, two agents, disks that fail, forgetting, rolling up.

use super::tests::{entries, read_all};
use super::*;
use crate::judge::{Detail, Ending, Moment, NameAnswer, Observation, Outcome, Question, Rtt, Session, WallTime};
use rusqlite::Connection;
use std::time::Duration;
use tempfile::TempDir;

fn fixture(dir: &TempDir) -> PathBuf {
    let path = dir.path().join("v1.db");
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/record-1.db");
    std::fs::copy(kept, &path).expect("copies");
    path
}

pub(super) fn dir() -> TempDir {
    tempfile::tempdir().expect("temp dir")
}

pub(super) fn session(at: i64, boot_id: &str) -> Entry {
    Entry::Began(Session {
        at: Moment(at),
        boot_id: boot_id.into(),
        boot: Micros(at + 77),
        wall: WallTime(1_700_000_000_000_000 + at),
        synced: Some(true),
    })
}

pub(super) fn answer(at: i64) -> Entry {
    let asked = Moment(at);
    Entry::Seen(Observation {
        asked,
        known: asked + Micros(15_000 + at % 977),
        question: Question::Reference,
        target: "reference-a".into(),
        outcome: Outcome::Answered,
        rtt: Some(Rtt { took: Micros(15_000 + at % 977), kernel: false }),
        detail: Detail::Name(NameAnswer { answers: 3, ..NameAnswer::default() }),
    })
}

/// A day of answers, one each ten seconds, from one start.
pub(super) fn day() -> Vec<Entry> {
    std::iter::once(session(0, "b")).chain((0..8_640).map(|n| answer(n * 10_000_000 + n % 700))).collect()
}

fn write(path: &Path, all: &[Entry]) {
    let mut w = Writer::resume(hold(path).expect("holds"), "{\"site\":1}").expect("resumes");
    assert!(all.iter().all(|e| w.keep(e.clone())));
    w.finish().expect("finishes");
}

/// Made by version 1 of the record on the practice site; the figures beside were read out of it with the `sqlite3`
/// shell before there was a version 2.
#[test]
fn a_record_of_version_1_reads_untouched_and_is_brought_up_whole() {
    let dir = dir();
    let path = fixture(&dir);
    let before = std::fs::read(&path).expect("reads");
    let (old, passed_over) = read_all(&path);
    assert_eq!((old.len(), passed_over), (124, 0));
    assert_eq!(std::fs::read(&path).expect("reads"), before, "reading touches nothing");
    let of = |q: Question| old.iter().filter(|e| matches!(e, Entry::Seen(o) if o.question == q)).count();
    assert_eq!([Question::Carrier, Question::Reference, Question::Connect, Question::Name].map(of), [25, 36, 12, 10]);
    let Entry::Seen(o) = &old[8] else { panic!("{:?}", old[8]) };
    assert_eq!((o.known.0, (o.known - o.asked).0, o.rtt.map(|r| r.took.0)), (206_374, 200_980, Some(103)));

    let about = read(&path).expect("opens").about().to_owned();
    let held = hold(&path).expect("is brought up");
    assert_eq!((held.about(), held.mended()), (Some(&*about), None));
    let mut w = Writer::resume(held, &about).expect("resumes");
    assert!(w.keep(session(30_000_000, "b")));
    w.finish().expect("finishes");
    let (new, passed_over) = read_all(&path);
    assert_eq!((new.len(), passed_over), (125, 0));
    assert_eq!(new[..124], old);
    let version: u32 =
        Connection::open(&path).and_then(|c| c.pragma_query_value(None, "user_version", |r| r.get(0))).expect("reads");
    assert_eq!(version, schema::VERSION);
}

#[test]
fn a_second_agent_a_foreign_file_and_a_newer_record_are_refused_and_not_touched() {
    let dir = dir();
    let path = |n: &str| dir.path().join(n);
    write(&path("ours"), &entries());
    let held = hold(&path("ours")).expect("holds");
    assert!(matches!(hold(&path("ours")), Err(RecordError::Busy(_))));
    assert!(matches!(forget_all(&path("ours")), Err(RecordError::Busy(_))));
    drop(held);
    drop(hold(&path("ours")).expect("free again"));
    std::fs::write(path("text"), "not a database at all, only some words that are long enough").expect("writes");
    Connection::open(path("other"))
        .and_then(|c| c.execute_batch("CREATE TABLE t (x); INSERT INTO t VALUES (1)"))
        .expect("makes");
    write(&path("newer"), &[]);
    Connection::open(path("newer")).and_then(|c| c.pragma_update(None, "user_version", 99)).expect("raises");
    std::fs::create_dir(path("folder")).expect("makes");
    for (name, want) in [("text", "no pathproof record"), ("other", "no pathproof record"), ("newer", "newer version")]
    {
        let before = std::fs::read(path(name)).expect("reads");
        for said in [hold(&path(name)).map(drop), forget_all(&path(name)).map(drop)] {
            let said = said.expect_err("refused").to_string();
            assert!(said.contains(want) && said.contains("nothing was touched"), "{name}: {said}");
        }
        assert_eq!(std::fs::read(path(name)).expect("still there"), before, "{name} was touched");
        assert!(!beside(&path(name), "-wal").exists() && !beside(&path(name), "-journal").exists());
    }
    assert!(matches!(hold(&path("folder")), Err(RecordError::Foreign { .. })));
}

#[test]
fn a_damaged_record_is_saved_as_far_as_it_reads_and_kept_beside() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let all = day();
    write(&path, &all);
    let mut bytes = std::fs::read(&path).expect("reads");
    // A card that lost a few sectors in the middle.
    let middle = bytes.len() / 2 / 1_024 * 1_024;
    bytes[middle..middle + 4_096].fill(0xa5);
    std::fs::write(&path, &bytes).expect("spoils");
    let held = hold(&path).expect("mends");
    let words = held.mended().expect("says so").to_owned();
    assert!(words.contains("damaged") && words.contains("r.db.damaged-1"), "{words}");
    drop(held);
    assert_eq!(std::fs::read(beside(&path, ".damaged-1")).expect("kept"), bytes);
    let (got, _) = read_all(&path);
    assert!(got.len() > all.len() / 2 && got.len() < all.len(), "{} of {}: {words}", got.len(), all.len());
    assert!(words.contains(&format!("{} entries were saved", got.len())), "{} of {}: {words}", got.len(), all.len());
    // What was saved is what was, in order.
    let mut rest = all.iter();
    assert!(got.iter().all(|e| rest.any(|a| a == e)));
    // And it goes on.
    write(&path, &[session(90_000_000_000, "c")]);
    assert_eq!(read_all(&path).0.len(), got.len() + 1);
    // A file of which nothing reads any more is kept as well.
    let mut spoilt = bytes;
    spoilt[100..].fill(0x5a);
    std::fs::write(&path, &spoilt).expect("spoils");
    let held = hold(&path).expect("starts anew");
    assert!(held.mended().is_some_and(|w| w.contains("damaged-2")) && held.about().is_none());
    drop(held);
    assert!(read(&path).expect_err("nobody has said what it is").to_string().contains("says nothing of itself"));
    write(&path, &all[..10]);
    assert_eq!(read_all(&path).0, all[..10]);
}

#[test]
fn a_chunk_whose_sum_is_wrong_is_passed_over_and_counted() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let all = day();
    write(&path, &all);
    let db = Connection::open(&path).expect("opens");
    let (id, lost): (i64, u64) = db
        .query_row("SELECT id, entries FROM chunk ORDER BY id LIMIT 1 OFFSET 3", [], |r| {
            Ok((r.get(0)?, r.get::<_, u32>(1)?.into()))
        })
        .expect("has chunks");
    db.execute("UPDATE chunk SET bytes = zeroblob(length(bytes)) WHERE id = ?1", [id]).expect("spoils");
    drop(db);
    let (got, passed_over) = read_all(&path);
    assert_eq!((got.len() as u64 + lost, passed_over), (all.len() as u64, lost));
    assert!(lost > 100);
}

/// A file that can't be opened stands for a disk that can't be written; `tests/record` fills a real one.
#[test]
fn what_can_not_be_written_waits_and_is_written_when_it_can() {
    let dir = dir();
    let path = dir.path().join("not/yet/r.db");
    let why = hold(&path).expect_err("no folder");
    let mut w = Writer::waiting(&path, "{}", &why).expect("waits");
    let all = day();
    assert!(all[..5_000].iter().all(|e| w.keep(e.clone())));
    assert!(!w.commit().recv().expect("answers"), "there is no folder");
    let status = w.status();
    assert_eq!((status.waiting, status.lost), (5_000, 0));
    assert!(matches!(&status.keeping, Keeping::Waiting { why } if why.contains("No such file")), "{status:?}");
    std::fs::create_dir_all(path.parent().expect("has one")).expect("makes");
    assert!(all[5_000..6_000].iter().all(|e| w.keep(e.clone())));
    assert!(w.commit().recv().expect("answers"));
    let status = w.status();
    assert_eq!((status.keeping, status.waiting, status.lost), (Keeping::Writing, 0, 0));
    assert_eq!(read_all(&path), (all[..6_000].to_vec(), 0));
    assert!(all[6_000..].iter().all(|e| w.keep(e.clone())));
    w.finish().expect("finishes");
    assert_eq!(read_all(&path), (all, 0));
}

#[test]
fn what_waits_is_bounded_and_what_is_given_up_is_counted() {
    let dir = dir();
    let path = dir.path().join("none/r.db");
    let why = hold(&path).expect_err("no folder");
    let mut w = Writer::waiting(&path, "{}", &why).expect("waits");
    // Details that never repeat are the dearest: some 9 MB of them.
    let long = "x".repeat(900);
    let mut kept = 0;
    for n in 0..10_000i64 {
        let Entry::Seen(mut o) = answer(n * 1_000_000) else { unreachable!() };
        o.detail = Detail::Why(format!("{n} {long}"));
        while !w.keep(Entry::Seen(o.clone())) {
            std::thread::sleep(Duration::from_millis(1));
        }
        kept += 1;
        if n % 1_000 == 0 {
            let _ = w.commit().recv();
        }
    }
    let _ = w.commit().recv();
    let status = w.status();
    assert!(status.waiting * 900 <= 4 << 20 && status.waiting > 3_000, "{status:?}");
    assert!(status.waiting + status.lost >= kept, "{status:?}");
    std::fs::create_dir_all(path.parent().expect("has one")).expect("makes");
    assert!(w.commit().recv().expect("answers"));
    w.finish().expect("finishes");
    let (got, passed_over) = read_all(&path);
    assert_eq!((got.len() as u64, passed_over), (status.waiting, 0));
    assert!(matches!(&got[got.len() - 1], Entry::Seen(o) if o.asked == Moment(9_999_000_000)), "the newest are kept");
}

#[test]
fn what_is_forgotten_is_gone_and_the_rest_keeps_its_times() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let mut all = day();
    let secret = Detail::Why("a word that must go".into());
    let Entry::Seen(o) = &mut all[20] else { unreachable!() };
    o.detail = secret;
    write(&path, &all);
    let size = std::fs::metadata(&path).expect("there").len();
    let holds = |words: &str| std::fs::read(&path).expect("reads").windows(words.len()).any(|w| w == words.as_bytes());
    assert!(holds("a word that must go"));
    let noon = Moment(43_205_000_000);
    let done = forget(&path, noon, Moment(i64::MAX)).expect("forgets");
    assert_eq!(done.gone + done.left, 8_641);
    assert!(!holds("a word that must go") && !beside(&path, "-wal").exists());
    assert!(std::fs::metadata(&path).expect("there").len() < size * 2 / 3);
    let (got, passed_over) = read_all(&path);
    let want: Vec<Entry> = all.iter().filter(|e| e.known() >= noon).cloned().collect();
    assert_eq!((&got[1..], passed_over), (&want[..], 0));
    // The start has moved to the edge, with all its clocks.
    let (Entry::Began(s), Entry::Began(first)) = (&got[0], &all[0]) else { panic!("{:?}", got[0]) };
    let by = s.at - first.at;
    assert_eq!((s.at, s.boot, s.wall.0), (want[0].known(), first.boot + by, first.wall.0 + by.0));

    let evening = Moment(80_000_000_000);
    forget(&path, Moment(i64::MIN), evening).expect("forgets");
    let (got, _) = read_all(&path);
    assert_eq!(got.len(), 1 + want.iter().filter(|e| e.known() < evening).count());
    let gone = forget_all(&path).expect("forgets");
    assert_eq!((gone.first(), path.exists()), (Some(&path), false));
    assert_eq!(std::fs::read_dir(dir.path()).expect("lists").count(), 0);
    assert!(matches!(forget_all(&path), Err(RecordError::NoFile { .. })));
}

#[test]
fn old_history_rolls_up_and_what_comes_after_is_not_touched() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let all = day();
    write(&path, &all);
    let size = |p: &Path| -> i64 {
        Connection::open(p)
            .and_then(|c| c.query_row("SELECT sum(length(bytes)) FROM chunk", [], |r| r.get(0)))
            .expect("sums")
    };
    let before = size(&path);
    let noon = Moment(43_200_000_000);
    let mut held = hold(&path).expect("holds");
    assert!(held.roll_up(noon).expect("rolls up") > 0);
    assert_eq!(held.roll_up(noon).expect("nothing left"), 0);
    drop(held);
    let (got, passed_over) = read_all(&path);
    assert_eq!((got.len(), passed_over), (all.len(), 0));
    assert!(got.iter().zip(&all).all(|(a, b)| (a.known() - b.known()).0.abs() < 10_000));
    let late = |all: &[Entry]| all.iter().filter(|e| e.known() > noon).cloned().collect::<Vec<_>>();
    assert_eq!(late(&got), late(&all));
    assert!(size(&path) * 10 < before * 8, "{} of {before}", size(&path));
}

#[test]
fn a_span_reads_what_is_in_it() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let all = day();
    write(&path, &all);
    let (from, to) = (Moment(30_000_000_000), Moment(30_600_000_000));
    let mut got = Vec::new();
    let record = read(&path).expect("opens");
    record.replay_span(from..=to, |e| got.push(e.clone())).expect("reads");
    assert_eq!(got, all.iter().filter(|e| (from..=to).contains(&e.known())).cloned().collect::<Vec<_>>());
    assert_eq!(got.len(), 60);
}

#[test]
fn what_it_says_of_itself_can_change_and_the_old_words_stay() {
    let dir = dir();
    let path = dir.path().join("r.db");
    write(&path, &[session(0, "a")]);
    let w = Writer::resume(hold(&path).expect("holds"), "{\"site\":2}").expect("resumes");
    assert!(w.describe("{\"site\":3}"));
    w.finish().expect("finishes");
    assert_eq!(read(&path).expect("opens").about(), "{\"site\":3}");
    let db = Connection::open(&path).expect("opens");
    let all: Vec<String> = db
        .prepare("SELECT value FROM about ORDER BY name")
        .and_then(|mut q| q.query_map([], |r| r.get(0))?.collect())
        .expect("reads");
    assert_eq!(all, ["{\"site\":1}", "{\"site\":2}", "{\"site\":3}"]);
}

#[test]
fn starts_and_steps_are_found_among_many_answers() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let mut all = day();
    let step = Entry::Stepped { at: all[4_000].known(), wall: WallTime(9) };
    all.insert(4_001, step.clone());
    write(&path, &all);
    write(&path, &[session(90_000_000_000, "c")]);
    let marks = |path: &Path| {
        let mut got = Vec::new();
        read(path).expect("opens").marks(|e| got.push(e.clone())).expect("reads");
        got
    };
    assert_eq!(marks(&path), [session(0, "b"), step.clone(), session(90_000_000_000, "c")]);
    hold(&path).expect("holds").roll_up(Moment(i64::MAX)).expect("rolls up");
    assert_eq!(marks(&path), [session(0, "b"), step, session(90_000_000_000, "c")]);
    assert_eq!(marks(&fixture(&dir)).len(), 2);
}

#[test]
fn a_clean_end_leaves_one_file() {
    let dir = dir();
    let path = dir.path().join("r.db");
    write(&path, &[session(0, "a"), Entry::Ended { at: Moment(5), how: Ending::Interrupted }]);
    assert_eq!(std::fs::read_dir(dir.path()).expect("lists").count(), 1);
}
