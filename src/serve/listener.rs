//! The socket that browsers and programs ask: a thread of its own, so that a page never keeps the agent from measuring.
//!
//! Bounds: so many connections in all and for each who asks (`seats`), one request each, its head and the handshake
//! within seconds and some kilobytes, the whole exchange within half a minute; only a view that stays open and takes what
//! it is sent goes on. Costly answers are worked out aside, one at a time.

use super::access::Access;
use super::answer::{self, Reply};
use super::handle;
use super::keep::Certificate;
use super::live::{Kind, Views, event};
use super::seats::{Guest, Guests};
use super::tries::Tries;
use crate::judge::WallTime;
use crate::show::page::{self, Look};
use crate::show::words;
use crate::snapshot::{Snapshot, VerdictKind};
use crate::sys::clock::Clock;
use crate::sys::priority;
use hyper::body::Bytes;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper::{Request, StatusCode, header};
use hyper_util::rt::{TokioIo, TokioTimer};
use jiff::tz::TimeZone;
use std::convert::Infallible;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::time::{Duration, MissedTickBehavior, interval, sleep, timeout};
use tokio_rustls::TlsAcceptor;

/// Handshake, and the head of a request, each.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// A whole exchange but for a view that stays open.
const WITHIN: Duration = Duration::from_secs(30);
/// Longest head of a request, bytes.
const LONGEST_HEAD: usize = 16 << 10;
/// Most header fields.
const MOST_FIELDS: usize = 64;
/// After a refusal of the kernel to hand over a connection (no descriptors left), so that nothing spins.
const AGAIN_AFTER: Duration = Duration::from_millis(200);
/// Open views are told the time this often.
const TICK: Duration = Duration::from_secs(4);
/// A technician's view is told to look anew at least this often.
const ANEW: u32 = 15;
/// A page drawn once is good for as long, seconds.
const FRESH_S: f64 = 1.0;
/// Costly answers at once.
const ASIDE: usize = 1;

/// Why nothing is served.
#[derive(Debug, thiserror::Error)]
pub enum NotServed {
    /// The address can't be listened on.
    #[error("the page can't be served on {0}: {1}")]
    Address(SocketAddr, io::Error),
    /// The thread or its runtime did not start.
    #[error("the page can't be served: {0}")]
    Thread(io::Error),
    /// Others than this host could look, and nothing would have to be shown.
    #[error(
        "a page on {0} would be open to everybody on that network: give --page-token FILE or --page-allow ADDRESS/PREFIX, or listen on 127.0.0.1"
    )]
    Open(SocketAddr),
}

/// Where and what to serve.
#[derive(Debug)]
pub struct Place {
    /// The address.
    pub address: SocketAddr,
    /// Who is let in.
    pub access: Access,
    /// For TLS.
    pub certificate: Option<Certificate>,
    /// The record.
    pub record: PathBuf,
    /// The clock, on the record's axis.
    pub clock: Clock,
}

/// What there is to show after a look.
#[derive(Clone, Debug)]
pub struct Told {
    /// The snapshot.
    pub snapshot: Snapshot,
    /// When its verdict was reached, seconds on the record's axis; `None` before the first.
    pub reached_s: Option<f64>,
    /// When the lanes were looked over, seconds on the record's axis.
    pub looked_s: f64,
    /// The same by the wall clock.
    pub looked: WallTime,
    /// What this box sends and to whom, a line each.
    pub sends: Arc<[String]>,
}

/// What is served.
#[derive(Debug)]
pub struct Served {
    /// Where, with the port that was taken.
    pub address: SocketAddr,
    told: watch::Sender<Option<Arc<Told>>>,
    server: Arc<Server>,
}

impl Served {
    /// Shows this from now on.
    pub fn tell(&self, told: Told) {
        self.told.send_replace(Some(Arc::new(told)));
    }

    /// How many views are open.
    pub fn views(&self) -> usize {
        self.server.views.count()
    }
}

/// What every request is answered from.
#[derive(Debug)]
pub(super) struct Server {
    pub(super) access: Access,
    /// Whether TLS is spoken.
    pub(super) secure: bool,
    pub(super) clock: Clock,
    pub(super) record: PathBuf,
    pub(super) zone: TimeZone,
    pub(super) views: Views,
    pub(super) tries: Mutex<Tries>,
    record_name: String,
    told: watch::Receiver<Option<Arc<Told>>>,
    home: Mutex<Option<Drawn>>,
    aside: Semaphore,
}

/// A page as it was drawn.
#[derive(Debug)]
struct Drawn {
    of: Arc<Told>,
    at_s: f64,
    page: Bytes,
}

