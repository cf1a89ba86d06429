//! The two clocks: boot-time (runs through suspend) for durations, wall time for labels.

use crate::judge::{Micros, Moment, WallTime};
use nix::time::{ClockId, clock_gettime};

/// The boot-time clock on the record's axis.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    offset: Micros,
}

impl Clock {
    /// A clock that reads `at` now.
    pub fn starting_at(at: Moment) -> Self {
        Self { offset: at - Moment(boot_time().0) }
    }

    /// The present moment on the record's axis.
    pub fn now(&self) -> Moment {
        Moment(boot_time().0) + self.offset
    }

    /// The tokio instant at which this clock will read `at` (now, if it has passed).
    pub fn instant(&self, at: Moment) -> tokio::time::Instant {
        tokio::time::Instant::now() + (at - self.now()).to_std()
    }
}

/// Time since boot, suspend included (`CLOCK_BOOTTIME`).
pub fn boot_time() -> Micros {
    read(ClockId::CLOCK_BOOTTIME)
}

/// Time since boot, suspend left out (`CLOCK_MONOTONIC`).
pub fn awake_time() -> Micros {
    read(ClockId::CLOCK_MONOTONIC)
}

/// Wall time, UTC.
pub fn wall_time() -> WallTime {
    WallTime(read(ClockId::CLOCK_REALTIME).0)
}

/// The kernel's boot id; empty where it can't be read.
pub fn boot_id() -> String {
    std::fs::read_to_string("/proc/sys/kernel/random/boot_id").map(|s| s.trim().to_owned()).unwrap_or_default()
}

/// Whether the kernel holds the wall clock to be synchronised (`adjtimex`); `None` where it will not say.
pub fn wall_synced() -> Option<bool> {
    // SAFETY: `timex` is plain data for which all-zero is valid; modes = 0 only reads.
    let mut t: libc::timex = unsafe { std::mem::zeroed() };
    // SAFETY: `t` outlives the call and is exclusively borrowed.
    let state = unsafe { libc::adjtimex(&raw mut t) };
    (state >= 0).then_some(state != libc::TIME_ERROR)
}

fn read(id: ClockId) -> Micros {
    // Both clocks exist on every kernel this runs on (Linux 2.6.39 and later); a failure would be a kernel bug.
    clock_gettime(id).map_or(Micros::ZERO, |t| Micros(t.tv_sec() * 1_000_000 + t.tv_nsec() / 1_000))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_clock_starts_where_told_and_runs_forward() {
        let c = Clock::starting_at(Moment(1_000));
        let first = c.now();
        assert!(first >= Moment(1_000) && first < Moment(1_000_000), "{first:?}");
        std::thread::sleep(std::time::Duration::from_millis(2));
        assert!(c.now() - first >= Micros(2_000));
        assert_eq!(boot_id().len(), 36);
    }
}
