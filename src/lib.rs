//! pathproof: can this site's own internet connection carry its alarm signals alone, and how do we know?
//!
//! The map, in the order data flows:
//!
//! ```text
//!             site file                                practice site (real packets, no internet)
//!                |                                            |
//!  network --> probe --> Observation --> judge (pure) --> Snapshot --> show: terminal, page, report
//!                             |                                ^
//!                             +--> record (SQLite) --replay----+
//! ```
//!
//! | room | what it decides |
//! |---|---|
//! | [`site`] | what is known before measuring; what will be asked, how often |
//! | [`wire`] | bytes to values and back (pure) |
//! | [`sys`] | the only system calls that need care, the only `unsafe` |
//! | [`probe`] | one file per question: a pure machine and a thin task |
//! | [`judge`] | observations to outages, causes, bounds, verdict (pure) |
//! | [`worksheet`] | power and wiring worked out: what a week cannot show (pure) |
//! | [`record`] | observations kept in one `SQLite` file |
//! | [`words`] | every word a reader sees: a row a cause, a name a lane, sentences |
//! | [`snapshot`] | the one read model; everything shown comes from it |
//! | [`show`] | snapshot to terminal, HTML, JSON (pure renderers) |
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
