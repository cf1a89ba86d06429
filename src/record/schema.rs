//! Tables and migrations. Version 2 keeps entries in chunks (`codec`): the pieces of the one being written in `tail`,
//! the ones before it whole. Version 1 kept an entry a row.

use super::codec::Piece;
use super::encode::Encoder;
use super::{bytes, rows};
use crate::judge::{Entry, Micros};
use rusqlite::{Connection, Transaction, TransactionBehavior, params};

/// Marks the file as ours (`PRAGMA application_id`): "pthp".
pub(super) const APPLICATION_ID: i32 = 0x7074_6870;

/// A chunk ends at this many bytes ...
const CHUNK_BYTES: usize = 48 << 10;
/// ... or when it spans this long. Choice: names are said anew in each, and a damaged one loses no more than this.
const CHUNK_SPAN: Micros = Micros::from_secs(3_600);

/// Kinds of chunk: every entry as it was ...
pub(super) const EXACT: i64 = 0;
/// ... or rolled up (`roll`).
pub(super) const ROLLED: i64 = 1;

/// One step a version: tables, then what of the older ones is carried over. Never edited once released.
const MIGRATIONS: &[Step] = &[
    Step {
        tables: "
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT;
CREATE TABLE target (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE entry (
    id INTEGER PRIMARY KEY,
    kind INTEGER NOT NULL,      -- 0 seen, 1 began, 2 stepped, 3 alive, 4 ended
    known_us INTEGER NOT NULL,  -- microseconds on the record's axis
    took_us INTEGER,            -- known - asked
    question INTEGER,
    target INTEGER REFERENCES target(id),
    outcome INTEGER,
    rtt_us INTEGER,
    rtt_kernel INTEGER,
    detail TEXT                 -- JSON, only where there is more to say
) STRICT;
",
        carry: |_| Ok(()),
    },
    Step {
        tables: "
CREATE TABLE chunk (
    id INTEGER PRIMARY KEY,     -- in the order they were written
    kind INTEGER NOT NULL,      -- 0 every entry as it was, 1 rolled up
    entries INTEGER NOT NULL,
    marks INTEGER NOT NULL,     -- of these, starts, ends and steps of the clock
    from_us INTEGER NOT NULL,   -- least time known in it, microseconds on the record's axis
    to_us INTEGER NOT NULL,     -- greatest
    sum INTEGER NOT NULL,       -- CRC-32 of the bytes
    bytes BLOB NOT NULL
) STRICT;
CREATE TABLE tail (
    id INTEGER PRIMARY KEY,     -- pieces of the chunk being written, in order
    entries INTEGER NOT NULL,
    marks INTEGER NOT NULL,
    from_us INTEGER NOT NULL,
    to_us INTEGER NOT NULL,
    bytes BLOB NOT NULL
) STRICT;
CREATE TABLE checkpoint (
    chunk INTEGER NOT NULL,     -- the last chunk it stands for, and that one's sum
    sum INTEGER NOT NULL,
    entries INTEGER NOT NULL,   -- entries it stands for
    passed_over INTEGER NOT NULL, -- of these, entries that made no sense
    mark BLOB NOT NULL,         -- the seal of the machine that made it
    bytes BLOB NOT NULL         -- a judge, CBOR (RFC 8949), packed (RFC 1951)
) STRICT;
",
        carry: rows_to_chunks,
    },
];

struct Step {
    tables: &'static str,
    carry: fn(&Transaction<'_>) -> rusqlite::Result<()>,
}

/// The version this program writes.
pub(super) const VERSION: u32 = MIGRATIONS.len() as u32;

/// Brings a new or older record up to [`VERSION`] in one transaction; a newer one is left alone and its version returned.
pub(super) fn migrate(db: &mut Connection) -> rusqlite::Result<Result<(), u32>> {
    migrate_to(db, VERSION)
}

fn migrate_to(db: &mut Connection, to: u32) -> rusqlite::Result<Result<(), u32>> {
    let found: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
    if found >= to {
        return Ok(if found > VERSION { Err(found) } else { Ok(()) });
    }
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    for (version, step) in (1u32..=to).zip(MIGRATIONS).skip(found as usize) {
        tx.execute_batch(step.tables)?;
        (step.carry)(&tx)?;
        tx.pragma_update(None, "user_version", version)?;
    }
    tx.pragma_update(None, "application_id", APPLICATION_ID)?;
    tx.commit()?;
    Ok(Ok(()))
}

/// A record as version 1 made it, for tests of what reads one.
#[cfg(test)]
pub(super) fn make_version_1(db: &mut Connection) {
    migrate_to(db, 1).expect("makes").expect("new");
}

/// Entries a row to chunks. Rows that make no sense are left behind: no reader could use them.
fn rows_to_chunks(tx: &Transaction<'_>) -> rusqlite::Result<()> {
    let (mut encoder, mut chunk) = (Encoder::default(), Piece::default());
    let mut failed = None;
    rows::each(tx, |entry| {
        if matches!(entry, Entry::Began(_)) || is_full(chunk.bytes.len(), chunk.reach, entry) {
            if let Err(e) = add_chunk(tx, EXACT, &chunk) {
                failed.get_or_insert(e);
            }
            (encoder, chunk) = (Encoder::default(), Piece::default());
        }
        encoder.push(entry);
        chunk.append(encoder.take());
    })?;
    if let Some(e) = failed {
        return Err(e);
    }
    add_chunk(tx, EXACT, &chunk)?;
    tx.execute_batch("DROP TABLE entry; DROP TABLE target;")
}

/// Whether a chunk of so many bytes and this reach must end before the next entry.
pub(super) fn is_full(bytes: usize, reach: Option<(i64, i64)>, next: &Entry) -> bool {
    let spans = reach.map_or(0, |(from, to)| to.max(next.known().0).saturating_sub(from));
    bytes >= CHUNK_BYTES || spans >= CHUNK_SPAN.0
}

/// Adds a chunk at the end; nothing where it is empty.
pub(super) fn add_chunk(db: &Connection, kind: i64, chunk: &Piece) -> rusqlite::Result<()> {
    let Some((from, to)) = chunk.reach else { return Ok(()) };
    let sum = bytes::check_sum(&chunk.bytes);
    db.prepare_cached(
        "INSERT INTO chunk (kind, entries, marks, from_us, to_us, sum, bytes) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![kind, chunk.entries, chunk.marks, from, to, sum, chunk.bytes])?;
    Ok(())
}

/// Puts a chunk in the place of another; a chunk without entries takes the other away.
pub(super) fn replace_chunk(db: &Connection, id: i64, kind: i64, chunk: &Piece) -> rusqlite::Result<()> {
    let Some((from, to)) = chunk.reach else {
        db.execute("DELETE FROM chunk WHERE id = ?1", [id])?;
        return Ok(());
    };
    let sum = bytes::check_sum(&chunk.bytes);
    db.execute(
        "INSERT OR REPLACE INTO chunk (id, kind, entries, marks, from_us, to_us, sum, bytes) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![id, kind, chunk.entries, chunk.marks, from, to, sum, chunk.bytes],
    )?;
    Ok(())
}

/// Adds a piece to the chunk being written.
pub(super) fn add_piece(db: &Connection, piece: &Piece) -> rusqlite::Result<()> {
    let Some((from, to)) = piece.reach else { return Ok(()) };
    db.prepare_cached("INSERT INTO tail (entries, marks, from_us, to_us, bytes) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![piece.entries, piece.marks, from, to, piece.bytes])?;
    Ok(())
}

/// The chunk being written, put together from its pieces.
pub(super) fn tail(db: &Connection) -> rusqlite::Result<Piece> {
    let mut whole = Piece::default();
    let mut pieces = db.prepare_cached("SELECT entries, marks, from_us, to_us, bytes FROM tail ORDER BY id")?;
    let mut rows = pieces.query([])?;
    while let Some(r) = rows.next()? {
        let reach = Some((r.get(2)?, r.get(3)?));
        whole.append(Piece { entries: r.get(0)?, marks: r.get(1)?, reach, bytes: r.get(4)? });
    }
    Ok(whole)
}

/// Ends the chunk being written: its pieces become one.
pub(super) fn close_tail(db: &Connection) -> rusqlite::Result<()> {
    add_chunk(db, EXACT, &tail(db)?)?;
    db.execute("DELETE FROM tail", [])?;
    Ok(())
}
