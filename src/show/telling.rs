//! The end of a survey told in plain text, for a terminal, a mail or a work order.
//!
//! Decides order and wording: the verdict first, then what it rests on, what to do, what happened, what was not seen,
//! the figures, the requirements, the cautions. Nothing here is judged anew.

use super::words::{self, Clock, millis, safe, span, wrap};
use crate::snapshot::{Snapshot, TargetView, Trouble, VerdictKind};
use jiff::tz::TimeZone;

/// The whole result as text of at most `width` columns, times in `zone`. Ends with a newline.
pub fn verdict(s: &Snapshot, zone: &TimeZone, width: usize) -> String {
    let clock = Clock::new(s, zone);
    let mut t = Text { lines: Vec::new(), width: width.max(30) };
    opening(&mut t, s);
    mending(&mut t, s);
    happened(&mut t, s, &clock);
    unseen(&mut t, s);
    figures(&mut t, s);
    requirements(&mut t, s);
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
    t.say(&words::how_sure(v.confidence));
    t.say(&words::watched(s));
    if s.practice {
        t.say("This was the practice site: a virtual home with scripted faults, not a real line.");
    }
    if let Some(more) = words::more(v.needs_s) {
        t.say(&more);
    }
    if v.kind == VerdictKind::KeepWatching || !v.safer_today.is_empty() {
        t.head("If you must decide today");
        t.say(&format!("{} {}", sentence(&v.safer_today), rests_on(&v.safer_because)));
    }
    if !v.reasons.is_empty() {
        t.head("Why");
        for r in &v.reasons {
            t.item(&safe(r));
        }
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
    for trouble in &s.troubles {
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

/// The evidence lists of a trouble that hold something, with their headings.
pub fn evidence(trouble: &Trouble) -> impl Iterator<Item = (&'static str, &Vec<String>)> {
    [
        ("For it", &trouble.evidence_for),
        ("Against it", &trouble.evidence_against),
        ("Not excluded", &trouble.not_excluded),
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
        format!("The path could not deliver. {}", words::station(trouble.station_would_know))
    } else {
        "The path still carried.".to_owned()
    };
    let who = match trouble.who.as_str() {
        "nobody" => "Nobody needs to act.".to_owned(),
        who => format!("Whose job: {}.", lower_first(&words::who(who))),
    };
    vec![
        format!("From {} {until}{lasted}.", clock.edge(trouble.start_s)),
        effect,
        format!(
            "Began in: {}. Cause: {}{}. {who}",
            words::lane(trouble.lane).to_lowercase(),
            safe(&trouble.cause),
            words::sureness(Some(trouble.confidence)).map(|sure| format!(", {sure}")).unwrap_or_default(),
        ),
    ]
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
        t.under(&format!("{}{}", answered(target), times(target).map(|t| format!(" {t}")).unwrap_or_default()));
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
    for r in &s.requirements {
        t.item(&format!("{}: {}.", safe(&r.name), words::standing(r.standing)));
        t.under(&format!("Asks: {}", sentence(&r.asks)));
        t.under(&format!("Measured: {}", sentence(&r.measured)));
        if let Some(more) = words::more(r.needs_s) {
            t.under(&more);
        }
        t.under(&format!("Source: {}", sentence(&r.source)));
    }
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
