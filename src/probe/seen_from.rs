//! Which address does the outside see? Asks each STUN server the site file names (RFC 8489).
//!
//! Decides only whether a reply is ours. Compared with this host's own address and the router's outer one, the answer
//! tells how many boxes translate; that is the judge's.

use super::Context;
use super::datagram::{self, Failed, Heard};
use super::turns::{self, Turns};
use crate::judge::{Detail, Micros, Question};
use crate::site::plan::Asked;
use crate::sys::way::Way;
use crate::wire::stun;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::net::UdpSocket;
use tokio::task::JoinSet;

/// Asks each STUN server each `every` until the agent is gone.
pub async fn run(ctx: Context) {
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, server) in ctx.plan.between.stun_servers.iter().enumerate() {
        let first = ctx.clock.now() + Micros(datagram::first_after(i).as_micros() as i64);
        let (given, server, way) = (ctx.clone(), server.clone(), way.clone());
        let turns = Turns::new(server.every, server.every, first);
        each.spawn(turns::each(ctx.clone(), turns, 1, move |_| {
            let (ctx, server, way) = (given.clone(), server.clone(), way.clone());
            async move {
                let began = ctx.clock.now();
                let (asked, came) = ask(&ctx, &server, &way).await;
                let span = (asked.unwrap_or(began), ctx.clock.now());
                ctx.report(datagram::observation(Question::SeenFrom, &server, span, came)).await;
            }
        }));
    }
    each.join_all().await;
}

async fn ask(ctx: &Context, server: &Asked, way: &Way) -> (Option<crate::judge::Moment>, Result<Detail, Failed>) {
    let opened = async {
        let to = datagram::first_address(ctx, server).await?;
        Ok((to, datagram::open(to, way)?))
    };
    let (to, socket) = match opened.await {
        Ok(o) => o,
        Err(e) => return (None, Err(e)),
    };
    let asked = ctx.clock.now();
    (Some(asked), binding(ctx, &socket, to).await.map(|m| Detail::SeenFrom(m.seen)))
}

/// What a server said of us.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Mapped {
    /// Address and port it saw.
    pub(super) seen: SocketAddr,
    /// It knows RFC 5780.
    pub(super) behaviour: bool,
}

/// One Binding request by a socket, and the answer to it.
pub(super) async fn binding(ctx: &Context, socket: &UdpSocket, to: SocketAddr) -> Result<Mapped, Failed> {
    let id = rand::random();
    datagram::send(socket, &stun::request(id, None)).await?;
    datagram::wait(ctx, socket, to, ctx.clock.now() + ctx.plan.patience, |bytes| read(&id, bytes)).await?
}

/// A datagram as the answer to a request; a refusal is an answer too.
pub(super) fn read(id: &stun::Transaction, bytes: &[u8]) -> Heard<Result<Mapped, Failed>> {
    match stun::check(id, bytes) {
        stun::Checked::NotOurs => Heard::NotOurs,
        stun::Checked::Malformed => Heard::Malformed,
        stun::Checked::Mapped { seen, behaviour } => Heard::Is(Ok(Mapped { seen, behaviour })),
        stun::Checked::Refused(code) => {
            Heard::Is(Err((crate::judge::Outcome::Refused, Detail::Why(format!("STUN error {code}")))))
        }
    }
}
