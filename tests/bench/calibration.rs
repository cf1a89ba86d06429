//! Prints how often the verdict is wrong, over simulated sites with a known truth (`tests/sim`), and how well the bound
//! it rests on covers. `cargo bench --bench calibration [sites]`; everything is seeded.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "../sim/calibration.rs"]
mod calibration;
#[path = "../sim/coverage.rs"]
mod coverage;
#[path = "../sim/draw.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod draw;
#[path = "../sim/rule.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod rule;
#[path = "../sim/world.rs"]
mod world;

use calibration::{Of, Watched, daily, edge_table, edges, population, table};
use pathproof::judge::stats::band_posterior::BandPrior;
use rule::{Looker, Rule};
use std::fmt::Write as _;
use std::time::Instant;

const SEED: u64 = 20_240_601;

fn main() {
    let sites = std::env::args().find_map(|a| a.parse().ok()).unwrap_or(20_000);
    let began = Instant::now();
    let rule = Rule::shipped();
    let looker = Looker::new(rule.numbers, BandPrior::PUBLISHED);
    for accept in [0.95, 0.93, 0.9, 0.85, 0.8] {
        let first = (1..1_000).find(|d| looker.look(&[], f64::from(*d) * world::DAY).holds >= accept);
        println!("accept {accept}: availability met after {first:?} days without an outage");
    }
    for (cap, sites, name) in
        [(world::CAP, sites, "outages end within 3 days"), (world::LONG_CAP, sites / 4, "outages end within 14 days")]
    {
        let all = population(sites, 90, cap, SEED);
        println!("\n{sites} sites, {name}, seed {SEED} ({:.0} s so far)", began.elapsed().as_secs_f64());
        for of in [Of::Availability, Of::Set] {
            println!("\n{of:?}, the shipped rule\n\n{}", table(of, &rule, &all));
        }
        println!("Candidates, daily looks to 90 d, first decision stands\n\n{}", candidates(&rule, &all));
    }
    for of in [Of::Availability, Of::Set] {
        let edges = edges(of, &rule, sites / 100, 90, SEED);
        for r in [rule, stricter(rule, 0.95, 0.99), stricter(rule, 0.9, 0.97)] {
            println!(
                "\nAt the edges, {of:?}, {} sites each, accept {} reject {} long outages {}\n\n{}",
                sites / 100,
                r.accept,
                r.reject,
                r.long_reject,
                edge_table(of, &r, &edges)
            );
        }
    }
    let (table, least) =
        coverage::grid(BandPrior::PUBLISHED, &[7.0, 14.0, 30.0], &[12.0, 48.0, 240.0], sites / 10, 200, SEED);
    println!("\nCoverage, {} sites a row, widths by 200: least {least:.3}\n\n{table}", sites / 10);
    println!("Frontier at one outage per 48 h: the long rate's prior count against coverage and width\n");
    for long_count in [0.25, 0.5, 0.75, 1.0] {
        let prior = BandPrior { long_count, ..BandPrior::PUBLISHED };
        for (lengths, name) in coverage::GRID {
            for days in [7.0, 30.0] {
                let c = coverage::cell(lengths, prior, 48.0, days, sites / 10, 200, SEED);
                println!("long count {long_count}: {name}, {days} d: {:.3} / {:.1}", c.coverage, c.median_ratio);
            }
        }
    }
    println!("\n{:.0} s in all", began.elapsed().as_secs_f64());
}

/// A rule that asks more before it says "not met".
fn stricter(rule: Rule, accept: f64, sure: f64) -> Rule {
    Rule { accept, reject: sure, long_days: 7.0, long_least: 2, long_reject: sure, ..rule }
}

fn candidates(rule: &Rule, all: &[Watched]) -> String {
    let mut out = String::from(
        "| accept | reject | long outages not met | availability: wrong ip-alone / wrong add-cellular / right ip-alone / right add-cellular | set: the same |\n|---|---|---|---|---|\n",
    );
    let mut line = |r: Rule| {
        let figure = |of| {
            let row = daily(of, &r, all, 90);
            let right = |n: u32, of: u32| 100.0 * f64::from(n) / f64::from(of.max(1));
            format!(
                "{:.2} / {:.2} / {:.1} / {:.1} %",
                100.0 * row.wrongly_enough(),
                100.0 * row.wrongly_short(),
                right(row.meeting_called_enough, row.meeting),
                right(row.missing_called_short, row.missing)
            )
        };
        let _ = writeln!(
            out,
            "| {} | {} | from {} d, {} seen, {} | {} | {} |",
            r.accept,
            r.reject,
            r.long_days,
            r.long_least,
            r.long_reject,
            figure(Of::Availability),
            figure(Of::Set)
        );
    };
    for accept in [0.95, 0.94, 0.93, 0.92, 0.91, 0.9, 0.85, 0.8, 0.7] {
        line(Rule { accept, ..*rule });
        line(Rule { accept, reject: 0.97, long_days: 7.0, long_least: 2, long_reject: 0.95, ..*rule });
        line(Rule { accept, reject: 0.97, long_days: 7.0, long_least: 2, long_reject: 0.975, ..*rule });
    }
    for reject in [0.95, 0.96, 0.97, 0.98, 0.99] {
        for (long_days, long_least, long_reject) in
            [(0.0, 1, 0.95), (0.0, 2, 0.95), (7.0, 2, 0.95), (7.0, 2, 0.975), (7.0, 2, 0.99)]
        {
            line(Rule { reject, long_days, long_least, long_reject, ..*rule });
        }
    }
    out
}
