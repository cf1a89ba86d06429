//! Whether the kernel has a way to an address by an interface.
//!
//! Over IPv4, a socket that names its interface is taken by Linux to reach every address on the link when no route
//! matches ("routing tables are wrong", `ip_route_output_key_hash_rcu`): it would ask in vain and call it a timeout.
//! rtnetlink(7) tells the route that really matches (`RTM_F_FIB_MATCH`). Over IPv6 `connect` itself refuses. Sends
//! nothing.

use netlink_packet_core::{NLM_F_REQUEST, NetlinkHeader, NetlinkMessage, NetlinkPayload};
use netlink_packet_route::route::{RouteAddress, RouteAttribute, RouteFlags, RouteMessage};
use netlink_packet_route::{AddressFamily, RouteNetlinkMessage};
use nix::ifaddrs::getifaddrs;
use nix::libc;
use nix::net::if_::if_nametoindex;
use socket2::{Domain, Protocol, Socket, Type};
use std::io::{self, Read as _};
use std::net::Ipv4Addr;

/// Refuses with `ENETUNREACH` where no route by the interface matches, or with `EADDRNOTAVAIL` where it has no address
/// either. What can't be asked is not refused: then `connect` decides.
pub fn check(target: Ipv4Addr, interface: &str) -> io::Result<()> {
    let index = if_nametoindex(interface)?;
    match matching(target, index) {
        Err(e) if matches!(e.raw_os_error(), Some(libc::EHOSTUNREACH | libc::ENETUNREACH)) => {
            let why = if has_address(interface) { libc::ENETUNREACH } else { libc::EADDRNOTAVAIL };
            Err(io::Error::from_raw_os_error(why))
        }
        _ => Ok(()),
    }
}

/// Asks for the route; the kernel's answer is there when `send` returns.
fn matching(target: Ipv4Addr, index: u32) -> io::Result<()> {
    let mut ask = RouteMessage::default();
    ask.header.address_family = AddressFamily::Inet;
    ask.header.destination_prefix_length = 32;
    ask.header.flags = RouteFlags::FibMatch;
    ask.attributes = vec![RouteAttribute::Destination(RouteAddress::Inet(target)), RouteAttribute::Oif(index)];
    let mut header = NetlinkHeader::default();
    header.flags = NLM_F_REQUEST;
    let mut message = NetlinkMessage::new(header, NetlinkPayload::from(RouteNetlinkMessage::GetRoute(ask)));
    message.finalize();
    let mut bytes = vec![0; message.buffer_len()];
    message.serialize(&mut bytes);

    let kind = Type::RAW.nonblocking().cloexec();
    let socket = Socket::new(Domain::from(libc::AF_NETLINK), kind, Some(Protocol::from(libc::NETLINK_ROUTE)))?;
    socket.send(&bytes)?;
    let mut reply = vec![0; 8_192];
    let length = (&socket).read(&mut reply)?;
    let reply = NetlinkMessage::<RouteNetlinkMessage>::deserialize(&reply[..length]).map_err(io::Error::other)?;
    match reply.payload {
        NetlinkPayload::Error(e) => Err(e.to_io()),
        _ => Ok(()),
    }
}

/// Whether the interface holds an IPv4 address; taken to where the kernel does not say.
fn has_address(interface: &str) -> bool {
    getifaddrs().map_or(true, |mut all| {
        all.any(|a| a.interface_name == interface && a.address.is_some_and(|s| s.as_sockaddr_in().is_some()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every host has 127.0.0.0/8 on loopback and nothing else of the documentation ranges there (RFC 5737).
    #[test]
    fn loopback_leads_to_itself_only() {
        check(Ipv4Addr::LOCALHOST, "lo").expect("a route");
        let no = check(Ipv4Addr::new(192, 0, 2, 1), "lo").expect_err("no route");
        assert_eq!(no.raw_os_error(), Some(libc::ENETUNREACH));
        let gone = check(Ipv4Addr::LOCALHOST, "no-such-lead").expect_err("no interface");
        assert_eq!(gone.raw_os_error(), Some(libc::ENODEV));
    }
}
