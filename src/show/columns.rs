//! Text fitted to columns of a terminal: cut, or broken into lines. Wide characters count as two (Unicode TR 11).

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Columns a text takes on a terminal.
pub fn columns(text: &str) -> usize {
    text.width()
}

/// The text cut to at most `width` columns, with an ellipsis where something was cut.
pub fn fit(text: &str, width: usize) -> String {
    if columns(text) <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    let mut used = 1;
    for c in text.chars() {
        let w = c.width().unwrap_or(0);
        if used + w > width {
            break;
        }
        used += w;
        out.push(c);
    }
    let kept = out.trim_end().len();
    out.truncate(kept);
    if width > 0 {
        out.push('…');
    }
    out
}

/// The text broken into lines of at most `width` columns, the first after `first`, the others after `rest` (indents).
pub fn wrap(text: &str, width: usize, first: &str, rest: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let mut word = word;
        if !empty && columns(&line) + 1 + columns(word) > width {
            lines.push(std::mem::replace(&mut line, rest.to_owned()));
            empty = true;
        }
        // A word longer than the line is broken where the line ends.
        while empty && columns(&line) + columns(word) > width {
            let room = width.saturating_sub(columns(&line)).max(2);
            let (mut at, mut used) = (0, 0);
            for (i, c) in word.char_indices() {
                used += c.width().unwrap_or(0);
                if used > room {
                    break;
                }
                at = i + c.len_utf8();
            }
            if at == 0 || at == word.len() {
                break;
            }
            line.push_str(&word[..at]);
            word = &word[at..];
            lines.push(std::mem::replace(&mut line, rest.to_owned()));
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wrapping_keeps_every_character_and_the_width() {
        let text = "a line with averyveryverylongwordthatdoesnotfitanywhere and 日本日本日本日本日本日本 more";
        for width in 12..60 {
            let lines = wrap(text, width, "- ", "  ");
            assert!(lines.iter().all(|l| columns(l) <= width), "{width}: {lines:?}");
            let kept: String = lines.concat().chars().filter(|c| !" -".contains(*c)).collect();
            assert_eq!(kept, text.replace(' ', ""));
        }
    }

    #[test]
    fn fitting_counts_columns_not_characters() {
        assert_eq!(fit("日本日本", 5), "日本…");
        assert_eq!(fit("plain", 5), "plain");
        assert_eq!(fit("plainer", 5), "plai…");
    }
}
