//! Numbers as bytes: unsigned little-endian base 128 (as in DWARF 5 section 7.6, "LEB128"), signed ones folded so that
//! small ones stay short, and the check sum of a chunk (CRC-32 of IEEE 802.3, as in RFC 1952 section 8).
//!
//! Decides nothing. Reading is total: what is cut short or too long gives `None`.

/// Appends `n`.
pub(super) fn put(out: &mut Vec<u8>, mut n: u64) {
    while n >= 0x80 {
        out.push(n as u8 | 0x80);
        n >>= 7;
    }
    out.push(n as u8);
}

/// Appends a signed number.
pub(super) fn put_signed(out: &mut Vec<u8>, n: i64) {
    put(out, ((n << 1) ^ (n >> 63)) as u64);
}

/// Appends a length and the text.
pub(super) fn put_text(out: &mut Vec<u8>, text: &str) {
    put(out, text.len() as u64);
    out.extend_from_slice(text.as_bytes());
}

/// Takes a number from the front.
pub(super) fn take(from: &mut &[u8]) -> Option<u64> {
    let mut n = 0u64;
    for shift in (0..64).step_by(7) {
        let (first, rest) = from.split_first()?;
        *from = rest;
        let part = u64::from(first & 0x7f);
        if shift == 63 && part > 1 {
            return None;
        }
        n |= part << shift;
        if first & 0x80 == 0 {
            return Some(n);
        }
    }
    None
}

/// Takes a signed number from the front.
pub(super) fn take_signed(from: &mut &[u8]) -> Option<i64> {
    let n = take(from)?;
    Some((n >> 1) as i64 ^ -((n & 1) as i64))
}

/// Takes a text from the front.
pub(super) fn take_text<'a>(from: &mut &'a [u8]) -> Option<&'a str> {
    let length = usize::try_from(take(from)?).ok()?;
    let (text, rest) = from.split_at_checked(length)?;
    *from = rest;
    std::str::from_utf8(text).ok()
}

const TABLE: [u32; 256] = {
    let mut table = [0u32; 256];
    let mut i = 0;
    while i < 256 {
        let mut c = i as u32;
        let mut bit = 0;
        while bit < 8 {
            c = if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 };
            bit += 1;
        }
        table[i] = c;
        i += 1;
    }
    table
};

/// The check sum of `bytes`.
pub(super) fn check_sum(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0u32, |c, b| TABLE[((c ^ u32::from(*b)) & 0xff) as usize] ^ (c >> 8))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_published_examples_hold() {
        // DWARF 5 table 7.7: 2, 127, 128, 129, 12857.
        for (n, bytes) in [(2, &[2][..]), (127, &[127]), (128, &[0x80, 1]), (129, &[0x81, 1]), (12_857, &[0xb9, 0x64])]
        {
            let mut out = Vec::new();
            put(&mut out, n);
            assert_eq!(out, bytes);
        }
        // The check value that catalogues of CRCs give for this one [V42].
        assert_eq!(check_sum(b"123456789"), 0xcbf4_3926);
    }

    proptest! {
        #[test]
        fn numbers_and_texts_read_back(n in any::<u64>(), i in any::<i64>(), text in ".{0,40}") {
            let mut out = Vec::new();
            put(&mut out, n);
            put_signed(&mut out, i);
            put_text(&mut out, &text);
            let mut rest = &out[..];
            prop_assert_eq!(take(&mut rest), Some(n));
            prop_assert_eq!(take_signed(&mut rest), Some(i));
            prop_assert_eq!(take_text(&mut rest), Some(&*text));
            prop_assert!(rest.is_empty());
        }

        #[test]
        fn nothing_makes_the_reader_fall(bytes in prop::collection::vec(any::<u8>(), 0..30)) {
            let mut rest = &bytes[..];
            while !rest.is_empty() && take(&mut rest).is_some() {}
            let mut rest = &bytes[..];
            let _ = take_text(&mut rest);
        }
    }

    #[test]
    fn a_number_of_more_than_sixty_four_bits_is_none() {
        // Nine bytes of ones hold 63 bits; the tenth may add one more (LEB128, DWARF 5, section 7.6).
        let tenth = |last: u8| take(&mut [[0xff; 9].as_slice(), &[last]].concat().as_slice());
        assert_eq!((tenth(1), tenth(2), tenth(3)), (Some(u64::MAX), None, None));
    }
}