impl Server {
    /// What was told last.
    pub(super) fn told(&self) -> Option<Arc<Told>> {
        self.told.borrow().clone()
    }

    /// What pages are drawn from.
    pub(super) fn look<'a>(&'a self, told: &'a Told) -> Look<'a> {
        Look {
            snapshot: &told.snapshot,
            zone: &self.zone,
            now_s: self.clock.now().secs(),
            sends: &told.sends,
            record: &self.record_name,
        }
    }

    /// The homeowner's page, drawn anew only where there is something new or time has passed.
    pub(super) fn home(&self, told: &Arc<Told>) -> Bytes {
        let now_s = self.clock.now().secs();
        let mut drawn = self.home.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(d) = &*drawn
            && Arc::ptr_eq(&d.of, told)
            && now_s - d.at_s < FRESH_S
        {
            return d.page.clone();
        }
        let page = Bytes::from(page::home(&self.look(told)));
        *drawn = Some(Drawn { of: Arc::clone(told), at_s: now_s, page: page.clone() });
        page
    }

    /// What stands inside its `<main>`.
    pub(super) fn home_main(&self, told: &Told) -> String {
        page::home_main(&self.look(told))
    }

    /// What an open view is told now and then.
    pub(super) fn tick(&self, told: &Told) -> Bytes {
        let data = serde_json::json!({
            "now_s": self.clock.now().secs(),
            "looked_s": told.looked_s,
            "looked": super::api::time(told.looked),
            "wall": words::full_time(told.looked, &self.zone),
        });
        event("tick", &data.to_string())
    }

    /// Works something out on another thread; `None` where too much is asked at once.
    pub(super) async fn aside<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Option<T> {
        let _place = timeout(HEAD_WITHIN, self.aside.acquire()).await.ok()?.ok()?;
        tokio::task::spawn_blocking(work).await.ok()
    }

    /// Tells open views what has changed, for as long as anybody may still tell the server.
    async fn keep_views(&self) {
        let mut told = self.told.clone();
        let mut tick = interval(TICK);
        tick.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let (mut main, mut mark, mut ticks) = (String::new(), None, 0u32);
        loop {
            tokio::select! {
                changed = told.changed() => if changed.is_err() { return },
                _ = tick.tick() => {
                    if let Some(told) = self.told() {
                        self.views.send(None, &self.tick(&told));
                    }
                    ticks = ticks.wrapping_add(1);
                    if !ticks.is_multiple_of(ANEW) {
                        continue;
                    }
                    mark = None;
                }
            }
            let Some(told) = self.told() else { continue };
            if self.views.any(Kind::Home) {
                let now = self.home_main(&told);
                if now != main {
                    self.views.send(Some(Kind::Home), &event("look", &now));
                    main = now;
                }
            }
            let now = Some(Mark::of(&told));
            if now != mark {
                let data = serde_json::json!({ "looked_s": told.looked_s });
                self.views.send(Some(Kind::Technician), &event("changed", &data.to_string()));
                mark = now;
            }
        }
    }
}

/// What makes it worth looking anew at the technician's view.
#[derive(Debug, PartialEq)]
struct Mark {
    lanes: Vec<crate::judge::LaneState>,
    troubles: Vec<(u64, bool, bool)>,
    verdict: (VerdictKind, Option<u64>),
    waits: bool,
}

impl Mark {
    fn of(told: &Told) -> Self {
        let s = &told.snapshot;
        let cause = |word: &str| word.bytes().fold(0u64, |h, b| h.wrapping_mul(31).wrapping_add(b.into()));
        Self {
            lanes: s.lanes.iter().map(|l| l.state).collect(),
            troubles: s.troubles.iter().map(|t| (cause(&t.cause), t.end_s.is_some(), t.down_to_s.is_some())).collect(),
            verdict: (s.verdict.kind, told.reached_s.map(f64::to_bits)),
            waits: s.agent.as_ref().is_some_and(|a| a.record_waits.is_some()),
        }
    }
}

