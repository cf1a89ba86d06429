//! A live view and the last whole judgement put together: what is shown of a watch that runs.

use super::Snapshot;

impl Snapshot {
    /// The live view, with what only a whole judgement works out: the verdict and what it rests on, requirements,
    /// figures, what targets lost. Lanes and troubles stay those of now.
    #[must_use]
    pub fn with_whole(mut self, whole: &Self) -> Self {
        self.verdict.clone_from(&whole.verdict);
        self.requirements.clone_from(&whole.requirements);
        self.delivery.clone_from(&whole.delivery);
        self.outlook.clone_from(&whole.outlook);
        self.prior.clone_from(&whole.prior);
        self.detection.clone_from(&whole.detection);
        self.lengths.clone_from(&whole.lengths);
        self.drills.clone_from(&whole.drills);
        for t in &mut self.targets {
            let same = |w: &&super::TargetView| w.lane == t.lane && w.question == t.question && w.target == t.target;
            t.loss = whole.targets.iter().find(same).and_then(|w| w.loss);
        }
        // What is to be mended beside the troubles is found by a whole judgement only; the words of both follow the
        // troubles, so the older list stands while these are the same.
        let open = |s: &Self| s.troubles.iter().filter(|t| t.end_s.is_none()).count();
        if self.troubles.len() == whole.troubles.len() && open(&self) == open(whole) {
            self.mend.clone_from(&whole.mend);
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::VerdictKind;
    use crate::snapshot::{Mend, Watch};

    #[test]
    fn the_verdict_is_the_whole_one_and_the_watch_is_now() {
        let at = |elapsed_s, kind| {
            let mut s = Snapshot { watch: Watch { elapsed_s, ..Watch::default() }, ..Snapshot::default() };
            s.verdict.kind = kind;
            s
        };
        let mut whole = at(10.0, VerdictKind::IpAlone);
        whole.mend.push(Mend { what: "standby".into(), ..Mend::default() });
        let both = at(20.0, VerdictKind::KeepWatching).with_whole(&whole);
        assert_eq!((both.watch.elapsed_s, both.verdict.kind), (20.0, VerdictKind::IpAlone));
        assert_eq!(both.mend, whole.mend);
    }
}
