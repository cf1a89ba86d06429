//! One request answered: first who asks and under which name, then what for. Nothing is judged here; what is drawn comes
//! from the last look.

use super::access::{Entry, PASS_LASTS_S, Token};
use super::answer::{self, Reply, problem, with};
use super::api::{self, LineQuery, TroubleQuery};
use super::live::{Kind, event};
use super::query::{Pairs, cookie};
use super::routes::{self, What};
use super::seats::Guest;
use super::serve::{Server, Told};
use super::{observations, openapi};
use crate::show::page::{self, Window};
use crate::show::report;
use crate::sys::clock;
use crate::wire::host_field;
use http_body_util::{BodyExt as _, Limited};
use hyper::body::{Bytes, Incoming};
use hyper::header::{self, HeaderMap, HeaderName};
use hyper::{Method, Request, StatusCode};
use std::net::IpAddr;
use std::sync::Arc;

/// Longest target of a request, bytes.
const LONGEST_TARGET: usize = 2_048;
/// Longest form, bytes.
const LONGEST_FORM: usize = 4_096;
/// The name of the pass a browser keeps.
const PASS: &str = "pathproof";

/// Answers one request.
pub(super) async fn answer(server: &Arc<Server>, peer: IpAddr, guest: &Guest, request: Request<Incoming>) -> Reply {
    let (head, body) = request.into_parts();
    if let Err(reply) = addressed(server, &head.uri, &head.headers) {
        return *reply;
    }
    let path = head.uri.path();
    if let Err(reply) = from_ours(server, &head.method, path, &head.headers) {
        return *reply;
    }
    let reads = matches!(head.method, Method::GET | Method::HEAD);
    if reads && let Some(asset) = routes::asset(path) {
        return with(answer::of(StatusCode::OK, asset.media, asset.body), header::CACHE_CONTROL, "max-age=300");
    }
    if path == "/door" {
        return match (&head.method, &server.access.token) {
            (_, None) => to_home(),
            (&Method::POST, Some(token)) => knock(server, peer, token, body).await,
            _ if reads => answer::page(StatusCode::OK, page::door(false)),
            _ => not_so("GET, HEAD, POST"),
        };
    }
    if let Err(reply) = admitted(server, peer, path, &head.headers) {
        return *reply;
    }
    guest.let_in();
    let Some(what) = routes::find(path) else { return problem(StatusCode::NOT_FOUND, "there is no such page") };
    if !reads || (what == What::Live && head.method != Method::GET) {
        return not_so(if what == What::Live { "GET" } else { "GET, HEAD" });
    }
    let Some(pairs) = Pairs::read(head.uri.query().unwrap_or_default()) else {
        return problem(StatusCode::BAD_REQUEST, "what stands after the question mark makes no sense");
    };
    let Some(told) = server.told() else {
        let reply = problem(StatusCode::SERVICE_UNAVAILABLE, "nothing has been looked at yet");
        return with(reply, header::RETRY_AFTER, "1");
    };
    asked(server, what, &pairs, told, guest).await.unwrap_or_else(|why| problem(StatusCode::BAD_REQUEST, why))
}

