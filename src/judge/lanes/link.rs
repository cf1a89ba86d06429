//! The link lane: from carrier looks and the kernel's counters to spans.
//!
//! A flap between two looks still counts: the kernel's carrier counters tell (`IFLA_CARRIER_CHANGES`). Announcements may
//! reach us up to a second late (the kernel paces them), so an edge lies between the last look and the announcement.

use crate::judge::facts::{Carrier, Detail, Lane, Observation, Outcome};
use crate::judge::facts::{Edge, Micros, Moment};
use crate::judge::lanes::span::{Oddity, Span};
use crate::judge::lanes::thresholds::CLEAR_AFTER;
use serde::{Deserialize, Serialize};

/// The tracker of the link lane.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct LinkTracker {
    gap: Micros,
    last: Option<(Moment, Option<Carrier>)>,
    open: Option<Span>,
    spans: Vec<Span>,
    first: Option<Moment>,
    blind: Vec<(Moment, Moment)>,
}

impl LinkTracker {
    /// A tracker; a pause longer than `gap` is blind.
    pub fn new(gap: Micros) -> Self {
        Self { gap, last: None, open: None, spans: Vec::new(), first: None, blind: Vec::new() }
    }

    /// Takes in an observation of [`super::Question::Carrier`].
    pub fn observe(&mut self, o: &Observation) {
        if o.outcome != Outcome::Answered {
            return;
        }
        if !matches!(o.detail, Detail::Carrier(_) | Detail::Gone) {
            return;
        }
        self.first.get_or_insert(o.known);
        // Nearly every look is like the one before: only its time is new.
        if let Some((at, Some(before))) = &mut self.last
            && let Detail::Carrier(c) = &o.detail
            && before == c
        {
            if o.known - *at > self.gap {
                self.blind.push((*at, o.known));
            }
            *at = o.known;
            return;
        }
        let now = match &o.detail {
            Detail::Carrier(c) => Some(c.clone()),
            _ => None,
        };
        let Some((at, before)) = self.last.replace((o.known, now.clone())) else {
            if !now.as_ref().is_some_and(|c| c.up) {
                let mut span = Span::new(Lane::Link, oddity(now.as_ref(), 1), Edge::exact(o.known));
                span.from_first_look = true;
                self.open = Some(span);
            }
            return;
        };
        if o.known - at > self.gap {
            self.blind.push((at, o.known));
        }
        let edge = Edge::between(at, o.known);
        let was_up = before.as_ref().is_some_and(|c| c.up);
        let is_up = now.as_ref().is_some_and(|c| c.up);
        let lost = losses_between(before.as_ref(), now.as_ref());
        match (was_up, is_up) {
            (true, false) => self.open(Span::new(Lane::Link, oddity(now.as_ref(), lost.max(1)), edge)),
            (false, true) => self.close(edge, lost),
            (true, true) if lost > 0 => {
                self.open(Span::new(Lane::Link, Oddity::CarrierLost { times: lost }, edge));
                self.close(edge, 0);
            }
            // A device that is taken away loses its carrier first.
            (false, false) if now.is_none() => self.vanished(),
            (false, false) if lost > 0 => self.count(lost),
            _ => {}
        }
    }

    /// Spans, the open one last.
    pub fn spans(&self) -> Vec<Span> {
        self.spans.iter().cloned().chain(self.open.clone()).collect()
    }

    /// Whether the carrier is gone right now.
    pub fn is_off(&self) -> bool {
        self.open.is_some()
    }

    /// First and last look, where there was one.
    pub fn reach(&self) -> Option<(Moment, Moment)> {
        self.first.zip(self.last.as_ref().map(|(at, _)| *at))
    }

    /// Pauses between looks too long to count as observed.
    pub fn blind(&self) -> &[(Moment, Moment)] {
        &self.blind
    }

    /// The last look; the inner `None` is an interface that is gone.
    pub fn last(&self) -> Option<&(Moment, Option<Carrier>)> {
        self.last.as_ref()
    }

    /// Opens a span, or reopens the last one if it ended within the clear time: one flapping lead is one trouble.
    fn open(&mut self, span: Span) {
        let again = self.spans.pop_if(|last| {
            matches!(last.oddity, Oddity::CarrierLost { .. })
                && matches!(span.oddity, Oddity::CarrierLost { .. })
                && last.end.is_some_and(|e| span.start.earliest - e.latest < CLEAR_AFTER)
        });
        self.open = Some(match (again, &span.oddity) {
            (Some(mut last), Oddity::CarrierLost { times }) => {
                last.end = None;
                last.oddity = Oddity::CarrierLost { times: times_of(&last.oddity).saturating_add(*times) };
                last
            }
            _ => span,
        });
    }

    fn close(&mut self, edge: Edge, more: u32) {
        if let Some(mut span) = self.open.take() {
            if let Oddity::CarrierLost { times } = &mut span.oddity {
                *times = times.saturating_add(more);
            }
            span.end = Some(edge);
            self.spans.push(span);
        }
    }

    fn vanished(&mut self) {
        if let Some(span) = &mut self.open {
            span.oddity = Oddity::InterfaceGone;
        }
    }

    fn count(&mut self, more: u32) {
        if let Some(Span { oddity: Oddity::CarrierLost { times }, .. }) = &mut self.open {
            *times = times.saturating_add(more);
        }
    }
}

