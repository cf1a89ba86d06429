//! `pathproof power FILE`: the power sheet of a site file, as words, JSON or HTML.
//!
//! Decides the exit code and where the sheet goes. Touches no network.

use super::exit::{self, CommandError};
use super::options::Format;
use super::result::WIDTH;
use super::{replay, site_file};
use crate::show::escape;
use crate::show::power;
use crate::worksheet::sheet::sheet;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Prints the sheet.
pub(super) fn run(
    file: &Path,
    drills: &[PathBuf],
    format: Format,
    html: Option<&Path>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<i32, CommandError> {
    let mut site = site_file::load(file)?;
    for record in drills {
        replay::take_drills(record, &site.id, &mut site.background)?;
    }
    let sheet = sheet(&site.background.power(&site.id));
    let mut code = exit::IP_ALONE;
    if let Some(path) = html
        && let Err(e) = std::fs::write(path, power::to_html(&sheet))
    {
        code = exit::IO;
        let _ =
            writeln!(err, "The sheet could not be written to {}: {e}", escape::terminal(&path.display().to_string()));
    }
    let text = match format {
        Format::Text => power::terminal(&sheet, WIDTH),
        Format::Json => power::to_json(&sheet),
    };
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(code)
}
