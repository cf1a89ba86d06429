//! The verdict in words: what it rests on, strongest first, the safer choice for today, and what could change it.
//! Words only; no judgement of its own.

use super::asked::{asks, measured};
use super::{Bout, Verdict, down_s, drills, odds, words};
use crate::judge::belief::WORSE;
use crate::judge::choice::Basis;
use crate::judge::turning::{self, Turning};
use crate::judge::{Judge, Judgement, Lane, Micros, Standing, Trouble, VerdictKind};
use crate::words::causes;
use std::collections::{BTreeMap, BTreeSet};

/// The verdict without the choice for today, the cost of being wrong and what could change it.
pub(super) fn verdict(j: &Judgement, judge: &Judge, troubles: &[super::Trouble]) -> Verdict {
    let watched = j.look.observed;
    let outages = j.look.troubles.iter().filter(|t| t.path_down.is_some()).count();
    let totals = totals(troubles, j);
    let reasons = reasons(j, judge, outages, &totals);
    let drilled = only_planned(j);
    let sentence = match j.kind {
        VerdictKind::KeepWatching if !judge.settings().out_of_scope.is_empty() => {
            format!("Out of scope: {}", reasons.first().map_or("", String::as_str))
        }
        VerdictKind::KeepWatching if drilled => ONLY_PLANNED.to_owned(),
        VerdictKind::KeepWatching if watched == Micros::ZERO => {
            "Nothing of the path could be asked from here; see what could not be seen, and why.".to_owned()
        }
        VerdictKind::KeepWatching => match j.needs {
            Some(n) if j.decided.further.is_some_and(|f| f.kind_of_line) => format!(
                "What was watched does not decide it; {} without trouble may, once the kind of line is known.",
                words::about(n)
            ),
            Some(n) => format!("What was watched does not decide it; {} without trouble would.", words::about(n)),
            None if j.decided.further.is_some() => {
                "What was watched does not decide it; knowing what kind of line it is may.".to_owned()
            }
            None => "What was watched does not decide it, and how much more would can't be said yet.".to_owned(),
        },
        VerdictKind::IpAlone if j.decided.basis == Some(Basis::Likely) => {
            "Likely enough: what was watched, and what is known of such lines, speak for it.".to_owned()
        }
        VerdictKind::IpAlone => "What was watched shows every requirement to hold.".to_owned(),
        VerdictKind::MendFirst if j.mendable().next().is_none() => {
            "The path does not stand without mains as long as it must, and a battery mends that; a second path would be the wrong cure.".to_owned()
        }
        VerdictKind::AddCellular if j.decided.basis == Some(Basis::Likely) => {
            "Likely the better choice: what is known of such lines, after what was watched, is not good enough for IP alone.".to_owned()
        }
        VerdictKind::AddCellular if !j.held.iter().any(|h| h.standing == Standing::NotMet) => {
            "Without mains the path ends before it may, and no battery on site mends that.".to_owned()
        }
        VerdictKind::MendFirst => {
            "Something that can be mended stops the path; a second path would be the wrong cure.".to_owned()
        }
        VerdictKind::AddCellular => {
            format!("{totals}: more than what is required allows.")
        }
    };
    let (safer_today, safer_because) = safer(j, outages, watched);
    Verdict {
        kind: j.kind,
        sentence,
        confidence: j.confidence,
        out_of_scope: judge.settings().out_of_scope.clone(),
        basis: j.decided.basis,
        choice: j.decided.choice,
        ask_kind_of_line: j.decided.further.is_some_and(|f| f.kind_of_line),
        misses: j.decided.odds.map(|o| o.misses),
        today: Vec::new(),
        reasons,
        needs_s: j.needs.map(Micros::secs),
        safer_today,
        safer_because,
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    }
}

/// What is said where nothing that counts was watched.
const ONLY_PLANNED: &str =
    "All of this record is a drill or planned, and nothing in that counts for or against the path.";

/// Whether nothing was seen that counts, only because it was planned.
fn only_planned(j: &Judgement) -> bool {
    let path = j.look.lanes.iter().rfind(|l| matches!(l.lane, Lane::Outside | Lane::Receiver) && l.reach.is_some());
    j.look.observed == Micros::ZERO && !j.look.planned.is_empty() && path.is_some()
}

