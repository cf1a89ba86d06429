//! A year to full report: how long the papers take once the record is judged.
//!
//! The judging is measured elsewhere (`tests/bench`): it takes longer by far.

use super::{judged, papers};
use pathproof::show::paper::{to_html, to_json, to_pdf, to_text};
use pathproof::snapshot::Snapshot;
use std::time::{Duration, Instant};

/// A year with so many outages that every limit of the papers is met.
fn bad_year() -> Snapshot {
    let mut s = judged().iter().find(|j| j.0 == "clean-year").expect("the year").1.clone();
    let pattern = judged().iter().find(|j| j.0 == "add-cellular").expect("cuts").1.troubles[0].clone();
    for n in 0..1_000u32 {
        let at = f64::from(n) * 31_000.0 + 500.0;
        let mut t = pattern.clone();
        let around = |x: f64| [x - 1.0, x, x + 1.0];
        (t.number, t.start_s, t.end_s) = (n + 1, around(at), Some(around(at + 400.0)));
        (t.down_from_s, t.down_to_s) = (Some(t.start_s), t.end_s);
        s.troubles.push(t);
    }
    s
}

/// The most memory this process ever held, MB.
fn peak() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").expect("Linux");
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).expect("told");
    line.trim().trim_end_matches(" kB").parse::<f64>().expect("a number") / 1_024.0
}

#[test]
fn a_year_is_told_soon_once_it_is_judged() {
    let clean = &judged().iter().find(|j| j.0 == "clean-year").expect("the year").1;
    for (year, s) in [("a clean year", clean), ("a thousand outages", &bad_year())] {
        let (began, before) = (Instant::now(), peak());
        let stretch = crate::lateness::Stretch::begin(&[std::process::id()]);
        let all = papers(s);
        println!("{year}: built in {:?}", began.elapsed());
        for (word, paper) in &all {
            let timed = |form: &dyn Fn(&_) -> usize| {
                let began = Instant::now();
                (form(paper), began.elapsed())
            };
            let took = [
                timed(&|p| to_html(p).len()),
                timed(&|p| to_text(p, 80).len()),
                timed(&|p| to_json(p).len()),
                timed(&|p| to_pdf(p).len()),
            ];
            println!("{year}, {word}: html, text, json, pdf: {took:?}");
        }
        println!("{year}: peak memory {before:.0} MB before, {:.0} MB after", peak());
        // A debug build on a loaded machine; a release build is some ten times faster.
        stretch.within(year, Duration::from_secs(30));
    }
}
