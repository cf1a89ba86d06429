//! Namespaces of our own: a network with nothing in it, made without root where the kernel allows, else with.
//!
//! Decides how to enter and, where that is refused, says in words why and how to allow it (`user_namespaces(7)`,
//! `network_namespaces(7)`). Does not build anything inside; `practice` does.
//!
//! A half-entered process could not go back, so everything is first tried in a forked child that is thrown away.

use nix::errno::Errno;
use nix::libc;
use nix::mount::{MsFlags, mount};
use nix::sched::{CloneFlags, unshare};
use std::fs;
use std::io::{self, Read, Write};
use std::os::fd::OwnedFd;

/// What was entered.
#[derive(Debug)]
pub struct Entered {
    /// The process' own network namespace, to move interfaces into.
    pub network: OwnedFd,
    /// True where a user namespace was needed and made: no privilege outside was used.
    pub unprivileged: bool,
    /// True where `/sys` shows the new network; the mounted one shows the old otherwise.
    pub sysfs: bool,
}

/// Why namespaces are not to be had, in words.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{why}")]
pub struct Refused {
    /// What the kernel refused, and the reason as far as it can be told.
    pub why: String,
    /// How to allow it.
    pub allow: String,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    UserNamespace,
    Capability,
}

/// Moves the process into namespaces of its own (user where possible, network, mount).
///
/// Call it while the process has one thread: the kernel refuses a user namespace to a process with more (`EINVAL`), and
/// threads started earlier would stay outside. `trial` is run in a child process inside its own throw-away namespaces
/// first, to learn whether what will be built there can be built; its error becomes part of the reason.
pub fn enter(trial: impl Fn() -> Result<(), String>) -> Result<Entered, Refused> {
    if thread_count().is_some_and(|n| n > 1) {
        return Err(Refused {
            why: "namespaces must be made before the program has a second thread".into(),
            allow: "this is a fault of the program; please report it".into(),
        });
    }
    let mut whys = Vec::new();
    for way in [Way::UserNamespace, Way::Capability] {
        let outcome = in_child(|| {
            isolate(way)?;
            trial()
        });
        match outcome {
            Ok(()) => return settle(way),
            Err(why) => whys.push(why),
        }
    }
    Err(Refused { why: whys.join("; and "), allow: how_to_allow(&fs_text) })
}

/// Gives the calling thread a new, empty network namespace of its own and returns a descriptor of it. Needs
/// `CAP_SYS_ADMIN` in the process' user namespace, which [`enter`] brings.
pub fn own_network() -> io::Result<OwnedFd> {
    unshare(CloneFlags::CLONE_NEWNET)?;
    Ok(fs::File::open("/proc/thread-self/ns/net")?.into())
}

fn settle(way: Way) -> Result<Entered, Refused> {
    let refused = |why: String| Refused { why, allow: how_to_allow(&fs_text) };
    isolate(way).map_err(refused)?;
    let network = fs::File::open("/proc/thread-self/ns/net")
        .map_err(|e| refused(format!("the new network namespace could not be opened: {e}")))?;
    let flags = MsFlags::MS_NOSUID | MsFlags::MS_NODEV | MsFlags::MS_NOEXEC | MsFlags::MS_RDONLY;
    let sysfs = mount(Some("sysfs"), "/sys", Some("sysfs"), flags, None::<&str>).is_ok();
    Ok(Entered { network: network.into(), unprivileged: way == Way::UserNamespace, sysfs })
}

fn isolate(way: Way) -> Result<(), String> {
    let inner = CloneFlags::CLONE_NEWNET | CloneFlags::CLONE_NEWNS;
    match way {
        Way::UserNamespace => {
            let (uid, gid) = (nix::unistd::geteuid(), nix::unistd::getegid());
            unshare(CloneFlags::CLONE_NEWUSER | inner)
                .map_err(|e| format!("a user namespace was refused: {}", reason(e)))?;
            // The group map may only be written after giving up `setgroups` (user_namespaces(7)).
            for (file, text) in
                [("setgroups", "deny".to_owned()), ("uid_map", format!("0 {uid} 1")), ("gid_map", format!("0 {gid} 1"))]
            {
                fs::write(format!("/proc/self/{file}"), text)
                    .map_err(|e| format!("a user namespace was made but /proc/self/{file} could not be set: {e}"))?;
            }
        }
        Way::Capability => unshare(inner)
            .map_err(|e| format!("without a user namespace, a network namespace was refused: {}", reason(e)))?,
    }
    // Or our mount of /sys would show up outside.
    mount(None::<&str>, "/", None::<&str>, MsFlags::MS_REC | MsFlags::MS_PRIVATE, None::<&str>)
        .map_err(|e| format!("the mounts could not be made private: {}", e.desc()))
}

