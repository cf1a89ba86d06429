//! What the week's letter says. Short sentences, no term of the trade, no share without of what and how long.

use super::{and, count, length, times};
use crate::judge::{Actor, Cause};
use crate::snapshot::{VerdictKind, odds};
use crate::words::{Side, causes};

/// Over the title.
pub const KICKER: &str = "Your alarm and your internet";
/// Headings.
pub const DO: &str = "What to do";
/// Heading.
pub const HAPPENED: &str = "What happened";
/// Heading.
pub const NOTICED: &str = "Would the alarm company have noticed?";
/// Heading.
pub const THROUGH: &str = "Would an alarm have got through?";
/// Heading.
pub const SURE: &str = "How sure is this?";
/// Heading.
pub const LIMITS: &str = "What this letter cannot tell you";
/// Heading.
pub const KEPT: &str = "What was kept, and how to delete it";
/// Said of the practice site.
pub const PRACTICE: &str = "This is the practice site: a made-up home, not a real line.";
/// What a cellular backup is.
pub const CELLULAR: &str = "A cellular backup is a second way out for alarms, over the mobile phone network.";

/// What the answer rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rests {
    /// What was watched, alone.
    Seen,
    /// The odds over such lines, after what was watched.
    Odds,
    /// How long the path stands without mains.
    Power,
    /// What kind of line it is, which is not known.
    Kind,
}

/// What to ask the provider where the kind of line would help.
const ASK_KIND: &str = "Ask your internet provider what kind of line you have: fibre, cable, DSL, radio or satellite. Tell your installer.";

/// The title: the answer in a few words.
pub const fn title(kind: VerdictKind, scope: bool) -> &'static str {
    match kind {
        _ if !scope => "We cannot judge this alarm system",
        VerdictKind::IpAlone => "Your internet alone is good enough",
        VerdictKind::MendFirst => "Something should be mended first",
        VerdictKind::AddCellular => "Your alarm needs a second way out",
        VerdictKind::KeepWatching => "It is too early to say",
    }
}

/// The same as a sentence or two.
pub fn lead(kind: VerdictKind, scope: bool, rests: Rests, needs: Option<String>) -> String {
    match kind {
        _ if !scope => "Your alarm system signals more than burglary. For that, only the authority in charge can say what is enough.".into(),
        VerdictKind::IpAlone if rests == Rests::Odds => {
            "For burglar alarms, your internet line can most likely carry the signals by itself. This rests on what was seen and on how often lines like yours fail.".into()
        }
        VerdictKind::IpAlone => {
            "For burglar alarms, your internet line can carry the signals by itself. It was watched long enough to say so.".into()
        }
        VerdictKind::MendFirst => {
            "Something that can be mended gets in the way of your alarm. Mend that before anyone judges the line.".into()
        }
        VerdictKind::AddCellular if rests == Rests::Power => {
            format!("Without mains power your internet stops too soon, and a battery at home cannot help. {CELLULAR}")
        }
        VerdictKind::AddCellular if rests == Rests::Odds => {
            format!("Many internet lines fail too often to carry alarms by themselves. Too little was seen of yours to say that it is better. {CELLULAR}")
        }
        VerdictKind::AddCellular => {
            format!("Your internet line is not good enough to carry alarms by itself. {CELLULAR}")
        }
        VerdictKind::KeepWatching => match needs {
            Some(n) => format!("Not enough was seen yet to judge your internet line. It takes about {n} more."),
            None if rests == Rests::Kind => "It is not known what kind of internet line you have. That decides whether it is good enough for alarms.".into(),
            None => "Not enough was seen yet to judge your internet line.".into(),
        },
    }
}

/// From when to when.
pub fn period(from: &str, to: &str) -> String {
    if from == to { format!("This letter is about {from}.") } else { format!("This letter is about {from} to {to}.") }
}

/// How much of it was seen.
pub fn watched(of_s: f64, seen_s: f64) -> String {
    let unseen = of_s - seen_s;
    if of_s <= 0.0 {
        "Nothing was watched yet.".into()
    } else if seen_s < 1.0 {
        format!("In the {} nothing of the path was seen.", length(of_s))
    } else if unseen < 60.0 || unseen < 0.002 * of_s {
        format!("The path was watched the whole time, {}.", length(of_s))
    } else {
        format!(
            "The path was watched for {} of the {}. What happened in the other {} is unknown.",
            length(seen_s),
            length(of_s),
            length(unseen)
        )
    }
}

/// That nothing was cut.
pub fn no_outage(seen_s: f64) -> String {
    format!("In {} of watching, the path was never cut.", length(seen_s))
}

