//! What a practice site can do: the faults, each stamped with the moment it really took effect.

use super::line::Line;
use super::receiver::Visits;
use super::script::Fault;
use crate::judge::{Micros, Moment};
use crate::sys::clock::{Clock, boot_time};
use std::time::Duration;

/// A site faults can be played on.
pub(super) trait Stage: Send + Sync {
    /// Its access line.
    fn line(&self) -> &Line;
    /// What came to its receiver.
    fn visits(&self) -> &Visits;
    /// Whether a fault can be played here; why not.
    fn can(&self, fault: &Fault) -> Result<(), String>;
    /// Begins a fault or ends it; gives the moment it took effect.
    fn set(&self, fault: &Fault, on: bool, clock: Clock) -> Result<Moment, String>;
}

/// Longest wait for a datagram that marks the edge of a burst. An agent at work sends several a second.
const EDGE_WAIT: Micros = Micros::from_secs(2);
const LOOK: Duration = Duration::from_millis(5);

/// Does something and gives the middle of the time it took.
pub(super) fn stamped(clock: Clock, act: impl FnOnce() -> Result<(), String>) -> Result<Moment, String> {
    let before = clock.now();
    act()?;
    Ok(before.midpoint(clock.now()))
}

/// Arms a burst and waits for its first lost datagram; gives the moment of the first loss.
pub(super) fn begin_burst(line: &Line, loss: f64, clock: Clock) -> Moment {
    line.arm_burst(loss);
    wait(|| line.burst_began()).map_or_else(|| clock.now(), |at| moment(clock, at))
}

/// Lets a burst end with a lost datagram; gives the moment of that loss.
pub(super) fn end_burst(line: &Line, clock: Clock) -> Moment {
    line.close_burst();
    wait(|| line.burst_ended());
    line.drop_burst().map_or_else(|| clock.now(), |at| moment(clock, at))
}

fn wait<T>(mut look: impl FnMut() -> Option<T>) -> Option<T> {
    let until = boot_time() + EDGE_WAIT;
    loop {
        if let Some(found) = look() {
            return Some(found);
        }
        if boot_time() >= until {
            return None;
        }
        std::thread::sleep(LOOK);
    }
}

/// A boot time on the record's axis.
fn moment(clock: Clock, boot: Micros) -> Moment {
    clock.now() - (boot_time() - boot)
}
