//! The sockets: one thread for all addresses, so that a request never keeps the agent from measuring, and an agent that is
//! busy or stuck is still told of.
//!
//! Bounds, the same for page and metrics: so many connections in all and from one client (`connections`), one request
//! each, its head and the handshake within seconds and some kilobytes, the whole exchange within half a minute. Only a
//! view that stays open and takes what it is sent goes on.

use super::access::Access;
use super::answer::{self, Reply};
use super::connections::{Connection, Connections};
use super::handle::{self, Site};
use super::keep::Certificate;
use super::routes::Surface;
use super::state::{COSTLY, Published, State};
use crate::sys::clock::Clock;
use crate::sys::priority;
use crate::wire::host_field;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper::{Request, StatusCode, header};
use hyper_util::rt::{TokioIo, TokioTimer};
use std::convert::Infallible;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::sync::Arc;
use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::time::{Duration, sleep, timeout};
use tokio_rustls::TlsAcceptor;

/// Handshake, and the head of a request, each.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// A whole exchange but for a view that stays open.
const WITHIN: Duration = Duration::from_secs(30);
/// Longest head of a request, bytes.
const LONGEST_HEAD: usize = 16 << 10;
/// Most header fields.
const MOST_FIELDS: usize = 64;
/// Wait after the kernel refused to hand over a connection (no descriptors left), so that nothing spins.
const AGAIN_AFTER: Duration = Duration::from_millis(200);

/// Why nothing is served.
#[derive(Debug, thiserror::Error)]
pub enum NotServed {
    /// The address can't be listened on.
    #[error("{what} can't be served on {0}: {1}", what = .2.words())]
    Address(SocketAddr, io::Error, Surface),
    /// The thread or its runtime did not start.
    #[error("the server did not start: {0}")]
    Thread(io::Error),
    /// Others than this host could look without a token.
    #[error("{}", .1.open(*.0))]
    Open(SocketAddr, Surface),
}

/// An address to serve on.
#[derive(Debug)]
pub struct Address {
    /// The address; port 0 takes a free one.
    pub address: SocketAddr,
    /// What is served there.
    pub surface: Surface,
    /// Who may look.
    pub access: Access,
    /// For TLS.
    pub certificate: Option<Certificate>,
}

/// A server with its addresses, not serving yet.
#[derive(Debug)]
pub struct Server {
    state: Arc<State>,
    publish: watch::Sender<Option<Arc<Published>>>,
    listeners: Vec<(std::net::TcpListener, Arc<Site>, Option<Certificate>)>,
}

/// A server that runs for as long as the program.
#[derive(Debug)]
pub struct Served {
    state: Arc<State>,
    publish: watch::Sender<Option<Arc<Published>>>,
}

impl Served {
    /// Shows this from now on.
    pub fn publish(&self, published: Published) {
        self.publish.send_replace(Some(Arc::new(published)));
    }

    /// How many views are open.
    pub fn views(&self) -> usize {
        self.state.views.count()
    }
}

impl Server {
    /// A server of what is seen and kept in `record`, with times by `clock` on the record's axis.
    pub fn new(record: PathBuf, clock: Clock) -> Self {
        let (publish, published) = watch::channel(None);
        Self { state: Arc::new(State::new(record, clock, published)), publish, listeners: Vec::new() }
    }

    /// Listens on an address. Gives it with the port that was taken.
    pub fn listen(&mut self, at: Address) -> Result<SocketAddr, NotServed> {
        let Address { address, surface, access, certificate } = at;
        if !address.ip().is_loopback() && !access.is_guarded() {
            return Err(NotServed::Open(address, surface));
        }
        let failed = |e| NotServed::Address(address, e, surface);
        let listener = std::net::TcpListener::bind(address).map_err(failed)?;
        listener.set_nonblocking(true).map_err(failed)?;
        let taken = listener.local_addr().map_err(failed)?;
        let site = Site::new(Arc::clone(&self.state), surface, access, certificate.is_some());
        self.listeners.push((listener, Arc::new(site), certificate));
        Ok(taken)
    }

