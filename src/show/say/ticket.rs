//! What a ticket says. For a dealer's desk: terms of the trade are allowed, guesses are not.

use super::count;
use crate::judge::{Actor, Cause, Lane};
use crate::show::words::{self, span};
use crate::snapshot::LaneState;
use crate::words::causes::named;

/// Over the title.
pub const KICKER: &str = "Tickets for the dealer";
/// Heading of the overview.
pub const OVERVIEW: &str = "All tickets";
/// What it shows.
pub const OVERVIEW_ABOUT: &str =
    "Open ones first, then what comes again, what lasts, and outages from the latest back.";
/// Its columns.
pub const OVERVIEW_HEAD: [&str; 4] = ["Ticket", "What", "State", "Who acts"];
/// Pieces of a ticket.
pub const TIME: &str = "Time";
/// Piece.
pub const EVIDENCE: &str = "Evidence";
/// Piece.
pub const EFFECT: &str = "Would the station have known";
/// What its table shows.
pub const EFFECT_ABOUT: &str = "The longest outage of this ticket against the site's interval and common ones.";
/// Its columns.
pub const EFFECT_HEAD: [&str; 3] = ["Supervision interval", "Where it is used", "Noticed"];
/// Piece.
pub const HISTORY: &str = "History at this site";
/// Its columns.
pub const HISTORY_HEAD: [&str; 3] = ["Up to the record's end", "All outages", "Of this cause"];
/// Piece.
pub const ACT: &str = "Who acts";
/// Piece.
pub const PROVIDER: &str = "For the internet provider, to copy";
/// Piece.
pub const CODES: &str = "Event codes the station may have seen";
/// Its columns.
pub const CODES_HEAD: [&str; 3] = ["Meaning", "Contact ID", "Two-letter code, new and restored"];
/// What its table shows.
pub const CODES_ABOUT: &str = "To compare with the station's log.";
/// What the table of lanes shows.
pub const LANES_ABOUT: &str = "Each layer of the path meanwhile, from the inside out.";
/// What the table of outages shows.
pub const OUTAGES_ABOUT: &str = "Outage by outage.";
/// What the table of times shows.
pub const TIMES_ABOUT: &str = "Each time it was seen.";
/// Columns of the lanes.
pub const LANES_HEAD: [&str; 4] = ["Lane", "Meanwhile", "Lost from", "Back from"];
/// Columns of the outages of a storm.
pub const OUTAGES_HEAD: [&str; 4] = ["From", "To", "Length", "What"];

/// The title.
pub fn title(site: &str) -> String {
    format!("Site {site}: tickets")
}

/// How many there are.
pub fn lead(all: usize, open: usize, shown: usize) -> String {
    let n = count(all as u64, "ticket", "tickets");
    let told = if shown < all { format!(" The {shown} that matter most are told in full.") } else { String::new() };
    match (all, open) {
        (0, _) => "Nothing to act on: no outage and no lasting condition in this record.".into(),
        (_, 0) => format!("{n}, none open.{told}"),
        (_, open) => format!("{n}, {open} open.{told}"),
    }
}

/// What the record covers.
pub fn covers(from: &str, to: &str, elapsed_s: f64, seen_s: f64) -> String {
    format!("From {from} to {to}: {}, of which the path was seen for {}.", span(elapsed_s), span(seen_s))
}

/// The one line of an outage.
pub fn outage_line(sentence: &str, from: &str, to: Option<&str>, down_s: f64) -> String {
    match to {
        Some(to) => format!("{sentence} {from} to {to}; path down {}.", span(down_s)),
        None => format!("{sentence} Since {from}, not over; path down {} so far.", span(down_s)),
    }
}

/// The one line of a storm.
pub fn storm_line(n: usize, worst: &str, from: &str, to: Option<&str>, down_s: f64) -> String {
    let until = to.map_or("and not over".to_owned(), |to| format!("to {to}"));
    format!("{n} outages close together, {from} {until}; path down {} in all. The longest: {worst}", span(down_s))
}

/// The one line of what comes again and again.
pub fn recurring_line(n: usize, days: f64, sentence: &str) -> String {
    format!(
        "{} in {days:.0} days. The longest: {sentence}",
        count(n as u64, "ticket of one cause", "tickets of one cause")
    )
}

/// The one line of a condition.
pub fn condition_line(sentence: &str, n: usize) -> String {
    if n > 1 {
        format!("{sentence} Seen {n} times; the path carried.")
    } else {
        format!("{sentence} The path carried.")
    }
}

