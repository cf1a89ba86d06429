//! Stretches of time, from and to: joined, cut from each other, summed. Decides nothing.

use crate::judge::facts::time::{Micros, Moment};

/// Spans in order, overlapping ones joined.
pub fn merged(mut spans: Vec<(Moment, Moment)>) -> Vec<(Moment, Moment)> {
    spans.sort_unstable();
    let mut out: Vec<(Moment, Moment)> = Vec::with_capacity(spans.len());
    for (from, to) in spans {
        match out.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => out.push((from, to)),
        }
    }
    out
}

/// `spans` less what lies in `cut`; both in order and disjoint.
pub fn less(spans: &[(Moment, Moment)], cut: &[(Moment, Moment)]) -> Vec<(Moment, Moment)> {
    let mut out = Vec::with_capacity(spans.len());
    for (from, to) in spans {
        let mut at = *from;
        for (a, b) in cut.iter().filter(|(a, b)| b > from && a < to) {
            if *a > at {
                out.push((at, *a));
            }
            at = at.max(*b);
        }
        if at < *to {
            out.push((at, *to));
        }
    }
    out
}

/// Total length of disjoint spans.
pub fn total(spans: &[(Moment, Moment)]) -> Micros {
    spans.iter().map(|(a, b)| *b - *a).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn m(s: i64) -> Moment {
        Moment(s * 1_000_000)
    }

    proptest! {
        #[test]
        fn what_is_left_and_what_is_cut_make_up_the_whole(
            a in prop::collection::vec((0i64..500, 1i64..60), 0..8),
            b in prop::collection::vec((0i64..500, 1i64..60), 0..8),
        ) {
            let spans = |v: &[(i64, i64)]| merged(v.iter().map(|(f, l)| (m(*f), m(f + l))).collect());
            let (seen, cut) = (spans(&a), spans(&b));
            let left = less(&seen, &cut);
            let inside = less(&seen, &left);
            prop_assert_eq!(total(&left).0 + total(&inside).0, total(&seen).0);
            prop_assert!(less(&left, &cut) == left);
        }
    }
}
