//! Signs in words: what was observed, as it stands under "for it" and "against it".

use crate::judge::{Clue, Sign};

/// Of a trouble that was there at the first look.
pub const SINCE_FIRST_LOOK: &str = "it was already so at the first look; when it began is not known";

/// A sign in words, as it was found.
pub fn sign(c: Clue) -> &'static str {
    let (yes, no) = both(c.sign);
    if c.holds { yes } else { no }
}

/// What is said when a sign is there, and when it was looked for and is not.
const fn both(s: Sign) -> (&'static str, &'static str) {
    match s {
        Sign::LinkKept => ("the network lead kept its carrier", "the network lead had no carrier"),
        Sign::AddressKept => ("this device kept its address and route", "this device had no usable address or route"),
        Sign::RouterAnswered => ("the router answered all along", "the router did not answer"),
        Sign::NamesAnswered => ("name lookups answered all along", "name lookups did not answer"),
        Sign::OutsideAnswered => {
            ("the reference points outside answered", "the reference points outside did not answer")
        }
        Sign::ReceiverAnswered => ("the station's receiver answered", "the station's receiver did not answer"),
        Sign::BackSoon => {
            ("it was over within the time a router takes to restart", "it lasted longer than a router takes to restart")
        }
        Sign::Lasts => ("it still lasts", "it is over"),
        Sign::RouterCameLate => (
            "once the carrier was back, the router took a while longer",
            "once the carrier was back, the router answered at once",
        ),
        Sign::ManyFlaps => ("the carrier came and went several times", "the carrier was lost once or twice"),
        Sign::FromFirstLook => ("it was already so at the first look", "it began while it was watched"),
        Sign::MainsPresent => ("the mains were there", "the mains were lost then"),
        Sign::RouterRestarted => ("the router's own count began anew", "the router's own count ran on unbroken"),
        Sign::ConnectionAnew => (
            "the router's outer connection began anew",
            "the router's outer connection ran on unbroken, by its own count",
        ),
        Sign::RouterSaysConnected => {
            ("the router called its outer side connected", "the router called its outer side disconnected")
        }
        Sign::NeighboursStayed => {
            ("its neighbours on the network stayed", "several neighbours on the network left with it")
        }
        Sign::PortalSeen => ("a page came from somebody in between", "no page came from anybody in between"),
        Sign::ServerSilent => ("the address server did not answer", "the address server answered"),
        Sign::LeaseRanOut => ("the lease had run out", "the lease had time left"),
        Sign::StaticAddress => ("the address had no end", "the address was leased"),
        Sign::Swapped => {
            ("another router answers since, with another subnet or address server", "the same router answers since")
        }
        Sign::Brief => ("no more was lost in a row than chance can do", "more was lost in a row than chance can do"),
        Sign::RouterLossy => {
            ("the router lost many questions about then as well", "the router lost hardly anything about then")
        }
        Sign::OutsideLossy => (
            "the reference points lost many questions about then as well",
            "the reference points lost hardly anything about then",
        ),
        Sign::OutsideSlow => ("answers from outside grew slow with it", "answers from outside came as fast as usual"),
        Sign::RouterSlow => ("the router's answers grew slow with it", "the router answered as fast as usual"),
        Sign::RadioWeak => ("the radio signal was weak", "the radio signal was good"),
        Sign::SmallPacketsOnly => ("only small packets pass", "large packets pass"),
        Sign::Refused => ("connections were refused", "connections were not refused"),
        Sign::TornDown => ("connections were torn down", "no connection was torn down"),
        Sign::Forbidden => ("a filter said so", "no filter said so"),
        Sign::Unresolved => ("its name could not be looked up", "its name could be looked up"),
        Sign::BootAnew => ("this device was started anew", "this device itself ran on"),
        Sign::RouterAwayOnReturn => (
            "when this device came back the router was not there yet",
            "when this device came back the router was there",
        ),
        Sign::OnBattery => {
            ("the mains were lost when it was last heard of", "the mains were there when it was last heard of")
        }
        Sign::GoneAtOnce => {
            ("the gear went within seconds of the mains", "the gear held for a while after the mains went")
        }
        Sign::GoneSoon => {
            ("the gear went within minutes of the mains", "the gear did not go within minutes of the mains")
        }
        Sign::PathHeld => ("everything kept answering without mains", "something went with the mains"),
        Sign::Translated => ("translation is offered", "no translation is offered"),
        Sign::SameMinute => ("it comes at the same time of day", "it follows no time of day"),
        Sign::SameHours => ("it comes in the same hours of the day", "it follows no hours of the day"),
        Sign::SameAge => ("it comes at a constant age", "it comes at no constant age"),
        Sign::LeaseMoment => ("it comes at one moment of the lease", "it follows no moment of the lease"),
        Sign::AfterMains => ("it comes after the mains came or went", "it does not follow the mains"),
    }
}
