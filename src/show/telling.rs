//! The end of a survey told in plain text, for a terminal, a mail or a work order.
//!
//! Decides order and wording: the verdict first, then the choice for today, the reasons and what could change it; then
//! the details, for whoever has to defend it. Nothing here is judged anew.

use super::answers::{FIRST_REASONS, answers, decides_today, odds_today, steadiness};
use super::say::titles::named;
use super::words::{self, Clock, millis, safe, span, wrap};
use crate::snapshot::{Requirement, Snapshot, Standing, TargetView, Trouble, odds, too_little};
use jiff::tz::TimeZone;
use std::collections::BTreeSet;

/// The whole result as text of at most `width` columns, times in `zone`. Ends with a newline.
pub fn verdict(s: &Snapshot, zone: &TimeZone, width: usize) -> String {
    let clock = Clock::new(s, zone);
    let mut t = Text { lines: Vec::new(), width: width.max(30) };
    opening(&mut t, s);
    mending(&mut t, s);
    t.lines.push(String::new());
    t.say("Details follow; the answer stands above.");
    requirements(&mut t, s);
    for a in answers(s) {
        t.head(a.title);
        a.says.iter().for_each(|line| t.say(line));
        a.list.iter().for_each(|line| t.item(line));
    }
    happened(&mut t, s, &clock);
    unseen(&mut t, s);
    figures(&mut t, s);
    if !s.facts.is_empty() {
        t.head("Found on the way");
        for f in &s.facts {
            t.item(&format!("{}: {}", safe(&f.label), safe(&f.value)));
        }
    }
    t.head("Cautions");
    for c in &s.cautions {
        t.item(&safe(c));
    }
    t.head("This record");
    t.say(&identity(s, &clock, zone));
    t.lines.join("\n") + "\n"
}

struct Text {
    lines: Vec<String>,
    width: usize,
}

impl Text {
    fn head(&mut self, words: &str) {
        self.lines.push(String::new());
        self.lines.push(words.to_uppercase());
    }
    fn say(&mut self, text: &str) {
        self.lines.extend(wrap(text, self.width, "", ""));
    }
    fn item(&mut self, text: &str) {
        self.lines.extend(wrap(text, self.width, "- ", "  "));
    }
    fn under(&mut self, text: &str) {
        self.lines.extend(wrap(text, self.width, "  ", "  "));
    }
}

fn opening(t: &mut Text, s: &Snapshot) {
    let v = &s.verdict;
    t.say(&words::verdict(s));
    t.lines.push("=".repeat(t.lines.iter().map(|l| words::columns(l)).max().unwrap_or(0)));
    if !v.sentence.is_empty() {
        t.say(&safe(&v.sentence));
    }
    t.lines.push(String::new());
    if let Some(sure) = words::how_sure(s) {
        t.say(&sure);
    }
    t.say(&words::watched(s));
    if s.practice {
        t.say("This was the practice site: a virtual home with scripted faults, not a real line.");
    }
    if decides_today(s) {
        t.head("If you must decide today");
        t.say(&format!("{} {}", sentence(&v.safer_today), rests_on(&v.safer_because)));
        if let Some(odds) = odds_today(s) {
            t.say(&odds);
        }
        v.if_wrong.iter().for_each(|w| t.item(&sentence(w)));
    }
    if !v.reasons.is_empty() {
        t.head("Why");
        v.reasons.iter().take(FIRST_REASONS).for_each(|r| t.item(&sentence(r)));
    }
    if !decides_today(s) && !v.if_wrong.is_empty() {
        t.head("What being wrong would cost");
        v.if_wrong.iter().for_each(|w| t.item(&sentence(w)));
    }
    let more = words::more(v.needs_s).filter(|_| v.could_change.is_empty());
    if !v.could_change.is_empty() || more.is_some() {
        t.head("What could change this answer");
        v.could_change.iter().chain(&more).for_each(|c| t.item(&sentence(c)));
    }
}

/// Untrusted words closed as a sentence.
pub fn sentence(text: &str) -> String {
    let text = safe(text.trim());
    match text.chars().last() {
        None => "No safer choice was given.".to_owned(),
        Some('.' | '!' | '?' | '…' | ')') => text,
        Some(_) => text + ".",
    }
}

