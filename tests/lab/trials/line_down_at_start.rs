//! Compound: the line is already cut when the agent starts.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "c5",
    site: "",
    prepare: |p| p.drop_arriving("net", "cut", "iifname far0"),
    play: |s| {
        let line = s.began(Side::Provider, "access-line");
        s.wait_for_start();
        s.place.let_pass("net", "cut");
        s.ended(line);
        s.edges(line, Edges::Hidden("it began before anybody looked"));
    },
    seconds: 60,
};
