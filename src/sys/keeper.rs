//! The service manager, told how the agent fares: ready, alive, reloading, stopping (`sd_notify(3)`'s protocol: a
//! datagram of lines to the socket named in the environment). Without a manager nothing is sent.

use std::os::linux::net::SocketAddrExt as _;
use std::os::unix::net::{SocketAddr, UnixDatagram};
use std::time::{Duration, Instant};

/// The service manager.
#[derive(Debug, Default)]
pub struct Keeper {
    socket: Option<UnixDatagram>,
    every: Option<Duration>,
    last: Option<Instant>,
}

impl Keeper {
    /// The manager the environment names; none where it names none.
    pub fn from_environment() -> Self {
        let text = |name: &str| std::env::var(name).ok().filter(|v| !v.is_empty());
        let socket = text("NOTIFY_SOCKET").and_then(|name| connect(&name));
        let mine = text("WATCHDOG_PID").is_none_or(|pid| pid == std::process::id().to_string());
        let watchdog = text("WATCHDOG_USEC").filter(|_| mine).and_then(|us| us.parse().ok());
        // Twice as often as it must be, as sd_watchdog_enabled(3) asks.
        let every = watchdog.map(|us: u64| Duration::from_micros(us / 2));
        Self { socket, every, last: None }
    }

    /// The service is up.
    pub fn ready(&mut self) {
        self.send("READY=1");
        self.alive();
    }

    /// The agent is alive; call it as often as it is true, it sends no more than is asked for.
    pub fn alive(&mut self) {
        let due = self.every.is_some_and(|every| self.last.is_none_or(|last| last.elapsed() >= every));
        if due {
            self.last = Some(Instant::now());
            self.send("WATCHDOG=1");
        }
    }

    /// It is starting and needs longer: reading a year back may take a while.
    pub fn starting(&mut self) {
        const AT_MOST_EVERY: Duration = Duration::from_secs(5);
        if self.last.is_none_or(|last| last.elapsed() >= AT_MOST_EVERY) {
            self.last = Some(Instant::now());
            self.send("EXTEND_TIMEOUT_USEC=60000000");
        }
    }

    /// How it fares, in one line.
    pub fn status(&self, words: &str) {
        self.send(&format!("STATUS={}", words.replace('\n', " ")));
    }

    /// It is ending.
    pub fn stopping(&self) {
        self.send("STOPPING=1");
    }

    fn send(&self, text: &str) {
        if let Some(socket) = &self.socket {
            // A manager that does not listen is no reason to stop watching.
            let _ = socket.send(text.as_bytes());
        }
    }
}

fn connect(name: &str) -> Option<UnixDatagram> {
    let address = match name.strip_prefix('@') {
        Some(name) => SocketAddr::from_abstract_name(name).ok()?,
        None => SocketAddr::from_pathname(name).ok()?,
    };
    let socket = UnixDatagram::unbound().ok()?;
    socket.connect_addr(&address).ok()?;
    // A full queue must not hold the agent up.
    socket.set_nonblocking(true).ok()?;
    Some(socket)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_says_as_much_as_is_asked_for() {
        let dir = tempfile::tempdir().expect("temp dir");
        let path = dir.path().join("notify");
        let manager = UnixDatagram::bind(&path).expect("binds");
        manager.set_nonblocking(true).expect("can be");
        let socket = connect(path.to_str().expect("text"));
        let mut keeper = Keeper { socket, every: Some(Duration::from_secs(30)), last: None };
        keeper.ready();
        for _ in 0..5 {
            keeper.alive();
        }
        keeper.status("up\nand well");
        keeper.stopping();
        let mut said = Vec::new();
        let mut bytes = [0; 200];
        while let Ok(n) = manager.recv(&mut bytes) {
            said.push(String::from_utf8_lossy(&bytes[..n]).into_owned());
        }
        assert_eq!(said, ["READY=1", "WATCHDOG=1", "STATUS=up and well", "STOPPING=1"]);
        drop(manager);
        keeper.stopping();
    }
}
