//! SNTP (RFC 5905, RFC 4330): one client request out, one reply checked, offset and error bound from the four times.
//!
//! Decides whether bytes are the answer to our request and what they say of the two clocks. The transmit time we send is
//! random: it tells the server nothing and nobody off the path can guess it (RFC 5905 section 8 compares it bit by bit).
//! Times are 64-bit NTP timestamps; only differences are taken, so the era that begins in 2036 changes nothing.

use crate::judge::Micros;

/// Length of the header, and of our request.
pub const HEADER: usize = 48;
/// Seconds from the NTP epoch to the Unix epoch (RFC 5905 figure 4).
const UNIX: u64 = 2_208_988_800;
/// A source at this distance or further is not synchronised (RFC 5905 appendix A.5.1.1 `MAXDISP`), seconds.
const MAX_DISTANCE_S: i64 = 16;

/// A client request of version 4 whose transmit time is `cookie`.
pub fn request(cookie: u64) -> [u8; HEADER] {
    let mut m = [0; HEADER];
    m[0] = 4 << 3 | 3;
    m[40..].copy_from_slice(&cookie.to_be_bytes());
    m
}

/// What a reply turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checked {
    /// Too short or for another request: late or forged. To be ignored.
    NotOurs,
    /// For our request, but no sound answer.
    Malformed,
    /// A kiss of death (RFC 5905 section 7.4): the server does not want to be asked, with its code.
    Kiss([u8; 4]),
    /// The server says its own clock is not to be trusted.
    Unsynchronised,
    /// The server's times.
    Times(Times),
}

/// The times a server stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Times {
    /// When it got our request.
    pub received: u64,
    /// When it sent its answer.
    pub sent: u64,
    /// How far it may be from true time: half its root delay and its root dispersion.
    pub distance: Micros,
}

/// Checks a datagram.
pub fn check(cookie: u64, bytes: &[u8]) -> Checked {
    // What follows the header are extension fields and a MAC, which nobody asked for and nobody reads.
    let Some(m) = bytes.first_chunk::<HEADER>() else { return Checked::NotOurs };
    let long = |at: usize| u64::from_be_bytes(std::array::from_fn(|i| m[at + i]));
    let short = |at: usize| u32::from_be_bytes(std::array::from_fn(|i| m[at + i]));
    if long(24) != cookie {
        return Checked::NotOurs;
    }
    let (leap, version, mode, stratum) = (m[0] >> 6, m[0] >> 3 & 7, m[0] & 7, m[1]);
    if mode != 4 || !(1..=4).contains(&version) {
        return Checked::Malformed;
    }
    if stratum == 0 {
        let code = std::array::from_fn(|i| m[12 + i]);
        return if code.iter().all(u8::is_ascii_graphic) { Checked::Kiss(code) } else { Checked::Malformed };
    }
    let (received, sent) = (long(32), long(40));
    let distance = Micros(micros_of_short(short(4)) / 2 + micros_of_short(short(8)));
    if leap == 3 || stratum > 15 || distance >= Micros::from_secs(MAX_DISTANCE_S) {
        return Checked::Unsynchronised;
    }
    if received == 0 || sent == 0 || between(received, sent) < Micros::ZERO {
        return Checked::Malformed;
    }
    Checked::Times(Times { received, sent, distance })
}

/// This clock less the server's, and the bound on the error of that: half the round trip and what the server states.
/// `asked` is the wall clock when the request left, `took` the time until the answer came. `None` where the server
/// claims to have worked on it longer than we waited.
pub fn offset(asked: u64, took: Micros, t: &Times) -> Option<(Micros, Micros)> {
    let busy = between(t.received, t.sent);
    let delay = Micros(took.0.checked_sub(busy.0).filter(|d| *d >= 0)?);
    // RFC 5905 section 8: theta = ((T2 - T1) + (T3 - T4)) / 2, the server's clock less ours, where T4 = T1 + took.
    let theta =
        (i128::from(between(asked, t.received).0) + i128::from(between(asked, t.sent).0) - i128::from(took.0)) / 2;
    let offset = i64::try_from(-theta).ok()?;
    Some((Micros(offset), Micros(delay.0 / 2 + t.distance.0)))
}

/// An NTP timestamp of a Unix time in microseconds.
pub fn timestamp(unix: i64) -> u64 {
    let (s, us) = (unix.div_euclid(1_000_000), unix.rem_euclid(1_000_000) as u64);
    ((s as u64).wrapping_add(UNIX) << 32) | ((us << 32) / 1_000_000)
}

/// The second less the first, right within 68 years (RFC 5905 section 6).
fn between(first: u64, second: u64) -> Micros {
    let apart = i128::from(second.wrapping_sub(first).cast_signed());
    Micros(((apart * 1_000_000) >> 32) as i64)
}

