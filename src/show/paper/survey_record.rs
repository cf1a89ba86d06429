//! The survey record: what an installer hands over, defends, and keeps in the customer file.
//!
//! Decides what stands in it and in which order: the verdict and what it rests on, requirement by requirement, what was
//! mended and proved, power, drills, the site, what was not seen, cautions, and the offer of a cellular backup with places
//! to sign. Judges nothing.

use super::{Given, Kind, Paper, mask};
use crate::judge::Cause;
use crate::show::answers::{answers, decides_today, odds_today, steadiness};
use crate::show::picture;
use crate::show::say::survey::{self as say, label};
use crate::show::telling::{self, evidence, rests_on, sentence, trouble_sentences};
use crate::show::words::{self, Clock, full_time, safe, span};
use crate::snapshot::{Snapshot, Trouble};
use crate::worksheet::given::Power;
use crate::worksheet::sheet::{Line, sheet};

/// What was entered about a site, label and value, in the order told; nothing of it was measured.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Entered {
    /// What may be shown to anybody who may read the paper.
    pub plain: Vec<(String, String)>,
    /// What tells this site's devices from others': addresses.
    pub personal: Vec<(String, String)>,
    /// What works like a key.
    pub secret: Vec<(String, String)>,
}

/// The survey record of a site of which so much was entered.
pub fn survey_record(given: &Given, entered: &Entered, power: &Power) -> Paper {
    let s = given.snapshot;
    let clock = Clock::new(s, given.zone);
    let mut p = Paper::new(Kind::SurveyRecord, say::KICKER, &say::title(&safe(&s.site)));
    verdict(&mut p, s);
    requirements(&mut p, s);
    p.part(say::MENDED);
    let rows = mended(s);
    if rows.is_empty() {
        p.say(say::NOTHING_MENDED);
    }
    p.table(say::MENDED_ABOUT, &say::MENDED_HEAD, rows);
    power_sheet(&mut p, power);
    more_answers(&mut p, s);
    p.part(say::HAPPENED);
    p.say(words::troubles(s));
    p.say(clock.explained());
    p.picture(picture::lanes(s, given.zone));
    happened(&mut p, s, &clock);
    pictures(&mut p, given, power);
    site(&mut p, given, entered);
    p.part(say::UNSEEN);
    if s.blind.is_empty() {
        p.say(say::ALL_SEEN);
    }
    p.table(
        say::UNSEEN_ABOUT,
        &say::UNSEEN_HEAD,
        s.blind.iter().map(|b| {
            let what = format!("{} Not seen for {}.", sentence(&b.what), span(b.for_s));
            vec![words::lane(b.lane).to_owned(), what, sentence(&b.why), safe(&b.opens)]
        }),
    );
    figures(&mut p, s);
    p.part(say::CAUTIONS);
    p.list(s.cautions.iter().map(|c| safe(c)));
    p.part(say::RECORD);
    p.pairs(identity(given, &clock));
    p.page();
    p.part(say::OFFER);
    p.say(say::OFFER_ABOUT);
    p.say(words::verdict(s));
    p.list(s.verdict.if_wrong.iter().map(|w| sentence(w)));
    p.sign(&say::CHOICES, &say::SIGNERS);
    p
}

fn verdict(p: &mut Paper, s: &Snapshot) {
    let v = &s.verdict;
    p.lead(&words::verdict(s));
    p.say(if v.sentence.is_empty() { String::new() } else { sentence(&v.sentence) });
    p.say(words::how_sure(s).unwrap_or_default());
    p.say(words::watched(s));
    if !v.reasons.is_empty() {
        p.part(say::RESTS_ON);
        p.list(v.reasons.iter().map(|r| sentence(r)));
    }
    if decides_today(s) {
        p.part(say::TODAY);
        p.say(format!("{} {}", sentence(&v.safer_today), rests_on(&v.safer_because)).trim());
        p.say(odds_today(s).unwrap_or_default());
    }
    if !v.if_wrong.is_empty() {
        p.part(say::WRONG);
        p.list(v.if_wrong.iter().map(|w| sentence(w)));
    }
    let more = words::more(v.needs_s).filter(|_| v.could_change.is_empty());
    if !v.could_change.is_empty() || more.is_some() {
        p.part(say::CHANGE);
        p.list(v.could_change.iter().chain(&more).map(|c| sentence(c)));
    }
}

