//! STUN Binding (RFC 8489): one request out, one reply checked; the RESPONSE-PORT request of RFC 5780.
//!
//! Decides whether bytes are the reply to our request and which address they name. A FINGERPRINT that is there must hold;
//! MESSAGE-INTEGRITY is not looked at, for there is no shared secret. What the address means is the judge's.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// Length of the header.
const HEADER: usize = 20;
/// Magic cookie (section 5).
const COOKIE: u32 = 0x2112_A442;
/// Longest reply read; it has to fit one datagram on any link (RFC 8489 section 6.1 wants less than 1500).
pub const LONGEST: usize = 1_500;

const BINDING_REQUEST: u16 = 0x0001;
const BINDING_SUCCESS: u16 = 0x0101;
const BINDING_ERROR: u16 = 0x0111;
const MAPPED_ADDRESS: u16 = 0x0001;
const ERROR_CODE: u16 = 0x0009;
const XOR_MAPPED_ADDRESS: u16 = 0x0020;
const RESPONSE_PORT: u16 = 0x0027;
const FINGERPRINT: u16 = 0x8028;
const RESPONSE_ORIGIN: u16 = 0x802b;
const OTHER_ADDRESS: u16 = 0x802c;

/// A transaction id: 96 bits nobody else can guess.
pub type Transaction = [u8; 12];

/// What a reply turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checked {
    /// Not STUN, or another transaction: late or forged. To be ignored.
    NotOurs,
    /// Our transaction, but no sound reply.
    Malformed,
    /// The address and port the server saw.
    Mapped {
        /// The address and port.
        seen: SocketAddr,
        /// The server says it knows RFC 5780 (RESPONSE-ORIGIN or OTHER-ADDRESS), so RESPONSE-PORT may be asked for.
        behaviour: bool,
    },
    /// The server refused, with this code (section 14.8).
    Refused(u16),
}

/// A Binding request. With `response_port` the server is asked to answer to that port of our outside address instead
/// (RFC 5780 section 7.5).
pub fn request(id: Transaction, response_port: Option<u16>) -> Vec<u8> {
    let mut m = Vec::with_capacity(HEADER + 8);
    m.extend_from_slice(&BINDING_REQUEST.to_be_bytes());
    m.extend_from_slice(&(if response_port.is_some() { 8_u16 } else { 0 }).to_be_bytes());
    m.extend_from_slice(&COOKIE.to_be_bytes());
    m.extend_from_slice(&id);
    if let Some(port) = response_port {
        for part in [RESPONSE_PORT, 4, port, 0] {
            m.extend_from_slice(&part.to_be_bytes());
        }
    }
    m
}

/// Checks a datagram.
pub fn check(id: &Transaction, bytes: &[u8]) -> Checked {
    let Some((header, body)) = bytes.split_first_chunk::<HEADER>() else { return Checked::NotOurs };
    let word = |at: usize| u16::from_be_bytes([header[at], header[at + 1]]);
    if header[4..8] != COOKIE.to_be_bytes() || header[8..] != id[..] {
        return Checked::NotOurs;
    }
    if usize::from(word(2)) != body.len() || body.len() % 4 != 0 || bytes.len() > LONGEST {
        return Checked::Malformed;
    }
    let Some(found) = attributes(id, bytes) else { return Checked::Malformed };
    match word(0) {
        BINDING_SUCCESS => found
            .xored
            .or(found.plain)
            .map_or(Checked::Malformed, |seen| Checked::Mapped { seen, behaviour: found.behaviour }),
        BINDING_ERROR => found.error.map_or(Checked::Malformed, Checked::Refused),
        _ => Checked::Malformed,
    }
}

#[derive(Default)]
struct Found {
    xored: Option<SocketAddr>,
    plain: Option<SocketAddr>,
    error: Option<u16>,
    behaviour: bool,
}

