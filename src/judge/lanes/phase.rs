//! How a lane's answers go, as far as anybody looked. Decides nothing.

use crate::judge::facts::Moment;
use serde::{Deserialize, Serialize};

/// What came of the last questions.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Phase {
    /// Nothing has answered yet.
    #[default]
    New,
    /// Nothing has answered since a pause; the last question before it.
    Paused(Moment),
    /// Answers come one after the other; the latest.
    Answering(Moment),
    /// A question failed since the latest answer.
    Failing(Moment),
}

impl Phase {
    pub(super) fn answered(&mut self, at: Moment) {
        *self = match *self {
            Self::Answering(last) | Self::Failing(last) => Self::Answering(last.max(at)),
            Self::New | Self::Paused(_) => Self::Answering(at),
        };
    }

    pub(super) fn failed(&mut self) {
        if let Self::Answering(last) = *self {
            *self = Self::Failing(last);
        }
    }

    /// After the latest of these a failure began: an answer, or, when nobody looked since, the last question before the
    /// pause. `None`: it may always have been so.
    pub(super) fn before_failure(self) -> Option<Moment> {
        match self {
            Self::New => None,
            Self::Paused(at) | Self::Answering(at) | Self::Failing(at) => Some(at),
        }
    }
}
