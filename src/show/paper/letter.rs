//! The week's letter: one page for the homeowner.
//!
//! Decides what of the last seven days is told and in which order: the answer, one thing to do, what happened, whether the
//! alarm company would have noticed, whether an alarm would have got through, and what this can't tell. The verdict
//! rests on the whole record, and so do the odds.

use super::{Blocks, Given, Kind, Paper};
use crate::judge::choice::Basis;
use crate::show::escape::shell_word;
use crate::show::say::letter::Rests;
use crate::show::say::{self, letter as say_letter};
use crate::show::words::{days, safe, zoned};
use crate::snapshot::{Bout, Mend, Snapshot, Standing, VerdictKind, Window};
use crate::words::{Side, causes};

/// The window of events, seconds.
const WEEK_S: f64 = 7.0 * 86_400.0;
/// Most outages told by themselves: more do not fit the page.
const MOST_TOLD: usize = 3;

/// The letter.
pub fn letter(given: &Given) -> Paper {
    let s = given.snapshot;
    let scope = in_scope(s);
    let window = Window::last(s, WEEK_S);
    let needs = || s.verdict().needs_s.filter(|n| *n > 0.0 && n.is_finite()).map(more);
    let mut paper = Paper::new(Kind::Letter, say_letter::KICKER, say_letter::title(s.verdict().kind, scope));
    let p = &mut paper.blocks;
    let rests = rests(s);
    p.lead(&say_letter::lead(s.verdict().kind, scope, rests, needs()));
    if s.practice {
        p.say(say_letter::PRACTICE);
    }
    let day = |at_s| say::day(s.wall(at_s), given.zone);
    let period = say_letter::period(&day(window.from_s), &day(window.to_s));
    p.say(format!("{period} {}", say_letter::watched(window.length_s(), window.seen_s)));

    p.part("do", say_letter::DO);
    let worst = s.mend.first().filter(|_| scope && s.verdict().kind == VerdictKind::MendFirst);
    let todo = match worst {
        Some(m) => say_letter::act(m.who, &wrong(m), &safe(&m.step)),
        None => say_letter::nothing_to_mend(s.verdict().kind, scope, rests, s.watch.observed_s, needs()),
    };
    p.list(todo);

    p.part("happened", say_letter::HAPPENED);
    happened(p, &window, given);

    p.part("noticed", say_letter::NOTICED);
    p.say(noticed(s, &window));

    p.part("through", say_letter::THROUGH);
    match s.ruling.as_ref().and_then(|r| r.delivery.as_ref()) {
        Some(d) => p.say(format!(
            "{} {}",
            say_letter::through(d.within_s, d.missed, s.watch.observed_s),
            say_letter::THROUGH_LIMIT
        )),
        None => p.say(say_letter::THROUGH_UNKNOWN),
    };

    if scope {
        p.part("sure", say_letter::SURE);
        p.say(say_letter::sure(s.verdict().kind, rests, s.verdict().confidence, s.watch.observed_s));
    }
    p.part("limits", say_letter::LIMITS);
    p.list(say_letter::limits(s.watch.observed_s));
    p.part("kept", say_letter::KEPT);
    p.say(say_letter::WHAT_KEPT);
    let zone = zoned(s.wall(s.watch.elapsed_s), given.zone).strftime("%Z (UTC%:z)").to_string();
    let delete = say_letter::delete(given.origin.record.as_deref().map(shell_word).as_deref());
    p.say(format!("{delete} {}", say_letter::clock(&zone, s.watch.clock_synced)));
    paper
}

/// What the answer rests on. Where a backup is needed though every requirement held, that is how long the path stands
/// without mains.
fn rests(s: &Snapshot) -> Rests {
    let power = || !s.ruling.iter().flat_map(|r| &r.requirements).any(|r| r.standing == Standing::NotMet);
    match (s.verdict().kind, s.verdict().basis) {
        (_, Some(Basis::Likely)) => Rests::Odds,
        (VerdictKind::AddCellular, _) if power() => Rests::Power,
        (VerdictKind::KeepWatching, _) if s.verdict().ask_kind_of_line => Rests::Kind,
        _ => Rests::Seen,
    }
}

