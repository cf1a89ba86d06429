//! `pathproof report RECORD`: judges a kept record again.

use super::about::{About, record_code, verdict_code};
use super::{ReportOptions, bundle, check, exit, paper, result};
use crate::judge::Judge;
use crate::record::{self, Fed, Seal};
use crate::show::escape::terminal;
use crate::site::Background;
use crate::snapshot;
use crate::sys::machine;
use std::io::Write;
use std::path::Path;

/// Judges the record and prints; returns the exit code of its verdict.
pub(super) fn run(o: &ReportOptions, out: &mut dyn Write, err: &mut dyn Write) -> i32 {
    // A bundle's record is taken out and goes again with `opened`.
    let opened = match bundle::is_bundle(&o.record).then(|| bundle::open(&o.record)).transpose() {
        Ok(opened) => opened,
        Err((code, why)) => {
            let _ = writeln!(err, "{}", terminal(&why));
            return code;
        }
    };
    let path = opened.as_ref().map_or(&o.record, |(_, path)| path);
    // What can't be written in the end is said before a long record is judged.
    if let Err(why) = o.out.iter().try_for_each(|file| paper::Form::of(file).map(|_| ())) {
        let _ = writeln!(err, "{}", terminal(&why));
        return exit::USAGE;
    }
    let site = match o.site.as_deref().map(check::load).transpose() {
        Ok(site) => site,
        Err((code, words)) => return if err.write_all(words.as_bytes()).is_ok() { code } else { exit::IO },
    };
    let (judge, about, passed_over) = match replay(path) {
        Ok(all) => all,
        Err((code, why)) => {
            // Where a bundle's record was taken out to is nobody's business, and is gone by then.
            let there = path.display().to_string();
            let why = if opened.is_some() {
                why.replace(&there, &format!("the record in {}", o.record.display()))
            } else {
                why
            };
            let _ = writeln!(err, "{}", terminal(&why));
            return code;
        }
    };
    if let Err((code, why)) = site.as_ref().map_or(Ok(()), |file| paper::same_site(file, &about)) {
        let _ = writeln!(err, "{}", terminal(&why));
        return code;
    }
    if passed_over > 0 {
        let _ = writeln!(err, "{passed_over} row(s) of the record make no sense to this version and were passed over.");
    }
    let snapshot = snapshot::take(&judge, &about.header());
    let shown = match o.paper {
        Some(kind) => paper::show(kind, o, path, (&judge, &about, &snapshot), site.as_ref(), out, err),
        None => result::print(&snapshot, o.format, o.html.as_deref(), out, err),
    };
    match shown {
        Ok(true) => verdict_code(snapshot.verdict.kind),
        Ok(false) | Err(_) => exit::IO,
    }
}

/// A judge fed with a record, and how many entries of it make no sense.
pub(super) fn replay(path: &Path) -> Result<(Judge, About, u64), (i32, String)> {
    let record = record::read(path).map_err(|e| (record_code(&e), e.to_string()))?;
    let mut about = About::read(record.about())
        .map_err(|e| (exit::BAD_RECORD, format!("{}: what it says of itself makes no sense: {e}", path.display())))?;
    let settings = about.settings().map_err(|e| (exit::BAD_RECORD, e))?;
    let Fed { mut judge, passed_over, .. } =
        record.judge(settings, seal().as_ref(), || {}).map_err(|e| (record_code(&e), e.to_string()))?;
    know_drills(&mut judge, &mut about.plan.background);
    Ok((judge, about, passed_over))
}

/// What this machine's checkpoints are sealed with; `None`: it has nothing of its own to seal with.
pub(super) fn seal() -> Option<Seal> {
    machine::id().map(|id| Seal::new(&id))
}

/// What drills of this very record measured goes before what was known when it was begun.
pub(super) fn know_drills(judge: &mut Judge, background: &mut Background) {
    if !judge.drills().all().is_empty() {
        let results = judge.drill_results(&judge.look());
        background.take_drills(&results);
        judge.know(background.known());
    }
}
