//! The sheet's part on mains: how often it is away, what that costs the path in a year, what a battery or a cellular
//! path would give back, and at what price.

use super::line::{CHOICE, DRILL, FILE, Line, Part, Stand};
use crate::judge::outlook::{Hours as Band, Outlook};
use crate::worksheet::given::Power;
use crate::worksheet::indices;
use crate::worksheet::mains::{Case, Lengths, RESTART, seen_within};
use crate::worksheet::outlook::{Basis, MainsOutlook, assumed, common, joined, mains, panel_holds};
use crate::worksheet::units::Hours;

/// Ride-throughs shown where no bigger battery is named, hours.
const USUAL: [f64; 5] = [1.0, 2.0, 4.0, 8.0, 24.0];

pub(super) fn part(power: &Power) -> Part {
    let lines = match mains(power) {
        None => vec![
            Line::new("Mains a year")
                .formula(FORMULA, MODEL)
                .missing("neither a state nor saifi and caidi are in the site file"),
            together(power),
        ],
        Some(m) => [
            vec![often(&m), year(power, &m), single_year(&m)],
            batteries(power, &m),
            vec![together(power)],
            cost(power, &m),
        ]
        .concat(),
    };
    Part { title: "Mains outlook", cautions: Vec::new(), lines }
}

const FORMULA: &str = "h = SAIFI x (E[(T - L)+] + R x P(T > L)), T lognormal with mean CAIDI, L the shorter of chain and street, R restart";
// [USOUT16], [GBTIC05], [OFGEM67]
const MODEL: (&str, &str) = ("log spread 1.5: fits to US events of 2000-2016 and one British figure", "D");

fn indexed(line: Line, m: &MainsOutlook) -> Line {
    let from = match m.basis {
        Basis::Entered => FILE,
        // [EIA23]
        Basis::Published(..) => (indices::SOURCE, "V"),
    };
    line.input("SAIFI", format!("{:.3} a year", m.case.indices.saifi.get()), from).input(
        "CAIDI",
        format!("{:.1} min", m.case.indices.caidi.in_minutes()),
        from,
    )
}

fn often(m: &MainsOutlook) -> Line {
    let whom = match m.basis {
        Basis::Entered => "the area's average customer".to_owned(),
        Basis::Published(name, years) => {
            format!("the average customer, {name}, mean of {years} published year{}", if years == 1 { "" } else { "s" })
        }
    };
    let l = Lengths::with_mean(m.case.indices.caidi);
    let i = m.case.indices;
    let week = 100.0 * seen_within(i.saifi, 7.0);
    indexed(Line::new("How often and how long mains is away"), m)
        .formula(
            "SAIDI = SAIFI x CAIDI; median = CAIDI x exp(-1.5^2 / 2)",
            // [IEEE1366]
            ("IEEE 1366, from memory, and lognormal lengths", "M"),
        )
        .result(
            Stand::Figure,
            format!(
                "{}: {:.1} h a year in {:.2} cuts; half of them over within {}",
                whom,
                i.saidi().get(),
                i.saifi.get(),
                l.median().words()
            ),
        )
        .note(format!("A week of watching sees a cut with {week:.1} % probability: it can't be waited for."))
        .note("Only interruptions of more than 5 min are counted in these figures (IEEE 1366).")
}

fn ride(line: Line, power: &Power, m: &MainsOutlook) -> Line {
    let from = match &power.drilled.carries {
        Some(d) if !d.still || m.case.ride_through == d.lasted => DRILL,
        _ if m.ride_known => ("the chain above", "worked out"),
        _ => ("not known: none taken", "choice"),
    };
    let line = line.input("the chain stands", m.case.ride_through.words(), from);
    let line = match m.case.street {
        Some(street) => line.input("street equipment stands", street.words(), FILE),
        None => line.input("street equipment stands", "not known: taken never to fail first", CHOICE),
    };
    if let Some(d) = &power.drilled.restart {
        return line.input("restart", format!("{} on {}", d.lasted.words(), d.on), DRILL);
    }
    line.given("restart", power.mains.restart.map(Hours::words), || {
        (
            RESTART.words(),
            // [TR124]
            ("5 min for an optical terminal, no source; TR-124 issue 9 GEN.OPS.9 asks 60 s of a gateway", "M"),
        )
    })
}

fn year(power: &Power, m: &MainsOutlook) -> Line {
    let line = ride(indexed(Line::new("Without a path for want of mains"), m), power, m).formula(FORMULA, MODEL);
    let [low, middle, high] = m.hours.map(Hours::get);
    let mut line = line.result(Stand::Figure, format!("{middle:.1} h a year to expect ({low:.1} to {high:.1})"));
    line = match power.mains.momentary {
        Some(n) => line.input("momentary interruptions", n, FILE),
        None => line.note("Momentary interruptions (5 min or less) are not counted: no figure was entered, and none is published for the country. They restart gear without a backup."),
    };
    if let Some(ordinary) = m.ordinary {
        line = line.note(format!("Without major event days: {:.1} h a year.", ordinary.get()));
    }
    line.note("The interval is how far published years lie from an area's level. It is not how far this site lies from the average customer.")
}

fn single_year(m: &MainsOutlook) -> Line {
    indexed(Line::new("A single year"), m)
        // [PANJER81]
        .formula("compound Poisson sum of the failures", ("Panjer, ASTIN Bulletin 12 (1981) 22-26", "M"))
        .result(
            Stand::Figure,
            format!(
                "{:.2} failures to expect; {:.0} of 100 years have none; half stay under {:.1} h, 95 of 100 under {:.1} h",
                m.case.failures().get(),
                100.0 * m.case.chance_of_none(),
                m.case.in_a_year(50.0).get(),
                m.case.in_a_year(95.0).get()
            ),
        )
}

