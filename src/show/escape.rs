//! Untrusted text made safe to show on a terminal and in a document.
//!
//! Decides which characters are shown as their code instead of themselves: the control characters of [ISO6429]
//! (C0, DEL, C1), line and paragraph separators, the bidirectional controls of Unicode UAX #9 (which can make text read
//! in another order than it is stored), and characters without a glyph that hide inside words.

use std::fmt::Write as _;

/// The text with every character that could steer a terminal or hide its own order replaced by its visible code
/// (`\n`, `\x1b`, `\u{202e}`). A backslash stays itself.
pub fn terminal(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            c if c.is_ascii_control() => {
                let _ = write!(out, "\\x{:02x}", u32::from(c));
            }
            c if is_steering(c) => {
                let _ = write!(out, "\\u{{{:x}}}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out
}

/// JSON with its steering characters escaped and a final newline. Its value stays the same.
pub fn json(plain: &str) -> String {
    let mut out = String::with_capacity(plain.len() + 1);
    for c in plain.chars() {
        // Line breaks of the layout itself; those inside strings serde_json has escaped already.
        if c == '\n' || !is_steering(c) {
            out.push(c);
            continue;
        }
        for unit in c.encode_utf16(&mut [0; 2]) {
            let _ = write!(out, "\\u{unit:04x}");
        }
    }
    out.push('\n');
    out
}

/// A file's name as a shell takes it for one word (POSIX.1-2017, Shell Command Language, 2.2.2), steering characters shown
/// by their codes. A name that holds those can't be typed anyway.
pub fn shell_word(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"._/-".contains(&b);
    let shown = terminal(name);
    if !shown.is_empty() && !shown.starts_with('-') && shown.bytes().all(plain) {
        return shown;
    }
    // What begins with a dash would be read as an option.
    let here = if shown.starts_with('-') { "./" } else { "" };
    format!("'{here}{}'", shown.replace('\'', "'\\''"))
}

/// Whether a character steers a terminal, changes the order of text, or is invisible.
pub fn is_steering(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}'
            // Noncharacters: not allowed in HTML and XML text.
            | '\u{fdd0}'..='\u{fdef}')
        || u32::from(c) & 0xfffe == 0xfffe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steering_characters_become_their_codes() {
        assert_eq!(terminal("a\x1b[31mb\u{9b}2J\u{7f}"), "a\\x1b[31mb\\u{9b}2J\\x7f");
        assert_eq!(terminal("x\n\r\t"), "x\\n\\r\\t");
        // UAX #9 table 4: LRE RLE PDF LRO RLO LRI RLI FSI PDI, and the marks LRM RLM ALM.
        for c in
            "\u{202a}\u{202b}\u{202c}\u{202d}\u{202e}\u{2066}\u{2067}\u{2068}\u{2069}\u{200e}\u{200f}\u{61c}".chars()
        {
            assert_eq!(terminal(&c.to_string()), format!("\\u{{{:x}}}", u32::from(c)));
        }
    }

    #[test]
    fn a_name_is_one_word_of_a_shell() {
        for (name, word) in [
            ("house-7.db", "house-7.db"),
            ("house 7; rm -rf x.db", "'house 7; rm -rf x.db'"),
            ("o'neil.db", "'o'\\''neil.db'"),
            ("--all", "'./--all'"),
            ("", "''"),
        ] {
            assert_eq!(shell_word(name), word);
            // A shell's own reading.
            let out = std::process::Command::new("sh").args(["-c", &format!("printf %s {word}")]).output();
            let read = String::from_utf8(out.expect("a shell runs").stdout).expect("text");
            assert_eq!(read.trim_start_matches("./"), name);
        }
    }

    #[test]
    fn ordinary_text_of_any_script_is_left_alone() {
        for s in ["müde", "日本", "עברית", "1.2 ms ± 0.3", "a\\b"] {
            assert_eq!(terminal(s), s);
        }
    }
}
