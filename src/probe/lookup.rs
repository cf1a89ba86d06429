//! The addresses of a host the site file names by name.
//!
//! Decides which of them are tried, and in which order. Asks the plan's resolvers, without a cache.

use crate::judge::Micros;
use crate::site::{Host, Resolver};
use hickory_resolver::config::{ConnectionConfig, LookupIpStrategy, NameServerConfig, ResolveHosts, ResolverConfig};
use hickory_resolver::net::runtime::TokioRuntimeProvider;
use std::net::IpAddr;

/// Addresses of one name tried.
const ADDRESSES: usize = 4;

/// The host's addresses, IPv6 first; a literal address is its own. The error is why there are none, in words.
pub(super) async fn addresses(host: &Host, resolvers: &[Resolver], patience: Micros) -> Result<Vec<IpAddr>, String> {
    let name = match host {
        Host::Address(a) => return Ok(vec![*a]),
        Host::Name(n) => format!("{}.", n.trim_end_matches('.')),
    };
    if resolvers.is_empty() {
        return Err("no resolver to ask".to_owned());
    }
    let servers = resolvers.iter().map(|r| {
        let at = |mut c: ConnectionConfig| {
            c.port = r.address.port();
            c
        };
        let ways = vec![at(ConnectionConfig::udp()), at(ConnectionConfig::tcp())];
        NameServerConfig::new(r.address.ip(), true, ways)
    });
    let config = ResolverConfig::from_name_servers(servers.collect());
    let mut builder = hickory_resolver::Resolver::builder_with_config(config, TokioRuntimeProvider::default());
    let options = builder.options_mut();
    options.cache_size = 0;
    options.attempts = 0;
    options.timeout = patience.to_std();
    options.use_hosts_file = ResolveHosts::Never;
    options.ip_strategy = LookupIpStrategy::Ipv6AndIpv4;
    options.num_concurrent_reqs = resolvers.len().min(3);
    let resolver = builder.build().map_err(|e| e.to_string())?;
    match tokio::time::timeout(patience.to_std(), resolver.lookup_ip(name)).await {
        Ok(Ok(found)) => Ok(pick(found.iter())),
        Ok(Err(e)) => Err(e.to_string().chars().take(200).collect()),
        Err(_) => Err("no answer from the resolvers".to_owned()),
    }
}

/// At most four addresses in the order given, but never all of one family when both are there.
fn pick(found: impl Iterator<Item = IpAddr>) -> Vec<IpAddr> {
    let (six, four): (Vec<_>, Vec<_>) = found.take(64).partition(IpAddr::is_ipv6);
    let sixes = six.len().min(ADDRESSES - four.len().min(ADDRESSES / 2));
    six.into_iter().take(sixes).chain(four).take(ADDRESSES).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_families_get_their_try() {
        let a = |s: &str| s.parse::<IpAddr>().expect("an address");
        let six: Vec<_> = (1..6).map(|i| a(&format!("2001:db8::{i}"))).collect();
        let four = [a("192.0.2.1"), a("192.0.2.2"), a("192.0.2.3")];
        let both = pick(six.iter().copied().chain(four));
        assert_eq!(both, [six[0], six[1], four[0], four[1]]);
        assert_eq!(pick(six.iter().copied()).len(), 4);
        assert_eq!(pick(six.into_iter().take(1).chain(four)).len(), 4);
    }
}
