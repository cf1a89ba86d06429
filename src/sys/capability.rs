//! What this host lets us probe, and how to allow more.
//!
//! Decides, from `/proc` and one trial, which of the questions can be put at all: packet sockets (`capabilities(7)`),
//! ping sockets (`icmp(7)`, the group range), namespaces for the practice site (`user_namespaces(7)`). Sends nothing.

use nix::libc;
use std::io;
use std::path::Path;

/// `CAP_NET_ADMIN` of `linux/capability.h`.
const CAP_NET_ADMIN: u32 = 12;
/// `CAP_NET_RAW`.
const CAP_NET_RAW: u32 = 13;
/// `CAP_SYS_ADMIN`.
const CAP_SYS_ADMIN: u32 = 21;

/// What this process may do on this host.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Capability {
    /// Packet and raw sockets: gateway ARP, address conflict, address servers, echo without ping sockets.
    pub net_raw: bool,
    /// Changing interfaces. No probe needs it.
    pub net_admin: bool,
    /// Making namespaces without a user namespace.
    pub sys_admin: bool,
    /// Ping sockets: gateway echo without `CAP_NET_RAW`.
    pub ping: Ping,
    /// Namespaces for the practice site.
    pub namespaces: Namespaces,
    /// Our effective group, for the words on how to allow ping sockets.
    pub group: u32,
}

/// Whether the kernel gives us ping sockets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ping {
    /// One of our groups is in the range.
    Allowed,
    /// None is.
    OutsideRange {
        /// First group allowed.
        low: u64,
        /// Last group allowed; less than `low`: nobody.
        high: u64,
    },
    /// The range could not be read.
    Unknown,
}

/// Whether namespaces for the practice site can be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Namespaces {
    /// Made and left again in a trial.
    Allowed,
    /// Refused in the trial.
    Refused {
        /// At which step.
        step: Step,
        /// The kernel's error number.
        errno: i32,
    },
    /// The trial itself could not be made.
    Unknown,
}

/// The steps of making an unprivileged network namespace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// `unshare(CLONE_NEWUSER)`.
    User,
    /// `unshare(CLONE_NEWNET)` within it.
    Network,
    /// Writing `/proc/self/uid_map`.
    Map,
}

impl Capability {
    /// Looks at the running host. Makes and leaves a namespace in a short-lived child.
    pub fn read() -> Self {
        let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
        let range = std::fs::read_to_string("/proc/sys/net/ipv4/ping_group_range").unwrap_or_default();
        Self::from_texts(&status, &range, try_namespaces())
    }

    /// The same from the texts of `/proc/self/status` and `ping_group_range`. What is missing counts as not held.
    pub fn from_texts(status: &str, ping_group_range: &str, namespaces: Namespaces) -> Self {
        let field = |name: &str| status.lines().find_map(|l| l.strip_prefix(name)).unwrap_or_default();
        let held = u64::from_str_radix(field("CapEff:").trim(), 16).unwrap_or(0);
        let has = |bit: u32| held >> bit & 1 == 1;
        // "Gid:" lists real, effective, saved and file-system group; the kernel looks at the effective one and at the
        // supplementary groups (net/ipv4/ping.c, ping_init_sock).
        let group = field("Gid:").split_whitespace().nth(1).and_then(|g| g.parse().ok()).unwrap_or(u32::MAX);
        let mut groups: Vec<u64> = field("Groups:").split_whitespace().filter_map(|g| g.parse().ok()).collect();
        groups.push(group.into());
        let bounds: Vec<u64> = ping_group_range.split_whitespace().filter_map(|g| g.parse().ok()).collect();
        let ping = match bounds[..] {
            [low, high] if groups.iter().any(|id| (low..=high).contains(id)) => Ping::Allowed,
            [low, high] => Ping::OutsideRange { low, high },
            _ => Ping::Unknown,
        };
        Self {
            net_raw: has(CAP_NET_RAW),
            net_admin: has(CAP_NET_ADMIN),
            sys_admin: has(CAP_SYS_ADMIN),
            ping,
            namespaces,
            group,
        }
    }

    /// Whether the practice site can have namespaces, one way or the other.
    pub fn may_make_namespaces(&self) -> bool {
        (self.sys_admin && self.net_admin) || self.namespaces == Namespaces::Allowed
    }

