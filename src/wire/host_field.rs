//! The `Host` field of a request that comes in (RFC 9110, section 7.2): does it name this server?
//!
//! An address, `localhost`, or a name the owner gave. A web page that makes a browser ask under its own name (DNS
//! rebinding) is told by that name.

use std::net::{IpAddr, Ipv6Addr};

/// Whether the field names this server; `names` are those the owner gave beside addresses and `localhost`.
pub fn is_ours(field: &[u8], names: &[String]) -> bool {
    let Ok(host) = std::str::from_utf8(field) else { return false };
    let name = if let Some(rest) = host.strip_prefix('[') {
        let Some((address, port)) = rest.split_once(']') else { return false };
        return is_port(port) && address.parse::<Ipv6Addr>().is_ok();
    } else {
        match host.split_once(':') {
            Some((name, _)) if is_port(&host[name.len()..]) => name,
            Some(_) => return false,
            None => host,
        }
    };
    let name = name.strip_suffix('.').unwrap_or(name);
    name.parse::<IpAddr>().is_ok()
        || name.eq_ignore_ascii_case("localhost")
        || names.iter().any(|n| n.eq_ignore_ascii_case(name))
}

/// Nothing, or a colon and digits.
fn is_port(text: &str) -> bool {
    text.is_empty() || text.strip_prefix(':').is_some_and(|p| p.len() <= 5 && p.bytes().all(|b| b.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_localhost_and_given_names_are_ours() {
        let names = ["agent.home.arpa".to_owned()];
        for ours in ["127.0.0.1", "127.0.0.1:9750", "[::1]:9750", "LOCALHOST:9750", "agent.home.arpa:80", "192.0.2.7"] {
            assert!(is_ours(ours.as_bytes(), &names), "{ours}");
        }
        for other in ["rebind.example", "127.0.0.1.rebind.example:9750", "[::1", "[::1]x", "", "localhost:x", "a:b:c"] {
            assert!(!is_ours(other.as_bytes(), &names), "{other}");
        }
        assert!(!is_ours(b"\xff", &names));
        assert!(!is_ours(b"agent.home.arpa", &[]));
    }
}
