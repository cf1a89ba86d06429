//! Deleting on request: what was seen before or after a moment, or all of it.
//!
//! What is forgotten is gone from the file: overwritten, the file rewritten, the log emptied. Starts of the agent are
//! moved to the edge of what stays, so that what stays keeps its times.

use super::encode::Encoder;
use super::store::{Held, hold};
use super::{RecordError, beside, checkpoint, entries, file, schema};
use crate::judge::{Entry, Moment, Session};
use std::path::{Path, PathBuf};

/// What was forgotten and what is left.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Forgotten {
    /// Entries deleted.
    pub gone: u64,
    /// Entries left.
    pub left: u64,
}

/// Deletes every entry that does not satisfy `from <= known < to`. Refuses a record that is being written to.
pub fn forget(path: &Path, from: Moment, to: Moment) -> Result<Forgotten, RecordError> {
    if !path.exists() {
        return Err(RecordError::NoFile { path: path.to_owned(), why: "no such file".into() });
    }
    let Held { mut store, .. } = hold(path)?;
    let mut done = Forgotten::default();
    let tx = store.db.transaction()?;
    checkpoint::drop_all(&tx)?;
    let within = |at: Moment| from <= at && at < to;
    let inside: Vec<i64> = {
        let mut all = tx.prepare("SELECT id, entries, from_us, to_us FROM chunk ORDER BY id")?;
        let mut rows = all.query([])?;
        let mut cut = Vec::new();
        while let Some(r) = rows.next()? {
            let (id, entries, first, last): (i64, u32, i64, i64) = (r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?);
            if within(Moment(first)) && within(Moment(last)) {
                done.left += u64::from(entries);
            } else {
                cut.push(id);
            }
        }
        cut
    };
    // The start that what stays hangs on.
    let mut session: Option<Session> = None;
    let mut first_kept: Option<Moment> = None;
    if from > Moment(i64::MIN) {
        entries::replay(&tx, entries::ALL, |e| {
            if first_kept.is_some() {
                return;
            }
            match e {
                Entry::Began(s) => session = Some(s.clone()),
                Entry::Stepped { at, wall } => {
                    if let Some(s) = &mut session {
                        (s.boot, s.at, s.wall) = (s.boot + (*at - s.at), *at, *wall);
                    }
                }
                _ => {}
            }
            if within(e.known()) {
                first_kept = Some(e.known());
            }
        })?;
    }
    let moved = session.zip(first_kept).map(|(s, at)| {
        let by = at - s.at;
        Entry::Began(Session {
            at,
            boot: s.boot + by,
            wall: crate::judge::WallTime(s.wall.0.saturating_add(by.0)),
            ..s
        })
    });
    for id in inside {
        let (kind, entries, bytes): (i64, u32, Vec<u8>) =
            tx.query_row("SELECT kind, entries, bytes FROM chunk WHERE id = ?1", [id], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?))
            })?;
        let mut encoder = Encoder::default();
        let mut kept: u32 = 0;
        entries::chunk(kind, &bytes, entries.into(), &mut |e: &Entry| {
            if within(e.known()) {
                encoder.push(e);
                kept += 1;
            }
        });
        done.gone += u64::from(entries.saturating_sub(kept));
        done.left += u64::from(kept);
        schema::replace_chunk(&tx, id, schema::EXACT, &encoder.take())?;
    }
    if let Some(began) = moved {
        let mut first: Option<bool> = None;
        entries::replay(&tx, entries::ALL, |e| {
            first.get_or_insert(matches!(e, Entry::Began(_)));
        })?;
        let before: Option<i64> = tx.query_row("SELECT min(id) - 1 FROM chunk", [], |r| r.get(0))?;
        if let (Some(false), Some(before)) = (first, before) {
            let mut encoder = Encoder::default();
            encoder.push(&began);
            schema::replace_chunk(&tx, before, schema::EXACT, &encoder.take())?;
        }
    }
    tx.commit()?;
    store.db.execute_batch("VACUUM")?;
    file::fold_log(&store.db)?;
    Ok(done)
}

/// Deletes the record with its log and with what was kept of damaged ones. Refuses a record that is being written to,
/// and a file that is none. Gives the files deleted.
pub fn forget_all(path: &Path) -> Result<Vec<PathBuf>, RecordError> {
    if !path.exists() {
        return Err(RecordError::NoFile { path: path.to_owned(), why: "no such file".into() });
    }
    let held = hold(path)?;
    let failed = |why| RecordError::NotMade { path: path.to_owned(), why };
    let mut gone = Vec::new();
    let damaged = (1..=99).map(|n| beside(path, &format!(".damaged-{n}")));
    for file in std::iter::once(path.to_owned()).chain(damaged) {
        for file in [file.clone(), beside(&file, "-wal"), beside(&file, "-shm"), beside(&file, "-journal")] {
            match std::fs::remove_file(&file) {
                Ok(()) => gone.push(file),
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
                Err(e) => return Err(failed(e)),
            }
        }
    }
    drop(held);
    Ok(gone)
}
