//! The only system calls that need care and the only `unsafe`.
#![allow(unsafe_code, reason = "the one room for it; every block states why it holds")]

pub mod cable_end;
pub mod capability;
pub mod clock;
pub mod errqueue;
pub mod frames;
pub mod icmp;
pub mod keeper;
pub mod machine;
pub mod memory;
pub mod namespace;
pub mod netlink;
pub mod outgoing;
pub mod packet;
pub mod priority;
pub mod radio;
pub mod route;
pub mod search;
pub mod terminal;
pub mod way;
