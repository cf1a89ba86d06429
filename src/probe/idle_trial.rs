//! One trial: a flow is opened, left idle for so long, and then asked whether it is still there.
//!
//! Decides how to ask without sending data. Over TCP: the kernel's keep-alive segment, which carries none and which any
//! TCP must acknowledge (RFC 9293 section 3.8.4). Over UDP: a STUN server either answers another socket's question to the
//! idle one's port (RFC 5780 section 4.6, where it knows how), or is asked again by the idle one and must see the same
//! port. Something between that lets a forgotten flow be taken up again from inside, under the same port, loses nothing
//! that matters to a sender, and shows as kept by the second way and over TCP.

use super::datagram::{self, Failed, Heard};
use super::idle_search::Ended;
use super::seen_from::{self, Mapped};
use super::{Context, errno};
use crate::judge::{Detail, Micros, Moment, Outcome, Transport};
use crate::sys::outgoing;
use crate::sys::way::Way;
use crate::wire::stun;
use std::io;
use std::net::SocketAddr;
use std::time::Duration;
use tokio::net::{TcpStream, UdpSocket};
use tokio::time::timeout_at;

/// Questions before silence is believed.
const TRIES: u32 = 3;
/// Between them, and how long the last one is waited for.
const APART: Micros = Micros::from_secs(1);
/// How often the kernel is asked whether an acknowledgement came.
const LOOK: Duration = Duration::from_millis(100);
/// A second exchange this much after the first makes a flow that was answered a lasting one: Linux gives it its longer
/// time only after two seconds of both ways (`nf_conntrack_udp_timeout_stream`).
const LASTING: Micros = Micros::from_millis(3_000);
/// A far end that speaks by itself so often leaves no idle time to try.
const MOST_SPOKEN: u32 = 3;

/// How an idle flow is asked about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Means {
    /// TCP keep-alive.
    KeepAlive,
    /// STUN, asked again from the idle socket.
    SamePort,
    /// STUN, asked by another socket to answer to the idle one.
    AnsweredElsewhere,
}

/// Settles how to ask, and that the far end can be reached at all.
pub(super) async fn means(ctx: &Context, over: Transport, to: SocketAddr, way: &Way) -> Result<Means, Failed> {
    if over == Transport::Tcp {
        connect(ctx, to, way).await?;
        return Ok(Means::KeepAlive);
    }
    let idle = datagram::open(to, way)?;
    let mapped = seen_from::binding(ctx, &idle, to).await?;
    if mapped.behaviour && answered_elsewhere(ctx, to, way, &idle, mapped).await? {
        return Ok(Means::AnsweredElsewhere);
    }
    Ok(Means::SamePort)
}

/// One trial of an idle time in seconds. An error where the far end can't be reached any more: then nothing is known.
pub(super) async fn run(ctx: &Context, means: Means, to: SocketAddr, way: &Way, age: u32) -> Result<Ended, Failed> {
    let age = Micros::from_secs(i64::from(age));
    match means {
        Means::KeepAlive => tcp(ctx, to, way, age).await,
        Means::SamePort | Means::AnsweredElsewhere => udp(ctx, means, to, way, age).await,
    }
}

async fn connect(ctx: &Context, to: SocketAddr, way: &Way) -> Result<TcpStream, Failed> {
    let connecting = outgoing::tcp(to, way.name().as_deref()).map_err(|e| errno::at_connect(&e))?;
    let deadline = ctx.clock.instant(ctx.clock.now() + ctx.plan.patience);
    match timeout_at(deadline, connecting.done()).await {
        Ok(done) => done.map_err(|e| errno::from_network(&e)),
        Err(_) => Err((Outcome::Timeout, Detail::None)),
    }
}

/// What a connection did while it was watched.
enum Watched {
    /// Nothing, until the time was over.
    Idle,
    /// The far end sent something.
    Spoke,
    /// The far end closed it in order.
    Closed,
    /// It was torn down.
    Torn,
}

async fn watch(ctx: &Context, stream: &TcpStream, until: Moment) -> Watched {
    let deadline = ctx.clock.instant(until);
    let mut buffer = [0; 1_024];
    loop {
        match timeout_at(deadline, stream.readable()).await {
            Err(_) => return Watched::Idle,
            Ok(Err(_)) => return Watched::Torn,
            Ok(Ok(())) => match stream.try_read(&mut buffer) {
                Ok(0) => return Watched::Closed,
                Ok(_) => return Watched::Spoke,
                Err(e) if e.kind() == io::ErrorKind::WouldBlock => {}
                Err(_) => return Watched::Torn,
            },
        }
    }
}

