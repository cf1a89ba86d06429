//! The practice receiver: accepts a connection, says nothing, and closes when the other side does.
//!
//! It counts the octets it was sent, which must stay nothing: that is what shows the agent sends none.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::{Semaphore, watch};
use tokio::task::JoinHandle;

/// Most connections held at once; more are closed as soon as they are accepted.
const AT_ONCE: usize = 64;
/// Longest a connection is held.
const LONGEST: Duration = Duration::from_mins(1);
/// Connections that wait to be accepted.
const QUEUE: u32 = 128;
/// The same where the queue has to be filled to be deaf.
const SHORT_QUEUE: u32 = 1;

/// What came to the receiver.
#[derive(Debug, Default)]
pub struct Visits {
    connections: AtomicU64,
    octets: AtomicU64,
}

impl Visits {
    /// Connections accepted.
    pub fn connections(&self) -> u64 {
        self.connections.load(Ordering::Relaxed)
    }

    /// Octets received on them.
    pub fn octets(&self) -> u64 {
        self.octets.load(Ordering::Relaxed)
    }
}

/// A listening receiver. Closed, with every connection, by [`Receiver::close`].
pub(super) struct Receiver {
    task: JoinHandle<()>,
    address: SocketAddr,
}

impl Receiver {
    /// Listens. While `deaf` is given and true it takes no connection, so that the kernel leaves new ones unanswered, as
    /// a dead line does; only loopback needs that.
    pub(super) fn open(
        address: SocketAddr,
        visits: Arc<Visits>,
        deaf: Option<watch::Receiver<bool>>,
    ) -> io::Result<Self> {
        let socket = TcpSocket::new_v4()?;
        socket.set_reuseaddr(true)?;
        socket.bind(address)?;
        let listener = socket.listen(if deaf.is_some() { SHORT_QUEUE } else { QUEUE })?;
        let address = listener.local_addr()?;
        Ok(Self { task: tokio::spawn(serve(listener, visits, deaf)), address })
    }

    /// Where it listens.
    pub(super) fn address(&self) -> SocketAddr {
        self.address
    }

    /// Stops listening; the socket is closed when this returns.
    pub(super) async fn close(self) {
        self.task.abort();
        drop(self.task.await);
    }
}

async fn serve(listener: TcpListener, visits: Arc<Visits>, mut deaf: Option<watch::Receiver<bool>>) {
    let room = Arc::new(Semaphore::new(AT_ONCE));
    // Owned by this task, so that they end with it.
    let mut held = tokio::task::JoinSet::new();
    loop {
        if let Some(deaf) = deaf.as_mut().filter(|d| *d.borrow()) {
            let fillers = fill(&listener).await;
            let over = deaf.wait_for(|d| !d).await.is_ok();
            drop(fillers);
            if !over {
                return;
            }
        }
        tokio::select! {
            () = told_to_be_deaf(&mut deaf) => {}
            Some(_) = held.join_next() => {}
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => {
                    visits.connections.fetch_add(1, Ordering::Relaxed);
                    if let Ok(place) = Arc::clone(&room).try_acquire_owned() {
                        let visits = Arc::clone(&visits);
                        held.spawn(async move {
                            drop(tokio::time::timeout(LONGEST, hold(stream, visits)).await);
                            drop(place);
                        });
                    }
                }
                // Out of descriptors or the like; the next may do better.
                Err(_) => tokio::time::sleep(Duration::from_millis(10)).await,
            },
        }
    }
}

/// Waits until it is to be deaf; for ever where nobody can tell it so.
async fn told_to_be_deaf(deaf: &mut Option<watch::Receiver<bool>>) {
    let told = match deaf {
        Some(deaf) => deaf.wait_for(|d| *d).await.is_ok(),
        None => false,
    };
    if !told {
        std::future::pending::<()>().await;
    }
}

async fn hold(mut stream: TcpStream, visits: Arc<Visits>) {
    let mut buffer = [0; 256];
    while let Ok(n @ 1..) = stream.read(&mut buffer).await {
        visits.octets.fetch_add(n as u64, Ordering::Relaxed);
    }
}

/// Fills the queue of connections not yet accepted; Linux then drops further ones without an answer.
async fn fill(listener: &TcpListener) -> Vec<TcpStream> {
    let mut fillers = Vec::new();
    let Ok(address) = listener.local_addr() else { return fillers };
    for _ in 0..=SHORT_QUEUE + 1 {
        let connect = TcpStream::connect(address);
        match tokio::time::timeout(Duration::from_millis(30), connect).await {
            Ok(Ok(stream)) => fillers.push(stream),
            _ => break,
        }
    }
    fillers
}
