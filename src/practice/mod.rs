//! The practice site: a virtual home on real kernel sockets, with scripted faults.
pub mod compare;
pub mod script;
