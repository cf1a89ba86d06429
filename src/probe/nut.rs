//! Is there mains, as the NUT server the site file names sees it (RFC 9271)?
//!
//! Opens a connection, asks three variables of one unit, closes. Logs in to nothing and sets nothing; `wire::nut` decides
//! what is asked and what the lines mean. The whole exchange has the plan's waiting time; an endless line or an endless
//! stream of lines ends it earlier. The server may be on this host or anywhere: routing decides the way.

use super::turns::Timer;
use super::{Context, errno};
use crate::judge::{Detail, Mains, Micros, Observation, Outcome, Question};
use crate::site::Nut;
use crate::site::cadence::FLOOR_MAINS;
use crate::sys::outgoing;
use crate::wire::nut::{Exchange, Said};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout_at;

/// The port that needs no saying.
const USUAL_PORT: u16 = 3_493;

/// Asks until the agent is gone. Needs a unit in the plan.
pub async fn run(ctx: Context) {
    let Some(nut) = ctx.plan.signs.nut.clone() else { return ctx.seen.closed().await };
    let target = target(&nut);
    let mut turns = Timer::after(&ctx, Micros::ZERO, ctx.plan.signs.mains_every, FLOOR_MAINS);
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let asked = ctx.clock.now();
        let whole = timeout_at(ctx.clock.instant(asked + ctx.plan.patience), ask(&nut)).await;
        let (outcome, detail) = whole.unwrap_or((Outcome::Timeout, Detail::None));
        let (known, target) = (ctx.clock.now(), target.as_str().into());
        if !ctx
            .report(Observation { asked, known, question: Question::Mains, target, outcome, rtt: None, detail })
            .await
        {
            return;
        }
    }
}

/// The unit in NUT's own notation.
fn target(nut: &Nut) -> String {
    match nut.server.port() {
        USUAL_PORT => format!("{}@{}", nut.unit, nut.server.ip()),
        _ => format!("{}@{}", nut.unit, nut.server),
    }
}

async fn ask(nut: &Nut) -> (Outcome, Detail) {
    let connecting = match outgoing::tcp(nut.server, None) {
        Ok(connecting) => connecting,
        Err(e) => return errno::at_connect(&e),
    };
    let mut stream = match connecting.done().await {
        Ok(stream) => stream,
        Err(e) => return errno::from_network(&e),
    };
    let mut exchange = Exchange::new(&nut.unit);
    if let Err(e) = stream.write_all(exchange.request().as_bytes()).await {
        return errno::from_network(&e);
    }
    let mut room = [0; 1_024];
    loop {
        match stream.read(&mut room).await {
            Ok(0) => return (Outcome::Malformed, Detail::Why("the server closed before it had answered".into())),
            Ok(length) => {
                if let Some(said) = exchange.take(&room[..length]) {
                    return meant(said);
                }
            }
            Err(e) => return errno::from_network(&e),
        }
    }
}

fn meant(said: Said) -> (Outcome, Detail) {
    match said {
        Said::Mains(mains) => (Outcome::Answered, Detail::Mains(mains)),
        // The server is well and does not know: that is an answer, and mains stays unknown.
        Said::Stale => (Outcome::Answered, Detail::Mains(Mains::default())),
        Said::Refused(word) => (Outcome::Refused, Detail::Why(format!("the NUT server says {word}"))),
        Said::Malformed => (Outcome::Malformed, Detail::Why("the answer is not the protocol of a NUT server".into())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_is_named_as_its_own_tools_name_it() {
        let at = |server: &str| target(&Nut { unit: "house".into(), server: server.parse().expect("literal") });
        assert_eq!(at("192.0.2.10:3493"), "house@192.0.2.10");
        assert_eq!(at("[2001:db8::10]:3494"), "house@[2001:db8::10]:3494");
    }

    #[test]
    fn a_server_that_does_not_know_has_answered() {
        assert_eq!(meant(Said::Stale), (Outcome::Answered, Detail::Mains(Mains::default())));
        assert_eq!(meant(Said::Refused("UNKNOWN-UPS".into())).0, Outcome::Refused);
    }
}