/// Answers what is asked for by somebody who was let in; else what is wrong with it.
async fn asked(
    server: &Arc<Server>,
    what: What,
    pairs: &Pairs,
    told: Arc<Told>,
    guest: &Guest,
) -> Result<Reply, String> {
    let s = &told.snapshot;
    Ok(match what {
        What::Home => {
            // Links may carry anything after the question mark.
            answer::page(StatusCode::OK, server.home(&told))
        }
        What::Technician => {
            let html = page::technician(&server.look(&told), window(pairs));
            answer::page(StatusCode::OK, html)
        }
        What::Live => {
            let kind = match pairs.of("view") {
                Some("home") => Kind::Home,
                Some("technician") => Kind::Technician,
                _ => return Err("view: give home or technician".into()),
            };
            let mut first = vec![Bytes::from_static(b"retry: 2000\n\n"), server.tick(&told)];
            if kind == Kind::Home {
                first.push(event("look", &server.home_main(&told)));
            }
            answer::live(server.views.open(kind, first, guest.stay()))
        }
        What::Snapshot => {
            api::nothing(pairs)?;
            answer::json(s)
        }
        What::Verdict => {
            api::nothing(pairs)?;
            answer::json(&api::verdict(s, told.looked_s, told.reached_s))
        }
        What::Outages | What::Troubles => {
            answer::json(&api::troubles(s, what == What::Outages, &TroubleQuery::read(pairs)?))
        }
        What::Observations => observed(server, LineQuery::read(pairs)?).await,
        What::Report => {
            api::nothing(pairs)?;
            let zone = server.zone.clone();
            let drawn = server.aside(move || report::to_html(&told.snapshot, &zone)).await;
            drawn.map_or_else(busy, answer::report)
        }
        What::Document => {
            api::nothing(pairs)?;
            answer::json(openapi::document())
        }
    })
}

