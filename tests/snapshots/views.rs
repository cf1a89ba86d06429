//! The figures beside the verdict for the hand-built snapshots; invented, consistent with each other.

use pathproof::snapshot::{
    Believed, DeliveryView, DetectionView, FlapView, HoursView, LengthsView, OutlookView, PriorView, Snapshot,
    SupervisionView, VerdictKind,
};

fn believed(what: &str, source: &str, tag: &str) -> Believed {
    Believed { what: what.to_owned(), source: source.to_owned(), tag: tag.to_owned() }
}

/// Would an alarm get through: share missed, mean, 95th percentile and longest wait.
pub(crate) fn delivery(missed: f64, mean: f64, q95: f64, longest: f64, sentence: &str) -> DeliveryView {
    DeliveryView {
        within_s: 90.0,
        retries_s: vec![0.0, 5.0, 15.0, 35.0, 75.0],
        schedule: "a choice of this program".to_owned(),
        missed: [missed, missed],
        mean_s: Some(mean),
        q95_s: Some(q95),
        longest_s: Some(longest),
        sentence: sentence.to_owned(),
        by_time: Vec::new(),
    }
}

/// The site's interval and two common ones against outages of these lengths, seconds.
pub(crate) fn supervision(lengths: &[f64]) -> Vec<SupervisionView> {
    [
        (90_000.0, "this site's interval, from the site file", "site file"),
        (200.0, "single-path line security (\"Which UL Line Security Option is Right for Your Business?\", an insurer's page)", "S"),
        (3_600.0, "a single fire path by later editions of NFPA 72 (\"Communications Methods for Fire Alarm\", a training centre's page)", "S"),
    ]
    .map(|(interval_s, used, tag)| {
        let known = lengths.iter().filter(|l| **l > interval_s).count();
        SupervisionView {
            interval_s,
            used: used.to_owned(),
            tag: tag.to_owned(),
            known,
            unseen: lengths.len() - known,
            open: 0,
            longest_unaware_s: lengths.iter().fold(0.0, |m: f64, l| m.max(l.min(interval_s))),
            outages: lengths.iter().map(|l| Some(*l > interval_s)).collect(),
        }
    })
    .to_vec()
}

/// Hours a year: IP alone, and with a cellular second path; low, middle, high.
pub(crate) fn outlook(alone: [f64; 3], both: [f64; 3], sentence: &str) -> OutlookView {
    let hours = |[low, middle, high]: [f64; 3]| HoursView { low, middle, high };
    OutlookView {
        network: hours(alone),
        ip_alone: hours(alone),
        with_cellular: hours(both),
        sentence: sentence.to_owned(),
        inputs: vec![
            believed("cellular path down 44 hours a year", "a choice of this program", "choice"),
            believed("10 in 100 of the better path's failures take both paths", "a choice of this program", "choice"),
            believed("power cuts: not included, nobody entered them", "not known", "not known"),
        ],
    }
}

/// What was believed of a line, and the odds without and with it.
pub(crate) fn prior(alone: f64, with: f64, kinds: [VerdictKind; 2], sentence: &str) -> PriorView {
    PriorView {
        lines: vec![
            believed(
                "fibre: an outage of ten minutes or more every 53 days, worth one outage seen",
                "days between dropouts by kind of line, a conference paper of 2019",
                "D",
            ),
            believed(
                "recalled: 3 in the last year, the worst 4 h; each worth a quarter of one measured",
                "the customer's memory; its weight is this project's choice",
                "choice",
            ),
        ],
        alone: Some(alone),
        with: Some(with),
        verdict_alone: kinds[0],
        verdict_with: kinds[1],
        sentence: sentence.to_owned(),
    }
}

/// Receiver asked each 5 s, three failures: what that rhythm sees.
pub(crate) fn detection() -> DetectionView {
    let noticed = vec![[1.0, 0.0], [2.0, 0.0], [5.0, 0.0], [10.0, 0.0], [30.0, 1.0], [60.0, 1.0]];
    DetectionView { every_s: 5.0, targets: 1, run: 3, noticed }
}

/// How long the outages lasted.
pub(crate) fn lengths(seen: usize, median: f64, bounds: [Option<f64>; 2], over_an_hour: Option<f64>) -> LengthsView {
    let shape = over_an_hour.map(|_| "lognormal".to_owned());
    LengthsView { seen, ended: seen, median_s: Some(median), bounds_s: bounds, over_an_hour, shape }
}

/// Hostile text in every string of the views, with numbers that make no sense.
pub(crate) fn hostile(s: &mut Snapshot, text: &str) {
    let bad = |b: &mut Believed| {
        *b = Believed { what: text.to_owned(), source: text.to_owned(), tag: text.to_owned() };
    };
    s.verdict.if_wrong = vec![text.to_owned()];
    s.verdict.could_change = vec![text.to_owned()];
    s.verdict.reasons.extend((0..4).map(|_| text.to_owned()));
    s.delivery = Some(delivery(f64::NAN, -1.0, f64::INFINITY, 1e300, text));
    if let Some(d) = &mut s.delivery {
        (d.schedule, d.retries_s) = (text.to_owned(), vec![f64::NAN, -1.0]);
    }
    s.supervision = supervision(&[f64::NAN]);
    s.supervision.iter_mut().for_each(|v| (v.used, v.tag, v.interval_s) = (text.to_owned(), text.to_owned(), f64::NAN));
    s.outlook = Some(outlook([f64::NAN; 3], [f64::INFINITY; 3], text));
    if let Some(o) = &mut s.outlook {
        o.inputs.iter_mut().for_each(bad);
    }
    s.prior = Some(prior(f64::NAN, 2.0, [VerdictKind::IpAlone; 2], text));
    if let Some(p) = &mut s.prior {
        p.lines.iter_mut().for_each(bad);
    }
    s.detection = Some(DetectionView { every_s: f64::NAN, targets: 0, run: 0, noticed: vec![[f64::NAN, f64::NAN]] });
    s.lengths = Some(lengths(0, f64::NAN, [Some(f64::INFINITY), Some(f64::NAN)], Some(f64::NAN)));
    s.flaps = vec![FlapView {
        lane: pathproof::judge::Lane::Link,
        count: u64::MAX,
        per_day: [f64::NAN; 3],
        penalty: f64::NAN,
        peak: f64::INFINITY,
        flapping: true,
        sentence: text.to_owned(),
    }];
}
