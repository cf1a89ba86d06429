//! The commented site file, written from the table of keys, and whether every setting in it is sound.
//!
//! Decides only layout. A line that begins with `# ` is prose; one that begins with `#` and no space is a setting, shown
//! with a valid value, to be freed of its `#`. As written the file says nothing, so it is sound anywhere.

use pathproof::site::keys::{Key, SECTIONS, Section, Unset};
use pathproof::site::value::{self, Form};
use pathproof::site::{SiteFile, cadence, load};
use proptest::prelude::*;
use std::fmt::Write as _;

/// The whole template.
pub(crate) fn template() -> String {
    let mut text = String::from(
        "# A site file: what is known of the site before anything is measured.\n\
         # Every line here is optional. Take the \"#\" away from a setting to use it, then run: pathproof check FILE\n\
         # Lengths of time are written with their unit, in quotes: \"500ms\", \"2s\", \"5m\", \"25h\", \"30d\".\n",
    );
    for section in SECTIONS {
        text.push('\n');
        for line in section.about {
            prose(&mut text, line);
        }
        if let Some(most) = section.many {
            prose(&mut text, &format!("May stand up to {most} times."));
            let _ = writeln!(text, "#{}", section.heading());
        } else {
            let _ = writeln!(text, "{}", section.heading());
        }
        for key in section.keys {
            text.push('\n');
            prose(&mut text, key.about);
            match key.form {
                // The words of a label or an address need no saying twice.
                Form::Label { .. } | Form::File | Form::Host | Form::Name | Form::AddressPort { .. } | Form::Flag => {}
                form => prose(&mut text, &format!("Takes {}.", form.expected())),
            }
            let value = match key.unset {
                Unset::Is(default) => {
                    prose(&mut text, &format!("Without it: {default}."));
                    default
                }
                Unset::Later(words) => {
                    prose(&mut text, &format!("Without it: {words}."));
                    key.example
                }
                Unset::Refused => {
                    prose(&mut text, &format!("Needed in every {}.", section.heading()));
                    key.example
                }
            };
            let _ = writeln!(text, "#{} = {value}", key.name);
        }
    }
    text
}

/// Writes prose as comment lines of at most 110 characters.
fn prose(text: &mut String, words: &str) {
    let mut line = String::from("#");
    for word in words.split_whitespace() {
        if line.len() + word.len() + 1 > 110 {
            text.push_str(&line);
            text.push('\n');
            line = String::from("#");
        }
        line.push(' ');
        line.push_str(word);
    }
    text.push_str(&line);
    text.push('\n');
}

/// The template with every setting freed.
fn freed() -> String {
    let free = |l: &str| if l.starts_with("# ") { l.to_owned() } else { l.trim_start_matches('#').to_owned() };
    template().lines().map(free).collect::<Vec<_>>().join("\n")
}

#[test]
fn as_written_it_says_nothing() {
    assert_eq!(load("t", template().as_bytes()), Ok(SiteFile::default()));
}

#[test]
fn with_every_setting_freed_it_is_sound_and_shows_the_real_defaults() {
    let full = load("t", freed().as_bytes()).unwrap();
    let empty = SiteFile::default();
    assert_eq!((&full.id, full.kind, &full.uses), (&empty.id, empty.kind, &empty.uses));
    assert_eq!((&full.requirements, &full.existing_name), (&empty.requirements, &empty.existing_name));
    assert_eq!((full.receivers.len(), full.references.len(), full.resolvers.len()), (1, 1, 1));
    let survey = cadence::SURVEY;
    let shown = full.cadence;
    assert_eq!(
        [shown.local, shown.router, shown.names, shown.outside, shown.receiver, shown.offers],
        [survey.local, survey.router, survey.names, survey.outside, survey.receiver, survey.offers].map(Some)
    );
}

fn literals(key: &Key) -> Vec<String> {
    let mut all = vec![key.example.to_owned()];
    match key.unset {
        Unset::Is(default) => all.push(default.to_owned()),
        Unset::Later(_) | Unset::Refused => {}
    }
    match key.form {
        Form::Word(words) => all.extend(words.iter().map(|w| format!("\"{w}\""))),
        Form::WordOrFile(words) => {
            all.extend(words.iter().map(|w| format!("\"{w}\"")));
            all.push("\"my-set.toml\"".into());
        }
        Form::Words(words) => all.extend(words.iter().map(|w| format!("[\"{w}\"]"))),
        Form::Whole { least, most } => all.extend([least.to_string(), most.to_string()]),
        Form::Length { least, most } => {
            // The floor of the built-in reference points is a rule between sections, tested in `load`.
            let least = if key.name == "outside" { cadence::FLOOR_OUTSIDE_BUILTIN } else { least };
            all.extend([least, most].map(|l| format!("\"{}\"", value::written(l))));
        }
        Form::Flag => all.push("false".into()),
        Form::Amount(d) => all.extend([d.least, d.most].map(|x| match d.units {
            [] => x.to_string(),
            _ => format!("\"{x} {}\"", d.symbol),
        })),
        Form::Gauge => all.extend(["\"18 AWG\"".into(), "\"0.75 mm2\"".into()]),
        _ => {}
    }
    all
}

/// Any subset of one section's keys, the needed ones always, each with any of its valid values.
fn body(section: &'static Section) -> impl Strategy<Value = String> {
    let lines: Vec<_> = section
        .keys
        .iter()
        .map(|k| {
            let all = proptest::sample::select(literals(k));
            // Rules between keys and sections, tested in `load`: the two indices come together, and a named
            // backup must be described.
            let needed = k.unset == Unset::Refused || ["saifi", "caidi"].contains(&k.name);
            let never = section.name == "gear" && k.name == "backup";
            (all, any::<bool>()).prop_map(move |(v, on)| {
                if (on || needed) && !never { format!("{} = {v}\n", k.name) } else { String::new() }
            })
        })
        .collect();
    (any::<bool>(), lines).prop_map(move |(on, lines)| {
        if on { format!("{}\n{}", section.heading(), lines.concat()) } else { String::new() }
    })
}

proptest! {
    #[test]
    fn every_variation_of_the_template_is_sound(
        parts in SECTIONS.iter().map(body).collect::<Vec<_>>(),
        crlf in any::<bool>(),
        bom in any::<bool>(),
    ) {
        let mut text = parts.concat();
        if crlf {
            text = text.replace('\n', "\r\n");
        }
        if bom {
            text.insert(0, '\u{feff}');
        }
        prop_assert!(load("t", text.as_bytes()).is_ok(), "{text}\n{:?}", load("t", text.as_bytes()));
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..2_000)) {
        let _ = load("t", &bytes);
    }

    #[test]
    fn no_damage_to_a_full_file_makes_it_panic(
        cuts in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>(), 0..3_u8), 1..12),
    ) {
        let mut bytes = freed().into_bytes();
        for (at, byte, what) in cuts {
            let at = at.index(bytes.len());
            match what {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => { bytes.remove(at); }
            }
        }
        if let Err(problems) = load("t", &bytes) {
            prop_assert!(!problems.is_empty());
            let lines = bytes.split(|b| *b == b'\n').count();
            for p in problems {
                prop_assert!((1..=lines).contains(&p.line) && p.column >= 1, "{p:?}");
            }
        }
    }
}
