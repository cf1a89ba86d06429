//! One entry as other programs read it: the columns of an export, the items of the API. Documented in
//! `src/cli/export.md`.

use super::Walls;
use crate::judge::{Detail, Entry, Lane, Question};
use jiff::Timestamp;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Value, json};

/// One entry; what is not known or does not apply is left out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Line {
    /// When it became known, by this host's clock: RFC 3339, UTC, microseconds. A clock that was set moves with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(extend("format" = "date-time"))]
    pub at: Option<String>,
    /// What kind of entry it is.
    pub kind: Kind,
    /// The layer that was asked about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lane: Option<Lane>,
    /// What was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub question: Option<Question>,
    /// Of whom: interface, resolver, or the name in the site file. Untrusted text: escape it where shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<String>,
    /// What came back: `answered`, `timeout`, `refused`, `reset`, `unreachable`, `malformed`, `not-permitted`,
    /// `not-asked`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub outcome: Option<String>,
    /// When it was asked, microseconds since the record began, by a clock nobody sets.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked_us: Option<i64>,
    /// When it became known, likewise.
    pub known_us: i64,
    /// Round trip, microseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rtt_us: Option<i64>,
    /// Whether the kernel took both times.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rtt_kernel: Option<bool>,
    /// Of `unreachable`: who said so. Of `not-asked`: what stood in the way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// What the answer said, or what the mark holds. Holds text from the network: escape it where shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub detail: Option<Value>,
}

/// Kinds of entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// An observation.
    Seen,
    /// The agent began.
    Began,
    /// The wall clock was set.
    Stepped,
    /// A mark of a drill.
    Drill,
    /// The agent was alive and nothing else was known.
    Alive,
    /// The agent ended.
    Ended,
}

impl Line {
    /// The line of an entry; `walls` label it.
    pub fn of(entry: &Entry, walls: &Walls) -> Self {
        let known = entry.known();
        let at = walls.of(known).and_then(|w| Timestamp::from_microsecond(w.0).ok());
        let plain = |kind, detail| Self {
            at: at.map(|t| format!("{t:.6}")),
            kind,
            lane: None,
            question: None,
            target: None,
            outcome: None,
            asked_us: None,
            known_us: known.0,
            rtt_us: None,
            rtt_kernel: None,
            why: None,
            detail,
        };
        match entry {
            Entry::Seen(o) => {
                let (outcome, why) = words(json!(o.outcome));
                Self {
                    lane: Some(o.lane()),
                    question: Some(o.question),
                    target: Some(o.target.to_string()),
                    outcome,
                    asked_us: Some(o.asked.0),
                    rtt_us: o.rtt.map(|r| r.took.0),
                    rtt_kernel: o.rtt.map(|r| r.kernel),
                    why,
                    ..plain(Kind::Seen, (o.detail != Detail::None).then(|| json!(o.detail)))
                }
            }
            Entry::Began(s) => plain(Kind::Began, Some(json!(s))),
            Entry::Stepped { wall, .. } => plain(Kind::Stepped, Some(json!({ "wall": wall }))),
            Entry::Drill { step, .. } => plain(Kind::Drill, Some(json!(step))),
            Entry::Alive { .. } => plain(Kind::Alive, None),
            Entry::Ended { how, .. } => plain(Kind::Ended, Some(json!({ "how": how }))),
        }
    }
}

/// An outcome with a reason is an object of one field: outcome and reason are two columns.
fn words(outcome: Value) -> (Option<String>, Option<String>) {
    let text = |v: Value| if let Value::String(s) = v { Some(s) } else { None };
    match outcome {
        Value::Object(o) => o.into_iter().next().map_or((None, None), |(word, why)| (Some(word), text(why))),
        plain => (text(plain), None),
    }
}
