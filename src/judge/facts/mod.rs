//! Facts: time, and what a record holds. Decides nothing.

pub mod answer;
pub mod observation;
pub mod time;