/// What a choice rests on, as a sentence; empty where nothing was said.
pub fn rests_on(because: &str) -> String {
    if because.is_empty() { String::new() } else { format!("This rests on: {}", sentence(because)) }
}

fn mending(t: &mut Text, s: &Snapshot) {
    if s.mend.is_empty() {
        return;
    }
    t.head("What to mend");
    for m in &s.mend {
        t.item(&sentence(&m.what));
        t.under(&format!("{}: {}", words::who(&m.who), sentence(&m.step)));
        if !m.proof.is_empty() {
            t.under(&format!("Mended when: {}", sentence(&m.proof)));
        }
    }
}

fn happened(t: &mut Text, s: &Snapshot, clock: &Clock<'_>) {
    t.head("What happened");
    t.say(&words::troubles(s));
    if !s.troubles.is_empty() {
        t.say(&clock.explained());
    }
    let whole = told_in_full(s);
    let mut short_before = false;
    for trouble in &s.troubles {
        let short = !whole.contains(&trouble.number);
        if short && !std::mem::replace(&mut short_before, short) {
            t.lines.push(String::new());
        }
        short_before = short;
        if short {
            t.lines.extend(wrap(
                &told_shortly(trouble, clock, s.watch.elapsed_s),
                t.width,
                &format!("{}. ", trouble.number),
                "   ",
            ));
            continue;
        }
        t.lines.push(String::new());
        t.lines.extend(wrap(&safe(&trouble.sentence), t.width, &format!("{}. ", trouble.number), "   "));
        for line in trouble_sentences(trouble, clock, s.watch.elapsed_s) {
            t.lines.extend(wrap(&line, t.width, "   ", "   "));
        }
        for (what, list) in evidence(trouble) {
            let list: Vec<String> = list.iter().map(|e| safe(e)).collect();
            t.lines.extend(wrap(&format!("{what}: {}.", list.join("; ")), t.width, "   ", "     "));
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
        .filter(|t| s.troubles.len() <= FEW || (worst(t) && causes.insert(&t.cause)))
        .map(|t| t.number)
        .collect()
}

/// A trouble in one line.
pub fn told_shortly(t: &Trouble, clock: &Clock<'_>, now_s: f64) -> String {
    let [from, to] = [t.start_s[1], t.end_s.map_or(now_s, |e| e[1])];
    let over = if t.end_s.is_some() { "" } else { ", not over" };
    format!("{}, {}{over}: {}", clock.at(from), span((to - from).max(0.0)), sentence(&t.sentence))
}

/// The evidence lists of a trouble that hold something, with their headings.
pub fn evidence(trouble: &Trouble) -> impl Iterator<Item = (&'static str, Vec<String>)> {
    [
        ("For it", trouble.evidence_for.clone()),
        ("Against it", trouble.evidence_against.clone()),
        ("Not excluded", trouble.not_excluded.iter().map(|c| named(c)).collect()),
    ]
    .into_iter()
    .filter(|(_, list)| !list.is_empty())
}

/// When, how long, how sure, whose job, whether the station knew; one sentence each.
pub fn trouble_sentences(trouble: &Trouble, clock: &Clock<'_>, now_s: f64) -> Vec<String> {
    let until = match trouble.end_s {
        Some(end) => format!("to {}", clock.edge(end)),
        None => "and was not over".to_owned(),
    };
    let lasted = match trouble.end_s {
        Some(_) => format!("; {}", words::lasted(trouble, now_s)),
        None => format!(" when the record ends, {} later", span((now_s - trouble.start_s[1]).max(0.0))),
    };
    let effect = if trouble.outage {
        format!("The path could not deliver. {}", words::station(trouble))
    } else if trouble.unwatched {
        "Nobody watched the path meanwhile: whether it carried is not known.".to_owned()
    } else {
        "The path still carried.".to_owned()
    };
    let who = match trouble.who.as_str() {
        "nobody" => "Nobody needs to act.".to_owned(),
        who => format!("Whose job: {}.", lower_first(&words::who(who))),
    };
    let mut out = vec![
        format!("From {} {until}{lasted}.", clock.edge(trouble.start_s)),
        effect,
        format!(
            "Began in: {}. Cause: {}{}. {who}",
            words::lane(trouble.lane).to_lowercase(),
            safe(&named(&trouble.cause)),
            words::sureness(Some(trouble.confidence)).map(|sure| format!(", {sure}")).unwrap_or_default(),
        ),
    ];
    if !trouble.technician.is_empty() {
        out.push(format!("For a technician: {}", safe(&trouble.technician)));
    }
    out
}

fn lower_first(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_lowercase().chain(chars).collect())
}

fn unseen(t: &mut Text, s: &Snapshot) {
    t.head("What could not be seen");
    if s.blind.is_empty() {
        t.say("Every lane could be asked.");
        return;
    }
    for b in &s.blind {
        t.item(&format!("{}: {} Not seen for {}.", words::lane(b.lane), sentence(&b.what), span(b.for_s)));
        t.under(&format!("Why: {}", sentence(&b.why)));
        if !b.opens.is_empty() {
            t.under(&format!("What would open it: {}", sentence(&b.opens)));
        }
    }
}

fn figures(t: &mut Text, s: &Snapshot) {
    if s.targets.is_empty() {
        return;
    }
    t.head("Figures");
    for target in &s.targets {
        t.item(&format!("{}, {}:", words::capital(&safe(&target.question)), safe(&target.target)));
        let more = [times(target), steadiness(target, s.watch.elapsed_s)];
        t.under(&more.into_iter().flatten().fold(answered(target), |all, next| format!("{all} {next}")));
    }
}

/// How often a target answered and what came back otherwise, in a sentence.
pub fn answered(target: &TargetView) -> String {
    if target.asked == 0 {
        return "Never asked.".to_owned();
    }
    let questions = if target.asked == 1 { "question" } else { "questions" };
    let rest: Vec<String> = target.otherwise.iter().map(|(what, n)| format!("{n} {}", safe(what))).collect();
    let all = if target.answered == target.asked { "All " } else { "" };
    let body = if all.is_empty() {
        format!("{} of {} {questions} answered", target.answered, target.asked)
    } else {
        format!("{all}{} {questions} answered", target.asked)
    };
    if rest.is_empty() { format!("{body}.") } else { format!("{body}; otherwise: {}.", rest.join(", ")) }
}

/// How quickly, in a sentence; `None` where no time was taken.
pub fn times(target: &TargetView) -> Option<String> {
    let [least, median, p95, most] = target.rtt_ms?;
    Some(format!(
        "Half within {}, 95 in 100 within {}; quickest {}, slowest {}.",
        millis(median),
        millis(p95),
        millis(least),
        millis(most)
    ))
}

fn requirements(t: &mut Text, s: &Snapshot) {
    if s.requirements.is_empty() {
        return;
    }
    t.head("Requirement by requirement");
    if let Some(left_out) = left_out(s) {
        t.say(left_out);
    }
    for r in &s.requirements {
        t.item(&format!("{}: {}.", words::capital(&safe(&r.name)), words::standing(r.standing)));
        t.under(&format!("Asks for: {}", sentence(&r.asks)));
        t.under(&format!("Seen: {}", sentence(&r.measured)));
        for line in how_it_stands(r, s.watch.observed_s) {
            t.under(&line);
        }
        t.under(&format!("Source: {}", sentence(&r.source)));
    }
}

/// What the requirements were not held against, where there is any of it.
pub fn left_out(s: &Snapshot) -> Option<&'static str> {
    (!s.mend.is_empty()).then_some("Outages that somebody at the site or the station can mend are left out of these.")
}

/// The odds that a requirement holds, and how long it takes to show, in sentences.
pub fn how_it_stands(r: &Requirement, seen_s: f64) -> Vec<String> {
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
            out.push(format!("No watch shorter than {} could show it, however well it goes.", words::days(least)));
        }
        _ => {}
    }
    out
}

fn identity(s: &Snapshot, clock: &Clock<'_>, zone: &TimeZone) -> String {
    let ended = match &s.watch.ended {
        Some(how) => format!("It ended: {}", sentence(how)),
        None => "It was still running, or was cut off.".to_owned(),
    };
    format!(
        "Site {}, from {} to {}. {ended} {} pathproof {}, format {}.",
        safe(&s.site),
        words::full_time(s.wall(0.0), zone),
        words::full_time(s.wall(s.watch.elapsed_s), zone),
        clock.explained(),
        safe(&s.version),
        s.format
    )
}