    /// What may be probed, and how to allow the rest. `program` is the path of this program, for the `setcap` line.
    pub fn lines(&self, program: &Path) -> Vec<String> {
        let program = program.display();
        let mut lines = vec!["may: link, own addresses and routes, lease files (read from this host)".to_owned()];
        lines.push("may: names, outside and receiver (ordinary sockets)".into());
        let raw = "gateway hardware address, address conflict, address servers (CAP_NET_RAW)";
        if self.net_raw {
            lines.push(format!("may: {raw}"));
        } else {
            lines.push(format!("may not: {raw}"));
            lines.push(
                "  instead: the kernel's neighbour table and the lease file; what they can't show is blind".into(),
            );
            lines.push(format!("  to allow: sudo setcap cap_net_raw+ep '{program}'"));
            lines.push("  as a service: AmbientCapabilities=CAP_NET_RAW in the unit's [Service] section".into());
        }
        match self.ping {
            Ping::Allowed => lines.push("may: gateway echo (ping sockets)".into()),
            _ if self.net_raw => lines.push("may: gateway echo (raw socket; ping sockets are closed to us)".into()),
            Ping::OutsideRange { low, high } => {
                let who =
                    if low > high { "open to nobody".into() } else { format!("open to groups {low} to {high} only") };
                lines.push(format!("may not: gateway echo (ping sockets are {who}; CAP_NET_RAW is not held)"));
                lines.push(format!("  to allow: sudo sysctl -w net.ipv4.ping_group_range=\"{0} {0}\"", self.group));
            }
            Ping::Unknown => {
                lines.push("not known: gateway echo (the range of groups for ping sockets can't be read)".into());
            }
        }
        self.namespace_lines(&mut lines);
        lines
    }

    fn namespace_lines(&self, lines: &mut Vec<String>) {
        let what = "practice site in namespaces";
        if self.may_make_namespaces() {
            let how = if self.namespaces == Namespaces::Allowed { "without root" } else { "as root" };
            lines.push(format!("may: {what} ({how})"));
            return;
        }
        match self.namespaces {
            Namespaces::Refused { step, errno } => {
                let step = match step {
                    Step::User => "a user namespace",
                    Step::Network => "a network namespace in a user namespace",
                    Step::Map => "the user map of a namespace",
                };
                lines.push(format!("may not: {what} ({step} is refused: {})", io::Error::from_raw_os_error(errno)));
                if errno == libc::ENOSPC {
                    lines.push(
                        "  to allow: sudo sysctl -w user.max_user_namespaces=1000 user.max_net_namespaces=1000".into(),
                    );
                } else {
                    lines.push("  to allow: run the practice site as root, or".into());
                    for setting in blockers(Path::new("/proc/sys")) {
                        lines.push(format!("  to allow: sudo sysctl -w {setting}"));
                    }
                    lines.push("  in a container: start it with namespaces allowed by its system-call filter".into());
                }
            }
            _ => lines.push(format!("not known: {what} (no trial could be made)")),
        }
        lines.push(
            "  instead: the practice site on loopback addresses, with link, address and router lanes blind".into(),
        );
    }
}

/// The settings known to refuse unprivileged user namespaces, where this kernel has them and they do.
fn blockers(sys: &Path) -> Vec<&'static str> {
    [
        ("kernel/unprivileged_userns_clone", "0", "kernel.unprivileged_userns_clone=1"),
        ("kernel/apparmor_restrict_unprivileged_userns", "1", "kernel.apparmor_restrict_unprivileged_userns=0"),
        ("user/max_user_namespaces", "0", "user.max_user_namespaces=1000"),
    ]
    .into_iter()
    .filter(|(file, refusing, _)| std::fs::read_to_string(sys.join(file)).is_ok_and(|v| v.trim() == *refusing))
    .map(|(_, _, setting)| setting)
    .collect()
}

/// Makes a user and a network namespace in a child and throws them away: settings, security modules and system-call
/// filters can all refuse, and only a trial tells.
fn try_namespaces() -> Namespaces {
    // Everything the child needs is made before the fork: after it, a child of a process with threads may only make
    // async-signal-safe calls (signal-safety(7)), and memory allocation is none.
    // SAFETY: `geteuid` has no preconditions and cannot fail.
    let map = format!("0 {} 1\n", unsafe { libc::geteuid() });
    // SAFETY: between `fork` and `_exit` the child only makes the system calls in `trial`, which neither allocates,
    // locks, unwinds nor returns here; `_exit` runs no exit handlers of the parent.
    let child = unsafe {
        match libc::fork() {
            0 => libc::_exit(trial(map.as_bytes())),
            child => child,
        }
    };
    if child < 0 {
        return Namespaces::Unknown;
    }
    let mut status = 0;
    loop {
        // SAFETY: `status` outlives the call; `child` is our own child, not yet waited for.
        let done = unsafe { libc::waitpid(child, &raw mut status, 0) };
        if done == child {
            break;
        }
        if io::Error::last_os_error().raw_os_error() != Some(libc::EINTR) {
            return Namespaces::Unknown;
        }
    }
    if !libc::WIFEXITED(status) {
        // A filter that kills instead of refusing.
        return Namespaces::Refused { step: Step::User, errno: libc::EPERM };
    }
    outcome(libc::WEXITSTATUS(status))
}

