//! The package, installed in a clean Debian tree (debootstrap, minbase), started as the unit starts it, removed, purged.
//!
//! The tree is made once (it needs the network of apt) and kept in the target folder; each test works on a copy.

use super::{must, root};
use std::fs::{self, File};
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::os::unix::net::UnixDatagram;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// A copy of the clean tree.
fn clean_tree(dir: &Path) -> PathBuf {
    let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join("clean-debian");
    if !kept.join("usr/bin/dpkg").exists() || kept.join("debootstrap").exists() {
        let _ = fs::remove_dir_all(&kept);
        must(root(), &format!("debootstrap --variant=minbase bookworm '{}'", kept.display()));
    }
    must(root(), &format!("cp -a '{}' '{}'", kept.display(), dir.join("tree").display()));
    dir.join("tree")
}

#[test]
fn it_is_installed_starts_and_leaves_the_record_unless_purged() {
    let dir = tempfile::tempdir().expect("temp dir");
    let built =
        must(root(), &format!("deploy/deb/build '{}' '{}'", dir.path().display(), env!("CARGO_BIN_EXE_pathproof")));
    let package = PathBuf::from(built.lines().last().expect("names it"));
    let listed = must(root(), &format!("dpkg-deb -c '{}'", package.display()));
    assert!(listed.lines().all(|l| l.contains(" root/root ")), "{listed}");
    let tree = clean_tree(dir.path());
    let inside = |line: &str| format!("chroot '{}' sh -c '{line}'", tree.display());
    fs::copy(&package, tree.join("tmp/p.deb")).expect("copies");
    must(root(), &inside("dpkg -i /tmp/p.deb"));
    let status = must(root(), &inside("dpkg -s pathproof"));
    assert!(status.contains("install ok installed"), "{status}");
    assert_eq!(must(root(), &inside("dpkg -V pathproof")), "");
    assert!(must(root(), &inside("pathproof --version")).starts_with("pathproof 0."));
    assert!(
        must(root(), &inside("pathproof check /etc/pathproof/site.toml")).contains("nothing wrong"),
        "the site file"
    );
    must(root(), &inside("getent passwd pathproof"));

    for page in ["pathproof", "pathproof-watch", "pathproof-export"] {
        let path = tree.join(format!("usr/share/man/man1/{page}.1.gz"));
        let told = must(root(), &format!("MANWIDTH=80 man --warnings=all -l '{}' | cat", path.display()));
        assert!(told.contains("SYNOPSIS") && !told.contains("warning"), "{told}");
    }
    let completions = tree.join("usr/share/bash-completion/completions/pathproof");
    let line = format!("bash -c 'source \"$0\"; complete -p pathproof' '{}'", completions.display());
    let completed = must(root(), &line);
    assert!(completed.contains("_pathproof"), "{completed}");

    // Started as the unit does: as its user, with one capability, in an empty network.
    let unit = fs::read_to_string(tree.join("usr/lib/systemd/system/pathproof.service")).expect("reads");
    let start = unit.lines().find_map(|l| l.strip_prefix("ExecStart=")).expect("a start").to_owned();
    must(
        root(),
        &inside("install -d -o pathproof -g pathproof -m 700 /var/lib/pathproof && install -d -o pathproof /run/p"),
    );
    let manager = UnixDatagram::bind(tree.join("run/p/notify")).expect("binds");
    fs::set_permissions(tree.join("run/p/notify"), fs::Permissions::from_mode(0o777)).expect("can be set");
    manager.set_read_timeout(Some(Duration::from_mins(1))).expect("can be set");
    let line = format!(
        "mount -t proc proc '{tree}/proc' && ip link set lo up && exec chroot '{tree}' setpriv --reuid pathproof --regid pathproof --clear-groups --bounding-set=-all,+net_raw --inh-caps=-all,+net_raw --ambient-caps=-all,+net_raw --no-new-privs {start}",
        tree = tree.display()
    );
    let log = File::create(dir.path().join("log")).expect("a log");
    let mut child = Command::new("unshare")
        .args(["-mn", "sh", "-c", &line])
        .env("NOTIFY_SOCKET", "/run/p/notify")
        .stdin(Stdio::null())
        .stdout(log.try_clone().expect("the same"))
        .stderr(log)
        .spawn()
        .expect("unshare");
    let said = || fs::read_to_string(dir.path().join("log")).expect("reads");
    let mut bytes = [0; 300];
    loop {
        let n = manager.recv(&mut bytes).unwrap_or_else(|e| panic!("{e}: {}", said()));
        if bytes[..n].starts_with(b"READY=1") {
            break;
        }
    }
    let stretch = crate::lateness::Stretch::begin(&[child.id()]);
    let metrics = "Metrics: http://127.0.0.1:9750/metrics";
    stretch.until(Duration::from_secs(20), || format!("{metrics}: {}", said()), || said().contains(metrics));
    std::thread::sleep(Duration::from_secs(4));
    must(root(), &format!("kill -TERM {}", child.id()));
    assert_eq!(child.wait().expect("ends").code(), Some(0), "{}", said());
    let record = tree.join("var/lib/pathproof/record.db");
    let meta = record.metadata().expect("a record");
    assert!(meta.len() > 4_000 && meta.uid() != 0, "{} bytes of {}", meta.len(), meta.uid());

    fs::write(tree.join("etc/pathproof/site.toml"), "[site]\nid = \"mine\"\n").expect("writes");
    must(root(), &inside("dpkg --remove pathproof"));
    assert!(!tree.join("usr/bin/pathproof").exists() && record.exists(), "removed, and the record stays");
    assert!(fs::read_to_string(tree.join("etc/pathproof/site.toml")).expect("stays").contains("mine"));
    must(root(), &inside("dpkg -i /tmp/p.deb"));
    assert!(record.exists(), "installed again, it is still there");
    must(root(), &inside("dpkg --purge pathproof"));
    assert!(!tree.join("var/lib/pathproof").exists() && !tree.join("etc/pathproof").exists(), "purged");
}
