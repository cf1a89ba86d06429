//! One row a cause, and the sentences made from it.
//!
//! The rows stand by where the cause lies; the match below holds all of them, so the compiler names one that is missing.

mod far_end;
mod home;
mod line;
mod power;
mod router;

use crate::judge::{Cause, Micros, Moment, Oddity, Trouble};
use crate::words::{CauseRow, Side};

/// The row of a cause.
pub const fn row(cause: Cause) -> &'static CauseRow {
    match cause {
        Cause::SitePower => &power::SITE_POWER,
        Cause::StreetPower => &power::STREET_POWER,
        Cause::DeadBackup => &power::DEAD_BACKUP,
        Cause::MainsLost => &power::MAINS_LOST,
        Cause::RouterPower => &power::ROUTER_POWER,
        Cause::AgentPulled => &power::AGENT_PULLED,
        Cause::HostRestart => &power::HOST_RESTART,
        Cause::AgentStopped => &power::AGENT_STOPPED,
        Cause::OwnLink => &home::OWN_LINK,
        Cause::InterfaceGone => &home::INTERFACE_GONE,
        Cause::WeakRadio => &home::WEAK_RADIO,
        Cause::LanSegment => &home::LAN_SEGMENT,
        Cause::AddressLost => &home::ADDRESS_LOST,
        Cause::LeaseLost => &home::LEASE_LOST,
        Cause::RouteLost => &home::ROUTE_LOST,
        Cause::SecondAddressServer => &home::SECOND_ADDRESS_SERVER,
        Cause::AddressConflict => &home::ADDRESS_CONFLICT,
        Cause::Ipv4Missing => &home::IPV4_MISSING,
        Cause::Ipv4Translated => &home::IPV4_TRANSLATED,
        Cause::CommunicatorAbsent => &home::COMMUNICATOR_ABSENT,
        Cause::RouterRestart => &router::ROUTER_RESTART,
        Cause::RouterTimer => &router::ROUTER_TIMER,
        Cause::RouterHangs => &router::ROUTER_HANGS,
        Cause::RouterSwap => &router::ROUTER_SWAP,
        Cause::RouterSilent => &router::ROUTER_SILENT,
        Cause::LanLoss => &home::LAN_LOSS,
        Cause::GatewayTwice => &router::GATEWAY_TWICE,
        Cause::AccessLine => &line::ACCESS_LINE,
        Cause::ProviderMaintenance => &line::PROVIDER_MAINTENANCE,
        Cause::LossBurst => &line::LOSS_BURST,
        Cause::BusyHours => &line::BUSY_HOURS,
        Cause::Congestion => &line::CONGESTION,
        Cause::Portal => &line::PORTAL,
        Cause::ReferencesFiltered => &line::REFERENCES_FILTERED,
        Cause::TargetMissing => &line::TARGET_MISSING,
        Cause::ClockOffset => &power::CLOCK_OFFSET,
        Cause::OneResolver => &far_end::ONE_RESOLVER,
        Cause::NameService => &far_end::NAME_SERVICE,
        Cause::NamesUnsteady => &far_end::NAMES_UNSTEADY,
        Cause::NamesRewritten => &far_end::NAMES_REWRITTEN,
        Cause::OneReceiver => &far_end::ONE_RECEIVER,
        Cause::ReceiverUnresolved => &far_end::RECEIVER_UNRESOLVED,
        Cause::ReceiverRefusing => &far_end::RECEIVER_REFUSING,
        Cause::ReceiverResetting => &far_end::RECEIVER_RESETTING,
        Cause::ReceiverSilent => &far_end::RECEIVER_SILENT,
        Cause::ReceiverFiltered => &far_end::RECEIVER_FILTERED,
        Cause::ReceiverUnsteady => &far_end::RECEIVER_UNSTEADY,
        Cause::MtuBlackHole => &far_end::MTU_BLACK_HOLE,
        Cause::IdleTimeout => &far_end::IDLE_TIMEOUT,
    }
}

/// Title and stable word.
pub fn named(cause: Cause) -> String {
    format!("{} ({})", row(cause).title, cause.word())
}

/// The side in words.
pub const fn side(side: Side) -> &'static str {
    match side {
        Side::Power => "power",
        Side::Home => "inside your home",
        Side::Provider => "your internet provider",
        Side::Station => "the alarm company's end",
        Side::Device => "the device that watches",
    }
}

/// What happened, in one plain sentence.
pub fn household(t: &Trouble, now: Moment) -> String {
    fill(row(t.cause).household, t, now)
}

/// The same for a technician.
pub fn trade(t: &Trouble, now: Moment) -> String {
    fill(row(t.cause).trade, t, now)
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
            let row = row(*cause);
            assert!(homes.insert(row.household), "{cause:?} says what another says");
            for text in [row.household, row.trade, row.step, row.proof] {
                assert!(text.ends_with('.'), "{text}");
                let known = ["{lasted}", "{times}", "{servers}", "{target}", "{figure}"];
                let left = known.iter().fold(text.to_owned(), |t, k| t.replace(k, ""));
                assert!(!left.contains('{'), "{text}");
            }
            // Facts for the customer carry no jargon.
            for term in ["NAT", "RFC", "DHCP"] {
                assert!(!row.household.contains(term) && !row.short.contains(term), "{cause:?}: {term}");
            }
        }
    }

    #[test]
    fn every_cause_has_a_short_title_of_its_own() {
        let titles: BTreeSet<&str> = Cause::ALL.iter().map(|c| row(*c).title).collect();
        assert_eq!(titles.len(), Cause::ALL.len());
        for title in titles {
            assert!(title.contains(' ') && title.len() <= 28 && !title.contains('-'), "{title}");
        }
        assert_eq!(named(Cause::OwnLink), "network lead or port (own-link)");
    }
}
