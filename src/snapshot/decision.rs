//! The choice for today in four lines, the same in every form: the choice and its odds; hours and money; a cut line and
//! mains; what would change it. Words only.

use super::{OutlookView, figures, odds, words};
use crate::judge::choice::{Basis, Choice};
use crate::judge::{Judge, Judgement, Micros, Stands};

/// The four lines; empty where nothing may be or can be chosen.
pub(super) fn lines(j: &Judgement, judge: &Judge, outlook: Option<&OutlookView>) -> Vec<String> {
    let Some(choice) = j.decided.choice else { return Vec::new() };
    let mut out = vec![chosen(j, choice)];
    out.extend(outlook.map(|o| hours(o, judge)));
    out.push(format!("{} {}", cut(judge), mains(judge)));
    out.push(turning(j, choice));
    out
}

/// What odds are taken for IP alone, in words.
fn most(j: &Judgement) -> String {
    odds(j.ground.caution.most())
}

fn chosen(j: &Judgement, choice: Choice) -> String {
    let what = match choice {
        Choice::IpAlone => "Today: IP alone, with the network gear on backup power.",
        Choice::WithCellular => "Today: with a cellular backup.",
    };
    let Some(o) = j.decided.odds else {
        return format!("{what} It rests on what was watched alone{}.", if j.decided.beyond { BEYOND } else { "" });
    };
    let misses = format!("the odds are {} that this line misses what is required in the long run", odds(o.misses));
    let why = match (choice, j.decided.basis) {
        (Choice::IpAlone, Some(Basis::Shown)) => format!("What was watched shows it alone; {misses}."),
        (Choice::IpAlone, _) => format!("Likely, not shown: {misses}, and {} is accepted.", most(j)),
        (Choice::WithCellular, Some(Basis::Shown)) => format!("What was watched shows it alone; {misses}."),
        (Choice::WithCellular, _) if o.misses > j.ground.caution.most() => {
            format!("{}; IP alone takes {} or better.", words::capital(&misses), most(j))
        }
        (Choice::WithCellular, _) => format!(
            "{}: good enough for IP alone if lines here fail as published, not yet if they fail more often, or something else still forbids it.",
            words::capital(&misses)
        ),
    };
    format!("{what} {why}")
}

/// Why there are no odds.
const BEYOND: &str = ": no kind of line known of does what was seen here, so there are no odds to give";

fn hours(o: &OutlookView, judge: &Judge) -> String {
    let fee = match judge.settings().known.assumed.monthly_fee {
        Some(fee) => format!("a backup costs {:.0} a year", fee * 12.0),
        None => "what a backup costs was not entered".to_owned(),
    };
    format!(
        "A year without a signal path: IP alone {} to {}, with a backup {} to {}; {fee}.",
        figures::hours_words(o.ip_alone.low),
        figures::hours_words(o.ip_alone.high),
        figures::hours_words(o.with_cellular.low),
        figures::hours_words(o.with_cellular.high)
    )
}

fn cut(judge: &Judge) -> String {
    match judge.settings().supervision {
        Some(interval) => format!("A cut line stays unnoticed for up to {interval}, the station's interval."),
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
        return match (choice, j.decided.basis) {
            (Choice::IpAlone, _) => "More time down than is required turns it; watching on costs nothing.".to_owned(),
            (_, Some(Basis::Likely)) => {
                "No further watch of up to 90 days has a fair chance to turn it; a better line does.".to_owned()
            }
            (_, Some(Basis::Shown)) => {
                "What was seen can't be undone: mend the line or change it, and watch anew.".to_owned()
            }
            _ => "What would turn it is told below, as far as it can be told.".to_owned(),
        };
    };
    let quiet = (f.quiet > Micros::ZERO).then(|| format!("{} without an outage", words::about(f.quiet)));
    let takes = match (f.kind_of_line, quiet) {
        (true, Some(quiet)) => format!("Knowing what kind of line it is, and {quiet},"),
        (true, None) => "Knowing what kind of line it is".to_owned(),
        (false, quiet) => words::capital(&quiet.unwrap_or_default()),
    };
    format!("{takes} would turn it to IP alone; the chance is {}.", odds(f.chance))
}
