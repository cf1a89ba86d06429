//! The one HTTP server: the pages, the API and the metrics of a running watch, on two addresses.
//!
//! In order: `access` (who may look: pure), `attempts` (how often a wrong token may be shown), `query` (the parameters
//! of a request: pure), `routes` (every path, its parameters and its answer), `openapi` (the same as a document),
//! `answer` (response heads and problem details), `api` and `observations` (what programs read), `live` (views that stay
//! open), `state` (what every request is answered from), `handle` (one request answered), `keep` (files beside the
//! record), `connections` (who holds one), `listener` (the sockets, with bounds). Standards: HTTP/1.1 (RFC 9110, RFC
//! 9112), problem details (RFC 9457), `OpenAPI` 3.1, server-sent events (HTML standard, section 9.2), cookies (RFC
//! 6265), bearer tokens (RFC 6750).
//!
//! It judges nothing and draws nothing: `show::page` draws the pages, `metrics` fills in its table, and everything else
//! comes from the snapshot or the record. Nothing here can change what is measured.

mod access;
mod answer;
mod api;
mod attempts;
mod connections;
mod handle;
mod keep;
mod listener;
mod live;
mod observations;
mod openapi;
mod query;
mod routes;
mod state;

pub use access::{Access, Prefix, Token};
pub use keep::{Certificate, NotKept, given, of_its_own, random, secret};
pub use listener::{Address, NotServed, Served, Server};
pub use openapi::document;
pub use routes::Surface;
pub use state::Published;
