//! Who is asked what: a short list with places that never move, found fast.
//!
//! Every observation is looked up here, so a look-up goes by the pointer of the name first: probes and the record's
//! reader hand out one name per target, and the text is compared only where that fails. The list is capped, for names
//! come from outside; what becomes of those beyond the cap is for its owner to say.

use crate::judge::facts::Question;
use serde::{Deserialize, Serialize};
use std::sync::Arc;

/// Questions put to targets, in the order first heard of.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Roster(Vec<(Question, Arc<str>)>);

impl Roster {
    /// The most a roster holds: more than any site file may name (eight of a kind) and what changes while watching.
    pub const MOST: usize = 64;

    /// Where this question to this target stands.
    #[inline]
    pub fn place(&self, question: Question, target: &Arc<str>) -> Option<usize> {
        let very = |(q, t): &(Question, Arc<str>)| Arc::ptr_eq(t, target) && *q == question;
        let alike = |(q, t): &(Question, Arc<str>)| *q == question && t == target;
        self.0.iter().position(very).or_else(|| self.0.iter().position(alike))
    }

    /// Takes in another at the end; `None` when the roster is full.
    pub fn add(&mut self, question: Question, target: &Arc<str>) -> Option<usize> {
        let place = self.0.len();
        (place < Self::MOST).then(|| self.0.push((question, Arc::clone(target))))?;
        Some(place)
    }

    /// Gives a place to another.
    pub fn replace(&mut self, place: usize, question: Question, target: &Arc<str>) {
        self.0[place] = (question, Arc::clone(target));
    }

    /// Who stands at a place.
    pub fn at(&self, place: usize) -> (Question, &Arc<str>) {
        let (question, target) = &self.0[place];
        (*question, target)
    }
}

/// A set of places, one bit each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Places(u64);

const _: () = assert!(Roster::MOST <= u64::BITS as usize);

impl Places {
    /// Whether a place is in it.
    pub fn has(self, place: usize) -> bool {
        self.0 & (1 << place) != 0
    }

    /// Puts a place in.
    pub fn insert(&mut self, place: usize) {
        self.0 |= 1 << place;
    }

    /// Takes a place out.
    pub fn remove(&mut self, place: usize) {
        self.0 &= !(1 << place);
    }

    /// All but one, in order.
    pub fn others(self, place: usize) -> impl Iterator<Item = usize> {
        let mut left = self.0 & !(1 << place);
        std::iter::from_fn(move || {
            let next = (left != 0).then_some(left.trailing_zeros() as usize)?;
            left &= left - 1;
            Some(next)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_found_by_its_pointer_and_by_its_text_and_the_list_is_capped() {
        let mut roster = Roster::default();
        let name = |n: usize| Arc::<str>::from(format!("receiver-{n}"));
        for n in 0..Roster::MOST {
            assert_eq!(roster.add(Question::Connect, &name(n)), Some(n));
        }
        assert_eq!(roster.add(Question::Connect, &name(Roster::MOST)), None);
        let (_, kept) = roster.at(7);
        assert_eq!(roster.place(Question::Connect, &Arc::clone(kept)), Some(7));
        assert_eq!(roster.place(Question::Connect, &name(7)), Some(7));
        assert_eq!(roster.place(Question::Handshake, &name(7)), None);
    }
}
