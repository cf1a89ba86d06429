//! Every sentence about a cause, in one place: for the homeowner's ear, with what to do next and how to prove it done.

use crate::judge::{Actor, Cause, Clue, Lane, LaneState, Micros, Oddity, Question, Span, Trouble};

/// Who acts, as a word.
pub(super) fn actor(a: Actor) -> &'static str {
    match a {
        Actor::Customer => "customer",
        Actor::Installer => "installer",
        Actor::Provider => "provider",
        Actor::Station => "station",
    }
}

/// What happened, in one plain sentence.
pub(super) fn sentence(t: &Trouble, now: crate::judge::Moment) -> String {
    let length = t.root.length(now);
    let lasted = if t.root.end.is_some() { format!("for {length}") } else { format!("for {length} so far") };
    match (t.cause, &t.root.oddity) {
        (Cause::OwnLink, Oddity::CarrierLost { times }) if *times > 1 => {
            format!("The network lead lost its carrier {times} times within {length}.")
        }
        (Cause::OwnLink, _) => format!("The network lead lost its carrier {lasted}."),
        (Cause::InterfaceGone, _) => format!("This device's network interface was gone {lasted}."),
        (Cause::AddressLost, _) => format!("This device held no network address {lasted}."),
        (Cause::RouteLost, _) => format!("This device had no way out of the home network {lasted}."),
        (Cause::SecondAddressServer, Oddity::SecondAddressServer(who)) => {
            format!("{} devices hand out addresses on this network; there should be one.", who.len())
        }
        (Cause::SecondAddressServer, _) => "Two devices hand out addresses on this network.".into(),
        (Cause::AddressConflict, _) => "Another device uses this device's network address.".into(),
        (Cause::GatewayTwice, _) => "Two devices answer for the router's address.".into(),
        (Cause::RouterRestart, _) => {
            format!("The router stopped answering {lasted} and came back, as it does when it restarts.")
        }
        (Cause::RouterSilent, _) => format!("The router does not answer {lasted}, though the network lead is live."),
        (Cause::LanLoss, _) => format!("Part of the traffic inside the home was lost {lasted}."),
        (Cause::AccessLine, _) => format!("Nothing beyond the router answered {lasted}, while the router itself did."),
        (Cause::LossBurst, _) => format!("Part of the traffic beyond the router was lost {lasted}."),
        (Cause::ReferencesFiltered, _) => {
            format!("No reference point answered {lasted}, but the receiver did: something filters them.")
        }
        (Cause::TargetMissing, Oddity::TargetMissing(name)) => {
            format!("{name} stopped answering {lasted} while its neighbours went on.")
        }
        (Cause::OneResolver, Oddity::TargetMissing(name)) => {
            format!("The resolver {name} did not answer {lasted}; another one did.")
        }
        (Cause::OneReceiver, Oddity::TargetMissing(name)) => {
            format!("The receiver {name} could not be reached {lasted}; another one could.")
        }
        (Cause::OneResolver | Cause::OneReceiver, _) => format!("One of several did not answer {lasted}."),
        (Cause::ReceiverUnresolved, _) => {
            format!("The receiver's name could not be looked up {lasted}, though other names could.")
        }
        (Cause::TargetMissing, _) => format!("One target stopped answering {lasted}."),
        (Cause::NameService, _) => format!("Names could not be looked up {lasted}, while the internet was there."),
        (Cause::NamesUnsteady, _) => format!("Part of the name lookups failed {lasted}."),
        (Cause::NamesRewritten, _) => "A resolver invents answers for names that do not exist.".into(),
        (Cause::ReceiverRefusing, _) => format!("The station's receiver refused connections {lasted}."),
        (Cause::ReceiverResetting, _) => format!("The station's receiver dropped connections {lasted}."),
        (Cause::ReceiverSilent, _) => {
            format!("The station's receiver did not answer {lasted}, while the internet was there.")
        }
        (Cause::ReceiverFiltered, _) => format!("A filter forbade reaching the station's receiver {lasted}."),
        (Cause::ReceiverUnsteady, _) => format!("The station's receiver answered only in part {lasted}."),
    }
}