/// What an error of `unshare` means (unshare(2)); the system's own words mislead for a limit.
fn reason(e: Errno) -> &'static str {
    match e {
        Errno::ENOSPC | Errno::EUSERS => "the limit on their number is reached (it may be set to 0)",
        Errno::EPERM => "not permitted",
        Errno::EINVAL | Errno::ENOSYS => "this kernel does not offer it",
        other => other.desc(),
    }
}

/// Runs `body` in a forked child and brings back its outcome. Only sound in a process with one thread.
fn in_child(body: impl Fn() -> Result<(), String>) -> Result<(), String> {
    let (mut reader, mut writer) = io::pipe().map_err(|e| format!("no pipe to a trial process: {e}"))?;
    // SAFETY: the caller has checked that there is one thread, so the child's copy of every lock is in a sane state.
    let child = unsafe { libc::fork() };
    match child {
        -1 => Err(format!("no trial process could be started: {}", io::Error::last_os_error())),
        0 => {
            drop(reader);
            let said = body().err().unwrap_or_default();
            let sent = writer.write_all(said.as_bytes()).is_ok();
            // SAFETY: ends the child at once; no destructor or exit handler of the parent's runs twice.
            unsafe { libc::_exit(i32::from(!(sent && said.is_empty()))) }
        }
        pid => {
            drop(writer);
            let mut said = String::new();
            let read = reader.read_to_string(&mut said);
            let mut status = 0;
            // SAFETY: `status` outlives the call; `pid` is our own child, waited for once.
            while unsafe { libc::waitpid(pid, &raw mut status, 0) } == -1 {
                if io::Error::last_os_error().kind() != io::ErrorKind::Interrupted {
                    return Err("the trial process was lost".into());
                }
            }
            match (read, said.is_empty(), status) {
                (Ok(_), true, 0) => Ok(()),
                (Ok(_), false, _) => Err(said),
                _ => Err("the trial process ended without a word".into()),
            }
        }
    }
}

/// Number of threads of this process; `None` where `/proc` does not say.
fn thread_count() -> Option<usize> {
    let status = fs_text("/proc/self/status")?;
    status.lines().find_map(|l| l.strip_prefix("Threads:")).and_then(|n| n.trim().parse().ok())
}

fn fs_text(path: &str) -> Option<String> {
    fs::read_to_string(path).ok().map(|s| s.trim().to_owned())
}

/// Names the switch that is set against us, as far as the kernel shows it.
fn how_to_allow(read: &dyn Fn(&str) -> Option<String>) -> String {
    let switches = [
        ("/proc/sys/user/max_user_namespaces", "0", "sysctl user.max_user_namespaces=1000"),
        ("/proc/sys/user/max_net_namespaces", "0", "sysctl user.max_net_namespaces=1000"),
        ("/proc/sys/kernel/unprivileged_userns_clone", "0", "sysctl kernel.unprivileged_userns_clone=1"),
        (
            "/proc/sys/kernel/apparmor_restrict_unprivileged_userns",
            "1",
            "sysctl kernel.apparmor_restrict_unprivileged_userns=0",
        ),
    ];
    let found: Vec<_> =
        switches.iter().filter(|(path, bad, _)| read(path).as_deref() == Some(bad)).map(|(_, _, fix)| *fix).collect();
    if found.is_empty() {
        "inside a container, start it with system calls unshare and mount allowed and CAP_SYS_ADMIN and CAP_NET_ADMIN \
         (or unconfined); elsewhere, run as root"
            .into()
    } else {
        format!("as root: {}", found.join(" and "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fix_names_the_switch_that_is_set_against_us() {
        let switched_off = |path: &str| (path.ends_with("max_user_namespaces")).then(|| "0".to_owned());
        assert!(how_to_allow(&switched_off).contains("user.max_user_namespaces=1000"));
        assert!(how_to_allow(&|_| None).contains("container"));
        assert!(!how_to_allow(&|_| Some("1".into())).contains("max_user"));
    }

    #[test]
    fn a_process_with_threads_is_turned_away_before_anything_is_changed() {
        // The test harness itself has threads; one more makes sure.
        let (hold, waits) = std::sync::mpsc::channel::<()>();
        let other = std::thread::spawn(move || waits.recv().is_err());
        let refused = enter(|| Ok(())).expect_err("threads are there");
        assert!(refused.why.contains("second thread"), "{refused:?}");
        drop(hold);
        assert!(other.join().expect("ends by itself"));
    }
}
