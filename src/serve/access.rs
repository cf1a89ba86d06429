//! Who may look. Pure: the time that a session is checked against is passed in.
//!
//! Without a token: this host, and the addresses on the list. With one: whoever shows it, and the addresses on the
//! list. A token is known by its SHA-256 only (FIPS 180-4) and compared in a time that does not tell how much of it is
//! right. A browser that logs in with it gets a session: an end and its keyed hash (RFC 2104), so the server stores none.

use ring::{digest, hmac};
use std::fmt::Write as _;
use std::net::IpAddr;
use std::str::FromStr;

/// The shortest token that is one (choice: 16 letters and digits drawn at random can't be guessed over a network).
const SHORTEST_TOKEN: usize = 16;
/// The longest that is looked at.
const LONGEST_TOKEN: usize = 512;
/// A session lasts this long (choice: a month).
pub(super) const SESSION_LASTS_S: i64 = 30 * 86_400;

/// Who may look, and by which names the server goes.
#[derive(Debug)]
pub struct Access {
    /// Names that `Host` may hold beside addresses and `localhost`.
    pub names: Vec<String>,
    /// What must be shown.
    pub token: Option<Token>,
    /// Who need not show it.
    pub allow: Vec<Prefix>,
}

/// Whether a client is admitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Admission {
    /// It is.
    Granted,
    /// Only with a token or a session.
    TokenNeeded,
    /// Not from this address.
    Denied,
}

impl Access {
    /// Whether an address other than this host's own may be listened on.
    pub fn is_guarded(&self) -> bool {
        self.token.is_some() || !self.allow.is_empty()
    }

    /// Whether a client at this address, which has shown nothing yet, is admitted.
    pub(super) fn admission(&self, peer: IpAddr) -> Admission {
        let peer = peer.to_canonical();
        if self.allow.iter().any(|p| p.holds(peer)) {
            Admission::Granted
        } else if self.token.is_some() {
            Admission::TokenNeeded
        } else if peer.is_loopback() {
            Admission::Granted
        } else {
            Admission::Denied
        }
    }
}

/// A token, known by its hash.
pub struct Token {
    /// The hash under a key nobody knows: comparing these tells nothing of the hash.
    blind: hmac::Tag,
    key: hmac::Key,
    sessions: hmac::Key,
}

impl std::fmt::Debug for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Token")
    }
}

impl Token {
    /// The token of a line: itself, or `sha256:` and its hash in hexadecimal digits. `secret` signs sessions.
    pub fn new(line: &str, secret: &[u8; 32]) -> Result<Self, String> {
        let digest = if let Some(hex) = line.strip_prefix("sha256:") {
            unhex(hex).ok_or("after `sha256:` come 64 hexadecimal digits")?
        } else if line.len() >= SHORTEST_TOKEN
            && line.len() <= LONGEST_TOKEN
            && line.bytes().all(|b| b.is_ascii_graphic())
        {
            hash(line.as_bytes())
        } else {
            return Err(format!(
                "its first line must be {SHORTEST_TOKEN} to {LONGEST_TOKEN} printable characters, or `sha256:` and the hash of such"
            ));
        };
        // Another token ends all sessions of the one before.
        let both = [&secret[..], &digest].concat();
        let key = hmac::Key::new(hmac::HMAC_SHA256, &hash(&[&both[..], b"token"].concat()));
        let sessions = hmac::Key::new(hmac::HMAC_SHA256, &hash(&[&both[..], b"session"].concat()));
        Ok(Self { blind: hmac::sign(&key, &digest), key, sessions })
    }

    /// Whether this is it.
    pub(super) fn is(&self, shown: &[u8]) -> bool {
        shown.len() <= LONGEST_TOKEN && hmac::verify(&self.key, &hash(shown), self.blind.as_ref()).is_ok()
    }

    /// A session that lasts from `now`, seconds since the Unix epoch.
    pub(super) fn session(&self, now: i64) -> String {
        let end = now.saturating_add(SESSION_LASTS_S);
        let mut out = format!("{end}.");
        for byte in hmac::sign(&self.sessions, end.to_string().as_bytes()).as_ref() {
            let _ = write!(out, "{byte:02x}");
        }
        out
    }

    /// Whether this is a session that was given and has not ended.
    pub(super) fn is_session(&self, shown: &str, now: i64) -> bool {
        let Some((end, tag)) = shown.split_once('.') else { return false };
        let Some(tag) = unhex(tag) else { return false };
        let lasts = end.parse::<i64>().is_ok_and(|e| e > now && e <= now.saturating_add(SESSION_LASTS_S));
        hmac::verify(&self.sessions, end.as_bytes(), &tag).is_ok() && lasts
    }
}

fn hash(bytes: &[u8]) -> [u8; digest::SHA256_OUTPUT_LEN] {
    let mut out = [0; digest::SHA256_OUTPUT_LEN];
    out.copy_from_slice(digest::digest(&digest::SHA256, bytes).as_ref());
    out
}

fn unhex(text: &str) -> Option<[u8; 32]> {
    let mut out = [0; 32];
    if text.len() != 64 || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    for (byte, pair) in out.iter_mut().zip(text.as_bytes().chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
    }
    Some(out)
}

/// Addresses that begin alike: `192.0.2.0/24`, or one address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Prefix {
    address: IpAddr,
    length: u32,
}

