//! What this host knows of its own network, as far as the plan needs it.
//!
//! Decides which interface and gateway hold the default route (the kernel's route tables as text) and which resolvers
//! the host was given (`resolv.conf(5)`). Sends nothing. Parsers are pure; [`HostFacts::read`] reads the files. Leases
//! are read elsewhere: who has one puts its resolvers in with [`HostFacts::with_lease`].

use std::io::Read as _;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};
use std::path::Path;

/// What this host knows of its own network.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct HostFacts {
    /// All interfaces, as the kernel names them; empty where that could not be read.
    pub interfaces: Vec<String>,
    /// The interface that holds the default route, IPv4 before IPv6.
    pub default_interface: Option<String>,
    /// The gateway of that route.
    pub gateway: Option<IpAddr>,
    /// Resolvers.
    pub resolvers: Vec<IpAddr>,
    /// Where the resolvers come from.
    pub resolver_source: ResolverSource,
}

/// Where the resolvers come from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ResolverSource {
    /// Nowhere: none were found.
    #[default]
    None,
    /// The lease as the host's client recorded it.
    Lease,
    /// `/etc/resolv.conf`.
    ResolvConf,
}

/// The most bytes read of any one file.
const MOST_BYTES: u64 = 1 << 20;

impl HostFacts {
    /// Reads the running host. What can't be read stays empty.
    pub fn read() -> Self {
        Self::read_from(Path::new("/proc"), Path::new("/sys"), Path::new("/etc"))
    }

    fn read_from(proc: &Path, sys: &Path, etc: &Path) -> Self {
        let v4 = default_route_v4(&text(&proc.join("net/route")));
        let v6 = default_route_v6(&text(&proc.join("net/ipv6_route")));
        let route = v4.map(|(i, g)| (i, g.map(IpAddr::V4))).or_else(|| v6.map(|(i, g)| (i, g.map(IpAddr::V6))));
        let (default_interface, gateway) = route.map_or((None, None), |(i, g)| (Some(i), g));
        let mut interfaces: Vec<String> = std::fs::read_dir(sys.join("class/net"))
            .map(|d| d.filter_map(|e| e.ok()?.file_name().into_string().ok()).collect())
            .unwrap_or_default();
        interfaces.sort();
        let resolvers = resolv_conf(&text(&etc.join("resolv.conf")));
        let resolver_source = if resolvers.is_empty() { ResolverSource::None } else { ResolverSource::ResolvConf };
        Self { interfaces, default_interface, gateway, resolvers, resolver_source }
    }

    /// The same with the resolvers of the lease, where it names any.
    pub fn with_lease(mut self, resolvers: Vec<IpAddr>) -> Self {
        if !resolvers.is_empty() {
            self.resolvers = resolvers;
            self.resolver_source = ResolverSource::Lease;
        }
        self
    }
}

/// The default route in `/proc/net/route` (columns: interface, destination, gateway, flags, …, metric at 6, mask at 7;
/// addresses in the host's byte order), least metric first. The gateway is `None` on a point-to-point link.
pub fn default_route_v4(table: &str) -> Option<(String, Option<Ipv4Addr>)> {
    const UP: u32 = 1;
    let routes = table.lines().skip(1).filter_map(|line| {
        let f: Vec<&str> = line.split_whitespace().collect();
        let hex = |i: usize| u32::from_str_radix(f.get(i)?, 16).ok();
        let metric: u32 = f.get(6)?.parse().ok()?;
        let usable = hex(1)? == 0 && hex(7)? == 0 && hex(3)? & UP != 0;
        let gateway = Ipv4Addr::from(hex(2)?.to_ne_bytes());
        usable.then(|| (metric, (*f[0]).to_owned(), (!gateway.is_unspecified()).then_some(gateway)))
    });
    routes.min_by_key(|r| r.0).map(|(_, interface, gateway)| (interface, gateway))
}

/// The default route in `/proc/net/ipv6_route` (columns: destination, length, source, length, next hop, metric, …,
/// flags at 8, interface at 9; all hexadecimal), least metric first. Routes on `lo` refuse rather than carry.
pub fn default_route_v6(table: &str) -> Option<(String, Option<Ipv6Addr>)> {
    let routes = table.lines().filter_map(|line| {
        let f: Vec<&str> = line.split_whitespace().collect();
        let default = u128::from_str_radix(f.first()?, 16).ok()? == 0 && *f.get(1)? == "00";
        let hop = Ipv6Addr::from(u128::from_str_radix(f.get(4)?, 16).ok()?);
        let metric = u32::from_str_radix(f.get(5)?, 16).ok()?;
        let interface = *f.get(9)?;
        (default && interface != "lo").then(|| (metric, interface.to_owned(), (!hop.is_unspecified()).then_some(hop)))
    });
    routes.min_by_key(|r| r.0).map(|(_, interface, gateway)| (interface, gateway))
}

