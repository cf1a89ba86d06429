//! What commands that run an agent share: the plan of a real site, the announcement before the first packet, the
//! agent and its runtime, a free name for a record, the signal to stop.

use super::about::About;
use super::exit::CommandError;
use super::{host, site_file};
use crate::agent::Agent;
use crate::judge::Judge;
use crate::judge::requirement::RequirementSet;
use crate::record::Writer;
use crate::show::escape::terminal;
use crate::site::{self, Settled, SiteFile};
use crate::sys::clock::{self, Clock};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::runtime::{Builder, Runtime};

/// The plan of a real site, and its own requirement set where it names one.
pub(super) fn settle(file: Option<&Path>) -> Result<(Settled, Option<RequirementSet>), CommandError> {
    let site = match file {
        None => SiteFile::default(),
        Some(path) => site_file::load(path)?,
    };
    let own = file.map_or(Ok(None), |path| site_file::own_set(path, &site))?;
    let facts = host::facts(site.interface.as_deref(), site.lease_file.as_deref());
    Ok((site::resolve(&site, &facts), own))
}

/// Says what will be sent, to whom and how often, and what was assumed.
pub(super) fn announce(about: &About, talk: &mut dyn Write) -> std::io::Result<()> {
    for line in site::announce(&about.plan) {
        writeln!(talk, "{}", terminal(&line))?;
    }
    if !about.notes.is_empty() {
        writeln!(talk, "\nAssumed:")?;
        for note in &about.notes {
            writeln!(talk, "  {}", terminal(note))?;
        }
    }
    writeln!(talk)?;
    talk.flush()
}

/// An agent for this plan that runs until it is stopped.
pub(super) fn agent(about: &About, clock: Clock, judge: Judge, writer: Option<Writer>) -> Agent {
    let plan = Arc::new(about.plan.clone());
    Agent { plan, clock, wall: clock::wall_time, judge, writer, length: None, goes_on: false, marks: None }
}

/// The runtime an agent runs on: this thread.
pub(super) fn runtime() -> Result<Runtime, CommandError> {
    let runtime = Builder::new_current_thread().enable_all().build();
    runtime.map_err(|e| CommandError::Internal(format!("the runtime did not start: {e}")))
}

/// A name that is not taken yet: in this directory, or among temporary files for practice.
pub(super) fn free_name(stem: &str, practice: bool) -> PathBuf {
    let now = jiff::ZonedDateTime::now().strftime("%Y%m%d-%H%M%S").to_string();
    let dir = if practice { std::env::temp_dir() } else { PathBuf::new() };
    let free = (0..1_000).map(|n| if n == 0 { String::new() } else { format!("-{n}") });
    free.map(|n| dir.join(format!("{stem}-{now}{n}.db")))
        .find(|p| !p.exists() && !p.with_extension("html").exists())
        .unwrap_or_else(|| dir.join(format!("{stem}-{now}.db")))
}

/// Resolves when somebody asks the agent to stop.
pub(super) async fn stop_signal() {
    use tokio::signal::unix::{SignalKind, signal};
    let (Ok(mut int), Ok(mut term)) = (signal(SignalKind::interrupt()), signal(SignalKind::terminate())) else {
        return std::future::pending().await;
    };
    tokio::select! { _ = int.recv() => {}, _ = term.recv() => {} }
}
