//! What is served on an address, and every path of it: one table for the server and for the document.

use super::api::{LinePage, LineQuery, TroublePage, TroubleQuery, VerdictNow};
use crate::show::page::{ASSETS, Asset};
use crate::snapshot::Snapshot;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use std::net::SocketAddr;

/// What a path stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Resource {
    /// The homeowner's page.
    Home,
    /// The technician's view.
    Technician,
    /// A view that stays open.
    Live,
    /// The snapshot.
    Snapshot,
    /// The verdict in force.
    Verdict,
    /// Troubles in which the path could not deliver.
    Outages,
    /// All troubles.
    Troubles,
    /// The record.
    Observations,
    /// The report.
    Report,
    /// The document that describes these.
    Document,
    /// The metrics.
    Metrics,
    /// What else is to be found on the metrics' address.
    Pointer,
}

/// What is served on an address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Surface {
    /// The pages and the API.
    Page,
    /// The metrics.
    Metrics,
}

impl Surface {
    /// In words, as a plural or singular that takes "can't be".
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Page => "the page",
            Self::Metrics => "metrics",
        }
    }

    /// Why it is not served openly on an address that others reach.
    pub(super) fn open(self, at: SocketAddr) -> String {
        match self {
            Self::Page => format!(
                "a page on {at} would be open to everybody on that network: give --page-token FILE or --page-allow ADDRESS/PREFIX, or listen on 127.0.0.1"
            ),
            Self::Metrics => format!(
                "metrics on {at} would tell everybody on that network when the path is down: give --metrics-token FILE, or listen on 127.0.0.1"
            ),
        }
    }

    /// The option that gives it a name.
    pub(super) const fn name_option(self) -> &'static str {
        match self {
            Self::Page => "--page-name",
            Self::Metrics => "--metrics-name",
        }
    }

    /// Most connections at once. Scrapers are few.
    pub(super) const fn most_connections(self) -> usize {
        match self {
            Self::Page => 192,
            Self::Metrics => 16,
        }
    }

    /// What a path stands for. Paths are taken as they stand: another spelling is another path.
    pub(super) fn find(self, path: &str) -> Option<Resource> {
        match (self, path) {
            (Self::Metrics, "/metrics") => Some(Resource::Metrics),
            (Self::Metrics, "/") => Some(Resource::Pointer),
            (Self::Metrics, _) => None,
            (Self::Page, "/") => Some(Resource::Home),
            (Self::Page, "/technician") => Some(Resource::Technician),
            (Self::Page, "/live") => Some(Resource::Live),
            (Self::Page, _) => API.iter().find(|r| r.path == path).map(|r| r.resource),
        }
    }

    /// The file of a path; these hold nothing of the site.
    pub(super) fn asset(self, path: &str) -> Option<&'static Asset> {
        ASSETS.iter().find(|a| self == Self::Page && a.path == path)
    }
}

/// What a path of the API answers.
#[derive(Clone, Copy)]
pub(super) enum Answers {
    /// JSON of this schema.
    Json(fn(&mut SchemaGenerator) -> Schema),
    /// Any JSON.
    AnyJson,
    /// A page.
    Html,
}

/// A path of the API.
pub(super) struct Route {
    /// The path.
    pub(super) path: &'static str,
    /// What it is for.
    pub(super) resource: Resource,
    /// The same in a few words.
    pub(super) about: &'static str,
    /// A type whose fields are its parameters.
    pub(super) query: Option<fn(&mut SchemaGenerator) -> Schema>,
    /// What it answers.
    pub(super) answers: Answers,
}

fn inline<T: JsonSchema>(g: &mut SchemaGenerator) -> Schema {
    T::json_schema(g)
}

fn named<T: JsonSchema>(g: &mut SchemaGenerator) -> Schema {
    g.subschema_for::<T>()
}

/// The API.
pub(super) const API: [Route; 7] = [
    Route {
        path: "/api/v1/snapshot",
        resource: Resource::Snapshot,
        about: "Everything there is to show now: the last look at the lanes, with the last whole judgement",
        query: None,
        answers: Answers::Json(named::<Snapshot>),
    },
    Route {
        path: "/api/v1/verdict",
        resource: Resource::Verdict,
        about: "The verdict in force and what it rests on",
        query: None,
        answers: Answers::Json(named::<VerdictNow>),
    },
    Route {
        path: "/api/v1/outages",
        resource: Resource::Outages,
        about: "Troubles in which the path could not deliver, in order of time",
        query: Some(inline::<TroubleQuery>),
        answers: Answers::Json(named::<TroublePage>),
    },
    Route {
        path: "/api/v1/troubles",
        resource: Resource::Troubles,
        about: "Every span in which a lane did not behave, with its cause, in order of time",
        query: Some(inline::<TroubleQuery>),
        answers: Answers::Json(named::<TroublePage>),
    },
    Route {
        path: "/api/v1/observations",
        resource: Resource::Observations,
        about: "The record, entry by entry",
        query: Some(inline::<LineQuery>),
        answers: Answers::Json(named::<LinePage>),
    },
    Route {
        path: "/api/v1/report",
        resource: Resource::Report,
        about: "The report as one page that needs nothing else",
        query: None,
        answers: Answers::Html,
    },
    Route {
        path: "/api/v1/openapi.json",
        resource: Resource::Document,
        about: "This document",
        query: None,
        answers: Answers::AnyJson,
    },
];
