//! Each cause for the homeowner: on whose side it lies and, in half a sentence, what it was.
//!
//! Decides words only; the cause is the judge's. No term of the trade: who wants them reads the ticket.

/// On whose side a cause lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The mains supply.
    Power,
    /// Inside the home.
    Home,
    /// The internet provider's line.
    Provider,
    /// The alarm company's end.
    Station,
    /// The device that watches.
    Device,
    /// It can't be told.
    Unknown,
}

/// The side in words.
pub const fn side(side: Side) -> &'static str {
    match side {
        Side::Power => "power",
        Side::Home => "inside your home",
        Side::Provider => "your internet provider",
        Side::Station => "the alarm company's end",
        Side::Device => "the device that watches",
        Side::Unknown => "can't be told",
    }
}

/// Side and half a sentence by the cause's stable word.
pub fn plain(cause: &str) -> (Side, &'static str) {
    use Side::{Device, Home, Power, Provider, Station, Unknown};
    match cause {
        "site-power" => (Power, "the power failed, and your internet equipment went off with it"),
        "street-power" => (Power, "the power failed, and the provider's equipment in the street went off"),
        "dead-backup" => (Power, "the power failed, and the backup battery did not help"),
        "mains-lost" => (Power, "the power failed, and your internet kept working"),
        "router-power" => (Power, "your router had no power"),
        "agent-pulled" => (Device, "the watching device was unplugged"),
        "host-restart" => (Device, "the watching device restarted by itself"),
        "agent-stopped" => (Device, "the watching program was stopped"),
        "own-link" => (Home, "a network cable was loose, worn or pulled"),
        "interface-gone" => (Device, "the watching device lost its network plug"),
        "weak-radio" => (Home, "the wireless signal at home was too weak"),
        "lan-segment" => (Home, "a box between the alarm and the router dropped out"),
        "address-lost" | "lease-lost" | "route-lost" => (Home, "the router stopped serving a device at home"),
        "second-address-server" => (Home, "two boxes at home act as the router"),
        "address-conflict" => (Home, "two devices at home use the same number"),
        "ipv4-missing" | "ipv4-translated" => (Home, "your internet does not offer what most alarms need"),
        "communicator-absent" => (Home, "the alarm was not on your network"),
        "router-restart" => (Home, "your router seems to have restarted"),
        "router-timer" => (Home, "your router restarts at the same time of day"),
        "router-hangs" => (Home, "your router fails after running for some time"),
        "router-swap" => (Home, "your router was changed for another one"),
        "router-silent" => (Home, "your router did not answer"),
        "lan-loss" => (Home, "your home network lost part of the traffic"),
        "gateway-twice" => (Home, "two devices at home claim to be the router"),
        "access-line" => (Provider, "the internet line was down while your router was on"),
        "provider-maintenance" => (Provider, "the internet was off at the same time of day as before"),
        "loss-burst" => (Provider, "the internet line lost part of the traffic"),
        "busy-hours" => (Provider, "the internet is poor in the same hours of the day"),
        "congestion" => (Home, "something at home filled the internet line"),
        "portal" => (Provider, "a log-in page or a bill stood in the way"),
        "references-filtered" => (Home, "something at home blocks the test questions"),
        "target-missing" => (Provider, "one of several far ends did not answer"),
        "clock-offset" => (Device, "the watching device's clock was wrong"),
        "one-resolver" | "name-service" | "names-unsteady" | "names-rewritten" => {
            (Home, "looking up internet names did not work well")
        }
        "receiver-unresolved" => (Home, "the alarm company's name could not be looked up"),
        "one-receiver" | "receiver-refusing" | "receiver-resetting" | "receiver-silent" | "receiver-unsteady" => {
            (Station, "the alarm company's receiver did not answer well")
        }
        "receiver-filtered" => (Home, "something at home blocks the alarm company"),
        "mtu-black-hole" => (Home, "large messages got lost"),
        "idle-timeout" => (Home, "your router forgets quiet connections too soon"),
        _ => (Unknown, "the reason is not known"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Cause;

    #[test]
    fn every_cause_of_the_judge_is_known_here() {
        for c in Cause::ALL {
            assert_ne!(plain(c.word()).0, Side::Unknown, "{}", c.word());
        }
    }
}
