//! One of two receivers goes silent.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "onerx",
    site: "[[receiver]]\nname = \"second\"\nhost = \"203.0.113.41\"\nport = 7700\n",
    prepare: |p| {
        p.ip("net", "addr add 203.0.113.41/32 dev lo");
        p.start("second", "net", &["/usr/bin/python3", "-c", "import socket\ns=socket.socket()\ns.bind(('203.0.113.41',7700))\ns.listen(64)\nwhile True: s.accept()[0].close()"]);
        std::thread::sleep(std::time::Duration::from_millis(500));
    },
    play: |s| {
        s.wait_for_start();
        s.place.drop_arriving("net", "cut", "ip daddr 203.0.113.41");
        let fault = s.began(Side::Station, "one-receiver");
        s.pause(25.0);
        s.place.let_pass("net", "cut");
        s.ended(fault);
    },
    seconds: 75,
};
