//! How sharp the watch was: which short outages it could see, how long outages lasted, what each target lost.
//! Views only; no judgement of its own.

use super::{DetectionView, LengthsView, LossView};
use crate::judge::stats::loss_series::LossSeries;
use crate::judge::{Judge, Judgement, Question, detection, lengths as judged};
use std::sync::Arc;

/// Which short outages the way of asking could see.
pub(super) fn detection(judge: &Judge) -> Option<DetectionView> {
    let r = judge.path_rhythm()?;
    Some(DetectionView {
        every_s: r.every_s,
        targets: r.phases_s.len(),
        run: r.run,
        noticed: detection::SHOWN_S.map(|s| [s, r.noticed(s)]).to_vec(),
    })
}

/// How long outages lasted.
pub(super) fn lengths(j: &Judgement) -> Option<LengthsView> {
    let l = judged::lengths(&j.as_it_is.lasted())?;
    Some(LengthsView {
        seen: l.seen,
        ended: l.ended,
        median_s: l.median_s,
        bounds_s: l.bounds_s,
        over_an_hour: l.over_an_hour,
        shape: l.shape.map(Into::into),
    })
}

/// What one target lost, where it is counted by itself: a connection and what follows it are counted as one.
pub(super) fn loss(
    all: &[(Question, Arc<str>, LossSeries)],
    question: Question,
    target: &Arc<str>,
) -> Option<LossView> {
    let (_, _, series) = all.iter().find(|(q, t, _)| *q == question && t == target)?;
    let l = series.loss(0.95)?;
    Some(LossView {
        share: l.share,
        bounds: [l.bounds.lower, l.bounds.upper],
        effective: l.effective,
        bursts: series.bursts(),
        density: [series.burst_density(), series.gap_density()],
    })
}
