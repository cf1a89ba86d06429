//! Target by target: how often it was asked and what came back, in all and over time.

use super::ruling::Lost;
use super::{CourseView, TargetView, sharpness};
use crate::judge::{self, Judge, Outcome, Question};

fn course(c: &judge::course::Course) -> CourseView {
    let steps = c.steps();
    CourseView {
        step_s: c.step().secs(),
        asked: steps.iter().map(|s| s.asked).collect(),
        answered: steps.iter().map(|s| s.answered).collect(),
        // A microsecond is as fine as it was taken.
        mean_ms: steps.iter().map(|s| s.mean_ms().map(|ms| (ms * 1e3).round() / 1e3)).collect(),
        most_ms: steps.iter().map(judge::course::CourseStep::most_ms).collect(),
    }
}

/// Target by target; what each lost is the ruling's to say.
pub(super) fn targets(judge: &Judge) -> Vec<TargetView> {
    judge
        .tallies()
        .iter()
        // No answer is the good answer to the conflict question: a count of answers would mislead. It is a fact instead.
        .filter(|(q, _, t)| t.asked() > 0 && *q != Question::Conflict)
        .map(|(q, target, t)| TargetView {
            lane: q.lane(),
            question: q.words().into(),
            target: target.to_string(),
            asked: t.asked(),
            answered: t.answered().saturating_sub(t.errors),
            otherwise: t
                .outcomes
                .iter()
                .filter(|(o, _)| **o != Outcome::Answered && o.was_asked())
                .map(|(o, n)| (o.words().to_owned(), *n))
                .chain((t.errors > 0).then(|| ("answered with an error".to_owned(), t.errors)))
                .collect(),
            rtt_ms: t.rtt_ms(),
            course: t.rtt.is_some().then(|| course(&t.course)),
            loss: None,
            jitter_ms: t.rtt_ms().map(|_| t.jitter.value()),
        })
        .collect()
}

/// What each target lost. Takes in what is still waited for, which costs more than a view each second should.
pub(super) fn losses(judge: &Judge) -> Vec<Lost> {
    let losses = judge.losses();
    let lost = |(question, target, _)| {
        let loss = sharpness::loss(&losses, question, target)?;
        Some(Lost { question: question.words().into(), target: target.to_string(), loss })
    };
    judge.tallies().iter().filter_map(lost).collect()
}
