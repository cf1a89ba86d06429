//! Checkpoints: what is judged on from one is what is judged from the beginning, and one that does not fit is not believed.

use super::checkpoint::{Fed, Seal};
use super::held_tests::{answer, day, dir, session};
use super::*;
use crate::judge::kit::{settings, written};
use crate::judge::{Judge, Moment, Settings};
use rusqlite::Connection;

fn seal() -> Seal {
    Seal::new(b"this machine")
}

/// A judge by plain settings.
fn by() -> Settings {
    settings(10)
}

/// Writes these entries down, with a checkpoint before each place.
fn write(path: &Path, all: &[Entry], places: &[usize]) -> Judge {
    let held = hold(path).expect("holds");
    let Fed { mut judge, passed_over, .. } = held.judge(by(), Some(&seal()), || {}).expect("reads");
    let mut w = Writer::resume(held, "{}").expect("resumes").sealing(Some(seal()), passed_over);
    for (n, e) in all.iter().enumerate() {
        if places.contains(&n) {
            w.checkpoint(&judge);
        }
        judge.take(e);
        assert!(w.keep(e.clone()));
    }
    if places.contains(&all.len()) {
        w.checkpoint(&judge);
    }
    w.finish().expect("finishes");
    judge
}

/// The judge of a record, and how many entries a checkpoint stood for.
fn fed(path: &Path, by: Settings, seal: Option<&Seal>) -> (Vec<u8>, u64) {
    let fed = read(path).expect("opens").judge(by, seal, || {}).expect("reads");
    (written(&fed.judge), fed.spared)
}

/// As one that knows no checkpoint judges it.
fn plainly(path: &Path, by: Settings) -> Vec<u8> {
    let mut judge = Judge::new(by);
    read(path).expect("opens").replay(|e| judge.take(e)).expect("reads");
    written(&judge)
}

#[test]
fn a_record_judged_from_a_checkpoint_is_the_record_judged() {
    let dir = dir();
    let all = day();
    for (n, places) in
        [vec![], vec![0], vec![1], vec![5_000], vec![10, 4_000, 8_000], vec![all.len()]].iter().enumerate()
    {
        let path = dir.path().join(format!("{n}.db"));
        let live = write(&path, &all, places);
        let (judge, spared) = fed(&path, by(), Some(&seal()));
        assert_eq!(spared, places.last().copied().unwrap_or(0) as u64);
        assert!(judge == written(&live) && judge == plainly(&path, by()), "{places:?}");
        // It is gone on with by another agent, which goes on from there as well.
        let more = [session(90_000_000_000, "b"), answer(90_000_100_000), answer(90_000_200_000)];
        let live = write(&path, &more, &[2]);
        let (judge, spared) = fed(&path, by(), Some(&seal()));
        assert_eq!(spared, all.len() as u64 + 2);
        assert!(judge == written(&live) && judge == plainly(&path, by()), "{places:?}, gone on with");
    }
}

#[test]
fn only_the_machine_that_wrote_it_believes_it_and_only_for_the_same_settings() {
    let dir = dir();
    let path = dir.path().join("r.db");
    write(&path, &day(), &[5_000]);
    assert_eq!(fed(&path, by(), Some(&seal())).1, 5_000);
    assert_eq!(fed(&path, by(), Some(&Seal::new(b"another machine"))).1, 0);
    assert_eq!(fed(&path, by(), None).1, 0);
    let slower = settings(60);
    let (judge, spared) = fed(&path, slower.clone(), Some(&seal()));
    assert!(spared == 0 && judge == plainly(&path, slower));
    // What is only looked at has no say in what was folded.
    let scope = Settings { out_of_scope: vec!["fire".into()], ..by() };
    assert_eq!(fed(&path, scope, Some(&seal())).1, 5_000);
    // A copy is for somebody else.
    let copied = dir.path().join("copy.db");
    copy(&path, &copied, |said| Ok(said.to_owned())).expect("copies");
    let (judge, spared) = fed(&copied, by(), Some(&seal()));
    assert!(spared == 0 && judge == plainly(&path, by()));
}

