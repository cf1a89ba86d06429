//! From the text of a site file to what it says, or to every problem found in one go.
//!
//! Decides whether a file is sound. Text that is no TOML (v1.1, toml.io) stops at its first fault, because what follows
//! can't be trusted; everything else is listed together: unknown sections and keys, values of the wrong kind or out of
//! range, missing keys, too many entries, duplicates, cadences under their floor. Does not open files: the caller does.

mod settle;

use super::cadence;
use super::keys::{self, Key, Section, Unset};
use super::model::{Row, Rows, SiteFile};
use super::plan::Host;
use super::value::{self, Form, Value};
use settle::{defaults, settle};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One thing wrong with a site file. All texts may hold pieces of the file: escape them where shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The file, as the caller named it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// Which key of which section.
    pub key: String,
    /// What stands there.
    pub found: String,
    /// What may stand there.
    pub expected: String,
    /// What to do about it.
    pub fix: String,
}

/// Longest piece of the file repeated in a problem, characters.
const LONGEST_QUOTE: usize = 60;

/// Reads a site file. `file` is only its name, for the problems. An empty file is sound: every value has a default.
pub fn load(file: &str, bytes: &[u8]) -> Result<SiteFile, Vec<Problem>> {
    let mut walk = Walk { file, text: "", problems: Vec::new() };
    if bytes.len() > keys::LONGEST_FILE {
        walk.problem(
            0..0,
            "the file".into(),
            format!("more than {} bytes", keys::LONGEST_FILE),
            format!("at most {} bytes", keys::LONGEST_FILE),
            "see that this is the site file you meant".into(),
        );
        return Err(walk.problems);
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    walk.text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(e) => return Err(vec![not_text(file, bytes, e.valid_up_to())]),
    };
    let document = match DeTable::parse(walk.text) {
        Ok(document) => document,
        Err(e) => {
            let at = e.span().unwrap_or(0..0);
            let found = walk.line_of(at.start);
            let message = e.message().lines().collect::<Vec<_>>().join(", ");
            let fix = "put this line right first; the rest of the file was not looked at".into();
            walk.problem(at, "the file".into(), found, format!("TOML, but: {message}"), fix);
            return Err(walk.problems);
        }
    };
    let rows = walk.document(document.get_ref());
    walk.duplicates(&rows);
    walk.planned(&rows);
    walk.power(&rows);
    walk.receivers_apart(&rows);
    walk.floors(&rows);
    if walk.problems.is_empty() {
        return Ok(SiteFile::from_rows(rows));
    }
    walk.problems.sort_by_key(|p| (p.line, p.column));
    Err(walk.problems)
}

impl Default for SiteFile {
    /// What an empty file says.
    fn default() -> Self {
        load("", b"").expect("an empty file is sound: its defaults pass their own forms")
    }
}

struct Walk<'t> {
    file: &'t str,
    text: &'t str,
    problems: Vec<Problem>,
}