async fn tcp(ctx: &Context, to: SocketAddr, way: &Way, age: Micros) -> Result<Ended, Failed> {
    let stream = connect(ctx, to, way).await?;
    let mut since = ctx.clock.now();
    let mut spoken = 0;
    loop {
        // The kernel sends its first question a second after it is told to.
        match watch(ctx, &stream, since + Micros(age.0 - APART.0)).await {
            Watched::Idle => break,
            Watched::Torn => return lost(connect(ctx, to, way).await),
            Watched::Closed => return Ok(closed(ctx, since)),
            Watched::Spoke if spoken < MOST_SPOKEN => {
                spoken += 1;
                since = ctx.clock.now();
            }
            Watched::Spoke => {
                let why = "the far end speaks by itself; name a host that leaves connections idle".to_owned();
                return Err((Outcome::Malformed, Detail::Why(why)));
            }
        }
    }
    outgoing::ask_in_a_second(&stream).map_err(|e| errno::while_asking(&e))?;
    let told = ctx.clock.now();
    let end = told + Micros(APART.0 * i64::from(TRIES + 1)) + ctx.plan.patience.min(APART);
    while ctx.clock.now() < end {
        let look = ctx.clock.now() + Micros(LOOK.as_micros() as i64);
        match watch(ctx, &stream, look).await {
            Watched::Idle => {}
            Watched::Torn => return lost(connect(ctx, to, way).await),
            Watched::Closed => return Ok(closed(ctx, since)),
            Watched::Spoke => return Ok(Ended::Kept),
        }
        let ago = outgoing::acknowledged(&stream).map_err(|e| errno::while_asking(&e))?;
        let acknowledged = ctx.clock.now() - Micros(i64::try_from(ago.as_micros()).unwrap_or(i64::MAX));
        if acknowledged > told + Micros(APART.0 / 2) {
            return Ok(Ended::Kept);
        }
    }
    lost(connect(ctx, to, way).await)
}

/// A loss counts only while the far end can be reached anew.
fn lost<T>(anew: Result<T, Failed>) -> Result<Ended, Failed> {
    anew.map(|_| Ended::Lost)
}

fn closed(ctx: &Context, since: Moment) -> Ended {
    Ended::Closed(u32::try_from((ctx.clock.now() - since).0 / 1_000_000).unwrap_or(u32::MAX))
}

async fn udp(ctx: &Context, means: Means, to: SocketAddr, way: &Way, age: Micros) -> Result<Ended, Failed> {
    let socket = datagram::open(to, way)?;
    seen_from::binding(ctx, &socket, to).await?;
    tokio::time::sleep(LASTING.to_std()).await;
    let mapped = seen_from::binding(ctx, &socket, to).await?;
    tokio::time::sleep(age.to_std()).await;
    let same = if means == Means::AnsweredElsewhere {
        answered_elsewhere(ctx, to, way, &socket, mapped).await?
    } else {
        again(ctx, &socket, to).await?.seen == mapped.seen
    };
    if same {
        return Ok(Ended::Kept);
    }
    let anew = datagram::open(to, way)?;
    lost(again(ctx, &anew, to).await)
}

/// A Binding request, repeated when nothing comes.
async fn again(ctx: &Context, socket: &UdpSocket, to: SocketAddr) -> Result<Mapped, Failed> {
    let mut came = seen_from::binding(ctx, socket, to).await;
    for _ in 1..TRIES {
        if !matches!(came, Err((Outcome::Timeout, _))) {
            break;
        }
        came = seen_from::binding(ctx, socket, to).await;
    }
    came
}

/// Whether the server, asked by another socket, reaches the idle one by the port it had.
async fn answered_elsewhere(
    ctx: &Context,
    to: SocketAddr,
    way: &Way,
    idle: &UdpSocket,
    mapped: Mapped,
) -> Result<bool, Failed> {
    let other = datagram::open(to, way)?;
    let id = rand::random();
    let request = stun::request(id, Some(mapped.seen.port()));
    for _ in 0..TRIES {
        datagram::send(&other, &request).await?;
        let until = ctx.clock.now() + APART.min(ctx.plan.patience);
        let came = datagram::wait(ctx, idle, to, until, |bytes| match stun::check(&id, bytes) {
            stun::Checked::NotOurs => Heard::NotOurs,
            _ => Heard::Is(()),
        });
        if came.await.is_ok() {
            return Ok(true);
        }
    }
    Ok(false)
}
