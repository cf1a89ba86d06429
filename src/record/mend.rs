//! A damaged record: found by `SQLite`'s own check, saved chunk by chunk into a new file.
//!
//! Decides what counts as damage. What can't be read is lost and said to be; the damaged file is kept beside, because a
//! better tool may get more out of it. What is missing afterwards is blind, as any time nobody watched.

use super::file::{Store, fresh, make};
use super::{RecordError, beside, bytes, schema};
use rusqlite::{Connection, ErrorCode, OpenFlags, OptionalExtension as _, params};
use std::fs::File;
use std::path::{Path, PathBuf};

/// Most damaged files kept beside a record; beyond, the record is left as it is for somebody to look at.
const MOST_KEPT: u32 = 20;
/// Most chunks looked for, a spoilt number must not send us through all there are: over a hundred years of them.
const MOST_CHUNKS: i64 = 1_000_000;
/// Numbers in a row without a chunk after which no more is looked for: rolling up leaves gaps of some dozens.
const MOST_MISSING: i64 = 10_000;

/// `None` where the file is whole, else what is wrong with it.
pub(super) fn whole(db: &Connection) -> rusqlite::Result<Option<String>> {
    let said: String = db.query_row("PRAGMA quick_check(1)", [], |r| r.get(0))?;
    Ok((said != "ok").then_some(said))
}

/// Whether an error says that the file itself is spoilt, not the disk or the rights.
pub(super) fn is_damage(e: &rusqlite::Error) -> bool {
    matches!(e.sqlite_error_code(), Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase))
}

/// Moves the damaged file aside and saves into a new one what can be read. Gives the new store and what was done.
pub(super) fn salvage(path: &Path, lock: File, why: &str) -> Result<(Store, String), RecordError> {
    let aside = aside(path).ok_or_else(|| RecordError::Damaged { path: path.to_owned(), why: why.to_owned() })?;
    let moved = |why| RecordError::NotMade { path: aside.clone(), why };
    std::fs::rename(path, &aside).map_err(moved)?;
    for end in ["-wal", "-shm"] {
        match std::fs::rename(beside(path, end), beside(&aside, end)) {
            Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(moved(e)),
            _ => {}
        }
    }
    drop(lock);
    let store = fresh(path, make(path)?, None)?;
    let (saved, lost) = match Connection::open_with_flags(&aside, OpenFlags::SQLITE_OPEN_READ_WRITE) {
        Ok(old) => copy(&old, &store.db)?,
        Err(_) => (0, None),
    };
    let lost = match lost {
        Some(n) => format!("{n} more could not"),
        None => "how many could not can't be told".into(),
    };
    let words = format!(
        "the record was damaged ({why}): {saved} entries were saved, {lost}; the damaged file is kept as {}",
        aside.display()
    );
    Ok((store, words))
}

fn aside(path: &Path) -> Option<PathBuf> {
    (1..=MOST_KEPT).map(|n| beside(path, &format!(".damaged-{n}"))).find(|p| !p.exists())
}

/// Copies what reads, row by row; gives the entries saved and lost, the latter where it can be told.
fn copy(old: &Connection, new: &Connection) -> rusqlite::Result<(u64, Option<u64>)> {
    let tx = new.unchecked_transaction()?;
    let about = |name: &str| {
        old.query_row("SELECT value FROM about WHERE name = ?1", [name], |r| r.get::<_, String>(0)).optional()
    };
    if let Ok(Some(value)) = about("survey") {
        tx.execute("INSERT INTO about (name, value) VALUES ('survey', ?1)", [value])?;
    }
    let (mut saved, mut lost) = (0u64, Some(0u64));
    let end = |which: &str| {
        old.query_row(&format!("SELECT {which}(id) FROM chunk"), [], |r| r.get::<_, Option<i64>>(0)).ok().flatten()
    };
    let version: u32 = old.pragma_query_value(None, "user_version", |r| r.get(0)).unwrap_or(schema::VERSION);
    if version >= 2 {
        let (first, most) = (end("min").unwrap_or(1).min(1), end("max"));
        let mut missing = 0;
        let mut id = first;
        // Where the end can't be read either, it is looked for until nothing more comes.
        while most.map_or(missing < MOST_MISSING, |m| id <= m) && id - first < MOST_CHUNKS {
            missing += 1;
            match chunk(old, id) {
                Ok(Some((kind, piece))) => {
                    schema::add_chunk(&tx, kind, &piece)?;
                    saved += u64::from(piece.entries);
                    missing = 0;
                }
                Ok(None) => {}
                Err(entries) => lost = lost.zip(entries).map(|(a, b)| a + b),
            }
            id += 1;
        }
        if most.is_none() && saved == 0 {
            lost = None;
        }
    } else {
        lost = None;
    }
    // The pieces hang together: up to the first that does not read.
    if let Ok(tail) = schema::tail(old) {
        saved += u64::from(tail.entries);
        schema::add_chunk(&tx, schema::EXACT, &tail)?;
    } else {
        lost = None;
    }
    if old.query_row("SELECT count(*) FROM pragma_table_info('entry')", [], |r| r.get::<_, i64>(0)).unwrap_or(0) > 0 {
        saved += rows(old, &tx)?;
    }
    tx.commit()?;
    Ok((saved, lost))
}

type Row = Option<(i64, super::codec::Piece)>;

/// One chunk; an error gives the entries in it where even that can be read.
fn chunk(old: &Connection, id: i64) -> Result<Row, Option<u64>> {
    let read = old
        .query_row(
            "SELECT kind, entries, marks, from_us, to_us, bytes, sum FROM chunk WHERE id = ?1",
            params![id],
            |r| {
                let reach = Some((r.get(3)?, r.get(4)?));
                let piece = super::codec::Piece { bytes: r.get(5)?, entries: r.get(1)?, marks: r.get(2)?, reach };
                Ok((r.get::<_, i64>(0)?, piece, r.get::<_, u32>(6)?))
            },
        )
        .optional();
    let entries = || old.query_row("SELECT entries FROM chunk WHERE id = ?1", params![id], |r| r.get::<_, u32>(0)).ok();
    match read {
        Ok(None) => Ok(None),
        Ok(Some((kind, piece, sum))) if bytes::check_sum(&piece.bytes) == sum => Ok(Some((kind, piece))),
        Ok(Some((_, piece, _))) => Err(Some(u64::from(piece.entries))),
        Err(_) => Err(entries().map(u64::from)),
    }
}

/// Version 1: as many rows as can be read, up to the first that can't.
fn rows(old: &Connection, new: &Connection) -> rusqlite::Result<u64> {
    let (mut encoder, mut chunk, mut failed) =
        (super::encode::Encoder::default(), super::codec::Piece::default(), None);
    let mut saved = 0;
    let read = super::rows::each(old, |entry| {
        if schema::is_full(chunk.bytes.len(), chunk.reach, entry) {
            failed = failed.take().or(schema::add_chunk(new, schema::EXACT, &chunk).err());
            (encoder, chunk) = Default::default();
        }
        encoder.push(entry);
        chunk.append(encoder.take());
        saved += 1;
    });
    // What was read before the damage counts.
    drop(read);
    if let Some(e) = failed {
        return Err(e);
    }
    schema::add_chunk(new, schema::EXACT, &chunk)?;
    Ok(saved)
}