/// Serves on an address.
pub fn serve(place: Place) -> Result<Served, NotServed> {
    let Place { address, access, certificate, record, clock } = place;
    if !address.ip().is_loopback() && !access.is_guarded() {
        return Err(NotServed::Open(address));
    }
    let listener = std::net::TcpListener::bind(address).map_err(|e| NotServed::Address(address, e))?;
    listener.set_nonblocking(true).map_err(NotServed::Thread)?;
    let address = listener.local_addr().map_err(NotServed::Thread)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .max_blocking_threads(ASIDE)
        .thread_keep_alive(Duration::from_secs(1))
        .build()
        .map_err(NotServed::Thread)?;
    let (told, tells) = watch::channel(None);
    let server = Arc::new(Server {
        access,
        secure: certificate.is_some(),
        clock,
        record_name: record.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default(),
        record,
        zone: TimeZone::system(),
        views: Views::default(),
        tries: Mutex::default(),
        told: tells,
        home: Mutex::default(),
        aside: Semaphore::new(ASIDE),
    });
    let shared = Arc::clone(&server);
    let run = move || {
        priority::give_way();
        runtime.block_on(async {
            match TcpListener::from_std(listener) {
                Ok(listener) => {
                    let views = Arc::clone(&shared);
                    tokio::spawn(async move { views.keep_views().await });
                    accept(listener, shared, certificate.map(|c| TlsAcceptor::from(c.config))).await;
                }
                Err(e) => tracing::warn!("the page is not served: {e}"),
            }
        });
    };
    std::thread::Builder::new().name("page".into()).spawn(run).map_err(NotServed::Thread)?;
    Ok(Served { address, told, server })
}

async fn accept(listener: TcpListener, server: Arc<Server>, tls: Option<TlsAcceptor>) {
    let guests = Arc::new(Guests::default());
    loop {
        let (stream, peer) = match listener.accept().await {
            Ok(both) => both,
            Err(e) => {
                tracing::debug!("a guest could not be let in: {e}");
                sleep(AGAIN_AFTER).await;
                continue;
            }
        };
        // Closed at once: whoever is slow must not make others wait in the kernel.
        let Some(seat) = guests.seat(peer.ip()) else { continue };
        let (server, tls) = (Arc::clone(&server), tls.clone());
        tokio::spawn(async move {
            let guest = &*seat;
            tokio::select! {
                () = host(stream, peer.ip(), guest, &server, tls) => {}
                () = guest.out.notified() => {}
            }
        });
    }
}

async fn host(stream: TcpStream, peer: IpAddr, guest: &Guest, server: &Arc<Server>, tls: Option<TlsAcceptor>) {
    let Some(tls) = tls else { return exchange(stream, peer, guest, server, false).await };
    let mut first = [0];
    // A TLS record of a handshake begins with 22 (RFC 8446, section 5.1); what does not is plain HTTP.
    match timeout(HEAD_WITHIN, stream.peek(&mut first)).await {
        Ok(Ok(1)) if first == [22] => {
            if let Ok(Ok(stream)) = timeout(HEAD_WITHIN, tls.accept(stream)).await {
                exchange(stream, peer, guest, server, false).await;
            }
        }
        Ok(Ok(1)) => exchange(stream, peer, guest, server, true).await,
        _ => {}
    }
}

/// One request and its answer. `plain`: it came without TLS where there should be some.
async fn exchange(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    peer: IpAddr,
    guest: &Guest,
    server: &Arc<Server>,
    plain: bool,
) {
    let answer = service_fn(async |request: Request<hyper::body::Incoming>| {
        let reply = if plain { elsewhere(&request) } else { handle::answer(server, peer, guest, request).await };
        Ok::<_, Infallible>(reply)
    });
    let connection = http1::Builder::new()
        .keep_alive(false)
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_buf_size(LONGEST_HEAD)
        .max_headers(MOST_FIELDS)
        .serve_connection(TokioIo::new(stream), answer)
        .without_shutdown();
    tokio::pin!(connection);
    // Whoever asked may be slow or gone; nobody waits for them.
    let done = match timeout(WITHIN, &mut connection).await {
        Ok(done) => done,
        Err(_) if guest.stays() => connection.await,
        Err(_) => return,
    };
    if let Ok(parts) = done {
        // Closing with unread bytes would reset the connection before the answer is read.
        let mut stream = parts.io.into_inner();
        let _ = timeout(Duration::from_secs(1), async {
            stream.shutdown().await?;
            let mut rest = [0; 1_024];
            while stream.read(&mut rest).await? > 0 {}
            io::Result::Ok(())
        })
        .await;
    }
}

/// Where the same page is had with TLS; only for a name that may be ours, as addresses are.
fn elsewhere(request: &Request<hyper::body::Incoming>) -> Reply {
    let host = request.headers().get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
    if !crate::wire::host_field::is_ours(host.as_bytes(), &[]) {
        return answer::problem(StatusCode::BAD_REQUEST, "this page is served with TLS only: begin with https://");
    }
    let reply = answer::problem(StatusCode::PERMANENT_REDIRECT, "this page is served with TLS only");
    answer::with(reply, header::LOCATION, &format!("https://{host}/"))
}
