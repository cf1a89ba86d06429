//! The record as its users meet it: whole, killed, foreign, newer, damaged.

use super::*;
use crate::judge::drill::{Act, CutShort, Drill, DrillEnd, Step};
use crate::judge::{
    Detail, Ending, Entry, Micros, Moment, NotAsked, Observation, Outcome, Question, Rtt, Session, Unreachable,
    WallTime,
};
use rusqlite::Connection;

fn seen(at: i64, question: Question, outcome: Outcome) -> Entry {
    Entry::Seen(Observation {
        asked: Moment(at),
        known: Moment(at + 700),
        question,
        target: format!("target {}", at % 3).into(),
        outcome,
        rtt: (outcome == Outcome::Answered).then_some(Rtt { took: Micros(700), kernel: at % 2 == 0 }),
        detail: if at % 5 == 0 { Detail::Why("words; 'quoted' \u{202e}".into()) } else { Detail::None },
    })
}

pub(super) const QUESTIONS: [Question; 25] = [
    Question::Carrier,
    Question::OwnAddress,
    Question::Lease,
    Question::Offers,
    Question::Conflict,
    Question::GatewayArp,
    Question::GatewayNeighbour,
    Question::GatewayEcho,
    Question::Name,
    Question::ControlName,
    Question::Reference,
    Question::Connect,
    Question::Handshake,
    Question::Mains,
    Question::RouterLife,
    Question::Neighbours,
    Question::Radio,
    Question::Communicator,
    Question::Translation,
    Question::SeenFrom,
    Question::Portal,
    Question::SecondHop,
    Question::ClockOffset,
    Question::PathMtu,
    Question::IdleTimeout,
];

pub(super) fn outcomes() -> Vec<Outcome> {
    let unreachable =
        [Unreachable::Net, Unreachable::Host, Unreachable::Port, Unreachable::Prohibited, Unreachable::Other];
    let not_asked = [
        NotAsked::NoInterface,
        NotAsked::NoAddress,
        NotAsked::NoRoute,
        NotAsked::Unresolved,
        NotAsked::NoTarget,
        NotAsked::Unsupported,
        NotAsked::Local,
    ];
    [Outcome::Answered, Outcome::Timeout, Outcome::Refused, Outcome::Reset, Outcome::Malformed, Outcome::NotPermitted]
        .into_iter()
        .chain(unreachable.map(Outcome::Unreachable))
        .chain(not_asked.map(Outcome::NotAsked))
        .collect()
}

pub(super) fn entries() -> Vec<Entry> {
    let session = Session { at: Moment(0), boot_id: "b".into(), boot: Micros(5), wall: WallTime(9), synced: None };
    let mut all = vec![Entry::Began(session)];
    let outcomes = outcomes();
    let pairs = QUESTIONS.iter().flat_map(|q| outcomes.iter().map(move |o| (*q, *o)));
    all.extend(pairs.zip(1..).map(|((q, o), at)| seen(at, q, o)));
    all.push(Entry::Stepped { at: Moment(1_000), wall: WallTime(77) });
    all.push(Entry::Alive { at: Moment(1_001) });
    let drills = [Drill::MainsOff, Drill::RouterRestart, Drill::CablePull, Drill::ReceiverPath];
    let ends = [
        CutShort::Stopped,
        CutShort::NobodyThere,
        CutShort::PathNotUp,
        CutShort::NeverWentDown,
        CutShort::NotBack,
        CutShort::AgentCutOff,
    ];
    let steps = drills
        .iter()
        .map(|d| Step::Began { drill: *d, needed: (*d == Drill::MainsOff).then_some(Micros(7)) })
        .chain([Act::Off, Act::On].map(Step::Acted))
        .chain(ends.map(|why| Step::Ended(DrillEnd::CutShort(why))))
        .chain([Step::Ended(DrillEnd::Complete)]);
    all.extend(steps.map(|step| Entry::Drill { at: Moment(1_001), step }));
    all.push(Entry::Ended { at: Moment(1_002), how: Ending::Interrupted });
    all
}

fn beside(path: &std::path::Path, end: &str) -> std::path::PathBuf {
    format!("{}{end}", path.display()).into()
}

/// An empty record as version 1 made it.
fn version_1(path: &std::path::Path) -> rusqlite::Result<Connection> {
    let mut db = Connection::open(path)?;
    schema::make_version_1(&mut db);
    db.execute("INSERT INTO about (name, value) VALUES ('survey', '{}')", [])?;
    Ok(db)
}

pub(super) fn read_all(path: &std::path::Path) -> (Vec<Entry>, u64) {
    let mut out = Vec::new();
    let passed_over = read(path).expect("opens").replay(|e| out.push(e.clone())).expect("reads");
    (out, passed_over)
}

