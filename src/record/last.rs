//! How the agent before us stopped, and where on the axis the next one begins.
//!
//! Decides from what the record says: its last start (boot id, boot-time clock, wall clock), the last sign of life, and
//! whether it said that it ended. An end nobody announced under another boot id is what a power cut leaves, and a crash
//! of the kernel too: evidence, not proof.

use crate::judge::{Judge, Micros, Moment, Session, WallTime};
use serde::{Deserialize, Serialize};

/// A wall clock that nobody vouches for is not believed to have run on for longer than this while the agent was off: a
/// clock without a battery wakes up years away from now (choice: a month; that is longer than most are away).
const BELIEVED: Micros = Micros::from_secs(30 * 86_400);

/// How an agent stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stop {
    /// It said so.
    Clean,
    /// It stopped without a word while the machine ran on: killed, or it fell.
    Killed,
    /// The machine stopped under it: power lost, or restarted without a word.
    MachineStopped,
}

impl Stop {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Clean => "it was stopped",
            Self::Killed => "it stopped without a word while this machine ran on (killed, or a fault of its own)",
            Self::MachineStopped => "this machine stopped under it (power lost, or restarted without a word)",
        }
    }
}

/// The end of a record, as a judge fed with it knows it.
#[derive(Clone, Debug)]
pub struct Last {
    session: Option<Session>,
    /// Wall time at a moment: the last one known.
    anchor: Option<(Moment, WallTime)>,
    alive: Moment,
    ended: bool,
}

impl Last {
    /// The end of the record that a judge was fed with.
    pub fn of(judge: &Judge) -> Self {
        Self {
            session: judge.sessions().last().cloned(),
            anchor: judge.anchor(),
            alive: judge.now(),
            ended: judge.ended().is_some(),
        }
    }

    /// The last sign of life; `None` in a record without any start.
    pub fn alive(&self) -> Option<Moment> {
        self.session.as_ref().map(|_| self.alive)
    }

    /// How the agent before stopped, as one sees from a boot with this id; `None` where there was none.
    pub fn stop(&self, boot_id: &str) -> Option<Stop> {
        let before = self.session.as_ref()?;
        Some(if self.ended {
            Stop::Clean
        } else if before.boot_id == boot_id {
            Stop::Killed
        } else {
            Stop::MachineStopped
        })
    }

    /// Where on the axis an agent begins that starts now. Within one boot the boot-time clock tells, whatever was done
    /// to the wall clock; across boots the wall clock does, and never less than no time has passed.
    pub fn begins(&self, boot_id: &str, boot: Micros, wall: WallTime, synced: Option<bool>) -> Moment {
        let Some(before) = &self.session else { return Moment(0) };
        if !boot_id.is_empty() && before.boot_id == boot_id {
            return (before.at + (boot - before.boot)).max(self.alive);
        }
        let Some((at, then)) = self.anchor else { return self.alive };
        let passed = Micros(wall.0.saturating_sub(then.0)) - (self.alive - at);
        let believed = synced == Some(true) || passed <= BELIEVED;
        if believed && passed > Micros::ZERO { self.alive + passed } else { self.alive }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Ending, Entry};

    const S: fn(i64) -> Micros = Micros::from_secs;
    const DAY: i64 = 86_400;

    fn at(s: i64) -> Moment {
        Moment(s * 1_000_000)
    }

    fn wall(s: i64) -> WallTime {
        WallTime((1_700_000_000 + s) * 1_000_000)
    }

    fn none() -> Last {
        Last::of(&Judge::new(crate::judge::kit::settings(10)))
    }

    fn killed_at(second: i64, more: &[Entry]) -> Last {
        let mut judge = Judge::new(crate::judge::kit::settings(10));
        let session = Session { at: at(0), boot_id: "one".into(), boot: S(500), wall: wall(0), synced: Some(true) };
        judge.take(&Entry::Began(session));
        judge.take(&Entry::Alive { at: at(second) });
        for e in more {
            judge.take(e);
        }
        Last::of(&judge)
    }

    #[test]
    fn how_it_stopped_is_told_by_the_last_word_and_the_boot_id() {
        let last = killed_at(100, &[]);
        assert_eq!((last.stop("one"), last.stop("two")), (Some(Stop::Killed), Some(Stop::MachineStopped)));
        let last = killed_at(100, &[Entry::Ended { at: at(101), how: Ending::Interrupted }]);
        assert_eq!((last.stop("one"), last.stop("two")), (Some(Stop::Clean), Some(Stop::Clean)));
        assert_eq!(none().stop("one"), None);
    }

    #[test]
    fn within_a_boot_the_wall_clock_has_no_say() {
        let last = killed_at(100, &[]);
        for stepped in [-400 * DAY, 0, 3_600, 400 * DAY] {
            assert_eq!(last.begins("one", S(500 + 160), wall(160 + stepped), Some(true)), at(160));
        }
        // A clock that can't be: never before the last sign of life.
        assert_eq!(last.begins("one", S(10), wall(160), Some(true)), at(100));
    }

    #[test]
    fn across_boots_the_wall_clock_tells_and_a_step_before_is_known() {
        let last = killed_at(100, &[]);
        assert_eq!(last.begins("two", S(7), wall(400), Some(true)), at(400));
        assert_eq!(last.begins("two", S(7), wall(-5_000), Some(false)), at(100), "never backwards");
        let last = killed_at(100, &[Entry::Stepped { at: at(110), wall: wall(110 + 3_600) }]);
        assert_eq!(last.begins("two", S(7), wall(3_600 + 400), Some(true)), at(400));
        // Years away without anybody to vouch for it: a clock that lost its battery.
        assert_eq!(last.begins("two", S(7), wall(3_650 * DAY), Some(false)), at(110));
        assert_eq!(last.begins("two", S(7), wall(3_650 * DAY), None), at(110));
        assert_eq!(last.begins("two", S(7), wall(90 * DAY), Some(true)), at(90 * DAY - 3_600));
    }

    #[test]
    fn a_new_record_begins_at_nothing() {
        assert_eq!(none().begins("one", S(5), wall(0), None), at(0));
    }
}