/// How often it was cut, how long in all, and the longest.
pub fn outages(n: usize, down_s: f64, longest_s: f64, when: &str, seen_s: f64) -> String {
    let seen = length(seen_s);
    if n == 1 {
        return format!("In {seen} of watching, the path was cut once: for {}, on {when}.", length(down_s));
    }
    format!(
        "In {seen} of watching, the path was cut {}, {} in all. The longest cut took {}, on {when}.",
        times(n),
        length(down_s),
        length(longest_s)
    )
}

/// One outage as a line.
pub fn outage(when: &str, took_s: f64, over: bool, cause: Cause) -> String {
    let took = if over { format!("for {}", length(took_s)) } else { format!("{} so far, not over", length(took_s)) };
    let row = causes::row(cause);
    format!("{when}, {took}: {} ({}).", row.short, causes::side(row.side))
}

/// That there were more.
pub fn more(n: usize) -> String {
    format!("There {} {n} more, none longer.", if n == 1 { "was" } else { "were" })
}

/// Troubles that cut nothing.
pub fn others(n: usize) -> String {
    let (it, did) = if n == 1 { ("it", "was") } else { ("they", "were") };
    format!(
        "There {did} {} that did not cut the path. The record on the watching device tells what {it} {did}.",
        count(n as u64, "other trouble", "other troubles")
    )
}

/// On the site's own waiting time: how many of the outages were noticed.
pub fn noticed(waits_s: f64, all: usize, known: usize, open: usize) -> String {
    let waits = format!("Your alarm company waits {} before silence tells it anything.", length(waits_s));
    let told = match (all, known, open) {
        (0, ..) => "There was no cut to notice. A cut shorter than that may pass unnoticed.".to_owned(),
        (1, 1, _) => "It would have noticed this cut.".to_owned(),
        (1, 0, 0) => "This cut was shorter, so it may or may not have noticed.".to_owned(),
        (2, 0, 0) => "Both cuts were shorter, so it may or may not have noticed them.".to_owned(),
        (2, 2, _) => "It would have noticed both cuts.".to_owned(),
        (_, 0, 0) => format!("All {all} cuts were shorter, so it may or may not have noticed them."),
        (_, n, 0) if n == all => format!("It would have noticed all {all} cuts."),
        (_, n, 0) => format!(
            "It would have noticed {n} of the {all} cuts for certain; the others were shorter, so it may or may not have."
        ),
        (_, n, open) => {
            format!("It would have noticed {n} of the {all} cuts for certain; for {open} it cannot be told.")
        }
    };
    format!("{waits} {told}")
}

/// Where that waiting time is not known: from which one on what would have been noticed.
pub fn noticed_unknown(lengths_s: Option<(f64, f64)>) -> String {
    let ask = "How long your alarm company waits in silence is not known here. Ask them.";
    match lengths_s {
        None => format!("{ask} There was no cut to notice."),
        Some((short, long)) if long - short < 1.0 => {
            format!("{ask} If it waits longer than {}, it may have noticed nothing.", length(long))
        }
        Some((short, long)) => format!(
            "{ask} If it waits longer than {}, it may have noticed nothing. If it waits less than {}, it noticed every cut.",
            length(long),
            length(short)
        ),
    }
}

/// Alarms raised at random moments: how many would not have got through.
pub fn through(within_s: f64, missed: [f64; 2], seen_s: f64) -> String {
    let of = format!("Think of 1000 alarms, raised at random moments in all {} of watching.", length(seen_s));
    let [least, most] = missed.map(per_thousand);
    let within = length(within_s);
    if missed[1] <= 0.0 {
        format!("{of} All of them would have got through within {within}.")
    } else if least == most {
        format!("{of} {most} of them would not have got through within {within}.")
    } else {
        format!("{of} Between {least} and {most} of them would not have got through within {within}.")
    }
}

/// That it can't be said.
pub const THROUGH_UNKNOWN: &str = "Nothing was seen of the path, so this cannot be said.";
/// What it is not.
pub const THROUGH_LIMIT: &str = "This is about your internet only. Your alarm panel was not tested.";

fn per_thousand(share: f64) -> String {
    match share * 1_000.0 {
        x if !x.is_finite() => "an unknown number".to_owned(),
        x if x <= 0.0 => "none".to_owned(),
        x if x < 0.1 => "fewer than 0.1".to_owned(),
        x if x < 10.0 => format!("{x:.1}"),
        x => format!("{x:.0}"),
    }
}

