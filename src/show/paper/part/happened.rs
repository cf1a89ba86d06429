//! What happened, trouble by trouble, and what was not seen.

use super::{Blocks, sentence};
use crate::judge::Actor;
use crate::show::words::{self, Clock, safe, span};
use crate::snapshot::{Snapshot, Trouble, odds};
use crate::words::{causes::named, people};
use std::collections::BTreeSet;

/// Evidence of one kind told for a trouble.
const EVIDENCE: usize = 6;

/// Every trouble in order of time: in full where they are few, else the longest of each cause in full.
pub fn happened(b: &mut Blocks, s: &Snapshot, clock: &Clock<'_>) {
    let whole = told_in_full(s);
    for run in s.troubles.chunk_by(|x, y| !whole.contains(&x.number) && !whole.contains(&y.number)) {
        match run {
            [t] if whole.contains(&t.number) => trouble(b, s, t, clock),
            short => {
                b.list(
                    short.iter().map(|t| {
                        format!("{}. {}, {}", t.number, clock.at(t.start_s[1]), in_a_line(t, s.watch.elapsed_s))
                    }),
                );
            }
        }
    }
}

/// Troubles told in full: all where they are few, else the longest of each cause; the others are told in a line.
pub fn told_in_full(s: &Snapshot) -> BTreeSet<u32> {
    const FEW: usize = 6;
    let length = |t: &Trouble| t.end_s.map_or(s.watch.elapsed_s, |e| e[1]) - t.start_s[1];
    let worst = |t: &Trouble| !s.troubles.iter().any(|o| o.cause == t.cause && length(o) > length(t));
    let mut causes = BTreeSet::new();
    s.troubles
        .iter()
        .filter(|t| s.troubles.len() <= FEW || (worst(t) && causes.insert(t.cause)))
        .map(|t| t.number)
        .collect()
}

/// A trouble in one line, without its number and when it began.
pub fn in_a_line(t: &Trouble, now_s: f64) -> String {
    let over = if t.end_s.is_some() { "" } else { ", not over" };
    let lasted = (t.end_s.map_or(now_s, |e| e[1]) - t.start_s[1]).max(0.0);
    format!("{}{over}: {}", span(lasted), sentence(&t.sentence))
}

/// A trouble in full: its sentence, when and how long, how sure, whose job, and what speaks for and against it.
pub fn trouble(b: &mut Blocks, s: &Snapshot, t: &Trouble, clock: &Clock<'_>) {
    b.piece(&format!("{}. {}", t.number, sentence(&t.sentence)));
    b.say(told(t, clock, s.watch.elapsed_s));
    let not_excluded = if t.alternatives.is_empty() {
        t.not_excluded.iter().map(|c| named(*c)).collect()
    } else {
        t.alternatives.iter().map(|(cause, p)| format!("{}, {} that it is this", named(*cause), odds(*p))).collect()
    };
    let lists = [
        ("For it", t.evidence_for.clone()),
        ("Against it", t.evidence_against.clone()),
        ("Not excluded", not_excluded),
    ];
    b.pairs(lists.into_iter().filter(|(_, list)| !list.is_empty()).map(|(what, list)| (what, some(&list))));
}

/// The first of a list; how many more there are is said.
fn some(list: &[String]) -> String {
    let mut out: Vec<String> = list.iter().take(EVIDENCE).map(|e| safe(e)).collect();
    if list.len() > EVIDENCE {
        out.push(format!("{} more", list.len() - EVIDENCE));
    }
    out.join("; ")
}

/// When, how long, whether the path carried, whether the station knew, how sure, whose job.
fn told(t: &Trouble, clock: &Clock<'_>, now_s: f64) -> String {
    let until = match t.end_s {
        Some(end) => format!("to {}; {}", clock.edge(end), words::lasted(t, now_s)),
        None => {
            format!("and was not over when the record ends, {} later", span((now_s - t.start_s[1]).max(0.0)))
        }
    };
    let effect = if t.outage {
        format!("The path could not deliver. {}", words::station(t))
    } else if t.unwatched {
        "Nobody watched the path meanwhile: whether it carried is not known.".to_owned()
    } else {
        "The path still carried.".to_owned()
    };
    let who = match t.who {
        Actor::Nobody => "Nobody needs to act.".to_owned(),
        who => format!("Whose job: {}.", people::who(who).to_lowercase()),
    };
    let sure = words::sureness(Some(t.confidence)).map(|sure| format!(", {sure}")).unwrap_or_default();
    let lane = words::lane(t.lane).to_lowercase();
    let cause = named(t.cause);
    let technician = match safe(&t.technician) {
        told if told.is_empty() => String::new(),
        told => format!(" For a technician: {told}"),
    };
    let from = clock.edge(t.start_s);
    format!("From {from} {until}. {effect} Began in: {lane}. Cause: {cause}{sure}. {who}{technician}")
}

/// What could not be seen, why, and what would open it.
pub fn unseen(b: &mut Blocks, s: &Snapshot) {
    b.part("unseen", "What was not seen");
    if s.blind.is_empty() {
        b.say("Every lane could be asked.");
    }
    b.table(
        "What nobody looked at counts neither for nor against the path.",
        &["Lane", "Not seen", "Why", "What would open it"],
        s.blind.iter().map(|x| {
            let what = format!("{} Not seen for {}.", sentence(&x.what), span(x.for_s));
            vec![words::lane(x.lane).to_owned(), what, sentence(&x.why), safe(&x.opens)]
        }),
    );
}
