//! pathproof: can this site's own internet connection carry its alarm signals alone, and how do we know?
//!
//! A small agent on the site's network asks the same few questions over and over: is the lead in, is the lease held, does
//! the router answer, do names resolve, is the outside there, does the station's receiver answer? Every answer is an
//! *observation* with a time, and observations are all that is stored. A pure *judge* folds them into troubles and outages,
//! names causes, holds requirements against the evidence, and says what it would take to change its mind. What it found is a
//! *snapshot*, and everything shown is drawn from that one snapshot: on a terminal, on pages, on paper, as metrics.
//!
//! ```text
//!             site file                                practice site (real packets, no internet)
//!                |                                            |
//!  network --> probe --> Observation --> judge (pure) --> Snapshot --> show, metrics --> terminal, papers, serve
//!                             |                                ^
//!                             +--> record (SQLite) --replay----+
//! ```
//!
//! The rooms, in the order data flows:
//!
//! | room | what it decides |
//! |---|---|
//! | [`site`] | what is known before measuring; what will be asked, and how often |
//! | [`wire`] | bytes to values and back (pure) |
//! | [`sys`] | the only system calls that need care, the only `unsafe` |
//! | [`probe`] | one file per question: a pure machine and a thin task |
//! | [`judge`] | observations to outages, causes, bounds, verdict (pure) |
//! | [`worksheet`] | power and wiring worked out: what a week cannot show (pure) |
//! | [`record`] | observations kept in one `SQLite` file |
//! | [`words`] | every word a reader sees, a folder a language |
//! | [`snapshot`] | the one read model; everything shown comes from it |
//! | [`show`] | snapshot to terminal, HTML, PDF, JSON (pure renderers) |
//! | [`metrics`] | snapshot to numbers for scrapers (pure) |
//! | [`serve`] | one HTTP server for pages, API and metrics: who may look, and the sockets |
//! | [`practice`] | a virtual home on real kernel sockets, with scripted faults |
//! | [`agent`] | wiring: probes -> judge and record -> whoever looks |
//! | [`cli`] | one file per command |

pub mod agent;
pub mod cli;
pub mod judge;
pub mod metrics;
pub mod practice;
pub mod probe;
pub mod record;
pub mod serve;
pub mod show;
pub mod site;
pub mod snapshot;
pub mod sys;
pub mod wire;
pub mod words;
pub mod worksheet;
