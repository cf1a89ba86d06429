//! Signs: what was observed during, before and after a trouble, each true, false or not known. Reads none (see `reading`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Something observed that tells causes apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Sign {
    /// The link kept its carrier.
    LinkKept,
    /// The address and route were kept.
    AddressKept,
    /// The router answered all along.
    RouterAnswered,
    /// Names were looked up all along.
    NamesAnswered,
    /// The reference points answered meanwhile.
    OutsideAnswered,
    /// The receiver answered meanwhile.
    ReceiverAnswered,
    /// It was over within the time a router takes to restart.
    BackSoon,
    /// So few questions in a row were lost as chance can do on a lossy lane.
    Brief,
    /// It still lasts.
    Lasts,
    /// Once the carrier was back, the router took a while longer.
    RouterCameLate,
    /// The carrier came and went several times.
    ManyFlaps,
    /// It was already so at the first look.
    FromFirstLook,
    /// The mains were there.
    MainsPresent,
    /// The router started anew by its own count.
    RouterRestarted,
    /// The router's outer connection began anew, or its outer address is another.
    ConnectionAnew,
    /// The router called its outer side connected.
    RouterSaysConnected,
    /// The neighbours on the LAN stayed.
    NeighboursStayed,
    /// Somebody else's page was got.
    PortalSeen,
    /// The address server did not answer.
    ServerSilent,
    /// The lease had run out when the address went.
    LeaseRanOut,
    /// The address had no end: set by hand.
    StaticAddress,
    /// Another gateway, and another subnet or address server with it.
    Swapped,
    /// The router lost many questions about then, scattered.
    RouterLossy,
    /// The outside lost many questions about then, scattered.
    OutsideLossy,
    /// Round trips to the outside rose many-fold with it.
    OutsideSlow,
    /// Round trips to the router rose many-fold with it.
    RouterSlow,
    /// The radio signal was weak.
    RadioWeak,
    /// Large packets vanished when last tried.
    SmallPacketsOnly,
    /// Connections were refused.
    Refused,
    /// Connections were torn down or the answer made no sense.
    TornDown,
    /// A filter said so.
    Forbidden,
    /// The name could not be looked up.
    Unresolved,
    /// This device was started anew.
    BootAnew,
    /// When this device came back, the router was not there yet.
    RouterAwayOnReturn,
    /// Before it went, it ran on battery.
    OnBattery,
    /// Everything went within seconds of the mains.
    GoneAtOnce,
    /// The gear went some seconds to minutes after the mains.
    GoneSoon,
    /// The path held while the mains were gone.
    PathHeld,
    /// Translation of IPv4 was offered.
    Translated,
    /// It comes at the same minute of the day.
    SameMinute,
    /// It comes in the same hours of the day.
    SameHours,
    /// It comes at one age.
    SameAge,
    /// It comes at a moment of the lease.
    LeaseMoment,
    /// It comes after the mains came or went.
    AfterMains,
}
