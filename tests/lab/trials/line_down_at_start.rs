//! Compound: the line is already cut when the agent starts.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "c5",
    site: "",
    prepare: |p| p.drop_arriving("net", "cut", "iifname far0"),
    play: |s| {
        let line = s.began(&["access-line"]);
        s.wait_for_start();
        s.place.let_pass("net", "cut");
        s.ended(line);
        s.hidden(line);
    },
    seconds: 60,
};
