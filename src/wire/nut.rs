//! What a NUT server says of a backup unit (RFC 9271, the protocol of `upsd`).
//!
//! Decides which lines are sent and what the lines that come back mean. Three variables are asked for and nothing is
//! set: no login, no command. A unit that runs on its battery for a test of its own (`CAL`) says nothing of the mains.

use crate::judge::Mains;

/// Longest line read, bytes. The longest of a real server that answers us is a third of it.
pub const LONGEST_LINE: usize = 512;

/// The variables asked for, in this order.
const ASKED: [&str; 3] = ["ups.status", "battery.charge", "battery.runtime"];

/// What one exchange came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Said {
    /// The unit's state.
    Mains(Mains),
    /// The server is there and does not know the unit's state (its driver is gone or its data is old).
    Stale,
    /// The server will not say; its own word for why.
    Refused(String),
    /// Lines that are no answer.
    Malformed,
}

/// One exchange: lines in, an answer out.
#[derive(Clone, Debug)]
pub struct Exchange {
    unit: String,
    line: Vec<u8>,
    next: usize,
    mains: Mains,
}

impl Exchange {
    /// An exchange about the unit of this name.
    pub fn new(unit: &str) -> Self {
        Self { unit: unit.to_owned(), line: Vec::new(), next: 0, mains: Mains::default() }
    }

    /// Everything we send, at once.
    pub fn request(&self) -> String {
        let [status, charge, left] = ASKED.map(|variable| format!("GET VAR {} {variable}\n", self.unit));
        status + &charge + &left + "LOGOUT\n"
    }

    /// Bytes that came; `Some` once the answer is whole. What comes after it does not count.
    pub fn take(&mut self, bytes: &[u8]) -> Option<Said> {
        for &byte in bytes {
            if byte != b'\n' {
                if self.line.len() >= LONGEST_LINE {
                    return Some(Said::Malformed);
                }
                self.line.push(byte);
                continue;
            }
            let line = std::mem::take(&mut self.line);
            if let Some(said) = std::str::from_utf8(&line).map_or(Some(Said::Malformed), |l| self.on_line(l)) {
                return Some(said);
            }
        }
        None
    }

    fn on_line(&mut self, line: &str) -> Option<Said> {
        let variable = ASKED[self.next];
        let line = line.trim_end_matches('\r');
        if let Some(error) = line.strip_prefix("ERR ") {
            let word = error.split(' ').next().unwrap_or_default();
            match (self.next, word) {
                // A unit need not tell its charge.
                (_, "VAR-NOT-SUPPORTED") => {}
                (_, "DATA-STALE" | "DRIVER-NOT-CONNECTED") => return Some(Said::Stale),
                _ if is_word(word) => return Some(Said::Refused(word.to_owned())),
                _ => return Some(Said::Malformed),
            }
        } else {
            let value =
                line.strip_prefix("VAR ").and_then(|rest| rest.strip_prefix(self.unit.as_str())).and_then(|rest| {
                    rest.strip_prefix(' ')?.strip_prefix(variable)?.strip_prefix(" \"")?.strip_suffix('"')
                });
            let Some(value) = value else { return Some(Said::Malformed) };
            match self.next {
                0 => status(value, &mut self.mains),
                1 => self.mains.charge_percent = whole(value).and_then(|n| u8::try_from(n).ok()).filter(|n| *n <= 100),
                _ => self.mains.runtime_s = whole(value),
            }
        }
        self.next += 1;
        (self.next == ASKED.len()).then(|| Said::Mains(self.mains.clone()))
    }
}

/// Error words are capitals and dashes (RFC 9271, "Error Responses").
fn is_word(word: &str) -> bool {
    (1..=32).contains(&word.len()) && word.bytes().all(|b| b.is_ascii_uppercase() || b == b'-')
}

/// Drivers write whole numbers with or without a fraction.
fn whole(value: &str) -> Option<u32> {
    let digits = value.split('.').next()?;
    if value.len() > 16 || !value.bytes().all(|b| b.is_ascii_digit() || b == b'.') {
        return None;
    }
    digits.parse().ok()
}