#[test]
fn every_kind_of_entry_reads_back_as_it_was_written() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r ?%#.db");
    let mut w = Writer::create(&path, "{\"a\":1}").expect("creates");
    assert!(entries().into_iter().all(|e| w.keep(e)));
    w.finish().expect("finishes");
    assert_eq!(read(&path).expect("opens").about(), "{\"a\":1}");
    assert_eq!(read_all(&path), (entries(), 0));
    assert!(!dir.path().join("r ?%#.db-wal").metadata().is_ok_and(|m| m.len() > 0), "one file can be copied away");
}

#[test]
fn a_record_still_being_written_or_never_closed_reads_up_to_the_last_commit() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    let mut w = Writer::create(&path, "{}").expect("creates");
    for e in entries() {
        assert!(w.keep(e));
    }
    // The commit interval is a second; a busy machine may take longer. Nothing is closed.
    for _ in 0..200 {
        std::thread::sleep(std::time::Duration::from_millis(100));
        if read_all(&path).0.len() == entries().len() {
            break;
        }
    }
    assert_eq!(read_all(&path).0, entries());
    // A copy of the file and its log is what a killed process leaves.
    let copy = dir.path().join("copy.db");
    std::fs::copy(&path, &copy).expect("copies");
    std::fs::copy(dir.path().join("r.db-wal"), dir.path().join("copy.db-wal")).expect("copies");
    assert_eq!(read_all(&copy).0, entries());
    std::mem::forget(w);
}

#[test]
fn a_record_is_gone_on_with_where_it_ends_by_one_writer_at_a_time() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    let w = Writer::create(&path, "{\"a\":1}").expect("creates");
    assert!(matches!(hold(&path), Err(RecordError::Busy(_))));
    w.finish().expect("finishes");
    let mut both = Vec::new();
    for _ in 0..2 {
        let held = hold(&path).expect("holds");
        let about = held.about().expect("says what it is").to_owned();
        let mut w = Writer::resume(held, &about).expect("resumes");
        assert!(matches!(hold(&path), Err(RecordError::Busy(_))));
        assert!(entries().into_iter().all(|e| w.keep(e)));
        w.finish().expect("finishes");
        both.extend(entries());
    }
    assert_eq!(read_all(&path), (both, 0));
    assert_eq!(read(&path).expect("opens").about(), "{\"a\":1}");
    let none = dir.path().join("none.db");
    std::fs::write(&none, "some other program's").expect("writes");
    assert!(matches!(hold(&none), Err(RecordError::Foreign { .. })));
    assert_eq!(std::fs::read(&none).expect("reads"), b"some other program's");
}

#[test]
fn what_is_not_ours_is_refused_with_words_and_left_as_it_was() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = |name: &str| dir.path().join(name);
    std::fs::write(path("text"), "not a database at all, only some words that are long enough").expect("writes");
    Connection::open(path("other"))
        .and_then(|c| c.execute_batch("CREATE TABLE t (x); INSERT INTO t VALUES (1)"))
        .expect("makes");
    Writer::create(&path("newer"), "{}").expect("creates").finish().expect("finishes");
    Connection::open(path("newer")).and_then(|c| c.pragma_update(None, "user_version", 99)).expect("raises");
    for (name, want) in [
        ("text", "no pathproof record"),
        ("other", "no pathproof record"),
        ("newer", "newer version"),
        ("none", "No such file"),
    ] {
        let before = std::fs::read(path(name)).ok();
        let said = read(&path(name)).expect_err("refused").to_string();
        assert!(said.contains(want), "{name}: {said}");
        assert_eq!(std::fs::read(path(name)).ok(), before, "{name} was touched");
    }
    assert!(matches!(Writer::create(&path("other"), "{}"), Err(RecordError::Exists(_))));
}

#[test]
fn rows_of_version_1_that_make_no_sense_are_passed_over_and_counted() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    version_1(&path)
        .and_then(|c| {
            c.execute_batch(
                "INSERT INTO entry (kind, known_us) VALUES (3, 1);
                 INSERT INTO entry (kind, known_us, question, outcome) VALUES (0, 5, 999, 0), (77, 6, NULL, NULL);
                 INSERT INTO entry (kind, known_us, detail) VALUES (1, 7, '{\"half\":');
                 INSERT INTO entry (kind, known_us, detail) VALUES (5, 8, '{\"acted\":\"sideways\"}'), (5, 9, NULL),
                     (5, 10, '{\"began\":{\"drill\":\"mains-off\",\"needed\":-1}}');",
            )
        })
        .expect("spoils");
    assert_eq!(read_all(&path), (vec![Entry::Alive { at: Moment(1) }], 6));
}

