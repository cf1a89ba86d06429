//! What a row of the kernel's tables says: interface, address, neighbour, default route. Asks nothing.

use crate::judge::{Carrier, HeldAddress, Mac};
use netlink_packet_route::address::{AddressAttribute, AddressHeaderFlags, AddressMessage};
use netlink_packet_route::link::{LinkAttribute, LinkFlags, LinkMessage};
use netlink_packet_route::neighbour::{NeighbourAddress, NeighbourAttribute, NeighbourMessage, NeighbourState};
use netlink_packet_route::route::{RouteAddress, RouteAttribute, RouteHeader, RouteMessage, RouteType, RouteVia};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// One network interface.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Interface {
    /// Carrier, counters, name and index; speed and duplex are unknown until [`Kernel::speed`] fills them.
    pub carrier: Carrier,
    /// Hardware address, where it has one of six bytes.
    pub mac: Option<Mac>,
    /// Largest packet in bytes.
    pub mtu: Option<u32>,
    /// The loopback device.
    pub loopback: bool,
}

/// An entry of the neighbour table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Neighbour {
    /// Its state (RFC 4861 section 7.3.2; the same for ARP).
    pub state: NeighbourState,
    /// Hardware address, where known.
    pub mac: Option<Mac>,
    /// Milliseconds since it was last confirmed reachable, where the kernel says.
    pub confirmed_ms: Option<u32>,
}

#[derive(Clone, Debug)]
pub(super) struct DefaultRoute {
    pub(super) index: u32,
    pub(super) metric: u32,
    pub(super) gateway: Option<IpAddr>,
}

pub(super) fn interface(message: &LinkMessage) -> Interface {
    let flags = message.header.flags;
    let mut told = Interface { loopback: flags.contains(LinkFlags::Loopback), ..Interface::default() };
    told.carrier.index = message.header.index;
    // Carrier and administratively up: some drivers keep the carrier of a device that was set down.
    told.carrier.up = flags.contains(LinkFlags::LowerUp);
    for attribute in &message.attributes {
        match attribute {
            LinkAttribute::IfName(name) => told.carrier.name.clone_from(name),
            LinkAttribute::Address(bytes) => told.mac = mac(bytes),
            LinkAttribute::Mtu(bytes) => told.mtu = Some(*bytes),
            LinkAttribute::CarrierChanges(n) => told.carrier.changes = Some(*n),
            LinkAttribute::CarrierUpCount(n) => told.carrier.up_count = Some(*n),
            LinkAttribute::CarrierDownCount(n) => told.carrier.down_count = Some(*n),
            _ => {}
        }
    }
    told
}

fn mac(bytes: &[u8]) -> Option<Mac> {
    bytes.try_into().ok().map(Mac)
}

pub(super) fn held(message: &AddressMessage) -> Option<HeldAddress> {
    let flags = message.header.flags;
    if flags.contains(AddressHeaderFlags::Tentative) || flags.contains(AddressHeaderFlags::Dadfailed) {
        return None;
    }
    let (mut local, mut address, mut valid, mut preferred) = (None, None, u32::MAX, u32::MAX);
    for attribute in &message.attributes {
        match attribute {
            AddressAttribute::Local(a) => local = Some(*a),
            AddressAttribute::Address(a) => address = Some(*a),
            AddressAttribute::CacheInfo(c) => (valid, preferred) = (c.ifa_valid, c.ifa_preferred),
            _ => {}
        }
    }
    let address = local.or(address).filter(|a| match a {
        IpAddr::V4(a) => !a.is_link_local(),
        IpAddr::V6(a) => !a.is_unicast_link_local(),
    })?;
    let finite = |seconds| (seconds != u32::MAX).then_some(seconds);
    Some(HeldAddress {
        address,
        prefix: message.header.prefix_len,
        valid_s: finite(valid),
        preferred_s: finite(preferred),
        permanent: flags.contains(AddressHeaderFlags::Permanent),
    })
}

pub(super) fn entry(message: &NeighbourMessage) -> Option<(IpAddr, Neighbour)> {
    let mut told = Neighbour { state: message.header.state, mac: None, confirmed_ms: None };
    let mut of = None;
    for attribute in &message.attributes {
        match attribute {
            NeighbourAttribute::Destination(NeighbourAddress::Inet(a)) => of = Some(IpAddr::V4(*a)),
            NeighbourAttribute::Destination(NeighbourAddress::Inet6(a)) => of = Some(IpAddr::V6(*a)),
            NeighbourAttribute::LinkLayerAddress(bytes) => told.mac = mac(bytes),
            // In clock ticks of 1/100 s, as every Linux user interface counts (USER_HZ).
            NeighbourAttribute::CacheInfo(c) => told.confirmed_ms = Some(c.confirmed.saturating_mul(10)),
            _ => {}
        }
    }
    of.map(|address| (address, told))
}

/// Default routes of the main table in a route message: one, or one for each next hop.
pub(super) fn default_routes(message: &RouteMessage) -> Vec<DefaultRoute> {
    let header = &message.header;
    let mut table = u32::from(header.table);
    let (mut index, mut metric, mut gateway, mut hops) = (None, 0, None, Vec::new());
    for attribute in &message.attributes {
        match attribute {
            RouteAttribute::Table(t) => table = *t,
            RouteAttribute::Oif(i) => index = Some(*i),
            RouteAttribute::Priority(p) => metric = *p,
            RouteAttribute::MultiPath(paths) => {
                hops.extend(paths.iter().map(|h| (h.interface_index, h.attributes.iter().find_map(via))));
            }
            other => gateway = gateway.or_else(|| via(other)),
        }
    }
    let main = table == u32::from(RouteHeader::RT_TABLE_MAIN);
    if header.destination_prefix_length != 0 || header.kind != RouteType::Unicast || !main {
        return Vec::new();
    }
    hops.extend(index.map(|i| (i, gateway)));
    hops.into_iter().map(|(index, gateway)| DefaultRoute { index, metric, gateway }).collect()
}

fn via(attribute: &RouteAttribute) -> Option<IpAddr> {
    match attribute {
        RouteAttribute::Gateway(RouteAddress::Inet(a)) | RouteAttribute::Via(RouteVia::Inet(a)) => v4(*a),
        RouteAttribute::Gateway(RouteAddress::Inet6(a)) | RouteAttribute::Via(RouteVia::Inet6(a)) => v6(*a),
        _ => None,
    }
}

fn v4(a: Ipv4Addr) -> Option<IpAddr> {
    (!a.is_unspecified()).then_some(IpAddr::V4(a))
}

fn v6(a: Ipv6Addr) -> Option<IpAddr> {
    (!a.is_unspecified()).then_some(IpAddr::V6(a))
}
