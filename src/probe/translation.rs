//! Is IPv4 had only by translation? Each resolver is asked for the IPv6 addresses of `ipv4only.arpa`, which has none of
//! its own: whoever gives one translates (RFC 7050 section 3).
//!
//! Decides nothing of the answer: `judge::between` reads the prefix out of it.

use super::Context;
use super::dns_ask::{self, Server};
use super::turns::{self, Turns};
use crate::judge::{Micros, Question};
use crate::wire::dns::Asked;
use std::sync::Arc;
use tokio::task::JoinSet;

/// After the start, so as not to meet the other first questions.
const FIRST: Micros = Micros::from_secs(3);

/// Asks each resolver each `between.translation` until the agent is gone.
pub async fn run(ctx: Context) {
    let plan = ctx.plan.clone();
    let (every, way) = (plan.between.translation, Arc::new(ctx.way()));
    let mut each = JoinSet::new();
    for (i, resolver) in plan.resolvers.iter().enumerate() {
        let start = ctx.clock.now() + Micros(FIRST.0.min(every.0));
        let first = turns::spread(start, Micros::from_secs(10).min(every), i, plan.resolvers.len());
        let server = Server { name: resolver.name.clone(), address: resolver.address, way: way.clone() };
        each.spawn(dns_ask::keep_asking(ctx.clone(), server, Turns::new(every, every, first), 1, |_| {
            (Question::Translation, Some(Asked::translated()))
        }));
    }
    each.join_all().await;
}