impl Prefix {
    /// Whether an address is among them.
    pub fn holds(&self, address: IpAddr) -> bool {
        let (bits, own, width) = match (address, self.address) {
            (IpAddr::V4(a), IpAddr::V4(b)) => (u128::from(a.to_bits()), u128::from(b.to_bits()), 32),
            (IpAddr::V6(a), IpAddr::V6(b)) => (a.to_bits(), b.to_bits(), 128),
            _ => return false,
        };
        self.length == 0 || (bits ^ own) >> (width - self.length) == 0
    }
}

impl FromStr for Prefix {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || "give an address or a prefix, as in 192.0.2.7 or 192.0.2.0/24".to_owned();
        let (address, length) = text.split_once('/').map_or((text, None), |(a, l)| (a, Some(l)));
        let address: IpAddr = address.parse().map_err(|_| wrong())?;
        let width = if address.is_ipv4() { 32 } else { 128 };
        let length = match length {
            None => width,
            Some(l) if l.bytes().all(|b| b.is_ascii_digit()) => l.parse().map_err(|_| wrong())?,
            Some(_) => return Err(wrong()),
        };
        if length > width {
            return Err(wrong());
        }
        Ok(Self { address, length })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECRET: [u8; 32] = [7; 32];

    #[test]
    fn a_token_is_known_by_its_hash() {
        // FIPS 180-4's own example, "abc" and its hash, is too short for a token; the hash may be given all the same.
        let abc = "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        let t = Token::new(abc, &SECRET).expect("a hash");
        assert!(t.is(b"abc") && !t.is(b"abd") && !t.is(b"") && !t.is(&[b'a'; 600]));
        let t = Token::new("correct-horse-battery", &SECRET).expect("long enough");
        assert!(t.is(b"correct-horse-battery") && !t.is(b"correct-horse-batterx"));
        for wrong in ["short", "with a blank in it, too", "sha256:12", &"a".repeat(600)] {
            assert!(Token::new(wrong, &SECRET).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_session_ends_and_can_t_be_made() {
        let t = Token::new("correct-horse-battery", &SECRET).expect("long enough");
        let session = t.session(1_000);
        assert!(t.is_session(&session, 1_000) && t.is_session(&session, 1_000 + SESSION_LASTS_S - 1));
        assert!(!t.is_session(&session, 1_000 + SESSION_LASTS_S), "it has ended");
        assert!(!t.is_session(&session, 0), "it would last too long");
        let longer = session.replacen("2593000", "2593001", 1);
        assert_ne!(longer, session);
        assert!(!t.is_session(&longer, 1_000));
        for wrong in ["", ".", "1.2", "9999999999.00", &session[..session.len() - 1]] {
            assert!(!t.is_session(wrong, 1_000), "{wrong}");
        }
        let other = Token::new("correct-horse-batterz", &SECRET).expect("long enough");
        assert!(!other.is_session(&session, 1_000), "another token");
        let again = Token::new("correct-horse-battery", &SECRET).expect("long enough");
        assert!(again.is_session(&session, 1_000), "after a restart");
        let elsewhere = Token::new("correct-horse-battery", &[8; 32]).expect("long enough");
        assert!(!elsewhere.is_session(&session, 1_000));
    }

    #[test]
    fn a_prefix_holds_what_begins_alike() {
        let holds = |p: &str, a: &str| p.parse::<Prefix>().expect("a prefix").holds(a.parse().expect("an address"));
        assert!(holds("192.0.2.0/24", "192.0.2.255") && !holds("192.0.2.0/24", "192.0.3.0"));
        assert!(holds("192.0.2.7", "192.0.2.7") && !holds("192.0.2.7", "192.0.2.6"));
        assert!(holds("0.0.0.0/0", "203.0.113.1") && !holds("0.0.0.0/0", "::1"));
        assert!(holds("2001:db8::/32", "2001:db8:ffff::1") && !holds("2001:db8::/32", "2001:db9::1"));
        for wrong in ["", "192.0.2.0/33", "192.0.2.0/", "192.0.2.0/+8", "2001:db8::/129", "home.arpa", "192.0.2.0/8/8"]
        {
            assert!(wrong.parse::<Prefix>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn this_host_is_admitted_only_where_nothing_must_be_shown() {
        let access = |token: Option<&str>, allow: &[&str]| Access {
            names: Vec::new(),
            token: token.map(|t| Token::new(t, &SECRET).expect("a token")),
            allow: allow.iter().map(|p| p.parse().expect("a prefix")).collect(),
        };
        let of = |a: &Access, peer: &str| a.admission(peer.parse().expect("an address"));
        let open = access(None, &[]);
        assert_eq!(
            [of(&open, "127.0.0.1"), of(&open, "::1"), of(&open, "192.0.2.7")],
            [Admission::Granted, Admission::Granted, Admission::Denied]
        );
        assert!(!open.is_guarded());
        let listed = access(None, &["192.0.2.0/24"]);
        assert_eq!([of(&listed, "192.0.2.7"), of(&listed, "::ffff:192.0.2.7")], [Admission::Granted; 2]);
        assert_eq!(of(&listed, "198.51.100.7"), Admission::Denied);
        let locked = access(Some("correct-horse-battery"), &["192.0.2.7"]);
        assert_eq!([of(&locked, "127.0.0.1"), of(&locked, "192.0.2.8")], [Admission::TokenNeeded; 2]);
        assert_eq!(of(&locked, "192.0.2.7"), Admission::Granted);
    }
}
