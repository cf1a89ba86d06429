//! Prints how often the choice for today is wrong and what it costs, over simulated sites with a known truth
//! (`tests/sim/choice.rs`), beside simpler rules. All is seeded.
#![expect(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "../sim/choice.rs"]
mod choice;
#[path = "choice_picture.rs"]
mod choice_picture;
#[path = "../sim/draw.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod draw;
#[path = "../sim/rule.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod rule;
#[path = "../sim/world.rs"]
#[allow(dead_code, reason = "the tests use more of it")]
mod world;

use choice::{CAUTIONS, Run, Shape, Told, cost, picked, worst_bin};
use pathproof::judge::VerdictKind;
use pathproof::judge::belief::WORSE;
use std::time::Instant;
use world::Technology;

const SEED: u64 = 20_261_201;
const DAYS: [f64; 4] = [1.0 / 48.0, 7.0, 30.0, 90.0];

/// `cargo bench --bench choice [sites of each kind] [shape ... | picture]`: a shape as it is printed, all of them, or the
/// picture of `deploy/how-it-decides.md` drawn anew.
fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    let each = given.iter().find_map(|a| a.parse().ok()).unwrap_or(4_000);
    let wanted: Vec<&String> = given.iter().filter(|a| a.parse::<u32>().is_err()).collect();
    if wanted.iter().any(|w| *w == "picture") {
        return picture(each);
    }
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
    let shapes = shapes.into_iter().filter(|s| wanted.is_empty() || wanted.iter().any(|w| format!("{s:?}") == **w));
    for shape in shapes {
        let counters: &[(bool, Option<f64>)] = match shape {
            Shape::Times(_) => &[(true, None), (false, None), (true, Some(0.7)), (true, Some(0.4)), (true, Some(0.95))],
            _ => &[(true, None), (false, None), (true, Some(0.7))],
        };
        for (known, counter) in counters.iter().copied() {
            let run = |days| Run { shape, kinds: &Technology::ALL, days, known, counter, each, seed: SEED };
            let rows: Vec<(f64, Vec<Told>)> = DAYS.iter().map(|d| (*d, run(*d).told())).collect();
            let what = if known { "known" } else { "not known" };
            let counts = counter.map_or(String::new(), |v| format!(", the router's count shows {v} of outages"));
            println!("### {shape:?}, kind of line {what}{counts}\n");
            println!(
                "| watched | line | miss | ip-alone | wrong | add-cellular | meets it | keep watching | decided and right | worst bin |"
            );
            println!("|---|---|---|---|---|---|---|---|---|---|");
            for (days, rows) in &rows {
                lines(&format!("{days:.2} d"), rows);
            }
            if known && counter.is_none() && matches!(shape, Shape::Times(_)) {
                lines("daily to 30 d", &run(30.0).told_daily());
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

/// A line for each kind and one for all.
fn lines(watched: &str, rows: &[Told]) {
    for t in Technology::ALL {
        let of: Vec<Told> = rows.iter().filter(|r| r.technology == t).copied().collect();
        line(watched, t.word(), &of);
    }
    line(watched, "all", rows);
}

fn line(watched: &str, name: &str, rows: &[Told]) {
    let (miss, _) = picked(rows, |r| r.misses);
    let (alone, wrong) = picked(rows, |r| r.alone[2]);
    let (add, right) = picked(rows, |r| r.kind == VerdictKind::AddCellular);
    let (keep, _) = picked(rows, |r| r.kind == VerdictKind::KeepWatching);
    let decided = alone * (1.0 - wrong) + add * right;
    println!(
        "| {watched} | {name} | {miss:.3} | {alone:.3} | {wrong:.3} | {add:.3} | {:.3} | {keep:.3} | {decided:.3} | {:.3} |",
        1.0 - right,
        worst_bin(rows)
    );
}

/// Which kinds are to be left alone if nothing but the kind is known: what is true of a kind is what most of its sites do.
fn by_kind(rows: &[Told], most: f64) -> [bool; 5] {
    Technology::ALL.map(|t| {
        let of: Vec<Told> = rows.iter().filter(|r| r.technology == t).copied().collect();
        picked(&of, |r| r.misses).0 <= most
    })
}

fn picture(each: u32) {
    let run = |days, counter| {
        let shape = Shape::Times(1.0);
        Run { shape, kinds: &Technology::ALL, days, known: true, counter, each, seed: SEED }.told()
    };
    let (week, month, counted) = (run(7.0, None), run(30.0, None), run(7.0, Some(0.7)));
    let caution = CAUTIONS[2];
    let kinds = by_kind(&week, 1.0 / (1.0 + caution));
    let rows = choice_picture::Rows {
        week: &week,
        month: &month,
        counted: &counted,
        by_kind: &|r| kinds[r.technology as usize],
        caution,
    };
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/deploy/how-it-decides.svg");
    std::fs::write(path, choice_picture::svg(&rows)).expect("the picture is written");
    println!("{path}, {each} sites of each kind, seed {SEED}");
}

fn costs(days: f64, rows: &[Told], shape: Shape) {
    for (i, caution) in CAUTIONS.into_iter().enumerate() {
        let most = 1.0 / (1.0 + caution);
        let by_kind = by_kind(rows, most);
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
