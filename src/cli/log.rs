//! What the program says of itself: on standard error, warnings, or what `PATHPROOF_LOG` names (error to trace).
//!
//! Where the journal listens (`JOURNAL_STREAM` names the stream), it gets one line an event with its priority in front
//! (`sd-daemon(3)`), and no time or colour of ours.

use std::fmt;
use std::io::IsTerminal as _;
use std::os::fd::AsFd as _;
use tracing::{Event, Level, Subscriber};
use tracing_subscriber::fmt::format::Writer;
use tracing_subscriber::fmt::{FmtContext, FormatEvent, FormatFields};
use tracing_subscriber::registry::LookupSpan;

/// Starts it. A second start in one process (tests) keeps the first.
pub(super) fn start() {
    let level = std::env::var("PATHPROOF_LOG").ok().and_then(|l| l.parse().ok()).unwrap_or(Level::WARN);
    let to = tracing_subscriber::fmt()
        .with_max_level(level)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr);
    let _ = if journal_listens() { to.event_format(ForJournal).try_init() } else { to.try_init() };
}

/// Whether standard error is the stream the journal named (`systemd.exec(5)`).
fn journal_listens() -> bool {
    let Ok(named) = std::env::var("JOURNAL_STREAM") else { return false };
    let Ok(stat) = nix::sys::stat::fstat(std::io::stderr().as_fd()) else { return false };
    named == format!("{}:{}", stat.st_dev, stat.st_ino)
}

struct ForJournal;

impl<S, N> FormatEvent<S, N> for ForJournal
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(&self, ctx: &FmtContext<'_, S, N>, mut out: Writer<'_>, event: &Event<'_>) -> fmt::Result {
        write!(out, "<{}>", priority(*event.metadata().level()))?;
        // A line is an entry: what holds more than one becomes one.
        let mut text = String::new();
        ctx.field_format().format_fields(Writer::new(&mut text), event)?;
        text.chars().try_for_each(|c| out.write_char(if c.is_control() { ' ' } else { c }))?;
        writeln!(out)
    }
}

/// syslog(3)'s number.
const fn priority(level: Level) -> u8 {
    match level {
        Level::ERROR => 3,
        Level::WARN => 4,
        Level::INFO => 6,
        Level::DEBUG | Level::TRACE => 7,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::{Arc, Mutex};

    #[test]
    fn an_event_is_one_line_with_its_priority() {
        #[derive(Clone, Default)]
        struct Lines(Arc<Mutex<Vec<u8>>>);
        impl std::io::Write for Lines {
            fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
                self.0.lock().expect("whole").extend(bytes);
                Ok(bytes.len())
            }
            fn flush(&mut self) -> std::io::Result<()> {
                Ok(())
            }
        }
        let lines = Lines::default();
        let to = lines.clone();
        let log = tracing_subscriber::fmt().with_ansi(false).event_format(ForJournal).with_writer(move || to.clone());
        tracing::subscriber::with_default(log.finish(), || {
            tracing::warn!("it was \u{1b}[31m\nred");
            tracing::info!(how = 7, "the agent ends");
            tracing::error!("no");
        });
        let text = String::from_utf8(lines.0.lock().expect("whole").clone()).expect("text");
        assert_eq!(text, "<4>it was \\x1b[31m red\n<6>the agent ends how=7\n<3>no\n");
    }
}
