//! How the evidence table is read (`table_home`, `table_line`): for each kind of trouble, the causes that can be behind it, and what each sign says of them.
//!
//! A weight is the natural logarithm of how many times likelier the sign is under the cause than otherwise; `yes` where
//! the sign is seen, `no` where it was looked for and was not there. `base` is how common the cause is before any sign,
//! against "something else" at 0. The weights are choices from the trade's rules (common practice, no source), held against simulated faults with a known truth in `tests/sim`; none is a measured frequency.

use super::kind::Cause as C;
use super::sign::Sign as S;
use crate::judge::facts::Lane;
use crate::judge::lanes::span::{Oddity, Span};

/// Kinds of trouble by where they began and what was odd.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Kind {
    /// Mains lost.
    Mains,
    /// The agent cut off.
    CutOff,
    /// Carrier lost.
    Link,
    /// Interface gone.
    Interface,
    /// Weak radio signal.
    Radio,
    /// No address.
    NoAddress,
    /// No route.
    NoRoute,
    /// Lease not renewed.
    LateLease,
    /// Two address servers.
    Servers,
    /// Two hosts with one address.
    Conflict,
    /// No IPv4.
    NoIpv4,
    /// The communicator gone.
    Communicator,
    /// Two hosts on the gateway's address.
    TwoGateways,
    /// The router silent.
    Router,
    /// The router lossy.
    RouterLoss,
    /// The router slow.
    RouterSlow,
    /// The outside silent.
    Outside,
    /// The outside lossy.
    OutsideLoss,
    /// The outside slow.
    OutsideSlow,
    /// One of several targets of the router or outside lanes missing.
    OneTarget,
    /// Somebody else's page.
    Page,
    /// Clock off.
    Clock,
    /// Names silent.
    Names,
    /// Names lossy.
    NamesLoss,
    /// One resolver missing.
    OneResolver,
    /// Names rewritten.
    Rewritten,
    /// The receiver silent.
    Receiver,
    /// The receiver lossy.
    ReceiverLoss,
    /// One receiver missing.
    OneReceiver,
    /// Large packets vanish.
    Mtu,
    /// A short memory in between.
    Idle,
}

impl Kind {
    /// The kind of a root span.
    pub(super) fn of(span: &Span) -> Self {
        match (&span.oddity, span.lane) {
            (Oddity::MainsLost, _) => Self::Mains,
            (Oddity::CutOff(_), _) => Self::CutOff,
            (Oddity::CarrierLost { .. }, _) => Self::Link,
            (Oddity::InterfaceGone, _) => Self::Interface,
            (Oddity::WeakRadio(_), _) => Self::Radio,
            (Oddity::NoAddress, _) => Self::NoAddress,
            (Oddity::NoRoute, _) => Self::NoRoute,
            (Oddity::LeaseNotRenewed, _) => Self::LateLease,
            (Oddity::SecondAddressServer(_), _) => Self::Servers,
            (Oddity::AddressConflict(_), _) => Self::Conflict,
            (Oddity::Ipv4Missing { .. }, _) => Self::NoIpv4,
            (Oddity::CommunicatorAbsent(_), _) => Self::Communicator,
            (Oddity::GatewayTwice(_), _) => Self::TwoGateways,
            (Oddity::NamesRewritten(_), _) => Self::Rewritten,
            (Oddity::Intercepted { .. }, _) => Self::Page,
            (Oddity::ClockOffset(_), _) => Self::Clock,
            (Oddity::MtuBlackHole { .. }, _) => Self::Mtu,
            (Oddity::IdleTimeout { .. }, _) => Self::Idle,
            (Oddity::TargetMissing(_), Lane::Names) => Self::OneResolver,
            (Oddity::TargetMissing(_), Lane::Receiver) => Self::OneReceiver,
            (Oddity::TargetMissing(_), _) => Self::OneTarget,
            (Oddity::Slow { .. }, Lane::Router) => Self::RouterSlow,
            (Oddity::Slow { .. }, _) => Self::OutsideSlow,
            (Oddity::Silent, Lane::Names) => Self::Names,
            (Oddity::Silent, Lane::Outside) => Self::Outside,
            (Oddity::Silent, Lane::Receiver) => Self::Receiver,
            (Oddity::Silent, _) => Self::Router,
            (Oddity::LossBurst, Lane::Names) => Self::NamesLoss,
            (Oddity::LossBurst, Lane::Outside) => Self::OutsideLoss,
            (Oddity::LossBurst, Lane::Receiver) => Self::ReceiverLoss,
            (Oddity::LossBurst, _) => Self::RouterLoss,
        }
    }
}

/// One cause of one kind of trouble.
#[derive(Debug)]
pub(super) struct Row {
    /// The kind of trouble.
    pub(super) kind: Kind,
    /// The cause.
    pub(super) cause: C,
    /// How common before any sign.
    pub(super) base: f64,
    /// What the signs say: seen, looked for and not there.
    pub(super) signs: &'static [(S, f64, f64)],
    /// Signs that are the cause itself, seen: with one of them, or where `kind` itself is, the confidence may pass the
    /// cap for inferred causes.
    pub(super) direct: Direct,
}

/// What shows a cause directly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Direct {
    /// Nothing: it is inferred.
    Never,
    /// The trouble is the cause, seen.
    Itself,
    /// This sign.
    By(S),
    /// These two together: a restart that was counted is not yet the router's own doing where nobody saw the mains.
    Both(S, S),
}

pub(super) const fn row(kind: Kind, cause: C, base: f64, direct: Direct, signs: &'static [(S, f64, f64)]) -> Row {
    Row { kind, cause, base, signs, direct }
}
