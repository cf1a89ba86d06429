//! `pathproof watch`: the same agent as a survey, unattended, without an end.
//!
//! Goes on with the record it is given, says how the agent before it stopped, follows the host when its interface or
//! its resolvers change, and reads the site file again when told to (SIGHUP). A file that is wrong then changes
//! nothing. SIGTERM and SIGINT end it cleanly. A record that can't be written does not stop it.

use super::about::About;
use super::exit::{self, CommandError};
use super::live::LiveView;
use super::options::{Format, WatchOptions};
use super::replay::{header, know_drills, seal};
use super::resettle::{Renewal, Resettler};
use super::ruling::{Mark, Rulings};
use super::running::{self, announce};
use super::served::{self, Tokens};
use crate::agent::{Agent, Finished, Leave, Left, Turn};
use crate::judge::drill::{CutShort, DrillEnd, Step};
use crate::judge::{Detail, Entry, Judge, Question, Settings};
use crate::record::{self, Fed, Last, Writer};
use crate::show::escape::terminal;
use crate::site;
use crate::snapshot::{AgentView, Snapshot, Trouble};
use crate::sys::clock::{self, Clock};
use crate::sys::keeper::Keeper;
use crate::sys::memory;
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use tokio::sync::mpsc;

/// Where nobody looks at a screen, the lanes are looked over this often, in seconds.
const LOOK_EVERY: u32 = 5;
/// Renewals that may wait.
const QUEUE: usize = 4;

/// Runs a watch.
pub(super) fn run(o: &WatchOptions, out: &mut dyn Write) -> Result<i32, CommandError> {
    memory::one_heap();
    let (mut resettler, renewal) = Resettler::new(o.file.as_deref())?;
    let mut about = About::new(renewal.settled, renewal.own_set, None);
    // What would be refused is refused before anything is said.
    let tokens = Tokens::read(o)?;
    announce(&about, out)?;
    if o.announce_only {
        return Ok(exit::IP_ALONE);
    }
    let Some(path) = &o.record else { return Err(CommandError::Usage("--record: name the record".into())) };
    let settings = about.settings().map_err(CommandError::BadSiteFile)?;
    let mut keeper = Keeper::from_environment();
    let (writer, judge, clock, last_stop) = open(path, &about, settings, &mut keeper, out)?;
    let served = served::start(o, &tokens, path, clock, out)?;
    let runtime = running::runtime()?;
    let mut agent = running::agent(&about, clock, judge, Some(writer));
    memory::give_back();
    let mut rulings = Rulings::new();
    keeper.ready();
    let finished = loop {
        let header = about.header();
        let sends: Arc<[String]> = site::announce(&about.plan).into();
        let (asks, renewals) = mpsc::channel(QUEUE);
        resettler.follow(&about.plan, asks);
        let mut chosen = None;
        let left = {
            let mut view = LiveView::new(out, Format::Text);
            let mut turns = 0u32;
            let mut addressing = None;
            let mut told = None;
            let mut reported = String::new();
            let mut uneasy = [false; 2];
            let leave = leave(renewals, &mut chosen);
            let left = runtime.block_on(agent.run_until(leave, |turn| {
                let now = addressing_of(turn);
                if addressing.replace(now.clone()).is_some_and(|before| before != now) {
                    resettler.look();
                }
                let record = turn.health.record.as_ref().map(|r| r.keeping.clone());
                let was = std::mem::replace(&mut uneasy, [turn.judge.in_doubt(), turn.judge.anything_wrong()]);
                // Whoever has the page open sees each turn of a trouble as it comes.
                let close = uneasy.contains(&true) && served.as_ref().is_some_and(|s| s.views() > 0);
                if view.on_screen() || turns.is_multiple_of(LOOK_EVERY) || told != record || was != uneasy || close {
                    let now = clock.now();
                    let seen = view.show_with(turn, &header, Some(agent_view(turn, last_stop.as_deref())));
                    let ruled_anew = rulings.turn(turn.judge, mark(seen), now);
                    let shown = rulings.over(seen);
                    if let Some(served) = &served {
                        served::publish(served, shown, now, &sends);
                    }
                    let fares = fares(seen, &rulings);
                    if fares != reported {
                        keeper.status(&fares);
                        reported = fares;
                    }
                    if let (true, Some(ruling)) = (ruled_anew, &rulings.last) {
                        view.say(&format!("The verdict is now: {}", ruling.verdict.kind.words()));
                    }
                    told = record;
                }
                turns = turns.wrapping_add(1);
                keeper.alive();
            }));
            view.end();
            left
        };
        resettler.rest();
        let (judge, writer) = match left {
            Left::Over(finished) => break finished,
            Left::Renewed { judge, writer } => (judge, writer),
        };
        let judge = renew(&mut resettler, chosen, &mut about, *judge, (writer.as_ref(), path), &mut keeper, out);
        agent = Agent { goes_on: true, ..running::agent(&about, clock, judge, writer) };
    };
    keeper.stopping();
    // Probes still waiting for an answer have nobody to tell; they need not be waited for.
    runtime.shutdown_background();
    over(&finished, path, out)
}

