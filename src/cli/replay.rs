//! A kept record judged again, with what its drills measured, and the same for a record of drills at a site.

use super::about::About;
use super::exit::CommandError;
use crate::judge::Judge;
use crate::record::{self, Fed, Seal};
use crate::site::{Background, SiteFile};
use crate::sys::machine;
use std::path::Path;

/// A judge fed with a record, what the record says of itself, and how many of its entries make no sense.
pub(super) fn replay(path: &Path) -> Result<(Judge, About, u64), CommandError> {
    let record = record::read(path)?;
    let mut about = header(path, record.about())?;
    let settings = about.settings().map_err(CommandError::BadRecord)?;
    let Fed { mut judge, passed_over, .. } = record.judge(settings, seal().as_ref(), || {})?;
    know_drills(&mut judge, &mut about.plan.background);
    Ok((judge, about, passed_over))
}

/// What the record at `path` says of itself.
pub(super) fn header(path: &Path, text: &str) -> Result<About, CommandError> {
    let bad = |e| CommandError::BadRecord(format!("{}: what it says of itself makes no sense: {e}", path.display()));
    About::read(text).map_err(bad)
}

/// What seals this machine's checkpoints; `None` where it has nothing of its own to seal with.
pub(super) fn seal() -> Option<Seal> {
    machine::id().map(|id| Seal::new(&id))
}

/// Puts what drills of this very record measured before what was known when it was begun.
pub(super) fn know_drills(judge: &mut Judge, background: &mut Background) {
    if !judge.drills().all().is_empty() {
        let results = judge.drill_results(&judge.look());
        background.take_drills(&results);
        judge.know(background.known());
    }
}

/// Puts what the drills of a record measured into what is known of a site. The record must be of that site.
pub(super) fn take_drills(record: &Path, site: &str, into: &mut Background) -> Result<(), CommandError> {
    let (judge, about, _) = replay(record)?;
    let name = record.display();
    if about.plan.site != site {
        let why = format!("{name}: its drills were at site {:?}, not at {site:?}.", about.plan.site);
        return Err(CommandError::Usage(why));
    }
    let results = judge.drill_results(&judge.look());
    if results.is_empty() {
        return Err(CommandError::Usage(format!("{name}: no drill is in this record.")));
    }
    into.take_drills(&results);
    Ok(())
}

/// Refuses a site file of another site: its activation code must not get into this one's papers.
pub(super) fn same_site(file: &SiteFile, about: &About) -> Result<(), CommandError> {
    if file.id == about.plan.site {
        return Ok(());
    }
    let why = format!("the site file is of the site {}, the record of the site {}", file.id, about.plan.site);
    Err(CommandError::BadSiteFile(why))
}
