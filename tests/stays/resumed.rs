//! A watch that is stopped leaves a checkpoint: reports and the next watch go on from there and tell the same.

use super::{Watch, all, folder, once, report};
use rusqlite::Connection;

#[test]
fn what_is_told_from_a_checkpoint_is_what_is_told_without_it() {
    let dir = folder();
    let path = dir.path().join("r.db");
    let checkpoints = |path: &std::path::Path| {
        let db = Connection::open(path).expect("opens");
        db.query_row("SELECT count(*), coalesce(sum(entries), 0) FROM checkpoint", [], |r| Ok((r.get(0)?, r.get(1)?)))
            .expect("asks")
    };
    for n in 0..3usize {
        let mut w = Watch::start(dir.path(), n, "", "r.db");
        w.says(if n == 0 { "A new record" } else { "Going on with r.db. The agent before: it was stopped" });
        let many = all(&path).len() + 40;
        w.until("more", |_| all(&path).len() > many);
        assert_eq!(w.stop(), Some(0));
        let (count, entries): (i64, i64) = checkpoints(&path);
        assert_eq!((count, entries), (1, all(&path).len() as i64), "one, of all that was seen");

        let bare = dir.path().join("bare.db");
        std::fs::copy(&path, &bare).expect("copies");
        Connection::open(&bare).and_then(|c| c.execute_batch("DELETE FROM checkpoint")).expect("deletes");
        assert_eq!(report(dir.path(), "r.db"), report(dir.path(), "bare.db"), "after {} watches", n + 1);
    }
    // Gone on with after a kill, from a checkpoint that is older than the end.
    let mut w = Watch::start(dir.path(), 3, "", "r.db");
    let many = all(&path).len() + 40;
    w.until("more", |_| all(&path).len() > many);
    w.kill();
    let bare = dir.path().join("bare.db");
    let copied = once(dir.path(), &["bundle", "r.db", "--out", "b.tar"]);
    assert!(copied.status.success(), "{copied:?}");
    let taken =
        std::process::Command::new("tar").arg("-xf").arg("b.tar").arg("record.db").current_dir(dir.path()).status();
    assert!(taken.expect("tar").success());
    std::fs::rename(dir.path().join("record.db"), &bare).expect("moves");
    assert_eq!(checkpoints(&bare), (0i64, 0i64), "a bundle holds none");
    assert!(checkpoints(&path).1 < all(&path).len() as i64);
    assert_eq!(report(dir.path(), "r.db"), report(dir.path(), "bare.db"));
}
