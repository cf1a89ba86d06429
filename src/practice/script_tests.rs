//! Scripts: every seed plays seven faults within their bounds, and all come up; files are refused with line, key, found and expected.

use super::*;
use std::collections::BTreeSet;

#[test]
fn every_seed_holds_seven_faults_with_quiet_between_and_all_come_up() {
    let mut orders = BTreeSet::new();
    let mut ways = BTreeSet::new();
    let mut seen = BTreeSet::new();
    let mut in_twenty = BTreeSet::new();
    for seed in 1..=200 {
        let script = generate(seed);
        assert_eq!(script, generate(seed), "seed {seed} repeats");
        let kinds: BTreeSet<_> = script.steps.iter().map(|s| s.fault.kind()).collect();
        assert_eq!((kinds.len(), script.steps.len()), (7, 7), "seed {seed}");
        assert!(script.steps[0].at_s >= QUIET_START_S, "seed {seed}");
        for pair in script.steps.windows(2) {
            let stray = pair[0].fault == Fault::SecondAddressServer;
            let need = if stray { QUIET_S - STRAY_INTO_QUIET_S } else { QUIET_S };
            let quiet = pair[1].at_s - pair[0].until_s();
            assert!(quiet >= need - 1e-6, "seed {seed}: {quiet} s before {:?}", pair[1]);
        }
        for s in &script.steps {
            let asked = match s.fault.kind() {
                FaultKind::LinkFlap => 1.0..=2.0,
                FaultKind::RouterRestart | FaultKind::AddressRemoved | FaultKind::RouteRemoved => 6.0..=10.0,
                FaultKind::LineCongested | FaultKind::NamesRewritten => 15.0..=17.0,
                FaultKind::SecondAddressServer => 25.0..=30.0,
                FaultKind::LossBurst => 8.0..=10.0,
                _ => 8.0..=12.0,
            };
            assert!(asked.contains(&s.for_s), "seed {seed}: {s:?}");
            if let Fault::ResolverFailure { how } = s.fault {
                ways.insert(how.word());
            }
        }
        seen.extend(kinds.iter().copied());
        if seed <= 20 {
            in_twenty.extend(kinds);
        }
        let last = script.steps[6].until_s();
        assert!(
            script.length_s - last >= QUIET_S && (70.0..=130.0).contains(&script.length_s),
            "seed {seed}: {}",
            script.length_s
        );
        orders.insert(script.steps.iter().map(|s| s.fault.kind()).collect::<Vec<_>>());
    }
    assert!(orders.len() > 150, "the order is shuffled: {} orders", orders.len());
    assert_eq!((seen.len(), in_twenty.len()), (13, 13));
    assert_eq!(ways.len(), 3, "every way of failing comes up");
}

/// A script as the text of a file.
fn text(script: &Script) -> String {
    let step = |s: &Step| {
        let how = match s.fault {
            Fault::ResolverFailure { how } => format!("how = \"{}\"", how.word()),
            Fault::LossBurst { loss } => format!("loss = {loss:?}"),
            _ => String::new(),
        };
        format!("\n[[step]]\nat_s = {:?}\nfor_s = {:?}\nfault = \"{}\"\n{how}\n", s.at_s, s.for_s, s.fault.kind())
    };
    let steps: String = script.steps.iter().map(step).collect();
    format!("seed = {}\nlength_s = {:?}\n{steps}", script.seed, script.length_s)
}

#[test]
fn a_script_reads_back_from_its_text() {
    for seed in 1..=50 {
        let script = generate(seed);
        assert_eq!(Script::read("s.toml", &text(&script)), Ok(script));
    }
}

#[test]
fn whole_numbers_and_defaults_are_taken() {
    let text = "[[step]]\nat_s = 20\nfor_s = 4\nfault = \"loss-burst\"\n[[step]]\nat_s = 3\nfor_s = 2\nfault = \"resolver-failure\"\n";
    let s = Script::read("s.toml", text).expect("reads");
    assert_eq!(s.steps[0].fault, Fault::ResolverFailure { how: NameFailure::Silent });
    assert_eq!(s.steps[1].fault, Fault::LossBurst { loss: 0.75 });
    assert!((s.length_s - 29.0).abs() < 1e-9);
}

#[test]
fn errors_name_line_key_found_and_expected() {
    let step = |rest: &str| format!("[[step]]\nat_s = 3.0\n{rest}\n");
    let cases = [
        (step("for_s = 2.0\nfault = \"flood\""), 4, "fault", "`flood`", "link-flap"),
        (step("for_s = -2.0\nfault = \"link-flap\""), 3, "for_s", "-2", "0.1"),
        (step("for_s = nan\nfault = \"link-flap\""), 3, "for_s", "NaN", "0.1"),
        (step("for_s = 2.0\nfault = \"loss-burst\""), 3, "for_s", "2", "3"),
        (step("for_s = 5.0\nfault = \"loss-burst\"\nloss = 1.5"), 5, "loss", "1.5", "to 1"),
        (step("for_s = 5.0\nfault = \"access-cut\"\nloss = 0.5"), 5, "loss", "0.5", "no `loss`"),
        (step("for_s = 5.0\nfault = \"resolver-failure\"\nhow = \"slow\""), 5, "how", "`slow`", "servfail"),
        (step("for_s = \"five\"\nfault = \"link-flap\""), 3, "for_s", "five", "f64"),
        (step("for_s = 5.0\nfault = \"link-flap\"\nwho = 1"), 5, "who", "who", "unknown field"),
        (step("for_s = = 5"), 3, "for_s", "=", ""),
        (
            step("for_s = 5.0\nfault = \"link-flap\"") + &step("for_s = 1.0\nfault = \"access-cut\""),
            5,
            "at_s",
            "3",
            "8",
        ),
        ("length_s = 4\n".to_owned() + &step("for_s = 2.0\nfault = \"link-flap\""), 1, "length_s", "4", "5"),
        (step("fault = \"link-flap\""), 1, "file", "[[step]]", "for_s"),
    ];
    for (text, line, key, found, expected) in cases {
        let e = Script::read("s.toml", &text).expect_err(&text);
        assert_eq!((e.file.as_str(), e.line, e.key.as_str()), ("s.toml", line, key), "{text}\n{e}");
        assert!(e.found.contains(found) && e.expected.contains(expected), "{text}\n{e}");
    }
}
