//! Does each resolver answer, and truthfully?
//!
//! Asks each resolver of the plan for a name that exists, and every sixth turn for one that must not: a random-looking
//! label under `.invalid` (RFC 6761 section 6.4, RFC 2606), where a resolver that makes up answers gives itself away.
//! What the answers mean the judge decides.

use super::Context;
use super::dns_ask::{self, Server};
use super::turns::{self, Turns};
use crate::judge::Question;
use crate::site::cadence;
use crate::wire::dns::Asked;
use std::sync::Arc;
use tokio::task::JoinSet;

/// Every so many turns the control name is asked for instead.
const CONTROL_EVERY: u64 = 6;

/// Asks each resolver each `cadence.names` until the agent is gone.
pub async fn run(ctx: Context) {
    let plan = ctx.plan.clone();
    let (base, floor, start) = (plan.cadence.names, cadence::FLOOR_NAMES, ctx.clock.now());
    if plan.resolvers.is_empty() {
        return dns_ask::nobody(ctx, Turns::new(base, floor, start), Question::Name).await;
    }
    let most = turns::overlap(plan.patience, base, floor);
    let existing = Asked::address(&plan.existing_name);
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, resolver) in plan.resolvers.iter().enumerate() {
        let first = turns::spread(start, base.max(floor), i, plan.resolvers.len());
        let server = Server { name: resolver.name.clone(), address: resolver.address, way: way.clone() };
        let (seed, existing) = (rand::random(), existing.clone());
        each.spawn(dns_ask::keep_asking(ctx.clone(), server, Turns::new(base, floor, first), most, move |turn| {
            if is_control(turn) {
                (Question::ControlName, Asked::address(&control_name(seed, turn)))
            } else {
                (Question::Name, existing.clone())
            }
        }));
    }
    each.join_all().await;
}

/// Whether this turn asks for the control name.
fn is_control(turn: u64) -> bool {
    turn % CONTROL_EVERY == CONTROL_EVERY - 1
}

/// A name that must not exist, another one for each count, so that no cache can answer. Not secret: only unlikely to be
/// asked twice (the mixing is Vigna's splitmix64).
fn control_name(seed: u64, count: u64) -> String {
    let mut z = seed.wrapping_add(count.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^= z >> 31;
    let label: String = std::iter::successors(Some(z), |z| Some(z / 26))
        .take(12)
        .map(|z| char::from(b'a' + u8::try_from(z % 26).unwrap_or(0)))
        .collect();
    format!("{label}.invalid.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_sixth_turn_is_the_control() {
        let turns: Vec<u64> = (0..20).filter(|t| is_control(*t)).collect();
        assert_eq!(turns, [5, 11, 17]);
    }

    #[test]
    fn control_names_are_names_under_invalid_and_differ() {
        let names: BTreeSet<String> = (0..1_000).map(|n| control_name(42, n)).collect();
        assert_eq!(names.len(), 1_000);
        for n in &names {
            assert!(Asked::address(n).is_some() && n.len() == 21 && n.ends_with(".invalid."), "{n}");
        }
        assert_ne!(control_name(1, 5), control_name(2, 5));
    }

    /// splitmix64 with seed 0 begins 0xe220a8397b1dcdaf (first output of the reference code) [VIGNA19].
    #[test]
    fn the_mixing_is_the_published_one() {
        let mut z: u64 = 0xe220_a839_7b1d_cdaf;
        let mut label = String::new();
        for _ in 0..12 {
            label.push(char::from(b'a' + u8::try_from(z % 26).expect("below 26")));
            z /= 26;
        }
        assert_eq!(control_name(0, 0), format!("{label}.invalid."));
    }
}
