//! Worksheets: what a week of watching cannot show, worked out. Pure.
//!
//! Nothing here measures; a drill does, and what it measured goes before what is worked out. In the order of use:
//! `units` (quantities that can't be mixed), `given` (what is known of the site), then one file per question: `aux` (the
//! panel's output), `battery` (the panel's standby), `copper` (the run's loss), `conductor` (its four ends), `firmware`,
//! `runtime` and `chain` (how long the network gear lasts), `indices` and `mains` (how often and how long mains is away),
//! `outlook` (what that costs the path in a year, joined with the network and a cellular path), `sheet` (all of it in lines).
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub(crate) mod aux;
pub(crate) mod battery;
pub mod chain;
pub(crate) mod conductor;
pub(crate) mod copper;
mod dimension;
pub(crate) mod firmware;
pub mod given;
pub mod indices;
pub mod mains;
pub mod outlook;
pub(crate) mod runtime;
pub mod sheet;
pub mod units;
