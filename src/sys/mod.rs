//! The only system calls that need care and the only `unsafe`.
#![allow(unsafe_code, reason = "the one room for it; every block states why it holds")]

pub mod clock;
pub mod errqueue;
pub mod icmp;
pub mod outgoing;
pub mod packet;