    /// Serves in a thread of its own; `None` where there is no address to serve on.
    pub fn start(self) -> Result<Option<Served>, NotServed> {
        let Self { state, publish, listeners } = self;
        if listeners.is_empty() {
            return Ok(None);
        }
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .max_blocking_threads(COSTLY)
            .thread_keep_alive(Duration::from_secs(1))
            .build()
            .map_err(NotServed::Thread)?;
        let shared = Arc::clone(&state);
        let run = move || {
            priority::give_way();
            runtime.block_on(async {
                for (listener, site, certificate) in listeners {
                    let tls = certificate.map(|c| TlsAcceptor::from(c.config));
                    match TcpListener::from_std(listener) {
                        Ok(listener) => drop(tokio::spawn(accept(listener, site, tls))),
                        Err(e) => tracing::warn!("an address is not served: {e}"),
                    }
                }
                // Ends with the agent, which alone publishes; the program ends then as well.
                shared.update_views().await;
            });
        };
        std::thread::Builder::new().name("server".into()).spawn(run).map_err(NotServed::Thread)?;
        Ok(Some(Served { state, publish }))
    }
}

async fn accept(listener: TcpListener, site: Arc<Site>, tls: Option<TlsAcceptor>) {
    let connections = Arc::new(Connections::new(site.surface.most_connections()));
    loop {
        let (stream, peer) = match listener.accept().await {
            Ok(both) => both,
            Err(e) => {
                tracing::debug!("a connection could not be accepted: {e}");
                sleep(AGAIN_AFTER).await;
                continue;
            }
        };
        // Closed at once where there is no room: a slow client must not make others wait in the kernel.
        let Some(connection) = connections.open(peer.ip()) else { continue };
        let (site, tls) = (Arc::clone(&site), tls.clone());
        tokio::spawn(async move {
            tokio::select! {
                () = serve(stream, peer.ip(), &connection, &site, tls) => {}
                () = connection.closing.notified() => {}
            }
        });
    }
}

async fn serve(stream: TcpStream, peer: IpAddr, connection: &Connection, site: &Site, tls: Option<TlsAcceptor>) {
    let Some(tls) = tls else { return exchange(stream, peer, connection, site, false).await };
    let mut first = [0];
    // A TLS record of a handshake begins with 22 (RFC 8446, section 5.1); everything else is plain HTTP.
    match timeout(HEAD_WITHIN, stream.peek(&mut first)).await {
        Ok(Ok(1)) if first == [22] => {
            if let Ok(Ok(stream)) = timeout(HEAD_WITHIN, tls.accept(stream)).await {
                exchange(stream, peer, connection, site, false).await;
            }
        }
        Ok(Ok(1)) => exchange(stream, peer, connection, site, true).await,
        _ => {}
    }
}

/// One request and its answer. `plain`: it came without TLS where TLS is spoken.
async fn exchange(
    stream: impl AsyncRead + AsyncWrite + Unpin,
    peer: IpAddr,
    connection: &Connection,
    site: &Site,
    plain: bool,
) {
    let answer = service_fn(async |request: Request<Incoming>| {
        let reply =
            if plain { https_redirect(&request) } else { handle::answer(site, peer, connection, request).await };
        Ok::<_, Infallible>(reply)
    });
    let http = http1::Builder::new()
        .keep_alive(false)
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_buf_size(LONGEST_HEAD)
        .max_headers(MOST_FIELDS)
        .serve_connection(TokioIo::new(stream), answer)
        .without_shutdown();
    tokio::pin!(http);
    // The client may be slow or gone; nobody waits for it.
    let done = match timeout(WITHIN, &mut http).await {
        Ok(done) => done,
        Err(_) if connection.stays_open() => http.await,
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
fn https_redirect(request: &Request<Incoming>) -> Reply {
    let host = request.headers().get(header::HOST).and_then(|h| h.to_str().ok()).unwrap_or_default();
    if !host_field::is_ours(host.as_bytes(), &[]) {
        return answer::problem(StatusCode::BAD_REQUEST, "this page is served with TLS only: begin with https://");
    }
    let reply = answer::problem(StatusCode::PERMANENT_REDIRECT, "this page is served with TLS only");
    answer::with_field(reply, header::LOCATION, &format!("https://{host}/"))
}