/// The status symbols of RFC 9271, "Status": `OL` on line, `OB` on battery, `LB` battery low, `RB` replace battery.
fn status(value: &str, mains: &mut Mains) {
    let has = |symbol| value.split(' ').any(|s| s == symbol);
    mains.battery_low = has("LB");
    mains.battery_bad = has("RB");
    mains.present = match (has("OL"), has("OB")) {
        (true, false) => Some(true),
        (false, true) if !has("CAL") => Some(false),
        _ => None,
    };
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> Option<Said> {
        Exchange::new("house").take(text.as_bytes())
    }

    fn with_status(status: &str) -> Mains {
        let text = format!(
            "VAR house ups.status \"{status}\"\nERR VAR-NOT-SUPPORTED\nVAR house battery.runtime \"1860.5\"\nOK Goodbye\n"
        );
        match said(&text) {
            Some(Said::Mains(m)) => m,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn lines_of_a_real_server_read() {
        // Kept from upsd 2.8.0 with its dummy driver (Debian nut-server 2.8.0-7); tests/lab_signs.rs asks one.
        let text = "VAR house ups.status \"OB DISCHRG\"\nVAR house battery.charge \"87\"\nVAR house battery.runtime \"1860\"\n";
        let mains = Mains {
            present: Some(false),
            charge_percent: Some(87),
            runtime_s: Some(1_860),
            battery_low: false,
            battery_bad: false,
        };
        assert_eq!(said(text), Some(Said::Mains(mains.clone())));
        let mut slow = Exchange::new("house");
        let last = text.bytes().map(|b| slow.take(&[b])).find_map(|s| s);
        assert_eq!(last, Some(Said::Mains(mains)), "byte by byte");
        assert_eq!(
            Exchange::new("house").request(),
            "GET VAR house ups.status\nGET VAR house battery.charge\nGET VAR house battery.runtime\nLOGOUT\n"
        );
    }

    #[test]
    fn status_symbols_mean_what_the_standard_says() {
        let facts = |s| {
            let m = with_status(s);
            (m.present, m.battery_low, m.battery_bad)
        };
        for (status, meant) in [
            ("OL", (Some(true), false, false)),
            ("OL CHRG RB", (Some(true), false, true)),
            ("OB LB", (Some(false), true, false)),
            ("OB CAL", (None, false, false)),
            ("OFF", (None, false, false)),
            ("OL OB", (None, false, false)),
            ("OLD OBX", (None, false, false)),
            ("", (None, false, false)),
        ] {
            assert_eq!(facts(status), meant, "{status}");
        }
        assert_eq!((with_status("OL").charge_percent, with_status("OL").runtime_s), (None, Some(1_860)));
    }

    #[test]
    fn errors_are_told_apart() {
        assert_eq!(said("ERR UNKNOWN-UPS\n"), Some(Said::Refused("UNKNOWN-UPS".into())));
        assert_eq!(said("ERR ACCESS-DENIED\r\n"), Some(Said::Refused("ACCESS-DENIED".into())));
        for stale in ["ERR DATA-STALE\n", "ERR DRIVER-NOT-CONNECTED\n"] {
            assert_eq!(said(stale), Some(Said::Stale));
        }
    }

    #[test]
    fn junk_and_endless_lines_end_the_exchange() {
        for junk in [
            "hello\n",
            "ERR \u{1b}[2J\n",
            "VAR other ups.status \"OL\"\n",
            "VAR house battery.charge \"5\"\n",
            "VAR house ups.status OL\n",
            "VAR house ups.status \"\n",
            "\n",
        ] {
            assert_eq!(said(junk), Some(Said::Malformed), "{junk:?}");
        }
        assert_eq!(Exchange::new("house").take(b"\xff\xfe\n"), Some(Said::Malformed));
        assert_eq!(said(&"x".repeat(LONGEST_LINE)), None);
        assert_eq!(said(&"x".repeat(LONGEST_LINE + 1)), Some(Said::Malformed));
        for odd in ["101", "-1", "1e3", "9999999999999999999", "12 ", ""] {
            let text =
                format!("VAR house ups.status \"OL\"\nVAR house battery.charge \"{odd}\"\nERR VAR-NOT-SUPPORTED\n");
            assert!(matches!(said(&text), Some(Said::Mains(m)) if m.charge_percent.is_none()), "{odd}");
        }
    }
}
