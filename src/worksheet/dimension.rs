//! What a quantity may be entered as: its units, its limits, and what to write instead of what is refused.

/// What a kind of quantity may be entered as, and within which limits.
#[derive(Debug, PartialEq)]
pub struct Dimension {
    /// The unit of the number kept; empty for a bare number.
    pub symbol: &'static str,
    /// Units it may be entered in: name, what one of it is worth, and where its zero lies, both in `symbol`.
    pub units: &'static [(&'static str, f64, f64)],
    /// Least that makes sense.
    pub least: f64,
    /// Most that makes sense.
    pub most: f64,
}

impl Dimension {
    /// The number in the unit kept. The error is what to write instead.
    pub fn read(&self, text: &str) -> Result<f64, String> {
        let text = text.trim();
        let end = text.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c))).unwrap_or(text.len());
        let (number, unit) = (&text[..end], text[end..].trim());
        let value: f64 = number.parse().map_err(|_| self.hint())?;
        let unit = self.units.iter().find(|(name, ..)| *name == unit).ok_or_else(|| self.hint())?;
        self.within(value * unit.1 + unit.2)
    }

    /// Checks a number in the unit kept.
    pub fn within(&self, value: f64) -> Result<f64, String> {
        let unit = if self.symbol.is_empty() { String::new() } else { format!(" {}", self.symbol) };
        let doubt = if self.units.is_empty() { "" } else { "; see that the unit is the one you meant" };
        // A hair of slack: 32 F is 0 C but for the last bit.
        let slack = 1e-9 * self.most.abs().max(self.least.abs());
        if value.is_nan() {
            Err("write a number".into())
        } else if value < self.least - slack {
            Err(format!(
                "{} is less than makes sense here: write {} or more{doubt}",
                said(value, &unit),
                said(self.least, &unit)
            ))
        } else if value > self.most + slack {
            Err(format!(
                "{} is more than makes sense here: write {} or less{doubt}",
                said(value, &unit),
                said(self.most, &unit)
            ))
        } else {
            Ok(value.clamp(self.least, self.most))
        }
    }

    /// What may be entered, in words.
    pub fn expected(&self) -> String {
        if self.units.is_empty() {
            return format!("a number from {} to {}", self.least, self.most);
        }
        let names: Vec<&str> = self.units.iter().map(|(name, ..)| *name).collect();
        format!("a number with its unit ({}), from {} to {} {}", names.join(", "), self.least, self.most, self.symbol)
    }

    fn hint(&self) -> String {
        let like = |name: &str| format!("\"5 {name}\"");
        let names: Vec<String> = self.units.iter().map(|(name, ..)| like(name)).collect();
        format!("write a number with its unit: {}", names.join(" or "))
    }
}

pub(super) fn said(value: f64, unit: &str) -> String {
    let text = format!("{value:.3}");
    format!("{}{unit}", text.trim_end_matches('0').trim_end_matches('.'))
}
