//! How far is this clock from a named time source? One SNTP question (RFC 5905, RFC 4330) to each.
//!
//! [`Rhythm`] decides how often: a server that says it is asked too often is asked half as often, one that forbids it is
//! asked no more (RFC 5905 section 7.4). An answer during which this host's wall clock was stepped is thrown away. Sets no
//! clock.

use super::Context;
use super::datagram::{self, Failed, Heard};
use crate::judge::{Detail, Micros, Moment, NotAsked, Outcome, Question};
use crate::site::cadence;
use crate::site::plan::Asked;
use crate::sys::clock::{boot_time, wall_time};
use crate::sys::way::Way;
use crate::wire::ntp::{self, Checked};
use std::sync::Arc;
use tokio::task::JoinSet;

/// A wall clock that moved this much against the boot clock while we waited was stepped.
const STEPPED: Micros = Micros::from_millis(1);

/// Asks each time source each `every` until the agent is gone.
pub async fn run(ctx: Context) {
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, source) in ctx.plan.between.time_sources.iter().enumerate() {
        each.spawn(keep_asking(ctx.clone(), source.clone(), way.clone(), datagram::first_after(i)));
    }
    each.join_all().await;
}

/// When to ask next.
#[derive(Debug)]
struct Rhythm {
    every: Micros,
    forbidden: bool,
}

impl Rhythm {
    /// The server sent a kiss of death with this code.
    fn kissed(&mut self, code: [u8; 4]) {
        match &code {
            b"RATE" => self.every = Micros(self.every.0.saturating_mul(2).min(cadence::CEILING_BETWEEN.0)),
            b"DENY" | b"RSTR" => self.forbidden = true,
            // RFC 5905 section 7.4: other codes carry no rule.
            _ => {}
        }
    }
}

async fn keep_asking(ctx: Context, source: Asked, way: Arc<Way>, first: std::time::Duration) {
    let mut rhythm = Rhythm { every: source.every, forbidden: false };
    let mut wait = first;
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = tokio::time::sleep(wait), if !rhythm.forbidden => {}
        }
        let began = ctx.clock.now();
        let (span, came) = ask(&ctx, &source, &way, &mut rhythm).await;
        let o = datagram::observation(Question::ClockOffset, &source, span.unwrap_or((began, ctx.clock.now())), came);
        if !ctx.report(o).await {
            return;
        }
        wait = rhythm.every.to_std();
    }
}

type Span = Option<(Moment, Moment)>;

async fn ask(ctx: &Context, source: &Asked, way: &Way, rhythm: &mut Rhythm) -> (Span, Result<Detail, Failed>) {
    let opened = async {
        let to = datagram::first_address(ctx, source).await?;
        Ok((to, datagram::open(to, way)?))
    };
    let (to, socket) = match opened.await {
        Ok(o) => o,
        Err(e) => return (None, Err(e)),
    };
    let cookie = rand::random();
    let (wall, boot) = (wall_time(), boot_time());
    let asked = ctx.clock.now();
    let talk = async {
        datagram::send(&socket, &ntp::request(cookie)).await?;
        datagram::wait(ctx, &socket, to, asked + ctx.plan.patience, |bytes| match ntp::check(cookie, bytes) {
            Checked::NotOurs => Heard::NotOurs,
            Checked::Malformed => Heard::Malformed,
            sound => Heard::Is((sound, boot_time(), wall_time())),
        })
        .await
    };
    let came = talk.await;
    let known = ctx.clock.now();
    let said = came.and_then(|(checked, boot_then, wall_then)| {
        let took = boot_then - boot;
        let moved = Micros(wall_then.0 - wall.0) - took;
        match checked {
            Checked::Times(_) if moved.0.abs() > STEPPED.0 => {
                let why = "this host's clock was stepped meanwhile".to_owned();
                Err((Outcome::NotAsked(NotAsked::Local), Detail::Why(why)))
            }
            Checked::Times(t) => match ntp::offset(ntp::timestamp(wall.0), took, &t) {
                Some((offset, error)) => Ok(Detail::ClockOffset { offset, error }),
                None => Err((Outcome::Malformed, Detail::None)),
            },
            Checked::Kiss(code) => {
                rhythm.kissed(code);
                let code = String::from_utf8_lossy(&code).into_owned();
                Err((Outcome::Refused, Detail::Why(format!("the source does not want to be asked: {code}"))))
            }
            Checked::Unsynchronised => {
                Err((Outcome::Malformed, Detail::Why("the source says its own clock is not set".to_owned())))
            }
            Checked::NotOurs | Checked::Malformed => Err((Outcome::Malformed, Detail::None)),
        }
    });
    (Some((asked, known)), said)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 5905 section 7.4: on RATE the interval grows, on DENY and RSTR nothing more is sent.
    #[test]
    fn kisses_are_obeyed() {
        let mut r = Rhythm { every: Micros::from_secs(900), forbidden: false };
        r.kissed(*b"RATE");
        assert_eq!((r.every, r.forbidden), (Micros::from_secs(1_800), false));
        r.kissed(*b"INIT");
        assert_eq!((r.every, r.forbidden), (Micros::from_secs(1_800), false));
        for _ in 0..80 {
            r.kissed(*b"RATE");
        }
        assert_eq!(r.every, cadence::CEILING_BETWEEN);
        r.kissed(*b"RSTR");
        assert!(r.forbidden);
    }
}
