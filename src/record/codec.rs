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

use super::bytes::{put, put_signed, put_text, take, take_signed, take_text};
use super::runs::{self, Run};
use super::{codes, skeleton};
use crate::judge::{Detail, Entry, Micros, Moment, Observation, Rtt};
use std::collections::HashMap;
use std::sync::Arc;

pub(super) const TARGET: u64 = 0;
const SKELETON: u64 = 1;
const SHAPE: u64 = 2;
const ALIVE: u64 = 3;
const OTHER: u64 = 4;
pub(super) const RUN: u64 = 5;
const SEEN: u64 = 8;

/// Most shapes, targets or skeletons a chunk may name (choice: far above what an hour of any site holds).
const MOST_NAMES: usize = 65_536;

/// All of an observation but its times and numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
struct Shape {
    question: i64,
    target: u32,
    outcome: i64,
    /// 0 not timed, 1 timed around the calls, 2 by the kernel.
    timing: u8,
    skeleton: u32,
}

/// One question to one target, and what it was last seen to do.
#[derive(Clone, Copy, Debug, Default)]
struct Stream {
    asked: Option<i64>,
    interval: i64,
    rtt: i64,
    /// Time from asking to knowing beyond the round trip.
    excess: i64,
    /// The same where there was no round trip.
    wait: i64,
}

impl Stream {
    /// When it should ask next; before its first question, when anything was last known.
    fn due(&self, last_known: i64) -> i64 {
        self.asked.map_or(last_known, |a| a.wrapping_add(self.interval))
    }

    fn asked(&mut self, at: i64) {
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
struct Book {
    targets: Vec<Arc<str>>,
    skeletons: Vec<String>,
    shapes: Vec<Known>,
    streams: Vec<Stream>,
    by_question: HashMap<(i64, u32), usize>,
    last_known: i64,
}

/// A shape with the numbers it last had.
#[derive(Debug)]
struct Known {
    shape: Shape,
    stream: usize,
    numbers: Vec<i64>,
    detail: Detail,
}

impl Book {
    fn add(&mut self, shape: Shape, places: usize) {
        let next = self.streams.len();
        let stream = *self.by_question.entry((shape.question, shape.target)).or_insert(next);
        if stream == next {
            self.streams.push(Stream::default());
        }
        self.shapes.push(Known { shape, stream, numbers: vec![0; places], detail: Detail::None });
    }
}

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

/// What stands at one place of a chunk.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Read {
    /// An entry.
    Entry(Entry),
    /// Something was named: no entry.
    Named,
    /// An entry this version has no word for.
    Unknown,
    /// A run, spread out again.
    Run(Vec<Observation>),
}

/// Reads a chunk. Ends where it ends or is damaged: the count of entries tells.
#[derive(Debug)]
pub(super) struct Decoder<'a> {
    rest: &'a [u8],
    book: Book,
    damaged: bool,
}

