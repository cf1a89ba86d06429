//! What tells one device or home from another, masked: hardware addresses but for their maker's part (IEEE OUI), public
//! addresses but for their first half. Private, shared and loopback addresses (RFC 6890) say nothing of a home and stay.

use std::net::IpAddr;

/// The text with every hardware and public address in it masked.
pub(super) fn masked(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut token = String::new();
    for c in text.chars().chain(['\n']) {
        if c.is_ascii_hexdigit() || c == ':' || c == '.' {
            token.push(c);
        } else {
            out.push_str(&token_masked(&token));
            token.clear();
            out.push(c);
        }
    }
    out.pop();
    out
}

/// The last two characters of a secret, so that two can be told apart.
pub(super) fn secret(text: &str) -> String {
    let n = text.chars().count();
    let kept: String = if n > 4 { text.chars().skip(n - 2).collect() } else { String::new() };
    format!("…{kept} (masked)")
}

fn token_masked(token: &str) -> String {
    let bare = token.trim_end_matches(['.', ':']);
    let rest = &token[bare.len()..];
    let groups: Vec<&str> = bare.split(':').collect();
    if groups.len() == 6 && groups.iter().all(|g| g.len() == 2) {
        return format!("{}:xx:xx:xx{rest}", groups[..3].join(":"));
    }
    let (host, port) = match bare.rsplit_once(':') {
        Some((host, port)) if !host.contains(':') => (host, format!(":{port}")),
        _ => (bare, String::new()),
    };
    match host.parse::<IpAddr>() {
        Ok(IpAddr::V4(a))
            if !(a.is_private()
                || a.is_loopback()
                || a.is_link_local()
                || a.is_unspecified()
                || shared(a.octets())) =>
        {
            format!("{}.{}.x.x{port}{rest}", a.octets()[0], a.octets()[1])
        }
        Ok(IpAddr::V6(a)) if a.segments()[0] & 0xe000 == 0x2000 => {
            format!("{:x}:{:x}:x{rest}", a.segments()[0], a.segments()[1])
        }
        _ => token.to_owned(),
    }
}

/// 100.64.0.0/10 (RFC 6598).
const fn shared([a, b, ..]: [u8; 4]) -> bool {
    a == 100 && b & 0xc0 == 64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_tells_homes_apart_is_masked_and_nothing_else() {
        for (text, told) in [
            ("203.0.113.20:4500.", "203.0.x.x:4500."),
            ("192.168.1.1 at 02:00:5e:10:00:01", "192.168.1.1 at 02:00:5e:xx:xx:xx"),
            ("100.64.3.4 (shared)", "100.64.3.4 (shared)"),
            ("2001:db8:5::53, lease 24 h", "2001:db8:x, lease 24 h"),
            ("fe80::1 and fd00::7", "fe80::1 and fd00::7"),
            ("began 09:17:00, 1.2 ms", "began 09:17:00, 1.2 ms"),
        ] {
            assert_eq!(masked(text), told);
        }
        assert_eq!((secret("A1B2-C3D4").as_str(), secret("12").as_str()), ("…D4 (masked)", "… (masked)"));
    }
}
