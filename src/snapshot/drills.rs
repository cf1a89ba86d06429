//! Drills and standing without mains in words: what was done on purpose and what it measured, and whether the path
//! stands as long as it must. Words only; the measuring is `judge::drill`, the working out `worksheet`.

use super::{DrillView, Mend};
use crate::judge::drill::{DrillEnd, DrillResult, Lasted, Length};
use crate::judge::{Actor, Drill, Judge, Judgement, Look, Micros, Standby, Stands};

/// Every drill of the record.
pub(super) fn views(j: &Judgement, judge: &Judge) -> Vec<DrillView> {
    judge.drill_results(&j.look).iter().map(|r| view(r, &j.look)).collect()
}

/// One drill in words.
pub fn view(r: &DrillResult, look: &Look) -> DrillView {
    let to = r.marked.ended.map_or(look.now, |(at, _)| at);
    let cut_short = match r.marked.ended {
        Some((_, DrillEnd::Complete)) => None,
        Some((_, DrillEnd::CutShort(why))) => Some(why.words().to_owned()),
        None if look.now > r.marked.from => Some("it has not ended".to_owned()),
        None => None,
    };
    DrillView {
        drill: r.marked.drill.word().into(),
        began: r.began.unwrap_or_default(),
        from_s: r.marked.from.secs(),
        to_s: to.secs(),
        cut_short,
        gear_lasted_s: r.gear.map(lasted_s),
        path_lasted_s: r.path.map(lasted_s),
        seen_s: r.seen.map(length_s),
        back_s: r.back.map(length_s),
        away_s: r.away().secs(),
        says: says(r),
    }
}

fn length_s(l: Length) -> [f64; 3] {
    [l.least, l.middle, l.most].map(Micros::secs)
}

fn lasted_s(l: Lasted) -> [Option<f64>; 3] {
    match l {
        Lasted::GaveOut(l) => length_s(l).map(Some),
        Lasted::Still(t) => [Some(t.secs()), None, None],
    }
}

/// A short length keeps its tenths, as a drill is held to a second.
fn time(t: Micros) -> String {
    if t.secs() < 600.0 { format!("{:.1} s", t.secs()) } else { t.to_string() }
}

/// A measured length with its bracket.
fn length(l: Length) -> String {
    let slack = Micros((l.most - l.least).0 / 2);
    if slack > Micros::from_secs(5) {
        return format!("between {} and {}", time(l.least), time(l.most));
    }
    format!("{} (within {:.1} s)", time(l.middle), slack.secs().max(0.1))
}

fn lasted(what: &str, l: Lasted) -> String {
    match l {
        Lasted::GaveOut(l) => format!("{what} gave out after {}.", length(l)),
        Lasted::Still(t) => format!("{what} still worked when last looked at, {} after mains was taken away.", time(t)),
    }
}

fn says(r: &DrillResult) -> Vec<String> {
    let mut out = Vec::new();
    match r.mains_seen {
        Some(true) => out.push("What watches mains here saw it go.".into()),
        Some(false) => out.push(
            "What watches mains here did not see it go: if it hangs on the same supply, mains was not taken away."
                .into(),
        ),
        None => {}
    }
    out.extend(r.gear.map(|l| lasted("The nearest network gear", l)));
    out.extend(r.path.map(|l| lasted("The path", l)));
    if let (Some(path), Some(needed)) = (r.path, r.marked.needed) {
        let enough = path.at_least() >= needed;
        let gave_out = matches!(path, Lasted::GaveOut(_));
        out.push(match (enough, gave_out) {
            (true, _) => format!("Needed: {}. That is long enough.", time(needed)),
            (false, true) => format!("Needed: {}. That is too short.", time(needed)),
            (false, false) => format!("Needed: {}. That was not shown.", time(needed)),
        });
    }
    out.extend(r.seen.map(|l| format!("The pulled lead was seen after {}.", length(l))));
    if let Some(back) = r.back {
        let since = match r.marked.drill {
            Drill::MainsOff => "after mains came back",
            Drill::CablePull => "after the lead was put back",
            Drill::RouterRestart | Drill::ReceiverPath => "after the router was started",
        };
        out.push(format!("The path carried again {} {since}.", length(back)));
    }
    for (name, reached) in &r.reached {
        out.push(format!("The receiver {name} was {}reached.", if *reached { "" } else { "not " }));
    }
    let anew = r.marked.away.iter().any(|(.., anew)| *anew);
    if !r.marked.away.is_empty() {
        let how = if anew { "this host lost its own power or was started anew" } else { "the program was stopped" };
        out.push(format!("This host was itself away for {} of it: {how}.", time(r.away())));
    }
    out
}

/// How standing without mains came about.
fn how(s: &Standby) -> String {
    s.drilled.as_ref().map_or("worked out or entered, not measured".to_owned(), |d| format!("by the drill of {d}"))
}

/// Standing without mains as a reason; `None` where it is not known.
pub(super) fn reason(s: &Standby) -> String {
    let holds = s.holds.filter(|h| *h > Micros::ZERO);
    let stands = holds.map_or("does not stand at all".to_owned(), |h| format!("stands for {h}"));
    let end = match s.stands {
        Stands::LongEnough => "long enough",
        Stands::BatteryMends => "too short, and a battery mends it",
        Stands::NoBatteryMends => {
            "too short, and the provider's street equipment ends first, so that no battery on site mends it"
        }
    };
    format!("Without mains the path {stands} ({}); {} is needed: {end}.", how(s), s.needed)
}

/// What is to be mended about it.
pub(super) fn mend(s: &Standby) -> Option<Mend> {
    (s.stands == Stands::BatteryMends).then(|| Mend {
        cause: None,
        what: reason(s),
        who: Actor::Installer,
        step: "Put every box of the chain on the battery side of a backup that carries all of them as long as is needed; the power sheet says which box gives out first.".into(),
        proof: format!("A mains-off drill in which the path carries for {}.", s.needed),
    })
}
