//! Prints how often the choice for today is wrong and what it costs, over simulated sites with a known truth
//! (`tests/sim/choice.rs`), beside simpler rules. `cargo bench --bench choice [sites of each kind]`; all is seeded.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "../sim/choice.rs"]
mod choice;
#[path = "../sim/draw.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod draw;
#[path = "../sim/rule.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod rule;
#[path = "../sim/world.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod world;

use choice::{CAUTIONS, Shape, Told, all_told, cost, picked, worst_bin};
use pathproof::judge::VerdictKind;
use pathproof::judge::belief::WORSE;
use std::time::Instant;
use world::Technology;

const SEED: u64 = 20_261_201;
const DAYS: [f64; 4] = [1.0 / 48.0, 7.0, 30.0, 90.0];

fn main() {
    let each = std::env::args().find_map(|a| a.parse().ok()).unwrap_or(4_000);
    let began = Instant::now();
    println!("{each} sites of each kind, seed {SEED}; \"wrong\" is the share of those told it that miss 99.5 %\n");
    let shapes = [
        Shape::Times(0.4),
        Shape::Times(1.0),
        Shape::Times(WORSE),
        Shape::OtherStudy,
        Shape::Weibull,
        Shape::TwoHumped,
        Shape::SelfExciting,
        Shape::Weekly,
        Shape::RareLong,
    ];
    for shape in shapes {
        for known in [true, false] {
            let rows: Vec<(f64, Vec<Told>)> =
                DAYS.map(|d| (d, all_told(shape, &Technology::ALL, d, known, each, SEED))).into_iter().collect();
            println!("### {shape:?}, kind of line {}\n", if known { "known" } else { "not known" });
            println!(
                "| watched | line | miss | ip-alone | wrong | add-cellular | meets it | keep watching | worst bin |"
            );
            println!("|---|---|---|---|---|---|---|---|---|");
            for (days, rows) in &rows {
                for t in Technology::ALL {
                    let of: Vec<Told> = rows.iter().filter(|r| r.technology == t).copied().collect();
                    line(*days, t.word(), &of);
                }
                line(*days, "all", rows);
            }
            println!(
                "\n| watched | caution | always a backup | none seen, so fine | kind only | before | this | ideal |"
            );
            println!("|---|---|---|---|---|---|---|---|");
            for (days, rows) in &rows {
                costs(*days, rows, shape);
            }
            println!("\n{:.0} s so far\n", began.elapsed().as_secs_f64());
        }
    }
}

fn line(days: f64, name: &str, rows: &[Told]) {
    let (miss, _) = picked(rows, |r| r.misses);
    let (alone, wrong) = picked(rows, |r| r.alone[2]);
    let (add, right) = picked(rows, |r| r.kind == VerdictKind::AddCellular);
    let (keep, _) = picked(rows, |r| r.kind == VerdictKind::KeepWatching);
    println!(
        "| {days:.2} d | {name} | {miss:.3} | {alone:.3} | {wrong:.3} | {add:.3} | {:.3} | {keep:.3} | {:.3} |",
        1.0 - right,
        worst_bin(rows)
    );
}

fn costs(days: f64, rows: &[Told], shape: Shape) {
    for (i, caution) in CAUTIONS.into_iter().enumerate() {
        let most = 1.0 / (1.0 + caution);
        // What is true of a kind is what most of its sites do.
        let kind_only = |r: &Told| {
            let of: Vec<Told> = rows.iter().filter(|o| o.technology == r.technology).copied().collect();
            picked(&of, |o| o.misses).0 <= most
        };
        let by_kind = Technology::ALL.map(|t| rows.iter().find(|r| r.technology == t).is_some_and(kind_only));
        // A rule that knows the population: the belief at that very rate. Of other shapes it is not known.
        let ideal = match shape {
            Shape::Times(1.0) => format!("{:.1}", cost(rows, caution, |r| r.odds[0] <= most)),
            Shape::Times(WORSE) => format!("{:.1}", cost(rows, caution, |r| r.odds[1] <= most)),
            _ => "-".to_owned(),
        };
        println!(
            "| {days:.2} d | {caution} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {ideal} |",
            cost(rows, caution, |_| false),
            cost(rows, caution, |r| r.clean),
            cost(rows, caution, |r| by_kind[r.technology as usize]),
            cost(rows, caution, |r| r.shown),
            cost(rows, caution, |r| r.alone[i]),
        );
    }
}