impl<'a> Decoder<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { rest: bytes, book: Book::default(), damaged: false }
    }

    /// Whether everything so far made sense.
    #[cfg(test)]
    pub(super) fn whole(&self) -> bool {
        !self.damaged
    }

    fn step(&mut self) -> Option<Read> {
        let rest = &mut self.rest;
        let book = &mut self.book;
        Some(match take(rest)? {
            TARGET => {
                let name = take_text(rest)?;
                (book.targets.len() < MOST_NAMES).then(|| book.targets.push(name.into()))?;
                Read::Named
            }
            SKELETON => {
                let text = take_text(rest)?;
                (book.skeletons.len() < MOST_NAMES).then(|| book.skeletons.push(text.into()))?;
                Read::Named
            }
            SHAPE => {
                let mut number = || i64::try_from(take(rest)?).ok();
                let (question, target, outcome, timing, skeleton) =
                    (number()?, number()?, number()?, number()?, number()?);
                let target = u32::try_from(target).ok().filter(|t| (*t as usize) < book.targets.len())?;
                let skeleton = u32::try_from(skeleton).ok().filter(|s| *s as usize <= book.skeletons.len())?;
                let timing = u8::try_from(timing).ok().filter(|t| *t <= 2)?;
                let places = match skeleton {
                    0 => 0,
                    n => skeleton::places(&book.skeletons[n as usize - 1]),
                };
                if book.shapes.len() >= MOST_NAMES {
                    return None;
                }
                book.add(Shape { question, target, outcome, timing, skeleton }, places);
                let at = book.shapes.len() - 1;
                book.shapes[at].detail = detail(book, at)?;
                Read::Named
            }
            ALIVE => {
                let at = book.last_known.wrapping_add(take_signed(rest)?);
                book.last_known = at;
                Read::Entry(Entry::Alive { at: Moment(at) })
            }
            OTHER => {
                let text = take_text(rest)?;
                match serde_json::from_str::<Entry>(text) {
                    Ok(entry) => {
                        book.last_known = entry.known().0;
                        Read::Entry(entry)
                    }
                    Err(_) => Read::Unknown,
                }
            }
            RUN => {
                let run = runs::read(rest, book.shapes.len())?;
                let seen = spread(book, &run)?;
                for known in &mut book.shapes {
                    known.numbers.fill(0);
                }
                for at in 0..book.shapes.len() {
                    book.shapes[at].detail = detail(book, at)?;
                }
                Read::Run(seen)
            }
            n => {
                let n = n.checked_sub(SEEN)?;
                let at = usize::try_from(n / 2).ok().filter(|at| *at < book.shapes.len())?;
                let known = &mut book.shapes[at];
                let stream = &mut book.streams[known.stream];
                let asked = stream.due(book.last_known).wrapping_add(take_signed(rest)?);
                stream.asked(asked);
                let (took, rtt) = if known.shape.timing > 0 {
                    stream.rtt = stream.rtt.wrapping_add(take_signed(rest)?);
                    stream.excess = stream.excess.wrapping_add(take_signed(rest)?);
                    (stream.rtt.wrapping_add(stream.excess), Some(stream.rtt))
                } else {
                    stream.wait = stream.wait.wrapping_add(take_signed(rest)?);
                    (stream.wait, None)
                };
                if n % 2 == 1 {
                    for number in &mut known.numbers {
                        *number = number.wrapping_add(take_signed(rest)?);
                    }
                    book.shapes[at].detail = detail(book, at)?;
                }
                let known_at = asked.wrapping_add(took);
                book.last_known = known_at;
                observation(book, at, asked, known_at, rtt).map_or(Read::Unknown, |o| Read::Entry(Entry::Seen(o)))
            }
        })
    }
}

impl Iterator for Decoder<'_> {
    type Item = Read;

    fn next(&mut self) -> Option<Read> {
        while !self.rest.is_empty() && !self.damaged {
            match self.step() {
                Some(Read::Named) => {}
                Some(read) => return Some(read),
                None => self.damaged = true,
            }
        }
        None
    }
}

/// What a shape says with its present numbers; [`Detail::None`] where this version has no word for it is caught by
/// [`observation`], which refuses a shape whose detail did not read.
fn detail(book: &Book, at: usize) -> Option<Detail> {
    let known = book.shapes.get(at)?;
    if known.shape.skeleton == 0 {
        return Some(Detail::None);
    }
    let text = skeleton::join(book.skeletons.get(known.shape.skeleton as usize - 1)?, &known.numbers);
    Some(serde_json::from_str(&text).unwrap_or(Detail::None))
}

fn observation(book: &Book, at: usize, asked: i64, known_at: i64, rtt: Option<i64>) -> Option<Observation> {
    let known = &book.shapes[at];
    if known.shape.skeleton != 0 && known.detail == Detail::None {
        return None;
    }
    Some(Observation {
        asked: Moment(asked),
        known: Moment(known_at),
        question: codes::question(known.shape.question)?,
        target: Arc::clone(book.targets.get(known.shape.target as usize)?),
        outcome: codes::outcome(known.shape.outcome)?,
        rtt: rtt.map(|us| Rtt { took: Micros(us), kernel: known.shape.timing == 2 }),
        detail: known.detail.clone(),
    })
}

/// The observations of a run; those this version has no word for are left out.
fn spread(book: &mut Book, run: &runs::Packed) -> Option<Vec<Observation>> {
    let mut out = Vec::with_capacity(run.rtts.len().min(runs::MOST));
    let mut n = 0;
    for (at, numbers, count) in &run.parts {
        if numbers.len() != book.shapes[*at].numbers.len() {
            return None;
        }
        book.shapes[*at].numbers.clone_from(numbers);
        book.shapes[*at].detail = detail(book, *at)?;
        let timed = book.shapes[*at].shape.timing > 0;
        for _ in 0..*count {
            let asked = run.asked(n);
            let rtt = timed.then(|| run.rtts.get(n).copied().unwrap_or(0));
            out.extend(observation(
                book,
                *at,
                asked,
                asked.wrapping_add(rtt.unwrap_or(0)).wrapping_add(run.excess),
                rtt,
            ));
            n += 1;
        }
    }
    Some(out)
}

#[cfg(test)]
#[path = "codec_tests.rs"]
mod tests;
