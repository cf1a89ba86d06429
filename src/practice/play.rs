//! Plays a script on a site and writes down what really happened and when.

use super::compare::Truth;
use super::script::{Script, Step};
use super::stage::Stage;
use crate::judge::{Micros, Moment};
use crate::sys::clock::Clock;
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread::JoinHandle;

/// A script being played. Dropped, it stops.
pub struct Playing {
    stop: Option<mpsc::Sender<()>>,
    thread: Option<JoinHandle<Result<Vec<Truth>, String>>>,
}

impl Playing {
    /// Waits until the script is through and gives what happened.
    pub fn wait(mut self) -> Result<Vec<Truth>, String> {
        self.take()
    }

    /// Stops now, mending what is broken, and gives what happened so far.
    pub fn finish(mut self) -> Result<Vec<Truth>, String> {
        self.stop = None;
        self.take()
    }

    fn take(&mut self) -> Result<Vec<Truth>, String> {
        let Some(thread) = self.thread.take() else { return Ok(Vec::new()) };
        thread.join().unwrap_or_else(|_| Err("the script's thread ended unexpectedly".into()))
    }
}

impl Drop for Playing {
    fn drop(&mut self) {
        self.stop = None;
        // Its findings are not wanted any more; waiting makes sure that nothing is left broken.
        drop(self.take());
    }
}

pub(super) fn start(stage: Arc<dyn Stage>, script: &Script, clock: Clock) -> Result<Playing, String> {
    let steps: Vec<Step> = script.steps.iter().filter(|s| stage.can(&s.fault).is_ok()).copied().collect();
    let end = seconds(script.length_s);
    let (stop, stopped) = mpsc::channel();
    let thread = std::thread::Builder::new()
        .name("script".into())
        .spawn(move || play(&*stage, &steps, end, clock, &stopped))
        .map_err(|e| format!("no thread for the script: {e}"))?;
    Ok(Playing { stop: Some(stop), thread: Some(thread) })
}

fn seconds(s: f64) -> Micros {
    Micros((s * 1e6) as i64)
}

fn play(
    stage: &dyn Stage,
    steps: &[Step],
    end: Micros,
    clock: Clock,
    stopped: &mpsc::Receiver<()>,
) -> Result<Vec<Truth>, String> {
    let start = clock.now();
    // Every change in order of time; at the same moment endings come first.
    let mut changes: Vec<(Micros, bool, usize)> = steps
        .iter()
        .enumerate()
        .flat_map(|(i, s)| [(seconds(s.at_s), true, i), (seconds(s.until_s()), false, i)])
        .collect();
    changes.sort_unstable();
    let mut began: Vec<Option<Moment>> = vec![None; steps.len()];
    let mut truths = Vec::new();
    let mut going_on = true;
    for (at, on, i) in changes {
        going_on = going_on && sleep_until(start + at, clock, stopped);
        // Once stopped, only what is broken is mended.
        if !going_on && (on || began[i].is_none()) {
            continue;
        }
        let step = &steps[i];
        let moment = stage
            .set(&step.fault, on, clock)
            .map_err(|e| format!("{} could not be {}: {e}", step.fault.kind(), if on { "begun" } else { "ended" }))?;
        if on {
            began[i] = Some(moment);
        } else if let Some(from) = began[i].take() {
            truths.push(Truth { fault: step.fault.kind(), from, to: moment });
        }
    }
    if going_on {
        sleep_until(start + end, clock, stopped);
    }
    truths.sort_by_key(|t| t.from);
    Ok(truths)
}

/// Sleeps until then; false when stopped before.
fn sleep_until(at: Moment, clock: Clock, stopped: &mpsc::Receiver<()>) -> bool {
    loop {
        let left = at - clock.now();
        if left.0 <= 0 {
            return true;
        }
        if stopped.recv_timeout(left.to_std()) != Err(RecvTimeoutError::Timeout) {
            return false;
        }
    }
}
