//! The only system calls that need care and the only `unsafe`.
#![allow(unsafe_code, reason = "the one room for it; every block states why it holds")]

pub mod cable_end;
pub(crate) mod capability;
pub mod clock;
pub mod errqueue;
pub(crate) mod frames;
pub mod icmp;
pub(crate) mod keeper;
mod kernel_tables;
pub(crate) mod machine;
pub(crate) mod memory;
pub mod namespace;
pub mod netlink;
pub(crate) mod outgoing;
pub(crate) mod packet;
pub(crate) mod priority;
pub(crate) mod radio;
pub(crate) mod route;
pub(crate) mod search;
pub(crate) mod terminal;
pub(crate) mod way;
