//! Numbers for questions and outcomes in the file. Part of the format: never renumbered.

use crate::judge::{NotAsked, Outcome, Question, Unreachable};

const QUESTIONS: [(i64, Question); 25] = [
    (10, Question::Carrier),
    (20, Question::OwnAddress),
    (21, Question::Lease),
    (22, Question::Offers),
    (23, Question::Conflict),
    (30, Question::GatewayArp),
    (31, Question::GatewayNeighbour),
    (32, Question::GatewayEcho),
    (40, Question::Name),
    (41, Question::ControlName),
    (50, Question::Reference),
    (60, Question::Connect),
    (61, Question::Handshake),
    (1, Question::Mains),
    (2, Question::RouterLife),
    (3, Question::Neighbours),
    (11, Question::Radio),
    (24, Question::Communicator),
    (42, Question::Translation),
    (51, Question::SeenFrom),
    (52, Question::Portal),
    (53, Question::SecondHop),
    (54, Question::ClockOffset),
    (62, Question::PathMtu),
    (63, Question::IdleTimeout),
];

const OUTCOMES: [(i64, Outcome); 18] = [
    (0, Outcome::Answered),
    (1, Outcome::Timeout),
    (2, Outcome::Refused),
    (3, Outcome::Reset),
    (4, Outcome::Malformed),
    (10, Outcome::Unreachable(Unreachable::Net)),
    (11, Outcome::Unreachable(Unreachable::Host)),
    (12, Outcome::Unreachable(Unreachable::Port)),
    (13, Outcome::Unreachable(Unreachable::Prohibited)),
    (14, Outcome::Unreachable(Unreachable::Other)),
    (20, Outcome::NotPermitted),
    (30, Outcome::NotAsked(NotAsked::NoInterface)),
    (31, Outcome::NotAsked(NotAsked::NoAddress)),
    (32, Outcome::NotAsked(NotAsked::NoRoute)),
    (33, Outcome::NotAsked(NotAsked::Unresolved)),
    (34, Outcome::NotAsked(NotAsked::NoTarget)),
    (35, Outcome::NotAsked(NotAsked::Unsupported)),
    (36, Outcome::NotAsked(NotAsked::Local)),
];

pub(super) fn question_code(q: Question) -> Option<i64> {
    QUESTIONS.iter().find(|(_, x)| *x == q).map(|(n, _)| *n)
}

pub(super) fn question(code: i64) -> Option<Question> {
    QUESTIONS.iter().find(|(n, _)| *n == code).map(|(_, q)| *q)
}

pub(super) fn outcome_code(o: Outcome) -> Option<i64> {
    OUTCOMES.iter().find(|(_, x)| *x == o).map(|(n, _)| *n)
}

pub(super) fn outcome(code: i64) -> Option<Outcome> {
    OUTCOMES.iter().find(|(n, _)| *n == code).map(|(_, o)| *o)
}