fn oddity(now: Option<&Carrier>, times: u32) -> Oddity {
    if now.is_some() { Oddity::CarrierLost { times } } else { Oddity::InterfaceGone }
}

fn times_of(oddity: &Oddity) -> u32 {
    if let Oddity::CarrierLost { times } = oddity { *times } else { 0 }
}

/// Carrier losses between two looks by the kernel's counters; 0 where it has none or the device was made anew.
fn losses_between(before: Option<&Carrier>, now: Option<&Carrier>) -> u32 {
    let (Some(before), Some(now)) = (before, now) else { return 0 };
    if before.index != now.index {
        return 0;
    }
    if let (Some(a), Some(b)) = (before.down_count, now.down_count) {
        return b.saturating_sub(a);
    }
    let (Some(a), Some(b)) = (before.changes, now.changes) else { return 0 };
    let changes = b.saturating_sub(a);
    // From up, losses lead each pair of changes; from down, they follow.
    if before.up { changes.div_ceil(2) } else { changes / 2 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::facts::Question;

    fn look(at_ms: i64, up: bool, down_count: u32) -> Observation {
        Observation {
            asked: Moment(at_ms * 1000),
            known: Moment(at_ms * 1000),
            question: Question::Carrier,
            target: "eth0".into(),
            outcome: Outcome::Answered,
            rtt: None,
            detail: Detail::Carrier(Carrier { index: 3, up, down_count: Some(down_count), ..Carrier::default() }),
        }
    }

    fn run(looks: &[(i64, bool, u32)]) -> Vec<Span> {
        let mut t = LinkTracker::new(Micros::from_secs(5));
        for (at, up, n) in looks {
            t.observe(&look(*at, *up, *n));
        }
        t.spans()
    }

    #[test]
    fn a_flap_between_two_looks_still_counts() {
        let spans = run(&[(0, true, 1), (500, true, 1), (1000, true, 3), (1500, true, 3)]);
        assert_eq!(spans.len(), 1);
        assert_eq!(spans[0].oddity, Oddity::CarrierLost { times: 2 });
        assert_eq!(spans[0].start, Edge::between(Moment(500_000), Moment(1_000_000)));
    }

    #[test]
    fn a_loss_is_bracketed_by_the_looks_around_it_and_counted_once() {
        let spans = run(&[(0, true, 1), (500, false, 2), (1000, false, 2), (1500, true, 2)]);
        assert_eq!(spans.len(), 1);
        assert_eq!(spans[0].oddity, Oddity::CarrierLost { times: 1 });
        assert_eq!(spans[0].end, Some(Edge::between(Moment(1_000_000), Moment(1_500_000))));
    }

    #[test]
    fn losses_close_together_are_one_trouble_and_far_apart_two() {
        let near = [(0, true, 0), (500, false, 1), (1000, true, 1), (1500, false, 2), (2000, true, 2)];
        assert_eq!(run(&near).iter().map(|s| times_of(&s.oddity)).collect::<Vec<_>>(), [2]);
        let far = [(0, true, 0), (500, false, 1), (1000, true, 1), (8500, true, 1), (9000, false, 2), (9500, true, 2)];
        assert_eq!(run(&far).iter().map(|s| times_of(&s.oddity)).collect::<Vec<_>>(), [1, 1]);
    }

    #[test]
    fn down_from_the_first_look_has_no_known_start() {
        let spans = run(&[(0, false, 1), (500, false, 1)]);
        assert!(spans[0].from_first_look && spans[0].end.is_none());
    }

    #[test]
    fn a_device_that_vanishes_after_losing_its_carrier_is_gone_not_unplugged() {
        let mut t = LinkTracker::new(Micros::from_secs(5));
        let gone = |at| Observation { detail: Detail::Gone, ..look(at, false, 0) };
        for o in [look(0, true, 1), look(400, false, 2), gone(500), gone(1000), look(1500, true, 1)] {
            t.observe(&o);
        }
        assert_eq!(t.spans().iter().map(|s| s.oddity.clone()).collect::<Vec<_>>(), [Oddity::InterfaceGone]);
    }

    #[test]
    fn a_device_made_anew_resets_its_counters_without_a_flap() {
        let mut t = LinkTracker::new(Micros::from_secs(5));
        t.observe(&look(0, true, 9));
        let mut anew = look(500, true, 1);
        if let Detail::Carrier(c) = &mut anew.detail {
            c.index = 8;
        }
        t.observe(&anew);
        assert!(t.spans().is_empty());
    }

    #[test]
    fn a_pause_in_which_the_counters_moved_is_blind_all_the_same() {
        let mut t = LinkTracker::new(Micros::from_secs(5));
        for o in [look(0, true, 1), look(60_000, true, 3)] {
            t.observe(&o);
        }
        assert_eq!(t.blind(), [(Moment(0), Moment(60_000_000))]);
    }

    #[test]
    fn of_an_odd_number_of_changes_from_up_the_greater_half_are_losses() {
        let changes = |up, n| Some(Carrier { index: 3, up, changes: Some(n), ..Carrier::default() });
        let lost =
            |a: (bool, u32), b: (bool, u32)| losses_between(changes(a.0, a.1).as_ref(), changes(b.0, b.1).as_ref());
        // Down, up, down: two losses. Up, down, up: one.
        assert_eq!((lost((true, 4), (false, 7)), lost((false, 4), (true, 7))), (2, 1));
    }
}
