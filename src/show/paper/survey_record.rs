//! The survey record: what an installer hands over, defends, and keeps in the customer file.
//!
//! Decides what stands in it and in which order: the verdict and what it rests on, requirement by requirement, what was
//! mended and proved, power, drills, the site, what was not seen, cautions, and the offer of a cellular backup with places
//! to sign. Judges nothing.

use super::part::{self, sentence};
use super::{Blocks, Given, Kind, Paper, mask};
use crate::judge::Cause;
use crate::show::picture;
use crate::show::say::survey::{self as say, label};
use crate::show::words::{self, Clock, full_time, safe};
use crate::snapshot::{Mend, Snapshot, Trouble};
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
    let mut paper = Paper::new(Kind::SurveyRecord, say::KICKER, &say::title(&safe(&s.site)));
    let p = &mut paper.blocks;
    p.lead(&words::verdict(s)).say(sentence(&s.verdict().sentence));
    part::sure(p, s);
    part::reasons(p, s);
    part::today(p, s);
    part::wrong(p, s);
    part::what_could_change(p, s);
    part::requirements(p, s);
    part::weighed(p, s);
    p.part("mended", say::MENDED);
    let faults = mended(s);
    if faults.is_empty() {
        p.say(say::NOTHING_MENDED);
    }
    part::faults(p, &["State"], faults);
    power_sheet(p, power);
    if s.ruling.as_ref().is_none_or(|r| r.drills.is_empty()) {
        p.part("drills", say::DRILLS).say(say::NO_DRILLS);
    }
    part::answers(p, s);
    p.part("happened", say::HAPPENED).say(words::troubles(s)).say(clock.explained());
    p.picture(picture::lanes(s, given.zone, 640));
    part::happened(p, s, &clock);
    pictures(p, given, power);
    site(p, given, entered);
    part::unseen(p, s);
    part::figures(p, s);
    part::cautions(p, s);
    p.part("record", say::RECORD).pairs(identity(given));
    p.page();
    p.part("offer", say::OFFER).say(say::OFFER_ABOUT).say(words::verdict(s));
    p.list(s.verdict().if_wrong.iter().map(|w| sentence(w)));
    p.sign(&say::CHOICES, &say::SIGNERS);
    paper
}

/// Faults that can be mended: those of the record's troubles, one row a cause, and what is to be mended besides.
fn mended(s: &Snapshot) -> Vec<(Mend, Option<String>)> {
    let mut out = Vec::new();
    let mut told: Vec<Cause> = Vec::new();
    for t in s.troubles.iter().filter(|t| t.cause.mendable()) {
        if told.contains(&t.cause) {
            continue;
        }
        told.push(t.cause);
        let all: Vec<&Trouble> = s.troubles.iter().filter(|o| o.cause == t.cause).collect();
        let last = all.last().copied().unwrap_or(t);
        let open = all.iter().any(|o| o.end_s.is_none());
        let ended = all.iter().filter_map(|o| o.end_s).map(|e| e[1]).fold(0.0, f64::max);
        let asked = s.mend.iter().any(|m| m.cause == Some(t.cause));
        let fault = Mend {
            cause: Some(t.cause),
            what: last.sentence.clone(),
            who: last.who,
            step: last.step.clone(),
            proof: last.proof.clone(),
        };
        out.push((fault, Some(say::mended(open, asked, (s.watch.elapsed_s - ended).max(0.0)))));
    }
    let apart = s.mend.iter().filter(|m| m.cause.is_none_or(|c| !told.contains(&c)));
    out.extend(apart.map(|m| (m.clone(), Some(say::TO_MEND.to_owned()))));
    out
}

fn power_sheet(p: &mut Blocks, power: &Power) {
    p.part("power", say::POWER);
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

fn pictures(p: &mut Blocks, given: &Given, power: &Power) {
    let s = given.snapshot;
    p.part("pictures", say::PICTURES);
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

fn site(p: &mut Blocks, given: &Given, entered: &Entered) {
    let bare = given.origin.unmasked;
    p.part("site", say::SITE);
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

/// Which record it is, with what proves that it is this one.
fn identity(given: &Given) -> Vec<(&'static str, String)> {
    let o = given.origin;
    let mut out = part::identity(given.snapshot, given.zone);
    out.extend(o.made.map(|at| (label::MADE, full_time(at, given.zone))));
    out.extend(o.record.iter().map(|f| (label::FILE, safe(f))));
    if o.record.is_some() || o.sha256.is_some() {
        out.push((label::SHA256, o.sha256.clone().unwrap_or_else(|| say::NO_HASH.to_owned())));
    }
    out.extend(o.plan_sha256.iter().map(|h| (label::PLAN, h.clone())));
    out.extend(o.boot.iter().map(|b| (label::BOOT, safe(b))));
    out
}
