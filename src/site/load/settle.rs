//! One value of a file held against its key's form, and the values that hold where the file does not say.

use crate::site::keys::{Key, Section, Unset};
use crate::site::model::Row;
use crate::site::value::{self, Form, Value};
use std::collections::BTreeMap;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// The value a key takes when the file does not say, if it has one.
pub(super) fn unset(key: &Key) -> Option<Value> {
    let Unset::Is(literal) = key.unset else { return None };
    let line = format!("v = {literal}");
    // Every default is TOML that passes its own form: `keys` is ours, and a test walks all of it.
    let table = DeTable::parse(&line).expect("a default in the table of keys is TOML");
    let value = table.get_ref().get("v").expect("the line above sets v");
    Some(settle(&key.form, value.get_ref()).expect("a default in the table of keys passes its own form"))
}

/// Checks one value against its form. The error is what to write instead.
pub(super) fn settle(form: &Form, value: &DeValue<'_>) -> Result<Value, String> {
    match (value, form) {
        (DeValue::String(text), Form::Whole { .. }) if text.parse::<i64>().is_ok() => {
            Err(format!("leave out the quotes: {text}"))
        }
        (DeValue::String(text), Form::Flag) if ["yes", "true", "on"].contains(&&**text) => Err("write true".into()),
        (DeValue::String(text), Form::Flag) if ["no", "false", "off"].contains(&&**text) => Err("write false".into()),
        (DeValue::String(text), Form::Words(words)) => match value::word(text, words) {
            Ok(word) => Err(format!("put it in brackets: [\"{word}\"]")),
            Err(fix) => Err(fix),
        },
        (DeValue::String(text), _) => form.read(text),
        (DeValue::Integer(n), _) => match i64::from_str_radix(n.as_str(), n.radix()) {
            Ok(n) => form.whole(n),
            Err(_) => Err("this number is too large for anything here".into()),
        },
        (DeValue::Boolean(b), Form::Flag) => Ok(Value::Flag(*b)),
        (DeValue::Array(items), Form::Lengths { least, most, count }) => {
            let text = |item: &Spanned<DeValue<'_>>| match item.get_ref() {
                DeValue::String(text) => Ok(text.to_string()),
                _ => Err("put each length in quotes, with its unit".to_owned()),
            };
            let texts: Vec<String> = items.iter().map(text).collect::<Result<_, _>>()?;
            if texts.len() > *count {
                return Err(format!("write {count} at most"));
            }
            let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
            value::lengths(&texts, *least, *most).map(Value::Lengths)
        }
        (DeValue::Array(items), Form::Words(words)) => {
            let mut settled: Vec<String> = Vec::new();
            for item in items {
                let DeValue::String(text) = item.get_ref() else { return Err("put each word in quotes".into()) };
                let word = value::word(text, words)?;
                if settled.contains(&word) {
                    return Err(format!("write \"{word}\" once"));
                }
                settled.push(word);
            }
            if settled.is_empty() {
                Err("name at least one, or leave the key out".into())
            } else {
                Ok(Value::Words(settled))
            }
        }
        (DeValue::Array(_), _) => Err("write one value, without brackets".into()),
        (DeValue::Table(_), _) => Err("write one value; this key has no keys below it".into()),
        (DeValue::Float(x), _) => match x.as_str().replace('_', "").parse() {
            Ok(x) => form.number(x),
            Err(_) => Err("write a number".into()),
        },
        (_, Form::Words(_) | Form::Lengths { .. }) => Err("write words in quotes, in brackets".into()),
        (_, Form::Flag) => Err("write true or false".into()),
        (_, Form::Whole { .. }) => Err("write a whole number, without quotes".into()),
        (_, Form::Amount(dimension)) if dimension.units.is_empty() => Err("write a number, without quotes".into()),
        (_, _) => Err("put it in quotes".into()),
    }
}

pub(super) fn defaults(section: &'static Section, at: Range<usize>) -> Row {
    let values =
        section.keys.iter().filter_map(|k| Some((k.name, (unset(k)?, at.clone())))).collect::<BTreeMap<_, _>>();
    Row { values, refused: Vec::new() }
}