fn removed(case: &Case, ride: Hours) -> String {
    let left = case.riding(ride.max(case.ride_through)).expected();
    format!("{:.0} % less, {:.1} h a year left", 100.0 * case.removed_by(ride), left.get())
}

fn batteries(power: &Power, m: &MainsOutlook) -> Vec<Line> {
    let formula = "1 - h(with it) / h(as it is)";
    let one = |ride: Hours, from| {
        Line::new(format!("If a battery carried all gear for {}", ride.words()))
            .formula(formula, MODEL)
            .input("it carries", ride.words(), from)
            .result(Stand::Figure, removed(&m.case, ride))
    };
    let mut lines: Vec<Line> = if let Some(ride) = power.mains.bigger_battery {
        vec![one(ride, FILE)]
    } else {
        let longer = USUAL.map(Hours::of).into_iter().filter(|h| *h > m.case.ride_through);
        longer.map(|h| one(h, ("a usual time", "choice"))).collect()
    };
    let street = Line::new("Where the street decides instead")
        .formula("beyond the street's time a bigger battery removes nothing", ("reasoning", "D"));
    lines.push(match m.case.street {
        None => street.missing("how long the provider's street equipment runs is not in the site file; operators differ from minutes to days"),
        Some(s) if m.case.street_decides() => street
            .input("street equipment stands", s.words(), FILE)
            .result(Stand::Figure, format!("already: at {} the street fails before the gear, and no battery removes anything", s.words())),
        Some(s) => street.input("street equipment stands", s.words(), FILE).result(
            Stand::Figure,
            format!("at {}; {:.0} % of these hours stay whatever battery is bought", s.words(), 100.0 * m.case.beyond_any_battery()),
        ),
    });
    lines
}

fn band(h: Band) -> String {
    format!("{:.1} h ({:.1} to {:.1})", h.middle, h.low, h.high)
}

fn together(power: &Power) -> Line {
    let mut line = Line::new("Network, mains and a cellular path together").formula(
        "IP = network + mains - both at once; pair = shared + (IP - shared)(cellular - shared) / (1 - shared), a shared cause counted once",
        // [NUREG4780]
        ("beta-factor model (NUREG/CR-4780)", "M"),
    );
    let Some(o) = joined(power) else {
        return line.missing("the kind of line (access) is not in the site file, and nothing was watched yet");
    };
    line = line
        .input(
            "network",
            format!("{} a year", band(o.network)),
            ("from published figures of this kind of line; a survey puts what was watched in their place", "D"),
        )
        .input(
            "cellular path down",
            format!("{:.0} h a year", o.cellular * 8_760.0),
            if power.cellular.hours_down.is_some() { FILE } else { CHOICE },
        )
        .input(
            "shared by both networks",
            format!("{:.0} %", o.shared * 100.0),
            if power.cellular.shared_percent.is_some() { FILE } else { CHOICE },
        );
    line = match (o.mains, power.hours_down) {
        (Some(h), Some(_)) => line.input("mains", format!("{h:.1} h a year"), FILE),
        (Some(h), None) => line.input("mains", format!("{h:.1} h a year"), ("worked out above", "worked out")),
        (None, _) => line.note("Mains is not in these sums."),
    };
    line = match (common(power), panel_holds(power)) {
        (Some(c), Some((h, how))) => line
            .input("the panel itself runs without mains", h.words(), (how, "worked out"))
            .input("mains that takes both", format!("{:.1} h a year", c.get()), ("worked out", "D")),
        (Some(c), None) => line.input("mains that takes both", format!("{:.1} h a year", c.get()), ("worked out", "D")),
        (None, _) => line
            .note("How long the panel and the mast run without mains is not known: the shared percentage covers it."),
    };
    line.note("A mast's battery ends too: a cellular path is not independent of mains.").result(
        Stand::Figure,
        format!("IP alone {} a year; with a cellular path {}", band(o.ip_alone), band(o.with_cellular)),
    )
}

fn cost(power: &Power, m: &MainsOutlook) -> Vec<Line> {
    let mut lines = Vec::new();
    let formula = "price a year / hours a year it gives back";
    let per = |price: f64, hours: f64| {
        if hours > 0.05 {
            format!("{:.2} for each hour ({price:.0} a year for {hours:.1} h)", price / hours)
        } else {
            "it gives back nothing to speak of".into()
        }
    };
    if let (Some(price), Some(lasts), Some(ride)) =
        (power.mains.battery_price, power.mains.battery_lasts, power.mains.bigger_battery)
        && lasts.get() > 0.0
    {
        let saved = m.hours[1] - m.case.riding(ride.max(m.case.ride_through)).expected();
        lines.push(
            Line::new("What an hour costs by a bigger battery")
                .formula(formula, ("arithmetic", "D"))
                .input("price", price, FILE)
                .input("lasts", lasts.words(), FILE)
                .result(Stand::Figure, per(f64::from(price) / lasts.get(), saved.get())),
        );
    }
    if let (Some(fee), Some(o)) = (assumed(power).monthly_fee, joined(power)) {
        lines.push(cellular_cost(fee, &o, formula, per));
    }
    lines
}

fn cellular_cost(fee: f64, o: &Outlook, formula: &'static str, per: impl Fn(f64, f64) -> String) -> Line {
    Line::new("What an hour costs by a cellular path")
        .formula(formula, ("arithmetic", "D"))
        .input("fee a month", fee, FILE)
        .result(Stand::Figure, per(12.0 * fee, o.ip_alone.middle - o.with_cellular.middle))
}
