//! Names, marks, words and paths of the site file, and what to write instead of one that is refused.

use crate::site::requirements;

/// The nearest of some words, if any is near enough to have been meant.
pub fn nearest<'a>(text: &str, words: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let text: String = text.chars().take(64).collect::<String>().to_lowercase().replace([' ', '_'], "-");
    words
        .into_iter()
        .map(|w| (strsim::damerau_levenshtein(&text, &w.replace('_', "-")), w))
        .filter(|&(far, w)| far <= 1 + w.len() / 4 && far < w.len())
        .min_by_key(|&(far, _)| far)
        .map(|(_, w)| w)
}

/// Words as a list to read: `a, b or c`.
pub fn list(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    }
}

pub(super) fn label(text: &str, longest: usize) -> Result<String, String> {
    if text.trim().is_empty() {
        return Err("give it a name".into());
    }
    if text != text.trim() {
        return Err("leave out the spaces at the ends".into());
    }
    if text.chars().count() > longest {
        return Err(format!("shorten it to {longest} characters"));
    }
    match text.chars().find(|c| !c.is_alphanumeric() && !" -_.:/()".contains(*c)) {
        Some(c) => Err(format!("leave out the {}", spell(c))),
        None => Ok(text.to_owned()),
    }
}

pub(super) fn id(text: &str, longest: usize) -> Result<String, String> {
    if text.is_empty() {
        return Err("give the site a mark of its own, or leave the key out".into());
    }
    if text.len() > longest {
        return Err(format!("shorten it to {longest} characters"));
    }
    match text.chars().find(|c| !c.is_ascii_alphanumeric() && !"-_.".contains(*c)) {
        Some(c) => Err(format!("leave out the {}", spell(c))),
        None => Ok(text.to_owned()),
    }
}

/// The kernel's own rule (`dev_valid_name`): 1 to 15 bytes, not `.` or `..`, no slash, colon or space.
pub(super) fn interface(text: &str) -> Result<String, String> {
    let fits = (1..=15).contains(&text.len()) && text != "." && text != "..";
    if fits && text.chars().all(|c| c.is_ascii_graphic() && c != '/' && c != ':') {
        Ok(text.to_owned())
    } else {
        Err("write it as `ip link` shows it, or leave the key out".into())
    }
}

/// A path of at most `PATH_MAX` bytes with its NUL (`limits.h` of Linux). Whether the file is there is for the probe to see.
pub(super) fn file(text: &str) -> Result<String, String> {
    if !text.starts_with('/') {
        return Err("write the whole path, from \"/\"".into());
    }
    if text.len() > 4_095 || text.ends_with('/') || text.chars().any(char::is_control) {
        return Err("write the path of one file".into());
    }
    Ok(text.to_owned())
}

/// The origin form of a request target (RFC 9112 section 3.2.1): visible ASCII, so nothing can break the request's line.
pub(super) fn page(text: &str) -> Result<String, String> {
    if !text.starts_with('/') {
        return Err("write what follows the host's name, from \"/\"".into());
    }
    match text.chars().find(|c| !c.is_ascii_graphic() || "\"#<>\\^`{|}".contains(*c)) {
        Some(c) => Err(format!("write the {} in its \"%\" form (RFC 3986)", spell(c))),
        None if text.len() > 200 => Err("shorten it to 200 characters".into()),
        None => Ok(text.to_owned()),
    }
}

pub(super) fn word_or_file(text: &str, words: &[&str]) -> Result<String, String> {
    if !requirements::is_file(text) {
        return word(text, words);
    }
    if text.len() > 4_095 || text.chars().any(char::is_control) {
        return Err("write the name of one file".into());
    }
    Ok(text.to_owned())
}

/// Checks one word against its list.
pub fn word(text: &str, words: &[&str]) -> Result<String, String> {
    if words.contains(&text) {
        return Ok(text.to_owned());
    }
    match nearest(text, words.iter().copied()) {
        Some(meant) => Err(format!("did you mean \"{meant}\"?")),
        None => Err(format!("write \"{}\"", words.join("\" or \""))),
    }
}

/// A character as it can be said in a message.
pub(super) fn spell(c: char) -> String {
    match c {
        ' ' => "space".into(),
        c if c.is_ascii_graphic() => format!("\"{c}\""),
        c => format!("character U+{:04X}", u32::from(c)),
    }
}
