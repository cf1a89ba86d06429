//! Prints how often the verdict is wrong, over simulated sites with a known truth (`tests/sim`), and how well the bound
//! it rests on covers. `cargo bench --bench calibration [sites] [population] [candidates] [edges] [coverage]`: the
//! parts named, or all of them; everything is seeded.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "../sim/calibration.rs"]
mod calibration;
#[path = "../sim/coverage.rs"]
mod coverage;
#[path = "../sim/draw.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod draw;
#[path = "../sim/lognormal_posterior.rs"]
mod lognormal_posterior;
#[path = "../sim/rule.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod rule;
#[path = "../sim/world.rs"]
mod world;

use calibration::{Daily, Of, Watched, daily, edge_table, edges, population, table};
use pathproof::judge::stats::band_posterior::BandPrior;
use pathproof::judge::thresholds::{LOOKS, LookRule};
use rule::{Looker, Rule};
use std::fmt::Write as _;
use std::time::Instant;

const SEED: u64 = 20_261_125;

/// Parts of the bench, by the names that ask for them.
const PARTS: [&str; 4] = ["population", "candidates", "edges", "coverage"];

/// Days of daily looks: long enough for a rule to say "ip-alone".
const DAYS: u32 = 180;

fn main() {
    let sites = std::env::args().find_map(|a| a.parse().ok()).unwrap_or(20_000);
    let named: Vec<String> = std::env::args().skip(1).filter(|a| PARTS.contains(&a.as_str())).collect();
    let wanted = |part: &str| named.is_empty() || named.iter().any(|n| n == part);
    let began = Instant::now();
    let rule = Rule::shipped();
    println!("the rule in force: {:?}", rule.looks);
    if wanted("population") || wanted("candidates") {
        let looker = Looker::new(rule.numbers, BandPrior::PUBLISHED);
        for accept in [0.975, 0.95, 0.93, 0.9, 0.85, 0.8] {
            let first = (1..1_000).find(|d| looker.look(&[], f64::from(*d) * world::DAY).holds >= accept);
            println!("accept {accept}: availability met after {first:?} days without an outage");
        }
        let populations = [
            (world::CAP, sites, "outages end within 3 days"),
            (world::LONG_CAP, sites / 4, "outages end within 14 days"),
        ];
        for (cap, sites, name) in populations {
            let all = population(sites, DAYS, Daily::Telling, cap, SEED);
            println!("\n{sites} sites, {name}, seed {SEED} ({:.0} s so far)", began.elapsed().as_secs_f64());
            if wanted("population") {
                for of in [Of::Availability, Of::Verdict, Of::Set] {
                    println!("\n{of:?}, the rule in force\n\n{}", table(of, &rule, &all));
                }
            }
            if wanted("candidates") {
                println!("Candidates, daily looks, first decision stands\n\n{}", candidates(&rule, &all));
            }
        }
    }
    if wanted("edges") {
        for of in [Of::Availability, Of::Set] {
            let edges = edges(of, &rule, sites / 50, DAYS, SEED);
            println!(
                "\nAt the edges, {of:?}, {} sites each, daily looks to {DAYS} d, the rule in force\n\n{}",
                sites / 50,
                edge_table(of, &rule, &edges, DAYS)
            );
        }
    }
    if wanted("coverage") {
        coverage();
    }
    println!("\n{:.0} s in all", began.elapsed().as_secs_f64());
}

/// The grid of lengths and what other beliefs about the rate of long outages would buy. Widths cost more
/// than coverage and need fewer sites.
fn coverage() {
    let (days, hours) = ([7.0, 30.0, 96.0, 180.0], [12.0, 48.0, 240.0]);
    let (table, least) = coverage::grid(BandPrior::PUBLISHED, &days, &hours, 1_000, 100, SEED);
    println!("\nCoverage, 1,000 sites a row, widths by 100: least {least:.3}\n\n{table}");
    println!(
        "Frontier at one outage per 48 h: outages the long rate's prior is worth, coverage / median bound over truth\n"
    );
    for long_count in [0.25, 0.5, 0.75, 1.0] {
        let prior = BandPrior { long_count, ..BandPrior::PUBLISHED };
        for (lengths, name) in coverage::GRID {
            let figures = [7.0, 30.0].map(|d| {
                let c = coverage::cell(lengths, prior, 48.0, d, 500, 60, SEED);
                format!("{d} d {:.3} / {:.1}", c.coverage, c.median_ratio)
            });
            println!("{long_count}: {name}: {}", figures.join(", "));
        }
    }
}

fn shares(met_share: f64, not_met_share: f64, least_outages: usize) -> LookRule {
    LookRule { met_share, not_met_share, least_outages, ..LOOKS }
}

fn candidates(rule: &Rule, all: &[Watched]) -> String {
    let mut out = String::from(
        "Wrong ip-alone / wrong add-cellular / right ip-alone / right add-cellular, percent.\n\n| shares of the error: met, not met; least outages | days | availability | verdict | set |\n|---|---|---|---|---|\n",
    );
    let mut line = |looks: LookRule, days: u32| {
        let r = Rule { looks, ..*rule };
        let figure = |of| {
            let row = daily(of, &r, all, days);
            let right = |n: u32, of: u32| 100.0 * f64::from(n) / f64::from(of.max(1));
            format!(
                "{:.2} / {:.2} / {:.1} / {:.1}",
                100.0 * row.wrongly_enough(),
                100.0 * row.wrongly_short(),
                right(row.meeting_called_enough, row.meeting),
                right(row.missing_called_short, row.missing)
            )
        };
        let _ = writeln!(
            out,
            "| {}, {}; {} | {days} | {} | {} | {} |",
            looks.met_share,
            looks.not_met_share,
            looks.least_outages,
            figure(Of::Availability),
            figure(Of::Verdict),
            figure(Of::Set)
        );
    };
    for met in [0.5, 0.75, 1.0, 1.4] {
        for (not_met, least) in [(1.0, 1), (0.5, 1), (0.4, 1), (0.2, 1), (0.5, 2)] {
            line(shares(met, not_met, least), 90);
            line(shares(met, not_met, least), DAYS);
        }
    }
    out
}
