//! `pathproof survey`: from site file to verdict.
//!
//! Settles the plan, prints what will be sent before the first packet, runs the agent, shows it live, and prints the
//! verdict. On the practice site it then sets what the script did beside what the survey saw.

use super::about::{About, record_code, verdict_code};
use super::live::LiveView;
use super::practice::Rehearsal;
use super::{Format, SurveyOptions, exit, host, result};
use crate::agent::{Agent, Finished};
use crate::judge::requirement::RequirementSet;
use crate::judge::{Judge, Micros, Moment};
use crate::record::Writer;
use crate::show::escape::terminal;
use crate::site::{self, Settled, SiteFile};
use crate::snapshot;
use crate::sys::clock::{self, Clock};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Longest survey. Our choice: memory and the axis would bear more, but by then it is a watch.
const LONGEST: jiff::SignedDuration = jiff::SignedDuration::from_hours(366 * 24);

/// Why a survey could not run: the exit code and the words.
pub(super) type Failure = (i32, String);

/// Runs a survey; returns the exit code.
pub(super) fn run(o: &SurveyOptions, out: &mut dyn Write, err: &mut dyn Write) -> i32 {
    match survey(o, out, err) {
        Ok(code) => code,
        Err((code, why)) => {
            for line in why.lines() {
                let _ = writeln!(err, "{}", terminal(line));
            }
            code
        }
    }
}

fn survey(o: &SurveyOptions, out: &mut dyn Write, err: &mut dyn Write) -> Result<i32, Failure> {
    let rehearsal = if o.practice { Some(Rehearsal::prepare(o)?) } else { None };
    let ((settled, own_set), length) = match &rehearsal {
        Some(r) => ((r.settled(), None), r.length()),
        None => (settle(o.file.as_deref())?, length(o.length)?),
    };
    let mut settled = settled;
    for record in &o.drills {
        super::drill::take_drills(record, &settled.plan.site, &mut settled.plan.background)?;
    }
    let about = About {
        version: env!("CARGO_PKG_VERSION").into(),
        plan: settled.plan,
        planned: Some(length),
        notes: settled.notes,
        own_set,
    };
    let judge = Judge::new(about.settings().map_err(|why| (exit::BAD_SITE_FILE, why))?);
    // Where standard output is for a program, people read standard error.
    let talk: &mut dyn Write = if o.format == Format::Json { err } else { out };
    announce(&about, talk).map_err(io)?;
    if o.announce_only {
        return Ok(exit::IP_ALONE);
    }
    let stem = if o.practice { "practice" } else { "survey" };
    let record = o.record.clone().unwrap_or_else(|| free_name(stem, o.practice));
    let text = serde_json::to_string(&about).map_err(|e| (exit::INTERNAL, e.to_string()))?;
    let writer = Writer::create(&record, &text).map_err(|e| (record_code(&e), e.to_string()))?;
    let html = o.html.clone().unwrap_or_else(|| record.with_extension("html"));

    let header = about.header();
    let mut view = LiveView::new(talk, o.format);
    let clock = Clock::starting_at(Moment(0));
    let agent = Agent {
        plan: Arc::new(about.plan.clone()),
        clock,
        wall: clock::wall_time,
        judge,
        writer: Some(writer),
        length: Some(length),
        goes_on: false,
        marks: None,
    };
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| (exit::INTERNAL, format!("the runtime did not start: {e}")))?;
    let playing = rehearsal.map(|r| r.play(clock)).transpose()?;
    let Finished { judge, record_trouble, .. } = runtime.block_on(agent.run(stop_signal(), |turn| {
        view.show(turn, &header);
    }));
    view.end();
    // Probes still waiting for an answer have nobody to tell; they need not be waited for.
    runtime.shutdown_background();

    let snapshot = snapshot::take(&judge, &header);
    let reported = result::print(&snapshot, o.format, Some(&html), out, err).map_err(io)?;
    let talk: &mut dyn Write = if o.format == Format::Json { err } else { out };
    if let Some(why) = record_trouble {
        writeln!(talk, "The record is not whole: {}", terminal(&why)).map_err(io)?;
    }
    writeln!(talk, "Record: {}", terminal(&record.display().to_string())).map_err(io)?;
    if reported {
        writeln!(talk, "Report: {}", terminal(&html.display().to_string())).map_err(io)?;
    }
    let code = match playing {
        None => verdict_code(snapshot.verdict.kind),
        Some(playing) => {
            let (text, all_right) = playing.compare(&snapshot)?;
            writeln!(talk, "\n{text}").map_err(io)?;
            if all_right { 0 } else { exit::PRACTICE_FAILED }
        }
    };
    Ok(if reported { code } else { exit::IO })
}

#[allow(clippy::needless_pass_by_value, reason = "the shape `map_err` wants")]
pub(super) fn io(e: std::io::Error) -> Failure {
    (exit::IO, format!("could not write: {e}"))
}

/// The length asked for, where it makes sense.
fn length(asked: jiff::SignedDuration) -> Result<Micros, Failure> {
    if asked.is_positive() && asked <= LONGEST {
        return Ok(Micros::from(asked.unsigned_abs()));
    }
    Err((exit::USAGE, "--for: the length must be more than nothing and at most a year, for example 20m".into()))
}

/// The plan of a real site, and its own set of thresholds where it names one.
pub(super) fn settle(file: Option<&Path>) -> Result<(Settled, Option<RequirementSet>), Failure> {
    let site = match file {
        None => SiteFile::default(),
        Some(path) => super::check::load(path)?,
    };
    let own = file.map_or(Ok(None), |path| super::check::own_set(path, &site))?;
    let facts = host::facts(site.interface.as_deref(), site.lease_file.as_deref());
    Ok((site::resolve(&site, &facts), own))
}

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

/// A name that is not taken yet: in this directory, or among temporary files for practice.
pub(super) fn free_name(stem: &str, practice: bool) -> PathBuf {
    let now = jiff::ZonedDateTime::now().strftime("%Y%m%d-%H%M%S").to_string();
    let dir = if practice { std::env::temp_dir() } else { PathBuf::new() };
    let free = (0..1_000).map(|n| if n == 0 { String::new() } else { format!("-{n}") });
    free.map(|n| dir.join(format!("{stem}-{now}{n}.db")))
        .find(|p| !p.exists() && !p.with_extension("html").exists())
        .unwrap_or_else(|| dir.join(format!("{stem}-{now}.db")))
}

/// Resolves when somebody asks the survey to stop.
pub(super) async fn stop_signal() {
    use tokio::signal::unix::{SignalKind, signal};
    let (Ok(mut int), Ok(mut term)) = (signal(SignalKind::interrupt()), signal(SignalKind::terminate())) else {
        return std::future::pending().await;
    };
    tokio::select! { _ = int.recv() => {}, _ = term.recv() => {} }
}