fn reasons(j: &Judgement, judge: &Judge, outages: usize, totals: &str) -> Vec<String> {
    let watched = j.look.observed;
    let mut out: Vec<String> = judge
        .settings()
        .out_of_scope
        .iter()
        .map(|u| format!("{u} signalling is out of scope: the authority having jurisdiction decides, not this tool."))
        .collect();
    match j.kind {
        VerdictKind::MendFirst => {
            let causes: BTreeSet<_> = j.mendable().map(|t| t.cause).collect();
            out.extend(by_cause(j, |t| causes.contains(&t.cause)));
        }
        VerdictKind::AddCellular => {
            let failed = j.held.iter().filter(|h| h.standing == Standing::NotMet);
            out.extend(failed.map(|h| {
                format!(
                    "\"{}\" does not hold. It asks for {}. Seen: {}.",
                    h.require.name,
                    asks(&h.require.ask),
                    measured(h, watched)
                )
            }));
            out.extend(by_cause(j, |t| !t.cause.mendable() && t.path_down.is_some()));
        }
        VerdictKind::IpAlone | VerdictKind::KeepWatching => {}
    }
    // In the live view nothing is held against what must be yet.
    if !j.held.is_empty()
        && let Some(standby) = &judge.settings().known.standby
    {
        out.push(drills::reason(standby));
    }
    if only_planned(j) {
        out.push(ONLY_PLANNED.into());
    } else if watched.0 == 0 {
        out.push("The path was not observed at all.".into());
    } else if outages == 0 {
        let worth = if j.decided.basis == Some(Basis::Likely) {
            "alone it shows little, but a bad line seldom stays up so long"
        } else if j.kind == VerdictKind::IpAlone {
            "long enough for what is required"
        } else {
            "that alone proves little"
        };
        out.push(format!("No outage in {} of watching; {worth}.", words::days(watched)));
    } else {
        out.push(format!("{totals}."));
    }
    // What takes longest to show is what stands most in the way.
    let mut open: Vec<_> = j.held.iter().filter(|h| h.standing == Standing::Open).collect();
    open.sort_by_key(|h| std::cmp::Reverse(h.needs.map_or(i64::MAX, |n| n.0)));
    out.extend(open.into_iter().map(|h| {
        let more = h
            .needs
            .map_or("more watching alone will not settle it".to_owned(), |n| format!("it needs {}", words::about(n)));
        format!("\"{}\" is still open: {more}. It asks for {}.", h.require.name, asks(&h.require.ask))
    }));
    if j.kind == VerdictKind::IpAlone
        && j.decided.basis == Some(Basis::Shown)
        && let Some(least) = j
            .held
            .iter()
            .filter(|h| h.holds.is_some())
            .min_by(|a, b| a.holds.partial_cmp(&b.holds).unwrap_or(std::cmp::Ordering::Equal))
    {
        out.push(format!(
            "Each requirement is shown to hold; the least certain is \"{}\": the odds are {} that it does in the long run.",
            least.require.name,
            least.holds.map_or(String::new(), odds)
        ));
    }
    if let (Some(Basis::Likely), Some(o)) = (j.decided.basis, j.decided.odds) {
        out.insert(
            0,
            format!(
                "The odds are {} that such a line misses what is required in the long run; for IP alone {} is accepted, and no more than twice that if lines fail {WORSE} times as often as published.",
                odds(o.misses),
                odds(j.ground.caution.most())
            ),
        );
    }
    if j.decided.beyond {
        out.push("No kind of line known of does what was seen here, so no odds over such lines are given.".into());
    }
    out
}

/// How many outages, how long in all (time that two share counts once), in how long.
fn totals(troubles: &[super::Trouble], j: &Judgement) -> String {
    let outages: Vec<Bout<'_>> = troubles.iter().filter_map(Bout::of).collect();
    let down = Micros((down_s(&outages, 0.0, j.look.now.secs()) * 1e6).round() as i64);
    let watched = words::days(j.look.observed);
    format!("{}, {down} in all, in {watched} of watching", words::count(outages.len(), "outage"))
}

/// One sentence a cause, the one that stopped the path longest first.
fn by_cause(j: &Judgement, counts: impl Fn(&Trouble) -> bool) -> Vec<String> {
    let now = j.look.now;
    let mut causes: BTreeMap<_, (usize, f64, &Trouble)> = BTreeMap::new();
    for t in j.look.troubles.iter().filter(|t| counts(t)) {
        let down = t.down_for(now).secs();
        let entry = causes.entry(t.cause).or_insert((0, 0.0, t));
        if down > entry.2.down_for(now).secs() {
            entry.2 = t;
        }
        (entry.0, entry.1) = (entry.0 + 1, entry.1 + down);
    }
    let mut causes: Vec<_> = causes.into_values().collect();
    causes.sort_by(|a, b| b.1.total_cmp(&a.1));
    let told = |(n, _, worst): (usize, f64, &Trouble)| {
        let sentence = causes::household(worst, now);
        match n {
            1 => sentence,
            2 => format!("{} (the worse of 2 like it).", sentence.trim_end_matches('.')),
            n => format!("{} (the worst of {n} like it).", sentence.trim_end_matches('.')),
        }
    };
    causes.into_iter().map(told).collect()
}

