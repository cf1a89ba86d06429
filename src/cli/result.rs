//! Printing a result: words or JSON on standard output, the HTML report beside it.

use super::options::Format;
use crate::show::escape::terminal;
use crate::show::{json, report};
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;
use std::io::{self, Write};
use std::path::Path;

/// Columns used when the terminal does not tell.
pub(super) const WIDTH: usize = 80;

/// Prints the snapshot; writes the HTML report where asked. False where the report could not be written: the result is
/// printed all the same.
pub(super) fn print(
    s: &Snapshot,
    format: Format,
    html: Option<&Path>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> io::Result<bool> {
    let zone = TimeZone::system();
    let mut whole = true;
    if let Some(path) = html {
        match std::fs::write(path, report::to_html(s, &zone)) {
            Ok(()) => {}
            Err(e) => {
                whole = false;
                let name = terminal(&path.display().to_string());
                writeln!(err, "The HTML report could not be written to {name}: {e}")?;
            }
        }
    }
    match format {
        Format::Json => writeln!(out, "{}", json::to_json(s)),
        Format::Text => write!(out, "{}", crate::show::terminal::verdict(s, &zone, WIDTH)),
    }?;
    out.flush()?;
    Ok(whole)
}
