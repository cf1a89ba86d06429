//! `pathproof drill`: something is done to the site on purpose, with permission, and what it does is timed.
//!
//! Cautions and permission come before the first packet; without permission nothing is sent and nothing is made. The same
//! agent and probes as in a survey run; the `guide` says what to do and marks it in the record, where the judge reads
//! the times from the lanes. A drill that was cut off is found in its record and gone on with.

mod guide;
mod hands;
mod hearing;
mod words;

use super::about::About;
use super::exit::{self, CommandError};
use super::options::{DrillKind, DrillOptions, Format};
use super::{replay, result, running};
use crate::agent::{Agent, Mark, Turn};
use crate::judge::drill::{self, Marked};
use crate::judge::{Drill, DrillResult, Judge, Micros, Moment, WallTime};
use crate::record::{self, Last, Writer};
use crate::show::columns::wrap;
use crate::show::escape::terminal;
use crate::snapshot;
use crate::sys::clock::{self, Clock};
use crate::worksheet::outlook;
use guide::{Guide, Sight};
use hands::Hands;
use hearing::Hearing;
use std::io::Write;
use std::path::{Path, PathBuf};
use tokio::sync::mpsc;

/// An answer counts as fresh for so long (choice: a survey's slowest question of the path and its patience).
const FRESH_TURNS: i64 = 3;
/// How long a mains-off drill on the practice site must last where nobody says.
const PRACTICE_NEEDED: Micros = Micros::from_secs(60);

impl From<DrillKind> for Drill {
    fn from(kind: DrillKind) -> Self {
        match kind {
            DrillKind::MainsOff => Self::MainsOff,
            DrillKind::RouterRestart => Self::RouterRestart,
            DrillKind::CablePull => Self::CablePull,
            DrillKind::ReceiverPath => Self::ReceiverPath,
        }
    }
}

/// A drill made ready: nothing was sent yet.
struct Ready {
    about: About,
    judge: Judge,
    /// The record to go on with; `None`: one is made.
    onto: Option<PathBuf>,
    clock: Clock,
    open: Option<Marked>,
}

/// Runs a drill. Must be called while the process has one thread.
pub(super) fn run(o: &DrillOptions, out: &mut dyn Write, err: &mut dyn Write) -> Result<i32, CommandError> {
    let kind = Drill::from(o.drill);
    sound_needed(o.needed)?;
    // Namespaces are entered before any thread is there.
    let stand = if o.practice { Some(hands::Stand::prepare(kind)?) } else { None };
    let mut ready = ready(o, stand.as_ref())?;
    let needed = ready.open.as_ref().map_or_else(|| needed(o, kind, &ready.about), |d| d.needed);
    if kind == Drill::ReceiverPath && ready.about.plan.receivers.is_empty() {
        let why =
            "receiver-path: no receiver is named. Name it in the site file ([[receiver]]), with the station's consent.";
        return Err(CommandError::BadSiteFile(why.into()));
    }
    let talk: &mut dyn Write = if o.format == Format::Json { err } else { out };
    open(&ready, kind, needed, talk)?;
    let hearing = Hearing::begin(ready.clock);
    if !o.permitted {
        tell(talk, "To go on, type yes and press Enter. Anything else ends here, with nothing sent.")?;
        if !hearing.yes() {
            let why = "Not permitted: nothing was sent and nothing was made.";
            return Err(CommandError::NotPermitted(why.into()));
        }
    }
    let record =
        ready.onto.clone().or_else(|| o.record.clone()).unwrap_or_else(|| running::free_name("drill", o.practice));
    let writer = if ready.onto.is_some() {
        go_on(&record, &ready.judge, talk)?
    } else {
        Writer::create(&record, &ready.about.text()?)?
    };
    let hands = stand.as_ref().map(|s| s.hands(kind, ready.clock));

    let guide = match &ready.open {
        Some(open) => Guide::resume(open, ready.clock.now()),
        None => Guide::new(kind, needed, ready.clock.now()),
    };
    tell(talk, "Looking whether the path carries ...")?;
    ready.judge.know(ready.about.plan.background.known());
    let (judge, trouble) =
        carry_out(&ready.about, ready.judge, ready.clock, writer, guide, &hearing, hands.as_ref(), talk)?;
    let truth = hands.map(Hands::finish).transpose().map_err(CommandError::Internal)?;
    conclude(&judge, kind, &record, o.format, trouble, truth, out, err)
}