/// The name servers in a `resolv.conf(5)`. Those with a zone (`fe80::1%eth0`) are left out: they can't be asked without
/// their interface.
pub fn resolv_conf(text: &str) -> Vec<IpAddr> {
    let mut found = Vec::new();
    for line in text.lines() {
        let mut words = line.split_whitespace();
        if words.next() == Some("nameserver")
            && let Some(Ok(address)) = words.next().map(str::parse::<IpAddr>)
            && !address.is_unspecified()
            && !found.contains(&address)
        {
            found.push(address);
        }
    }
    found
}

fn text(path: &Path) -> String {
    let mut bytes = Vec::new();
    // An unreadable file is a host that does not say: the plan's notes name what is missing.
    if let Ok(file) = std::fs::File::open(path) {
        let _ = file.take(MOST_BYTES).read_to_end(&mut bytes);
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Taken from a running Linux 6.18 (little-endian) and renumbered to documentation addresses, with a second route
    /// of a larger metric and one that is not up.
    const V4: &str = "Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT\n\
        wlan0\t00000000\t010200C0\t0003\t0\t0\t600\t00000000\t0\t0\t0\n\
        eth9\t00000000\t090200C0\t0002\t0\t0\t0\t00000000\t0\t0\t0\n\
        eth0\t00000000\tFE0200C0\t0003\t0\t0\t100\t00000000\t0\t0\t0\n\
        eth0\t000200C0\t00000000\t0001\t0\t0\t100\t00FFFFFF\t0\t0\t0\n";

    const V6: &str = "\
        20010db8000000000000000000000000 40 00000000000000000000000000000000 00 00000000000000000000000000000000 00000100 00000001 00000000 00000001 eth0\n\
        00000000000000000000000000000000 00 00000000000000000000000000000000 00 fe800000000000000000000000000001 00000400 00000005 00000000 00450003 eth0\n\
        00000000000000000000000000000000 00 00000000000000000000000000000000 00 00000000000000000000000000000000 ffffffff 00000001 00000000 00200200 lo\n";

    #[test]
    #[cfg(target_endian = "little")]
    fn the_usable_default_route_of_least_metric_wins() {
        assert_eq!(default_route_v4(V4), Some(("eth0".into(), Some(Ipv4Addr::new(192, 0, 2, 254)))));
        assert_eq!(default_route_v6(V6), Some(("eth0".into(), Some("fe80::1".parse().unwrap()))));
        let ppp = "header\nppp0\t00000000\t00000000\t0001\t0\t0\t0\t00000000\t0\t0\t0\n";
        assert_eq!(default_route_v4(ppp), Some(("ppp0".into(), None)));
    }

    #[test]
    fn tables_without_a_default_route_give_none() {
        for text in ["", "Iface\n", "\u{0}\n\n", "a b c\n1 2 3\n", "é é é é é é é é é é é"] {
            assert_eq!(default_route_v4(text), None);
            assert_eq!(default_route_v6(text), None);
        }
        let lo_only = V6.lines().last().unwrap();
        assert_eq!(default_route_v6(lo_only), None);
    }

    #[test]
    fn resolvers_are_read_as_resolv_conf_5_writes_them() {
        let text = "# nameserver 192.0.2.9\n; nameserver 192.0.2.8\nsearch home.arpa\nnameserver 127.0.0.53\n\
                    nameserver\t2001:db8::53\r\nnameserver 127.0.0.53\nnameserver fe80::1%eth0\nnameserver 0.0.0.0\n\
                    nameserver\nnameservers 192.0.2.7\noptions edns0\n";
        let found: Vec<IpAddr> = ["127.0.0.53", "2001:db8::53"].map(|a| a.parse().unwrap()).into();
        assert_eq!(resolv_conf(text), found);
    }

    #[test]
    fn a_host_that_says_nothing_gives_nothing() {
        let empty = tempfile::tempdir().unwrap();
        assert_eq!(HostFacts::read_from(empty.path(), empty.path(), empty.path()), HostFacts::default());
    }

    #[test]
    fn the_running_host_agrees_with_iproute2() {
        // iproute2 asks the kernel by netlink: another way to the same tables.
        let said = |args: &[&str]| {
            let out = std::process::Command::new("ip").args(args).output().expect("needs iproute2");
            String::from_utf8(out.stdout).unwrap()
        };
        let route = said(&["-4", "route", "show", "default"]);
        let words: Vec<&str> = route.lines().next().unwrap_or_default().split_whitespace().collect();
        let after = |w: &str| words.iter().position(|x| *x == w).and_then(|i| words.get(i + 1)).copied();
        if let Some(device) = after("dev") {
            let facts = HostFacts::read();
            assert_eq!(facts.default_interface.as_deref(), Some(device));
            assert_eq!(facts.gateway.map(|g| g.to_string()).as_deref(), after("via"));
            assert!(facts.interfaces.iter().any(|i| i == device));
        } else {
            assert_eq!(default_route_v4(&text(Path::new("/proc/net/route"))), None);
        }
    }
}