#[test]
fn marks_of_drills_in_version_1_are_read_and_brought_up() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    let db = version_1(&path).expect("makes");
    let marks: Vec<Entry> = entries().into_iter().filter(|e| matches!(e, Entry::Drill { .. })).collect();
    assert_eq!(marks.len(), 13);
    for mark in &marks {
        let Entry::Drill { at, step } = mark else { unreachable!("only marks") };
        let detail = serde_json::to_string(step).expect("plain data");
        db.execute("INSERT INTO entry (kind, known_us, detail) VALUES (5, ?1, ?2)", (at.0, detail)).expect("adds");
    }
    drop(db);
    let of_marks = || {
        let mut found = Vec::new();
        read(&path).expect("opens").marks(|e| found.push(e.clone())).expect("reads");
        found
    };
    assert_eq!((read_all(&path), of_marks()), ((marks.clone(), 0), marks.clone()));
    drop(hold(&path).expect("brings it up"));
    assert_eq!((read_all(&path), of_marks()), ((marks.clone(), 0), marks));
}

#[test]
fn times_beyond_all_bounds_are_passed_over() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("r.db");
    let db = version_1(&path).expect("makes");
    db.execute_batch(
        "INSERT INTO target (id, name) VALUES (1, 'station');
         INSERT INTO entry (id, kind, known_us, took_us, question, target, outcome) VALUES (1, 0, 705, 700, 60, 1, 1)",
    )
    .expect("adds");
    let kept = read_all(&path).0;
    assert_eq!(kept.len(), 1);
    let (far, nearly) = (FARTHEST.0 + 1, FARTHEST.0);
    let session =
        |at: i64, wall: i64| format!("{{\"at\":{at},\"boot_id\":\"b\",\"boot\":5,\"wall\":{wall},\"synced\":null}}");
    for (known, took) in [(far, 0), (-far, 0), (i64::MAX, 0), (i64::MIN, 0), (0, far), (0, i64::MIN), (0, -1)] {
        db.execute(
            "INSERT INTO entry (kind, known_us, took_us, question, target, outcome) \
             SELECT kind, ?1, ?2, question, target, outcome FROM entry WHERE id = 1",
            (known, took),
        )
        .expect("spoils");
    }
    for (at, wall) in [(far, 0), (0, i64::MIN), (0, far)] {
        db.execute("INSERT INTO entry (kind, known_us, detail) VALUES (1, 7, ?1)", [session(at, wall)])
            .expect("spoils");
    }
    db.execute("INSERT INTO entry (kind, known_us, detail) VALUES (2, 8, ?1)", [far.to_string()]).expect("spoils");
    db.execute("INSERT INTO entry (kind, known_us) VALUES (3, ?1)", [nearly]).expect("adds");
    drop(db);
    let want: Vec<Entry> = kept.into_iter().chain([Entry::Alive { at: Moment(nearly) }]).collect();
    assert_eq!(read_all(&path), (want, 11));
}

#[test]
fn a_killed_record_in_a_folder_that_may_not_be_written_reads_with_its_log() {
    use std::os::unix::fs::PermissionsExt as _;
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("live.db");
    let mut w = Writer::create(&path, "{}").expect("creates");
    assert!(entries().into_iter().all(|e| w.keep(e)));
    std::thread::sleep(std::time::Duration::from_millis(1_400));
    let shut = dir.path().join("shut");
    std::fs::create_dir(&shut).expect("makes");
    for end in ["", "-wal"] {
        std::fs::copy(beside(&path, end), shut.join(format!("copy.db{end}"))).expect("copies");
    }
    for end in ["", "-wal"] {
        let of = shut.join(format!("copy.db{end}"));
        std::fs::set_permissions(of, std::fs::Permissions::from_mode(0o444)).expect("sets");
    }
    let allow = |of: &std::path::Path, mode| {
        std::fs::set_permissions(of, std::fs::Permissions::from_mode(mode)).expect("sets");
    };
    allow(dir.path(), 0o755);
    allow(&shut, 0o555);
    let copy = shut.join("copy.db");
    let got = std::thread::spawn(move || {
        // Root may write anywhere; with another user's file rights (this thread only) it may not. setfsuid(2).
        nix::unistd::setfsuid(nix::unistd::Uid::from_raw(65_534));
        assert!(std::fs::write(shut.join("try"), "").is_err(), "the folder must be shut for this test to say anything");
        let got = read_all(&copy);
        let left: Vec<_> = std::fs::read_dir(&shut).expect("lists").map(|e| e.expect("entry").file_name()).collect();
        (got, left.len(), shut)
    })
    .join()
    .expect("reads");
    allow(&got.2, 0o755);
    assert_eq!((got.0, got.1), ((entries(), 0), 2));
    std::mem::forget(w);
}
