//! Is there mains, as this host's own power supplies see it?
//!
//! Reads what the kernel shows in sysfs; sends nothing. What the attributes mean is decided in `wire::power_supply`. A
//! host with a battery of its own is the best witness there is: it outlives the cut and saw it come. A host without any
//! supply to look at (a desktop, a virtual machine) is blind, and is looked at again, for adapters come and go.

use super::Context;
use super::turns::Timer;
use crate::judge::{Detail, Mains, NotAsked, Observation, Outcome, Question};
use crate::site::cadence::FLOOR_MAINS;
use crate::wire::power_supply::{self, ATTRIBUTES, LONGEST, MOST, Supply};
use std::fs::File;
use std::io::{ErrorKind, Read as _};
use std::path::{Path, PathBuf};

/// Where the kernel shows power supplies.
pub const SYSFS: &str = "/sys/class/power_supply";
/// What the observations call this host.
pub const TARGET: &str = "this host";

/// Looks until the agent is gone.
pub async fn run(ctx: Context) {
    run_at(ctx, SYSFS.into()).await;
}

/// The same, with the supplies shown elsewhere.
pub async fn run_at(ctx: Context, root: PathBuf) {
    let mut turns = Timer::after(&ctx, crate::judge::Micros::ZERO, ctx.plan.signs.mains_every, FLOOR_MAINS);
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let asked = ctx.clock.now();
        // Some controllers take their time over a battery; the other probes do not wait for them.
        let place = root.clone();
        let reading = tokio::task::spawn_blocking(move || look(&place));
        let seen = reading.await.unwrap_or_else(|e| Err(e.into())).map(|s| power_supply::mains(&s));
        let (outcome, detail) = answer(seen);
        let known = ctx.clock.now();
        let target = TARGET.into();
        if !ctx
            .report(Observation { asked, known, question: Question::Mains, target, outcome, rtt: None, detail })
            .await
        {
            return;
        }
    }
}

fn answer(seen: std::io::Result<Option<Mains>>) -> (Outcome, Detail) {
    match seen {
        Ok(Some(mains)) => (Outcome::Answered, Detail::Mains(mains)),
        Ok(None) => (Outcome::NotAsked(NotAsked::Unsupported), Detail::None),
        Err(e) if e.kind() == ErrorKind::NotFound => (Outcome::NotAsked(NotAsked::Unsupported), Detail::None),
        Err(e) if e.kind() == ErrorKind::PermissionDenied => (Outcome::NotPermitted, Detail::None),
        Err(e) => (Outcome::NotAsked(NotAsked::Local), Detail::Why(e.to_string())),
    }
}

/// Every supply's attributes. One that can't be read is as good as absent: drivers refuse what they do not know.
fn look(root: &Path) -> std::io::Result<Vec<Supply>> {
    let mut names: Vec<PathBuf> = std::fs::read_dir(root)?.filter_map(|e| Some(e.ok()?.path())).take(MOST).collect();
    names.sort();
    Ok(names.iter().map(|supply| ATTRIBUTES.map(|a| attribute(&supply.join(a)).unwrap_or_default())).collect())
}

fn attribute(file: &Path) -> Option<String> {
    let mut text = String::new();
    File::open(file).ok()?.take(LONGEST as u64).read_to_string(&mut text).ok()?;
    Some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn supplies_are_read_from_their_files_and_none_is_blind() {
        let root = tempfile::tempdir().expect("a directory");
        assert_eq!(look(root.path()).map(|s| s.len()).ok(), Some(0));
        assert_eq!(answer(look(&root.path().join("absent")).map(|_| None)).0, Outcome::NotAsked(NotAsked::Unsupported));
        for (supply, file, value) in [
            ("AC", "type", "Mains\n"),
            ("AC", "online", "0\n"),
            ("BAT0", "type", "Battery\n"),
            ("BAT0", "capacity", "81\n"),
            ("BAT0", "status", &"x".repeat(9_000)),
        ] {
            std::fs::create_dir_all(root.path().join(supply)).expect("made");
            std::fs::write(root.path().join(supply).join(file), value).expect("written");
        }
        let supplies = look(root.path()).expect("read");
        assert!(supplies.iter().flatten().all(|a| a.len() <= LONGEST));
        let mains = power_supply::mains(&supplies).expect("supplies");
        assert_eq!((mains.present, mains.charge_percent), (Some(false), Some(81)));
    }

    #[test]
    fn no_supplies_and_no_leave_are_told_apart() {
        let of = |kind: ErrorKind| answer(Err(kind.into())).0;
        assert_eq!(answer(Ok(None)).0, Outcome::NotAsked(NotAsked::Unsupported));
        assert_eq!(of(ErrorKind::PermissionDenied), Outcome::NotPermitted);
        assert_eq!(of(ErrorKind::NotADirectory), Outcome::NotAsked(NotAsked::Local));
    }
}
