//! Words that every form shares: one row a cause, one name a lane, one name for who acts, two sentences a sign.
//!
//! Not all words stand here yet: the sentences of a verdict and its figures are in the snapshot's builder, those of the
//! papers in `show/say`, lengths and times in `show/words.rs`.
//!
//! Decides words only: what happened and how sure that is are the judge's, layout is the renderers'. No text comes in
//! but names (of a site, a target), so nothing here can be asked by comparing sentences.
//!
//! A language is a folder: `en` is English. Another one is a folder beside it with the same files and the same names,
//! and this file alone says which one is spoken: no other room names a language.

mod en;

pub use en::{causes, lanes, people, signs};

/// What is said of one cause. In the sentences `{lasted}` stands for "for 12 s" (with "so far" while it lasts),
/// `{times}` for how often or how long a carrier was lost, `{servers}` for how many devices hand out addresses,
/// `{target}` for the target missing, `{figure}` for what was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CauseRow {
    /// A title of few words, for whoever works with it.
    pub title: &'static str,
    /// On whose side it lies.
    pub side: Side,
    /// Half a sentence for the homeowner, without a term of the trade.
    pub short: &'static str,
    /// What happened, for the homeowner.
    pub household: &'static str,
    /// The same for a technician: what was seen and what it points to.
    pub trade: &'static str,
    /// One next step.
    pub step: &'static str,
    /// How to prove it mended.
    pub proof: &'static str,
}

/// On whose side a cause lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The mains supply.
    Power,
    /// Inside the home.
    Home,
    /// The internet provider's line.
    Provider,
    /// The alarm company's end.
    Station,
    /// The device that watches.
    Device,
}

/// What a lane is called, by reader.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LaneRow {
    /// As a label for the homeowner.
    pub household: &'static str,
    /// As a label for whoever works with it.
    pub trade: &'static str,
    /// In running text.
    pub text: &'static str,
}