/// What could make it another verdict, the shortest further observation first.
pub(super) fn could_change(j: &Judgement, judge: &Judge) -> Vec<String> {
    let set = &judge.settings().requirements;
    let mut out = Vec::new();
    if let Some(turning) = turning::turning(j, &set.require) {
        let mut both: Vec<(Micros, String)> = Vec::new();
        both.extend(turning.outage.map(|(l, kind)| (l, one_outage(l, kind))));
        both.extend(turning.quiet.map(|(m, kind)| (m, quiet(j.kind, m, kind))));
        both.sort_by_key(|b| b.0);
        out.extend(both.into_iter().map(|b| b.1));
        out.extend(neither(j, turning));
    }
    // A set already met needs no such word.
    if !j.held.is_empty()
        && let Some((require, least)) = set.shortest_watch(&j.evidence)
        && least.is_none_or(|l| j.look.observed < l)
    {
        out.push(match least {
            Some(least) => format!(
                "By what is watched alone, all of the set \"{1}\" takes {0} of watching to show, for \"{2}\"; the odds may decide sooner.",
                words::days(least),
                set.name,
                require.name
            ),
            None => format!("No watch, however long, can meet all of the set \"{}\": \"{}\" can't be shown by watching.", set.name, require.name),
        });
    }
    out
}

fn one_outage(length: Micros, kind: VerdictKind) -> String {
    let length = words::days(length);
    match kind {
        VerdictKind::AddCellular => {
            format!("One more outage, if it lasts about {length} or longer, would make it \"{}\".", kind.words())
        }
        _ => format!("One more outage, if it lasts about {length} or longer, would put it in doubt again."),
    }
}

fn quiet(now: VerdictKind, more: Micros, kind: VerdictKind) -> String {
    match (now, kind) {
        (VerdictKind::MendFirst, VerdictKind::IpAlone) if more == Micros::ZERO => {
            "Once it is mended, what was watched besides is enough to show every requirement to hold.".to_owned()
        }
        (VerdictKind::MendFirst, _) => {
            format!("Once it is mended, {} without an outage would decide it.", words::about(more))
        }
        (_, VerdictKind::KeepWatching) => {
            format!(
                "{} of watching without an outage would put it in doubt; less would not.",
                words::capital(&words::about(more))
            )
        }
        (_, kind) => format!(
            "{} of watching without an outage would make it \"{}\".",
            words::capital(&words::about(more)),
            kind.words()
        ),
    }
}

fn neither(j: &Judgement, t: Turning) -> Option<String> {
    match (j.kind, t.quiet, t.outage) {
        (VerdictKind::AddCellular, None, _) if j.decided.basis == Some(Basis::Likely) => {
            Some("No further quiet watching changes it; another kind of line would.".into())
        }
        (VerdictKind::AddCellular, None, _) if !j.held.iter().any(|h| h.standing == Standing::NotMet) => Some(
            "No watching changes it: it rests on how long the provider's street equipment runs without mains. Ask the provider.".into(),
        ),
        (VerdictKind::AddCellular, None, _) => Some(
            "No further quiet watching changes it: what was seen can't be undone. Mend the line or change it, and watch anew.".into(),
        ),
        (VerdictKind::KeepWatching, _, None) => Some("No single further outage alone would decide it the other way.".into()),
        _ => None,
    }
}

/// The safer choice for today and what it rests on.
fn safer(j: &Judgement, outages: usize, watched: Micros) -> (String, String) {
    match j.kind {
        VerdictKind::IpAlone if j.decided.basis == Some(Basis::Likely) => (
            "IP alone, with the network gear on backup power.".into(),
            "The odds, which what was watched alone does not show yet; a mains failure was not part of it.".into(),
        ),
        VerdictKind::IpAlone => (
            "IP alone, with the network gear on backup power.".into(),
            "Every requirement is met by what was watched; a mains failure was not part of it.".into(),
        ),
        _ if only_planned(j) => (
            "Add a cellular backup, or survey first: a drill is no survey.".into(),
            "No time was watched that counts.".into(),
        ),
        _ if watched == Micros::ZERO => (
            "Add a cellular backup, or survey again where the path can be asked.".into(),
            "Nothing of the path could be asked from here, and watching longer will not change that.".into(),
        ),
        _ if outages == 0 => (
            "Add a cellular backup, or keep watching before going without one.".into(),
            format!(
                "how little {} can show, not any fault seen: a home connection that fails once a month looks just like this.",
                words::days(watched)
            ),
        ),
        _ => (
            "Add a cellular backup.".into(),
            format!(
                "{} in {} of watching, and nothing yet that shows that was the last.",
                words::count(outages, "outage"),
                words::days(watched)
            ),
        ),
    }
}
