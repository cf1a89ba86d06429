//! A site whose every string is an attack on whoever shows it.

use super::*;

/// What a hostile network could put into every string.
pub(crate) const HOSTILE: &str = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>&amp;\x1b[2J\x1b]0;title\x07\u{9b}31m\u{202e}drow\u{2066}\r\nnext\0\u{1d}]]>-->{{7*7}}\u{fffe}";

/// [`HOSTILE`] in every string, with lengths and numbers that make no sense.
pub(crate) fn hostile() -> Snapshot {
    let h = || HOSTILE.to_owned();
    let long = || format!("{HOSTILE}{}", "x".repeat(5_000));
    let mut s = base(HOSTILE, 600.0, 1.0);
    s.version = h();
    s.watch.ended = Some(h());
    s.verdict = Verdict {
        kind: VerdictKind::KeepWatching,
        sentence: long(),
        confidence: Some(f64::NAN),
        reasons: vec![h(), long()],
        needs_s: Some(f64::INFINITY),
        safer_today: h(),
        safer_because: h(),
        if_wrong: Vec::new(),
        could_change: Vec::new(),
    };
    s.mend = vec![Mend { what: long(), who: h(), step: h(), proof: h() }];
    s.lanes = Lane::ALL
        .into_iter()
        .map(|l| lane(l, 600.0, HOSTILE, &[(0.0, GOOD), (f64::NAN, BAD), (-50.0, GOOD), (9e18, STRAINED)]))
        .collect();
    s.troubles = vec![Trouble {
        sentence: long(),
        evidence_for: vec![h(), long()],
        evidence_against: vec![h()],
        not_excluded: vec![h()],
        who: h(),
        start_s: [f64::NEG_INFINITY, f64::NAN, 1e300],
        end_s: Some([-1.0, f64::INFINITY, 0.0]),
        ..trouble(u32::MAX, Lane::Outside, HOSTILE, "", 0.0, 0.0, None)
    }];
    s.requirements = vec![Requirement {
        name: h(),
        asks: long(),
        measured: h(),
        source: h(),
        standing: Standing::Open,
        needs_s: Some(f64::NAN),
        holds: None,
        least_s: None,
    }];
    s.targets = vec![TargetView {
        otherwise: vec![(h(), u64::MAX)],
        rtt_ms: Some([f64::NAN, -1.0, f64::INFINITY, 1e300]),
        course: None,
        ..target(Lane::Names, HOSTILE, HOSTILE, 10, 1, None)
    }];
    s.facts = vec![Fact { label: h(), value: long() }];
    s.blind = vec![Blind { lane: Lane::Link, what: h(), why: h(), opens: h(), for_s: f64::NAN }];
    s.cautions = vec![h(), "日本語のとても長い注意書き".repeat(20)];
    views::hostile(&mut s, HOSTILE);
    s
}
