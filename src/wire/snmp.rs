//! One question to an SNMP agent: how long is it since it started (`sysUpTime.0`, RFC 3418)?
//!
//! Decides the bytes of one `GetRequest` of version 2c (RFC 1901, RFC 3416) and what the answer says, in the subset of
//! BER [X690] that it needs: definite lengths, single-byte tags. Never sets anything. `sysUpTime` counts from
//! the start of the agent, which on a router is the start of the box, and wraps after 497 days.

/// Longest answer read, bytes: what every agent must be able to take (RFC 3417 section 3.2) and more.
pub const LONGEST: usize = 1_500;

/// `sysUpTime.0`, 1.3.6.1.2.1.1.3.0.
const SYS_UP_TIME: [u8; 8] = [0x2b, 6, 1, 2, 1, 1, 3, 0];

const INTEGER: u8 = 0x02;
const OCTETS: u8 = 0x04;
const NULL: u8 = 0x05;
const OBJECT: u8 = 0x06;
const SEQUENCE: u8 = 0x30;
const TIME_TICKS: u8 = 0x43;
const GET: u8 = 0xa0;
const RESPONSE: u8 = 0xa2;

/// What an answer said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Said {
    /// Hundredths of a second since the start.
    Up(u32),
    /// The agent answered without the value: an error status, or no such object.
    Without,
}

/// The question. `community` holds at most 64 bytes; the site file allows fewer.
pub fn ask(community: &str, id: u16) -> Vec<u8> {
    let community = &community.as_bytes()[..community.len().min(64)];
    // The shortest form (X.690 section 8.3.2), with a leading zero where it would be negative.
    let padded = [&[0], &id.to_be_bytes()[..]].concat();
    let spare = padded.windows(2).take_while(|pair| pair[0] == 0 && pair[1] < 0x80).count();
    let id = wrap(INTEGER, &padded[spare..]);
    let binding = wrap(SEQUENCE, &[&wrap(OBJECT, &SYS_UP_TIME)[..], &[NULL, 0]].concat());
    let bindings = wrap(SEQUENCE, &binding);
    let get = wrap(GET, &[&id, &[INTEGER, 1, 0][..], &[INTEGER, 1, 0], &bindings].concat());
    wrap(SEQUENCE, &[&[INTEGER, 1, 1], &wrap(OCTETS, community)[..], &get].concat())
}

/// Reads an answer to [`ask`]; `None` for anything else.
pub fn read(bytes: &[u8], community: &str, id: u16) -> Option<Said> {
    let (message, rest) = open(bytes, SEQUENCE)?;
    let (version, message) = integer(message)?;
    let (sender, message) = open(message, OCTETS)?;
    let (pdu, end) = open(message, RESPONSE)?;
    let (of, pdu) = integer(pdu)?;
    let (status, pdu) = integer(pdu)?;
    let (_index, pdu) = integer(pdu)?;
    let whole = rest.is_empty() && end.is_empty();
    if !whole || version != 1 || sender != community.as_bytes() || of != i64::from(id) {
        return None;
    }
    if status != 0 {
        return Some(Said::Without);
    }
    let (bindings, _) = open(pdu, SEQUENCE)?;
    let (binding, _) = open(bindings, SEQUENCE)?;
    let (object, value) = open(binding, OBJECT)?;
    if object != SYS_UP_TIME {
        return None;
    }
    match value.first()? {
        &TIME_TICKS => {
            let (ticks, _) = open(value, TIME_TICKS)?;
            u32::try_from(number(ticks)?).ok().map(Said::Up)
        }
        // noSuchObject, noSuchInstance, endOfMibView (RFC 3416 section 3).
        0x80..=0x82 => Some(Said::Without),
        _ => None,
    }
}

/// A value under a tag. Everything we send is under 128 bytes a part but the whole, which is under 256.
fn wrap(tag: u8, contents: &[u8]) -> Vec<u8> {
    let mut out = vec![tag];
    if contents.len() >= 128 {
        out.push(0x81);
    }
    out.push(contents.len() as u8);
    out.extend_from_slice(contents);
    out
}

