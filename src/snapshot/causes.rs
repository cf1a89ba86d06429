//! Every sentence about a cause, in one table: for the homeowner's ear, for a technician's, what to do next, and how to
//! prove it mended. Says nothing that the judge did not; who acts is the judge's word.
//!
//! `{lasted}` stands for "for 12 s" (with "so far" while it lasts), `{times}` for how often or how long a carrier was
//! lost, `{target}` for the target missing, `{figure}` for what was measured.

use crate::judge::{Cause, Micros, Moment, Oddity, Trouble};

/// What is said of one cause.
pub(super) struct Words {
    /// What happened, for the homeowner.
    pub(super) home: &'static str,
    /// The same for a technician: what was seen and what it points to.
    pub(super) trade: &'static str,
    /// One next step.
    pub(super) step: &'static str,
    /// How to prove it mended.
    pub(super) proof: &'static str,
}

const fn w(home: &'static str, trade: &'static str, step: &'static str, proof: &'static str) -> Words {
    Words { home, trade, step, proof }
}

const ASK_STATION: &str =
    "Ask the station whether this receiver, port and account are right and open; nothing at the site mends it.";
const ACCEPTS: &str = "The receiver accepts connections for an hour.";

/// The table.
pub(super) const fn words(c: Cause) -> Words {
    match c {
        Cause::SitePower => w(
            "The power failed at the site {lasted} and the network gear went with it.",
            "Mains lost; router or lead gone with it. No working backup in the chain.",
            "Put every box between panel and wall on one battery backup: modem or optical unit, router, switch, bridge.",
            "Take the mains off the backup for ten minutes: the path holds.",
        ),
        Cause::StreetPower => w(
            "The power failed {lasted}; the router held out, but the provider's equipment outside did not.",
            "Mains lost, gateway kept answering, everything beyond it lost later: the provider's remote power ran out.",
            "A bigger battery at the site will not help; ask the provider how long the street holds, and plan a second path.",
            "The path holds through the next power failure.",
        ),
        Cause::DeadBackup => w(
            "The power failed {lasted} and the backup battery did not carry the network gear.",
            "Mains lost; lead or router gone some seconds to minutes later: battery worn out, overloaded or half the chain on it.",
            "Test the backup under its real load; replace the battery, note the date, and trace every plug.",
            "Take the mains off the backup for ten minutes: the path holds.",
        ),
        Cause::MainsLost => w(
            "The power failed {lasted}, and the path held.",
            "Mains lost by the battery's own account; link, gateway and outside kept answering.",
            "Nothing.",
            "It held.",
        ),
        Cause::RouterPower => w(
            "The router lost its power {lasted} while other things kept theirs.",
            "Gateway gone for longer than a restart takes, uptime counter reset, mains or neighbours present.",
            "Look for a switched outlet, a timer, a tripped protective socket or a failing power supply at the router.",
            "The router's uptime grows for a week without a break.",
        ),
        Cause::AgentPulled => w(
            "This device lost its power {lasted}; the rest of the network seems to have kept its own.",
            "Session cut off, new boot id, gateway uptime unbroken: this device alone was unplugged.",
            "Plug this device where nobody needs the socket, and ask who pulled it.",
            "It runs for a week without a break.",
        ),
        Cause::HostRestart => w(
            "This device stopped without notice and started again; nothing was watched {lasted}.",
            "Session cut off, new boot id, nothing else lost power: crash or hard reset of the host.",
            "Look into this device's own log for the reason.",
            "It runs for a week without a break.",
        ),
        Cause::AgentStopped => w(
            "The watching program on this device was stopped without notice; nothing was watched {lasted}.",
            "Session cut off within one boot: the process was killed or crashed, the host ran on.",
            "Look into this device's log for the reason: out of memory, killed, crashed.",
            "It runs for a week without a break.",
        ),
        Cause::OwnLink => w(
            "The network lead lost its carrier {times}.",
            "Carrier lost; gateway back at once with it: lead, jack or port.",
            "Swap the patch lead, then try another port on the router; keep the run short and out of reach.",
            "No loss of carrier in a day of watching.",
        ),
        Cause::InterfaceGone => w(
            "This device's network interface was gone {lasted}.",
            "The kernel removed the interface: adapter unplugged, driver reset.",
            "Check the network adapter of this device and its lead.",
            "The interface stays for a day.",
        ),
        Cause::WeakRadio => w(
            "The radio link inside the home is too weak; it was so {lasted}.",
            "Signal at or under -75 dBm{figure}; losses on the first hop follow it.",
            "Run a lead (or powerline) instead of radio, or move the access point; radio is not fit for an only path.",
            "No losses to the router in a day.",
        ),
        Cause::LanSegment => w(
            "Part of the home network went away {lasted}: a switch, bridge or extender between here and the router.",
            "Carrier or first hop lost, neighbours lost with it, gateway uptime unbroken: the box in between.",
            "Find every box between this device and the router; see that each has power, and take out those not needed.",
            "The router answers for a day without a gap.",
        ),
        Cause::AddressLost => w(
            "This device held no network address {lasted}.",
            "Address gone before its lease ended.",
            "Look in the router for the address pool and this device's lease; reserve an address for it.",
            "Two lease renewals in a row without a gap.",
        ),
        Cause::LeaseLost => w(
            "The router did not renew this device's network address {lasted}.",
            "Renewing and rebinding unanswered (RFC 2131 T1, T2): address server silent or pool full.",
            "Restart the router; if it comes again replace it, reserve the address and lengthen the lease.",
            "Two lease renewals in a row without a gap.",
        ),
        Cause::RouteLost => w(
            "This device had no way out of the home network {lasted}.",
            "Address held, default route gone.",
            "Look in the router for the address pool and this device's lease; reserve an address for it.",
            "Two lease renewals in a row without a gap.",
        ),
        Cause::SecondAddressServer => w(
            "{servers} hand out addresses on this network; there should be one.",
            "Offers from more than one address server.",
            "Find the second box (often an extender in router mode) and set it to bridge or access-point mode.",
            "Only one address server answers for an hour.",
        ),
        Cause::AddressConflict => w(
            "Another device uses this device's network address.",
            "Our address claimed by another hardware address (RFC 5227).",
            "Give one of the two devices another address, or reserve addresses in the router.",
            "The conflict check stays clear for an hour.",
        ),
        Cause::Ipv4Missing => w(
            "This network gives out no IPv4 address; most communicators need one.",
            "IPv6 addresses only, no translation offered.",
            "Have the router or provider give IPv4 on the LAN; without it the communicator needs a second path.",
            "This device holds an IPv4 address for a day.",
        ),
        Cause::Ipv4Translated => w(
            "This network reaches the older internet only by translation; most communicators can't.",
            "IPv6 addresses only; ipv4only.arpa answers with translated addresses (RFC 7050): names may work, plain addresses don't.",
            "Have the router give IPv4 on the LAN; ask whether the communicator can do without.",
            "This device holds an IPv4 address for a day.",
        ),
        Cause::CommunicatorAbsent => w(
            "The alarm communicator was not on the network {lasted}, though the network was there.",
            "The communicator's hardware address does not answer; link and gateway do.",
            "Check the communicator's lead, port and address; its cover can stay shut.",
            "Its hardware address answers for a day.",
        ),
        Cause::RouterRestart => w(
            "The router stopped answering {lasted} and came back, as it does when it restarts.",
            "Gateway silent and back within minutes.",
            "Ask whether someone restarted it; look for a timer, a switched outlet, heat or a failing power supply.",
            "No restart in a week of watching.",
        ),
        Cause::RouterTimer => w(
            "The router restarts at the same time of day; it was away {lasted}.",
            "Gateway gone at one minute of the day on several days: scheduled restart, automatic update, timer or switched outlet.",
            "Turn the scheduled restart off in the router, or move it; look for a timer at its outlet.",
            "No restart in a week of watching.",
        ),
        Cause::RouterHangs => w(
            "The router fails after running for a certain time; it was away {lasted}.",
            "Gateway lost at a constant age since the last loss: memory or heat; not a clock.",
            "Update the router's software or replace it.",
            "It outlives that age twice.",
        ),
        Cause::RouterSwap => w(
            "The router was changed for another one; the network was away {lasted}.",
            "New gateway hardware address, new subnet or address server at one moment: router or provider swapped.",
            "Call the alarm company and ask for a test signal; check the communicator's address if it was set by hand.",
            "A test signal arrives.",
        ),
        Cause::RouterSilent => w(
            "The router does not answer {lasted}, though the network lead is live.",
            "Carrier present, gateway silent: hung, unpowered or replaced.",
            "See that the router and every box before it has power; restart it if it has.",
            "The router answers for a day without a gap.",
        ),
        Cause::LanLoss => w(
            "Part of the traffic inside the home was lost {lasted}.",
            "Losses already on the first hop.",
            "Take radio hops and extra boxes out of the way between panel and router; use a lead.",
            "No losses to the router in an hour.",
        ),
        Cause::GatewayTwice => w(
            "Two devices answer for the router's address.",
            "Two hardware addresses claim the gateway.",
            "Find the device that answers for the router's address and take it off.",
            "One answer only, for an hour.",
        ),
        Cause::AccessLine => w(
            "Nothing beyond the router answered {lasted}, while the router itself did.",
            "Gateway answering, every outside target lost: modem, line or provider.",
            "Report the times to the internet provider; a restart of the router does not mend the line.",
            "No loss of the line over the time the verdict asks for.",
        ),
        Cause::ProviderMaintenance => w(
            "The internet went away at the same time of day as before, {lasted}, while the router stayed.",
            "Gateway answering, outside lost at one minute of the day on several days: provider works, or a modem on a timer.",
            "Ask the provider for its maintenance times; tell the station; see that the modem is on no timer.",
            "A week without a loss at that time.",
        ),
        Cause::LossBurst => w(
            "Part of the traffic beyond the router was lost {lasted}.",
            "Loss burst outside, first hop clean.",
            "Report the times to the internet provider; check the line's own plug and filter.",
            "No burst in a week.",
        ),
        Cause::BusyHours => w(
            "The internet is slow or loses traffic in the same hours of the day; this time {lasted}.",
            "Loss or delay in the same hours on many days: plant or street congestion.",
            "Report the hours to the provider; alarm messages are small and retried, so this alone asks for no second path.",
            "A week without it in those hours.",
        ),
        Cause::Congestion => w(
            "The internet answered{figure} slower than usual {lasted}: something fills the line.",
            "Round trips many times the usual with little loss: full queue, most likely the site's own upload.",
            "Look for backups and cameras that upload; limit them in the router. Alarm messages are small and get through.",
            "Round trips stay as usual for a day.",
        ),
        Cause::Portal => w(
            "Something answers in the internet's place with a page of its own: a log-in, a bill or a block page.",
            "Plain web request redirected or rewritten{figure}: captive portal, walled garden or filter.",
            "Log in, pay or have the block lifted; an alarm path must not depend on a page. Never use a guest network.",
            "The page check answers as expected for a day.",
        ),
        Cause::ReferencesFiltered => w(
            "No reference point answered {lasted}, but the receiver did: something filters them.",
            "All reference points silent, receiver answering: filter on outgoing traffic.",
            "Ask who filters outgoing traffic here; name other reference points in the site file.",
            "They answer.",
        ),
        Cause::TargetMissing => w(
            "{target} stopped answering {lasted} while its neighbours went on.",
            "One target of several lost: that target, or the route to it.",
            "Nothing at once; if it stays away, name another target in the site file.",
            "It answers again.",
        ),
        Cause::ClockOffset => w(
            "This device's clock is wrong{figure}; times in this report are off by as much.",
            "Clock offset beyond the window of the open IP protocol.",
            "Set this device's clock by the network; check the panel's clock as well.",
            "The offset stays under a second for a day.",
        ),
        Cause::OneResolver => w(
            "The resolver {target} did not answer {lasted}; another one did.",
            "One resolver of several silent.",
            "Take the dead resolver out of the router's settings, or mend it; every lookup that tries it first waits.",
            "Every resolver answers for a day.",
        ),
        Cause::NameService => w(
            "Names could not be looked up {lasted}, while the internet was there.",
            "Resolvers silent, literal addresses answering.",
            "Set a second resolver in the router, and ask the station for its receivers as plain addresses.",
            "Every lookup answers for a day.",
        ),
        Cause::NamesUnsteady => w(
            "Part of the name lookups failed {lasted}.",
            "Resolver losing part of the questions.",
            "Set another resolver in the router.",
            "Every lookup answers for a day.",
        ),
        Cause::NamesRewritten => w(
            "A resolver invents answers for names that do not exist.",
            "Control name answered with an address instead of NXDOMAIN.",
            "Use a resolver that answers truthfully, or receivers given as plain addresses.",
            "The name that must not exist is answered with `no such name`.",
        ),
        Cause::OneReceiver => w(
            "The receiver {target} could not be reached {lasted}; another one could.",
            "One receiver of several unreachable.",
            "Ask the station whether this receiver, port and account are right and open.",
            "Every receiver accepts connections for an hour.",
        ),
        Cause::ReceiverUnresolved => w(
            "The receiver's name could not be looked up {lasted}, though other names could.",
            "Receiver name unresolved, resolver answering.",
            "Check the receiver's name in the site file against the station's papers; ask for its plain address.",
            ACCEPTS,
        ),
        Cause::ReceiverRefusing => w(
            "The station's receiver refused connections {lasted}.",
            "TCP reset to the connect: port closed at the receiver or rejected on the way.",
            ASK_STATION,
            ACCEPTS,
        ),
        Cause::ReceiverResetting => w(
            "The station's receiver dropped connections {lasted}.",
            "Connection accepted, then torn down: receiver, or inspection on the way.",
            ASK_STATION,
            ACCEPTS,
        ),
        Cause::ReceiverSilent => w(
            "The station's receiver did not answer {lasted}, while the internet was there.",
            "Connect times out, reference points answering: receiver down or its port dropped by a filter.",
            ASK_STATION,
            ACCEPTS,
        ),
        Cause::ReceiverFiltered => w(
            "A filter forbade reaching the station's receiver {lasted}.",
            "Administratively prohibited, or dropped, on the way to the receiver's port.",
            "Open that one outgoing port to that one address in the firewall; no port forwarding is needed.",
            ACCEPTS,
        ),
        Cause::ReceiverUnsteady => w(
            "The station's receiver answered only in part {lasted}.",
            "Receiver losing part of the connects, reference points clean.",
            ASK_STATION,
            ACCEPTS,
        ),
        Cause::MtuBlackHole => w(
            "Large packets to the receiver vanish without a word{figure}.",
            "Path MTU black hole: packets over the size lost, no \"fragmentation needed\"; TLS handshakes stall.",
            "Set MSS clamping (or a smaller MTU) in the router.",
            "Packets of 1500 octets pass, or a router names the size that does.",
        ),
        Cause::IdleTimeout => w(
            "Something between here and the station forgets a quiet connection{figure}.",
            "Idle timeout of NAT or firewall under the supervision interval (RFC 4787 asks for 2 min UDP, RFC 5382 for 2 h 4 min TCP).",
            "Set the communicator to speak more often than that, from inside; or lengthen the timeout in the router.",
            "A connection idle for the station's interval still works.",
        ),
    }
}

