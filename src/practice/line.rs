//! The access line's behaviour: what becomes of each frame.
//!
//! Decides delay, jitter and loss of every frame, and the exact start and end of a burst. Does not move frames; `cable`
//! does, and on loopback the services ask it themselves. It is told the time.
//!
//! A burst starts and ends with a lost datagram, so that its edges are things that happened: it is armed, and from then
//! on every frame is dropped up to and including the first datagram; told to end, it drops every frame up to and
//! including the next datagram. A lost datagram is a question or answer that somebody misses; other frames need not be.

use crate::judge::Micros;
use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt, SeedableRng};
use std::net::Ipv4Addr;
use std::sync::{Mutex, MutexGuard, PoisonError};

/// What the line does to frames, each way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Manner {
    /// Delay each way.
    pub delay: Micros,
    /// Up to this much more or less, drawn evenly for each frame; the order is kept.
    pub jitter: Micros,
    /// Share of frames lost each way.
    pub loss: f64,
}

impl Default for Manner {
    /// 12 ms each way, 1 ms of jitter, no loss.
    fn default() -> Self {
        Self { delay: Micros::from_millis(12), jitter: Micros::from_millis(1), loss: 0.0 }
    }
}

impl Manner {
    /// A line whose queues are full: everything gets through, late.
    pub const CONGESTED: Self = Self { delay: Micros::from_millis(150), jitter: Micros::from_millis(8), loss: 0.0 };
}

/// What becomes of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fate {
    /// It is lost.
    Lost,
    /// It arrives at this boot time, never before an earlier one of the same direction.
    Arrives(Micros),
}

/// How far a burst is.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Burst {
    Opening { first: Option<Micros> },
    Middle { first: Micros },
    Closing { last: Option<Micros> },
    Over { last: Option<Micros> },
}

#[derive(Debug)]
struct State {
    manner: Manner,
    cut: bool,
    /// Far ends that nothing but the router itself may reach.
    denied: Vec<Ipv4Addr>,
    burst: Option<(f64, Burst)>,
    latest: [Micros; 2],
    chance: Xoshiro256PlusPlus,
    /// Most that a frame was late.
    latest_by: Micros,
}

/// An access line, shared by those who use it and those who disturb it.
#[derive(Debug)]
pub struct Line {
    state: Mutex<State>,
}