/// Opens the record and feeds a judge from it. Gives the writer, the judge, the clock on the record's axis, and how the
/// agent before stopped.
fn open(
    path: &Path,
    about: &About,
    settings: Settings,
    keeper: &mut Keeper,
    out: &mut dyn Write,
) -> Result<(Writer, Judge, Clock, Option<String>), CommandError> {
    let name = terminal(&path.display().to_string());
    let text = about.text()?;
    let seal = seal();
    // Before it is held, so that another site's is not touched.
    if let Ok(record) = record::read(path) {
        same_site(record.about(), about, path)?;
    }
    let (mut writer, mut judge) = match record::hold(path) {
        Ok(held) => {
            if let Some(text) = held.about() {
                same_site(text, about, path)?;
            }
            if let Some(words) = held.mended() {
                writeln!(out, "{}", terminal(words))?;
            }
            let Fed { judge, passed_over, .. } = held.judge(settings, seal.as_ref(), || keeper.starting())?;
            if passed_over > 0 {
                writeln!(out, "{passed_over} entries of the record can't be read and were passed over.")?;
            }
            (Writer::resume(held, &text)?.sealing(seal, passed_over), judge)
        }
        Err(e) if e.may_pass() => {
            // What can be read of it is still what happened.
            let judge = match record::read(path) {
                Ok(record) => record.judge(settings, seal.as_ref(), || keeper.starting())?.judge,
                Err(_) => Judge::new(settings),
            };
            let why = terminal(&e.to_string());
            writeln!(out, "The record can't be written now ({why}); what is seen waits in memory.")?;
            (Writer::waiting(path, &text, &e)?, judge)
        }
        Err(e) => return Err(e.into()),
    };
    let last = Last::of(&judge);
    close_drill(&mut judge, &mut writer, out)?;
    know_drills(&mut judge, &mut about.plan.background.clone());
    let boot_id = clock::boot_id();
    let at = last.begins(&boot_id, clock::boot_time(), clock::wall_time(), clock::wall_synced());
    let stop = last.stop(&boot_id);
    match (stop, last.alive()) {
        (Some(stop), Some(alive)) => {
            let ago = at - alive;
            writeln!(out, "Going on with {name}. The agent before: {}, {ago} ago.", stop.words())?;
        }
        _ => writeln!(out, "A new record: {name}")?,
    }
    out.flush()?;
    Ok((writer, judge, Clock::starting_at(at), stop.map(|s| s.words().to_owned())))
}

/// A drill that was cut off and not gone on with is over: left open, all that is watched from now on would be left out.
fn close_drill(judge: &mut Judge, writer: &mut Writer, out: &mut dyn Write) -> Result<(), CommandError> {
    let Some(drill) = judge.drills().open().map(|d| d.drill.word()) else { return Ok(()) };
    let why = CutShort::AgentCutOff;
    let mark = Entry::Drill { at: judge.now(), step: Step::Ended(DrillEnd::CutShort(why)) };
    judge.take(&mark);
    writer.keep(mark);
    writeln!(out, "The {drill} drill in the record is over: {}.", why.words())?;
    Ok(())
}

/// One record a site: another site's observations would be judged as this one's.
fn same_site(text: &str, about: &About, path: &Path) -> Result<(), CommandError> {
    let name = path.display();
    let before = header(path, text)?;
    let (theirs, ours) = (&before.plan.site, &about.plan.site);
    let what = if before.plan.practice {
        "a record of the practice site".to_owned()
    } else if theirs != ours {
        format!("the record of the site {theirs}, not of {ours}")
    } else {
        return Ok(());
    };
    Err(CommandError::Usage(format!("{name} is {what}; name another one. Nothing was touched")))
}

/// Takes a new plan over. Gives the judge to go on with: anew, fed from the record, where the plan changes what is
/// judged by.
fn renew(
    resettler: &mut Resettler,
    chosen: Option<Renewal>,
    about: &mut About,
    judge: Judge,
    (writer, path): (Option<&Writer>, &Path),
    keeper: &mut Keeper,
    out: &mut dyn Write,
) -> Judge {
    let renewal = match chosen.map_or_else(|| resettler.reload(), Ok) {
        Ok(renewal) if renewal.settled.plan.site == about.plan.site => renewal,
        Ok(renewal) => {
            let other = terminal(&renewal.settled.plan.site);
            say(out, &format!("The site file is now of another site ({other}): the one before stays in force."));
            return judge;
        }
        Err(why) => {
            say(out, "The site file can't be used as it is now; the one before stays in force:");
            for line in why.to_string().lines() {
                say(out, &terminal(line));
            }
            return judge;
        }
    };
    let new = About::new(renewal.settled, renewal.own_set, None);
    let settings = match new.settings() {
        Ok(settings) => settings,
        Err(why) => {
            say(out, &format!("{}; the site file before stays in force.", terminal(&why)));
            return judge;
        }
    };
    let changed = new.judged_by() != about.judged_by();
    let Ok(text) = new.text() else { return judge };
    let fed = if changed { judge_anew(writer, path, settings, &new, keeper) } else { Some(judge.clone()) };
    let Some(fed) = fed else {
        say(
            out,
            "What is judged by would change, and the record can't be read now: the site file before stays in force.",
        );
        return judge;
    };
    if let Some(writer) = writer {
        writer.describe(&text);
    }
    *about = new;
    say(out, "The plan has changed:");
    let _ = announce(about, out);
    fed
}

