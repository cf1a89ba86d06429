//! Writes a chunk, entry by entry: see `codec` for what stands in it.

use super::bytes::{put, put_signed, put_text};
use super::codec::{ALIVE, Book, OTHER, Piece, SEEN, SHAPE, SKELETON, Shape, TARGET};
use super::runs::{self, Run};
use super::{codes, skeleton};
use crate::judge::{Detail, Entry, Observation};
use std::collections::HashMap;
use std::sync::Arc;

/// Writes a chunk.
#[derive(Debug, Default)]
pub(super) struct Encoder {
    book: Book,
    targets: HashMap<Arc<str>, u32>,
    skeletons: HashMap<String, u32>,
    shapes: HashMap<Shape, usize>,
    /// The shape each stream last had: nearly always the next one too.
    last: HashMap<(i64, u32), usize>,
    out: Vec<u8>,
    entries: u32,
    marks: u32,
    reach: Option<(i64, i64)>,
}

impl Encoder {
    /// Appends an entry.
    pub(super) fn push(&mut self, entry: &Entry) {
        let known = entry.known().0;
        match entry {
            Entry::Seen(o) => match (codes::question_code(o.question), codes::outcome_code(o.outcome)) {
                (Some(question), Some(outcome)) => self.seen(o, question, outcome),
                _ => self.other(entry),
            },
            Entry::Alive { at } => {
                put(&mut self.out, ALIVE);
                put_signed(&mut self.out, at.0.wrapping_sub(self.book.last_known));
            }
            _ => self.other(entry),
        }
        self.book.last_known = known;
        self.entries += 1;
        self.reach = Some(self.reach.map_or((known, known), |(a, b)| (a.min(known), b.max(known))));
    }

    /// Takes what was written since it was last taken; the chunk goes on.
    pub(super) fn take(&mut self) -> Piece {
        let (entries, marks) = (std::mem::take(&mut self.entries), std::mem::take(&mut self.marks));
        Piece { bytes: std::mem::take(&mut self.out), entries, marks, reach: self.reach.take() }
    }

    fn other(&mut self, entry: &Entry) {
        self.marks += u32::from(!matches!(entry, Entry::Seen(_)));
        put(&mut self.out, OTHER);
        // Plain data with text keys: there is nothing in it that JSON can't hold.
        put_text(&mut self.out, &serde_json::to_string(entry).unwrap_or_default());
    }

    fn seen(&mut self, o: &Observation, question: i64, outcome: i64) {
        let (at, numbers) = self.shape_of(o, question, outcome);
        let new = numbers.is_some();
        put(&mut self.out, SEEN + 2 * at as u64 + u64::from(new));
        let known = &mut self.book.shapes[at];
        let stream = &mut self.book.streams[known.stream];
        put_signed(&mut self.out, o.asked.0.wrapping_sub(stream.due(self.book.last_known)));
        stream.asked(o.asked.0);
        let took = o.known.0.wrapping_sub(o.asked.0);
        if let Some(rtt) = o.rtt {
            let rtt = rtt.took.0;
            let excess = took.wrapping_sub(rtt);
            put_signed(&mut self.out, rtt.wrapping_sub(stream.rtt));
            put_signed(&mut self.out, excess.wrapping_sub(stream.excess));
            (stream.rtt, stream.excess) = (rtt, excess);
        } else {
            put_signed(&mut self.out, took.wrapping_sub(stream.wait));
            stream.wait = took;
        }
        if let Some(numbers) = numbers {
            for (new, old) in numbers.iter().zip(&known.numbers) {
                put_signed(&mut self.out, new.wrapping_sub(*old));
            }
            known.numbers = numbers;
        }
    }

    /// The number of the observation's shape, named first where it is new, and its numbers where they are not those the
    /// shape last had.
    fn shape_of(&mut self, o: &Observation, question: i64, outcome: i64) -> (usize, Option<Vec<i64>>) {
        let target = self.target(&o.target);
        let timing = o.rtt.map_or(0, |r| 1 + u8::from(r.kernel));
        if let Some(at) = self.last.get(&(question, target)) {
            let known = &self.book.shapes[*at];
            if (known.shape.outcome, known.shape.timing) == (outcome, timing) && known.detail == o.detail {
                return (*at, None);
            }
        }
        let (skeleton, numbers) = if o.detail == Detail::None {
            (0, Vec::new())
        } else {
            let (text, numbers) = skeleton::split(&serde_json::to_string(&o.detail).unwrap_or_default());
            (self.skeleton(text), numbers)
        };
        let shape = Shape { question, target, outcome, timing, skeleton };
        let at = if let Some(at) = self.shapes.get(&shape) {
            *at
        } else {
            let at = self.book.shapes.len();
            put(&mut self.out, SHAPE);
            for n in [question as u64, u64::from(target), outcome as u64, u64::from(timing), u64::from(skeleton)] {
                put(&mut self.out, n);
            }
            self.book.add(shape, numbers.len());
            self.shapes.insert(shape, at);
            at
        };
        self.last.insert((question, target), at);
        let known = &mut self.book.shapes[at];
        known.detail.clone_from(&o.detail);
        let new = known.numbers != numbers;
        (at, new.then_some(numbers))
    }

    fn target(&mut self, name: &Arc<str>) -> u32 {
        if let Some(id) = self.targets.get(name) {
            return *id;
        }
        put(&mut self.out, TARGET);
        put_text(&mut self.out, name);
        let id = self.targets.len() as u32;
        self.targets.insert(Arc::clone(name), id);
        id
    }

    fn skeleton(&mut self, text: String) -> u32 {
        if let Some(id) = self.skeletons.get(&text) {
            return *id;
        }
        put(&mut self.out, SKELETON);
        put_text(&mut self.out, &text);
        let id = self.skeletons.len() as u32 + 1;
        self.skeletons.insert(text, id);
        id
    }

    /// Appends a run of observations of one stream: `details` are the sequence of what they said.
    pub(super) fn run(&mut self, run: &Run) {
        let Some((first, rest)) = run.seen.split_first() else { return };
        let codes = |o: &Observation| codes::question_code(o.question).zip(codes::outcome_code(o.outcome));
        // Names first, so that nothing stands between the parts of the run.
        let mut parts: Vec<(usize, Vec<i64>, u64)> = Vec::new();
        for o in std::iter::once(first).chain(rest) {
            let Some((question, outcome)) = codes(o) else { return };
            let (at, new) = self.shape_of(o, question, outcome);
            if let Some(numbers) = new {
                self.book.shapes[at].numbers.clone_from(&numbers);
            }
            let numbers = &self.book.shapes[at].numbers;
            match parts.last_mut() {
                Some(last) if last.0 == at && last.1 == *numbers => last.2 += 1,
                _ => parts.push((at, numbers.clone(), 1)),
            }
        }
        runs::write(&mut self.out, run, &parts);
        // What the shapes last said is not known to a reader that has not come to the run: it starts from nothing there.
        for known in &mut self.book.shapes {
            known.numbers.fill(0);
            known.detail = Detail::Gone;
        }
        self.last.clear();
        self.entries += run.seen.len() as u32;
        for o in &run.seen {
            let known = o.known.0;
            self.reach = Some(self.reach.map_or((known, known), |(a, b)| (a.min(known), b.max(known))));
        }
    }
}
