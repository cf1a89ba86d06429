//! The rows of many trials as tables: what was said of each fault, strictly and leniently counted, and how far off in time.

use crate::lateness::Held;
use crate::row::{Judged, Row};
use crate::trial::Edges;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// How many of the truths were said strictly right, leniently right, and how many there were. A trial that could not be
/// played counts as one that was wrong.
pub(crate) fn counts(rows: &[Row]) -> [usize; 3] {
    let of = |right: fn(&Judged) -> bool| rows.iter().flat_map(|r| &r.judged).filter(|j| right(j)).count();
    [of(|j| j.strict), of(|j| j.lenient), of(|_| true) + rows.iter().filter(|r| !r.played).count()]
}

/// What was true, what was said first, how often, and how sure; then the worst in seconds.
pub(crate) fn confusion(rows: &[Row]) -> String {
    let mut cells = BTreeMap::<(&str, &str), (u32, f64)>::new();
    for j in rows.iter().flat_map(|r| &r.judged) {
        let cell = cells.entry((j.truth.cause, &j.said)).or_default();
        *cell = (cell.0 + 1, cell.1.max(j.confidence));
    }
    let mut out = String::from("| true cause | said first | times | most sure |\n|---|---|---|---|\n");
    for ((truth, said), (n, confidence)) in cells {
        let _ = writeln!(out, "| {truth} | {said} | {n} | {confidence:.2} |");
    }
    let [strict, lenient, all] = counts(rows);
    let worst = |what: &[&str]| rows.iter().map(|r| r.worst(what)).fold(0.0, f64::max);
    let share = |n: usize| 100.0 * n as f64 / all.max(1) as f64;
    let edge = &["start", "end"][..];
    let _ = writeln!(
        out,
        "\nthe right cause first and on the right side: {strict} of {all} ({:.1} %); it or what looks the same: {lenient} ({:.1} %)\n\
         largest edge error {:.2} s; noticed after {:.2} s and called bad after {:.2} s at most",
        share(strict),
        share(lenient),
        worst(edge),
        worst(&["noticed"]),
        worst(&["called"])
    );
    for (words, what) in [
        ("edges farthest off", edge),
        ("slowest to be noticed", &["noticed"]),
        ("slowest to be called bad", &["called"]),
    ] {
        let mut slowest: Vec<(&Row, f64)> = rows.iter().map(|r| (r, r.worst(what))).collect();
        slowest.sort_by(|a, b| b.1.total_cmp(&a.1));
        let told: Vec<String> = slowest.iter().take(5).map(|(r, s)| format!("{} {s:.2} s", r.name)).collect();
        let _ = writeln!(out, "{words}: {}", told.join(", "));
    }
    let late = rows.iter().map(|r| r.late).fold(0.0, f64::max);
    let widened = rows.iter().flat_map(Row::measures).filter(|m| m.held() == Held::Widened).count();
    let _ = writeln!(
        out,
        "this host was at most {late:.2} s late in any two seconds; {widened} of {} bounds were widened by that",
        rows.iter().flat_map(Row::measures).count()
    );
    // Right as often as it says: the sum of the confidences against the number right.
    let sure: f64 = rows.iter().flat_map(|r| &r.judged).map(|j| j.confidence).sum();
    let _ = writeln!(out, "confidences come to {sure:.1}, right were {lenient}");
    for r in rows.iter().filter(|r| !r.complaints.is_empty()) {
        let _ = writeln!(out, "{} (seed {}): {}", r.name, r.seed, r.complaints.join("; "));
    }
    out
}

/// A line a fault: strictly and leniently right side by side, whether what looks the same was named, and its edges.
pub(crate) fn by_fault(rows: &[Row]) -> String {
    let mut faults = BTreeMap::<(&str, &str), Vec<&Judged>>::new();
    for r in rows {
        for j in &r.judged {
            faults.entry((r.name, j.truth.cause)).or_default().push(j);
        }
    }
    let mut out = String::from(
        "| trial | true cause | to mend it | strict | lenient | looks the same, all named | edges |\n|---|---|---|---|---|---|---|\n",
    );
    for ((name, cause), all) in faults {
        let n = all.len();
        let of = |right: fn(&Judged) -> bool| format!("{} of {n}", all.iter().filter(|j| right(j)).count());
        let alike = match all[0].truth.alike {
            [] => "-".to_owned(),
            some => format!("{}: {}", some.join(", "), of(|j| j.named == j.truth.alike.len() + 1)),
        };
        let edges = match all[0].truth.edges {
            Edges::Held => {
                let off = all.iter().flat_map(|j| &j.measures).filter(|m| m.what == "start" || m.what == "end");
                format!("at most {:.2} s off", off.map(|m| m.off).fold(0.0, f64::max))
            }
            Edges::Waived(why) => format!("waived: {why}"),
            Edges::Hidden(why) => format!("hidden: {why}"),
        };
        let side = format!("{:?}", all[0].truth.side).to_lowercase();
        let (strict, lenient) = (of(|j| j.strict), of(|j| j.lenient));
        let _ = writeln!(out, "| {name} | {cause} | {side} | {strict} | {lenient} | {alike} | {edges} |");
    }
    out
}
