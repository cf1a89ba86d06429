//! A script read from its file, or refused with the line, the key, what stands there and what should.

use super::{BURST_LOSS, Fault, FaultKind, NameFailure, Script, Step};
use serde::Deserialize;
use std::fmt;
use toml::Spanned;

/// What is wrong with a script file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}, {key}: found {found}; expected {expected}")]
pub struct ScriptError {
    /// The file, as it was named.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// The key, or `file` where the text as a whole is not TOML.
    pub key: String,
    /// What stands there.
    pub found: String,
    /// What should.
    pub expected: String,
}

/// Longest script, seconds: a day.
const LONGEST_S: f64 = 86_400.0;
/// Most steps in a script.
const MOST_STEPS: usize = 500;
/// A burst starts and ends with a lost frame, found within about a second: a shorter one has no middle.
const SHORTEST_BURST_S: f64 = 3.0;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileText {
    seed: Option<u64>,
    length_s: Option<Spanned<f64>>,
    #[serde(default)]
    step: Vec<Spanned<StepText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepText {
    at_s: Spanned<f64>,
    for_s: Spanned<f64>,
    fault: Spanned<String>,
    how: Option<Spanned<String>>,
    loss: Option<Spanned<f64>>,
}

/// Where in which text something stands.
struct Page<'a> {
    file: &'a str,
    text: &'a str,
}

impl Page<'_> {
    fn wrong(&self, at: usize, key: &str, found: impl fmt::Display, expected: impl Into<String>) -> ScriptError {
        let before = self.text.get(..at).unwrap_or(self.text);
        ScriptError {
            file: self.file.to_owned(),
            line: before.matches('\n').count() + 1,
            key: key.to_owned(),
            found: found.to_string(),
            expected: expected.into(),
        }
    }

    fn not_toml(&self, e: &toml::de::Error) -> ScriptError {
        let span = e.span().unwrap_or(0..0);
        let line = self.text.get(..span.start).map_or(0, |t| t.matches('\n').count());
        let whole = self.text.lines().nth(line).unwrap_or_default().trim();
        let key = whole.split('=').next().map_or("", str::trim);
        let found = self.text.get(span.clone()).filter(|t| !t.trim().is_empty() && !t.contains('\n')).unwrap_or(whole);
        let key = if whole.contains('=') && !key.is_empty() { key } else { "file" };
        self.wrong(span.start, key, format_args!("`{}`", found.trim().escape_debug()), e.message())
    }
}

impl Script {
    /// Reads a script file's text; `file` is only for the error.
    pub fn read(file: &str, text: &str) -> Result<Self, ScriptError> {
        let page = Page { file, text };
        let raw: FileText = toml::from_str(text).map_err(|e| page.not_toml(&e))?;
        if raw.step.len() > MOST_STEPS {
            let at = raw.step[MOST_STEPS].span().start;
            return Err(page.wrong(
                at,
                "step",
                format_args!("{} steps", raw.step.len()),
                format!("at most {MOST_STEPS}"),
            ));
        }
        let mut steps = Vec::with_capacity(raw.step.len());
        for s in &raw.step {
            steps.push((s.span().start, read_step(&page, s.get_ref())?));
        }
        steps.sort_by(|a, b| a.1.at_s.total_cmp(&b.1.at_s));
        let mut busy: Option<Step> = None;
        let mut strayed: Option<Step> = None;
        for (at, step) in &steps {
            let lane = if step.fault == Fault::SecondAddressServer { &mut strayed } else { &mut busy };
            if let Some(before) = lane.filter(|b| b.until_s() > step.at_s) {
                return Err(page.wrong(
                    *at,
                    "at_s",
                    step.at_s,
                    format!(
                        "at least {}, when {} is over (only second-address-server may overlap others)",
                        before.until_s(),
                        before.fault.kind()
                    ),
                ));
            }
            *lane = Some(*step);
        }
        let last = steps.iter().map(|(_, s)| s.until_s()).fold(0.0, f64::max);
        let length_s = match &raw.length_s {
            None => last + 5.0,
            Some(l) if (last..=LONGEST_S).contains(l.get_ref()) => *l.get_ref(),
            Some(l) => {
                let expected = format!("seconds from {last} (the end of the last step) to {LONGEST_S}");
                return Err(page.wrong(l.span().start, "length_s", l.get_ref(), expected));
            }
        };
        Ok(Self { seed: raw.seed.unwrap_or(0), length_s, steps: steps.into_iter().map(|(_, s)| s).collect() })
    }
}

fn read_step(page: &Page<'_>, s: &StepText) -> Result<Step, ScriptError> {
    let in_range = |key: &str, v: &Spanned<f64>, least: f64, most: f64, unit: &str| {
        let x = *v.get_ref();
        if (least..=most).contains(&x) {
            Ok(x)
        } else {
            Err(page.wrong(v.span().start, key, x, format!("{unit} from {least} to {most}")))
        }
    };
    let word = s.fault.get_ref().as_str();
    let Some(kind) = FaultKind::ALL.into_iter().find(|k| k.word() == word) else {
        let known: Vec<_> = FaultKind::ALL.iter().map(|k| k.word()).collect();
        let found = format!("`{}`", word.escape_debug());
        return Err(page.wrong(s.fault.span().start, "fault", found, format!("one of {}", known.join(", "))));
    };
    let shortest = if kind == FaultKind::LossBurst { SHORTEST_BURST_S } else { 0.1 };
    let at_s = in_range("at_s", &s.at_s, 0.0, LONGEST_S, "seconds")?;
    let for_s = in_range("for_s", &s.for_s, shortest, LONGEST_S - at_s, "seconds")?;
    if let Some(how) = s.how.as_ref().filter(|_| kind != FaultKind::ResolverFailure) {
        return Err(page.wrong(how.span().start, "how", how.get_ref(), format!("no `how` with {kind}")));
    }
    if let Some(loss) = s.loss.as_ref().filter(|_| kind != FaultKind::LossBurst) {
        return Err(page.wrong(loss.span().start, "loss", loss.get_ref(), format!("no `loss` with {kind}")));
    }
    let fault = match kind {
        FaultKind::LossBurst => Fault::LossBurst {
            loss: s.loss.as_ref().map_or(Ok(BURST_LOSS), |l| in_range("loss", l, 0.01, 1.0, "a share"))?,
        },
        FaultKind::ResolverFailure => Fault::ResolverFailure {
            how: match &s.how {
                None => NameFailure::default(),
                Some(h) => NameFailure::ALL.into_iter().find(|n| n.word() == h.get_ref()).ok_or_else(|| {
                    let found = format!("`{}`", h.get_ref().escape_debug());
                    page.wrong(h.span().start, "how", found, "one of silent, refuse, servfail")
                })?,
            },
        },
        other => other.usual(),
    };
    Ok(Step { at_s, for_s, fault })
}