/// The child's part: 0, or the step (64, 128, 192) plus the error number, which is below 64 for all that can come here.
fn trial(map: &[u8]) -> i32 {
    // SAFETY: plain system calls on constants, a NUL-terminated path and a buffer that outlives them;
    // `__errno_location` gives the calling thread's own variable.
    unsafe {
        let errno = || (*libc::__errno_location()).clamp(1, 63);
        if libc::unshare(libc::CLONE_NEWUSER) != 0 {
            return 64 + errno();
        }
        if libc::unshare(libc::CLONE_NEWNET) != 0 {
            return 128 + errno();
        }
        let file = libc::open(c"/proc/self/uid_map".as_ptr(), libc::O_WRONLY | libc::O_CLOEXEC);
        if file < 0 || usize::try_from(libc::write(file, map.as_ptr().cast(), map.len())) != Ok(map.len()) {
            return 192 + errno();
        }
        0
    }
}

fn outcome(code: i32) -> Namespaces {
    let step = match code / 64 {
        0 if code == 0 => return Namespaces::Allowed,
        0 => return Namespaces::Unknown,
        1 => Step::User,
        2 => Step::Network,
        _ => Step::Map,
    };
    Namespaces::Refused { step, errno: code % 64 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use socket2::{Domain, Protocol, Socket, Type};

    const ORDINARY: &str = "Name:\tpathproof\nUid:\t1000\t1000\t1000\t1000\nGid:\t1000\t1000\t1000\t1000\n\
                            Groups:\t27 100 1000 \nCapEff:\t0000000000000000\n";

    #[test]
    fn reads_the_kernels_texts() {
        let c = Capability::from_texts(ORDINARY, "0\t2147483647\n", Namespaces::Allowed);
        assert_eq!((c.net_raw, c.net_admin, c.sys_admin, c.ping, c.group), (false, false, false, Ping::Allowed, 1000));
        let c = Capability::from_texts(ORDINARY, "1\t0\n", Namespaces::Allowed);
        assert_eq!(c.ping, Ping::OutsideRange { low: 1, high: 0 });
        let c = Capability::from_texts(ORDINARY, "100 100", Namespaces::Allowed);
        assert_eq!(c.ping, Ping::Allowed);
        // capabilities(7): bit 13 alone is CAP_NET_RAW.
        let raw = ORDINARY.replace("CapEff:\t0000000000000000", "CapEff:\t0000000000002000");
        let c = Capability::from_texts(&raw, "", Namespaces::Unknown);
        assert_eq!((c.net_raw, c.net_admin, c.sys_admin, c.ping), (true, false, false, Ping::Unknown));
    }

    #[test]
    fn what_is_said_is_what_the_kernel_does() {
        // The kernel is the reference: opening a socket sends nothing.
        let c = Capability::read();
        assert_eq!(Socket::new(Domain::IPV4, Type::RAW, Some(Protocol::ICMPV4)).is_ok(), c.net_raw);
        let ping = Socket::new(Domain::IPV4, Type::DGRAM, Some(Protocol::ICMPV4)).is_ok();
        assert_eq!(ping, c.ping == Ping::Allowed, "{c:?}");
    }

    #[test]
    fn the_trial_agrees_with_unshare() {
        // util-linux's unshare is the reference; without it there is nothing to compare with, and the test says so.
        match std::process::Command::new("unshare").args(["-Urn", "true"]).output() {
            Ok(o) => assert_eq!(o.status.success(), try_namespaces() == Namespaces::Allowed, "{o:?}"),
            Err(e) => panic!("needs unshare of util-linux, which Debian always installs: {e}"),
        }
    }

    #[test]
    fn every_refusal_comes_with_a_way_to_allow_it() {
        let refused = Namespaces::Refused { step: Step::User, errno: libc::ENOSPC };
        let lines = Capability::from_texts(ORDINARY, "1 0", refused).lines(Path::new("/usr/bin/pathproof"));
        let refusals = lines.iter().filter(|l| l.starts_with("may not:")).count();
        assert_eq!(refusals, 3, "{lines:#?}");
        for way in [
            "setcap cap_net_raw+ep '/usr/bin/pathproof'",
            "AmbientCapabilities=CAP_NET_RAW",
            "net.ipv4.ping_group_range=\"1000 1000\"",
            "user.max_user_namespaces",
            "loopback addresses",
        ] {
            assert!(lines.iter().any(|l| l.contains(way)), "{way}: {lines:#?}");
        }
        let root = ORDINARY.replace("CapEff:\t0000000000000000", "CapEff:\t000001ffffffffff");
        let lines = Capability::from_texts(&root, "1 0", refused).lines(Path::new("/usr/bin/pathproof"));
        assert!(lines.iter().all(|l| l.starts_with("may: ")), "{lines:#?}");
    }

    #[test]
    fn exit_codes_of_the_trial_read_back() {
        assert_eq!(outcome(0), Namespaces::Allowed);
        assert_eq!(outcome(64 + libc::EPERM), Namespaces::Refused { step: Step::User, errno: libc::EPERM });
        assert_eq!(outcome(128 + libc::ENOSPC), Namespaces::Refused { step: Step::Network, errno: libc::ENOSPC });
        assert_eq!(outcome(192 + libc::EACCES), Namespaces::Refused { step: Step::Map, errno: libc::EACCES });
        assert_eq!(outcome(5), Namespaces::Unknown);
    }
}
