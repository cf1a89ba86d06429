//! Reads a chunk, place by place: see `codec` for what stands in it. The bytes may come from anybody.

use super::bytes::{take, take_signed, take_text};
use super::codec::{ALIVE, Book, MOST_NAMES, OTHER, RUN, SEEN, SHAPE, SKELETON, Shape, TARGET};
use super::{codes, runs, skeleton};
use crate::judge::{Detail, Entry, Micros, Moment, Observation, Rtt};
use std::sync::Arc;

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
