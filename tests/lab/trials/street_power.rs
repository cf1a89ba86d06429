//! The mains fail, the site holds out on battery, the provider's box in the street does not.

use crate::servers::NUT_SITE;
use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "street",
    site: NUT_SITE,
    prepare: |p| p.backup_unit(),
    play: |s| {
        s.wait_for_start();
        s.place.mains(false);
        let fault = s.began(Side::Provider, "street-power");
        s.edges(fault, Edges::Hidden("the line goes a while after the mains and is back a while after them"));
        s.pause(12.0);
        s.place.drop_arriving("net", "cut", "iifname far0");
        s.pause(20.0);
        s.place.mains(true);
        s.ended(fault);
        s.pause(5.0);
        s.place.let_pass("net", "cut");
    },
    seconds: 90,
};
