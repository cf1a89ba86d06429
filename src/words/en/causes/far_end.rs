//! Far ends: resolvers and the station's receivers, and what lies before them.

use crate::words::{CauseRow, Side};

const ASK_STATION: &str =
    "Ask the station whether this receiver, port and account are right and open; nothing at the site mends it.";
const ACCEPTS: &str = "The receiver accepts connections for an hour.";

pub(super) const ONE_RESOLVER: CauseRow = CauseRow {
    title: "one resolver down",
    side: Side::Home,
    short: "looking up internet names did not work well",
    household: "The resolver {target} did not answer {lasted}; another one did.",
    trade: "One resolver of several silent.",
    step: "Take the dead resolver out of the router's settings, or mend it; every lookup that tries it first waits.",
    proof: "Every resolver answers for a day.",
};

pub(super) const NAME_SERVICE: CauseRow = CauseRow {
    title: "name lookups down",
    side: Side::Home,
    short: "looking up internet names did not work well",
    household: "Names could not be looked up {lasted}, while the internet was there.",
    trade: "Resolvers silent, literal addresses answering.",
    step: "Set a second resolver in the router, and ask the station for its receivers as plain addresses.",
    proof: "Every lookup answers for a day.",
};

pub(super) const NAMES_UNSTEADY: CauseRow = CauseRow {
    title: "name lookups unsteady",
    side: Side::Home,
    short: "looking up internet names did not work well",
    household: "Part of the name lookups failed {lasted}.",
    trade: "Resolver losing part of the questions.",
    step: "Set another resolver in the router.",
    proof: "Every lookup answers for a day.",
};

pub(super) const NAMES_REWRITTEN: CauseRow = CauseRow {
    title: "name answers rewritten",
    side: Side::Home,
    short: "looking up internet names did not work well",
    household: "A resolver invents answers for names that do not exist.",
    trade: "Control name answered with an address instead of NXDOMAIN.",
    step: "Use a resolver that answers truthfully, or receivers given as plain addresses.",
    proof: "The name that must not exist is answered with `no such name`.",
};

pub(super) const ONE_RECEIVER: CauseRow = CauseRow {
    title: "one receiver down",
    side: Side::Station,
    short: "the alarm company's receiver did not answer well",
    household: "The receiver {target} could not be reached {lasted}; another one could.",
    trade: "One receiver of several unreachable.",
    step: "Ask the station whether this receiver, port and account are right and open.",
    proof: "Every receiver accepts connections for an hour.",
};

pub(super) const RECEIVER_UNRESOLVED: CauseRow = CauseRow {
    title: "receiver's name not found",
    side: Side::Home,
    short: "the alarm company's name could not be looked up",
    household: "The receiver's name could not be looked up {lasted}, though other names could.",
    trade: "Receiver name unresolved, resolver answering.",
    step: "Check the receiver's name in the site file against the station's papers; ask for its plain address.",
    proof: ACCEPTS,
};

pub(super) const RECEIVER_REFUSING: CauseRow = CauseRow {
    title: "receiver refuses",
    side: Side::Station,
    short: "the alarm company's receiver did not answer well",
    household: "The station's receiver refused connections {lasted}.",
    trade: "TCP reset to the connect: port closed at the receiver or rejected on the way.",
    step: ASK_STATION,
    proof: ACCEPTS,
};

pub(super) const RECEIVER_RESETTING: CauseRow = CauseRow {
    title: "receiver drops connections",
    side: Side::Station,
    short: "the alarm company's receiver did not answer well",
    household: "The station's receiver dropped connections {lasted}.",
    trade: "Connection accepted, then torn down: receiver, or inspection on the way.",
    step: ASK_STATION,
    proof: ACCEPTS,
};

pub(super) const RECEIVER_SILENT: CauseRow = CauseRow {
    title: "receiver does not answer",
    side: Side::Station,
    short: "the alarm company's receiver did not answer well",
    household: "The station's receiver did not answer {lasted}, while the internet was there.",
    trade: "Connect times out, reference points answering: receiver down or its port dropped by a filter.",
    step: ASK_STATION,
    proof: ACCEPTS,
};

pub(super) const RECEIVER_FILTERED: CauseRow = CauseRow {
    title: "receiver filtered on the way",
    side: Side::Home,
    short: "something at home blocks the alarm company",
    household: "A filter forbade reaching the station's receiver {lasted}.",
    trade: "Administratively prohibited, or dropped, on the way to the receiver's port.",
    step: "Open that one outgoing port to that one address in the firewall; no port forwarding is needed.",
    proof: ACCEPTS,
};

pub(super) const RECEIVER_UNSTEADY: CauseRow = CauseRow {
    title: "receiver unsteady",
    side: Side::Station,
    short: "the alarm company's receiver did not answer well",
    household: "The station's receiver answered only in part {lasted}.",
    trade: "Receiver losing part of the connects, reference points clean.",
    step: ASK_STATION,
    proof: ACCEPTS,
};

pub(super) const MTU_BLACK_HOLE: CauseRow = CauseRow {
    title: "large packets lost",
    side: Side::Home,
    short: "large messages got lost",
    household: "Large packets to the receiver vanish without a word{figure}.",
    trade: "Path MTU black hole: packets over the size lost, no \"fragmentation needed\"; TLS handshakes stall.",
    step: "Set MSS clamping (or a smaller MTU) in the router.",
    proof: "Packets of 1500 octets pass, or a router names the size that does.",
};

pub(super) const IDLE_TIMEOUT: CauseRow = CauseRow {
    title: "quiet connections forgotten",
    side: Side::Home,
    short: "your router forgets quiet connections too soon",
    household: "Something between here and the station forgets a quiet connection{figure}.",
    trade: "Idle timeout of NAT or firewall under the supervision interval (RFC 4787 asks for 2 min UDP, RFC 5382 for 2 h 4 min TCP).",
    step: "Set the communicator to speak more often than that, from inside; or lengthen the timeout in the router.",
    proof: "A connection idle for the station's interval still works.",
};
