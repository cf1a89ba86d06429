//! Inside the home: lead, radio, address, communicator.

use crate::words::{CauseRow, Side};

pub(super) const OWN_LINK: CauseRow = CauseRow {
    title: "network lead or port",
    side: Side::Home,
    short: "a network lead was loose, worn or pulled",
    household: "The network lead lost its carrier {times}.",
    trade: "Carrier lost; gateway back at once with it: lead, jack or port.",
    step: "Swap the patch lead, then try another port on the router; keep the run short and out of reach.",
    proof: "No loss of carrier in a day of watching.",
};

pub(super) const INTERFACE_GONE: CauseRow = CauseRow {
    title: "network interface gone",
    side: Side::Device,
    short: "the watching device lost its network plug",
    household: "This device's network interface was gone {lasted}.",
    trade: "The kernel removed the interface: adapter unplugged, driver reset.",
    step: "Check the network adapter of this device and its lead.",
    proof: "The interface stays for a day.",
};

pub(super) const WEAK_RADIO: CauseRow = CauseRow {
    title: "weak wireless signal",
    side: Side::Home,
    short: "the wireless signal at home was too weak",
    household: "The radio link inside the home is too weak; it was so {lasted}.",
    trade: "Signal at or under -75 dBm{figure}; losses on the first hop follow it.",
    step: "Run a lead (or powerline) instead of radio, or move the access point; radio is not fit for an only path.",
    proof: "No losses to the router in a day.",
};

pub(super) const LAN_SEGMENT: CauseRow = CauseRow {
    title: "switch or bridge inside",
    side: Side::Home,
    short: "a box between the alarm and the router dropped out",
    household: "Part of the home network went away {lasted}: a switch, bridge or extender between here and the router.",
    trade: "Carrier or first hop lost, neighbours lost with it, gateway uptime unbroken: the box in between.",
    step: "Find every box between this device and the router; see that each has power, and take out those not needed.",
    proof: "The router answers for a day without a gap.",
};

pub(super) const ADDRESS_LOST: CauseRow = CauseRow {
    title: "no network address",
    side: Side::Home,
    short: "the router stopped serving a device at home",
    household: "This device held no network address {lasted}.",
    trade: "Address gone before its lease ended.",
    step: "Look in the router for the address pool and this device's lease; reserve an address for it.",
    proof: "Two lease renewals in a row without a gap.",
};

pub(super) const LEASE_LOST: CauseRow = CauseRow {
    title: "address lease not renewed",
    side: Side::Home,
    short: "the router stopped serving a device at home",
    household: "The router did not renew this device's network address {lasted}.",
    trade: "Renewing and rebinding unanswered (RFC 2131 T1, T2): address server silent or pool full.",
    step: "Restart the router; if it comes again replace it, reserve the address and lengthen the lease.",
    proof: "Two lease renewals in a row without a gap.",
};

pub(super) const ROUTE_LOST: CauseRow = CauseRow {
    title: "no route to the router",
    side: Side::Home,
    short: "the router stopped serving a device at home",
    household: "This device had no way out of the home network {lasted}.",
    trade: "Address held, default route gone.",
    step: "Look in the router for the address pool and this device's lease; reserve an address for it.",
    proof: "Two lease renewals in a row without a gap.",
};

pub(super) const SECOND_ADDRESS_SERVER: CauseRow = CauseRow {
    title: "second address server",
    side: Side::Home,
    short: "two boxes at home act as the router",
    household: "{servers} hand out addresses on this network; there should be one.",
    trade: "Offers from more than one address server.",
    step: "Find the second box (often an extender in router mode) and set it to bridge or access-point mode.",
    proof: "Only one address server answers for an hour.",
};

pub(super) const ADDRESS_CONFLICT: CauseRow = CauseRow {
    title: "address used twice",
    side: Side::Home,
    short: "two devices at home use the same number",
    household: "Another device uses this device's network address.",
    trade: "Our address claimed by another hardware address (RFC 5227).",
    step: "Give one of the two devices another address, or reserve addresses in the router.",
    proof: "The conflict check stays clear for an hour.",
};

pub(super) const IPV4_MISSING: CauseRow = CauseRow {
    title: "no IPv4",
    side: Side::Home,
    short: "your internet does not offer what most alarms need",
    household: "This network gives out no IPv4 address; most communicators need one.",
    trade: "IPv6 addresses only, no translation offered.",
    step: "Have the router or provider give IPv4 on the LAN; without it the communicator needs a second path.",
    proof: "This device holds an IPv4 address for a day.",
};

pub(super) const IPV4_TRANSLATED: CauseRow = CauseRow {
    title: "IPv4 by translation only",
    side: Side::Home,
    short: "your internet does not offer what most alarms need",
    household: "This network reaches the older internet only by translation; most communicators can't.",
    trade: "IPv6 addresses only; ipv4only.arpa answers with translated addresses (RFC 7050): names may work, plain addresses don't.",
    step: "Have the router give IPv4 on the LAN; ask whether the communicator can do without.",
    proof: "This device holds an IPv4 address for a day.",
};

pub(super) const COMMUNICATOR_ABSENT: CauseRow = CauseRow {
    title: "communicator absent",
    side: Side::Home,
    short: "the alarm was not on your network",
    household: "The alarm communicator was not on the network {lasted}, though the network was there.",
    trade: "The communicator's hardware address does not answer; link and gateway do.",
    step: "Check the communicator's lead, port and address; its cover can stay shut.",
    proof: "Its hardware address answers for a day.",
};

pub(super) const LAN_LOSS: CauseRow = CauseRow {
    title: "losses inside the site",
    side: Side::Home,
    short: "your home network lost part of the traffic",
    household: "Part of the traffic inside the home was lost {lasted}.",
    trade: "Losses already on the first hop.",
    step: "Take radio hops and extra boxes out of the way between panel and router; use a lead.",
    proof: "No losses to the router in an hour.",
};
