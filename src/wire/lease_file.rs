//! Leases as the host's own DHCP client wrote them down.
//!
//! Decides what four clients' files say; which file is current is decided in `probe::address`. The formats belong to the
//! clients and none is a published standard: the key names here are from the clients' own manual pages and sources, from
//! memory, except for the DHCP message inside a `dhcpcd` file (RFC 2131). A file that makes no sense is `None`; an unknown
//! key is passed over, an unreadable value left unknown.

use super::dhcp::{self, MOST_ADDRESSES, prefix};
use crate::judge::Lease;
use std::net::{IpAddr, Ipv4Addr};

/// Most bytes of a file looked at.
pub const MOST_BYTES: usize = 64 * 1024;

/// A lease of `systemd-networkd` (`/run/systemd/netif/leases/<index>`): lines of `KEY=value`.
pub fn networkd(text: &str) -> Option<Lease> {
    keyed(text, "networkd")
}

/// A lease of `NetworkManager`'s internal client: `KEY=value` lines with names as `networkd`'s, or as its run-time device
/// file writes the options.
pub fn network_manager(text: &str) -> Option<Lease> {
    keyed(text, "network-manager")
}

fn keyed(text: &str, client: &str) -> Option<Lease> {
    let mut lease = Lease { recorded_by: Some(client.to_owned()), ..Lease::default() };
    for line in capped(text).lines() {
        let Some((key, value)) = line.split_once('=') else { continue };
        let value = value.trim();
        match key.trim() {
            "ADDRESS" | "ip_address" => lease.address = address(value),
            "SERVER_ADDRESS" | "dhcp_server_identifier" => lease.server = address(value),
            "NETMASK" | "subnet_mask" => lease.prefix = value.parse::<Ipv4Addr>().ok().and_then(prefix),
            "LIFETIME" | "dhcp_lease_time" => lease.lease_s = span(value),
            "T1" | "dhcp_renewal_time" => lease.renew_s = span(value),
            "T2" | "dhcp_rebinding_time" => lease.rebind_s = span(value),
            "ROUTER" | "routers" => lease.routers = list(value),
            "DNS" | "domain_name_servers" => lease.resolvers = list(value),
            _ => {}
        }
    }
    lease.address.is_some().then_some(lease)
}

/// The last lease for `interface` in a `dhclient` file (`dhclient.leases(5)`): blocks `lease { ... }`, the newest last.
pub fn dhclient(text: &str, interface: &str) -> Option<Lease> {
    let mut newest = None;
    let mut open: Option<(Lease, bool)> = None;
    for line in capped(text).lines() {
        let line = line.trim();
        if line.starts_with("lease") && line.ends_with('{') {
            open = Some((Lease { recorded_by: Some("dhclient".to_owned()), ..Lease::default() }, true));
        } else if line == "}" {
            if let Some((lease, ours)) = open.take()
                && ours
                && lease.address.is_some()
            {
                newest = Some(lease);
            }
        } else if let Some((lease, ours)) = &mut open {
            let statement = line.strip_suffix(';').unwrap_or(line);
            let statement = statement.strip_prefix("option ").unwrap_or(statement);
            let Some((key, value)) = statement.split_once(' ') else { continue };
            let value = value.trim();
            match key {
                "interface" => *ours = value.trim_matches('"') == interface,
                "fixed-address" => lease.address = address(value),
                "dhcp-server-identifier" => lease.server = address(value),
                "subnet-mask" => lease.prefix = value.parse::<Ipv4Addr>().ok().and_then(prefix),
                "dhcp-lease-time" => lease.lease_s = value.parse().ok(),
                "dhcp-renewal-time" => lease.renew_s = value.parse().ok(),
                "dhcp-rebinding-time" => lease.rebind_s = value.parse().ok(),
                "routers" => lease.routers = list(value),
                "domain-name-servers" => lease.resolvers = list(value),
                _ => {}
            }
        }
    }
    newest
}

/// A `dhcpcd` lease file: the server's DHCP message as it came, without lower headers.
pub fn dhcpcd(bytes: &[u8]) -> Option<Lease> {
    let lease = dhcp::reply(&bytes[..bytes.len().min(MOST_BYTES)]).ok()??.lease;
    lease.address.is_some().then(|| Lease { recorded_by: Some("dhcpcd".to_owned()), ..lease })
}

/// The end of the text, where the newest lease is, cut at a character.
fn capped(text: &str) -> &str {
    let mut start = text.len().saturating_sub(MOST_BYTES);
    while !text.is_char_boundary(start) {
        start += 1;
    }
    &text[start..]
}

/// An address a host can hold or a server can have.
fn address(value: &str) -> Option<IpAddr> {
    value.parse().ok().filter(|a: &IpAddr| !a.is_unspecified() && !a.is_multicast())
}

fn list(value: &str) -> Vec<IpAddr> {
    value.split([' ', ',']).filter_map(address).take(MOST_ADDRESSES).collect()
}

