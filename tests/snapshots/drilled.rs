//! A survey with drills in its record: one that measured, one that was cut short.

use super::{keep_watching, strings};
use pathproof::snapshot::{DrillView, Mend, Snapshot, VerdictKind};

pub(crate) fn drilled() -> Snapshot {
    let mut s = keep_watching();
    let short = "Without mains the path stands for 41 min (by the drill of 2026-11-25); 4 h is needed: too short, and a battery mends it.";
    s.site = "site-0010".into();
    s.verdict.kind = VerdictKind::MendFirst;
    s.verdict.sentence = "The path does not stand without mains as long as it must, and a battery mends that; a second path would be the wrong cure.".into();
    s.verdict.reasons.insert(0, short.into());
    s.mend.push(Mend {
        what: short.into(),
        who: "installer".into(),
        step: "Put every box of the chain on the battery side of a backup that carries all of them as long as is needed; the power sheet says which box gives out first.".into(),
        proof: "A mains-off drill in which the path carries for 4 h.".into(),
    });
    let (began, from_s) = (s.wall(600.0), 600.0);
    s.drills = vec![
        DrillView {
            drill: "mains-off".into(),
            began,
            from_s,
            to_s: 3_330.0,
            cut_short: None,
            gear_lasted_s: Some([Some(2_459.0), Some(2_459.5), Some(2_460.0)]),
            path_lasted_s: Some([Some(2_459.0), Some(2_459.5), Some(2_460.0)]),
            seen_s: None,
            back_s: Some([61.0, 61.4, 61.9]),
            away_s: 0.0,
            says: strings(&[
                "The nearest network gear gave out after 41 min (within 0.5 s).",
                "The path gave out after 41 min (within 0.5 s).",
                "Needed: 4 h. That is too short.",
                "The path carried again 61.4 s (within 0.5 s) after mains came back.",
            ]),
        },
        DrillView {
            drill: "cable-pull".into(),
            began: s.wall(4_000.0),
            from_s: 4_000.0,
            to_s: 4_012.0,
            cut_short: Some("it was stopped by hand".into()),
            gear_lasted_s: None,
            path_lasted_s: None,
            seen_s: Some([0.0, 0.2, 0.4]),
            back_s: None,
            away_s: 3.0,
            says: strings(&["The pulled lead was seen after 0.2 s (within 0.2 s)."]),
        },
    ];
    s
}
