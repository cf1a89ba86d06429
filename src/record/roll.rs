//! Roll-up: stretches of old history in which nothing happened are kept as runs, everything else as it was.
//!
//! Decides what "nothing happened" is. Kept exactly: every answer that did not come, every first look, every change of
//! what was said, every start, end, step, pause and mark of a drill, and what all streams said around those, far enough
//! that no edge, no cause and no count that the judge makes of them can move. The verdict before and after is the same,
//! byte for byte; tests hold it to that. Lost: the lateness of questions that were answered as ever (`runs`).

use super::codec::Piece;
use super::decode::{Decoder, Read};
use super::encode::Encoder;
use super::runs::{MOST, Run};
use crate::judge::{Detail, Entry, Micros, Moment, NameAnswer, Observation, Outcome, Question};
use std::collections::HashMap;
use std::sync::Arc;

/// Everything this near to something that happened is kept as it was (choice: far over the 3 s after which a group of
/// losses is over, `judge::settings::CLEAR_AFTER`, and the patience).
const AROUND: Micros = Micros::from_secs(15);
/// ... and at least so many answers of each stream on either side (choice: one more than clear a lane).
const BESIDE: usize = 4;
/// Fewer in a row than this are not worth a run.
const LEAST: usize = 8;

/// A chunk rolled up out of entries in their order.
pub(super) fn up(entries: &[Entry]) -> Piece {
    let mut encoder = Encoder::default();
    let runs = quiet(entries);
    let mut in_run = vec![false; entries.len()];
    for i in runs.iter().flatten() {
        in_run[*i] = true;
    }
    for (entry, _) in entries.iter().zip(&in_run).filter(|(_, run)| !**run) {
        encoder.push(entry);
    }
    for run in runs {
        let seen = run.iter().filter_map(|i| if let Entry::Seen(o) = &entries[*i] { Some(o.clone()) } else { None });
        encoder.run(&Run { seen: seen.collect() });
    }
    encoder.take()
}

/// The entries of a rolled-up chunk, runs spread out again, in the order of knowing.
pub(super) fn unroll(bytes: &[u8]) -> Vec<Entry> {
    let mut all: Vec<(Moment, Entry)> = Vec::new();
    let mut spread: Vec<Observation> = Vec::new();
    // What was kept as it was keeps its order, also where one was handed over late.
    let mut latest = Moment(i64::MIN);
    let mut budget = 16 * MOST;
    for read in Decoder::new(bytes) {
        match read {
            Read::Entry(e) => {
                latest = latest.max(e.known());
                all.push((latest, e));
            }
            Read::Run(seen) => {
                // A few bytes can ask for many observations: no chunk of ours asks for more.
                let Some(left) = budget.checked_sub(seen.len()) else { break };
                budget = left;
                spread.extend(seen);
            }
            Read::Unknown | Read::Named => {}
        }
    }
    all.extend(spread.into_iter().map(|o| (o.known, Entry::Seen(o))));
    all.sort_by_key(|(at, _)| *at);
    all.into_iter().map(|(_, e)| e).collect()
}

/// Runs of entries, by their places, that can be kept as runs.
fn quiet(entries: &[Entry]) -> Vec<Vec<usize>> {
    let mut streams: HashMap<(Question, Arc<str>), Vec<usize>> = HashMap::new();
    let mut happened: Vec<Moment> = Vec::new();
    for (i, e) in entries.iter().enumerate() {
        match e {
            Entry::Seen(o) => streams.entry((o.question, Arc::clone(&o.target))).or_default().push(i),
            Entry::Alive { .. } => {}
            _ => happened.push(e.known()),
        }
    }
    let mut streams: Vec<_> = streams.into_values().collect();
    streams.sort_unstable();
    let seen = |i: usize| match &entries[i] {
        Entry::Seen(o) => o,
        _ => unreachable!("streams hold the places of observations"),
    };
    // Streams whose first or last word stands in this chunk are taken to begin or end there.
    for places in &streams {
        for (n, i) in places.iter().enumerate() {
            let o = seen(*i);
            let before = n.checked_sub(1).map(|b| seen(places[b]));
            if !before.is_some_and(|b| ordinary(b, o)) {
                // Between the two something changed; both are near it.
                happened.extend(before.map(|b| b.known));
                happened.extend([o.asked, o.known]);
            }
        }
        happened.extend(places.last().map(|i| seen(*i).known));
    }
    happened.sort_unstable();
    let near = |o: &Observation| {
        let from = o.asked - AROUND;
        let next = happened.partition_point(|h| *h < from);
        happened.get(next).is_some_and(|h| *h <= o.known + AROUND)
    };
    let mut runs = Vec::new();
    for places in &streams {
        // Whether something happened between an observation and the one of this stream before it.
        let mut plain: Vec<bool> = places.iter().map(|i| !near(seen(*i))).collect();
        let broken: Vec<usize> = (1..places.len())
            .filter(|n| {
                let (a, b) = (seen(places[n - 1]).asked, seen(places[*n]).known);
                let next = happened.partition_point(|h| *h < a);
                happened.get(next).is_some_and(|h| *h <= b)
            })
            .collect();
        for n in broken {
            let span = n.saturating_sub(BESIDE)..(n + BESIDE).min(places.len());
            plain[span].fill(false);
        }
        let ends = [0..BESIDE.min(places.len()), places.len().saturating_sub(BESIDE)..places.len()];
        for end in ends {
            plain[end].fill(false);
        }
        let mut run: Vec<usize> = Vec::new();
        for (n, i) in places.iter().enumerate() {
            if !plain[n] || !goes_on(&run, *i, seen) {
                runs.push(std::mem::take(&mut run));
            }
            if plain[n] {
                run.push(*i);
            }
        }
        runs.push(run);
    }
    runs.retain(|r| r.len() >= LEAST);
    runs
}