/// What was asked for, from a file, from a record or on the practice site.
fn ready(o: &DrillOptions, stand: Option<&hands::Stand>) -> Result<Ready, CommandError> {
    if let Some(path) = &o.onto {
        let (judge, about, _) = replay::replay(path)?;
        if about.plan.practice {
            let why = "A practice site is gone when its run ends: its record can't be gone on with.";
            return Err(CommandError::Usage(why.into()));
        }
        let open = judge.drills().open().filter(|d| d.drill == o.drill.into()).cloned();
        let last = Last::of(&judge);
        let now = last.begins(&clock::boot_id(), clock::boot_time(), clock::wall_time(), clock::wall_synced());
        let clock = Clock::starting_at(now.max(judge.now() + Micros(1)));
        return Ok(Ready { about, judge, onto: Some(path.clone()), clock, open });
    }
    let (settled, own_set) = match stand {
        Some(stand) => (stand.settled(), None),
        None => running::settle(o.file.as_deref())?,
    };
    let about = About::new(settled, own_set, None);
    let judge = about.judge()?;
    Ok(Ready { about, judge, onto: None, clock: Clock::starting_at(Moment(0)), open: None })
}

/// Holds the record that `judge` was fed from, to go on with it.
fn go_on(record: &Path, judge: &Judge, talk: &mut dyn Write) -> Result<Writer, CommandError> {
    let held = record::hold(record)?;
    if let Some(words) = held.mended() {
        tell(talk, &terminal(words))?;
    }
    // Between reading it and the permission, another agent may have come and gone.
    let now = held.judge(judge.settings().clone(), replay::seal().as_ref(), || {})?.judge.now();
    if now > judge.now() {
        let why = format!("{}: another agent has written to it meanwhile; start the drill again.", record.display());
        return Err(CommandError::Busy(why));
    }
    let about = held.about().unwrap_or_default().to_owned();
    Ok(Writer::resume(held, &about)?)
}

/// How long the path must last: as asked, else by the site file.
fn needed(o: &DrillOptions, kind: Drill, about: &About) -> Option<Micros> {
    if kind != Drill::MainsOff {
        return None;
    }
    let asked = o.needed.map(|n| Micros::from(n.unsigned_abs()));
    let power = about.plan.background.power(&about.plan.site);
    let by_file = || outlook::needed(&power).map(|h| Micros((h.get() * 3.6e9) as i64));
    asked.or_else(by_file).or_else(|| o.practice.then_some(PRACTICE_NEEDED))
}

/// Cautions, what will be done and what will be sent.
fn open(ready: &Ready, kind: Drill, needed: Option<Micros>, talk: &mut dyn Write) -> std::io::Result<()> {
    writeln!(talk, "DRILL: {}\n\nCAUTIONS", kind.word())?;
    for caution in words::cautions(kind) {
        for line in wrap(caution, result::WIDTH, "- ", "  ") {
            writeln!(talk, "{line}")?;
        }
    }
    writeln!(talk, "\nWHAT HAPPENS")?;
    tell(talk, &words::about(kind, needed))?;
    tell(
        talk,
        "It is kept in the record with its time, and nothing in it counts for or against the path. You can end it at any moment: type stop, or Ctrl-C.",
    )?;
    if let Some(d) = &ready.open {
        let gone = d.off.map_or(Micros::ZERO, |off| ready.judge.now() - off);
        tell(
            talk,
            &format!(
                "FOUND IN THE RECORD: a {} drill that was cut off {}. It is gone on with; nothing known is measured anew.",
                kind.word(),
                if d.off.is_some() {
                    format!("{gone} after its beginning was reported")
                } else {
                    "before anything was taken away".into()
                },
            ),
        )?;
    }
    writeln!(talk)?;
    running::announce(&ready.about, talk)
}

/// Text wrapped to the page.
fn tell(talk: &mut dyn Write, text: &str) -> std::io::Result<()> {
    for line in wrap(text, result::WIDTH, "", "") {
        writeln!(talk, "{line}")?;
    }
    talk.flush()
}

