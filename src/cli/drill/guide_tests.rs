//! The guide by itself: scripts of what is seen and heard, and what it asks for.

use super::*;
use crate::judge::drill::Length;

fn s(n: i64) -> Moment {
    Moment(n * 1_000_000)
}

fn marked(drill: Drill, needed: Option<Micros>, at: Moment) -> Marked {
    Marked { drill, needed, from: at, since: at, off: None, on: None, ended: None, until: None, away: Vec::new() }
}

/// What the judge would see of a mains-off drill whose path went and came back at these seconds.
struct World {
    drill: Drill,
    gone: Option<i64>,
    back: Option<i64>,
    marked: Option<Marked>,
}

impl World {
    fn new(drill: Drill, gone: Option<i64>, back: Option<i64>) -> Self {
        Self { drill, gone, back, marked: None }
    }

    fn sight(&self, now: i64) -> Sight {
        let down = self.gone.is_some_and(|g| g <= now) && self.back.is_none_or(|b| now < b);
        let result = self.marked.as_ref().map(|m| {
            let since = |t: Option<Moment>, at: i64| {
                let x = s(at) - t.unwrap_or(m.from);
                Length { least: x, middle: x, most: x }
            };
            let gone = self.gone.filter(|g| *g <= now);
            DrillResult {
                marked: m.clone(),
                began: None,
                gear: None,
                path: m.off.map(|_| match gone {
                    Some(g) => Lasted::GaveOut(since(m.off, g)),
                    None => Lasted::Still(Micros::ZERO),
                }),
                mains_seen: None,
                seen: gone.filter(|_| self.drill == Drill::CablePull).map(|g| since(m.off, g)),
                back: m.on.and(self.back.filter(|b| *b <= now)).map(|b| since(m.on, b)),
                reached: Vec::new(),
            }
        });
        Sight { now: s(now), carries: !down, down, result }
    }

    fn keep(&mut self, wants: &Wants) {
        for Mark { at, step } in &wants.marks {
            match (step, &mut self.marked) {
                (Step::Began { drill, needed }, _) => {
                    let (drill, needed) = (*drill, *needed);
                    self.marked = Some(marked(drill, needed, *at));
                }
                (Step::Acted(Act::Off), Some(m)) => m.off = Some(*at),
                (Step::Acted(Act::On), Some(m)) => m.on = Some(*at),
                (Step::Ended(how), Some(m)) => m.ended = Some((*at, *how)),
                (_, None) => panic!("a mark before the beginning: {step:?}"),
            }
        }
    }

    /// Plays to the end; gives everything said and the second of the end.
    fn play(&mut self, guide: &mut Guide, said: &[(i64, Heard)]) -> (Vec<String>, i64) {
        let mut all = Vec::new();
        for now in 0..4_000 {
            let heard: Vec<_> = said.iter().filter(|(t, _)| *t == now).map(|(t, h)| (s(*t), h.clone())).collect();
            let wants = guide.turn(&self.sight(now), &heard);
            self.keep(&wants);
            all.extend(wants.says);
            if wants.over {
                return (all, now);
            }
        }
        panic!("it never ends: {all:#?}");
    }

    fn how(&self) -> DrillEnd {
        self.marked.as_ref().expect("began").ended.expect("ended").1
    }
}

fn enter() -> Heard {
    Heard::Line(String::new())
}

fn guide(drill: Drill) -> Guide {
    Guide::new(drill, (drill == Drill::MainsOff).then_some(Micros::from_secs(60)), s(0))
}

#[test]
fn mains_off_to_its_end() {
    let mut w = World::new(Drill::MainsOff, Some(50), Some(82));
    let (said, over) = w.play(&mut guide(Drill::MainsOff), &[(10, enter()), (70, enter())]);
    assert_eq!(w.how(), DrillEnd::Complete);
    assert_eq!((w.marked.as_ref().unwrap().off, w.marked.as_ref().unwrap().on), (Some(s(10)), Some(s(70))));
    assert!((86..92).contains(&over), "{over}");
    let text = said.join("\n");
    assert!(text.contains("Take mains from") && text.contains("The path gave out. Give mains back"), "{text}");
    assert!(!text.contains("PUT BACK"), "{text}");
}

#[test]
fn it_stops_at_the_needed_time_and_says_what_to_do() {
    let mut w = World::new(Drill::MainsOff, None, None);
    let (said, over) = w.play(&mut guide(Drill::MainsOff), &[(10, enter()), (75, enter())]);
    assert_eq!(w.how(), DrillEnd::Complete);
    assert_eq!(said.iter().filter(|t| t.starts_with("The time that is needed is over")).count(), 1, "{said:?}");
    assert!((80..95).contains(&over), "{over}");
    // Unattended: measured what it is for, and what must be put back is said.
    let mut w = World::new(Drill::MainsOff, None, None);
    let (said, over) = w.play(&mut guide(Drill::MainsOff), &[(10, enter()), (11, Heard::End)]);
    assert_eq!((w.how(), over), (DrillEnd::Complete, 71));
    assert!(said.join("\n").contains("PUT BACK"), "{said:?}");
}

