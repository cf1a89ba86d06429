//! Every path, what it is asked with and what it answers: one table for the server and for the document.

use super::api::{LinePage, LineQuery, TroublePage, TroubleQuery, VerdictNow};
use crate::show::page::{ASSETS, Asset};
use crate::snapshot::Snapshot;
use schemars::{JsonSchema, Schema, SchemaGenerator};

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
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
    pub(super) what: What,
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
        what: What::Snapshot,
        about: "Everything there is to show now: the last look at the lanes, with the last whole judgement",
        query: None,
        answers: Answers::Json(named::<Snapshot>),
    },
    Route {
        path: "/api/v1/verdict",
        what: What::Verdict,
        about: "The verdict in force and what it rests on",
        query: None,
        answers: Answers::Json(named::<VerdictNow>),
    },
    Route {
        path: "/api/v1/outages",
        what: What::Outages,
        about: "Troubles in which the path could not deliver, in order of time",
        query: Some(inline::<TroubleQuery>),
        answers: Answers::Json(named::<TroublePage>),
    },
    Route {
        path: "/api/v1/troubles",
        what: What::Troubles,
        about: "Every span in which a lane did not behave, with its cause, in order of time",
        query: Some(inline::<TroubleQuery>),
        answers: Answers::Json(named::<TroublePage>),
    },
    Route {
        path: "/api/v1/observations",
        what: What::Observations,
        about: "The record, entry by entry",
        query: Some(inline::<LineQuery>),
        answers: Answers::Json(named::<LinePage>),
    },
    Route {
        path: "/api/v1/report",
        what: What::Report,
        about: "The report as one page that needs nothing else",
        query: None,
        answers: Answers::Html,
    },
    Route {
        path: "/api/v1/openapi.json",
        what: What::Document,
        about: "This document",
        query: None,
        answers: Answers::AnyJson,
    },
];

/// What a path asks for. Paths are taken as they stand: what is written otherwise is not there.
pub(super) fn find(path: &str) -> Option<What> {
    match path {
        "/" => Some(What::Home),
        "/technician" => Some(What::Technician),
        "/live" => Some(What::Live),
        _ => API.iter().find(|r| r.path == path).map(|r| r.what),
    }
}

/// The file of a path; these hold nothing of the site.
pub(super) fn asset(path: &str) -> Option<&'static Asset> {
    ASSETS.iter().find(|a| a.path == path)
}