/// Whether `now` is what one expects after `before`: the same again, in time.
fn ordinary(before: &Observation, now: &Observation) -> bool {
    let usual = now.outcome == Outcome::Answered || !now.question.carries_lane() || !now.outcome.was_asked();
    usual
        && before.outcome == now.outcome
        && before.rtt.map(|r| r.kernel) == now.rtt.map(|r| r.kernel)
        && alike(&before.detail, &now.detail)
}

/// Whether two details say the same. An answer to a name may list its addresses in turn, or others each time: that is
/// how names are spread over servers, and kept as it was said.
fn alike(a: &Detail, b: &Detail) -> bool {
    match (a, b) {
        (Detail::Name(a), Detail::Name(b)) => {
            let rest = |n: &NameAnswer| (n.code, n.answers > 0, n.truncated, n.over_tcp);
            rest(a) == rest(b)
        }
        _ => a == b,
    }
}

/// Whether a run can take this observation in: at the rhythm it has, and no more than it may hold.
fn goes_on<'a>(run: &[usize], next: usize, seen: impl Fn(usize) -> &'a Observation) -> bool {
    let (Some(last), Some(first)) = (run.last(), run.first()) else { return true };
    if run.len() >= MOST {
        return false;
    }
    let gap = (seen(next).asked - seen(*last).asked).0;
    let Some(second) = run.get(1) else { return gap > 0 };
    let usual = (seen(*second).asked - seen(*first).asked).0;
    gap > 0 && (gap - usual).abs() <= usual / 4
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Rtt, WallTime};

    fn answer(second: i64, question: Question, outcome: Outcome) -> Entry {
        let asked = Moment(second * 1_000_000 + (second * 7_919) % 1_500);
        let rtt = Micros(12_000 + (second * 104_729) % 5_000);
        let answered = outcome == Outcome::Answered;
        Entry::Seen(Observation {
            asked,
            known: asked + if answered { rtt + Micros(60) } else { Micros::from_secs(2) },
            question,
            target: "t".into(),
            outcome,
            rtt: answered.then_some(Rtt { took: rtt, kernel: true }),
            detail: Detail::None,
        })
    }

    fn hour(lost: &[i64]) -> Vec<Entry> {
        let mut all: Vec<Entry> = (0..3_600)
            .flat_map(|s| {
                let outcome = if lost.contains(&s) { Outcome::Timeout } else { Outcome::Answered };
                [answer(s, Question::Connect, outcome), answer(s, Question::GatewayEcho, Outcome::Answered)]
            })
            .collect();
        all.sort_by_key(Entry::known);
        all
    }

    fn times(all: &[Entry]) -> Vec<(i64, Outcome)> {
        let seen = |e: &Entry| if let Entry::Seen(o) = e { Some((o.asked.0, o.outcome)) } else { None };
        all.iter().filter_map(seen).collect()
    }

    #[test]
    fn a_quiet_hour_shrinks_and_comes_back_with_every_answer() {
        let all = hour(&[]);
        let rolled = up(&all);
        let mut exact = Encoder::default();
        for e in &all {
            exact.push(e);
        }
        let exact = exact.take();
        assert_eq!(rolled.entries, exact.entries);
        assert_eq!(rolled.reach, exact.reach);
        assert!(rolled.bytes.len() * 2 < exact.bytes.len(), "{} of {}", rolled.bytes.len(), exact.bytes.len());
        let back = unroll(&rolled.bytes);
        assert_eq!(back.len(), all.len());
        let mut off: Vec<i64> = Vec::new();
        for (a, b) in times(&back).iter().zip(times(&all)) {
            off.push((a.0 - b.0).abs());
        }
        assert!(off.iter().all(|us| *us < 20_000), "{:?}", off.iter().max());
    }

    #[test]
    fn what_happened_and_what_was_around_it_is_kept_as_it_was() {
        let mut all = hour(&[1_000, 1_001, 2_500]);
        all.insert(3_000, Entry::Stepped { at: all[3_000].known(), wall: WallTime(5) });
        let back = unroll(&up(&all).bytes);
        let near = |e: &Entry| {
            [1_000.0, 1_001.0, 2_500.0].iter().any(|s| (e.known().secs() - s).abs() < 12.0)
                || (e.known() - all[3_000].known()).secs().abs() < 12.0
        };
        let exact = |all: &[Entry]| all.iter().filter(|e| near(e)).cloned().collect::<Vec<_>>();
        assert!(exact(&all).len() > 100);
        assert_eq!(exact(&back), exact(&all));
    }

    #[test]
    fn a_bomb_is_not_spread_out() {
        let all = hour(&[]);
        let bytes = up(&all).bytes;
        let many: Vec<u8> = bytes.iter().copied().cycle().take(bytes.len() * 50).collect();
        assert!(unroll(&many).len() <= 17 * MOST);
    }

    #[test]
    fn a_run_keeps_one_rhythm_and_one_kind_of_time() {
        let at = |asked_ms: i64, kernel| {
            let Entry::Seen(o) = answer(0, Question::GatewayEcho, Outcome::Answered) else {
                unreachable!("an observation")
            };
            Observation { asked: Moment(asked_ms * 1_000), rtt: o.rtt.map(|r| Rtt { kernel, ..r }), ..o }
        };
        // Each second; then after one and a quarter, and after one and a half.
        let seen = [at(0, true), at(1_000, true), at(2_250, true), at(2_500, true), at(2_000, false)];
        let goes = |next| goes_on(&[0, 1], next, |i| &seen[i]);
        assert!(goes(2) && !goes(3));
        assert!(ordinary(&seen[0], &seen[1]) && !ordinary(&seen[1], &seen[4]));
    }
}
