//! The causes: one row each, with its stable word, who acts, and whether somebody at the site or the station can mend
//! it so that it should be mended before the line is judged.
//!
//! A cause is added by a row here, its weights in `weights`, its words in the room `words`, and a test.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use Actor::{Customer, Installer, Nobody, Provider, Station};

/// Who acts on a cause.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Actor {
    /// The customer.
    Customer,
    /// The installer.
    Installer,
    /// The internet provider.
    Provider,
    /// The monitoring station.
    Station,
    /// Nobody: it is a fact, or over.
    #[default]
    Nobody,
}

impl Actor {
    /// Everybody.
    pub const ALL: [Self; 5] = [Self::Customer, Self::Installer, Self::Provider, Self::Station, Self::Nobody];

    /// The stable word for JSON and metrics.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Customer => "customer",
            Self::Installer => "installer",
            Self::Provider => "provider",
            Self::Station => "station",
            Self::Nobody => "nobody",
        }
    }
}

macro_rules! causes {
    ($($(#[$doc:meta])* $name:ident $word:literal $actor:ident $mendable:literal)*) => {
        /// Why a trouble happened. Each has a stable word.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum Cause { $($(#[$doc])* $name,)* }

        impl Cause {
            /// Every cause, inside out.
            pub const ALL: &[Self] = &[$(Self::$name),*];

            /// The stable word for JSON, metrics and comparison.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)* }
            }

            /// Who acts.
            pub const fn actor(self) -> Actor {
                match self { $(Self::$name => $actor,)* }
            }

            /// Whether somebody at the site or the station can mend it, so that it should be mended before judging the
            /// line.
            pub const fn mendable(self) -> bool {
                match self { $(Self::$name => $mendable,)* }
            }
        }
    };
}

causes! {
    /// The mains failed at the site and the network gear with it.
    SitePower "site-power" Customer true
    /// The mains failed, the site's gear held out, the provider's gear in the street did not.
    StreetPower "street-power" Provider false
    /// The mains failed and the backup battery did not carry the gear.
    DeadBackup "dead-backup" Customer true
    /// The mains failed and the path held.
    MainsLost "mains-lost" Nobody false
    /// The router alone lost its power.
    RouterPower "router-power" Customer true
    /// This device lost its power, alone.
    AgentPulled "agent-pulled" Customer false
    /// This device crashed or was started anew.
    HostRestart "host-restart" Installer false
    /// The agent was killed while the device ran on.
    AgentStopped "agent-stopped" Installer false
    /// The lead or port between this host and the next box.
    OwnLink "own-link" Installer true
    /// The interface vanished from the kernel.
    InterfaceGone "interface-gone" Installer true
    /// The radio hop is too weak.
    WeakRadio "weak-radio" Installer true
    /// A switch, bridge or stretch of the LAN between here and the router.
    LanSegment "lan-segment" Installer true
    /// No address.
    AddressLost "address-lost" Installer true
    /// The lease ran out or is about to: the address server is silent.
    LeaseLost "lease-lost" Installer true
    /// Address held, default route gone.
    RouteLost "route-lost" Installer true
    /// Two address servers on the LAN.
    SecondAddressServer "second-address-server" Installer true
    /// Two hosts with one address.
    AddressConflict "address-conflict" Installer true
    /// No IPv4 at all.
    Ipv4Missing "ipv4-missing" Installer true
    /// IPv4 only by translation.
    Ipv4Translated "ipv4-translated" Installer true
    /// The communicator is not on the network.
    CommunicatorAbsent "communicator-absent" Installer true
    /// The router (or the box before it) went away and came back.
    RouterRestart "router-restart" Customer true
    /// The router restarts at the same time of day.
    RouterTimer "router-timer" Customer true
    /// The router fails at a constant age.
    RouterHangs "router-hangs" Customer true
    /// The router, or the provider with it, was exchanged.
    RouterSwap "router-swap" Customer true
    /// The router does not answer or does not forward.
    RouterSilent "router-silent" Customer true
    /// Losses on the LAN.
    LanLoss "lan-loss" Installer true
    /// Two hosts answer for the gateway.
    GatewayTwice "gateway-twice" Installer true
    /// Everything outside lost with the router there.
    AccessLine "access-line" Provider false
    /// The same at the same time of day, as when the provider works on it.
    ProviderMaintenance "provider-maintenance" Provider false
    /// Losses beyond the router.
    LossBurst "loss-burst" Provider false
    /// Losses or slow answers in the same hours of many days.
    BusyHours "busy-hours" Provider false
    /// Round trips rise many-fold with little loss.
    Congestion "congestion" Customer false
    /// Something answers in the internet's place: a log-in, payment or block page.
    Portal "portal" Customer true
    /// Reference points lost while the receiver answers.
    ReferencesFiltered "references-filtered" Installer false
    /// One of several reference points or ways lost.
    TargetMissing "target-missing" Provider false
    /// This device's clock is wrong.
    ClockOffset "clock-offset" Installer false
    /// One of several resolvers lost.
    OneResolver "one-resolver" Installer true
    /// Name resolution.
    NameService "name-service" Installer true
    /// A resolver loses part of the questions.
    NamesUnsteady "names-unsteady" Installer true
    /// A resolver invents answers.
    NamesRewritten "names-rewritten" Installer true
    /// One of several receivers lost.
    OneReceiver "one-receiver" Station true
    /// The receiver's name can't be looked up while others can.
    ReceiverUnresolved "receiver-unresolved" Installer true
    /// The receiver refuses connections.
    ReceiverRefusing "receiver-refusing" Station true
    /// The receiver drops connections after accepting.
    ReceiverResetting "receiver-resetting" Station true
    /// The receiver does not answer.
    ReceiverSilent "receiver-silent" Station true
    /// A filter forbids the receiver's address or port.
    ReceiverFiltered "receiver-filtered" Customer true
    /// The receiver answers only in part.
    ReceiverUnsteady "receiver-unsteady" Station true
    /// Large packets vanish without a word.
    MtuBlackHole "mtu-black-hole" Installer true
    /// Something between forgets a quiet connection sooner than the station's interval.
    IdleTimeout "idle-timeout" Installer true
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_cause_has_a_word_of_its_own() {
        let words: BTreeSet<&str> = Cause::ALL.iter().map(|c| c.word()).collect();
        assert_eq!(words.len(), Cause::ALL.len());
        for c in Cause::ALL {
            assert_eq!(serde_json::to_value(c).expect("a word"), c.word());
        }
        for a in Actor::ALL {
            assert_eq!(serde_json::to_value(a).expect("a word"), a.word());
        }
        assert!(words.iter().all(|w| w.bytes().all(|b| b == b'-' || b.is_ascii_lowercase() || b == b'4')));
    }
}
