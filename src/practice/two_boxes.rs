//! Two boxes with the practice cable between them and nothing else: a bench for what is measured over a line.
//!
//! Decides the addresses. The near box is the process' own network, so whatever the process opens or starts is there.

use super::Ground;
use super::cable::{self, Cable};
use super::line::Line;
use super::place::{Place, add_address, set_switch, set_up};
use std::net::Ipv4Addr;
use std::sync::Arc;

/// The near box.
pub const NEAR: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 2);
/// The far box.
pub const FAR: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 1);
/// The near box's interface.
pub const INTERFACE: &str = "near0";

/// Two boxes joined by a cable. Dropped, they are taken down. The order of the fields is the order of taking down.
pub struct TwoBoxes {
    _cable: Cable,
    _near: Place,
    _far: Place,
    _cable_box: Place,
    line: Arc<Line>,
}

impl TwoBoxes {
    /// Builds them. Needs namespaces; must not be called from inside an asynchronous runtime. Errors are words.
    pub fn build(ground: Ground, seed: u64) -> Result<Self, String> {
        let entered = match ground {
            Ground::Namespaces(entered) => entered,
            Ground::Loopback { why, allow } => return Err(format!("{why}; to allow it: {allow}")),
        };
        let line = Arc::new(Line::new(seed));
        let near = Place::here("near", entered.network)?;
        let (far, cable_box) = (Place::new("far")?, Place::new("cable")?);
        for place in [&near, &far, &cable_box] {
            place.ask(|h| async move {
                // As in the home: the kernel's own IPv6 chatter stays off the wire.
                for part in ["all", "default"] {
                    drop(set_switch(&format!("ipv6/conf/{part}/disable_ipv6"), "1"));
                }
                set_up(&h, "lo", true).await
            })?;
        }
        let ends = cable::lay(&cable_box, [(INTERFACE, &near), ("far0", &far)])?;
        for (place, name, address) in [(&near, INTERFACE, NEAR), (&far, "far0", FAR)] {
            place.ask(move |h| async move {
                add_address(&h, name, address, 24).await?;
                set_up(&h, name, true).await
            })?;
        }
        let cable = Cable::start(ends, Arc::clone(&line), Ipv4Addr::UNSPECIFIED)?;
        Ok(Self { _cable: cable, _near: near, _far: far, _cable_box: cable_box, line })
    }

    /// The line between them, to change its manner.
    pub fn line(&self) -> &Line {
        &self.line
    }
}
