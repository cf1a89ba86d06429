//! Sections that several documents share, each built in one place: report, verdict on the terminal, survey record and the
//! technician's view take them in their own order.
//!
//! Decides what a section says and what is left unsaid; judges nothing.

mod answers;
mod happened;
mod record;
mod requirements;
mod verdict;

pub use answers::{answers, odds_today};
pub use happened::{happened, in_a_line, told_in_full, trouble, unseen};
pub use record::{cautions, facts, identity};
pub use requirements::{figures, requirements};
pub use verdict::{decides_today, faults, mending, reasons, sure, today, weighed, what_could_change, wrong};

use super::Blocks;
use crate::show::words::safe;

/// Untrusted words closed as a sentence.
pub fn sentence(text: &str) -> String {
    let text = safe(text.trim());
    match text.chars().last() {
        None | Some('.' | '!' | '?' | '…' | ')') => text,
        Some(_) => text + ".",
    }
}

/// What a choice rests on, as a sentence; empty where nothing was said.
pub fn rests_on(because: &str) -> String {
    if because.is_empty() { String::new() } else { format!("This rests on: {}", sentence(because)) }
}
