//! Chunks: what goes in comes out, whatever it is, and nothing makes the reader fall.

use super::super::codec::Piece;
use super::super::encode::Encoder;
use super::super::tests::entries;
use super::*;
use crate::judge::*;
use proptest::prelude::*;

fn written(all: &[Entry]) -> Piece {
    let mut e = Encoder::default();
    for entry in all {
        e.push(entry);
    }
    e.take()
}

fn read(bytes: &[u8]) -> (Vec<Entry>, bool) {
    let mut d = Decoder::new(bytes);
    let mut out = Vec::new();
    for r in d.by_ref() {
        match r {
            Read::Entry(e) => out.push(e),
            other => panic!("{other:?}"),
        }
    }
    (out, d.whole())
}

fn any_entry() -> impl Strategy<Value = Entry> {
    let details = prop_oneof![
        Just(Detail::None),
        Just(Detail::Gone),
        ".{0,12}".prop_map(Detail::Why),
        (any::<u32>(), any::<u32>()).prop_map(|(a, b)| Detail::OwnAddress {
            held: vec![HeldAddress {
                address: [192, 0, 2, 7].into(),
                prefix: 24,
                valid_s: Some(a),
                preferred_s: Some(b),
                permanent: false
            }],
            gateway: None
        }),
        (any::<u16>(), 0u8..4).prop_map(|(code, n)| Detail::Name(NameAnswer {
            code,
            addresses: (0..n).map(|i| [198, 51, 100, i].into()).collect(),
            ..NameAnswer::default()
        })),
        any::<i64>().prop_map(|n| Detail::ClockOffset { offset: Micros(n), error: Micros(1) }),
    ];
    let times = prop_oneof![any::<i64>(), 0i64..100_000_000];
    let all = super::super::tests::QUESTIONS;
    let outcomes = super::super::tests::outcomes();
    let count = outcomes.len();
    (0..all.len(), 0..count, times.clone(), times, prop::option::of((any::<i64>(), any::<bool>())), details, 0u8..9)
        .prop_map(move |(q, o, asked, known, rtt, detail, kind)| match kind {
            0 => Entry::Alive { at: Moment(known) },
            1 => Entry::Stepped { at: Moment(known), wall: WallTime(asked) },
            2 => Entry::Ended { at: Moment(known), how: Ending::Complete },
            _ => Entry::Seen(Observation {
                asked: Moment(asked),
                known: Moment(known),
                question: all[q],
                target: format!("t{}", q % 3).into(),
                outcome: outcomes[o],
                rtt: rtt.map(|(us, kernel)| Rtt { took: Micros(us), kernel }),
                detail,
            }),
        })
}

proptest! {
    #[test]
    fn any_entries_read_back_exactly(all in prop::collection::vec(any_entry(), 0..60)) {
        prop_assert_eq!(read(&written(&all).bytes), (all, true));
    }

    #[test]
    fn a_chunk_cut_off_reads_up_to_the_cut(all in prop::collection::vec(any_entry(), 1..20), part in 0.0f64..1.0) {
        let whole = written(&all).bytes;
        let cut = (whole.len() as f64 * part) as usize;
        let (got, _) = read(&whole[..cut]);
        prop_assert_eq!(&got[..], &all[..got.len()]);
    }

    #[test]
    fn nothing_makes_the_reader_fall(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        for _ in Decoder::new(&bytes).take(10_000) {}
    }

    #[test]
    fn a_spoilt_chunk_is_read_without_a_fall(at in any::<prop::sample::Index>(), to in any::<u8>()) {
        let mut bytes = written(&entries()).bytes;
        let at = at.index(bytes.len());
        bytes[at] = to;
        for _ in Decoder::new(&bytes) {}
    }
}

#[test]
fn pieces_taken_one_by_one_are_the_chunk() {
    let mut e = Encoder::default();
    let mut whole = Piece::default();
    for entry in &entries() {
        e.push(entry);
        whole.append(e.take());
    }
    assert_eq!(whole, written(&entries()));
    assert_eq!(whole.entries as usize, entries().len());
}

/// What a question a second costs: the answers of an hour from one reference point, with times as a line gives them.
#[test]
fn an_answer_that_says_nothing_new_costs_few_bytes() {
    let mut state = 1u64;
    let mut noise = |most: u64| {
        // Knuth's MMIX generator [KNUTH97].
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((state >> 33) % most) as i64
    };
    let all: Vec<Entry> = (0..3_600)
        .map(|s| {
            let asked = s * 1_000_000 + noise(2_000);
            let rtt = 15_000 + noise(6_000);
            Entry::Seen(Observation {
                asked: Moment(asked),
                known: Moment(asked + rtt + 80 + noise(50)),
                question: Question::Reference,
                target: "reference-a".into(),
                outcome: Outcome::Answered,
                rtt: Some(Rtt { took: Micros(rtt), kernel: true }),
                detail: Detail::Name(NameAnswer { answers: 13, ..NameAnswer::default() }),
            })
        })
        .collect();
    let bytes = written(&all).bytes.len();
    assert!(bytes < 3_600 * 7, "{bytes}");
    // As JSON they take thirty times that: the test can fail.
    assert!(serde_json::to_string(&all).expect("plain data").len() > 20 * bytes);
}
