//! Compound: the receiver refuses, then the line is cut.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c3",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.kill("receiver");
        let receiver = s.began(Side::Station, "receiver-refusing");
        s.edges(receiver, Edges::Hidden("the cut line hides its end"));
        s.pause(15.0);
        s.place.drop_arriving("net", "cut", "iifname far0");
        let line = s.began(Side::Provider, "access-line");
        s.pause(12.0);
        s.place.let_pass("net", "cut");
        s.ended(line);
        s.pause(3.0);
        s.place.receiver();
        s.ended(receiver);
    },
    seconds: 90,
};
