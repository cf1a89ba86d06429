//! One file per command, and the exit codes they share.

pub mod check;
pub mod exit;