/// What happened, in one plain sentence.
pub(super) fn sentence(t: &Trouble, now: Moment) -> String {
    fill(words(t.cause).home, t, now)
}

/// The same for a technician.
pub(super) fn technician(t: &Trouble, now: Moment) -> String {
    fill(words(t.cause).trade, t, now)
}

fn fill(text: &str, t: &Trouble, now: Moment) -> String {
    let length = t.root.length(now);
    let lasted = if t.root.end.is_some() { format!("for {length}") } else { format!("for {length} so far") };
    let times = match t.root.oddity {
        Oddity::CarrierLost { times } if times > 1 => format!("{times} times within {length}"),
        _ => lasted.clone(),
    };
    let servers = match &t.root.oddity {
        Oddity::SecondAddressServer(who) => format!("{} devices", who.len()),
        _ => "Two devices".into(),
    };
    let target = match &t.root.oddity {
        Oddity::TargetMissing(name) => name.to_string(),
        _ => "One of several".into(),
    };
    let secs = |s: u32| Micros::from_secs(s.into());
    let figure = match &t.root.oddity {
        Oddity::WeakRadio(dbm) => format!(" ({dbm} dBm)"),
        Oddity::Slow { times } => format!(" up to {times} times"),
        Oddity::Intercepted { to: Some(to) } => format!(" (to {to})"),
        Oddity::ClockOffset(by) => {
            let word = if by.0 > 0 { "ahead" } else { "behind" };
            format!(", {} {word}", Micros(by.0.saturating_abs()))
        }
        Oddity::MtuBlackHole { passed } => format!(" (over {passed} octets)"),
        Oddity::IdleTimeout { kept_s, lost_s, .. } => {
            format!(": kept for {}, lost after {}", secs(*kept_s), secs(*lost_s))
        }
        _ => String::new(),
    };
    text.replace("{lasted}", &lasted)
        .replace("{times}", &times)
        .replace("{servers}", &servers)
        .replace("{figure}", &figure)
        // Last: the name comes from the site file and may hold anything.
        .replace("{target}", &target)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_cause_has_its_own_sentences_and_they_are_whole() {
        let mut homes = BTreeSet::new();
        for cause in Cause::ALL {
            let words = words(*cause);
            assert!(homes.insert(words.home), "{cause:?} says what another says");
            for text in [words.home, words.trade, words.step, words.proof] {
                assert!(text.ends_with('.'), "{text}");
                let known = ["{lasted}", "{times}", "{servers}", "{target}", "{figure}"];
                let left = known.iter().fold(text.to_owned(), |t, k| t.replace(k, ""));
                assert!(!left.contains('{'), "{text}");
            }
            // Facts for the customer carry no jargon.
            assert!(!words.home.contains("NAT") && !words.home.contains("RFC") && !words.home.contains("DHCP"));
        }
    }
}
