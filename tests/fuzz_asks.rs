//! The fuzz bodies of the ICMP and DNS parsers on random bytes; proptest prints and keeps what fails.

use pathproof::wire::fuzz;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, cases: 4_000, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_do(bytes in proptest::collection::vec(any::<u8>(), 0..600)) {
        fuzz::icmp(&bytes);
        fuzz::dns(&bytes);
    }

    /// Counts small enough that the record parser reads on, and pointers, which a name may hold (RFC 1035 section 4.1.4).
    #[test]
    fn records_with_pointers_do(counts in proptest::array::uniform4(0_u8..4), words in proptest::collection::vec(
        prop_oneof![Just(vec![0xc0, 12]), Just(vec![0xc0, 17]), Just(vec![0, 41]), Just(vec![0]), proptest::collection::vec(any::<u8>(), 0..12)],
        0..40,
    )) {
        fuzz::dns(&[&counts[..], &words.concat()].concat());
    }
}