fn requirements(p: &mut Paper, s: &Snapshot) {
    if s.requirements.is_empty() {
        return;
    }
    p.part(say::REQUIREMENTS);
    p.say(telling::left_out(s).unwrap_or_default());
    p.table(
        say::REQUIREMENTS_ABOUT,
        &say::REQUIREMENTS_HEAD,
        s.requirements.iter().map(|r| {
            let stands = telling::how_it_stands(r, s.watch.observed_s);
            let stands = std::iter::once(format!("{}.", words::capital(words::standing(r.standing)))).chain(stands);
            vec![
                words::capital(&safe(&r.name)),
                safe(&r.asks),
                safe(&r.measured),
                stands.collect::<Vec<_>>().join(" "),
                safe(&r.source),
            ]
        }),
    );
}

/// Faults that can be mended: those of the record's troubles, one row a cause, and what is to be mended besides.
fn mended(s: &Snapshot) -> Vec<Vec<String>> {
    let mut out = Vec::new();
    let mut told: Vec<&str> = Vec::new();
    let mendable = |t: &&Trouble| Cause::ALL.iter().any(|c| c.word() == t.cause && c.mendable());
    for t in s.troubles.iter().filter(mendable) {
        if told.contains(&t.cause.as_str()) {
            continue;
        }
        told.push(&t.cause);
        let all: Vec<&Trouble> = s.troubles.iter().filter(|o| o.cause == t.cause).collect();
        let last = all.last().copied().unwrap_or(t);
        let open = all.iter().any(|o| o.end_s.is_none());
        let ended = all.iter().filter_map(|o| o.end_s).map(|e| e[1]).fold(0.0, f64::max);
        let asked = s.mend.iter().any(|m| m.step == last.step);
        out.push(vec![
            sentence(&last.sentence),
            format!("{}: {}", words::who(&last.who), sentence(&last.step)),
            sentence(&last.proof),
            say::mended(open, asked, (s.watch.elapsed_s - ended).max(0.0)),
        ]);
    }
    for m in s.mend.iter().filter(|m| !s.troubles.iter().any(|t| t.step == m.step)) {
        out.push(vec![
            sentence(&m.what),
            format!("{}: {}", words::who(&m.who), sentence(&m.step)),
            sentence(&m.proof),
            say::TO_MEND.to_owned(),
        ]);
    }
    out
}

fn power_sheet(p: &mut Paper, power: &Power) {
    p.part(say::POWER);
    if *power == Power::default() {
        p.say(say::NO_POWER);
        return;
    }
    let sheet = sheet(power);
    p.say(say::POWER_ABOUT);
    p.list(sheet.short.iter().map(|x| safe(x)));
    for part in &sheet.parts {
        let row = |l: &Line| vec![safe(&l.what), safe(&l.result), say::stand(l.stand).to_owned(), l.source.to_owned()];
        p.table(part.title, &say::POWER_HEAD, part.lines.iter().map(row));
    }
    p.picture(picture::ride(power));
    p.list(sheet.cautions);
}

/// Drills, delivery, supervision, the year, what was believed, how sharp the watch was.
fn more_answers(p: &mut Paper, s: &Snapshot) {
    if s.drills.is_empty() {
        p.part(say::DRILLS);
        p.say(say::NO_DRILLS);
    }
    // Every reason stands above already.
    for a in answers(s).into_iter().filter(|a| a.id != "more-reasons") {
        p.part(a.title);
        for line in &a.says {
            p.say(line);
        }
        p.list(&a.list);
    }
}

fn happened(p: &mut Paper, s: &Snapshot, clock: &Clock) {
    let whole = telling::told_in_full(s);
    for t in s.troubles.iter().filter(|t| whole.contains(&t.number)) {
        p.piece(&format!("{}. {}", t.number, safe(&t.sentence)));
        for line in trouble_sentences(t, clock, s.watch.elapsed_s) {
            p.say(line);
        }
        p.pairs(evidence(t).map(|(what, list)| (what, list.iter().map(|e| safe(e)).collect::<Vec<_>>().join("; "))));
    }
    let short = s.troubles.iter().filter(|t| !whole.contains(&t.number));
    p.list(short.map(|t| format!("{}. {}", t.number, telling::told_shortly(t, clock, s.watch.elapsed_s))));
}

