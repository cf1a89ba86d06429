//! Hosts, domain names and addresses of the site file, and what to write instead of one that is refused.

use super::text::spell;
use serde::{Deserialize, Serialize};
use std::net::{IpAddr, Ipv4Addr, SocketAddr};

/// A host by name or by address.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Host {
    /// A literal address; needs no name resolution.
    Address(IpAddr),
    /// A name to be looked up.
    Name(String),
}

pub(super) fn host(text: &str) -> Result<Host, String> {
    if let Ok(address) = text.parse::<IpAddr>() {
        return reachable(address).map(Host::Address);
    }
    if let Ok(socket) = text.parse::<SocketAddr>() {
        return Err(format!("write host = \"{}\" and port = {}", socket.ip(), socket.port()));
    }
    if text.contains("://") {
        return Err("write only the host's name, without what stands before and after it".into());
    }
    if let Some((left, right)) = text.rsplit_once(':')
        && let Ok(port) = right.parse::<u16>()
        && let Ok(left) = name(left)
    {
        return Err(format!("write host = \"{left}\" and port = {port}"));
    }
    name(text).map(Host::Name)
}

pub(super) fn name(text: &str) -> Result<String, String> {
    let bare = text.strip_suffix('.').unwrap_or(text);
    if bare.is_empty() {
        return Err("write a name, for example \"receiver.station.example\"".into());
    }
    if !bare.is_ascii() {
        return Err("write a name outside ASCII in its \"xn--\" form (RFC 5890)".into());
    }
    if bare.len() > 253 {
        return Err("a name has at most 253 characters (RFC 1035)".into());
    }
    for part in bare.split('.') {
        if part.is_empty() {
            return Err("leave out the empty part between two dots".into());
        }
        if part.len() > 63 {
            return Err("a part between dots has at most 63 characters (RFC 1035)".into());
        }
        if part.starts_with('-') || part.ends_with('-') {
            return Err("a part between dots can't begin or end with \"-\" (RFC 1123)".into());
        }
        if let Some(c) = part.chars().find(|c| !c.is_ascii_alphanumeric() && *c != '-') {
            return Err(format!("leave out the {}: a name has letters, digits, \"-\" and dots (RFC 1123)", spell(c)));
        }
    }
    // RFC 1123 section 2.1: the last part of a name is never all digits, so that addresses can be told from names.
    if bare.rsplit('.').next().is_some_and(|last| last.bytes().all(|b| b.is_ascii_digit())) {
        return Err("an IPv4 address has four numbers from 0 to 255".into());
    }
    Ok(text.to_owned())
}

pub(super) fn address_port(text: &str, port: u16) -> Result<SocketAddr, String> {
    let address = match (text.parse::<SocketAddr>(), text.parse::<IpAddr>()) {
        (Ok(socket), _) => socket,
        (_, Ok(ip)) => SocketAddr::new(ip, port),
        _ => return Err(not_an_address(text)),
    };
    if address.port() == 0 {
        return Err(format!("write a port from 1 to 65535, or leave it out for {port}"));
    }
    reachable(address.ip()).map(|ip| SocketAddr::new(ip, address.port()))
}

pub(super) fn not_an_address(text: &str) -> String {
    if text.contains('%') {
        return "leave out the \"%\" and what follows; name an address that needs no interface".into();
    }
    if name(text).is_ok() {
        return "write the address itself: a name would make this question depend on the resolvers".into();
    }
    "for example \"192.0.2.53\", \"192.0.2.53:5300\", \"2001:db8::53\" or \"[2001:db8::53]:5300\"".into()
}

/// Refuses what can't be one host's address (RFC 6890 and RFC 4291).
pub(super) fn reachable(address: IpAddr) -> Result<IpAddr, String> {
    let address = address.to_canonical();
    let why = match address {
        ip if ip.is_unspecified() => "this is no host's address; write the host's own",
        ip if ip.is_multicast() => "this is a multicast address; write the address of one host",
        IpAddr::V4(Ipv4Addr::BROADCAST) => "this is the broadcast address; write the address of one host",
        IpAddr::V4(ip) if ip.octets()[0] == 0 => "0.0.0.0/8 means \"this network\"; write the host's own address",
        IpAddr::V4(ip) if ip.octets()[0] >= 240 => "240.0.0.0/4 is reserved; write the host's own address",
        IpAddr::V6(ip) if ip.is_unicast_link_local() => "a link-local address needs an interface; write another",
        ip => return Ok(ip),
    };
    Err(why.into())
}

pub(super) fn hardware(text: &str) -> Result<[u8; 6], String> {
    let hint = || "write it as on its label: \"02:00:5e:10:00:01\"".to_owned();
    let separator = if text.contains('-') { '-' } else { ':' };
    let mut octets = [0; 6];
    let mut parts = text.split(separator);
    for octet in &mut octets {
        let part = parts.next().filter(|p| p.len() == 2 && p.bytes().all(|b| b.is_ascii_hexdigit()));
        *octet = part.and_then(|p| u8::from_str_radix(p, 16).ok()).ok_or_else(hint)?;
    }
    if parts.next().is_some() {
        return Err(hint());
    }
    if octets == [0; 6] || octets[0] & 1 == 1 {
        return Err("this address belongs to no single station; write the communicator's own".into());
    }
    Ok(octets)
}
