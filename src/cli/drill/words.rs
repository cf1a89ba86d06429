//! What the guide through a drill says: cautions first, then what happens, what is to be done, what must be put back.
//! Words only.

use crate::judge::{Drill, Micros};

/// Cautions for every drill.
const ALWAYS: [&str; 5] = [
    "Only with the permission of whoever owns the site and its network, and with everybody there told.",
    "Take the account off dispatch with the monitoring station first: a lost path may raise a trouble signal or send somebody.",
    "While the path is down, an alarm is not delivered by it. Do it while somebody is there.",
    "Fire, carbon monoxide, medical and hold-up systems are out of scope: if any of them, or a telephone for emergency calls, hangs on this network or this supply, do not do this drill.",
    "Local code, the authority having jurisdiction, the equipment's listing and its manual decide. Alarm work needs a licence in many places.",
];

/// Cautions of a drill, most grave first.
pub(super) fn cautions(drill: Drill) -> Vec<&'static str> {
    let own: &[&str] = match drill {
        Drill::MainsOff => &[
            "Make sure nobody depends on this supply: medical equipment, a lift, a pump, a freezer, a running computer.",
            "Take mains away at the plug of the battery backup or by its own switched outlet. Never open a backup unit, an outlet or a distribution board: line voltage is for a licensed electrician, and a unit's outlets stay live without mains.",
            "A battery can't be switched off: a short circuit burns. If a unit gets hot, smells or swells, end the drill and leave it alone.",
            "Leave the alarm panel on its mains and its battery: this drill is about the network gear. Before any wiring at the panel, mains off and battery off, both.",
        ],
        Drill::RouterRestart => &[
            "Everybody on this network loses it for some minutes: calls, work, cameras.",
            "Restart it from its own page or at its plug. Never press its reset button: that may wipe its settings.",
        ],
        Drill::CablePull => &[
            "Pull only a network lead, at its plug and by its latch; never a wire at a terminal, and nothing at the panel: there mains off and battery off come first.",
            "Know which lead it is before you pull it, and that nothing else hangs on it.",
        ],
        Drill::ReceiverPath => &[
            "Only with the station's consent: its receiver sees a connection. Nothing is sent on it, and never an alarm event.",
        ],
    };
    own.iter().chain(&ALWAYS).copied().collect()
}

/// What a drill does, in a few sentences.
pub(super) fn about(drill: Drill, needed: Option<Micros>) -> String {
    match (drill, needed) {
        (Drill::MainsOff, Some(needed)) => format!(
            "Mains is taken from the network gear, and it is timed how long gear and path last on their backup, for {needed} at the most: so long is needed. Then mains is given back and the path's return is timed."
        ),
        (Drill::MainsOff, None) => {
            "Mains is taken from the network gear, and it is timed how long gear and path last on their backup. How long they must is not known (--needed says it), so you end it by giving mains back. Then the path's return is timed.".into()
        }
        (Drill::RouterRestart, _) => "The router is started anew, and it is timed how long the path takes to carry again.".into(),
        (Drill::CablePull, _) => {
            "A network lead is pulled and put back: is that seen, and when does the path carry again?".into()
        }
        (Drill::ReceiverPath, _) => "Nothing is touched: every receiver the site file names is connected to, and it is said which were reached.".into(),
    }
}

/// What is asked when the path is ready.
pub(super) const fn ask_off(drill: Drill) -> &'static str {
    match drill {
        Drill::MainsOff => {
            "Take mains from the network gear now, and press Enter at that moment. (stop ends the drill.)"
        }
        Drill::RouterRestart => {
            "Restart the router now; if you do it at its plug, wait ten seconds before you plug it in again. Press Enter at the moment you restart it or plug it in. (stop ends the drill.)"
        }
        Drill::CablePull => "Pull the lead now, and press Enter at that moment. (stop ends the drill.)",
        Drill::ReceiverPath => "",
    }
}

/// What is asked when enough was seen.
pub(super) const fn ask_on(drill: Drill) -> &'static str {
    match drill {
        Drill::CablePull => "Put the lead back, and press Enter at that moment.",
        _ => "Give mains back to the network gear, and press Enter at that moment.",
    }
}

/// Said when the timing begins.
pub(super) fn timing(drill: Drill, needed: Option<Micros>) -> String {
    match (drill, needed) {
        (Drill::MainsOff, Some(needed)) => {
            format!("Timing, for {needed} at the most. To end it sooner, give mains back and press Enter.")
        }
        (Drill::MainsOff, None) => "Timing. To end it, give mains back and press Enter.".into(),
        _ => "Waiting until it is seen.".into(),
    }
}

/// Said when everything is back in its place.
pub(super) const WAITING_FOR_PATH: &str = "Waiting until the path carries again.";

/// How a long drill stands.
pub(super) fn still(drill: Drill, since: Micros, carries: bool) -> String {
    let path = if carries { "the path carries" } else { "the path does not carry just now" };
    match drill {
        Drill::MainsOff => format!("{since} without mains: {path}."),
        _ => format!("{since}: {path}."),
    }
}

/// What must be put back when a drill ends early.
pub(super) const fn put_back(drill: Drill) -> &'static str {
    match drill {
        Drill::MainsOff => "PUT BACK: give mains back to the network gear, and see that everything runs.",
        Drill::RouterRestart => "PUT BACK: see that the router is on.",
        Drill::CablePull => "PUT BACK: put the lead back where it was.",
        Drill::ReceiverPath => "",
    }
}
