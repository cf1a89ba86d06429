//! A site file from disk, with the requirement set it names: read, or the words that say what is wrong with it.

use super::exit::CommandError;
use crate::judge::requirement::RequirementSet;
use crate::show::escape::terminal;
use crate::site::keys::LONGEST_FILE;
use crate::site::{self, Problem, SiteFile, requirements};
use std::fmt::Write as _;
use std::io::{self, Read as _};
use std::path::Path;

/// Most problems shown; the rest are counted.
const MOST_SHOWN: usize = 25;

/// Loads a site file. Untrusted text in the error's words is escaped.
pub(super) fn load(path: &Path) -> Result<SiteFile, CommandError> {
    let name = path.display().to_string();
    let bytes = read(path).map_err(|e| {
        let why = format!("The site file {} can't be read: {}\n", terminal(&name), terminal(&e.to_string()));
        CommandError::reading(&e, why)
    })?;
    let file = site::load(&name, &bytes).map_err(|problems| CommandError::BadSiteFile(in_words(&problems)))?;
    own_set(path, &file)?;
    Ok(file)
}

/// The requirement set that a site file names as a file beside it; `None` where it names one that ships.
pub(super) fn own_set(site_file: &Path, file: &SiteFile) -> Result<Option<RequirementSet>, CommandError> {
    if !requirements::is_file(&file.requirements) {
        return Ok(None);
    }
    let path = site_file.parent().unwrap_or(Path::new("")).join(&file.requirements);
    let words = |why: &str| {
        let name = path.display().to_string();
        format!("The requirement set {} can't be used: {}\n", terminal(&name), terminal(why))
    };
    let mut text = String::new();
    std::fs::File::open(&path)
        .and_then(|f| f.take(requirements::LONGEST_SET as u64 + 1).read_to_string(&mut text))
        .map_err(|e| CommandError::NoInput(words(&e.to_string())))?;
    requirements::read(&text).map(Some).map_err(|why| CommandError::BadSiteFile(words(&why)))
}

/// Reads one byte more than a site file or a script may have, so that the caller can tell one that is too long.
pub(super) fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    std::fs::File::open(path)?.take(LONGEST_FILE as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Problems in words: a block each, with the place, what stands there, what may stand there, and what to do.
pub fn in_words(problems: &[Problem]) -> String {
    let file = problems.first().map_or("", |p| &p.file);
    let s = if problems.len() == 1 { "" } else { "s" };
    let mut out = format!("{}: {} problem{s}.\n", terminal(file), problems.len());
    // Writing to a string does not fail.
    for p in problems.iter().take(MOST_SHOWN) {
        let _ = writeln!(out, "\nline {}, column {}: {}", p.line, p.column, terminal(&p.key));
        for (label, words) in [("found", &p.found), ("expected", &p.expected), ("to mend", &p.fix)] {
            let _ = writeln!(out, "  {label:<10}{}", terminal(words));
        }
    }
    if problems.len() > MOST_SHOWN {
        let _ = writeln!(out, "\nand {} more.", problems.len() - MOST_SHOWN);
    }
    out
}
