//! `pathproof report RECORD`: judges a kept record again.

use super::about::{About, record_code, verdict_code};
use super::{Format, exit, result};
use crate::judge::Judge;
use crate::record;
use crate::show::escape::terminal;
use crate::snapshot;
use std::io::Write;
use std::path::Path;

/// Judges the record and prints; returns the exit code of its verdict.
pub(super) fn run(path: &Path, format: Format, html: Option<&Path>, out: &mut dyn Write, err: &mut dyn Write) -> i32 {
    let (judge, about, passed_over) = match replay(path) {
        Ok(all) => all,
        Err((code, why)) => {
            let _ = writeln!(err, "{}", terminal(&why));
            return code;
        }
    };
    if passed_over > 0 {
        let _ = writeln!(err, "{passed_over} row(s) of the record make no sense to this version and were passed over.");
    }
    let snapshot = snapshot::take(&judge, &about.header());
    match result::print(&snapshot, format, html, out, err) {
        Ok(true) => verdict_code(snapshot.verdict.kind),
        Ok(false) | Err(_) => exit::IO,
    }
}

fn replay(path: &Path) -> Result<(Judge, About, u64), (i32, String)> {
    let record = record::read(path).map_err(|e| (record_code(&e), e.to_string()))?;
    let about = About::read(record.about())
        .map_err(|e| (exit::BAD_RECORD, format!("{}: what it says of itself makes no sense: {e}", path.display())))?;
    let mut judge = Judge::new(about.settings().map_err(|e| (exit::BAD_RECORD, e))?);
    let passed_over = record.replay(|e| judge.take(e)).map_err(|e| (record_code(&e), e.to_string()))?;
    Ok((judge, about, passed_over))
}
