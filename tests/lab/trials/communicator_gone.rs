//! The communicator's lead is pulled.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "comm",
    site: "signs = \"10s\"\n[panel]\ncommunicator_mac = \"02:00:5e:10:00:01\"\n",
    prepare: |p| {
        p.ip("stray", "link set eth0 address 02:00:5e:10:00:01");
        // As such boxes do, it asks for its router now and then; that is a broadcast.
        let speak = "while true; do ip neigh flush all; ping -c1 -W1 192.168.50.1; sleep 2; done";
        p.start("speaker", "stray", &["sh", "-c", speak]);
    },
    play: |s| {
        s.wait_for_start();
        s.place.ip("sw", "link set port2 down");
        let fault = s.began(Side::Site, "communicator-absent");
        s.edges(fault, Edges::Waived("it is asked for each ten seconds, and a communicator may be silent for a while"));
        s.pause(65.0);
        s.place.ip("sw", "link set port2 up");
        s.ended(fault);
    },
    seconds: 120,
};
