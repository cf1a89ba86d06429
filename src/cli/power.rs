//! `pathproof power FILE`: the power sheet of a site file, as words, JSON or HTML.
//!
//! Decides the exit code and where the sheet goes. Touches no network.

use super::result::WIDTH;
use super::{Format, check, exit};
use crate::show::escape;
use crate::show::power;
use crate::worksheet::sheet::sheet;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Prints the sheet; returns the exit code.
pub(super) fn run(
    file: &Path,
    drills: &[PathBuf],
    format: Format,
    html: Option<&Path>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> i32 {
    let mut site = match check::load(file) {
        Ok(site) => site,
        Err((code, words)) => {
            // Whoever was reading has gone: there is nobody left to tell.
            return if err.write_all(words.as_bytes()).is_ok() { code } else { exit::IO };
        }
    };
    for record in drills {
        if let Err((code, why)) = super::drill::take_drills(record, &site.id, &mut site.background) {
            let _ = writeln!(err, "{}", escape::terminal(&why));
            return code;
        }
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
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => code,
        Err(_) => exit::IO,
    }
}