#[allow(clippy::too_many_arguments, reason = "everything a drill has in hand, once")]
fn carry_out(
    about: &About,
    judge: Judge,
    clock: Clock,
    writer: Writer,
    mut guide: Guide,
    hearing: &Hearing,
    hands: Option<&Hands>,
    talk: &mut dyn Write,
) -> Result<(Judge, Option<String>), CommandError> {
    let (marks, taken) = mpsc::unbounded_channel::<Mark>();
    let mut marks = Some(marks);
    let has_receivers = !about.plan.receivers.is_empty();
    let cadence = if has_receivers { about.plan.cadence.receiver } else { about.plan.cadence.outside };
    let fresh = cadence.times(FRESH_TURNS) + about.plan.patience;
    let agent = Agent { marks: Some(taken), ..running::agent(about, clock, judge, Some(writer)) };
    let runtime = running::runtime()?;
    let finished = runtime.block_on(agent.run(hearing.stop(), |turn| {
        let Some(to_agent) = &marks else { return };
        let wants = guide.turn(&sight(turn, clock.now(), has_receivers, fresh), &hearing.heard());
        for mark in wants.marks {
            if let Some(hands) = hands {
                hands.follow(mark);
            }
            // The agent has gone: then there is no record to mark either.
            let _ = to_agent.send(mark);
        }
        for words in wants.says.iter().filter(|w| !w.is_empty()) {
            let _ = tell(talk, &terminal(words));
        }
        if wants.over {
            marks = None;
        }
    }));
    runtime.shutdown_background();
    Ok((finished.judge, finished.record_trouble))
}

fn sight(turn: &Turn<'_>, now: Moment, has_receivers: bool, fresh: Micros) -> Sight {
    let look = turn.judge.look();
    let open = turn.judge.drills().open().is_some();
    let result = if open { turn.judge.drill_results(&look).pop() } else { None };
    let down = result.as_ref().is_some_and(|r| r.is_down(&look));
    Sight { now, carries: drill::carries_now(&look, has_receivers, fresh), down, result }
}

#[allow(clippy::too_many_arguments, reason = "everything there is to tell, once")]
fn conclude(
    judge: &Judge,
    kind: Drill,
    record: &Path,
    format: Format,
    trouble: Option<String>,
    truth: Option<hands::Truth>,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<i32, CommandError> {
    let look = judge.look();
    let results = judge.drill_results(&look);
    let mine = results.last().filter(|r| r.marked.drill == kind);
    let name = record.display().to_string();
    let view = mine.map(|r| snapshot::drill_view(r, &look));
    let cut_short = view.as_ref().is_none_or(|v| v.cut_short.is_some());
    if format == Format::Json {
        let page = serde_json::json!({ "format": 1, "record": name, "drill": view });
        writeln!(out, "{page:#}")?;
    }
    let talk: &mut dyn Write = if format == Format::Json { err } else { out };
    let mut lines = vec![String::new(), format!("{} DRILL, {}", kind.word().to_uppercase(), day(mine))];
    match &view {
        None => lines.push("It ended before it began: nothing was done and nothing was measured.".into()),
        Some(v) => {
            lines.extend(v.cut_short.iter().map(|why| format!("CUT SHORT: {why}.")));
            lines.extend(v.says.iter().cloned());
        }
    }
    lines.extend(trouble.map(|why| format!("The record is not whole: {why}")));
    lines.push(format!("Record: {name}"));
    if matches!(kind, Drill::MainsOff | Drill::RouterRestart) && view.is_some() && truth.is_none() {
        lines.push(format!("In place of the estimates: pathproof power SITE-FILE --drills {name}"));
    }
    for line in &lines {
        tell(talk, &terminal(line))?;
    }
    let code = match (cut_short, mine.is_some_and(DrillResult::falls_short)) {
        (true, _) => exit::DRILL_CUT_SHORT,
        // What is good on the practice site is that it was measured right.
        (false, true) if truth.is_none() => exit::MEND_FIRST,
        (false, _) => 0,
    };
    let Some(truth) = truth else { return Ok(code) };
    let (told, right) = truth.compare(mine);
    for line in told {
        tell(talk, &line)?;
    }
    Ok(if right { code } else { exit::PRACTICE_FAILED })
}

fn day(r: Option<&DrillResult>) -> String {
    let at = r.and_then(|r| r.began).unwrap_or(WallTime(clock::wall_time().0));
    jiff::Timestamp::from_microsecond(at.0)
        .map_or_else(|_| "no date".into(), |t| t.strftime("%Y-%m-%d %H:%M UTC").to_string())
}

/// The length a drill must last, where it makes sense.
fn sound_needed(asked: Option<jiff::SignedDuration>) -> Result<(), CommandError> {
    let longest = jiff::SignedDuration::from_hours(7 * 24);
    match asked {
        Some(n) if !n.is_positive() || n > longest => {
            Err(CommandError::Usage("--needed: more than nothing and at most a week, for example 4h".into()))
        }
        _ => Ok(()),
    }
}
