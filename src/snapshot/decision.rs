//! The choice for today in four lines, the same in every form: the choice and its odds; hours and money; a cut line and
//! mains; what would change it. Words only.

use super::{OutlookView, figures, odds, words};
use crate::judge::belief::WORSE;
use crate::judge::choice::{Bar, Basis, Choice};
use crate::judge::requirement::{Ask, Held, Measured};
use crate::judge::{Judge, Judgement, Micros, Standing, Stands, VerdictKind};

/// The four lines; empty where nothing may be or can be chosen.
pub(super) fn lines(j: &Judgement, judge: &Judge, outlook: Option<&OutlookView>) -> Vec<String> {
    let Some(choice) = j.decided.choice else { return Vec::new() };
    let mut out = vec![chosen(j, choice)];
    out.extend(outlook.map(|o| hours(o, judge)));
    out.push(format!("{} {}", cut(judge), mains(judge)));
    out.push(turning(j, choice));
    out
}

fn chosen(j: &Judgement, choice: Choice) -> String {
    let what = match choice {
        Choice::IpAlone => "Today: IP alone, with the network gear on backup power.",
        Choice::WithCellular => "Today: with a cellular backup.",
    };
    format!("{what} {}", why(j, choice))
}

fn why(j: &Judgement, choice: Choice) -> String {
    if choice == Choice::WithCellular && by_power(j) {
        return "Without mains the path ends too soon, however good the line is.".to_owned();
    }
    let Some(o) = j.decided.odds else {
        return format!("It rests on what was watched alone{}.", if j.decided.beyond { BEYOND } else { "" });
    };
    let misses = format!("the odds are {} that this line misses what is required in the long run", odds(o.misses));
    let most = odds(j.ground.caution.most());
    match (choice, j.decided.basis) {
        (Choice::IpAlone, Some(Basis::Shown)) => format!("What was watched shows it alone; {misses}."),
        (Choice::IpAlone, _) => format!("Likely, not shown: {misses}, and {most} is accepted."),
        (Choice::WithCellular, Some(Basis::Shown)) => shown(j),
        (Choice::WithCellular, _) if o.misses > j.ground.caution.most() => {
            let told = words::capital(&misses);
            if odds(o.misses) == most {
                format!("{told}, a little over what IP alone may have.")
            } else {
                format!("{told}; for IP alone they may be {most} at most.")
            }
        }
        (Choice::WithCellular, _) => format!("{}: {}.", words::capital(&misses), yet(j)),
    }
}

/// What was watched and shows that a requirement does not hold, each with what is allowed.
fn shown(j: &Judgement) -> String {
    let length = |s: f64| Micros((s * 1e6) as i64);
    let watched = words::days(j.evidence.observed());
    let failed = j.held.iter().filter(|h| h.standing == Standing::NotMet);
    let one = |h: &Held| match (&h.measured, h.require.ask) {
        (Measured::Availability { point, .. }, Ask::Availability { at_least, .. }) => {
            let seen = j.evidence.observed().secs();
            let [down, most] = [1.0 - point, 1.0 - at_least].map(|share| length(share * seen));
            format!("the path was down for {down} of the {watched} watched, where {most} would be allowed")
        }
        (Measured::LongOutages { count, .. }, Ask::LongOutages { longer_than_s, at_most, per_days, .. }) => format!(
            "{count} outages longer than {} in {watched}, where {at_most} in {per_days:.0} days are allowed",
            length(longer_than_s)
        ),
        (Measured::Supervision { interval_s, longest_s, .. }, _) => format!(
            "an outage of {}, longer than the station's interval of {}",
            length(*longest_s),
            length(*interval_s)
        ),
        _ => format!("\"{}\" did not hold in the {watched} watched", h.require.name),
    };
    let all: Vec<String> = failed.map(one).collect();
    if all.is_empty() {
        "What was watched shows it alone.".to_owned()
    } else {
        format!("Shown by what was watched: {}.", all.join("; "))
    }
}

