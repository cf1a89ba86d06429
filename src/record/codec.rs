//! A chunk: entries one after the other in the order they became known, each as a few bytes, giving back exactly what
//! was put in.
//!
//! What repeats is named once: targets, skeletons of details, and shapes (question, target, outcome, how it was timed,
//! skeleton). Times are kept as the difference from what the stream (one question to one target) was about to do: its
//! rhythm, its last round trip. A chunk knows nothing of the ones before it, so that one that is damaged or deleted
//! takes no other with it, and its bytes may be cut off anywhere: what stands before the cut still reads.
//!
//! | first number | then |
//! |---|---|
//! | 0 | a target: length, text |
//! | 1 | a skeleton: length, text (numbered from 1; 0 is "no detail") |
//! | 2 | a shape: question, target, outcome, timing, skeleton |
//! | 3 | the agent was alive: time less the last known |
//! | 4 | any other entry, as JSON |
//! | 5 | a run of answers that nothing sets apart (`runs`; in rolled-up chunks only) |
//! | 8 + 2 shape + new | an observation: asked, took, numbers if new |

use crate::judge::Detail;
use std::collections::HashMap;
use std::sync::Arc;

pub(super) const TARGET: u64 = 0;
pub(super) const SKELETON: u64 = 1;
pub(super) const SHAPE: u64 = 2;
pub(super) const ALIVE: u64 = 3;
pub(super) const OTHER: u64 = 4;
pub(super) const RUN: u64 = 5;
pub(super) const SEEN: u64 = 8;

/// Most shapes, targets or skeletons a chunk may name (choice: far above what an hour of any site holds).
pub(super) const MOST_NAMES: usize = 65_536;

/// All of an observation but its times and numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Shape {
    pub(super) question: i64,
    pub(super) target: u32,
    pub(super) outcome: i64,
    /// 0 not timed, 1 timed around the calls, 2 by the kernel.
    pub(super) timing: u8,
    pub(super) skeleton: u32,
}

/// One question to one target, and what it was last seen to do.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stream {
    pub(super) asked: Option<i64>,
    pub(super) interval: i64,
    pub(super) rtt: i64,
    /// Time from asking to knowing beyond the round trip.
    pub(super) excess: i64,
    /// The same where there was no round trip.
    pub(super) wait: i64,
}

impl Stream {
    /// When it should ask next; before its first question, when anything was last known.
    pub(super) fn due(&self, last_known: i64) -> i64 {
        self.asked.map_or(last_known, |a| a.wrapping_add(self.interval))
    }

    pub(super) fn asked(&mut self, at: i64) {
        if let Some(before) = self.asked {
            let took = at.wrapping_sub(before);
            let off = took.wrapping_sub(self.interval);
            // Lateness comes and goes around the rhythm; anything else is a new rhythm.
            self.interval = if off.unsigned_abs() <= self.interval.unsigned_abs() / 8 {
                self.interval.wrapping_add(off / 8)
            } else {
                took
            };
        }
        self.asked = Some(at);
    }
}

/// What both ends of a chunk know at any point of it.
#[derive(Debug, Default)]
pub(super) struct Book {
    pub(super) targets: Vec<Arc<str>>,
    pub(super) skeletons: Vec<String>,
    pub(super) shapes: Vec<Known>,
    pub(super) streams: Vec<Stream>,
    pub(super) by_question: HashMap<(i64, u32), usize>,
    pub(super) last_known: i64,
}

/// A shape with the numbers it last had.
#[derive(Debug)]
pub(super) struct Known {
    pub(super) shape: Shape,
    pub(super) stream: usize,
    pub(super) numbers: Vec<i64>,
    pub(super) detail: Detail,
}

impl Book {
    pub(super) fn add(&mut self, shape: Shape, places: usize) {
        let next = self.streams.len();
        let stream = *self.by_question.entry((shape.question, shape.target)).or_insert(next);
        if stream == next {
            self.streams.push(Stream::default());
        }
        self.shapes.push(Known { shape, stream, numbers: vec![0; places], detail: Detail::None });
    }
}

/// What an encoder has gathered.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Piece {
    pub(super) bytes: Vec<u8>,
    pub(super) entries: u32,
    /// Of these, those that are no observation and no sign of life: starts, ends, steps of the clock,
    /// marks of drills.
    pub(super) marks: u32,
    /// Least and greatest time known.
    pub(super) reach: Option<(i64, i64)>,
}

impl Piece {
    /// Adds what came after it in the same chunk.
    pub(super) fn append(&mut self, after: Self) {
        self.bytes.extend(after.bytes);
        self.entries = self.entries.saturating_add(after.entries);
        self.marks = self.marks.saturating_add(after.marks);
        self.reach = match (self.reach, after.reach) {
            (Some((a, b)), Some((c, d))) => Some((a.min(c), b.max(d))),
            (a, b) => a.or(b),
        };
    }
}
