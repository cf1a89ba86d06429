//! The mains fail and everything holds out on battery.

use crate::servers::NUT_SITE;
use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "held",
    site: NUT_SITE,
    prepare: |p| p.backup_unit(),
    play: |s| {
        s.wait_for_start();
        s.place.mains(false);
        let fault = s.began(Side::Nobody, "mains-lost");
        s.edges(fault, Edges::Waived("the backup unit polls its driver and is asked each ten seconds"));
        s.pause(20.0);
        s.place.mains(true);
        s.ended(fault);
    },
    seconds: 75,
};
