//! Is the internet there? Asks each reference point one small, non-recursive question (the root's name servers) over
//! UDP, the turns of all spread evenly over the interval.
//!
//! Built-in reference points are a public service and keep a longer floor than those the site file names.

use super::Context;
use super::dns_ask::{self, Server};
use super::turns::{self, Turns};
use crate::judge::Question;
use crate::site::cadence;
use crate::wire::dns::Asked;
use std::sync::Arc;
use tokio::task::JoinSet;

/// Asks each reference point each `cadence.outside` until the agent is gone.
pub async fn run(ctx: Context) {
    let plan = ctx.plan.clone();
    let (base, start) = (plan.cadence.outside, ctx.clock.now());
    if plan.references.is_empty() {
        let turns = Turns::new(base, cadence::FLOOR_OUTSIDE, start);
        return dns_ask::nobody(ctx, turns, Question::Reference).await;
    }
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, reference) in plan.references.iter().enumerate() {
        let floor = if reference.builtin { cadence::FLOOR_OUTSIDE_BUILTIN } else { cadence::FLOOR_OUTSIDE };
        let first = turns::spread(start, base.max(floor), i, plan.references.len());
        let server = Server { name: reference.name.clone(), address: reference.address, way: way.clone() };
        let most = turns::overlap(plan.patience, base, floor);
        each.spawn(dns_ask::keep_asking(ctx.clone(), server, Turns::new(base, floor, first), most, |_| {
            (Question::Reference, Some(Asked::root_servers()))
        }));
    }
    each.join_all().await;
}
