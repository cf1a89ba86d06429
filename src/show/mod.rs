//! From a [`crate::snapshot::Snapshot`] to what people and programs read. Pure renderers.
//!
//! Decides words, layout and escaping; judges nothing and measures nothing. The time zone is passed in, and every text
//! prints it. All text from the network or from a file goes through [`escape`] or, for JSON, the same care.

pub mod columns;
pub mod escape;
pub mod json;
pub mod page;
pub mod paper;
pub mod picture;
pub mod power;
pub mod report;
pub mod say;
pub mod terminal;
pub mod words;
