//! Printing a result: words or JSON on standard output, the HTML report beside it.

use super::Format;
use crate::show::{json, report, terminal};
use crate::snapshot::Snapshot;
use jiff::tz::TimeZone;
use std::io::{self, Write};
use std::path::Path;

/// Columns used when the terminal does not tell.
pub(super) const WIDTH: usize = 80;

/// Prints the snapshot; writes the HTML report where asked.
pub(super) fn print(
    s: &Snapshot,
    format: Format,
    html: Option<&Path>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> io::Result<()> {
    let zone = TimeZone::system();
    if let Some(path) = html {
        match std::fs::write(path, report::to_html(s, &zone)) {
            Ok(()) => {}
            Err(e) => writeln!(err, "The HTML report could not be written to {}: {e}", path.display())?,
        }
    }
    match format {
        Format::Json => writeln!(out, "{}", json::to_json(s)),
        Format::Text => write!(out, "{}", terminal::verdict(s, &zone, WIDTH)),
    }?;
    out.flush()
}