impl Walk<'_> {
    fn problem(&mut self, at: Range<usize>, key: String, found: String, expected: String, fix: String) {
        let (line, column) = position(self.text.as_bytes(), at.start);
        self.problems.push(Problem { file: self.file.into(), line, column, key, found, expected, fix });
    }

    fn document(&mut self, document: &DeTable<'_>) -> Rows {
        let mut rows = Rows::new();
        for (name, value) in document {
            let Some(section) = keys::section(name.get_ref()) else {
                self.unknown_section(name);
                continue;
            };
            let entries = rows.entry(section.name).or_default();
            match (section.many, value.get_ref()) {
                (None, DeValue::Table(table)) => entries.push(self.section(section, None, &value.span(), table)),
                (Some(most), DeValue::Array(array)) => {
                    if array.len() > most {
                        self.problem(
                            array[most].span(),
                            section.heading(),
                            format!("{} of them", array.len()),
                            format!("{most} at most"),
                            "leave out those that matter least".into(),
                        );
                    }
                    for (i, entry) in array.iter().enumerate().take(most) {
                        if let DeValue::Table(table) = entry.get_ref() {
                            entries.push(self.section(section, Some(i + 1), &entry.span(), table));
                        } else {
                            self.not_a_section(section, entry);
                        }
                    }
                }
                _ => self.not_a_section(section, value),
            }
        }
        for section in keys::SECTIONS.iter().filter(|s| s.many.is_none()) {
            let entries = rows.entry(section.name).or_default();
            if entries.is_empty() {
                entries.push(defaults(section, 0..0));
            }
        }
        rows
    }

    fn not_a_section(&mut self, section: &Section, value: &Spanned<DeValue<'_>>) {
        let found = match value.get_ref() {
            DeValue::Table(_) => format!("[{}]", section.name),
            DeValue::Array(_) => format!("[[{}]]", section.name),
            _ => self.quote(value.span()),
        };
        let fix = format!("write {} on a line of its own, and its keys below", section.heading());
        self.problem(value.span(), section.name.into(), found, format!("the section {}", section.heading()), fix);
    }

    fn unknown_section(&mut self, name: &Spanned<impl AsRef<str>>) {
        let text = name.get_ref().as_ref();
        let homes: Vec<&Section> = keys::SECTIONS.iter().filter(|s| s.key(text).is_some()).collect();
        let names: Vec<&str> = keys::SECTIONS.iter().map(|s| s.name).collect();
        let fix = if let Some(meant) = value::nearest(text, names.iter().copied()) {
            format!("did you mean \"{meant}\"?")
        } else if homes.is_empty() {
            "leave it out".into()
        } else {
            format!("put it under {}", headings(&homes))
        };
        let found = self.quote(name.span());
        let expected = format!("a section: {}", value::list(&names));
        self.problem(name.span(), "the file".into(), found, expected, fix);
    }

    /// Walks one `[section]` or one entry of a `[[section]]`.
    fn section(
        &mut self,
        section: &'static Section,
        nth: Option<usize>,
        at: &Range<usize>,
        table: &DeTable<'_>,
    ) -> Row {
        let place = match nth {
            None => section.heading(),
            Some(n) => format!("{} number {n}", section.heading()),
        };
        let mut row = defaults(section, at.clone());
        for (name, value) in table {
            let Some(key) = section.key(name.get_ref()) else {
                let free = |k: &&Key| !table.contains_key(k.name);
                let meant = section.keys.iter().filter(free).map(|k| k.name).collect::<Vec<_>>();
                self.unknown_key(section, &place, name, &meant);
                continue;
            };
            match settle(&key.form, value.get_ref()) {
                Ok(settled) => {
                    row.values.insert(key.name, (settled, value.span()));
                }
                Err(fix) => {
                    row.refused.push(key.name);
                    let found = self.quote(value.span());
                    self.problem(value.span(), format!("{} in {place}", key.name), found, key.form.expected(), fix);
                }
            }
        }
        for key in section.keys.iter().filter(|k| k.unset == Unset::Refused) {
            if !row.values.contains_key(key.name) && !row.refused.contains(&key.name) {
                self.problem(
                    at.clone(),
                    format!("{} in {place}", key.name),
                    "nothing".into(),
                    key.form.expected(),
                    format!("add a line like: {} = {}", key.name, key.example),
                );
            }
        }
        row
    }

    /// `free` are the section's keys that the entry does not have: one of them was more likely meant than another
    /// section's.
    fn unknown_key(&mut self, section: &Section, place: &str, name: &Spanned<impl AsRef<str>>, free: &[&'static str]) {
        let text = name.get_ref().as_ref();
        let own: Vec<&str> = section.keys.iter().map(|k| k.name).collect();
        let homes: Vec<&Section> = keys::SECTIONS.iter().filter(|s| s.key(text).is_some()).collect();
        let fix = if let Some(meant) = section.meant(text, free) {
            format!("did you mean \"{meant}\"?")
        } else if !homes.is_empty() {
            format!("put it under {}", headings(&homes))
        } else if let Some(meant) = value::nearest(text, own.iter().copied()) {
            format!("did you mean \"{meant}\"?")
        } else if keys::section(text).is_some() {
            "a section stands on its own, not inside another".into()
        } else {
            "leave it out".into()
        };
        let found = self.quote(name.span());
        self.problem(name.span(), place.to_owned(), found, format!("a key: {}", value::list(&own)), fix);
    }

    /// Two entries that could not be told apart in a report, or that count one host twice.
    fn duplicates(&mut self, rows: &Rows) {
        for section in keys::SECTIONS.iter().filter(|s| s.many.is_some()) {
            let entries = rows.get(section.name).map_or(&[][..], Vec::as_slice);
            for marks in [&["name"][..], &["address"], &["host", "port"]] {
                if !marks.iter().all(|m| section.key(m).is_some()) {
                    continue;
                }
                for (i, row) in entries.iter().enumerate() {
                    let Some(mark) = row.mark(marks) else { continue };
                    let Some(first) = entries[..i].iter().position(|r| r.mark(marks).as_ref() == Some(&mark)) else {
                        continue;
                    };
                    let at = row.values.get(marks[0]).map_or(0..0, |(_, span)| span.clone());
                    let found = self.quote(at.clone());
                    let what = marks.join(" and ");
                    self.problem(
                        at,
                        format!("{} in {} number {}", marks[0], section.heading(), i + 1),
                        found,
                        format!("another {what} than that of number {}", first + 1),
                        format!("give each {} its own {what}, or leave one out", section.name),
                    );
                }
            }
        }
    }

    /// Planned spans that end before they begin.
    fn planned(&mut self, rows: &Rows) {
        for (i, row) in rows.get("planned").map_or(&[][..], Vec::as_slice).iter().enumerate() {
            if let (Some((Value::Time(from), _)), Some((Value::Time(to), at))) =
                (row.values.get("from"), row.values.get("to"))
                && to <= from
            {
                let found = self.quote(at.clone());
                let place = format!("to in [[planned]] number {}", i + 1);
                self.problem(at.clone(), place, found, "a moment after from".into(), "put the two right".into());
            }
        }
    }

    /// Keys that make sense only together, and backups that gear names and nobody describes.
    fn power(&mut self, rows: &Rows) {
        let single = |section: &str| rows.get(section).and_then(|r| r.first());
        for (section, has, wants) in [("mains", "saifi", "caidi"), ("mains", "caidi", "saifi")] {
            let Some(row) = single(section) else { continue };
            if let (Some((_, at)), false) = (row.values.get(has), row.has(wants)) {
                let (place, found) = (format!("{has} in [{section}]"), self.quote(at.clone()));
                let fix = format!("give {wants} too, or leave {has} out");
                self.problem(at.clone(), place, found, format!("{has} and {wants} together"), fix);
            }
        }
        let backups = rows.get("backup").map_or(&[][..], Vec::as_slice);
        for (i, gear) in rows.get("gear").map_or(&[][..], Vec::as_slice).iter().enumerate() {
            if let Some((named, at)) = gear.values.get("backup")
                && !backups.iter().any(|b| b.values.get("name").is_some_and(|(name, _)| name == named))
            {
                let (place, found) = (format!("backup in [[gear]] number {}", i + 1), self.quote(at.clone()));
                let fix = "describe it under [[backup]] with this name, or put the name right".into();
                self.problem(at.clone(), place, found, "the name of a [[backup]]".into(), fix);
            }
        }
    }

    /// Nothing is sent to a receiver: it can't be a host that is asked or on which idle connections are held.
    fn receivers_apart(&mut self, rows: &Rows) {
        let hosts =
            |section: &str| rows.get(section).map_or(&[][..], Vec::as_slice).iter().map(|r| r.values.get("host"));
        // A name is the same in any case and with its closing dot or without (RFC 4343, RFC 1034 section 3.1).
        let one = |v: &Value| match v {
            Value::Host(Host::Name(name)) => Host::Name(name.trim_end_matches('.').to_ascii_lowercase()),
            Value::Host(address @ Host::Address(_)) => address.clone(),
            _ => Host::Name(String::new()),
        };
        let receivers: Vec<Host> = hosts("receiver").flatten().map(|(v, _)| one(v)).collect();
        for section in ["idle_test", "stun_server", "control_page", "time_source"] {
            for (i, found) in hosts(section).enumerate() {
                let Some((host, at)) = found.filter(|(v, _)| receivers.contains(&one(v))) else { continue };
                debug_assert!(matches!(host, Value::Host(_)));
                let found = self.quote(at.clone());
                let place = format!("host in [[{section}]] number {}", i + 1);
                let fix = "name a host that is no receiver: nothing is ever sent to one".into();
                self.problem(at.clone(), place, found, "another host than a receiver".into(), fix);
            }
        }
    }

    /// The floor of the built-in reference points, which holds only where the file names none of its own.
    fn floors(&mut self, rows: &Rows) {
        let named = rows.get("reference").is_some_and(|r| !r.is_empty());
        let outside = rows.get("cadence").and_then(|r| r.first()).and_then(|r| r.values.get("outside"));
        if let (false, Some((Value::Length(every), at))) = (named, outside)
            && *every < cadence::FLOOR_OUTSIDE_BUILTIN
        {
            let form = Form::Length { least: cadence::FLOOR_OUTSIDE_BUILTIN, most: cadence::CEILING };
            let found = self.quote(at.clone());
            let least = value::written(cadence::FLOOR_OUTSIDE_BUILTIN);
            let fix = format!("write \"{least}\" or longer, or name reference points of your own under [[reference]]");
            self.problem(at.clone(), "outside in [cadence]".into(), found, form.expected(), fix);
        }
    }

    /// A piece of the file on one line, shortened.
    fn quote(&self, at: Range<usize>) -> String {
        let piece = self.text.get(at).unwrap_or("");
        let mut lines = piece.lines();
        let first = lines.next().unwrap_or("").trim();
        let mut quote: String = first.chars().take(LONGEST_QUOTE).collect();
        if quote.len() < first.len() || lines.next().is_some() {
            quote.push('…');
        }
        if quote.is_empty() { "nothing".into() } else { quote }
    }

    fn line_of(&self, at: usize) -> String {
        let bytes = self.text.as_bytes();
        let at = at.min(bytes.len());
        let start = bytes[..at].iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
        let end = bytes[at..].iter().position(|b| *b == b'\n').map_or(bytes.len(), |i| at + i);
        self.quote(start..end)
    }
}

