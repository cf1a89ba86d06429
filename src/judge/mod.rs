//! The judge: from observations to a verdict. Pure.
//!
//! Knows no clock, socket, file, thread or random source; it is told the time with every [`Entry`]. Live, replay and
//! simulation run the same fold ([`fold::Judge`]), so a stored week judged again gives the same verdict.
//!
//! In the order data flows: `time` and `observation` (what comes in), `fold` (one entry at a time), `stats` (bounds).
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod observation;
pub mod stats;
pub mod time;

pub use observation::*;
pub use time::{Edge, Micros, Moment, WallTime};