/// A judge by other settings, fed with everything seen; `None` where not all of that is in the record.
fn judge_anew(
    writer: Option<&Writer>,
    path: &Path,
    settings: Settings,
    about: &About,
    keeper: &mut Keeper,
) -> Option<Judge> {
    if !writer?.commit().recv().unwrap_or(false) {
        return None;
    }
    let fed = record::read(path).ok()?.judge(settings, seal().as_ref(), || keeper.alive());
    let mut judge = fed.ok()?.judge;
    know_drills(&mut judge, &mut about.plan.background.clone());
    Some(judge)
}

fn say(out: &mut dyn Write, words: &str) {
    // Whoever was listening may have gone; watching goes on.
    let _ = writeln!(out, "{words}").and_then(|()| out.flush());
}

/// Addresses and gateway as last seen: what a change of network changes.
fn addressing_of(turn: &Turn<'_>) -> Vec<String> {
    let own = turn.judge.last_details().filter(|o| o.question == Question::OwnAddress);
    own.flat_map(|o| match &o.detail {
        Detail::OwnAddress { held, gateway } => held
            .iter()
            .map(|h| format!("{}/{}", h.address, h.prefix))
            .chain(gateway.map(|g| g.to_string()))
            .collect::<Vec<_>>(),
        _ => vec!["gone".into()],
    })
    .collect()
}

/// How the agent fares, for the snapshot.
fn agent_view(turn: &Turn<'_>, last_stop: Option<&str>) -> AgentView {
    let health = turn.health;
    let record = health.record.clone().unwrap_or_default();
    let why = match record.keeping {
        record::Keeping::Writing => None,
        record::Keeping::Waiting { why } => Some(why),
    };
    AgentView {
        record_waits: why,
        waiting: record.waiting,
        lost: record.lost,
        record_bytes: record.bytes,
        restarts: health.restarts,
        sleeps: health.sleeps,
        steps: health.steps,
        last_stop: last_stop.map(str::to_owned),
    }
}

/// What the verdict hangs on between two judgements.
fn mark(seen: &Snapshot) -> Mark {
    let count = |is: fn(&Trouble) -> bool| seen.troubles.iter().filter(|t| is(t)).count();
    (seen.troubles.len(), count(|t| t.end_s.is_none()), count(|t| t.outage))
}

/// How it fares, in one line for the service manager.
fn fares(seen: &Snapshot, rulings: &Rulings) -> String {
    let open = seen.troubles.iter().filter(|t| t.outage && t.down_to_s.is_none()).count();
    let path = if open > 0 { "The path is down" } else { "No outage" };
    let verdict = rulings.last.as_ref().map_or("no verdict yet", |r| r.verdict.kind.words());
    let waits =
        if seen.agent.as_ref().is_some_and(|a| a.record_waits.is_some()) { "; the record is not written" } else { "" };
    format!("{path}; {verdict}{waits}")
}

fn over(finished: &Finished, path: &Path, out: &mut dyn Write) -> Result<i32, CommandError> {
    let name = terminal(&path.display().to_string());
    match &finished.record_trouble {
        None => writeln!(out, "Stopped. To judge the record: pathproof report {name}")?,
        Some(why) => writeln!(out, "Stopped. The record {name} is not whole: {}", terminal(why))?,
    }
    Ok(if finished.record_trouble.is_some() { exit::IO } else { exit::IP_ALONE })
}

/// Resolves when the agent is to leave: for good (SIGTERM, SIGINT), or for another in its place (SIGHUP, or a plan that
/// the host's changes ask for, which is put in `chosen`).
async fn leave(mut renewals: mpsc::Receiver<Renewal>, chosen: &mut Option<Renewal>) -> Leave {
    use tokio::signal::unix::{SignalKind, signal};
    let signals = (signal(SignalKind::interrupt()), signal(SignalKind::terminate()), signal(SignalKind::hangup()));
    let (Ok(mut int), Ok(mut term), Ok(mut hup)) = signals else { return std::future::pending().await };
    tokio::select! {
        _ = int.recv() => Leave::Stop,
        _ = term.recv() => Leave::Stop,
        _ = hup.recv() => Leave::Renew,
        Some(renewal) = renewals.recv() => {
            *chosen = Some(renewal);
            Leave::Renew
        }
    }
}