/// NTP short format: seconds and 1/65536 s.
fn micros_of_short(n: u32) -> i64 {
    (i64::from(n) * 1_000_000) >> 16
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: i64 = 1_000_000;

    /// RFC 5905 figure 8: leap, version and mode; stratum; root delay and dispersion; reference; four timestamps.
    fn reply(first: u8, stratum: u8, origin: u64, received: u64, sent: u64) -> [u8; HEADER] {
        let mut m = [0; HEADER];
        (m[0], m[1]) = (first, stratum);
        m[4..8].copy_from_slice(&0x0000_8000_u32.to_be_bytes());
        m[8..12].copy_from_slice(&0x0000_4000_u32.to_be_bytes());
        m[24..32].copy_from_slice(&origin.to_be_bytes());
        m[32..40].copy_from_slice(&received.to_be_bytes());
        m[40..].copy_from_slice(&sent.to_be_bytes());
        m
    }

    /// RFC 5905 figure 4: 1 Jan 1970 is 2,208,988,800; 31 Dec 1999 is 3,155,587,200; 8 Feb 2036 is 63,104 in era 1,
    /// so that era begins 63,104 s earlier, on the 7th.
    #[test]
    fn times_are_those_of_the_table_in_rfc_5905() {
        assert_eq!(timestamp(0) >> 32, 2_208_988_800);
        assert_eq!(timestamp(946_598_400 * S) >> 32, 3_155_587_200);
        assert_eq!(timestamp(2_086_041_600 * S) >> 32, 63_104, "8 Feb 2036, 00:00:00 UTC");
        assert_eq!(timestamp(2_085_978_496 * S), 0, "7 Feb 2036, 06:28:16 UTC");
        assert_eq!(timestamp(500_000) & 0xffff_ffff, 0x8000_0000);
    }

    #[test]
    fn a_request_says_nothing_but_the_cookie() {
        let m = request(0x0102_0304_0506_0708);
        assert_eq!((m[0], &m[40..]), (0x23, &[1, 2, 3, 4, 5, 6, 7, 8][..]));
        assert!(m[1..40].iter().all(|b| *b == 0));
    }

    #[test]
    fn the_offset_is_ours_less_theirs_with_half_the_way_as_bound() {
        let asked = 1_800_000_000 * S;
        // Our clock is 3 s ahead; 40 ms there, 2 ms busy, 20 ms back. Root delay 0.5 s, dispersion 0.25 s.
        let server = |us: i64| timestamp(asked - 3 * S + us);
        let m = reply(0x24, 2, 77, server(40_000), server(42_000));
        let Checked::Times(t) = check(77, &m) else { panic!("{:?}", check(77, &m)) };
        assert_eq!(t.distance, Micros(500_000));
        let (offset, error) = offset(timestamp(asked), Micros(62_000), &t).expect("sound");
        // True offset 3 s; the asymmetry of 20 ms shifts it by 10 ms, within the bound of 30 ms and the distance.
        assert!((offset.0 - (3 * S - 10_000)).abs() <= 2, "{offset:?}");
        assert_eq!(error, Micros(530_000));
        assert_eq!(super::offset(timestamp(asked), Micros(1_000), &t), None, "busy longer than we waited");
    }

    #[test]
    fn differences_hold_across_the_end_of_the_era() {
        let asked = 2_085_978_496 * S - 10_000;
        let t = Times { received: timestamp(asked + 20_000), sent: timestamp(asked + 20_000), distance: Micros::ZERO };
        let (offset, error) = offset(timestamp(asked), Micros(40_000), &t).expect("sound");
        assert!(offset.0.abs() <= 2 && error == Micros(20_000), "{offset:?}");
    }

    #[test]
    fn what_is_no_answer_is_told_apart() {
        let (r, s) = (timestamp(S), timestamp(S));
        for (m, checked) in [
            (reply(0x24, 2, 78, r, s), Checked::NotOurs),
            (reply(0x23, 2, 77, r, s), Checked::Malformed),
            (reply(0x04, 2, 77, r, s), Checked::Malformed),
            (reply(0x24, 2, 77, r, 0), Checked::Malformed),
            (reply(0x24, 2, 77, timestamp(2 * S), s), Checked::Malformed),
            (reply(0xe4, 2, 77, r, s), Checked::Unsynchronised),
            (reply(0x24, 16, 77, r, s), Checked::Unsynchronised),
            (reply(0x24, 0, 77, r, s), Checked::Malformed),
        ] {
            assert_eq!(check(77, &m), checked, "{m:?}");
        }
        let mut kiss = reply(0xe4, 0, 77, 0, 0);
        kiss[12..16].copy_from_slice(b"RATE");
        assert_eq!(check(77, &kiss), Checked::Kiss(*b"RATE"));
        let mut far = reply(0x24, 2, 77, r, s);
        far[8] = 1;
        assert_eq!(check(77, &far), Checked::Unsynchronised, "a dispersion of 256 s");
        assert_eq!(check(77, &far[..47]), Checked::NotOurs);
    }
}
