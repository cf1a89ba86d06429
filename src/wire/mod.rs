//! Bytes to values and back. Pure; every parser has a fuzz body in `wire::fuzz`.
#![deny(clippy::disallowed_methods, clippy::disallowed_types)]

pub mod arp;
pub mod dhcp;
pub mod dns;
pub mod fuzz;
pub(crate) mod host_field;
pub mod http;
pub mod icmp;
pub(crate) mod lease_file;
pub mod ntp;
pub(crate) mod nut;
pub(crate) mod power_supply;
pub mod snmp;
pub mod stun;
pub(crate) mod upnp;
