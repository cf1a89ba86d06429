//! A panel's firmware against the least a communicator asks for, compared as dotted numbers.
//!
//! Decides only the order: 2.31 is newer than 2.8, which neither text nor a decimal fraction gets right. That panels
//! number their firmware so is common practice; no standard says so.

use serde::{Deserialize, Serialize};
use std::cmp::Ordering;

/// Most parts between dots.
const MOST_PARTS: usize = 6;

/// A version of dotted whole numbers.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Version {
    parts: Vec<u32>,
    text: String,
}

impl Version {
    /// Reads `2.31`, with or without a `v` before it. The error is what to write instead.
    pub fn read(text: &str) -> Result<Self, String> {
        let hint = || "write it as dotted whole numbers, as the panel shows it: \"2.31\"".to_owned();
        let bare = text.trim();
        let bare = bare.strip_prefix(['v', 'V']).unwrap_or(bare);
        let parts: Vec<&str> = bare.split('.').collect();
        if parts.len() > MOST_PARTS {
            return Err(format!("write {MOST_PARTS} numbers at most"));
        }
        let number = |part: &&str| {
            let digits = !part.is_empty() && part.len() <= 9 && part.bytes().all(|b| b.is_ascii_digit());
            if digits { part.parse::<u32>().map_err(|_| hint()) } else { Err(hint()) }
        };
        let parts = parts.iter().map(number).collect::<Result<_, _>>()?;
        Ok(Self { parts, text: bare.to_owned() })
    }

    /// Parts without the zeros at the end, which say nothing: 10.0 is 10.
    fn significant(&self) -> &[u32] {
        let kept = self.parts.iter().rposition(|p| *p != 0).map_or(0, |i| i + 1);
        &self.parts[..kept]
    }
}

impl Ord for Version {
    fn cmp(&self, other: &Self) -> Ordering {
        self.significant().cmp(other.significant())
    }
}

impl PartialOrd for Version {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Version {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Version {}

impl std::fmt::Display for Version {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.text)
    }
}

impl TryFrom<String> for Version {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        Self::read(&text)
    }
}

impl From<Version> for String {
    fn from(version: Version) -> String {
        version.text
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn dotted_numbers_are_neither_text_nor_fractions() {
        // Common practice, no source: compared number by number.
        let v = |t: &str| Version::read(t).unwrap();
        assert!(v("2.31") > v("2.8"));
        assert!(v("10.0.4") > v("9.40"));
        assert!(v("v7.2") < v("7.10"));
        assert_eq!(v("10.0"), v("10"));
        assert_eq!(v("9.02"), v("9.2"));
        assert!(v("10.0.1") > v("10"));
        for text in ["", "10.", ".5", "10.2b", "10,2", "ten", "1.2.3.4.5.6.7", "99999999999", "-1.2", "1..2"] {
            assert!(Version::read(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn the_first_number_that_differs_decides(a in 0u32..500, b in 0u32..500, c in 0u32..500, d in 0u32..500) {
            let (x, y) = (Version::read(&format!("{a}.{b}")).unwrap(), Version::read(&format!("{c}.{d}")).unwrap());
            prop_assert_eq!(x.cmp(&y), (a, b).cmp(&(c, d)));
        }
    }
}
