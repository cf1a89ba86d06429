//! What the person at the site says: lines of standard input and signals, each with the moment it was heard.
//!
//! A thread of its own reads, as a line may take hours; the guide asks once a second what came. Nothing waits for it at
//! the end.

use super::guide::Heard;
use crate::judge::Moment;
use crate::sys::clock::Clock;
use std::future::Future;
use std::io::BufRead as _;
use std::sync::mpsc::{Receiver, Sender, channel};

/// Longest line taken (choice: an answer is a word).
const LONGEST: usize = 1_000;

/// The ear.
pub(super) struct Hearing {
    clock: Clock,
    lines: Receiver<(Moment, Heard)>,
    more: Sender<(Moment, Heard)>,
}

impl Hearing {
    /// Listens from now on.
    pub(super) fn begin(clock: Clock) -> Self {
        let (more, lines) = channel();
        let ear = more.clone();
        let listen = move || {
            let mut input = std::io::stdin().lock();
            let mut line = Vec::new();
            loop {
                line.clear();
                let read = input.read_until(b'\n', &mut line);
                let what = match read {
                    Ok(n) if n > 0 => {
                        line.truncate(LONGEST);
                        Heard::Line(String::from_utf8_lossy(&line).trim().to_owned())
                    }
                    _ => Heard::End,
                };
                let last = what == Heard::End;
                if ear.send((clock.now(), what)).is_err() || last {
                    return;
                }
            }
        };
        // Without a thread nothing is heard: as if nobody were there.
        if std::thread::Builder::new().name("hearing".into()).spawn(listen).is_err() {
            let _ = more.send((clock.now(), Heard::End));
        }
        Self { clock, lines, more }
    }

    /// Waits for the answer to the question of permission.
    pub(super) fn yes(&self) -> bool {
        matches!(self.lines.recv(), Ok((_, Heard::Line(line))) if line.eq_ignore_ascii_case("yes"))
    }

    /// Everything heard since the last time.
    pub(super) fn heard(&self) -> Vec<(Moment, Heard)> {
        self.lines.try_iter().collect()
    }

    /// The first signal is told to the guide, which ends the drill in order; the second ends the agent at once.
    pub(super) fn stop(&self) -> impl Future<Output = ()> + use<> {
        let (clock, more) = (self.clock, self.more.clone());
        async move {
            super::running::stop_signal().await;
            let _ = more.send((clock.now(), Heard::Signal));
            super::running::stop_signal().await;
        }
    }
}
