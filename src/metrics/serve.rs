//! The socket that scrapers ask: a thread of its own, so that an agent that is busy or stuck is still told of.
//!
//! Bounds: so many connections at once (more wait in the kernel), one request each, a whole exchange within a few
//! seconds, a head of a few kilobytes. Bytes after the head are not read.

use super::board::Board;
use super::request::{Answer, Door, Form, Judged, LONGEST_HEAD, judge};
use super::text::exposition;
use crate::sys::clock::Clock;
use std::fmt::Write as _;
use std::io;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::{Duration, sleep, timeout};

/// Connections at once.
const MOST: usize = 8;
/// A whole exchange.
const WITHIN: Duration = Duration::from_secs(5);
/// After a refusal of the kernel to hand over a connection (no descriptors left), so that nothing spins.
const AGAIN_AFTER: Duration = Duration::from_millis(200);

/// Why nothing is served.
#[derive(Debug, thiserror::Error)]
pub enum NotServed {
    /// The address can't be listened on.
    #[error("metrics can't be served on {0}: {1}")]
    Address(SocketAddr, io::Error),
    /// The thread or its runtime did not start.
    #[error("metrics can't be served: {0}")]
    Thread(io::Error),
    /// Others than this host could ask, and nothing would have to be shown.
    #[error(
        "metrics on {0} would tell everybody on that network when the path is down: give --metrics-token FILE, or listen on 127.0.0.1"
    )]
    Open(SocketAddr),
}

/// What is served.
#[derive(Debug)]
pub struct Served {
    /// Where, with the port that was taken.
    pub address: SocketAddr,
    board: Arc<Mutex<Arc<Board>>>,
}

impl Served {
    /// Tells this board from now on.
    pub fn tell(&self, board: Board) {
        *self.board.lock().unwrap_or_else(PoisonError::into_inner) = Arc::new(board);
    }
}

/// Serves boards on an address; ages are by `clock`, on the record's axis.
pub fn serve(address: SocketAddr, door: Door, clock: Clock) -> Result<Served, NotServed> {
    if !address.ip().is_loopback() && door.token.is_none() {
        return Err(NotServed::Open(address));
    }
    let listener = std::net::TcpListener::bind(address).map_err(|e| NotServed::Address(address, e))?;
    listener.set_nonblocking(true).map_err(NotServed::Thread)?;
    let address = listener.local_addr().map_err(NotServed::Thread)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(NotServed::Thread)?;
    let board = Arc::new(Mutex::new(Arc::new(Board::default())));
    let told = Arc::clone(&board);
    let run = move || {
        runtime.block_on(async {
            match TcpListener::from_std(listener) {
                Ok(listener) => accept(listener, &Arc::new(door), clock, &told).await,
                Err(e) => tracing::warn!("metrics are not served: {e}"),
            }
        });
    };
    std::thread::Builder::new().name("metrics".into()).spawn(run).map_err(NotServed::Thread)?;
    Ok(Served { address, board })
}

async fn accept(listener: TcpListener, door: &Arc<Door>, clock: Clock, board: &Arc<Mutex<Arc<Board>>>) {
    let places = Arc::new(Semaphore::new(MOST));
    loop {
        // The semaphore is never closed.
        let Ok(place) = Arc::clone(&places).acquire_owned().await else { return };
        let stream = match listener.accept().await {
            Ok((stream, _)) => stream,
            Err(e) => {
                tracing::debug!("a scraper could not be let in: {e}");
                sleep(AGAIN_AFTER).await;
                continue;
            }
        };
        let (door, board) = (Arc::clone(door), Arc::clone(board));
        tokio::spawn(async move {
            // Whoever asked may be slow or gone; nobody waits for them.
            let _ = timeout(WITHIN, exchange(stream, &door, clock, &board)).await;
            drop(place);
        });
    }
}

async fn exchange(mut stream: TcpStream, door: &Door, clock: Clock, board: &Mutex<Arc<Board>>) -> io::Result<()> {
    let mut head = Vec::with_capacity(1 << 10);
    let judged = loop {
        let room = LONGEST_HEAD - head.len();
        if (&mut stream).take(room as u64).read_buf(&mut head).await? == 0 {
            return Ok(());
        }
        if let Some(judged) = judge(&head, door) {
            break judged;
        }
    };
    let board = Arc::clone(&board.lock().unwrap_or_else(PoisonError::into_inner));
    let now_s = clock.now().secs();
    stream.write_all(response(judged, &board, now_s).as_bytes()).await?;
    stream.shutdown().await?;
    // Closing with unread bytes would reset the connection before the answer is read.
    let mut rest = [0; 512];
    while stream.read(&mut rest).await? > 0 {}
    Ok(())
}

fn response(judged: Judged, board: &Board, now_s: f64) -> String {
    const PLAIN: &str = "text/plain; charset=utf-8";
    let (code, words, kind, body) = match judged.answer {
        Answer::Metrics(form) => (200, "OK", form.media_type(), exposition(board, now_s, form)),
        Answer::Where => (200, "OK", PLAIN, "pathproof: see /metrics\n".into()),
        Answer::No(code, words) => (code, words, PLAIN, format!("{words}\n")),
    };
    let mut out = format!("HTTP/1.1 {code} {words}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\n", body.len());
    if let Answer::Metrics(Form::OpenMetrics | Form::Text) = judged.answer {
        out.push_str("Vary: Accept\r\nCache-Control: no-store\r\n");
    }
    match code {
        401 => out.push_str("WWW-Authenticate: Bearer\r\n"),
        405 => out.push_str("Allow: GET, HEAD\r\n"),
        _ => {}
    }
    let _ = write!(out, "X-Content-Type-Options: nosniff\r\nConnection: close\r\n\r\n");
    if !judged.head_only {
        out.push_str(&body);
    }
    out
}
