//! What does a plain web request get where nothing should stand between? One HTTP request for each control page the
//! site file names; no redirect is followed and nothing of the page is kept but its status and the host it points to.

use super::turns::{self, Turns};
use super::{Context, datagram, errno};
use crate::judge::{Detail, Micros, Moment, Outcome, Question};
use crate::site::Host;
use crate::site::plan::{Asked, ControlPage};
use crate::sys::outgoing;
use crate::sys::way::Way;
use crate::wire::http::{self, Expected, Incoming};
use std::sync::Arc;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::task::JoinSet;
use tokio::time::timeout_at;

/// Asks for each page each `every` until the agent is gone.
pub async fn run(ctx: Context) {
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, page) in ctx.plan.between.control_pages.iter().enumerate() {
        let first = ctx.clock.now() + Micros(datagram::first_after(i).as_micros() as i64);
        let (given, page, way) = (ctx.clone(), page.clone(), way.clone());
        let turns = Turns::new(page.at.every, page.at.every, first);
        each.spawn(turns::each(ctx.clone(), turns, 1, move |_| {
            let (ctx, page, way) = (given.clone(), page.clone(), way.clone());
            async move {
                let mut asked = ctx.clock.now();
                let came = fetch(&ctx, &page, &way, &mut asked).await;
                let span = (asked, ctx.clock.now());
                ctx.report(datagram::observation(Question::Portal, &page.at, span, came)).await;
            }
        }));
    }
    each.join_all().await;
}

/// Connects and asks; each of the two may take `plan.patience`.
async fn fetch(ctx: &Context, page: &ControlPage, way: &Way, asked: &mut Moment) -> Result<Detail, datagram::Failed> {
    let to = datagram::first_address(ctx, &page.at).await?;
    *asked = ctx.clock.now();
    let patience = ctx.plan.patience;
    let connecting = outgoing::tcp(to, way.name().as_deref()).map_err(|e| errno::at_connect(&e))?;
    let nothing = |_| (Outcome::Timeout, Detail::None);
    let connected = timeout_at(ctx.clock.instant(*asked + patience), connecting.done()).await.map_err(nothing)?;
    let mut stream = connected.map_err(|e| errno::from_network(&e))?;
    let expected = Expected { status: page.status, body: page.body.clone() };
    let deadline = ctx.clock.instant(ctx.clock.now() + patience);
    let talk = async {
        let broken = |e: std::io::Error| errno::from_network(&e);
        stream.write_all(&http::request(&field(&page.at), &page.path)).await.map_err(broken)?;
        let mut incoming = Incoming::new(expected.wanted());
        let mut buffer = vec![0; 4_096];
        loop {
            let read = match stream.read(&mut buffer).await.map_err(broken)? {
                0 => incoming.end().map(Some),
                n => incoming.take(&buffer[..n]),
            };
            if let Some(came) = read.map_err(|_| (Outcome::Malformed, Detail::None))? {
                return Ok(Detail::Web(expected.compare(came)));
            }
        }
    };
    timeout_at(deadline, talk).await.map_err(nothing)?
}

/// The Host field (RFC 9110 section 7.2): the port only where it is not 80.
fn field(at: &Asked) -> String {
    let host = match &at.host {
        Host::Address(std::net::IpAddr::V6(six)) => format!("[{six}]"),
        Host::Address(four) => four.to_string(),
        Host::Name(name) => name.trim_end_matches('.').to_owned(),
    };
    if at.port == 80 { host } else { format!("{host}:{}", at.port) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_host_field_is_as_rfc_9110_has_it() {
        let at = |host, port| Asked { name: "p".into(), host, port, every: Micros::from_secs(60) };
        let six = Host::Address("2001:db8::1".parse().expect("an address"));
        assert_eq!(field(&at(six, 8_080)), "[2001:db8::1]:8080");
        assert_eq!(field(&at(Host::Name("a.example.".into()), 80)), "a.example");
    }
}
