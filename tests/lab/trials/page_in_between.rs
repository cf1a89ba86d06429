//! Something between answers plain web requests with a page of its own and lets nothing else pass, as for an unpaid bill.

use crate::trial::{Side, Trial};

pub(crate) const TRIAL: Trial = Trial {
    name: "portal",
    site: "[[control_page]]\nname = \"page\"\nhost = \"198.51.100.80\"\npath = \"/empty\"\nevery = \"30s\"\n",
    prepare: |p| {
        p.ip("net", "addr add 198.51.100.80/32 dev lo");
        p.web("page", "net", "198.51.100.80", 80, "self.send_response(204)");
        p.web(
            "pay",
            "net",
            "100.64.50.1",
            8_080,
            "self.send_response(302); self.send_header('Location','http://pay.provider.example/')",
        );
    },
    play: |s| {
        s.wait_for_start();
        s.place.nft(
            "net",
            "add table ip cut\nadd chain ip cut nat { type nat hook prerouting priority -100; }\nadd rule ip cut nat iifname far0 tcp dport 80 dnat to 100.64.50.1:8080\nadd chain ip cut in { type filter hook input priority 0; }\nadd rule ip cut in iifname far0 ip daddr != 100.64.50.1 drop",
        );
        let fault = s.began(Side::Site, "portal");
        s.pause(70.0);
        s.place.nft("net", "delete table ip cut");
        s.ended(fault);
    },
    seconds: 125,
};
