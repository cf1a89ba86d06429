//! The verdict and what stands directly beside it: how sure, the choice for today, reasons, the cost of being wrong, what
//! could change it, what to mend.

use super::{Blocks, odds_today, rests_on, sentence};
use crate::show::words;
use crate::snapshot::{Mend, Snapshot, VerdictKind};
use crate::words::people;

/// Reasons that stand beside the verdict; the others stand further down.
const FIRST_REASONS: usize = 3;

/// Whether the choice for today is not the verdict itself and must be told.
pub fn decides_today(s: &Snapshot) -> bool {
    matches!(s.verdict().kind, VerdictKind::KeepWatching | VerdictKind::MendFirst)
}

/// How sure the verdict is and how much was watched.
pub fn sure(b: &mut Blocks, s: &Snapshot) {
    if s.practice {
        b.say("Practice site: a virtual home with scripted faults, not a real line.");
    }
    b.say(words::how_sure(s).unwrap_or_default());
    b.say(words::watched(s));
}

/// The safer choice if one must decide today, as a sentence.
pub fn safer(s: &Snapshot) -> String {
    let given = sentence(&s.verdict().safer_today);
    if given.is_empty() { "No safer choice was given.".to_owned() } else { given }
}

/// The choice for today, in four lines; where there are none, for somebody who must decide today.
pub fn today(b: &mut Blocks, s: &Snapshot) {
    if !s.verdict().today.is_empty() {
        b.part("today", "The choice for today").list(s.verdict().today.iter().map(|l| sentence(l)));
        return;
    }
    if !decides_today(s) {
        return;
    }
    b.part("today", "If you must decide today");
    b.lead(&safer(s));
    let odds = odds_today(s).unwrap_or_default();
    b.say(format!("{} {odds}", rests_on(&s.verdict().safer_because)).trim());
}

/// The reasons that led to the verdict: the strongest ones.
pub fn reasons(b: &mut Blocks, s: &Snapshot) {
    if !s.verdict().reasons.is_empty() {
        b.part("why", "Why").list(s.verdict().reasons.iter().take(FIRST_REASONS).map(|r| sentence(r)));
    }
}

/// The reasons that do not stand beside the verdict.
pub fn weighed(b: &mut Blocks, s: &Snapshot) {
    if let Some(rest @ [_, ..]) = s.verdict().reasons.get(FIRST_REASONS..) {
        b.part("weighed", "What else was weighed").list(rest.iter().map(|r| sentence(r)));
    }
}

/// What being wrong would cost, each way.
pub fn wrong(b: &mut Blocks, s: &Snapshot) {
    if !s.verdict().if_wrong.is_empty() {
        b.part("wrong", "What being wrong would cost").list(s.verdict().if_wrong.iter().map(|w| sentence(w)));
    }
}

/// What could make it another verdict.
pub fn what_could_change(b: &mut Blocks, s: &Snapshot) {
    let v = s.verdict();
    let more = words::more(v.needs_s).filter(|_| v.could_change.is_empty());
    if !v.could_change.is_empty() || more.is_some() {
        b.part("change", "What could change this answer");
        b.list(v.could_change.iter().chain(&more).map(|c| sentence(c)));
    }
}

/// What to mend, most useful first.
pub fn mending(b: &mut Blocks, s: &Snapshot) {
    if !s.mend.is_empty() {
        b.part("mend", "What to mend");
        faults(b, &[], s.mend.iter().map(|m| (m.clone(), None)));
    }
}

/// Faults as a table: what is wrong, who acts and how, when it counts as mended, and a column more where it is given.
pub fn faults(b: &mut Blocks, more: &[&str], all: impl IntoIterator<Item = (Mend, Option<String>)>) {
    let row = |(m, state): (Mend, Option<String>)| {
        let act = format!("{}: {}", people::who(m.who), sentence(&m.step));
        [sentence(&m.what), act, sentence(&m.proof)].into_iter().chain(state).collect()
    };
    let head = [&["Fault", "Who, and the next step", "Mended when"], more].concat();
    b.table("Faults that somebody can mend.", &head, all.into_iter().map(row));
}
