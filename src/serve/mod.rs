//! What a browser and other programs are shown of a watch that runs, and who may look.
//!
//! In order: `access` (who is let in: pure), `tries` (how often a wrong token may be shown), `query` (what was asked:
//! pure), `routes` (every path, its parameters and what it answers), `openapi` (the same as a document), `answer` (heads
//! and problem details), `api` and `observations` (what programs read), `live` (views that stay open), `handle` (one
//! request answered), `keep` (what is kept beside the record), `seats` (who has a connection), `serve` (the socket, with bounds). Standards: HTTP/1.1
//! (RFC 9110, RFC 9112), problem details (RFC 9457), `OpenAPI` 3.1, server-sent events (HTML standard, section 9.2),
//! cookies (RFC 6265), bearer tokens (RFC 6750).
//!
//! Judges nothing and draws nothing: pages come from `show::page`, everything else from the snapshot or the record.
//! Nothing here can change what is measured.

mod access;
mod answer;
mod api;
mod handle;
mod keep;
mod live;
mod observations;
mod openapi;
mod query;
mod routes;
mod seats;
mod serve;
mod tries;

pub use access::{Access, Prefix, Token};
pub use keep::{Certificate, NotKept, given, of_its_own, secret};
pub use openapi::document;
pub use serve::{NotServed, Place, Served, Told, serve};
