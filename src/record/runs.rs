//! A run: many answers of one stream that nothing sets apart, kept as how many, from when to when, what each said and
//! how long each took. Spread out again they stand evenly between the first and the last.
//!
//! Lost is the lateness of each question: its rhythm keeps that small. Round trips are kept whole and in their order,
//! because the jitter that is made of them depends on both.

use super::bytes::{put, put_signed, take, take_signed};
use super::codec::RUN;
use crate::judge::Observation;

/// Most observations of one run.
pub(super) const MOST: usize = 65_536;
/// A run to be written: observations of one stream, in order of asking, all timed or none.
#[derive(Debug)]
pub(super) struct Run {
    pub(super) seen: Vec<Observation>,
}

/// A run as it is kept.
#[derive(Debug)]
pub(super) struct Packed {
    count: usize,
    first: i64,
    last: i64,
    /// From asking to knowing, beyond the round trip.
    pub(super) excess: i64,
    /// Shape, its numbers, and how many in a row.
    pub(super) parts: Vec<(usize, Vec<i64>, u64)>,
    /// One for each observation where they are timed.
    pub(super) rtts: Vec<i64>,
}

impl Packed {
    /// When the `n`th was asked.
    pub(super) fn asked(&self, n: usize) -> i64 {
        let gaps = self.count.saturating_sub(1).max(1) as i128;
        let length = i128::from(self.last) - i128::from(self.first);
        i64::try_from(i128::from(self.first) + length * n as i128 / gaps).unwrap_or(self.last)
    }
}

pub(super) fn write(out: &mut Vec<u8>, run: &Run, parts: &[(usize, Vec<i64>, u64)]) {
    let (Some(first), Some(last)) = (run.seen.first(), run.seen.last()) else { return };
    let rtt = |o: &Observation| o.rtt.map_or(0, |r| r.took.0);
    let mut excess: Vec<i64> = run.seen.iter().map(|o| (o.known - o.asked).0.saturating_sub(rtt(o))).collect();
    excess.sort_unstable();
    put(out, RUN);
    put(out, run.seen.len() as u64);
    put_signed(out, first.asked.0);
    put_signed(out, last.asked.0);
    put_signed(out, excess[excess.len() / 2]);
    put(out, parts.len() as u64);
    for (shape, numbers, count) in parts {
        put(out, *shape as u64);
        put(out, numbers.len() as u64);
        for n in numbers {
            put_signed(out, *n);
        }
        put(out, *count);
    }
    put(out, u64::from(first.rtt.is_some()));
    if first.rtt.is_some() {
        let mut before = 0;
        for o in &run.seen {
            put_signed(out, rtt(o).wrapping_sub(before));
            before = rtt(o);
        }
    }
}

/// Reads a run after its first number; `shapes` is how many there are.
pub(super) fn read(rest: &mut &[u8], shapes: usize) -> Option<Packed> {
    let count = usize::try_from(take(rest)?).ok().filter(|n| (1..=MOST).contains(n))?;
    let (first, last, excess) = (take_signed(rest)?, take_signed(rest)?, take_signed(rest)?);
    let mut parts = Vec::new();
    let mut left = count as u64;
    for _ in 0..take(rest)? {
        let shape = usize::try_from(take(rest)?).ok().filter(|s| *s < shapes)?;
        let numbers = take(rest)?;
        // Each number is a byte at least: a length beyond what is left is no length.
        if numbers > rest.len() as u64 {
            return None;
        }
        let numbers = (0..numbers).map(|_| take_signed(rest)).collect::<Option<Vec<i64>>>()?;
        let these = take(rest)?;
        left = left.checked_sub(these)?;
        parts.push((shape, numbers, these));
    }
    if left != 0 {
        return None;
    }
    let mut rtts = Vec::new();
    if take(rest)? == 1 {
        let mut rtt = 0i64;
        for _ in 0..count {
            rtt = rtt.wrapping_add(take_signed(rest)?);
            rtts.push(rtt);
        }
    }
    Some(Packed { count, first, last, excess, parts, rtts })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn nothing_makes_the_reader_fall(bytes in prop::collection::vec(any::<u8>(), 0..60)) {
            let _ = read(&mut &bytes[..], 3);
        }
    }
}