/// The next step and how to prove it mended.
pub(super) fn step(c: Cause) -> (&'static str, &'static str) {
    match c {
        Cause::OwnLink => (
            "Swap the patch lead, then try another port on the router; keep the run short and out of reach.",
            "No loss of carrier in a day of watching.",
        ),
        Cause::InterfaceGone => {
            ("Check the network adapter of this device and its lead.", "The interface stays for a day.")
        }
        Cause::AddressLost | Cause::RouteLost => (
            "Look in the router for the address pool and this device's lease; reserve an address for it.",
            "Two lease renewals in a row without a gap.",
        ),
        Cause::SecondAddressServer => (
            "Find the second box (often an extender in router mode) and set it to bridge or access-point mode.",
            "Only one address server answers for an hour.",
        ),
        Cause::AddressConflict => (
            "Give one of the two devices another address, or reserve addresses in the router.",
            "The conflict check stays clear for an hour.",
        ),
        Cause::GatewayTwice => {
            ("Find the device that answers for the router's address and take it off.", "One answer only, for an hour.")
        }
        Cause::RouterRestart => (
            "Ask whether someone restarted it; look for a timer, a switched outlet, heat or a failing power supply.",
            "No restart in a week of watching.",
        ),
        Cause::RouterSilent => (
            "See that the router and every box before it has power; restart it if it has.",
            "The router answers for a day without a gap.",
        ),
        Cause::LanLoss => (
            "Take radio hops and extra boxes out of the way between panel and router; use a lead.",
            "No losses to the router in an hour.",
        ),
        Cause::AccessLine => (
            "Report the times to the internet provider; a restart of the router does not mend the line.",
            "No loss of the line over the time the verdict asks for.",
        ),
        Cause::LossBurst => {
            ("Report the times to the internet provider; check the line's own plug and filter.", "No burst in a week.")
        }
        Cause::ReferencesFiltered => {
            ("Ask who filters outgoing traffic here; name other reference points in the site file.", "They answer.")
        }
        Cause::TargetMissing => {
            ("Nothing at once; if it stays away, name another target in the site file.", "It answers again.")
        }
        Cause::OneResolver => (
            "Take the dead resolver out of the router's settings, or mend it; every lookup that tries it first waits.",
            "Every resolver answers for a day.",
        ),
        Cause::OneReceiver => (
            "Ask the station whether this receiver, port and account are right and open.",
            "Every receiver accepts connections for an hour.",
        ),
        Cause::ReceiverUnresolved => (
            "Check the receiver's name in the site file against the station's papers; ask for its plain address.",
            "The receiver accepts connections for an hour.",
        ),
        Cause::NameService => (
            "Set a second resolver in the router, and ask the station for its receivers as plain addresses.",
            "Every lookup answers for a day.",
        ),
        Cause::NamesUnsteady => ("Set another resolver in the router.", "Every lookup answers for a day."),
        Cause::NamesRewritten => (
            "Use a resolver that answers truthfully, or receivers given as plain addresses.",
            "The name that must not exist is answered with `no such name`.",
        ),
        Cause::ReceiverRefusing | Cause::ReceiverResetting | Cause::ReceiverSilent | Cause::ReceiverUnsteady => (
            "Ask the station whether this receiver, port and account are right and open; nothing at the site mends it.",
            "The receiver accepts connections for an hour.",
        ),
        Cause::ReceiverFiltered => (
            "Open that one outgoing port to that one address in the firewall; no port forwarding is needed.",
            "The receiver accepts connections for an hour.",
        ),
    }
}

/// One clue in words; `None` for lanes that say nothing.
pub(super) fn clue(c: Clue) -> Option<String> {
    let what = match c.state {
        LaneState::Blind => return None,
        LaneState::Good => "answered all along",
        LaneState::Strained => "answered in part",
        LaneState::Bad => "did not answer",
    };
    let who = match (c.lane, c.state) {
        (Lane::Link, LaneState::Good) => return Some("the network lead kept its carrier".into()),
        (Lane::Link, LaneState::Strained) => return Some("the network lead was unsteady".into()),
        (Lane::Link, _) => return Some("the network lead had no carrier".into()),
        (Lane::Address, LaneState::Good) => return Some("this device kept its address and route".into()),
        (Lane::Address, LaneState::Strained) => return Some("the address service was not in order".into()),
        (Lane::Address, _) => return Some("this device had no usable address or route".into()),
        (lane, _) => lane_words(lane),
    };
    Some(format!("{who} {what}"))
}

/// The lane in plain words.
pub(super) const fn lane_words(lane: Lane) -> &'static str {
    match lane {
        Lane::Power => "mains and this device's own life",
        Lane::Link => "the network lead",
        Lane::Address => "the address",
        Lane::Router => "the router",
        Lane::Names => "name lookups",
        Lane::Outside => "the reference points outside",
        Lane::Receiver => "the station's receiver",
    }
}

/// What failed inside a span, in words, with counts.
pub(super) fn failures(span: &Span) -> Option<String> {
    if span.failures.is_empty() {
        return None;
    }
    let list: Vec<String> = span
        .failures
        .iter()
        .map(|(o, n)| {
            let word = if *o == crate::judge::Outcome::Answered { "answered with an error" } else { o.words() };
            format!("{n} × {word}")
        })
        .collect();
    Some(format!("{}: {}; {} answered in between", lane_words(span.lane), list.join(", "), span.answers))
}

/// What would open a question that was not permitted.
pub(super) const fn opens(q: Question) -> &'static str {
    match q {
        Question::GatewayEcho => "the capability CAP_NET_RAW, or this group in net.ipv4.ping_group_range",
        Question::GatewayArp | Question::Offers | Question::Conflict => "the capability CAP_NET_RAW",
        Question::Lease => "the lease file of the host's own address client, readable by this user",
        Question::Connect | Question::Handshake => "a receiver named in the site file",
        _ => "a network interface with an address and a default route",
    }
}

/// A count with its noun.
pub(super) fn count(n: usize, noun: &str) -> String {
    if n == 1 { format!("1 {noun}") } else { format!("{n} {noun}s") }
}

/// A length in days or less, for "about N more".
pub(super) fn about(needs: Micros) -> String {
    let days = needs.secs() / 86_400.0;
    if days >= 2.0 { format!("about {} more days", days.ceil()) } else { format!("about {needs} more") }
}

/// A probability as "n in 100"; never rounded to certainty.
pub(super) fn hundred(p: f64) -> String {
    let n = p * 100.0;
    if n < 1.0 {
        "less than 1".into()
    } else if n > 99.0 {
        "more than 99".into()
    } else {
        format!("{n:.0}")
    }
}

/// A length in whole days, or less.
pub(super) fn days(length: Micros) -> String {
    let days = length.secs() / 86_400.0;
    if days >= 2.0 { format!("{} days", days.ceil()) } else { length.to_string() }
}

/// With a capital at the front.
pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}
