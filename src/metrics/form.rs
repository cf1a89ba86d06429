//! Which text form a scraper is given.

/// Most media ranges looked at.
const MOST_RANGES: usize = 64;

/// The form of an exposition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// OpenMetrics 1.0.0.
    OpenMetrics,
    /// The text exposition format 0.0.4.
    Text,
}

impl Form {
    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::OpenMetrics => "application/openmetrics-text; version=1.0.0; charset=utf-8",
            Self::Text => "text/plain; version=0.0.4; charset=utf-8",
        }
    }

    /// The form an `Accept` field prefers (RFC 9110, section 12.5.1); text where a wildcard prefers neither.
    pub fn preferred(accept: &str) -> Self {
        let (mut open, mut text, mut any) = (None, None, None);
        for range in accept.split(',').take(MOST_RANGES) {
            let mut parts = range.split(';').map(str::trim);
            let kind = parts.next().unwrap_or_default().to_ascii_lowercase();
            let (mut q, mut version) = (1.0, None);
            for (name, value) in parts.filter_map(|p| p.split_once('=')) {
                match name.trim().to_ascii_lowercase().as_str() {
                    "q" => q = value.trim().parse().ok().filter(|q| (0.0..=1.0).contains(q)).unwrap_or(0.0),
                    "version" => version = Some(value.trim().trim_matches('"').to_owned()),
                    _ => {}
                }
            }
            let best = match kind.as_str() {
                // The version before the standard is another form.
                "application/openmetrics-text" if version.as_deref().is_none_or(|v| v == "1.0.0") => &mut open,
                "text/plain" if version.as_deref().is_none_or(|v| v == "0.0.4") => &mut text,
                "text/*" => &mut text,
                "*/*" => &mut any,
                _ => continue,
            };
            *best = Some(best.map_or(q, |old: f64| old.max(q)));
        }
        let text = text.or(any).unwrap_or(0.0);
        match open {
            Some(open) if open > 0.0 && open >= text => Self::OpenMetrics,
            _ => Self::Text,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_form_is_the_one_asked_for() {
        // What Prometheus 2.42 sends, as seen on the wire.
        let prometheus = "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,*/*;q=0.1";
        assert_eq!(Form::preferred(prometheus), Form::OpenMetrics);
        for text in [
            "application/openmetrics-text;version=0.0.1,text/plain;q=0.5",
            "application/openmetrics-text;q=0.2, text/plain;q=0.3",
            "application/openmetrics-text; q=0",
            "text/html,application/xhtml+xml,*/*;q=0.8",
            "",
        ] {
            assert_eq!(Form::preferred(text), Form::Text, "{text}");
        }
    }

    proptest! {
        #[test]
        fn no_field_makes_it_fall(accept in "[ -~]{0,200}") {
            let _ = Form::preferred(&accept);
        }
    }
}
