//! The guide through a drill: what is asked of the person at the site, what is marked in the record, when it is over.
//!
//! A machine: it is told each second what the judge sees and what was heard, and says which marks to keep and what to
//! print. Knows no clock, stream or file. Nothing is marked as begun before the path carries, and every way out tells
//! what must be put back. A drill found open in the record is gone on with from where its marks leave it.

use super::words;
use crate::agent::Mark;
use crate::judge::drill::{Act, CutShort, Drill, DrillEnd, DrillResult, Lasted, Marked, Step};
use crate::judge::{Micros, Moment};

/// The path must carry so long before anything is taken away (choice: a few turns of every question).
const SETTLED: Micros = Micros::from_secs(5);
/// ... and is waited for so long (choice).
const SETTLE_WITHIN: Micros = Micros::from_secs(90);
/// It counts as back once it carried for so long (choice: past the time a lane takes to be clear).
const STEADY: Micros = Micros::from_secs(5);
/// A restart that takes nothing down within this time was none (choice).
const DOWN_WITHIN: Micros = Micros::from_secs(120);
/// How long the path's return is waited for (choice: three times the 5 min a provider's page allows an optical
/// terminal).
const BACK_WITHIN: Micros = Micros::from_secs(900);
/// Where nobody answers any more and no time was named, mains is off at most this long.
const LONGEST_ALONE: Micros = Micros::from_secs(24 * 3_600);
/// Receivers have so long to answer, and are looked at for at least [`SETTLED`] (choice).
const REACH_WITHIN: Micros = Micros::from_secs(60);
/// How often a long drill says how it stands (choice).
const TELL_EVERY: Micros = Micros::from_secs(300);

/// What was heard from the person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Heard {
    /// A line.
    Line(String),
    /// Nothing will be said any more.
    End,
    /// A signal to stop.
    Signal,
}

/// What the judge sees.
#[derive(Clone, Debug)]
pub(super) struct Sight {
    /// The present.
    pub(super) now: Moment,
    /// The path carries now.
    pub(super) carries: bool,
    /// It went down in the drill and is not back.
    pub(super) down: bool,
    /// What the drill has measured so far; `None` before it began.
    pub(super) result: Option<DrillResult>,
}

/// What the guide wants done.
#[derive(Debug, Default)]
pub(super) struct Wants {
    /// Marks to keep, in order.
    pub(super) marks: Vec<Mark>,
    /// Sentences to print.
    pub(super) says: Vec<String>,
    /// The drill is over.
    pub(super) over: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// Waiting until the path carries.
    Settle { since: Moment, carried: Option<Moment> },
    /// Asked to take away.
    Off,
    /// Taken away: timing.
    Timing { told: Option<&'static str>, next: Moment },
    /// Given back: waiting for the path.
    Return { steady: Option<Moment>, seen_down: bool },
    /// Waiting for receivers.
    Reach { since: Moment },
    /// Over.
    Over,
}

/// The guide.
#[derive(Debug)]
pub(super) struct Guide {
    drill: Drill,
    needed: Option<Micros>,
    began: bool,
    phase: Phase,
    on: Option<Moment>,
    deaf: bool,
}

impl Guide {
    /// A drill about to begin.
    pub(super) fn new(drill: Drill, needed: Option<Micros>, now: Moment) -> Self {
        let phase = Phase::Settle { since: now, carried: None };
        Self { drill, needed, began: false, phase, on: None, deaf: false }
    }

    /// A drill that was cut off.
    pub(super) fn resume(d: &Marked, now: Moment) -> Self {
        let phase = match (d.drill, d.off, d.on) {
            (Drill::ReceiverPath, ..) => Phase::Reach { since: now },
            (_, _, Some(_)) => Phase::Return { steady: None, seen_down: false },
            (Drill::RouterRestart, ..) | (_, None, _) => Phase::Settle { since: now, carried: None },
            (_, Some(_), None) => Phase::Timing { told: None, next: now + TELL_EVERY },
        };
        Self { drill: d.drill, needed: d.needed, began: true, phase, on: d.on, deaf: false }
    }