/// Labels of the pairs.
pub mod label {
    /// Label.
    pub const SITE: &str = "Site";
    /// Label.
    pub const STATE: &str = "State";
    /// Label.
    pub const CAUSE: &str = "Cause";
    /// Label.
    pub const NOT_EXCLUDED: &str = "Not excluded";
    /// Label.
    pub const FROM: &str = "From";
    /// Label.
    pub const TO: &str = "To";
    /// Label.
    pub const DOWN: &str = "Path down";
    /// Label.
    pub const DELAY: &str = "Noticed by the watch";
    /// Label.
    pub const CLOCK: &str = "Clock";
    /// Label.
    pub const SEEN: &str = "What was seen";
    /// Label.
    pub const FOR: &str = "For it";
    /// Label.
    pub const AGAINST: &str = "Against it";
    /// Label.
    pub const NEXT: &str = "Next step";
    /// Label.
    pub const WHO: &str = "Who";
    /// Label.
    pub const VISIT: &str = "Visit";
    /// Label.
    pub const GUARD: &str = "Guard or police";
    /// Label.
    pub const PROOF: &str = "Closed when";
    /// Label.
    pub const PATTERN: &str = "Pattern";
    /// Label.
    pub const TICKETS: &str = "Its tickets";
    /// Label.
    pub const MADE_BY: &str = "Made by";
    /// Label.
    pub const RECORD: &str = "Record, SHA-256";
    /// Label.
    pub const PLAN: &str = "Plan, SHA-256";
    /// Label.
    pub const BOOT: &str = "Boot of the device";
    /// Label.
    pub const REFERENCE: &str = "To fill in";
}

/// What a desk fills in.
pub const REFERENCE: &str = "station's signal time; codes it really had; provider's ticket number; who took it, when";

/// Its state.
pub fn state(open: bool, quiet_s: f64) -> String {
    if open {
        "open: it lasts at the record's end".into()
    } else if quiet_s < 60.0 {
        "over".into()
    } else {
        format!("over; nothing of the kind in the {} of record since", span(quiet_s))
    }
}

/// Its cause with how sure that is.
pub fn cause(cause: Option<Cause>, confidence: f64) -> String {
    let Some(cause) = cause else { return NO_TROUBLE.to_owned() };
    let named = words::capital(&named(cause));
    words::sureness(Some(confidence)).map_or_else(|| named.clone(), |sure| format!("{named}: {sure}"))
}

/// In the place of a cause, where nothing went wrong yet.
const NO_TROUBLE: &str = "None seen yet: what is known of the site without mains";

/// An edge in local time with UTC.
pub fn edge(local: &str, utc: &str, slack_s: f64) -> String {
    if slack_s < 0.05 { format!("{local} ({utc})") } else { format!("{local} ({utc}), known to {}", span(slack_s)) }
}

/// How long the path was down, with the bounds of its edges.
pub fn down([least, middle, most]: [f64; 3]) -> String {
    if most - least < 0.1 {
        span(middle)
    } else {
        format!("{} (between {} and {})", span(middle), span(least), span(most))
    }
}

/// How late the watch itself notices.
pub fn delay(every_s: f64, run: u32) -> String {
    format!(
        "after {run} unanswered questions in a row, asked each {}: within about {}",
        span(every_s),
        span(every_s * f64::from(run))
    )
}

/// Whether the clock can be trusted.
pub const fn clock(synced: Option<bool>) -> &'static str {
    match synced {
        Some(true) => "set by network time when the device last started to watch; lengths run on its own clock",
        Some(false) => {
            "not set by network time when the device last started to watch: wall times may be off; lengths are not affected"
        }
        None => "not known whether it was set by network time; lengths are not affected",
    }
}

/// A lane's state over a span.
pub fn lane(lane: Lane, state: LaneState) -> String {
    match state {
        LaneState::Good => format!("{} throughout", words::state(lane, state)),
        LaneState::Blind => words::state(lane, state).to_owned(),
        LaneState::Bad | LaneState::Strained => words::state(lane, state).to_owned(),
    }
}

/// Whether a station would have known.
///
/// `chance`: where it is known how often the communicator checks in, at least and at most.
pub fn known(noticed: Option<bool>, chance: Option<[f64; 2]>) -> String {
    let percent = |p: f64| (p * 100.0).round();
    match (noticed, chance) {
        (Some(true), _) => "yes".to_owned(),
        (Some(false), Some([_, most])) if most <= 0.0 => {
            "no: shorter than the grace after a missed check-in".to_owned()
        }
        (Some(false), Some([least, most])) if most - least < 0.01 => match percent(most) {
            under if under < 1.0 => "may or may not: a chance under 1 %".to_owned(),
            p => format!("may or may not: a chance of about {p} %"),
        },
        (Some(false), Some([least, most])) => {
            format!("may or may not: a chance of {} to {} %", percent(least), percent(most))
        }
        (Some(false), None) => "may or may not: it was shorter".to_owned(),
        (None, _) => "not to be told from its edges".to_owned(),
    }
}

