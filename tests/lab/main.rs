//! The lab: a whole survey by the built program in namespaces with real servers, seen from outside only.
//!
//! A scenario a file, named for its fault. Each has namespaces of its own, so they run side by side. Needs root,
//! iproute2, nftables, dnsmasq and python3 (`tests/run` installs them); without them the tests fail, they do not skip.

#![allow(clippy::print_stderr, reason = "where the logs are kept is for people")]

mod place;

mod access_line_cut;
mod clean;
mod hostile_replies;
mod interface_removed;
mod no_capability;
mod receiver_refusing;
mod resolver_stopped;
mod second_address_server;