    /// One turn: about once a second, and with everything heard since the last.
    pub(super) fn turn(&mut self, sight: &Sight, heard: &[(Moment, Heard)]) -> Wants {
        let mut wants = Wants::default();
        for (at, what) in heard {
            self.hear(*at, what, &mut wants);
        }
        self.look(sight, &mut wants);
        wants.over = self.phase == Phase::Over;
        wants
    }

    fn hear(&mut self, at: Moment, what: &Heard, wants: &mut Wants) {
        if self.phase == Phase::Over {
            return;
        }
        match what {
            Heard::Signal => self.end(at, DrillEnd::CutShort(CutShort::Stopped), wants),
            Heard::End => self.deaf = true,
            Heard::Line(line) => match line.trim().to_ascii_lowercase().as_str() {
                "stop" => self.end(at, DrillEnd::CutShort(CutShort::Stopped), wants),
                "" | "done" => self.done(at, wants),
                _ => wants.says.push("Press Enter when it is done, or type stop to end the drill.".into()),
            },
        }
    }

    /// The person says that it is done.
    fn done(&mut self, at: Moment, wants: &mut Wants) {
        let mut act = |act| wants.marks.push(Mark { at, step: Step::Acted(act) });
        match self.phase {
            Phase::Off if self.drill == Drill::RouterRestart => {
                act(Act::On);
                self.on = Some(at);
                self.phase = Phase::Return { steady: None, seen_down: false };
                wants.says.push(words::WAITING_FOR_PATH.into());
            }
            Phase::Off => {
                act(Act::Off);
                self.phase = Phase::Timing { told: None, next: at + TELL_EVERY };
                wants.says.push(words::timing(self.drill, self.needed));
            }
            Phase::Timing { .. } => {
                act(Act::On);
                self.on = Some(at);
                self.phase = Phase::Return { steady: None, seen_down: false };
                wants.says.push(words::WAITING_FOR_PATH.into());
            }
            Phase::Settle { .. } | Phase::Return { .. } | Phase::Reach { .. } | Phase::Over => {
                wants.says.push("Nothing is to be done just now.".into());
            }
        }
    }

    fn look(&mut self, sight: &Sight, wants: &mut Wants) {
        let now = sight.now;
        match self.phase {
            Phase::Settle { since, carried } => self.settle(since, carried, sight, wants),
            Phase::Off if self.deaf => self.end(now, DrillEnd::CutShort(CutShort::NobodyThere), wants),
            Phase::Timing { told, next } => self.time(told, next, sight, wants),
            Phase::Return { steady, seen_down } => self.wait_for_return(steady, seen_down, sight, wants),
            Phase::Reach { since } => {
                let all = sight.result.as_ref().is_some_and(|r| !r.reached.is_empty() && r.reached.iter().all(|r| r.1));
                if (all && now - since >= SETTLED) || now - since >= REACH_WITHIN {
                    self.end(now, DrillEnd::Complete, wants);
                }
            }
            Phase::Off | Phase::Over => {}
        }
    }

    fn settle(&mut self, since: Moment, carried: Option<Moment>, sight: &Sight, wants: &mut Wants) {
        let now = sight.now;
        // What it finds is the point of this one.
        let carried = if sight.carries { Some(carried.unwrap_or(now)) } else { None };
        let ready = self.drill == Drill::ReceiverPath || carried.is_some_and(|c| now - c >= SETTLED);
        if ready {
            self.begin(now, wants);
            if self.drill == Drill::ReceiverPath {
                self.phase = Phase::Reach { since: now };
            } else {
                self.phase = Phase::Off;
                wants.says.push(words::ask_off(self.drill).into());
            }
        } else if now - since >= SETTLE_WITHIN {
            self.begin(now, wants);
            self.end(now, DrillEnd::CutShort(CutShort::PathNotUp), wants);
        } else {
            self.phase = Phase::Settle { since, carried };
        }
    }