fn pictures(p: &mut Paper, given: &Given, power: &Power) {
    let s = given.snapshot;
    p.part(say::PICTURES);
    let mut missing = Vec::new();
    let by_hour = picture::by_hour(s, given.zone);
    if by_hour.is_none() {
        missing.push(say::NO_OUTAGES_DRAWN);
    }
    p.picture(by_hour).picture(picture::by_day(s, given.zone)).picture(picture::cause(s));
    for (drawn, otherwise) in [
        (picture::delivery(s), say::NO_DELIVERY_DRAWN),
        (picture::hours(s), say::NO_HOURS_DRAWN),
        (picture::delay(s), say::NO_DELAY_DRAWN),
        (picture::delay_over_time(s, given.zone), ""),
    ] {
        if drawn.is_none() && !otherwise.is_empty() {
            missing.push(otherwise);
        }
        p.picture(drawn);
    }
    if picture::ride(power).is_none() {
        missing.push(say::NO_CHAIN_DRAWN);
    }
    p.list(missing);
}

fn site(p: &mut Paper, given: &Given, entered: &Entered) {
    let bare = given.origin.unmasked;
    p.part(say::SITE);
    p.say(if bare { say::UNMASKED } else { say::MASKED });
    p.piece(say::ENTERED);
    let plain = entered.plain.iter().map(|(k, v)| (k.clone(), safe(v)));
    let hide = |v: &str, how: fn(&str) -> String| if bare { safe(v) } else { how(&safe(v)) };
    let personal = entered.personal.iter().map(|(k, v)| (k.clone(), hide(v, mask::masked)));
    let secret = entered.secret.iter().map(|(k, v)| (k.clone(), hide(v, mask::secret)));
    p.pairs(plain.chain(personal).chain(secret));
    if !given.snapshot.facts.is_empty() {
        p.piece(say::FOUND);
        p.pairs(given.snapshot.facts.iter().map(|f| (safe(&f.label), hide(&f.value, mask::masked))));
    }
}

fn figures(p: &mut Paper, s: &Snapshot) {
    if s.targets.is_empty() {
        return;
    }
    p.part(say::FIGURES);
    p.table(
        say::FIGURES_ABOUT,
        &say::FIGURES_HEAD,
        s.targets.iter().map(|t| {
            let quickly = [telling::times(t), steadiness(t, s.watch.elapsed_s)].into_iter().flatten();
            let quickly = quickly.collect::<Vec<_>>().join(" ");
            let name = format!("{}, {}", words::capital(&safe(&t.question)), safe(&t.target));
            vec![name, telling::answered(t), if quickly.is_empty() { "No time taken.".to_owned() } else { quickly }]
        }),
    );
}

fn identity(given: &Given, clock: &Clock) -> Vec<(&'static str, String)> {
    let (s, o) = (given.snapshot, given.origin);
    let mut out = vec![
        (label::SITE, safe(&s.site)),
        (label::FROM, full_time(s.wall(0.0), given.zone)),
        (label::TO, full_time(s.wall(s.watch.elapsed_s), given.zone)),
        (label::ENDED, s.watch.ended.as_deref().map_or(say::RUNNING.to_owned(), sentence)),
        (label::CLOCK, clock.explained()),
    ];
    out.extend(o.made.map(|at| (label::MADE, full_time(at, given.zone))));
    out.push((label::BY, format!("pathproof {}, format {}", safe(&s.version), s.format)));
    out.extend(o.record.iter().map(|f| (label::FILE, safe(f))));
    if o.record.is_some() || o.sha256.is_some() {
        out.push((label::SHA256, o.sha256.clone().unwrap_or_else(|| say::NO_HASH.to_owned())));
    }
    out.extend(o.plan_sha256.iter().map(|h| (label::PLAN, h.clone())));
    out.extend(o.boot.iter().map(|b| (label::BOOT, safe(b))));
    out
}
