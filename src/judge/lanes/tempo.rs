//! Answers that take many times as long as usual: a full line, or a radio hop that repeats everything.
//!
//! What is usual is tracked per target by small steps towards each answer, so that it is about the median and a slow
//! hour does not become usual at once. A span begins when every answer for a while is slow. Does not say why, and loads
//! nothing itself.

use crate::judge::facts::Lane;
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::lanes::span::{Oddity, Span};
use serde::{Deserialize, Serialize};

/// Slow: this many times what is usual (choice: a full queue makes 20 ms into seconds; jitter does not) ...
const TIMES: i64 = 5;
/// ... and this much more (choice: far over what a loaded host adds).
const MORE: Micros = Micros::from_millis(200);
/// Slow answers in a row that begin a span (choice: at one slow answer in ten by chance, one in 10^10 tries) ...
const RUN: u32 = 10;
/// ... spread over at least this long (choice).
const OVER: Micros = Micros::from_secs(10);
/// Usual answers in a row that end it (choice).
const CLEAR: u32 = 5;
/// A pause longer than this ends what was going on (choice).
const PAUSE: Micros = Micros::from_secs(300);
/// Answers before what is usual is known.
const LEARN: u32 = 10;
/// Spans kept.
const MOST: usize = 1_024;

/// What is usual for a target, microseconds, and of how many answers.
#[derive(Clone, Copy, Debug, Default, Serialize, Deserialize)]
struct Usual {
    us: i64,
    answers: u32,
}

/// The tracker of one lane.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Tempo {
    usual: Vec<Usual>,
    /// Slow answers in a row: how many, when the first was asked, the last usual answer before.
    run: u32,
    since: Option<Edge>,
    worst: i64,
    clear: u32,
    clear_from: Moment,
    last_slow: Moment,
    last_usual: Option<Moment>,
    open: Option<Span>,
    spans: Vec<Span>,
}

impl Tempo {
    /// Takes in an answer of the target with this number.
    pub fn answered(&mut self, lane: Lane, index: usize, asked: Moment, known: Moment) {
        if self.usual.len() <= index {
            self.usual.resize(index + 1, Usual::default());
        }
        let took = (known - asked).0.max(1);
        let usual = &mut self.usual[index];
        let slow = usual.answers >= LEARN && took > usual.us * TIMES && took > usual.us + MORE.0;
        let times = took / usual.us.max(1);
        // The first answers teach by large steps, the later ones by a part in sixty-four.
        usual.answers = usual.answers.saturating_add(1);
        let step = (usual.us / i64::from(usual.answers.min(64))).max(1);
        usual.us = if usual.answers == 1 { took } else { usual.us + step * (took - usual.us).signum() };
        if self.open.is_some() && asked - self.last_slow > PAUSE {
            self.end(Edge::between(self.last_slow, asked));
        }
        if slow { self.slow(lane, asked, times) } else { self.usual(asked) }
    }

    fn slow(&mut self, lane: Lane, asked: Moment, times: i64) {
        if self.run == 0 {
            self.since = Some(Edge::between(self.last_usual.unwrap_or(asked).min(asked), asked));
            self.worst = 0;
        }
        (self.run, self.clear, self.last_slow) = (self.run + 1, 0, asked);
        self.worst = self.worst.max(times);
        let worst = u32::try_from(self.worst).unwrap_or(u32::MAX);
        match (&mut self.open, self.since) {
            (Some(span), _) => {
                span.answers += 1;
                span.oddity = Oddity::Slow { times: worst };
            }
            (None, Some(since)) if self.run >= RUN && asked - since.latest >= OVER => {
                let mut span = Span::new(lane, Oddity::Slow { times: worst }, since);
                span.answers = self.run;
                self.open = Some(span);
            }
            _ => {}
        }
    }

    fn usual(&mut self, asked: Moment) {
        self.last_usual = Some(asked);
        if self.open.is_none() {
            self.run = 0;
            return;
        }
        if self.clear == 0 {
            self.clear_from = asked;
        }
        self.clear += 1;
        if self.clear >= CLEAR {
            self.end(Edge::between(self.last_slow, self.clear_from));
        }
    }

    fn end(&mut self, edge: Edge) {
        (self.run, self.clear) = (0, 0);
        if let Some(mut span) = self.open.take() {
            span.end = Some(edge);
            if self.spans.len() >= MOST {
                self.spans.drain(..MOST / 2);
            }
            self.spans.push(span);
        }
    }

    /// Another target has this number from now on.
    pub fn forget(&mut self, index: usize) {
        if let Some(usual) = self.usual.get_mut(index) {
            *usual = Usual::default();
        }
    }

    /// Spans of slow answers, the open one last.
    pub fn spans(&self) -> impl Iterator<Item = Span> {
        self.spans.iter().cloned().chain(self.open.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn play(took_ms: impl Fn(i64) -> i64, seconds: i64) -> Vec<Span> {
        let mut t = Tempo::default();
        for s in 0..seconds {
            let asked = Moment(s * 1_000_000);
            t.answered(Lane::Outside, 0, asked, asked + Micros::from_millis(took_ms(s)));
        }
        t.spans().collect()
    }

    #[test]
    fn a_minute_of_answers_twenty_times_slower_is_one_span_with_its_edges() {
        let spans = play(|s| if (100..160).contains(&s) { 500 } else { 20 + s % 7 }, 300);
        assert_eq!(spans.len(), 1);
        assert!((spans[0].start.midpoint().secs() - 100.0).abs() <= 0.5, "{spans:?}");
        assert!((spans[0].end.expect("over").midpoint().secs() - 159.5).abs() <= 0.5);
        assert!(matches!(spans[0].oddity, Oddity::Slow { times: 15..30 }));
    }

    #[test]
    fn a_slow_answer_now_and_then_and_a_slower_line_in_all_are_none() {
        assert!(play(|s| if s % 3 == 0 { 900 } else { 20 }, 600).is_empty());
        assert!(play(|_| 900, 600).is_empty());
        // Milliseconds on a LAN may grow a hundredfold and still hold nobody up.
        assert!(play(|s| if s > 300 { 150 } else { 1 }, 600).is_empty());
        // Half as much again on a long way is more than 200 ms and not slow for it.
        assert!(play(|s| if (100..160).contains(&s) { 1_100 } else { 600 }, 300).is_empty());
    }
}
