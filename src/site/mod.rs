//! The site file: what is known of the site before measuring.
//!
//! In order: `plan` (what the agent will do, every value settled).

pub mod cadence;
pub mod plan;
pub use plan::*;