/// Walks the attributes; the first of a kind counts (section 14). `None` where they do not fit the message.
fn attributes(id: &Transaction, message: &[u8]) -> Option<Found> {
    let mut found = Found::default();
    let mut at = HEADER;
    while at < message.len() {
        let (head, rest) = message[at..].split_first_chunk::<4>()?;
        let kind = u16::from_be_bytes([head[0], head[1]]);
        let length = usize::from(u16::from_be_bytes([head[2], head[3]]));
        let value = rest.get(..length)?;
        match kind {
            XOR_MAPPED_ADDRESS if found.xored.is_none() => found.xored = Some(address(value, Some(id))?),
            MAPPED_ADDRESS if found.plain.is_none() => found.plain = Some(address(value, None)?),
            ERROR_CODE if found.error.is_none() => found.error = Some(code(value)?),
            RESPONSE_ORIGIN | OTHER_ADDRESS => found.behaviour = true,
            FINGERPRINT => {
                // Section 14.7: CRC-32 of all before it, with the length field counting it; it is the last attribute.
                let sum = crc32(&message[..at]) ^ 0x5354_554e;
                let last = at + 8 == message.len();
                return (last && value == sum.to_be_bytes()).then_some(found);
            }
            _ => {}
        }
        at += 4 + length.next_multiple_of(4);
    }
    (at == message.len()).then_some(found)
}

/// Sections 14.1 and 14.2.
fn address(value: &[u8], xor: Option<&Transaction>) -> Option<SocketAddr> {
    let (head, octets) = value.split_first_chunk::<4>()?;
    let mut mask = [0u8; 16];
    if let Some(id) = xor {
        mask[..4].copy_from_slice(&COOKIE.to_be_bytes());
        mask[4..].copy_from_slice(id);
    }
    let port = u16::from_be_bytes([head[2] ^ mask[0], head[3] ^ mask[1]]);
    let ip = match head[1] {
        1 => {
            let o: [u8; 4] = octets.try_into().ok()?;
            IpAddr::V4(Ipv4Addr::from(std::array::from_fn::<u8, 4, _>(|i| o[i] ^ mask[i])))
        }
        2 => {
            let o: [u8; 16] = octets.try_into().ok()?;
            IpAddr::V6(Ipv6Addr::from(std::array::from_fn::<u8, 16, _>(|i| o[i] ^ mask[i])))
        }
        _ => return None,
    };
    let usable = port != 0 && !ip.is_unspecified() && !ip.is_multicast();
    usable.then_some(SocketAddr::new(ip, port))
}

fn code(value: &[u8]) -> Option<u16> {
    let (class, number) = (value.get(2)? & 7, *value.get(3)?);
    ((3..=6).contains(&class) && number < 100).then(|| u16::from(class) * 100 + u16::from(number))
}

