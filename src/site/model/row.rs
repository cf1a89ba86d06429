//! One section of a checked site file: its values by key, each read once.
//!
//! Checks nothing again: what does not fit its key's form has not come here.

use crate::judge::{Micros, WallTime};
use crate::site::value::{Host, Value};
use serde::de::value::{Error as NoSuchWord, StrDeserializer};
use serde::de::{DeserializeOwned, IntoDeserializer};
use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::ops::Range;

/// Sections by name, each with its entries.
pub(in crate::site) type Rows = BTreeMap<&'static str, Vec<Row>>;

/// The checked values of one section, each with its place in the file.
#[derive(Debug, Default)]
pub(in crate::site) struct Row {
    pub(in crate::site) values: BTreeMap<&'static str, (Value, Range<usize>)>,
    /// Keys whose values did not pass.
    pub(in crate::site) refused: Vec<&'static str>,
}

impl Row {
    /// Whether the file gave it, in a sound form or not.
    pub(in crate::site) fn has(&self, key: &str) -> bool {
        self.values.contains_key(key) || self.refused.contains(&key)
    }

    /// The values under these keys, if all are there: what two entries must not share.
    pub(in crate::site) fn mark<'r>(&'r self, keys: &[&str]) -> Option<Vec<&'r Value>> {
        keys.iter().map(|k| self.values.get(*k).map(|(v, _)| v)).collect()
    }

    pub(super) fn take(&mut self, key: &'static str) -> Option<Value> {
        self.values.remove(key).map(|(v, _)| v)
    }

    pub(super) fn text(&mut self, key: &'static str) -> Option<String> {
        match self.take(key)? {
            Value::Text(t) => Some(t),
            other => unreachable!("{key} passed a form of text, yet it is {other:?}"),
        }
    }

    pub(super) fn needed_text(&mut self, key: &'static str) -> String {
        self.text(key).expect("load refuses a section without it, or gives its default")
    }

    pub(super) fn word<T: DeserializeOwned>(&mut self, key: &'static str) -> T {
        of_word(&self.needed_text(key))
    }

    pub(super) fn length(&mut self, key: &'static str) -> Option<Micros> {
        match self.take(key)? {
            Value::Length(l) => Some(l),
            other => unreachable!("{key} passed a form of length, yet it is {other:?}"),
        }
    }

    pub(super) fn whole(&mut self, key: &'static str) -> Option<u32> {
        match self.take(key)? {
            Value::Whole(n) => Some(u32::try_from(n).expect("the table of keys keeps whole numbers within u32")),
            other => unreachable!("{key} passed a form of whole number, yet it is {other:?}"),
        }
    }

    pub(super) fn needed_length(&mut self, key: &'static str) -> Micros {
        self.length(key).expect("it has a default in the table of keys")
    }

    pub(super) fn port(&mut self, key: &'static str) -> u16 {
        self.whole(key).and_then(|p| u16::try_from(p).ok()).expect("load keeps ports within u16 and gives or wants one")
    }

    pub(super) fn lengths(&mut self, key: &'static str) -> Option<Vec<Micros>> {
        match self.take(key)? {
            Value::Lengths(l) => Some(l),
            other => unreachable!("{key} passed a form of lengths, yet it is {other:?}"),
        }
    }

    pub(super) fn time(&mut self, key: &'static str) -> WallTime {
        match self.take(key) {
            Some(Value::Time(t)) => t,
            other => unreachable!("{key} is refused when missing and passed a form of time, yet it is {other:?}"),
        }
    }

    pub(super) fn flag(&mut self, key: &'static str) -> Option<bool> {
        match self.take(key)? {
            Value::Flag(b) => Some(b),
            other => unreachable!("{key} passed a form of flag, yet it is {other:?}"),
        }
    }

    pub(super) fn socket(&mut self, key: &'static str) -> SocketAddr {
        match self.take(key) {
            Some(Value::Socket(a)) => a,
            other => unreachable!("{key} is refused when missing and passed a form of address, yet it is {other:?}"),
        }
    }

    pub(super) fn address(&mut self, key: &'static str) -> Option<SocketAddr> {
        self.values.contains_key(key).then(|| self.socket(key))
    }

    pub(super) fn host(&mut self, key: &'static str) -> Host {
        match self.take(key) {
            Some(Value::Host(h)) => h,
            other => unreachable!("{key} is refused when missing and passed a form of host, yet it is {other:?}"),
        }
    }

    /// Every key of the table must have been read by now: one that was not would be ignored in silence.
    pub(super) fn finish(self) {
        debug_assert!(self.values.is_empty(), "keys that load knows and the model does not read: {:?}", self.values);
    }
}

pub(super) fn single(rows: &mut Rows, section: &'static str) -> Row {
    rows.remove(section).and_then(|mut r| r.pop()).expect("load gives every single section one row")
}

pub(super) fn each<T>(rows: &mut Rows, section: &'static str, mut read: impl FnMut(&mut Row) -> T) -> Vec<T> {
    let rows = rows.remove(section).unwrap_or_default();
    rows.into_iter()
        .map(|mut row| {
            let made = read(&mut row);
            row.finish();
            made
        })
        .collect()
}

/// The value a word of the table stands for, by the same names that reports and records use.
pub(super) fn of_word<T: DeserializeOwned>(word: &str) -> T {
    let word: StrDeserializer<'_, NoSuchWord> = word.into_deserializer();
    T::deserialize(word).expect("every word of the table of keys names a value; a test walks them")
}