/// Every byte of a checkpoint, and every number beside it, changed: it is passed over, and the record judged all the same.
#[test]
fn a_spoilt_checkpoint_is_not_believed() {
    let dir = dir();
    let path = dir.path().join("r.db");
    write(&path, &day()[..500], &[400]);
    let whole = plainly(&path, by());
    let spoils = [
        "UPDATE checkpoint SET chunk = chunk + 1",
        "UPDATE checkpoint SET sum = sum + 1",
        "UPDATE checkpoint SET entries = entries - 1",
        "UPDATE checkpoint SET passed_over = 7",
        "UPDATE checkpoint SET mark = x'00'",
        "UPDATE checkpoint SET mark = zeroblob(32)",
        "UPDATE checkpoint SET bytes = x''",
        "UPDATE checkpoint SET bytes = zeroblob(40000000)",
        "INSERT INTO checkpoint SELECT chunk, sum, entries, passed_over, mark, x'00' FROM checkpoint; DELETE FROM checkpoint WHERE rowid = 1",
        "UPDATE checkpoint SET bytes = substr(bytes, 1, length(bytes) - 1)",
        "UPDATE checkpoint SET bytes = CAST(x'00' || bytes AS BLOB)",
        "UPDATE chunk SET sum = sum + 1 WHERE id = (SELECT chunk FROM checkpoint)",
        "DELETE FROM chunk WHERE id = (SELECT chunk FROM checkpoint)",
        "DROP TABLE checkpoint",
    ];
    for spoil in spoils {
        let damaged = dir.path().join("spoilt.db");
        std::fs::copy(&path, &damaged).expect("copies");
        assert_eq!(fed(&damaged, by(), Some(&seal())).1, 400, "{spoil}");
        Connection::open(&damaged).and_then(|c| c.execute_batch(spoil)).expect(spoil);
        let (judge, spared) = fed(&damaged, by(), Some(&seal()));
        assert_eq!(spared, 0, "{spoil}");
        assert!(judge == plainly(&damaged, by()), "{spoil}");
        let of_the_chunk = ["UPDATE chunk ", "DELETE FROM chunk "].iter().any(|s| spoil.starts_with(s));
        assert_eq!(judge == whole, !of_the_chunk, "{spoil}");
    }
    // One without the table is written to all the same.
    let bare = dir.path().join("spoilt.db");
    let (before, _) = super::tests::read_all(&bare);
    write(&bare, &[session(90_000_000_000, "b")], &[1]);
    assert_eq!(super::tests::read_all(&bare).0.len(), before.len() + 1);
}

#[test]
fn what_is_forgotten_does_not_stand_in_a_checkpoint_and_what_is_rolled_up_is_judged_the_same() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let all = day();
    write(&path, &all, &[all.len()]);
    let whole = plainly(&path, by());
    let mut held = hold(&path).expect("holds");
    assert!(held.roll_up(Moment(40_000_000_000)).expect("rolls up") > 0);
    drop(held);
    // What it ends with still stands as it was.
    let (judge, spared) = fed(&path, by(), Some(&seal()));
    assert!(spared == all.len() as u64 && judge == whole);
    forget(&path, Moment(20_000_000_000), Moment(i64::MAX)).expect("forgets");
    let (judge, spared) = fed(&path, by(), Some(&seal()));
    assert!(spared == 0 && judge != whole && judge == plainly(&path, by()));
    let left: i64 = Connection::open(&path)
        .and_then(|c| c.query_row("SELECT count(*) FROM checkpoint", [], |r| r.get(0)))
        .expect("asks");
    assert_eq!(left, 0);
}

/// A writer that could not keep all that its judge was fed with writes nothing down.
#[test]
fn a_judge_that_knows_more_than_the_record_is_not_written_down() {
    let dir = dir();
    let path = dir.path().join("r.db");
    let judge = write(&path, &day()[..500], &[]);
    let why = RecordError::NotPermitted(path.clone());
    let mut w = Writer::waiting(&path, "{}", &why).expect("waits").sealing(Some(seal()), 0);
    assert!(w.keep(session(90_000_000_000, "b")));
    let mut more = judge.clone();
    more.take(&session(90_000_000_000, "b"));
    w.checkpoint(&more);
    assert!(w.commit().recv().expect("told"), "it can be written by now");
    w.checkpoint(&more);
    w.finish().expect("finishes");
    assert_eq!(fed(&path, by(), Some(&seal())).1, 0);
}
