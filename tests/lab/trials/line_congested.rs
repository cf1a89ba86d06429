//! The line fills up: answers take twenty times as long, little is lost.

use crate::trial::{Edges, Side, Trial};
use pathproof::judge::Micros;
use pathproof::practice::line::Manner;

pub(crate) const TRIAL: Trial = Trial {
    name: "slowline",
    site: "",
    prepare: |p| p.lay_cable(7),
    play: |s| {
        s.wait_for_start();
        s.place.line_manner(Manner { delay: Micros::from_millis(350), jitter: Micros::from_millis(60), loss: 0.005 });
        let fault = s.began(Side::Site, "congestion");
        s.edges(fault, Edges::Waived("slow is told from what is usual over many answers"));
        s.pause(30.0);
        s.place.line_manner(Manner::default());
        s.ended(fault);
    },
    seconds: 90,
};
