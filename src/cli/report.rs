//! `pathproof report RECORD`: judges a kept record again.

use super::exit::{self, CommandError};
use super::options::ReportOptions;
use super::{archive, paper, replay, result, site_file};
use crate::snapshot;
use std::io::Write;

/// Judges the record and prints. The exit code is that of its verdict.
pub(super) fn run(o: &ReportOptions, out: &mut dyn Write, err: &mut dyn Write) -> Result<i32, CommandError> {
    // A bundle's record is taken out and goes again with `opened`.
    let opened = archive::is_bundle(&o.record).then(|| archive::open(&o.record)).transpose()?;
    let path = opened.as_ref().map_or(&o.record, |(_, path)| path);
    // What can't be written in the end is said before a long record is judged.
    o.out.iter().try_for_each(|file| paper::Form::of(file).map(|_| ()))?;
    let site = o.site.as_deref().map(site_file::load).transpose()?;
    let (judge, about, passed_over) = replay::replay(path).map_err(|e| match &opened {
        // Where a bundle's record was taken out to is nobody's business, and is gone by then.
        Some((_, there)) => e.said_of(there, &format!("the record in {}", o.record.display())),
        None => e,
    })?;
    site.as_ref().map_or(Ok(()), |file| replay::same_site(file, &about))?;
    if passed_over > 0 {
        let _ = writeln!(err, "{passed_over} row(s) of the record make no sense to this version and were passed over.");
    }
    let snapshot = snapshot::take(&judge, &about.header());
    let whole = match o.paper {
        Some(kind) => paper::show(kind, o, path, (&judge, &about, &snapshot), site.as_ref(), out, err)?,
        None => result::print(&snapshot, o.format, o.html.as_deref(), out, err)?,
    };
    Ok(if whole { exit::of_verdict(snapshot.verdict().kind) } else { exit::IO })
}