/// Whether the verdict is about this alarm system at all.
fn in_scope(s: &Snapshot) -> bool {
    s.verdict().out_of_scope.is_empty()
}

/// How much more watching, in words.
fn more(needs_s: f64) -> String {
    if needs_s > 2.0 * 86_400.0 { days(needs_s) } else { say::length(needs_s) }
}

/// What is to be mended, for the homeowner: by its cause where it has one, else as the snapshot says it.
fn wrong(m: &Mend) -> String {
    m.cause.map_or_else(|| safe(&m.what).trim_end_matches('.').to_owned(), |c| causes::row(c).short.to_owned())
}

fn happened(p: &mut Blocks, window: &Window, given: &Given) {
    let s = given.snapshot;
    let now_s = s.watch.elapsed_s;
    let Some(longest) = window.longest() else {
        if window.seen_s > 0.0 {
            p.say(say_letter::no_outage(window.seen_s));
        } else {
            p.say(say_letter::THROUGH_UNKNOWN);
        }
        if window.others > 0 {
            p.say(say_letter::others(window.others));
        }
        return;
    };
    let when = |b: &Bout| say::moment(s.wall(b.from_s[1]), given.zone);
    p.say(say_letter::outages(
        window.bouts.len(),
        window.down_s(),
        longest.length_s(now_s)[1],
        &when(longest),
        window.seen_s,
    ));
    let mut told: Vec<&Bout> = window.bouts.iter().collect();
    // The longest are told; what is told stands in order of time.
    told.sort_by(|a, b| b.length_s(now_s)[1].total_cmp(&a.length_s(now_s)[1]));
    let left = told.len().saturating_sub(MOST_TOLD);
    told.truncate(MOST_TOLD);
    told.sort_by(|a, b| a.from_s[1].total_cmp(&b.from_s[1]));
    p.list(told.iter().map(|b| say_letter::outage(&when(b), b.length_s(now_s)[1], b.to_s.is_some(), b.trouble.cause)));
    let sides = sides(window);
    let mut rest = Vec::new();
    if left > 0 {
        rest.push(say_letter::more(left));
    }
    if sides.len() > 1 || left > 0 {
        rest.push(say_letter::sides(&sides));
    }
    if window.others > 0 {
        rest.push(say_letter::others(window.others));
    }
    p.say(rest.join(" "));
}

/// How often each side, the most frequent first.
fn sides(window: &Window) -> Vec<(Side, usize)> {
    let mut out: Vec<(Side, usize)> = Vec::new();
    for b in &window.bouts {
        let side = causes::row(b.trouble.cause).side;
        match out.iter_mut().find(|(s, _)| *s == side) {
            Some(entry) => entry.1 += 1,
            None => out.push((side, 1)),
        }
    }
    out.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    out
}

fn noticed(s: &Snapshot, window: &Window) -> String {
    if window.bouts.is_empty() && window.seen_s < 1.0 {
        return say_letter::THROUGH_UNKNOWN.to_owned();
    }
    let own = s.supervision.first().filter(|v| v.tag == "site file");
    let now_s = s.watch.elapsed_s;
    if let Some(v) = own {
        let of = |want| window.bouts.iter().filter(|b| b.noticed(v.interval_s, now_s) == want).count();
        return say_letter::noticed(v.interval_s, window.bouts.len(), of(Some(true)), of(None));
    }
    let shortest = window.bouts.iter().map(|b| b.length_s(now_s)[0]).reduce(f64::min);
    let longest = window.bouts.iter().map(|b| b.length_s(now_s)[2]).reduce(f64::max);
    say_letter::noticed_unknown(shortest.zip(longest))
}
