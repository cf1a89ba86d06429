//! Bytes to values and back. Pure; every parser has a fuzz body in `wire::fuzz`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod dns;
pub mod fuzz;
pub mod icmp;
