//! Event codes of the open standards in our own words, for comparison with a station's log. Nothing here is ever sent.
//!
//! Numbers and letter pairs: SIA DC-05 (Contact ID) and SIA DC-03, as two reference libraries carry them [SIADC09]
//! [PYSIA32]; the standards themselves were not at hand, so every row counts as second-hand.

use crate::judge::Cause;

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Code {
    /// What it means.
    pub meaning: &'static str,
    /// Contact ID event.
    pub contact_id: &'static str,
    /// DC-03 letters, new and restored.
    pub letters: &'static str,
}

const fn code(meaning: &'static str, contact_id: &'static str, letters: &'static str) -> Code {
    Code { meaning, contact_id, letters }
}

const HEARTBEAT: Code = code("central polling lost (heartbeat missing)", "356", "YC / YK");
const FAILED: Code = code("failed to communicate", "354", "YC / YK");
const TROUBLE: Code = code("communication trouble", "350", "YC / YK");
const LINE: Code = code("line 1 or 2, often used for path 1 or 2", "351, 352", "LT / LR");
const NETWORK: Code = code("network failure and restoral", "none", "NT / NR");
const TEST: Code = code("periodic test, its absence being the event", "602", "RP; not received: XX");
const MAINS: Code = code("mains lost at the panel", "301", "AT / AR");
const BATTERY: Code = code("panel battery low", "302", "YT / YR");
const RESET: Code = code("system reset", "305", "YW / YZ");
const CLOCK: Code = code("time or date changed", "625", "JT");
const CLOCK_OFF: Code = code("time or date inaccurate", "626", "JD");

/// Codes a station may have seen with a cause (which go with which is a choice, after the names of the codes).
pub fn codes(cause: Cause) -> Vec<Code> {
    match cause {
        Cause::SitePower | Cause::StreetPower | Cause::DeadBackup => {
            vec![MAINS, BATTERY, HEARTBEAT, FAILED, NETWORK, TEST]
        }
        Cause::MainsLost => vec![MAINS],
        Cause::AgentPulled | Cause::HostRestart | Cause::AgentStopped => Vec::new(),
        Cause::ClockOffset => vec![CLOCK_OFF, CLOCK],
        Cause::RouterPower | Cause::RouterRestart | Cause::RouterTimer | Cause::RouterHangs => {
            vec![HEARTBEAT, FAILED, NETWORK, TEST]
        }
        Cause::CommunicatorAbsent => vec![HEARTBEAT, RESET, FAILED, TEST],
        Cause::LossBurst
        | Cause::LanLoss
        | Cause::BusyHours
        | Cause::Congestion
        | Cause::ReceiverUnsteady
        | Cause::WeakRadio => {
            vec![TROUBLE, FAILED]
        }
        _ => vec![HEARTBEAT, FAILED, TROUBLE, LINE, NETWORK, TEST],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Cause;

    /// A row of the reference libraries' tables [SIADC09], [PYSIA32].
    struct Row {
        name: String,
        class: String,
        pair: [String; 2],
    }

    /// The row of a number (`number`) or of two letters (`letters`).
    fn reference(kind: &str, code: &str) -> Row {
        let table = include_str!("../../../tests/fixtures/event-codes.csv");
        let mut rows = table.lines().filter(|l| !l.starts_with('#')).map(|l| l.split(',').collect::<Vec<_>>());
        let row = rows.find(|r| r[0] == kind && r[1] == code).unwrap_or_else(|| panic!("no {kind} {code}"));
        Row { name: row[2].to_lowercase(), class: row[3].into(), pair: [row[4].into(), row[5].into()] }
    }

    fn numbers(c: &Code) -> Vec<&'static str> {
        if c.contact_id == "none" { Vec::new() } else { c.contact_id.split(", ").collect() }
    }

    #[test]
    fn every_code_means_what_the_reference_libraries_call_it() {
        // Ours, and a word of the name that number and letters bear there.
        for (code, number, letters) in [
            (HEARTBEAT, "loss of central polling", ["communications fail", "communications restoral"]),
            (FAILED, "failure to communicate event", ["communications fail", "communications restoral"]),
            (TROUBLE, "communication trouble", ["communications fail", "communications restoral"]),
            (LINE, "fault", ["phone line trouble", "phone line restoral"]),
            (NETWORK, "", ["network failure", "network restoral"]),
            (TEST, "periodic test report", ["automatic test", "fail to test"]),
            (MAINS, "ac loss", ["ac trouble", "ac restoral"]),
            (BATTERY, "low system battery", ["system battery trouble", "system battery restoral"]),
            (RESET, "system reset", ["watchdog reset", "service completed"]),
            (CLOCK, "time/date reset", ["time changed", ""]),
            (CLOCK_OFF, "time/date inaccurate", ["date changed", ""]),
        ] {
            for n in numbers(&code) {
                assert!(reference("number", n).name.contains(number), "{n}: {}", code.meaning);
            }
            let ours: Vec<&str> =
                code.letters.split([' ', '/', ';', ':']).filter(|w| w.len() == 2 && w.to_uppercase() == *w).collect();
            let named = letters.iter().filter(|l| !l.is_empty());
            assert_eq!(ours.len(), named.clone().count(), "{}", code.letters);
            for (two, name) in ours.iter().zip(named) {
                assert_eq!(reference("letters", two).name, *name, "{two}: {}", code.meaning);
            }
        }
    }

    #[test]
    fn every_number_goes_with_its_letters_as_in_the_reference_library() {
        let mut seen = 0;
        for cause in Cause::ALL {
            for code in codes(*cause) {
                for n in numbers(&code) {
                    let [new, restored] = reference("number", n).pair;
                    let ours = if new == restored { new } else { format!("{new} / {restored}") };
                    assert!(code.letters.starts_with(&ours), "{n}: {} is {ours} there", code.letters);
                    seen += 1;
                }
            }
        }
        assert!(seen > 100, "{seen}");
    }

    #[test]
    fn a_cause_quotes_codes_of_its_own_kind() {
        // By the class the reference library gives a number: what breaks the path shows as communication trouble, what takes
        // the mains as "AC Loss", a wrong clock in the log of events, and what befell this host alone nowhere.
        for cause in Cause::ALL {
            let word = cause.word();
            let numbers: Vec<&str> = codes(*cause).iter().flat_map(numbers).collect();
            let of = |class: &str| numbers.iter().filter(|n| reference("number", n).class == class).count();
            let (system, path, log) = (of("System Trouble"), of("Communication Trouble"), of("Event Log"));
            let mains = numbers.iter().any(|n| reference("number", n).name == "ac loss");
            match word {
                "site-power" | "street-power" | "dead-backup" => assert!(mains && path > 0 && log == 0, "{word}"),
                "mains-lost" => assert!(mains && numbers.len() == 1, "{word}"),
                "clock-offset" => assert!(log == numbers.len() && log > 0, "{word}"),
                "agent-pulled" | "host-restart" | "agent-stopped" => assert!(numbers.is_empty(), "{word}"),
                // Its own restart is one reason for its absence.
                "communicator-absent" => assert!(path > 0 && system == 1 && !mains && log == 0, "{word}"),
                _ => assert!(path > 0 && system == 0 && log == 0, "{word}"),
            }
        }
    }
}
