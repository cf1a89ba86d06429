//! A second box starts handing out addresses.

use crate::lateness::fairly;
use crate::place::Place;

#[test]
fn a_second_address_server_is_found_and_left_alone() {
    fairly("a_second_address_server_is_found_and_left_alone", || {
        let mut p = Place::new("dhcp2");
        p.site_file("");
        let running = p.begin(120, &[]);
        running.until(40.0);
        p.dnsmasq(
            "second",
            "stray",
            "--port=0 --interface=eth0 --no-ping --dhcp-range=192.168.50.200,192.168.50.220,5m",
        );
        let from = running.now();
        let said = p.end(running);
        assert_eq!(said.causes(), ["second-address-server"], "{:#}", said.json["troubles"]);
        let start = &said.troubles()[0]["start_s"];
        let (earliest, latest) = (start[0].as_f64().expect("number"), start[2].as_f64().expect("number"));
        // Rounds are 10 s apart: the truth lies inside the bracket, and the bracket is one round wide.
        assert!(earliest <= from && from <= latest + 1.0 && latest - from <= 15.0, "{from} not in {start}");
        assert_eq!((said.verdict(), said.code), ("mend-first", 10));
        assert!(!p.log("second").contains("DHCPREQUEST"));
        said.same_when_judged_again();
    });
}
