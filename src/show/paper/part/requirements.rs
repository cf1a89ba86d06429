//! Requirement by requirement, and the figures of each far end.

use super::{Blocks, answers::steadiness};
use crate::show::words::{self, millis, safe, span};
use crate::snapshot::{Requirement, Snapshot, Standing, TargetView, odds, too_little};

/// What is asked of the line, what was seen of it, and how that stands.
pub fn requirements(b: &mut Blocks, s: &Snapshot) {
    let Some(r) = s.ruling.as_ref().filter(|r| !r.requirements.is_empty()) else { return };
    b.part("requirements", "Requirement by requirement");
    if !s.mend.is_empty() {
        b.say("Outages that somebody at the site or the station can mend are left out of these.");
    }
    let row = |r: &Requirement| {
        let stands = format!("{}.", words::capital(words::standing(r.standing)));
        let stands = [vec![stands], how_it_stands(r, s.watch.observed_s)].concat().join(" ");
        vec![words::capital(&safe(&r.name)), safe(&r.asks), safe(&r.measured), stands, safe(&r.source)]
    };
    b.table(
        "What is asked of the line, what was seen of it, and how that stands.",
        &["Requirement", "Asks for", "Seen", "Stands", "Source"],
        r.requirements.iter().map(row),
    );
}

/// The odds that a requirement holds, and how long it takes to show, in sentences.
fn how_it_stands(r: &Requirement, seen_s: f64) -> Vec<String> {
    let mut out = Vec::new();
    if let Some(p) = r.holds {
        out.push(if r.standing == Standing::Open && too_little(seen_s) {
            format!("The {} seen support no odds yet that it holds in the long run.", span(seen_s))
        } else {
            format!("Odds that it holds in the long run, going by the {} seen: {}.", span(seen_s), odds(p))
        });
    }
    out.extend(words::more(r.needs_s));
    match r.least_s {
        Some(least) if least > seen_s && least.is_finite() => {
            out.push(format!("By what is watched alone, no watch shorter than {} could show it.", words::days(least)));
        }
        _ => {}
    }
    out
}

/// Who was asked what, and what came back.
pub fn figures(b: &mut Blocks, s: &Snapshot) {
    if s.targets.is_empty() {
        return;
    }
    let row = |t: &TargetView| {
        let quickly = times(t).unwrap_or_else(|| "No time taken.".to_owned());
        let quickly = [Some(quickly), steadiness(t, s.watch.elapsed_s)].into_iter().flatten().collect::<Vec<_>>();
        vec![format!("{}, {}", words::capital(&safe(&t.question)), safe(&t.target)), answered(t), quickly.join(" ")]
    };
    b.part("figures", "Figures").table(
        "Who was asked what, and what came back. Questions that could not be put are not counted.",
        &["Asked", "Answers", "How quickly"],
        s.targets.iter().map(row),
    );
}

/// How often a target answered and what came back otherwise, in a sentence.
fn answered(target: &TargetView) -> String {
    if target.asked == 0 {
        return "Never asked.".to_owned();
    }
    let questions = if target.asked == 1 { "question" } else { "questions" };
    let rest: Vec<String> = target.otherwise.iter().map(|(what, n)| format!("{n} {}", safe(what))).collect();
    let body = if target.answered == target.asked {
        format!("All {} {questions} answered", target.asked)
    } else {
        format!("{} of {} {questions} answered", target.answered, target.asked)
    };
    if rest.is_empty() { format!("{body}.") } else { format!("{body}; otherwise: {}.", rest.join(", ")) }
}

/// How quickly, in a sentence; `None` where no time was taken.
fn times(target: &TargetView) -> Option<String> {
    let [least, median, p95, most] = target.rtt_ms?.map(millis);
    Some(format!("Half within {median}, 95 in 100 within {p95}; quickest {least}, slowest {most}."))
}