async fn observed(server: &Arc<Server>, query: LineQuery) -> Reply {
    let path = server.record.clone();
    match server.aside(move || observations::read(&path, &query)).await {
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
    with(problem(StatusCode::SERVICE_UNAVAILABLE, "too much is asked at once"), header::RETRY_AFTER, "2")
}

fn not_so(allowed: &str) -> Reply {
    with(problem(StatusCode::METHOD_NOT_ALLOWED, format!("here: {allowed}")), header::ALLOW, allowed)
}

fn to_home() -> Reply {
    with(answer::page(StatusCode::SEE_OTHER, Bytes::new()), header::LOCATION, "/")
}

/// The part of the record to show, where two numbers say one.
fn window(pairs: &Pairs) -> Option<Window> {
    let number = |name| pairs.of(name)?.parse::<f64>().ok().filter(|n| n.is_finite());
    let (from_s, to_s) = (number("from")?, number("to")?);
    (from_s < to_s).then_some(Window { from_s, to_s })
}

/// Whether the request names this server: exactly one `Host` (RFC 9112, section 3.2), and the target's own where it
/// has one (section 3.2.2).
fn addressed(server: &Server, uri: &hyper::Uri, fields: &HeaderMap) -> Result<(), Box<Reply>> {
    if uri.path_and_query().map_or(0, |p| p.as_str().len()) > LONGEST_TARGET {
        return refuse(problem(StatusCode::URI_TOO_LONG, ""));
    }
    let Some(host) = only(fields, header::HOST) else {
        return refuse(problem(StatusCode::BAD_REQUEST, "one Host field must say which server is meant"));
    };
    let ours = |host: &[u8]| host_field::is_ours(host, &server.access.names);
    if !ours(host) || uri.authority().is_some_and(|a| !ours(a.as_str().as_bytes())) {
        let why = "this server goes by its address, by localhost, and by the names it was given (--page-name)";
        return refuse(problem(StatusCode::MISDIRECTED_REQUEST, why));
    }
    Ok(())
}

fn refuse(reply: Reply) -> Result<(), Box<Reply>> {
    Err(Box::new(reply))
}

fn only(fields: &HeaderMap, name: HeaderName) -> Option<&[u8]> {
    let mut all = fields.get_all(name).iter();
    all.next().filter(|_| all.next().is_none()).map(hyper::header::HeaderValue::as_bytes)
}

/// Whether another site's page makes the browser ask (Fetch Metadata, and `Origin` of RFC 6454). Following a link here
/// is all that another site may cause. What is no browser says neither.
fn from_ours(server: &Server, method: &Method, path: &str, fields: &HeaderMap) -> Result<(), Box<Reply>> {
    let word = |name: &str| fields.get(name).map(|v| v.to_str().unwrap_or("?"));
    let other = match word("sec-fetch-site") {
        None | Some("same-origin" | "none") => false,
        Some(_) => {
            let link = word("sec-fetch-mode") == Some("navigate") && word("sec-fetch-dest") == Some("document");
            !(link && method == Method::GET && matches!(path, "/" | "/technician" | "/door"))
        }
    };
    let scheme = if server.secure { "https" } else { "http" };
    let host = fields.get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
    let origin = word("origin").is_some_and(|o| !o.eq_ignore_ascii_case(&format!("{scheme}://{host}")));
    if other || origin {
        return refuse(problem(StatusCode::FORBIDDEN, "another site's page asked for this"));
    }
    Ok(())
}

/// Whether somebody may look; else what they are told.
fn admitted(server: &Server, peer: IpAddr, path: &str, fields: &HeaderMap) -> Result<(), Box<Reply>> {
    let token = match (server.access.of(peer), &server.access.token) {
        (Entry::In, _) => return Ok(()),
        (Entry::Show, Some(token)) => token,
        _ => return refuse(problem(StatusCode::FORBIDDEN, "not from this address")),
    };
    let cookies = fields.get_all(header::COOKIE).iter().filter_map(|c| c.to_str().ok());
    if cookies.filter_map(|c| cookie(c, PASS)).any(|pass| token.passes(pass, seconds())) {
        return Ok(());
    }
    let bearer = only(fields, header::AUTHORIZATION).and_then(|f| {
        let (scheme, shown) = f.split_at_checked(7)?;
        scheme.eq_ignore_ascii_case(b"bearer ").then_some(shown)
    });
    match bearer {
        Some(shown) => server.try_token(peer, token, shown),
        None if path.starts_with("/api/") || path == "/live" => refuse(show_it("")),
        None => {
            refuse(with(answer::page(StatusCode::UNAUTHORIZED, page::door(false)), header::WWW_AUTHENTICATE, "Bearer"))
        }
    }
}

fn show_it(why: &str) -> Reply {
    let challenge = if why.is_empty() { "Bearer" } else { "Bearer error=\"invalid_token\"" };
    with(problem(StatusCode::UNAUTHORIZED, why), header::WWW_AUTHENTICATE, challenge)
}

/// The form at the door: the right token gives a pass.
async fn knock(server: &Arc<Server>, peer: IpAddr, token: &Token, body: Incoming) -> Reply {
    let Ok(form) = Limited::new(body, LONGEST_FORM).collect().await else {
        return problem(StatusCode::PAYLOAD_TOO_LARGE, "");
    };
    let form = form.to_bytes();
    let pairs = std::str::from_utf8(&form).ok().and_then(Pairs::read).unwrap_or_default();
    match server.try_token(peer, token, pairs.of("token").unwrap_or_default().trim().as_bytes()) {
        Ok(()) => {
            let secure = if server.secure { "; Secure" } else { "" };
            let pass = token.pass(seconds());
            let set = format!("{PASS}={pass}; Path=/; Max-Age={PASS_LASTS_S}; HttpOnly; SameSite=Strict{secure}");
            with(to_home(), header::SET_COOKIE, &set)
        }
        Err(reply) if reply.status() == StatusCode::TOO_MANY_REQUESTS => *reply,
        Err(_) => answer::page(StatusCode::UNAUTHORIZED, page::door(true)),
    }
}

fn seconds() -> i64 {
    clock::wall_time().0 / 1_000_000
}

impl Server {
    /// Whether the token that is shown is right; else what is told.
    fn try_token(&self, peer: IpAddr, token: &Token, shown: &[u8]) -> Result<(), Box<Reply>> {
        let now_s = self.clock.now().secs();
        let mut tries = self.tries.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if let Err(wait) = tries.may(peer, now_s) {
            let reply = problem(StatusCode::TOO_MANY_REQUESTS, "too many wrong tokens came from there");
            return Err(Box::new(with(reply, header::RETRY_AFTER, &wait.to_string())));
        }
        if token.is(shown) {
            return Ok(());
        }
        tries.wrong(peer, now_s);
        Err(Box::new(show_it("this is not the token")))
    }
}
