//! Compound: the line is cut while the agent is stopped, and mended before it goes on. Nobody looked: nothing may be told.

use crate::trial::Trial;

pub(crate) const TRIAL: Trial = Trial {
    name: "c9",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        let pid = s.running.child.id();
        crate::place::must(&format!("kill -STOP {pid}"));
        s.pause(3.0);
        s.place.drop_arriving("net", "cut", "iifname far0");
        s.pause(12.0);
        s.place.let_pass("net", "cut");
        s.pause(5.0);
        crate::place::must(&format!("kill -CONT {pid}"));
    },
    seconds: 70,
};
