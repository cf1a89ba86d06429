//! The practice site's hands: they do there what a person does at a real site, and know when it was done.
//!
//! Follow the marks of the drill: mains taken away lets the router live for a while and then die; a restart takes it away
//! for some seconds; a pulled lead is the host's own. What was measured is then set beside what was done.

use super::super::exit::CommandError;
use crate::agent::Mark;
use crate::judge::drill::{Act, Drill, DrillResult, Lasted, Step};
use crate::judge::{Micros, Moment};
use crate::practice::{self, Fault, Ground, Script, Site};
use crate::site::Settled;
use crate::sys::clock::Clock;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

/// How long the practice router lives on its backup.
const LIVES: Duration = Duration::from_secs(40);
/// How long it takes to start.
const STARTS: Duration = Duration::from_secs(12);
/// A time measured on the practice site may be wrong by so much.
const WITHIN: Micros = Micros::from_secs(1);

/// The practice site, standing.
pub(super) struct Stand {
    site: Site,
    notes: Vec<String>,
    fault: Fault,
}

/// Hands at work.
pub(super) struct Hands {
    to: Option<Sender<(Moment, Act)>>,
    thread: JoinHandle<Result<Truth, String>>,
}

/// What was really done.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Truth {
    off: Option<Moment>,
    gone: Option<Moment>,
    on: Option<Moment>,
    back: Option<Moment>,
}

impl Stand {
    /// Builds the site, in namespaces where they are allowed.
    pub(super) fn prepare(drill: Drill) -> Result<Self, CommandError> {
        let ground = practice::prepare();
        let apart = matches!(ground, Ground::Namespaces(_));
        let mut notes = vec![if apart {
            "The practice site stands in network namespaces of its own: nothing leaves this machine.".to_owned()
        } else {
            "The practice site stands on loopback addresses: it has no router and no lead, so its line is cut instead."
                .to_owned()
        }];
        if drill == Drill::MainsOff {
            notes.push(format!(
                "Its router lives {} s without mains and takes {} s to start.",
                LIVES.as_secs(),
                STARTS.as_secs()
            ));
        }
        let script = Script { seed: 1, length_s: 0.0, steps: Vec::new() };
        let site = Site::start(ground, script).map_err(CommandError::Internal)?;
        let fault = match (apart, drill) {
            (false, _) => Fault::AccessCut,
            (true, Drill::CablePull) => Fault::LinkFlap,
            (true, _) => Fault::RouterRestart,
        };
        Ok(Self { site, notes, fault })
    }

    /// The plan, and what there is to know before the start.
    pub(super) fn settled(&self) -> Settled {
        let mut plan = self.site.plan.clone();
        plan.lease_file.clone_from(&self.site.lease_file);
        Settled { plan, notes: self.notes.clone() }
    }

    /// Hands that follow the marks of this drill.
    pub(super) fn hands(&self, drill: Drill, clock: Clock) -> Hands {
        let (to, acts) = channel();
        let (doer, fault) = (self.site.doer(), self.fault);
        let thread = std::thread::spawn(move || work(drill, &acts, |on| doer.set(&fault, on, clock)));
        Hands { to: Some(to), thread }
    }
}

impl Hands {
    /// A mark was set.
    pub(super) fn follow(&self, mark: Mark) {
        if let (Step::Acted(act), Some(to)) = (mark.step, &self.to) {
            // Hands that have stopped say why at the end.
            let _ = to.send((mark.at, act));
        }
    }

    /// Mends what is broken, and tells what was done.
    pub(super) fn finish(mut self) -> Result<Truth, String> {
        self.to = None;
        self.thread.join().unwrap_or_else(|_| Err("the practice site's hands stopped".into()))
    }
}

fn work(
    drill: Drill,
    acts: &Receiver<(Moment, Act)>,
    set: impl Fn(bool) -> Result<Moment, String>,
) -> Result<Truth, String> {
    let mut truth = Truth::default();
    let mut broken = false;
    let mut next = acts.recv().ok();
    while let Some((at, act)) = next.take() {
        match act {
            Act::Off => {
                truth.off = Some(at);
                let lives = if drill == Drill::MainsOff { LIVES } else { Duration::ZERO };
                // Mains may be back before the backup is empty.
                match acts.recv_timeout(lives) {
                    Ok(earlier) => {
                        next = Some(earlier);
                        continue;
                    }
                    Err(RecvTimeoutError::Disconnected) => break,
                    Err(RecvTimeoutError::Timeout) => {}
                }
                truth.gone = Some(set(true)?);
                broken = true;
            }
            Act::On => {
                truth.on = Some(at);
                if drill == Drill::RouterRestart {
                    truth.gone = Some(set(true)?);
                    broken = true;
                }
                if broken {
                    if drill != Drill::CablePull {
                        std::thread::sleep(STARTS);
                    }
                    truth.back = Some(set(false)?);
                    broken = false;
                }
            }
        }
        next = acts.recv().ok();
    }
    if broken {
        set(false)?;
    }
    Ok(truth)
}

impl Truth {
    /// What was measured beside what was done, in lines, and whether all of it is right.
    pub(super) fn compare(self, r: Option<&DrillResult>) -> (Vec<String>, bool) {
        let path = r.and_then(|r| r.path).and_then(|p| if let Lasted::GaveOut(l) = p { Some(l.middle) } else { None });
        let back = r.and_then(|r| r.back).map(|b| b.middle);
        let mut lines = vec!["Practice site, what was done and what was measured:".to_owned()];
        let mut right = true;
        let mut beside = |what: &str, done: Option<Micros>, measured: Option<Micros>| {
            let Some(done) = done else { return };
            let near = measured.is_some_and(|m| (m - done).0.abs() <= WITHIN.0);
            right &= near;
            let measured = measured.map_or("not measured".to_owned(), |m| format!("{:.1} s", m.secs()));
            let word = if near { "right" } else { "WRONG" };
            lines.push(format!("- {what}: done {:.1} s, measured {measured}: {word}", done.secs()));
        };
        if r.is_some_and(|r| r.marked.drill == Drill::MainsOff) {
            beside("the path lasted", self.off.zip(self.gone).map(|(a, b)| b - a), path);
        }
        beside("it carried again after", self.on.zip(self.back).map(|(a, b)| b - a), back);
        if lines.len() == 1 {
            lines.push("- nothing was taken away".into());
        }
        (lines, right)
    }
}
