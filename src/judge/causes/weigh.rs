//! Weighing: from signs to a cause with a confidence, what speaks for and against, and what is not excluded.
//!
//! Each candidate's score is its base and the weights of every sign that is known; the confidences are the scores'
//! exponentials over their sum, "something else" among them at score 0 (a softmax; with independent signs, Bayes' rule).
//! Signs are not quite independent, so an inferred cause is never said to be surer than [`MOST_INFERRED`], and one seen
//! directly never surer than [`MOST_SEEN`].

use super::around::Around;
use super::kind::Cause;
use super::sign::Sign;
use super::trouble::{Clue, Trouble};
use super::weights::{Direct, Kind, Row};
use super::{table_home, table_line};
use std::collections::BTreeMap;

/// Most confidence in a cause that is only inferred (choice).
pub const MOST_INFERRED: f64 = 0.9;
/// Most confidence in one that was seen itself (choice: probes have faults too).
pub const MOST_SEEN: f64 = 0.97;
/// Alternatives at least this likely are named (choice).
const NAMED: f64 = 0.02;

/// Names the cause of a trouble from the table.
pub(super) fn weigh(t: &mut Trouble, around: &Around<'_>) {
    let kind = Kind::of(&t.root);
    let rows: Vec<&Row> = rows().filter(|r| r.kind == kind).collect();
    let mut signs: BTreeMap<Sign, Option<bool>> = BTreeMap::new();
    for (sign, ..) in rows.iter().flat_map(|r| r.signs) {
        signs.entry(*sign).or_insert_with(|| sign.read(t, around));
    }
    let scores: Vec<f64> =
        rows.iter().map(|r| r.base + signs.iter().map(|(s, v)| of(r, *s, *v)).sum::<f64>()).collect();
    // "Something else" scores 0; a little is left for it whatever the scores.
    let most = scores.iter().copied().fold(0.0, f64::max);
    let total: f64 = scores.iter().map(|s| (s - most).exp()).sum::<f64>() + (-most).exp();
    let odds: Vec<f64> = scores.iter().map(|s| (s - most).exp() / total).collect();
    let Some(best) = (0..rows.len()).max_by(|a, b| odds[*a].total_cmp(&odds[*b])) else { return };
    let seen = match rows[best].direct {
        Direct::Never => false,
        Direct::Itself => true,
        // The router that calls its outer side disconnected is the one sign that shows by not holding.
        Direct::By(Sign::RouterSaysConnected) => signs.get(&Sign::RouterSaysConnected) == Some(&Some(false)),
        Direct::Both(one, other) => [one, other].iter().all(|s| signs.get(s) == Some(&Some(true))),
        Direct::By(sign) => signs.get(&sign) == Some(&Some(true)),
    };
    t.cause = rows[best].cause;
    t.confidence = odds[best].min(if seen { MOST_SEEN } else { MOST_INFERRED });
    let mut others: Vec<(Cause, f64)> =
        (0..rows.len()).filter(|i| *i != best && odds[*i] >= NAMED).map(|i| (rows[i].cause, odds[i])).collect();
    others.sort_by(|a, b| b.1.total_cmp(&a.1));
    t.alternatives = others;
    t.clues = signs
        .iter()
        .filter_map(|(sign, value)| {
            let holds = (*value)?;
            // Against the others as they stand, "something else" included, to which no sign speaks.
            let rest = 1.0 - odds[best];
            let against: f64 = if rest > 1e-12 {
                let shares =
                    (0..rows.len()).filter(|i| *i != best).map(|i| odds[i] / rest * of(rows[i], *sign, *value));
                shares.sum()
            } else {
                0.0
            };
            Some(Clue { sign: *sign, holds, weight: of(rows[best], *sign, *value) - against })
        })
        .collect();
}

/// Every row of the table.
fn rows() -> impl Iterator<Item = &'static Row> {
    table_home::ROWS.iter().chain(table_line::ROWS)
}

/// What a sign weighs for a row.
fn of(row: &Row, sign: Sign, value: Option<bool>) -> f64 {
    let Some(value) = value else { return 0.0 };
    row.signs.iter().filter(|(s, ..)| *s == sign).map(|(_, yes, no)| if value { *yes } else { *no }).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_cause_is_in_the_table_once_a_kind_and_can_be_named() {
        let named: BTreeSet<Cause> = rows().map(|r| r.cause).collect();
        assert_eq!(
            named.len(),
            Cause::ALL.len(),
            "{:?}",
            Cause::ALL.iter().filter(|c| !named.contains(c)).collect::<Vec<_>>()
        );
        let pairs: BTreeSet<_> = rows().map(|r| (r.kind, r.cause)).collect();
        assert_eq!(pairs.len(), rows().count());
        for row in rows() {
            let signs: BTreeSet<_> = row.signs.iter().map(|s| s.0).collect();
            assert_eq!(signs.len(), row.signs.len(), "{row:?}");
            // Some reading of its signs makes it likelier than something else; one without signs stays an alternative.
            let best: f64 = row.base + row.signs.iter().map(|(_, y, n)| y.max(*n)).sum::<f64>();
            assert!(best > 0.0 || row.signs.is_empty(), "{row:?}");
        }
    }
}
