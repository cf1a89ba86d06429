//! The receiver's port closes for a while.

use crate::lateness::fairly;
use crate::place::Place;

#[test]
fn a_refusing_receiver_is_the_stations_to_mend() {
    fairly("a_refusing_receiver_is_the_stations_to_mend", || {
        let mut p = Place::new("recv");
        p.site_file("");
        let running = p.begin(120, &[]);
        running.until(40.0);
        p.kill("receiver");
        let from = running.now();
        running.until(70.0);
        p.receiver();
        let to = running.now();
        let said = p.end(running);
        said.only("receiver-refusing", from, Some(to));
        assert_eq!(
            (said.troubles()[0]["who"].as_str(), said.troubles()[0]["outage"].as_bool()),
            (Some("station"), Some(true))
        );
        assert_eq!((said.verdict(), said.code), ("mend-first", 10));
        said.same_when_judged_again();
    });
}