/// Why it is not IP alone although the odds at published rates are good enough.
fn yet(j: &Judgement) -> String {
    match j.decided.bar {
        _ if j.kind == VerdictKind::MendFirst => "good enough for IP alone once what is wrong is mended".to_owned(),
        Some(Bar::DownNow) => "good enough for IP alone, but the path is down now".to_owned(),
        Some(Bar::NoWeek) => "good enough for IP alone, but a whole week has not been seen yet".to_owned(),
        Some(Bar::Unseen) => "good enough for IP alone, but too much of the time was not seen".to_owned(),
        Some(Bar::Measured) => "good enough for IP alone, but the path was down longer than is allowed".to_owned(),
        None => format!("good enough if lines here fail as published, not if they fail {WORSE} times as often"),
    }
}

/// Whether it is only how long the path stands without mains that forbids IP alone.
fn by_power(j: &Judgement) -> bool {
    j.ground.stands == Some(Stands::NoBatteryMends) && !j.held.iter().any(|h| h.standing == Standing::NotMet)
}

/// Why there are no odds.
const BEYOND: &str = ": no kind of line known of does what was seen here, so there are no odds to give";

fn hours(o: &OutlookView, judge: &Judge) -> String {
    let fee = match judge.settings().known.assumed.monthly_fee {
        Some(fee) => format!("a backup costs {:.0} a year", fee * 12.0),
        None => "what a backup costs was not entered".to_owned(),
    };
    format!(
        "Hours a year without a signal path: IP alone {} to {}, with a backup {} to {}; {fee}.",
        figures::hours_words(o.ip_alone.low),
        figures::hours_words(o.ip_alone.high),
        figures::hours_words(o.with_cellular.low),
        figures::hours_words(o.with_cellular.high)
    )
}

fn cut(judge: &Judge) -> String {
    match judge.settings().supervision {
        Some(interval) => format!("A cut line stays unnoticed for at most {interval}, the station's interval."),
        None => "How long a cut line stays unnoticed is not known: ask the station for its interval.".to_owned(),
    }
}

fn mains(judge: &Judge) -> &'static str {
    match judge.settings().known.standby.as_ref().map(|s| (s.stands, s.drilled.is_some())) {
        Some((Stands::LongEnough, true)) => "Without mains the path stands as long as it must: a drill measured it.",
        Some((Stands::LongEnough, false)) => "Without mains the path stands as long as it must, as worked out.",
        Some((Stands::BatteryMends, _)) => "Without mains the path ends too soon; a battery mends that.",
        Some((Stands::NoBatteryMends, _)) => "Without mains the path ends too soon, and no battery on site mends that.",
        None => "Whether the path stands without mains is not known.",
    }
}

fn turning(j: &Judgement, choice: Choice) -> String {
    let Some(f) = j.decided.further else {
        let told = match (choice, j.decided.basis) {
            (Choice::IpAlone, _) => {
                "More or longer outages than are allowed would change it; watching on costs nothing."
            }
            _ if by_power(j) => "Only a line that stands longer without mains would change it.",
            (_, Some(Basis::Likely)) => {
                "No further watch of up to 90 days has a fair chance to change it; a better line does."
            }
            (_, Some(Basis::Shown)) => "What was seen can't be undone: mend the line or change it, and watch anew.",
            _ if j.kind == VerdictKind::MendFirst => {
                "Mend what stands under \"What to mend\" first; what is watched after that decides."
            }
            _ => "Only longer watching decides it.",
        };
        return told.to_owned();
    };
    let quiet = (f.quiet > Micros::ZERO).then(|| format!("{} without an outage", words::about(f.quiet)));
    let takes = match (f.kind_of_line, quiet) {
        (true, Some(quiet)) => format!("Knowing what kind of line it is, and {quiet},"),
        (true, None) => "Knowing what kind of line it is".to_owned(),
        (false, quiet) => words::capital(&quiet.unwrap_or_default()),
    };
    format!("{takes} would change it to IP alone; the chance is {}.", odds(f.chance))
}