    fn begin(&mut self, at: Moment, wants: &mut Wants) {
        if !self.began {
            self.began = true;
            wants.marks.push(Mark { at, step: Step::Began { drill: self.drill, needed: self.needed } });
        }
    }

    fn time(&mut self, told: Option<&'static str>, next: Moment, sight: &Sight, wants: &mut Wants) {
        let now = sight.now;
        let Some(result) = &sight.result else { return };
        let since = result.marked.off.map_or(Micros::ZERO, |off| now - off);
        let reached = match self.drill {
            Drill::MainsOff if matches!(result.path, Some(Lasted::GaveOut(_))) && sight.down => {
                Some("The path gave out.")
            }
            // Where the agent was away meanwhile, nobody knows that it carried.
            Drill::MainsOff if self.needed.is_some_and(|n| since >= n) && result.marked.away.is_empty() => {
                Some("The time that is needed is over, and the path still carries.")
            }
            Drill::CablePull if result.seen.is_some() => Some("It was seen."),
            Drill::CablePull if since >= DOWN_WITHIN => Some("Nothing was seen to go: is it the right lead?"),
            _ => None,
        };
        match (reached, told) {
            (Some(what), None) => {
                wants.says.push(format!("{what} {}", words::ask_on(self.drill)));
                self.phase = Phase::Timing { told: Some(what), next };
            }
            (Some(_), Some(_)) if self.deaf && self.drill == Drill::MainsOff => {
                // Measured what it is for; only the return is not timed.
                self.end(now, DrillEnd::Complete, wants);
            }
            (_, Some(_)) if self.deaf => self.end(now, DrillEnd::CutShort(CutShort::NobodyThere), wants),
            (None, None) if self.deaf && since >= LONGEST_ALONE => {
                self.end(now, DrillEnd::CutShort(CutShort::NobodyThere), wants);
            }
            (None, _) if now >= next => {
                wants.says.push(words::still(self.drill, since, sight.carries));
                self.phase = Phase::Timing { told, next: now + TELL_EVERY };
            }
            _ => {}
        }
    }

    fn wait_for_return(&mut self, before: Option<Moment>, seen_down: bool, sight: &Sight, wants: &mut Wants) {
        let now = sight.now;
        let since = self.on.map_or(Micros::ZERO, |on| now - on);
        let back = sight.result.as_ref().is_some_and(|r| r.back.is_some());
        // Without mains the gear may never have noticed: then there is nothing to come back.
        let fine = sight.carries && !sight.down && (back || self.drill == Drill::MainsOff);
        let steady = if fine { Some(before.unwrap_or(now)) } else { None };
        if sight.down && !seen_down && self.drill != Drill::MainsOff {
            wants.says.push("The path is down.".into());
        }
        if back && steady.is_some() && before.is_none() {
            wants.says.push("The path carries again; a few seconds to make sure.".into());
        }
        self.phase = Phase::Return { steady, seen_down: seen_down || sight.down };
        if steady.is_some_and(|s| now - s >= STEADY) && (back || since >= STEADY.times(2)) {
            self.end(now, DrillEnd::Complete, wants);
        } else if sight.carries && !back && !sight.down && since >= DOWN_WITHIN {
            self.end(now, DrillEnd::CutShort(CutShort::NeverWentDown), wants);
        } else if since >= BACK_WITHIN {
            self.end(now, DrillEnd::CutShort(CutShort::NotBack), wants);
        }
    }

    fn end(&mut self, at: Moment, how: DrillEnd, wants: &mut Wants) {
        let touched = matches!(self.phase, Phase::Off | Phase::Timing { .. } | Phase::Return { .. });
        let away = touched && how != DrillEnd::Complete || matches!(self.phase, Phase::Timing { .. });
        if self.began {
            wants.marks.push(Mark { at, step: Step::Ended(how) });
        }
        if away {
            wants.says.push(words::put_back(self.drill).into());
        }
        self.phase = Phase::Over;
    }
}

#[cfg(test)]
#[path = "guide_tests.rs"]
mod tests;
