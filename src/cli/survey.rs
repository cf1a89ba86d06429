//! `pathproof survey`: from site file to verdict.
//!
//! Settles the plan, prints what will be sent before the first packet, runs the agent, shows it live, and prints the
//! verdict. On the practice site it then sets what the script did beside what the survey saw.

use super::about::About;
use super::exit::{self, CommandError};
use super::live::LiveView;
use super::options::{Format, SurveyOptions};
use super::practice::Rehearsal;
use super::{replay, result, running};
use crate::agent::{Agent, Finished};
use crate::judge::{Micros, Moment};
use crate::record::Writer;
use crate::show::escape::terminal;
use crate::snapshot;
use crate::sys::clock::Clock;
use std::io::Write;

/// Longest survey. Our choice: memory and the axis would bear more, but by then it is a watch.
const LONGEST: jiff::SignedDuration = jiff::SignedDuration::from_hours(366 * 24);

/// Runs a survey. Must be called while the process has one thread: the practice site needs it.
pub(super) fn run(o: &SurveyOptions, out: &mut dyn Write, err: &mut dyn Write) -> Result<i32, CommandError> {
    let rehearsal = if o.practice { Some(Rehearsal::prepare(o)?) } else { None };
    let ((settled, own_set), length) = match &rehearsal {
        Some(r) => ((r.settled(), None), r.length()),
        None => (running::settle(o.file.as_deref())?, length(o.length)?),
    };
    let mut settled = settled;
    for record in &o.drills {
        replay::take_drills(record, &settled.plan.site, &mut settled.plan.background)?;
    }
    let about = About::new(settled, own_set, Some(length));
    let judge = about.judge()?;
    // Where standard output is for a program, people read standard error.
    let talk: &mut dyn Write = if o.format == Format::Json { err } else { out };
    running::announce(&about, talk)?;
    if o.announce_only {
        return Ok(exit::IP_ALONE);
    }
    let stem = if o.practice { "practice" } else { "survey" };
    let record = o.record.clone().unwrap_or_else(|| running::free_name(stem, o.practice));
    let writer = Writer::create(&record, &about.text()?)?;
    let html = o.html.clone().unwrap_or_else(|| record.with_extension("html"));

    let header = about.header();
    let mut view = LiveView::new(talk, o.format);
    let clock = Clock::starting_at(Moment(0));
    let agent = Agent { length: Some(length), ..running::agent(&about, clock, judge, Some(writer)) };
    let runtime = running::runtime()?;
    let playing = rehearsal.map(|r| r.play(clock)).transpose()?;
    let Finished { judge, record_trouble, .. } = runtime.block_on(agent.run(running::stop_signal(), |turn| {
        view.show(turn, &header);
    }));
    view.end();
    // Probes still waiting for an answer have nobody to tell; they need not be waited for.
    runtime.shutdown_background();

    let snapshot = snapshot::take(&judge, &header);
    let reported = result::print(&snapshot, o.format, Some(&html), out, err)?;
    let talk: &mut dyn Write = if o.format == Format::Json { err } else { out };
    if let Some(why) = record_trouble {
        writeln!(talk, "The record is not whole: {}", terminal(&why))?;
    }
    writeln!(talk, "Record: {}", terminal(&record.display().to_string()))?;
    if reported {
        writeln!(talk, "Report: {}", terminal(&html.display().to_string()))?;
    }
    let code = match playing {
        None => exit::of_verdict(snapshot.verdict().kind),
        Some(playing) => {
            let (text, all_right) = playing.compare(&snapshot)?;
            writeln!(talk, "\n{text}")?;
            if all_right { 0 } else { exit::PRACTICE_FAILED }
        }
    };
    Ok(if reported { code } else { exit::IO })
}

/// The length asked for, where it makes sense.
fn length(asked: jiff::SignedDuration) -> Result<Micros, CommandError> {
    if asked.is_positive() && asked <= LONGEST {
        return Ok(Micros::from(asked.unsigned_abs()));
    }
    let why = "--for: the length must be more than nothing and at most a year, for example 20m";
    Err(CommandError::Usage(why.into()))
}
