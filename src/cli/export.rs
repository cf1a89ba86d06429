//! `pathproof export` and `pathproof forget`: a record for other programs, and its deletion.
//!
//! The columns are documented in `src/cli/export.md` and printed by `export --columns`. Times on the wall are those the
//! host's clock showed; lengths come from the axis.

use super::exit::{self, CommandError};
use super::options::{ExportFormat, ExportOptions, ForgetOptions};
use crate::judge::{Entry, Moment, WallTime};
use crate::record::{self, Line, Walls};
use crate::show::escape::terminal;
use jiff::Timestamp;
use serde_json::{Value, json};
use std::io::{self, Write};

/// What the columns mean.
const COLUMNS: &str = include_str!("export.md");

/// The columns of the CSV, which are the fields of the JSON lines.
const NAMES: [&str; 12] = [
    "at",
    "kind",
    "lane",
    "question",
    "target",
    "outcome",
    "asked_us",
    "known_us",
    "rtt_us",
    "rtt_kernel",
    "why",
    "detail",
];

/// Exports a record, or says what the columns mean.
pub(super) fn run(o: &ExportOptions, out: &mut dyn Write, err: &mut dyn Write) -> Result<i32, CommandError> {
    if o.columns {
        out.write_all(COLUMNS.as_bytes())?;
        out.flush()?;
        return Ok(exit::IP_ALONE);
    }
    let Some(path) = &o.record else { return Err(CommandError::Usage("name the record".into())) };
    let record = record::read(path)?;
    let mut walls = Walls::default();
    record.marks(|e| walls.take(e))?;
    let (from, to) = (moment(&walls, o.from, i64::MIN), moment(&walls, o.to, i64::MAX));
    let mut out = io::BufWriter::new(out);
    let mut written = match o.format {
        ExportFormat::Csv => writeln!(out, "{}", NAMES.join(",")),
        ExportFormat::Jsonl => Ok(()),
    };
    let passed_over = record.replay_span(from..=to, |entry| {
        if written.is_ok() && entry.known() < to {
            let row = row(entry, &walls);
            written = match o.format {
                ExportFormat::Csv => csv(&row, &mut out),
                ExportFormat::Jsonl => jsonl(&row, &mut out),
            };
        }
    });
    written.and_then(|()| out.flush())?;
    let passed_over = passed_over?;
    if passed_over > 0 {
        let _ = writeln!(err, "{passed_over} entries of the record can't be read and were passed over.");
    }
    Ok(exit::IP_ALONE)
}

/// The moment on the record's axis of a time on the wall; `open` where none was given.
fn moment(walls: &Walls, at: Option<Timestamp>, open: i64) -> Moment {
    at.map_or(Moment(open), |t| walls.moment(WallTime(t.as_microsecond())))
}

/// One entry, a value a column; `Null` where there is nothing to say.
fn row(entry: &Entry, walls: &Walls) -> [Value; 12] {
    let mut line = json!(Line::of(entry, walls));
    NAMES.map(|name| line.get_mut(name).map_or(Value::Null, Value::take))
}

/// RFC 4180: quoted where it must be. A text that a spreadsheet would take for a formula gets an apostrophe first.
fn csv(row: &[Value; 12], out: &mut dyn Write) -> io::Result<()> {
    for (n, value) in row.iter().enumerate() {
        if n > 0 {
            out.write_all(b",")?;
        }
        let text = match value {
            Value::Null => continue,
            Value::String(s) if s.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{s}"),
            Value::String(s) => s.clone(),
            other => other.to_string(),
        };
        if text.contains([',', '"', '\n', '\r']) {
            write!(out, "\"{}\"", text.replace('"', "\"\""))?;
        } else {
            out.write_all(text.as_bytes())?;
        }
    }
    out.write_all(b"\n")
}

fn jsonl(row: &[Value; 12], out: &mut dyn Write) -> io::Result<()> {
    let fields: serde_json::Map<String, Value> =
        NAMES.iter().zip(row).filter(|(_, v)| !v.is_null()).map(|(n, v)| ((*n).to_owned(), v.clone())).collect();
    writeln!(out, "{}", Value::Object(fields))
}

/// Deletes a record, or a part of it.
pub(super) fn forget(o: &ForgetOptions, out: &mut dyn Write) -> Result<i32, CommandError> {
    if o.all {
        let gone: Vec<String> = record::forget_all(&o.record)?.iter().map(|p| p.display().to_string()).collect();
        writeln!(out, "Deleted: {}", terminal(&gone.join(", ")))?;
    } else {
        let mut walls = Walls::default();
        record::read(&o.record)?.marks(|e| walls.take(e))?;
        let (before, after) = (moment(&walls, o.before, i64::MIN), moment(&walls, o.after, i64::MAX));
        let done = record::forget(&o.record, before, after)?;
        writeln!(out, "{} entries deleted, {} left.", done.gone, done.left)?;
    }
    Ok(exit::IP_ALONE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Detail, Micros, Observation, Outcome, Question, Rtt, Session, Unreachable};

    fn rows() -> Vec<[Value; 12]> {
        let session = Session {
            at: Moment(0),
            boot_id: "b".into(),
            boot: Micros(1),
            wall: WallTime(1_700_000_000_000_000),
            synced: Some(true),
        };
        let seen = |target: &str, outcome, detail| {
            Entry::Seen(Observation {
                asked: Moment(1_000_000),
                known: Moment(1_020_000),
                question: Question::Connect,
                target: target.into(),
                outcome,
                rtt: (outcome == Outcome::Answered).then_some(Rtt { took: Micros(19_900), kernel: false }),
                detail,
            })
        };
        let all = [
            Entry::Began(session),
            seen("station", Outcome::Answered, Detail::None),
            seen("=1+2, \"x\"", Outcome::Unreachable(Unreachable::Port), Detail::Why("a\nb".into())),
            Entry::Alive { at: Moment(5) },
        ];
        let mut walls = Walls::default();
        for e in &all {
            walls.take(e);
        }
        all.iter().map(|e| row(e, &walls)).collect()
    }

    #[test]
    fn csv_is_as_rfc_4180_has_it_and_no_formula_stands_in_it() {
        let mut out = Vec::new();
        for r in &rows() {
            csv(r, &mut out).expect("memory");
        }
        let text = String::from_utf8(out).expect("text");
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(
            lines[1],
            "2023-11-14T22:13:21.020000Z,seen,receiver,connect,station,answered,1000000,1020000,19900,false,,"
        );
        assert_eq!(
            lines[2],
            "2023-11-14T22:13:21.020000Z,seen,receiver,connect,\"'=1+2, \"\"x\"\"\",unreachable,1000000,1020000,,,port,\"{\"\"why\"\":\"\"a\\nb\"\"}\""
        );
        assert_eq!(lines[3], "2023-11-14T22:13:20.000005Z,alive,,,,,,5,,,,");
    }

    #[test]
    fn json_lines_are_objects_without_what_is_not_known() {
        let mut out = Vec::new();
        jsonl(&rows()[1], &mut out).expect("memory");
        let back: Value = serde_json::from_slice(&out).expect("JSON");
        assert_eq!(back["rtt_us"], 19_900);
        assert!(back.get("why").is_none() && back.get("detail").is_none());
    }

    #[test]
    fn every_column_is_documented() {
        for name in NAMES {
            assert!(COLUMNS.contains(&format!("`{name}`")), "{name}");
        }
    }
}