/// Seconds, plain or as a time span (`systemd.time(7)`): `3600`, `1h`, `1h 30min`, `infinity`.
fn span(value: &str) -> Option<u32> {
    if value == "infinity" {
        return Some(u32::MAX);
    }
    let mut total = 0u64;
    let mut rest = value.trim();
    while !rest.is_empty() {
        let digits = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
        let number: u64 = rest[..digits].parse().ok()?;
        rest = rest[digits..].trim_start();
        let letters = rest.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(rest.len());
        let unit = match &rest[..letters] {
            "" | "s" | "sec" => 1,
            "min" | "m" => 60,
            "h" | "hr" => 3_600,
            "d" => 86_400,
            "w" => 604_800,
            // 30.44 and 365.25 days, as systemd.time(7) counts them.
            "month" | "M" => 2_629_800,
            "y" => 31_557_600,
            _ => return None,
        };
        total = total.checked_add(number.checked_mul(unit)?)?;
        rest = rest[letters..].trim_start();
    }
    (!value.trim().is_empty()).then(|| u32::try_from(total).unwrap_or(u32::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ip(text: &str) -> IpAddr {
        text.parse().expect("literal")
    }

    #[test]
    fn networkd_by_its_own_keys() {
        let text = "# This is private data. Do not parse.\nADDRESS=192.0.2.50\nNETMASK=255.255.255.0\nROUTER=192.0.2.1\n\
            SERVER_ADDRESS=192.0.2.1\nT1=30min\nT2=52min 30s\nLIFETIME=1h\nDNS=192.0.2.1 198.51.100.53\nCLIENTID=ff00\n";
        let lease = networkd(text).expect("a lease");
        assert_eq!((lease.lease_s, lease.renew_s, lease.rebind_s), (Some(3_600), Some(1_800), Some(3_150)));
        assert_eq!((lease.prefix, lease.server), (Some(24), Some(ip("192.0.2.1"))));
        assert_eq!(lease.resolvers, [ip("192.0.2.1"), ip("198.51.100.53")]);
        assert_eq!(lease.recorded_by.as_deref(), Some("networkd"));
    }

    #[test]
    fn network_manager_old_and_new() {
        let new = "[device]\nmanaged=1\n[dhcp4]\nip_address=192.0.2.50\ndhcp_lease_time=600\nrouters=192.0.2.1\n";
        let lease = network_manager(new).expect("a lease");
        assert_eq!((lease.address, lease.lease_s), (Some(ip("192.0.2.50")), Some(600)));
        let old = network_manager("# This is private data. Do not parse.\nADDRESS=192.0.2.50\n").expect("a lease");
        assert_eq!((old.address, old.lease_s, old.server), (Some(ip("192.0.2.50")), None, None));
        assert_eq!(network_manager("[device]\nmanaged=1\n"), None);
    }

    #[test]
    fn dhclient_takes_the_newest_lease_of_the_interface() {
        // Shape from dhclient.leases(5) and dhcp-options(5).
        let block = |interface: &str, last: u8| {
            format!(
                "lease {{\n  interface \"{interface}\";\n  fixed-address 192.0.2.{last};\n  option subnet-mask 255.255.255.0;\n\
                   option routers 192.0.2.1, 192.0.2.2;\n  option dhcp-lease-time 600;\n  option dhcp-message-type 5;\n\
                   option domain-name-servers 192.0.2.1,198.51.100.53;\n  option dhcp-server-identifier 192.0.2.1;\n\
                   renew 2 2024/01/02 03:04:05;\n  expire 2 2024/01/02 03:14:05;\n}}\n"
            )
        };
        let text = [block("eth0", 50), block("eth0", 51), block("eth1", 60)].concat();
        let lease = dhclient(&text, "eth0").expect("a lease");
        assert_eq!((lease.address, lease.lease_s), (Some(ip("192.0.2.51")), Some(600)));
        assert_eq!(lease.routers, [ip("192.0.2.1"), ip("192.0.2.2")]);
        assert_eq!(lease.resolvers, [ip("192.0.2.1"), ip("198.51.100.53")]);
        assert_eq!(dhclient(&text, "eth2"), None);
        assert_eq!(dhclient("lease {\n fixed-address 192.0.2.50;\n", "eth0"), None, "the block was not finished");
    }

    #[test]
    fn a_huge_file_is_read_from_its_end() {
        let text = "é".repeat(MOST_BYTES) + "\nADDRESS=192.0.2.50\n";
        assert_eq!(networkd(&text).expect("a lease").address, Some(ip("192.0.2.50")));
    }

    #[test]
    fn time_spans_as_systemd_writes_them() {
        for (text, seconds) in [
            ("86400", Some(86_400)),
            ("1h 30min", Some(5_400)),
            ("2w", Some(1_209_600)),
            ("1d", Some(86_400)),
            ("infinity", Some(u32::MAX)),
            ("99999999999999999999", None),
            ("9999999999 y", Some(u32::MAX)),
            ("soon", None),
            ("-5", None),
            ("", None),
        ] {
            assert_eq!(span(text), seconds, "{text}");
        }
    }
}
