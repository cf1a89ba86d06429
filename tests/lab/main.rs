//! The lab: a whole survey by the built program in namespaces with real servers, seen from outside only.
//!
//! A scenario a file, named for its fault. Each has namespaces of its own, so they run side by side. Needs root,
//! iproute2, nftables, dnsmasq, python3 and prometheus (`tests/run` installs them); without them the tests fail, they do not skip.

#![allow(clippy::print_stderr, clippy::print_stdout, reason = "where logs are kept and tables are for people")]

#[path = "../support/lateness.rs"]
mod lateness;
mod place;
mod row;
mod servers;
mod table;
mod trial;
mod trials;

mod access_line_cut;
mod clean;
mod drills;
mod hostile_replies;
mod hostile_servers;
mod interface_removed;
mod no_capability;
mod receiver_refusing;
mod resolver_stopped;
mod scraped;
mod second_address_server;