/// Whether somebody must go there, and why not.
pub const fn visit(who: Actor) -> &'static str {
    match who {
        Actor::Provider => "None: within the site everything answered, so a technician there mends nothing.",
        Actor::Station => "None: the site's own line worked. The station looks at its receiver first.",
        Actor::Customer => "None yet: the customer can take the next step. Call before anyone drives.",
        Actor::Installer => "Likely: the fault lies inside the site. Try the next step by telephone first.",
        Actor::Nobody => "None: there is nothing to mend.",
    }
}

/// On guards and police.
pub const GUARD: &str = "A lost path alone is no sign of an intrusion and does not rule one out: a cut line looks the same. The station's own policy decides.";

/// A row of the history.
pub fn window(days: u32, covered_s: f64) -> String {
    let whole = f64::from(days) * 86_400.0;
    if covered_s + 1.0 < whole {
        format!("last {days} days (the record holds {} of them)", span(covered_s))
    } else {
        format!("last {days} days")
    }
}

/// How the history is counted.
pub fn history(cause: Cause) -> String {
    format!("Every outage of the record, and those of the cause {} alone.", named(cause))
}

/// Outages of a window.
pub fn counted(n: usize, down_s: f64, longest_s: f64) -> String {
    match n {
        0 => "none".to_owned(),
        1 => format!("1, {}", span(down_s)),
        n => format!("{n}, {} in all, the longest {}", span(down_s), span(longest_s)),
    }
}

/// The lines for the provider.
pub mod provider {
    use super::{count, span};

    /// What this is.
    pub fn opening(zone: &str, clock: &str) -> Vec<String> {
        vec![
            "Outages of one internet connection, measured at the site.".into(),
            format!("Times are in {zone}. Clock: {clock}."),
        ]
    }
    /// One outage.
    pub fn outage(n: usize, from: &str, to: Option<&str>, length_s: f64, slack_s: f64) -> String {
        let edges = if slack_s < 0.05 { String::new() } else { format!(", each end known to {}", span(slack_s)) };
        match to {
            Some(to) => format!("{n}. {from} to {to}, {}{edges}", span(length_s)),
            None => format!("{n}. {from}, not over after {}{edges}", span(length_s)),
        }
    }
    /// What answered meanwhile.
    pub fn ours(good: &[String]) -> String {
        if good.is_empty() {
            "On our side of the line: nothing was seen to answer throughout, so it is not shown to be good.".into()
        } else {
            format!("On our side of the line, good throughout: {}.", good.join(", "))
        }
    }
    /// What did not.
    pub fn dies(lost: &[String]) -> String {
        if lost.is_empty() {
            "Where it stops: not seen.".into()
        } else {
            format!("Where it stops: lost meanwhile were {}.", lost.join(", "))
        }
    }
    /// Far ends asked.
    pub fn asked(n: usize) -> String {
        format!("Asked beyond the router: {}.", count(n as u64, "far end", "far ends"))
    }
    /// What is asked for.
    pub const PLEASE: &str =
        "Please look at the line, the modem's log and any works at these times, and give us your ticket number.";
    /// What the sender adds.
    pub const ADD: &str = "Customer number (add it yourself, it is not kept here): ";
}

/// That there is nothing for the provider.
pub const NOT_PROVIDER: &str = "Nothing to report to the internet provider: what was seen does not point to its side.";

/// On the codes.
pub const CODES_NOTE: &str = "Quoted from the open event code tables (SIA DC-05 and DC-03, second-hand: as two reference libraries carry them) so that the station's log can be compared; never sent by this program. Pairs differ between systems, and no code for an internet path is fixed: ask which one the station uses. \"Heartbeat lost\" and \"no test received\" are made by the receiver, not by the panel.";

/// What is left out.
pub const PRIVACY: &str = "Left out of this ticket: account number, names, street address, hardware addresses, public addresses, and everything anyone did on the internet. Times of outages can tell when a home was empty: pass them on only to who needs them.";

/// What it rests on.
pub const LIMIT: &str = "Measured from one device on the site's network, which is not the alarm panel: filters and reservations can differ. The panel, the communicator and the station were not tested.";

/// That more are in the JSON.
pub fn rest(n: usize) -> String {
    format!(
        "{} more in the table above; each in full in the JSON of this paper.",
        count(n as u64, "ticket is", "tickets are")
    )
}

/// That only some outages of a storm are told.
pub fn more_outages(n: usize) -> String {
    format!("And {n} more, in the JSON of this paper.")
}
