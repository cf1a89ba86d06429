//! The model as one flat object, keys in the order they always had: what was found stands where a reader looks for it.
//!
//! Before the first ruling the keys are there all the same, empty.

use super::{Ruling, Snapshot};
use serde::ser::SerializeStruct;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Reads a ruling: what is wrong in it is an error and not "no ruling".
pub(super) fn ruling<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<Ruling>, D::Error> {
    Ruling::deserialize(deserializer).map(Some)
}

impl Serialize for Snapshot {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let none = Ruling::default();
        let r = self.ruling.as_ref().unwrap_or(&none);
        let drilled = usize::from(!r.drills.is_empty());
        let mut out = serializer.serialize_struct("Snapshot", 22 + drilled)?;
        macro_rules! write {
            ($($name:ident: $value:expr),* $(,)?) => { $(out.serialize_field(stringify!($name), $value)?;)* };
        }
        write! {
            format: &self.format,
            version: &self.version,
            site: &self.site,
            practice: &self.practice,
            watch: &self.watch,
            verdict: self.verdict(),
            mend: &self.mend,
            lanes: &self.lanes,
            troubles: &self.troubles,
            requirements: &r.requirements,
            targets: &self.targets,
            facts: &self.facts,
            blind: &self.blind,
            cautions: &self.cautions,
            delivery: &r.delivery,
            supervision: &self.supervision,
            outlook: &r.outlook,
            flaps: &self.flaps,
            prior: &r.prior,
            detection: &r.detection,
            lengths: &r.lengths,
        }
        if drilled > 0 {
            write! { drills: &r.drills }
        }
        write! { agent: &self.agent }
        out.end()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::DrillView;
    use std::collections::BTreeSet;

    #[test]
    fn every_key_stands_in_the_schema_and_every_one_of_the_schema_is_written() {
        let ruling = Ruling { drills: vec![DrillView::default()], ..Ruling::default() };
        let written = serde_json::to_value(Snapshot::default().with_ruling(ruling)).expect("plain data");
        let schema = serde_json::to_value(schemars::schema_for!(Snapshot)).expect("plain data");
        let keys = |v: &serde_json::Value| v.as_object().expect("an object").keys().cloned().collect::<BTreeSet<_>>();
        assert_eq!(keys(&written), keys(&schema["properties"]));
        assert!(schema["required"].as_array().expect("a list").contains(&"verdict".into()), "{schema:#}");
    }
}