fn headings(sections: &[&Section]) -> String {
    let names: Vec<String> = sections.iter().map(|s| s.heading()).collect();
    value::list(&names.iter().map(String::as_str).collect::<Vec<_>>())
}

fn not_text(file: &str, bytes: &[u8], at: usize) -> Problem {
    let (line, column) = position(bytes, at);
    let wide = bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff");
    Problem {
        file: file.into(),
        line,
        column,
        key: "the file".into(),
        found: bytes.get(at).map_or_else(String::new, |b| format!("the byte 0x{b:02x}")),
        expected: "text in UTF-8".into(),
        fix: if wide { "this looks like UTF-16; save it again as UTF-8" } else { "save it again as UTF-8" }.into(),
    }
}

/// Line and column, both from 1; columns count characters. `at` must not lie beyond valid UTF-8.
fn position(bytes: &[u8], at: usize) -> (usize, usize) {
    let before = &bytes[..at.min(bytes.len())];
    let start = before.iter().rposition(|b| *b == b'\n').map_or(0, |i| i + 1);
    let line = before.split(|b| *b == b'\n').count();
    // Bytes 0b10xxxxxx continue a character begun before (RFC 3629 section 3).
    let column = before[start..].iter().filter(|b| **b & 0xc0 != 0x80).count() + 1;
    (line, column)
}