/// How sure, and of what.
pub fn sure(kind: VerdictKind, rests: Rests, p: Option<f64>, seen_s: f64) -> String {
    let seen = length(seen_s);
    let by = if rests == Rests::Odds { ", and by how often such lines fail" } else { "" };
    match (kind, p.filter(|p| p.is_finite())) {
        (VerdictKind::IpAlone, Some(p)) => {
            format!(
                "This goes by all {seen} of watching{by}. The odds are {} that your line keeps to the limits for an alarm line.",
                odds(p)
            )
        }
        (VerdictKind::AddCellular, _) if rests == Rests::Power => {
            "This rests on how long your internet runs without mains power. Watching longer does not change it."
                .to_owned()
        }
        (VerdictKind::AddCellular, Some(p)) if p < 1.0 => {
            format!(
                "This goes by all {seen} of watching{by}. The odds are {} that your line does not keep to the limits for an alarm line.",
                odds(p)
            )
        }
        (VerdictKind::AddCellular, _) => format!("The limits for an alarm line did not hold in {seen} of watching."),
        (VerdictKind::MendFirst, Some(p)) => {
            format!("The odds are {} that this is what was wrong in {seen} of watching.", odds(p))
        }
        _ if seen_s < 1.0 => "Not sure at all: nothing was seen in the whole time.".to_owned(),
        _ => format!("Not sure at all yet: {seen} of watching is too little."),
    }
}

/// What to do, and who does it.
pub fn act(who: Actor, what: &str, step: &str) -> Vec<String> {
    let told = match who {
        Actor::Customer => format!("You can do this yourself. {step}"),
        Actor::Installer => "Call your installer and show them this letter. The record on the watching device tells them how to mend it.".to_owned(),
        Actor::Provider => "Call your internet provider and give them the times below.".to_owned(),
        Actor::Station => "Call your alarm company and show them this letter.".to_owned(),
        Actor::Nobody => "Nobody needs to do anything.".to_owned(),
    };
    vec![format!("What is wrong: {what}."), told]
}

/// What to do where there is nothing to mend.
///
/// `seen_s`: how long anything of the path was seen.
pub fn nothing_to_mend(
    kind: VerdictKind,
    scope: bool,
    rests: Rests,
    seen_s: f64,
    needs: Option<String>,
) -> Vec<String> {
    match kind {
        _ if !scope => vec!["Ask your alarm company which rules your system must follow.".into()],
        VerdictKind::IpAlone => vec![
            "Ask your installer to check that your router and the alarm keep working in a power cut. This answer rests on that.".into(),
            "Call your alarm company before you change your router or your internet provider. Ask for a test signal afterwards.".into(),
        ],
        VerdictKind::AddCellular => {
            vec!["Ask your alarm company for a cellular backup, and for its price in writing.".into()]
        }
        _ => {
            let leave = match needs {
                Some(n) => format!("Leave the watching device on for about {n} more."),
                None if rests == Rests::Kind => ASK_KIND.to_owned(),
                None if seen_s < 1.0 => {
                    "Call your installer: the watching device does not see the way your alarms take.".to_owned()
                }
                None => "Leave the watching device on.".to_owned(),
            };
            let today = format!("If you must decide today, add a cellular backup. {CELLULAR}");
            vec![leave, today]
        }
    }
}

/// What this can't tell.
pub fn limits(watched_s: f64) -> Vec<String> {
    let mut out = vec![
        "This is about burglar alarms only, never about fire, gas, medical or hold-up alarms.".to_owned(),
        "It did not test your alarm panel, your alarm company or the police.".to_owned(),
    ];
    if (1.0..300.0 * 86_400.0).contains(&watched_s) {
        out.push(format!("Watching for {} is not a year. Power cuts are rare and may not show.", length(watched_s)));
    }
    out.push("A cellular backup needs power too.".to_owned());
    out.push("Do not give up a monitored alarm because of this letter alone.".to_owned());
    out
}

/// What was kept.
pub const WHAT_KEPT: &str = "Kept are the times of small test questions, what came back, and facts about your router. \
    Not kept: what you do on the internet, a list of your devices, sound or pictures. \
    The record stays on the watching device until somebody deletes it.";

/// How to delete it.
pub fn delete(record: Option<&str>) -> String {
    match record {
        Some(name) => format!(
            "To delete all of it, stop the watch on that device. Then, where the record is kept, type \"pathproof forget {name} --all\"."
        ),
        None => "To delete all of it, stop the watch on that device. Then type \"pathproof forget RECORD --all\", with the name of the record.".to_owned(),
    }
}

/// Whose the times are.
pub fn clock(zone: &str, synced: Option<bool>) -> String {
    match synced {
        Some(true) => format!("Times are in {zone}."),
        Some(false) => {
            format!("Times are in {zone}. The watching device's clock was not set by the network, so they may be off.")
        }
        None => format!("Times are in {zone}. Whether the watching device's clock was right is not known."),
    }
}

/// The sides on which the outages lay, and what that leaves open.
pub fn sides(all: &[(Side, usize)]) -> String {
    let told: Vec<String> = all.iter().map(|(s, n)| format!("{} {}", causes::side(*s), times(*n))).collect();
    format!("Where it lay: {}.", and(&told))
}
