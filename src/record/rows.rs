//! Version 1 of the record: an entry a row. Read by reports of old records, and once by the migration.

use super::{codes, sound};
use crate::judge::{Detail, Entry, Micros, Moment, Observation, Rtt, Session, Step, WallTime};
use rusqlite::{Connection, Row};
use std::collections::HashMap;
use std::sync::Arc;

/// Hands every entry to `take`, in order; gives the number of rows that make no sense.
pub(super) fn each(db: &Connection, mut take: impl FnMut(&Entry)) -> rusqlite::Result<u64> {
    let mut names: HashMap<i64, Arc<str>> = HashMap::new();
    let mut targets = db.prepare("SELECT id, name FROM target")?;
    for row in targets.query_map([], |r| Ok((r.get::<_, i64>(0)?, r.get::<_, String>(1)?)))? {
        let (id, name) = row?;
        names.insert(id, name.into());
    }
    let mut entries = db.prepare(
        "SELECT kind, known_us, took_us, question, target, outcome, rtt_us, rtt_kernel, detail FROM entry ORDER BY id",
    )?;
    let mut rows = entries.query([])?;
    let mut passed_over = 0;
    while let Some(row) = rows.next()? {
        match entry(row, &names).filter(sound) {
            Some(entry) => take(&entry),
            None => passed_over += 1,
        }
    }
    Ok(passed_over)
}

fn entry(row: &Row<'_>, names: &HashMap<i64, Arc<str>>) -> Option<Entry> {
    let at = Moment(row.get(1).ok()?);
    let detail: Option<String> = row.get(8).ok()?;
    match row.get::<_, i64>(0).ok()? {
        0 => {
            let took: i64 = row.get(2).ok()?;
            let rtt_us: Option<i64> = row.get(6).ok()?;
            let kernel: Option<bool> = row.get(7).ok()?;
            Some(Entry::Seen(Observation {
                asked: at - Micros(took),
                known: at,
                question: codes::question(row.get(3).ok()?)?,
                target: Arc::clone(names.get(&row.get(4).ok()?)?),
                outcome: codes::outcome(row.get(5).ok()?)?,
                rtt: rtt_us.map(|us| Rtt { took: Micros(us), kernel: kernel.unwrap_or(false) }),
                detail: match detail {
                    Some(text) => serde_json::from_str(&text).ok()?,
                    None => Detail::None,
                },
            }))
        }
        1 => Some(Entry::Began(serde_json::from_str::<Session>(&detail?).ok()?)),
        2 => Some(Entry::Stepped { at, wall: serde_json::from_str::<WallTime>(&detail?).ok()? }),
        3 => Some(Entry::Alive { at }),
        4 => Some(Entry::Ended { at, how: serde_json::from_str(&detail?).ok()? }),
        5 => Some(Entry::Drill { at, step: serde_json::from_str::<Step>(&detail?).ok()? }),
        _ => None,
    }
}
