//! The router forgets a quiet connection after half a minute and drops what belongs to none it knows.

use crate::trial::{Edges, Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "idle",
    site: "[[idle_test]]\nname = \"echo\"\nhost = \"198.51.100.7\"\nport = 7\nlongest = \"2m\"\n",
    prepare: |p| {
        p.ip("net", "addr add 198.51.100.7/32 dev lo");
        p.start("echo", "net", &["/usr/bin/python3", "-c", "import socket\ns=socket.socket()\ns.bind(('198.51.100.7',7))\ns.listen(64)\nheld=[]\nwhile True: held.append(s.accept())"]);
        p.until_open("net", "tcp", 7);
        let router = p.ns("router");
        for set in ["nf_conntrack_tcp_timeout_established=30", "nf_conntrack_tcp_loose=0"] {
            crate::place::must(&format!("ip netns exec {router} sysctl -qw net.netfilter.{set}"));
        }
        p.nft("router", "add table inet cut\nadd chain inet cut through { type filter hook forward priority 0; }\nadd rule inet cut through ct state invalid drop");
    },
    play: |s| {
        let fault = s.began(Side::Site, "idle-timeout");
        s.edges(
            fault,
            Edges::Waived("a property of the line that is found by waiting, not an event: there is no edge"),
        );
    },
    seconds: 150,
};
