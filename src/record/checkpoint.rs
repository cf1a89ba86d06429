//! A judge written down beside what it was fed, so that a year need not be fed again to be judged.
//!
//! Derived, so it may always be missing. Believed only by the very judge that wrote it (a sum over its source), on the
//! machine that did (a keyed hash, RFC 2104), and while the chunk it ends with is the one it ended with: a record from
//! elsewhere, or one that was changed, is judged from its beginning.

use super::RecordError;
use super::entries::{ALL, replay, replay_after};
use super::packed::{Unpacked, packed};
use crate::judge::fold::Folded;
use crate::judge::{Judge, Settings};
use ring::hmac;
use rusqlite::{Connection, OptionalExtension as _, params};
use std::io::{self, BufReader};
use std::sync::Arc;

/// Bytes a judge written down may take when it is unpacked; one of a bad year takes a few MB.
const MOST_BYTES: usize = 256 << 20;
/// ... and packed, as it stands in a record that may come from anybody.
const MOST_PACKED: i64 = 32 << 20;

/// What only this machine knows: a checkpoint that carries another's mark is not believed.
#[derive(Clone, Debug)]
pub struct Seal(Arc<hmac::Key>);

impl Seal {
    /// The seal of a machine with this secret, which is not told on.
    pub fn new(secret: &[u8]) -> Self {
        let machine = hmac::Key::new(hmac::HMAC_SHA256, secret);
        let ours = hmac::sign(&machine, concat!("pathproof checkpoint ", env!("PATHPROOF_JUDGE")).as_bytes());
        Self(Arc::new(hmac::Key::new(hmac::HMAC_SHA256, ours.as_ref())))
    }
}

/// A judge fed from a record.
#[derive(Debug)]
pub struct Fed {
    /// The judge, holding everything the record does.
    pub judge: Judge,
    /// Entries that make no sense, passed over.
    pub passed_over: u64,
    /// Entries it did not have to be fed, because a checkpoint stood for them.
    pub spared: u64,
}

/// Feeds a judge from its checkpoint, where there is one to be believed, and from what came after it; else from the
/// beginning. `fed` is called for each entry.
pub(super) fn feed(
    db: &Connection,
    settings: Settings,
    seal: Option<&Seal>,
    mut fed: impl FnMut(),
) -> Result<Fed, RecordError> {
    // One view of the file, or what a writer adds in between would be missed.
    let view = if db.is_autocommit() { Some(db.unchecked_transaction()?) } else { None };
    let kept = seal.and_then(|seal| kept(db, seal)).and_then(|(folded, upto)| {
        let judge = Judge::resume(settings.clone(), folded)?;
        Some((judge, upto))
    });
    let (mut judge, upto) = kept.unwrap_or_else(|| (Judge::new(settings), Upto::default()));
    let take = |e: &crate::judge::Entry| {
        judge.take(e);
        fed();
    };
    let after = if upto.chunk == i64::MIN { replay(db, ALL, take) } else { replay_after(db, upto.chunk, take) };
    let passed_over = upto.passed_over + after?;
    if let Some(view) = view {
        view.rollback()?;
    }
    Ok(Fed { judge, passed_over, spared: upto.entries })
}

/// Where a checkpoint ends.
#[derive(Clone, Copy, Debug)]
struct Upto {
    /// The last chunk it stands for.
    chunk: i64,
    /// That chunk's sum.
    sum: u32,
    /// Entries it stands for, and those of them that made no sense.
    entries: u64,
    passed_over: u64,
}

impl Default for Upto {
    fn default() -> Self {
        Self { chunk: i64::MIN, sum: 0, entries: 0, passed_over: 0 }
    }
}

impl Upto {
    /// What is sealed: these numbers and the judge.
    fn message(&self, bytes: &[u8]) -> Vec<u8> {
        let numbers = [self.chunk.cast_unsigned(), self.sum.into(), self.entries, self.passed_over];
        let mut all = numbers.map(u64::to_be_bytes).concat();
        all.extend_from_slice(bytes);
        all
    }
}

/// The checkpoint, if it is to be believed.
fn kept(db: &Connection, seal: &Seal) -> Option<(Folded, Upto)> {
    let fits = "SELECT chunk, sum, entries, passed_over, mark, bytes FROM checkpoint
                WHERE length(mark) = 32 AND length(bytes) <= ?1 LIMIT 1";
    let row = db.query_row(fits, [MOST_PACKED], |r| {
        let upto = Upto {
            chunk: r.get(0)?,
            sum: r.get(1)?,
            entries: r.get::<_, i64>(2)?.cast_unsigned(),
            passed_over: r.get::<_, i64>(3)?.cast_unsigned(),
        };
        Ok((upto, r.get::<_, Vec<u8>>(4)?, r.get::<_, Vec<u8>>(5)?))
    });
    // A record from before there were checkpoints has no such table.
    let (upto, mark, bytes) = row.ok()?;
    hmac::verify(&seal.0, &upto.message(&bytes), &mark).ok()?;
    let sum: Option<u32> =
        db.query_row("SELECT sum FROM chunk WHERE id = ?1", [upto.chunk], |r| r.get(0)).optional().ok()?;
    if sum != Some(upto.sum) {
        tracing::debug!("the record was changed since its checkpoint: it is judged from the beginning");
        return None;
    }
    match ciborium::from_reader(BufReader::new(Unpacked::new(&bytes, MOST_BYTES))) {
        Ok(folded) => Some((folded, upto)),
        Err(e) => {
            tracing::warn!("the checkpoint can't be read ({e}): the record is judged from the beginning");
            None
        }
    }
}

/// A judge as bytes.
pub(super) fn written(judge: &Judge) -> Option<Vec<u8>> {
    packed(|to| ciborium::into_writer(judge.folded(), to))
        .map_err(|e: ciborium::ser::Error<io::Error>| tracing::warn!("no checkpoint: {e}"))
        .ok()
}

/// Puts a checkpoint in the place of the one before. It stands for every chunk there is; none may be open.
pub(super) fn put(db: &Connection, seal: &Seal, bytes: &[u8], passed_over: u64) -> rusqlite::Result<()> {
    let last = db
        .query_row("SELECT id, sum FROM chunk ORDER BY id DESC LIMIT 1", [], |r| Ok((r.get(0)?, r.get(1)?)))
        .optional()?;
    let Some((chunk, sum)) = last else { return Ok(()) };
    let entries: i64 = db.query_row("SELECT sum(entries) FROM chunk", [], |r| r.get(0))?;
    let upto = Upto { chunk, sum, entries: entries.cast_unsigned(), passed_over };
    let mark = hmac::sign(&seal.0, &upto.message(bytes));
    drop_all(db)?;
    db.prepare_cached(
        "INSERT INTO checkpoint (chunk, sum, entries, passed_over, mark, bytes) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![chunk, sum, entries, passed_over.cast_signed(), mark.as_ref(), bytes])?;
    Ok(())
}

/// Takes it away: what was forgotten must not stand in it, and nobody else could use it.
pub(super) fn drop_all(db: &Connection) -> rusqlite::Result<()> {
    db.execute("DELETE FROM checkpoint", [])?;
    Ok(())
}
