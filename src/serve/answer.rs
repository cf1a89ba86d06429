//! Answers: heads that let nothing in and nothing out, JSON, and problem details (RFC 9457).

use super::live::Stream;
use crate::metrics::Form;
use crate::show::escape;
use hyper::body::{Body as HttpBody, Bytes, Frame, SizeHint};
use hyper::header::{CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderName, HeaderValue, VARY};
use hyper::{Response, StatusCode};
use schemars::JsonSchema;
use serde::Serialize;
use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

/// Of every page: only what this server has, nothing inline, framed by nobody.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                      base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// Of a report, whose one style sheet stands in it: nothing is loaded, nothing runs.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; \
                             frame-ancestors 'none'; sandbox";
/// What every answer carries.
const ALWAYS: [(&str, &str); 5] = [
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
];

/// An answer.
pub(super) type Reply = Response<Body>;

/// The body of one.
#[derive(Debug)]
pub(super) enum Body {
    /// All of it.
    Whole(Option<Bytes>),
    /// As it comes.
    Live(Stream),
}

impl HttpBody for Body {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let next = match self.get_mut() {
            Self::Whole(bytes) => Poll::Ready(bytes.take()),
            Self::Live(stream) => stream.poll(cx),
        };
        next.map(|bytes| bytes.map(|b| Ok(Frame::data(b))))
    }

    fn is_end_stream(&self) -> bool {
        matches!(self, Self::Whole(None))
    }

    fn size_hint(&self) -> SizeHint {
        match self {
            Self::Whole(bytes) => SizeHint::with_exact(bytes.as_ref().map_or(0, |b| b.len() as u64)),
            Self::Live(_) => SizeHint::default(),
        }
    }
}

/// What is told where something is wrong with a request (RFC 9457).
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct Problem {
    /// Always `about:blank`: the status says what kind it is.
    #[serde(rename = "type")]
    kind: String,
    /// The status in words.
    title: String,
    /// The status code.
    status: u16,
    /// What was wrong this time.
    #[serde(skip_serializing_if = "Option::is_none")]
    detail: Option<String>,
}

/// An answer of a media type.
pub(super) fn of(status: StatusCode, media: &'static str, body: impl Into<Bytes>) -> Reply {
    let mut reply = Response::new(Body::Whole(Some(body.into())));
    *reply.status_mut() = status;
    let head = reply.headers_mut();
    head.insert(CONTENT_TYPE, HeaderValue::from_static(media));
    head.insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    head.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    for (name, value) in ALWAYS {
        head.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    reply
}

/// A page.
pub(super) fn page(status: StatusCode, html: impl Into<Bytes>) -> Reply {
    of(status, "text/html; charset=utf-8", html)
}

/// A report: by itself, it needs nothing of ours.
pub(super) fn report(html: String) -> Reply {
    let mut reply = page(StatusCode::OK, html);
    reply.headers_mut().insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(REPORT_POLICY));
    reply
}

/// Metrics, in the form that was negotiated.
pub(super) fn metrics(form: Form, text: String) -> Reply {
    with_field(of(StatusCode::OK, form.media_type(), text), VARY, "Accept")
}

/// A view that stays open.
pub(super) fn live(stream: Stream) -> Reply {
    let mut reply = of(StatusCode::OK, "text/event-stream", Bytes::new());
    *reply.body_mut() = Body::Live(stream);
    reply
}

/// A value as JSON. What would steer a terminal is escaped, as in every JSON of ours.
pub(super) fn json(value: &impl Serialize) -> Reply {
    match serde_json::to_string(value) {
        Ok(plain) => of(StatusCode::OK, "application/json", escape::json(&plain)),
        Err(e) => problem(StatusCode::INTERNAL_SERVER_ERROR, e.to_string()),
    }
}

/// What is wrong.
pub(super) fn problem(status: StatusCode, detail: impl Into<String>) -> Reply {
    let problem = Problem {
        kind: "about:blank".into(),
        title: status.canonical_reason().unwrap_or("Problem").into(),
        status: status.as_u16(),
        detail: Some(detail.into()).filter(|d| !d.is_empty()),
    };
    // Four fields of text and a number always serialise.
    let plain = serde_json::to_string(&problem).unwrap_or_default();
    of(status, "application/problem+json", escape::json(&plain))
}

/// The same with one more field in the head.
pub(super) fn with_field(mut reply: Reply, name: HeaderName, value: &str) -> Reply {
    if let Ok(value) = HeaderValue::from_str(value) {
        reply.headers_mut().insert(name, value);
    }
    reply
}
