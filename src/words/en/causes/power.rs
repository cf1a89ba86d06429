//! Power, and the device that watches: mains, backup, the router's supply, this device's own life and clock.

use crate::words::{CauseRow, Side};

pub(super) const SITE_POWER: CauseRow = CauseRow {
    title: "power cut at the site",
    side: Side::Power,
    short: "the power failed, and your internet equipment went off with it",
    household: "The power failed at the site {lasted} and the network gear went with it.",
    trade: "Mains lost; router or lead gone with it. No working backup in the chain.",
    step: "Put every box between panel and wall on one battery backup: modem or optical unit, router, switch, bridge.",
    proof: "Take the mains off the backup for ten minutes: the path holds.",
};

pub(super) const STREET_POWER: CauseRow = CauseRow {
    title: "power cut in the street",
    side: Side::Power,
    short: "the power failed, and the provider's equipment in the street went off",
    household: "The power failed {lasted}; the router held out, but the provider's equipment outside did not.",
    trade: "Mains lost, gateway kept answering, everything beyond it lost later: the provider's remote power ran out.",
    step: "A bigger battery at the site will not help; ask the provider how long the street holds, and plan a second path.",
    proof: "The path holds through the next power failure.",
};

pub(super) const DEAD_BACKUP: CauseRow = CauseRow {
    title: "backup battery failed",
    side: Side::Power,
    short: "the power failed, and the backup battery did not help",
    household: "The power failed {lasted} and the backup battery did not carry the network gear.",
    trade: "Mains lost; lead or router gone some seconds to minutes later: battery worn out, overloaded or half the chain on it.",
    step: "Test the backup under its real load; replace the battery, note the date, and trace every plug.",
    proof: "Take the mains off the backup for ten minutes: the path holds.",
};

pub(super) const MAINS_LOST: CauseRow = CauseRow {
    title: "mains lost, network held",
    side: Side::Power,
    short: "the power failed, and your internet kept working",
    household: "The power failed {lasted}, and the path held.",
    trade: "Mains lost by the battery's own account; link, gateway and outside kept answering.",
    step: "Nothing.",
    proof: "It held.",
};

pub(super) const ROUTER_POWER: CauseRow = CauseRow {
    title: "router without power",
    side: Side::Power,
    short: "your router had no power",
    household: "The router lost its power {lasted} while other things kept theirs.",
    trade: "Gateway gone for longer than a restart takes, uptime counter reset, mains or neighbours present.",
    step: "Look for a switched outlet, a timer, a tripped protective socket or a failing power supply at the router.",
    proof: "The router's uptime grows for a week without a break.",
};

pub(super) const AGENT_PULLED: CauseRow = CauseRow {
    title: "watching device unplugged",
    side: Side::Device,
    short: "the watching device was unplugged",
    household: "This device lost its power {lasted}; the rest of the network seems to have kept its own.",
    trade: "Session cut off, new boot id, gateway uptime unbroken: this device alone was unplugged.",
    step: "Plug this device where nobody needs the socket, and ask who pulled it.",
    proof: "It runs for a week without a break.",
};

pub(super) const HOST_RESTART: CauseRow = CauseRow {
    title: "watching device restarted",
    side: Side::Device,
    short: "the watching device restarted by itself",
    household: "This device stopped without notice and started again; nothing was watched {lasted}.",
    trade: "Session cut off, new boot id, nothing else lost power: crash or hard reset of the host.",
    step: "Look into this device's own log for the reason.",
    proof: "It runs for a week without a break.",
};

pub(super) const AGENT_STOPPED: CauseRow = CauseRow {
    title: "watching program stopped",
    side: Side::Device,
    short: "the watching program was stopped",
    household: "The watching program on this device was stopped without notice; nothing was watched {lasted}.",
    trade: "Session cut off within one boot: the process was killed or crashed, the host ran on.",
    step: "Look into this device's log for the reason: out of memory, killed, crashed.",
    proof: "It runs for a week without a break.",
};

pub(super) const CLOCK_OFFSET: CauseRow = CauseRow {
    title: "watching device's clock off",
    side: Side::Device,
    short: "the watching device's clock was wrong",
    household: "This device's clock is wrong{figure}; times in this report are off by as much.",
    trade: "Clock offset beyond the window of the open IP protocol.",
    step: "Set this device's clock by the network; check the panel's clock as well.",
    proof: "The offset stays under a second for a day.",
};