/// The contents of a value under this tag, and what follows it.
fn open(bytes: &[u8], tag: u8) -> Option<(&[u8], &[u8])> {
    let (&[found, first], rest) = bytes.split_first_chunk::<2>()?;
    if found != tag {
        return None;
    }
    let (length, rest) = match first {
        0..=0x7f => (usize::from(first), rest),
        // Agents may write lengths longer than they need.
        0x81..=0x84 => {
            let (length, rest) = rest.split_at_checked(usize::from(first & 0x7f))?;
            (length.iter().try_fold(0_usize, |n, b| n.checked_mul(256)?.checked_add(usize::from(*b)))?, rest)
        }
        _ => return None,
    };
    rest.split_at_checked(length)
}

/// A signed integer and what follows it.
fn integer(bytes: &[u8]) -> Option<(i64, &[u8])> {
    let (contents, rest) = open(bytes, INTEGER)?;
    Some((number(contents)?, rest))
}

/// Two's complement, at most five bytes: 32 bits unsigned with their leading zero.
fn number(contents: &[u8]) -> Option<i64> {
    let (&first, rest) = contents.split_first()?;
    if rest.len() > 4 {
        return None;
    }
    Some(rest.iter().fold(i64::from(first as i8), |n, b| n << 8 | i64::from(*b)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An answer made of our own question, so that what it says can be spoilt; agents' own answers and scapy's are in
    /// `tests/lab_signs.rs` and `tests/oracle_snmp.rs`.
    fn answer(ticks: &[u8]) -> Vec<u8> {
        let binding = wrap(SEQUENCE, &[wrap(OBJECT, &SYS_UP_TIME), wrap(TIME_TICKS, ticks)].concat());
        let bindings = wrap(SEQUENCE, &binding);
        let pdu = [&[INTEGER, 2, 0x12, 0x34], &[INTEGER, 1, 0][..], &[INTEGER, 1, 0], &bindings].concat();
        wrap(SEQUENCE, &[&[INTEGER, 1, 1], &wrap(OCTETS, b"lab")[..], &wrap(RESPONSE, &pdu)].concat())
    }

    fn said(bytes: &[u8]) -> Option<Said> {
        read(bytes, "lab", 0x1234)
    }

    #[test]
    fn time_ticks_are_32_bits_without_a_sign() {
        for (bytes, ticks) in
            [(&[0][..], 0), (&[0x7f], 127), (&[0, 0x80], 128), (&[0, 0xff, 0xff, 0xff, 0xff], u32::MAX)]
        {
            assert_eq!(said(&answer(bytes)), Some(Said::Up(ticks)));
        }
        for none in [&[][..], &[0x80], &[1, 0, 0, 0, 0], &[0, 0, 0, 0, 0, 1]] {
            assert_eq!(said(&answer(none)), None, "{none:?}");
        }
    }

    #[test]
    fn another_id_community_object_or_length_is_no_answer() {
        let good = answer(&[5]);
        assert_eq!(read(&good, "lab", 0x1235), None);
        assert_eq!(read(&good, "other", 0x1234), None);
        assert_eq!(said(&ask("lab", 0x1234)), None, "our own question is no answer");
        assert_eq!(said(&[&good[..], &[0]].concat()), None);
        for cut in 0..good.len() {
            assert_eq!(said(&good[..cut]), None, "cut at {cut}");
        }
        let mut other = good.clone();
        let at = good.windows(8).position(|w| w == SYS_UP_TIME).expect("it is in there");
        other[at + 6] = 4;
        assert_eq!(said(&other), None);
    }

    #[test]
    fn an_agent_may_not_have_it() {
        let mut none = answer(&[]);
        let at = none.len() - 2;
        for tag in [0x80, 0x81, 0x82] {
            none[at] = tag;
            assert_eq!(said(&none), Some(Said::Without));
        }
    }

    #[test]
    fn a_long_community_still_fits_its_lengths() {
        let long = "c".repeat(64);
        let bytes = ask(&long, 1);
        let (message, rest) = open(&bytes, SEQUENCE).expect("a message");
        assert!(rest.is_empty() && message.len() > 64 && bytes[1] < 0x80);
    }
}