/// CRC-32 of [V42], as section 14.7 names it; bit by bit, for messages are short.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, b| {
        (0..8).fold(crc ^ u32::from(*b), |c, _| if c & 1 == 1 { (c >> 1) ^ 0xedb8_8320 } else { c >> 1 })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ID: Transaction = [0xb7, 0xe7, 0xa7, 0x01, 0xbc, 0x34, 0xd6, 0x86, 0xfa, 0x87, 0xdf, 0xae];

    fn hex(text: &str) -> Vec<u8> {
        let digits: Vec<u8> = text.chars().filter_map(|c| c.to_digit(16)).map(|d| d as u8).collect();
        digits.chunks(2).map(|d| d[0] << 4 | d[1]).collect()
    }

    /// RFC 5769 section 2.2, whole.
    fn sample_v4() -> Vec<u8> {
        hex("0101003c 2112a442 b7e7a701 bc34d686 fa87dfae 8022000b 74657374 20766563 746f7220 00200008 0001a147 \
             e112a643 00080014 2b91f599 fd9e90c3 8c7489f9 2af9ba53 f06be7d7 80280004 c07d4c96")
    }

    /// RFC 5769 section 2.3, whole.
    fn sample_v6() -> Vec<u8> {
        hex("01010048 2112a442 b7e7a701 bc34d686 fa87dfae 8022000b 74657374 20766563 746f7220 00200014 0002a147 \
             0113a9fa a5d3f179 bc25f4b5 bed2b9d9 00080014 a382954e 4be67bf1 1784c97c 8292c275 bfe3ed41 80280004 \
             c8fb0b4c")
    }

    #[test]
    fn the_sample_responses_of_rfc_5769_read_as_printed_there() {
        for (sample, seen) in
            [(sample_v4(), "192.0.2.1:32853"), (sample_v6(), "[2001:db8:1234:5678:11:2233:4455:6677]:32853")]
        {
            let mapped = Checked::Mapped { seen: seen.parse().expect("an address"), behaviour: false };
            assert_eq!(check(&ID, &sample), mapped);
            assert_eq!(check(&[0; 12], &sample), Checked::NotOurs);
            for at in HEADER..sample.len() - 8 {
                let mut spoilt = sample.clone();
                spoilt[at] ^= 1;
                assert_eq!(check(&ID, &spoilt), Checked::Malformed, "octet {at} is covered by the fingerprint");
            }
        }
    }

    /// The check value of CRC-32/ISO-HDLC in the published catalogues of CRC algorithms.
    #[test]
    fn the_sum_is_the_published_one() {
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    /// RFC 8489 section 5 and RFC 5780 section 7.5, by hand.
    #[test]
    fn requests_byte_by_byte() {
        assert_eq!(request(ID, None), [&[0, 1, 0, 0, 0x21, 0x12, 0xa4, 0x42][..], &ID].concat());
        let with = request(ID, Some(0x1234));
        assert_eq!(with[2..4], [0, 8]);
        assert_eq!(with[20..], [0, 0x27, 0, 4, 0x12, 0x34, 0, 0]);
    }

    fn reply(kind: u16, attributes: &[u8]) -> Vec<u8> {
        let mut m = request(ID, None);
        m[..2].copy_from_slice(&kind.to_be_bytes());
        m[2..4].copy_from_slice(&(attributes.len() as u16).to_be_bytes());
        m.extend_from_slice(attributes);
        m
    }

    #[test]
    fn what_is_no_reply_is_told_apart() {
        assert_eq!(check(&ID, &request(ID, None)), Checked::Malformed, "our own request mirrored");
        assert_eq!(check(&ID, &sample_v4()[..19]), Checked::NotOurs);
        assert_eq!(check(&ID, &sample_v4()[..60]), Checked::Malformed, "cut short");
        assert_eq!(check(&ID, &reply(BINDING_SUCCESS, &[])), Checked::Malformed, "names no address");
        let old = [0, 1, 0, 8, 0, 1, 0x80, 0x55, 192, 0, 2, 1, 0x80, 0x2c, 0, 8, 0, 1, 0, 5, 192, 0, 2, 9];
        let mapped = Checked::Mapped { seen: "192.0.2.1:32853".parse().expect("an address"), behaviour: true };
        assert_eq!(check(&ID, &reply(BINDING_SUCCESS, &old)), mapped, "MAPPED-ADDRESS of older servers");
        // RFC 8489 section 14.8: class 4, number 20: unknown attribute.
        assert_eq!(check(&ID, &reply(BINDING_ERROR, &[0, 9, 0, 4, 0, 0, 4, 20])), Checked::Refused(420));
        assert_eq!(check(&ID, &reply(BINDING_ERROR, &[0, 9, 0, 4, 0, 0, 7, 20])), Checked::Malformed);
        let nowhere = [0, 0x20, 0, 8, 0, 1, 0x21, 0x12, 0x21, 0x12, 0xa4, 0x42];
        assert_eq!(check(&ID, &reply(BINDING_SUCCESS, &nowhere)), Checked::Malformed, "0.0.0.0 port 0");
        let long = [0x80, 0x22, 0xff, 0xff, 0, 0, 0, 0];
        assert_eq!(check(&ID, &reply(BINDING_SUCCESS, &long)), Checked::Malformed);
    }
}
