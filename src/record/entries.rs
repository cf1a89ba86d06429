//! The entries of a record, in the order they became known, one at a time.
//!
//! Decides what makes no sense and is passed over. Opens nothing.

use super::decode::{Decoder, Read};
use super::{RecordError, bytes, roll, rows, schema, sound};
use crate::judge::{Entry, Moment};
use rusqlite::Connection;
use std::ops::RangeInclusive;

/// Every moment there is.
pub(super) const ALL: RangeInclusive<Moment> = Moment(i64::MIN)..=Moment(i64::MAX);

/// Hands the entries of a span to `take`; gives the number of those that make no sense.
pub(super) fn replay(
    db: &Connection,
    span: RangeInclusive<Moment>,
    mut take: impl FnMut(&Entry),
) -> Result<u64, RecordError> {
    let mut within = |e: &Entry| {
        if span.contains(&e.known()) {
            take(e);
        }
    };
    let version: u32 = db.pragma_query_value(None, "user_version", |r| r.get(0))?;
    if version < 2 {
        return Ok(rows::each(db, within)?);
    }
    let within_span = "SELECT kind, entries, sum, bytes FROM chunk WHERE to_us >= ?1 AND from_us <= ?2 ORDER BY id";
    chunks(db, within_span, [span.start().0, span.end().0], &mut within)
}

/// Hands every entry to `take` that came after a chunk; gives the number of those that make no sense.
pub(super) fn replay_after(db: &Connection, chunk: i64, mut take: impl FnMut(&Entry)) -> Result<u64, RecordError> {
    let after = "SELECT kind, entries, sum, bytes FROM chunk WHERE id > ?1 AND id <= ?2 ORDER BY id";
    chunks(db, after, [chunk, i64::MAX], &mut take)
}

/// The entries of the chunks that a question finds, and of the one being written.
pub(super) fn chunks(
    db: &Connection,
    which: &str,
    bounds: [i64; 2],
    take: &mut impl FnMut(&Entry),
) -> Result<u64, RecordError> {
    // One view of the file, or a chunk that ends between the two questions would be missed or told twice.
    let view = if db.is_autocommit() { Some(db.unchecked_transaction()?) } else { None };
    let mut passed_over = 0;
    {
        let mut chunks = db.prepare(which)?;
        let mut found = chunks.query(bounds)?;
        while let Some(row) = found.next()? {
            let (kind, entries, sum): (i64, u64, u32) = (row.get(0)?, row.get::<_, u32>(1)?.into(), row.get(2)?);
            let bytes = row.get_ref(3)?.as_blob().unwrap_or_default();
            if bytes::check_sum(bytes) == sum {
                passed_over += chunk(kind, bytes, entries, take);
            } else {
                passed_over += entries;
            }
        }
        let tail = schema::tail(db)?;
        passed_over += chunk(schema::EXACT, &tail.bytes, tail.entries.into(), take);
    }
    if let Some(view) = view {
        view.rollback()?;
    }
    Ok(passed_over)
}

/// The entries of one chunk that should hold `entries`; gives how many are missing or make no sense.
pub(super) fn chunk(kind: i64, bytes: &[u8], entries: u64, take: &mut impl FnMut(&Entry)) -> u64 {
    let mut good = 0;
    let mut give = |e: &Entry| {
        if sound(e) {
            good += 1;
            take(e);
        }
    };
    if kind == schema::ROLLED {
        roll::unroll(bytes).iter().for_each(give);
    } else {
        for read in Decoder::new(bytes) {
            if let Read::Entry(e) = read {
                give(&e);
            }
        }
    }
    entries.saturating_sub(good)
}
