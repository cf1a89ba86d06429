//! The live view's cursor: rewrites a block of lines on a terminal, prints changes elsewhere.

use super::options::Format;
use crate::agent::Turn;
use crate::judge::Micros;
use crate::show::terminal;
use crate::snapshot::{self, AgentView, Header, Snapshot};
use jiff::tz::TimeZone;
use std::fmt::Write as _;
use std::io::{IsTerminal, Write};

/// Shows the survey as it runs.
pub(super) struct LiveView<'a> {
    out: &'a mut dyn Write,
    zone: TimeZone,
    screen: bool,
    colour: bool,
    lines: usize,
    before: Snapshot,
}

impl<'a> LiveView<'a> {
    /// A view on `out`: a screen when the stream behind it is a terminal.
    pub(super) fn new(out: &'a mut dyn Write, format: Format) -> Self {
        let terminal = match format {
            Format::Text => std::io::stdout().is_terminal(),
            Format::Json => std::io::stderr().is_terminal(),
        };
        let dumb = std::env::var_os("TERM").is_none_or(|t| t == "dumb");
        let colour = std::env::var_os("NO_COLOR").is_none();
        Self { out, zone: TimeZone::system(), screen: terminal && !dumb, colour, lines: 0, before: Snapshot::default() }
    }

    /// Whether somebody looks at a screen.
    pub(super) fn on_screen(&self) -> bool {
        self.screen
    }

    /// Shows one turn. Failures to write are left to the final print to report.
    pub(super) fn show(&mut self, turn: &Turn<'_>, header: &Header) {
        self.show_with(turn, header, None);
    }

    /// The same, with how the agent fares. Gives what was shown.
    pub(super) fn show_with(&mut self, turn: &Turn<'_>, header: &Header, agent: Option<AgentView>) -> &Snapshot {
        let now = snapshot::take_live(turn.judge, header).with_agent(agent);
        if self.screen {
            let (width, height) = crate::sys::terminal::size().unwrap_or((80, 24));
            let left = turn.left.map(Micros::secs);
            let lines = terminal::live(&now, &self.zone, width, height.saturating_sub(1), self.colour, left);
            let mut text = String::new();
            if self.lines > 0 {
                let _ = write!(text, "\x1b[{}A", self.lines);
            }
            for line in &lines {
                text.push_str("\r\x1b[K");
                text.push_str(line);
                text.push('\n');
            }
            text.push_str("\x1b[J");
            self.lines = lines.len();
            let _ = self.out.write_all(text.as_bytes());
        } else {
            for line in terminal::plain_change(&self.before, &now, &self.zone) {
                let _ = writeln!(self.out, "{line}");
            }
        }
        let _ = self.out.flush();
        self.before = now;
        &self.before
    }

    /// Says something once, above what comes next.
    pub(super) fn say(&mut self, words: &str) {
        if !self.screen {
            let _ = writeln!(self.out, "{words}").and_then(|()| self.out.flush());
        }
    }

    /// Leaves a line of air after the view.
    pub(super) fn end(self) {
        let _ = writeln!(self.out);
    }
}
