//! The four-conductor run between panel and communicator: which conductor goes where at both ends.
//!
//! Decides whether each conductor's two terminals agree: supply to supply of the same sign, data as the site file says
//! (crossed: what one end sends the other receives; straight: both ends are lettered from the panel's side). That such
//! a run has four conductors of 22 or 18 AWG is common practice; no standard says so.

use serde::{Deserialize, Serialize};

/// What a terminal is for. The same words at both ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Terminal {
    /// Supply, positive.
    Positive,
    /// Supply, negative.
    Negative,
    /// Data this end receives.
    DataIn,
    /// Data this end sends.
    DataOut,
}

impl Terminal {
    /// Every terminal of the run.
    pub const ALL: [Self; 4] = [Self::Positive, Self::Negative, Self::DataIn, Self::DataOut];

    /// The terminal in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Positive => "positive",
            Self::Negative => "negative",
            Self::DataIn => "data in",
            Self::DataOut => "data out",
        }
    }

    /// The terminal at the other end that belongs to this one.
    pub const fn partner(self, data: Data) -> Self {
        match (self, data) {
            (Self::DataIn, Data::Crossed) => Self::DataOut,
            (Self::DataOut, Data::Crossed) => Self::DataIn,
            (same, _) => same,
        }
    }
}

/// How the data lines run. The panel's manual says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Data {
    /// In goes to out.
    Crossed,
    /// In goes to in: both ends are named from one side.
    Straight,
}

/// One conductor as it is connected.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conductor {
    /// Its colour, or whatever tells it from the others.
    pub colour: String,
    /// The terminal at the panel.
    pub panel: Terminal,
    /// The terminal at the device.
    pub device: Terminal,
}

/// Everything wrong with the run, a sentence each; empty: nothing.
pub fn faults(run: &[Conductor], data: Data) -> Vec<String> {
    let mut out = Vec::new();
    if run.len() != Terminal::ALL.len() {
        out.push(format!("{} conductors are named; the run has four.", run.len()));
    }
    for c in run {
        let belongs = c.panel.partner(data);
        if c.device != belongs {
            let harm = match (c.panel, c.device) {
                (Terminal::Positive | Terminal::Negative, Terminal::Positive | Terminal::Negative) => {
                    " This reverses the supply and can destroy the device."
                }
                (Terminal::Positive | Terminal::Negative, _) | (_, Terminal::Positive | Terminal::Negative) => {
                    " This puts the supply on a data line and can destroy the device."
                }
                _ => "",
            };
            out.push(format!(
                "The conductor {}: panel {} goes to device {}, but belongs on device {}.{harm}",
                c.colour,
                c.panel.words(),
                c.device.words(),
                belongs.words()
            ));
        }
    }
    for terminal in Terminal::ALL {
        for (end, of) in [("panel", (|c| c.panel) as fn(&Conductor) -> Terminal), ("device", |c| c.device)] {
            let on: Vec<&str> = run.iter().filter(|c| of(c) == terminal).map(|c| c.colour.as_str()).collect();
            if on.len() > 1 {
                out.push(format!("At the {end}, {} are all on {}.", on.join(" and "), terminal.words()));
            }
        }
    }
    for (i, c) in run.iter().enumerate() {
        if run[..i].iter().any(|b| b.colour == c.colour) {
            out.push(format!("Two conductors are called {}: they can't be told apart.", c.colour));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use Terminal::{DataIn, DataOut, Negative, Positive};

    fn run(ends: [(Terminal, Terminal); 4]) -> Vec<Conductor> {
        let colours = ["violet", "grey", "pink", "orange"];
        let one = |(colour, (panel, device)): (&str, (Terminal, Terminal))| Conductor {
            colour: colour.into(),
            panel,
            device,
        };
        colours.into_iter().zip(ends).map(one).collect()
    }

    #[test]
    fn a_right_run_is_right_only_the_way_the_site_file_says() {
        let crossed = run([(Positive, Positive), (Negative, Negative), (DataIn, DataOut), (DataOut, DataIn)]);
        let straight = run([(Positive, Positive), (Negative, Negative), (DataIn, DataIn), (DataOut, DataOut)]);
        assert!(faults(&crossed, Data::Crossed).is_empty());
        assert!(faults(&straight, Data::Straight).is_empty());
        assert_eq!(faults(&crossed, Data::Straight).len(), 2);
        assert_eq!(faults(&straight, Data::Crossed).len(), 2);
    }

    #[test]
    fn of_all_ways_to_connect_four_conductors_one_is_right() {
        // All 4! orders at the device end, the panel end fixed.
        let mut right = 0;
        for a in Terminal::ALL {
            for b in Terminal::ALL {
                for c in Terminal::ALL {
                    for d in Terminal::ALL {
                        let found =
                            faults(&run([(Positive, a), (Negative, b), (DataIn, c), (DataOut, d)]), Data::Crossed);
                        right += u32::from(found.is_empty());
                    }
                }
            }
        }
        assert_eq!(right, 1);
    }

    #[test]
    fn what_destroys_a_device_is_said() {
        let said = faults(
            &run([(Positive, Negative), (Negative, Positive), (DataIn, DataOut), (DataOut, DataIn)]),
            Data::Crossed,
        );
        assert!(said.iter().all(|s| s.contains("reverses the supply")) && said.len() == 2, "{said:?}");
        let said = faults(
            &run([(Positive, DataOut), (Negative, Negative), (DataIn, Positive), (DataOut, DataIn)]),
            Data::Crossed,
        );
        assert!(said.iter().all(|s| s.contains("on a data line")) && said.len() == 2, "{said:?}");
        let mut short = run([(Positive, Positive), (Negative, Negative), (DataIn, DataOut), (DataOut, DataIn)]);
        short.pop();
        assert_eq!(faults(&short, Data::Crossed).len(), 1);
        short.push(Conductor { colour: "violet".into(), ..short[0].clone() });
        assert!(faults(&short, Data::Crossed).iter().any(|s| s.contains("can't be told apart")));
    }
}