#[test]
fn it_can_be_stopped_at_any_moment_and_says_what_to_put_back() {
    for drill in [Drill::MainsOff, Drill::CablePull, Drill::RouterRestart, Drill::ReceiverPath] {
        for at in [1, 7, 12, 30] {
            for how in [Heard::Signal, Heard::Line(" STOP ".into())] {
                let mut w = World::new(drill, None, None);
                let (said, over) = w.play(&mut guide(drill), &[(10, enter()), (at, how)]);
                assert!(over <= at.max(5), "{drill:?} {at}: {over}");
                if drill == Drill::ReceiverPath {
                    continue;
                }
                if at >= 7 {
                    assert_eq!(w.how(), DrillEnd::CutShort(CutShort::Stopped));
                    assert!(said.join("\n").contains("PUT BACK"), "{drill:?} {at}: {said:?}");
                } else {
                    // Nothing was begun yet, so nothing is marked.
                    assert!(w.marked.is_none());
                }
            }
        }
    }
}

#[test]
fn nobody_there_is_said_and_a_path_that_never_was_up_is_not_drilled() {
    let mut w = World::new(Drill::MainsOff, None, None);
    w.play(&mut guide(Drill::MainsOff), &[(2, Heard::End)]);
    assert_eq!(w.how(), DrillEnd::CutShort(CutShort::NobodyThere));
    let mut w = World::new(Drill::MainsOff, Some(0), None);
    let (said, _) = w.play(&mut guide(Drill::MainsOff), &[]);
    assert_eq!(w.how(), DrillEnd::CutShort(CutShort::PathNotUp));
    assert!(!said.join("\n").contains("Take mains"), "{said:?}");
}

#[test]
fn a_restart_is_over_when_the_path_is_steady_and_none_is_no_restart() {
    let mut w = World::new(Drill::RouterRestart, Some(13), Some(40));
    let (_, over) = w.play(&mut guide(Drill::RouterRestart), &[(10, enter())]);
    assert_eq!((w.how(), w.marked.as_ref().unwrap().on), (DrillEnd::Complete, Some(s(10))));
    assert!((44..48).contains(&over), "{over}");
    let mut w = World::new(Drill::RouterRestart, None, None);
    w.play(&mut guide(Drill::RouterRestart), &[(10, enter())]);
    assert_eq!(w.how(), DrillEnd::CutShort(CutShort::NeverWentDown));
    let mut w = World::new(Drill::RouterRestart, Some(13), None);
    let (said, _) = w.play(&mut guide(Drill::RouterRestart), &[(10, enter())]);
    assert_eq!(w.how(), DrillEnd::CutShort(CutShort::NotBack));
    assert!(said.join("\n").contains("PUT BACK"), "{said:?}");
}

#[test]
fn a_pulled_lead_is_asked_back_once_it_was_seen() {
    let mut w = World::new(Drill::CablePull, Some(10), Some(21));
    let (said, _) = w.play(&mut guide(Drill::CablePull), &[(10, enter()), (20, enter())]);
    assert_eq!(w.how(), DrillEnd::Complete);
    assert!(said.iter().any(|t| t.contains("It was seen. Put the lead back")), "{said:?}");
}

#[test]
fn a_drill_found_open_goes_on_where_its_marks_leave_it() {
    let marked = |off: Option<Moment>, on: Option<Moment>| {
        let away = vec![(s(-50), s(0), true)];
        Marked { off, on, away, ..marked(Drill::MainsOff, Some(Micros::from_secs(60)), s(-100)) }
    };
    // Mains away, the path gone meanwhile: asked for mains at once.
    let mut w = World::new(Drill::MainsOff, Some(0), Some(20));
    w.marked = Some(marked(Some(s(-90)), None));
    let mut g = Guide::resume(w.marked.as_ref().unwrap(), s(0));
    let (said, _) = w.play(&mut g, &[(10, enter())]);
    assert_eq!(w.how(), DrillEnd::Complete);
    assert!(said[0].starts_with("The path gave out. Give mains back"), "{said:?}");
    // Mains back already.
    let mut w = World::new(Drill::MainsOff, Some(0), Some(8));
    w.marked = Some(marked(Some(s(-90)), Some(s(-55))));
    let mut g = Guide::resume(w.marked.as_ref().unwrap(), s(0));
    w.play(&mut g, &[]);
    assert_eq!(w.how(), DrillEnd::Complete);
    // Nothing taken away yet: it is asked for, and not begun a second time.
    let mut w = World::new(Drill::MainsOff, None, None);
    w.marked = Some(marked(None, None));
    let mut g = Guide::resume(w.marked.as_ref().unwrap(), s(0));
    let (said, _) = w.play(&mut g, &[(10, enter()), (80, enter())]);
    assert_eq!((w.how(), w.marked.as_ref().unwrap().from), (DrillEnd::Complete, s(-100)));
    assert!(said[0].starts_with("Take mains"), "{said:?}");
}

#[test]
fn every_drill_opens_with_what_can_hurt() {
    for drill in [Drill::MainsOff, Drill::RouterRestart, Drill::CablePull, Drill::ReceiverPath] {
        let text = words::cautions(drill).join(" ");
        for word in ["permission", "out of scope", "Local code", "station first", "Fire"] {
            assert!(text.contains(word), "{drill:?}: {word}");
        }
    }
    let text = words::cautions(Drill::MainsOff).join(" ");
    for word in ["licensed electrician", "short circuit", "medical equipment", "mains off and battery off"] {
        assert!(text.contains(word), "{word}");
    }
}
