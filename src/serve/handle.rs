//! One request answered: first who asks and under which name, then for what. Nothing is judged here; pages are drawn from
//! the last look.

use super::access::{Access, Admission, SESSION_LASTS_S, Token};
use super::answer::{self, Reply, problem, with_field};
use super::api::{self, LineQuery, TroubleQuery};
use super::attempts::Attempts;
use super::connections::Connection;
use super::live::{Kind, event};
use super::query::{Pairs, cookie};
use super::routes::{Resource, Surface};
use super::state::{Published, State};
use super::{observations, openapi};
use crate::metrics::{Form, exposition};
use crate::show::page::{self, Window};
use crate::show::report;
use crate::sys::clock;
use crate::wire::host_field;
use http_body_util::{BodyExt as _, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{self, HeaderMap, HeaderName};
use hyper::{Method, Request, StatusCode};
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

/// Longest target of a request, bytes.
const LONGEST_TARGET: usize = 2_048;
/// Longest form, bytes.
const LONGEST_FORM: usize = 4_096;
/// The cookie that holds a browser's session.
const SESSION: &str = "pathproof";

/// What is served on one address, and who may look.
#[derive(Debug)]
pub(super) struct Site {
    pub(super) surface: Surface,
    state: Arc<State>,
    access: Access,
    /// Whether TLS is spoken.
    secure: bool,
    attempts: Mutex<Attempts>,
}

/// Answers one request.
pub(super) async fn answer(site: &Site, peer: IpAddr, connection: &Connection, request: Request<Incoming>) -> Reply {
    let (head, body) = request.into_parts();
    if let Err(reply) = site.check_host(&head.uri, &head.headers) {
        return *reply;
    }
    let path = head.uri.path();
    if let Err(reply) = site.check_origin(&head.method, path, &head.headers) {
        return *reply;
    }
    let reads = matches!(head.method, Method::GET | Method::HEAD);
    if reads && let Some(asset) = site.surface.asset(path) {
        return with_field(answer::of(StatusCode::OK, asset.media, asset.body), header::CACHE_CONTROL, "max-age=300");
    }
    if path == "/login" && site.surface == Surface::Page {
        return match (&head.method, &site.access.token) {
            (_, None) => redirect_home(),
            (&Method::POST, Some(token)) => site.log_in(peer, token, body).await,
            _ if reads => answer::page(StatusCode::OK, page::login(false)),
            _ => method_not_allowed("GET, HEAD, POST"),
        };
    }
    if let Err(reply) = site.authenticate(peer, path, &head.headers) {
        return *reply;
    }
    connection.admit();
    let Some(resource) = site.surface.find(path) else {
        return problem(StatusCode::NOT_FOUND, "there is no such page");
    };
    if !reads || (resource == Resource::Live && head.method != Method::GET) {
        return method_not_allowed(if resource == Resource::Live { "GET" } else { "GET, HEAD" });
    }
    match resource {
        Resource::Metrics => return site.metrics(&head.headers),
        Resource::Pointer => {
            return answer::of(StatusCode::OK, "text/plain; charset=utf-8", "pathproof: see /metrics\n");
        }
        _ => {}
    }
    let Some(pairs) = Pairs::read(head.uri.query().unwrap_or_default()) else {
        return problem(StatusCode::BAD_REQUEST, "what stands after the question mark makes no sense");
    };
    let Some(published) = site.state.published() else {
        let reply = problem(StatusCode::SERVICE_UNAVAILABLE, "nothing has been looked at yet");
        return with_field(reply, header::RETRY_AFTER, "1");
    };
    let reply = respond(&site.state, resource, &pairs, published, connection).await;
    reply.unwrap_or_else(|why| problem(StatusCode::BAD_REQUEST, why))
}

/// Answers an admitted client; else what is wrong with the request.
async fn respond(
    state: &State,
    resource: Resource,
    pairs: &Pairs,
    published: Arc<Published>,
    connection: &Connection,
) -> Result<Reply, String> {
    let s = &published.snapshot;
    let takes_no_parameters =
        matches!(resource, Resource::Snapshot | Resource::Verdict | Resource::Report | Resource::Document);
    if takes_no_parameters {
        api::nothing(pairs)?;
    }
    Ok(match resource {
        // Links may carry anything after the question mark.
        Resource::Home => answer::page(StatusCode::OK, state.home(&published)),
        Resource::Technician => answer::page(StatusCode::OK, page::technician(&state.look(&published), window(pairs))),
        Resource::Live => {
            let kind = match pairs.of("view") {
                Some("home") => Kind::Home,
                Some("technician") => Kind::Technician,
                _ => return Err("view: give home or technician".into()),
            };
            let mut first = vec![Bytes::from_static(b"retry: 2000\n\n"), state.tick(&published)];
            if kind == Kind::Home {
                first.push(event("look", &state.home_main(&published)));
            }
            answer::live(state.views.open(kind, first, connection.keep_open()))
        }
        Resource::Snapshot => answer::json(s),
        Resource::Verdict => answer::json(&api::verdict(s, published.looked_s, published.reached_s())),
        Resource::Outages | Resource::Troubles => {
            let query = TroubleQuery::read(pairs)?;
            answer::json(&api::troubles(s, resource == Resource::Outages, &query))
        }
        Resource::Observations => observed(state, LineQuery::read(pairs)?).await,
        Resource::Report => {
            let zone = state.zone.clone();
            let drawn = state.costly(move || report::to_html(&published.snapshot, &zone)).await;
            drawn.map_or_else(busy, answer::report)
        }
        Resource::Document => answer::json(openapi::document()),
        Resource::Metrics | Resource::Pointer => problem(StatusCode::NOT_FOUND, "there is no such page"),
    })
}

async fn observed(state: &State, query: LineQuery) -> Reply {
    let path = state.record.clone();
    match state.costly(move || observations::read(&path, &query)).await {
        Some(Ok(page)) => answer::json(&page),
        Some(Err(e)) => {
            // Where the file lies is nobody's business.
            tracing::debug!("a page of the record could not be read: {e}");
            problem(StatusCode::SERVICE_UNAVAILABLE, "the record can't be read now")
        }
        None => busy(),
    }
}

fn busy() -> Reply {
    with_field(problem(StatusCode::SERVICE_UNAVAILABLE, "too much is asked at once"), header::RETRY_AFTER, "2")
}

fn method_not_allowed(allowed: &str) -> Reply {
    with_field(problem(StatusCode::METHOD_NOT_ALLOWED, format!("here: {allowed}")), header::ALLOW, allowed)
}

fn redirect_home() -> Reply {
    with_field(answer::page(StatusCode::SEE_OTHER, Bytes::new()), header::LOCATION, "/")
}

/// The part of the record to show, where two numbers say one.
fn window(pairs: &Pairs) -> Option<Window> {
    let number = |name| pairs.of(name)?.parse::<f64>().ok().filter(|n| n.is_finite());
    let (from_s, to_s) = (number("from")?, number("to")?);
    (from_s < to_s).then_some(Window { from_s, to_s })
}

fn seconds() -> i64 {
    clock::wall_time().0 / 1_000_000
}

fn refuse(reply: Reply) -> Result<(), Box<Reply>> {
    Err(Box::new(reply))
}

fn only(fields: &HeaderMap, name: HeaderName) -> Option<&[u8]> {
    let mut all = fields.get_all(name).iter();
    all.next().filter(|_| all.next().is_none()).map(hyper::header::HeaderValue::as_bytes)
}

fn unauthorized(why: &str) -> Reply {
    let challenge = if why.is_empty() { "Bearer" } else { "Bearer error=\"invalid_token\"" };
    with_field(problem(StatusCode::UNAUTHORIZED, why), header::WWW_AUTHENTICATE, challenge)
}

impl Site {
    /// What a surface serves from the shared state, to those whom `access` admits.
    pub(super) fn new(state: Arc<State>, surface: Surface, access: Access, secure: bool) -> Self {
        Self { surface, state, access, secure, attempts: Mutex::default() }
    }

    fn metrics(&self, fields: &HeaderMap) -> Reply {
        let accept: Vec<&str> = fields.get_all(header::ACCEPT).iter().filter_map(|v| v.to_str().ok()).collect();
        let form = Form::preferred(&accept.join(","));
        // Ages are worked out now: they go on where the agent is stuck.
        answer::metrics(form, exposition(&self.state.board(), self.state.clock.now().secs(), form))
    }

    /// Whether the request names this server: exactly one `Host` (RFC 9112, section 3.2), and the target's own where
    /// it has one (section 3.2.2).
    fn check_host(&self, uri: &hyper::Uri, fields: &HeaderMap) -> Result<(), Box<Reply>> {
        if uri.path_and_query().map_or(0, |p| p.as_str().len()) > LONGEST_TARGET {
            return refuse(problem(StatusCode::URI_TOO_LONG, ""));
        }
        let Some(host) = only(fields, header::HOST) else {
            return refuse(problem(StatusCode::BAD_REQUEST, "one Host field must say which server is meant"));
        };
        let ours = |host: &[u8]| host_field::is_ours(host, &self.access.names);
        if !ours(host) || uri.authority().is_some_and(|a| !ours(a.as_str().as_bytes())) {
            let why = format!(
                "this server goes by its address, by localhost, and by the names it was given ({})",
                self.surface.name_option()
            );
            return refuse(problem(StatusCode::MISDIRECTED_REQUEST, why));
        }
        Ok(())
    }

    /// Whether another site's page makes the browser ask (Fetch Metadata, and `Origin` of RFC 6454). Following a link
    /// here is all that another site may cause. What is no browser says neither.
    fn check_origin(&self, method: &Method, path: &str, fields: &HeaderMap) -> Result<(), Box<Reply>> {
        let word = |name: &str| fields.get(name).map(|v| v.to_str().unwrap_or("?"));
        let other = match word("sec-fetch-site") {
            None | Some("same-origin" | "none") => false,
            Some(_) => {
                let link = word("sec-fetch-mode") == Some("navigate") && word("sec-fetch-dest") == Some("document");
                !(link && method == Method::GET && matches!(path, "/" | "/technician" | "/login"))
            }
        };
        let scheme = if self.secure { "https" } else { "http" };
        let host = fields.get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
        let origin = word("origin").is_some_and(|o| !o.eq_ignore_ascii_case(&format!("{scheme}://{host}")));
        if other || origin {
            return refuse(problem(StatusCode::FORBIDDEN, "another site's page asked for this"));
        }
        Ok(())
    }

    /// Whether a client may look, by its address, its session or its token; else what it is answered.
    fn authenticate(&self, peer: IpAddr, path: &str, fields: &HeaderMap) -> Result<(), Box<Reply>> {
        let token = match (self.access.admission(peer), &self.access.token) {
            (Admission::Granted, _) => return Ok(()),
            (Admission::TokenNeeded, Some(token)) => token,
            _ => return refuse(problem(StatusCode::FORBIDDEN, "not from this address")),
        };
        let cookies = fields.get_all(header::COOKIE).iter().filter_map(|c| c.to_str().ok());
        if cookies.filter_map(|c| cookie(c, SESSION)).any(|session| token.is_session(session, seconds())) {
            return Ok(());
        }
        let bearer = only(fields, header::AUTHORIZATION).and_then(|f| {
            let (scheme, shown) = f.split_at_checked(7)?;
            scheme.eq_ignore_ascii_case(b"bearer ").then_some(shown)
        });
        match bearer {
            Some(shown) => self.check_token(peer, token, shown),
            None if self.surface == Surface::Metrics || path.starts_with("/api/") || path == "/live" => {
                refuse(unauthorized(""))
            }
            None => {
                let login = answer::page(StatusCode::UNAUTHORIZED, page::login(false));
                refuse(with_field(login, header::WWW_AUTHENTICATE, "Bearer"))
            }
        }
    }

    /// The form of the login page: the right token begins a session.
    async fn log_in(&self, peer: IpAddr, token: &Token, body: Incoming) -> Reply {
        let Ok(form) = Limited::new(body, LONGEST_FORM).collect().await else {
            return problem(StatusCode::PAYLOAD_TOO_LARGE, "");
        };
        let form = form.to_bytes();
        let pairs = std::str::from_utf8(&form).ok().and_then(Pairs::read).unwrap_or_default();
        match self.check_token(peer, token, pairs.of("token").unwrap_or_default().trim().as_bytes()) {
            Ok(()) => {
                let secure = if self.secure { "; Secure" } else { "" };
                let session = token.session(seconds());
                let set = format!(
                    "{SESSION}={session}; Path=/; Max-Age={SESSION_LASTS_S}; HttpOnly; SameSite=Strict{secure}"
                );
                with_field(redirect_home(), header::SET_COOKIE, &set)
            }
            Err(reply) if reply.status() == StatusCode::TOO_MANY_REQUESTS => *reply,
            Err(_) => answer::page(StatusCode::UNAUTHORIZED, page::login(true)),
        }
    }

    /// Whether the token that is shown is right; else what the client is answered.
    fn check_token(&self, peer: IpAddr, token: &Token, shown: &[u8]) -> Result<(), Box<Reply>> {
        let now_s = self.state.clock.now().secs();
        let mut attempts = self.attempts.lock().unwrap_or_else(PoisonError::into_inner);
        if let Err(wait) = attempts.allowed(peer, now_s) {
            let reply = problem(StatusCode::TOO_MANY_REQUESTS, "too many wrong tokens came from there");
            return refuse(with_field(reply, header::RETRY_AFTER, &wait.to_string()));
        }
        if token.is(shown) {
            return Ok(());
        }
        attempts.failed(peer, now_s);
        refuse(unauthorized("this is not the token"))
    }
}