impl Line {
    /// A line that behaves in the default manner.
    pub fn new(seed: u64) -> Self {
        Self {
            state: Mutex::new(State {
                manner: Manner::default(),
                cut: false,
                denied: Vec::new(),
                burst: None,
                latest: [Micros::ZERO; 2],
                chance: Xoshiro256PlusPlus::seed_from_u64(seed),
                latest_by: Micros::ZERO,
            }),
        }
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Every change is a plain assignment, so a panic elsewhere can't leave the state half-changed.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Sets the manner from now on.
    pub fn set_manner(&self, manner: Manner) {
        self.state().manner = manner;
    }

    /// Cuts the line or mends it.
    pub fn set_cut(&self, cut: bool) {
        self.state().cut = cut;
    }

    /// Whether the line is cut.
    pub fn is_cut(&self) -> bool {
        self.state().cut
    }

    /// From now on nothing passes between these far ends and any host but the router; empty: everything passes.
    pub fn set_denied(&self, far: Vec<Ipv4Addr>) {
        self.state().denied = far;
    }

    /// Whether a packet between two addresses is dropped; `router` is the router's own.
    pub fn denies(&self, ends: [Ipv4Addr; 2], router: Ipv4Addr) -> bool {
        let denied = &self.state().denied;
        !denied.is_empty() && ends.iter().any(|e| denied.contains(e)) && !ends.contains(&router)
    }

    /// Arms a burst in which this share of round trips is lost.
    pub fn arm_burst(&self, loss: f64) {
        // A round trip survives when both ways do, each on its own.
        let each_way = 1.0 - (1.0 - loss).max(0.0).sqrt();
        self.state().burst = Some((each_way, Burst::Opening { first: None }));
    }

    /// When the burst lost its first frame, once it has lost a datagram.
    pub fn burst_began(&self) -> Option<Micros> {
        match self.state().burst {
            Some((_, Burst::Middle { first })) => Some(first),
            _ => None,
        }
    }

    /// Whether a burst is on.
    pub fn in_burst(&self) -> bool {
        !matches!(self.state().burst, None | Some((_, Burst::Over { .. })))
    }

    /// Tells the burst to end with the next datagram.
    pub fn close_burst(&self) {
        if let Some((_, burst)) = &mut self.state().burst {
            *burst = Burst::Closing { last: None };
        }
    }

    /// When the burst lost its last frame, once it is over.
    pub fn burst_ended(&self) -> Option<Micros> {
        match self.state().burst {
            Some((_, Burst::Over { last })) => last,
            _ => None,
        }
    }

    /// Ends the burst at once, whatever state it is in; gives back the last loss of its closing.
    pub fn drop_burst(&self) -> Option<Micros> {
        match self.state().burst.take() {
            Some((_, Burst::Closing { last } | Burst::Over { last })) => last,
            _ => None,
        }
    }

    /// Notes that a frame was given out this long after it was due.
    pub fn note_late(&self, by: Micros) {
        let s = &mut *self.state();
        s.latest_by = s.latest_by.max(by);
    }

    /// The longest that a frame was given out after it was due: how far this machine was held up.
    pub fn held_up(&self) -> Micros {
        self.state().latest_by
    }

    /// Decides on a frame of one direction (0 or 1) that is here at boot time `now`.
    pub fn fate(&self, direction: usize, datagram: bool, now: Micros) -> Fate {
        let s = &mut *self.state();
        let way = direction & 1;
        let drawn = s.chance.random::<f64>();
        let burst_loses = match &mut s.burst {
            None | Some((_, Burst::Over { .. })) => false,
            Some((_, burst @ Burst::Opening { .. })) => {
                let Burst::Opening { first } = *burst else { return Fate::Lost };
                let first = first.unwrap_or(now);
                *burst = if datagram { Burst::Middle { first } } else { Burst::Opening { first: Some(first) } };
                true
            }
            Some((each_way, Burst::Middle { .. })) => drawn < *each_way,
            Some((_, burst @ Burst::Closing { .. })) => {
                *burst = if datagram { Burst::Over { last: Some(now) } } else { Burst::Closing { last: Some(now) } };
                true
            }
        };
        if s.cut || burst_loses || drawn < s.manner.loss {
            return Fate::Lost;
        }
        let shift = Micros((s.manner.jitter.0 as f64 * s.chance.random_range(-1.0..=1.0)) as i64);
        let due = (now + s.manner.delay + shift).max(now).max(s.latest[way]);
        s.latest[way] = due;
        Fate::Arrives(due)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn share_of_round_trips(line: &Line, from: i64, n: i64) -> f64 {
        let lost = (from..from + n)
            .filter(|i| {
                let t = Micros(i * 1_000);
                [0, 1].into_iter().any(|way| line.fate(way, true, t) == Fate::Lost)
            })
            .count();
        lost as f64 / n as f64
    }

    #[test]
    fn frames_keep_their_order_and_their_delay() {
        let line = Line::new(1);
        let mut before = Micros::ZERO;
        for i in 0..5_000 {
            let now = Micros(i * 100);
            let Fate::Arrives(due) = line.fate(0, true, now) else { panic!("nothing is lost") };
            assert!(due >= before, "frame {i} overtakes");
            // A frame held back by one before it is never later than that one's own bound.
            assert!((due - now).0.abs_diff(12_000) <= 1_000, "{:?}", due - now);
            before = due;
        }
    }

    #[test]
    fn a_burst_loses_its_share_and_its_edges_are_losses() {
        let line = Line::new(7);
        assert!(share_of_round_trips(&line, 0, 100) < 1e-9);
        line.arm_burst(0.75);
        assert_eq!(line.fate(0, false, Micros(200_000)), Fate::Lost);
        assert_eq!(line.burst_began(), None, "no datagram lost yet");
        assert_eq!(line.fate(1, true, Micros(201_000)), Fate::Lost);
        assert_eq!(line.burst_began(), Some(Micros(200_000)));
        // 10 000 independent trips at 0.75: standard deviation 0.0043; five of them.
        let share = share_of_round_trips(&line, 1_000, 10_000);
        assert!((share - 0.75).abs() < 0.022, "{share}");
        line.close_burst();
        assert_eq!(line.fate(0, false, Micros(20_000_000)), Fate::Lost);
        assert_eq!(line.burst_ended(), None);
        assert_eq!(line.fate(1, true, Micros(20_001_000)), Fate::Lost);
        assert_eq!(line.burst_ended(), Some(Micros(20_001_000)));
        assert!(!line.in_burst() && share_of_round_trips(&line, 30_000, 100) < 1e-9);
    }

    #[test]
    fn a_cut_line_carries_nothing() {
        let line = Line::new(1);
        line.set_cut(true);
        assert!(share_of_round_trips(&line, 0, 100) > 0.999);
        line.set_cut(false);
        assert!(share_of_round_trips(&line, 100, 100) < 1e-9);
    }
}
