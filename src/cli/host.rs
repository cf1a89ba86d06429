//! What the host knows, with the resolvers of the lease its own client recorded. Sends nothing.

use crate::probe::address::{Found, find_lease};
use crate::site::HostFacts;
use crate::sys::netlink::Kernel;
use std::net::IpAddr;
use std::path::Path;

/// The host's facts for the named interface, or for the one that holds the default route.
pub(super) fn facts(interface: Option<&str>, lease_file: Option<&Path>) -> HostFacts {
    let facts = HostFacts::read();
    match lease_resolvers(interface, lease_file) {
        Some(resolvers) if !resolvers.is_empty() => facts.with_lease(resolvers),
        _ => facts,
    }
}

fn lease_resolvers(interface: Option<&str>, lease_file: Option<&Path>) -> Option<Vec<IpAddr>> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().ok()?;
    let (index, name, held) = runtime.block_on(async {
        let kernel = Kernel::connect().ok()?;
        let found = match interface {
            Some(name) => kernel.interface_named(name).await,
            None => kernel.default_interface().await,
        };
        let carrier = found.ok()??.carrier;
        let held = kernel.addresses(carrier.index).await.ok()?;
        Some((carrier.index, carrier.name, held))
    })?;
    let addresses: Vec<IpAddr> = held.iter().map(|h| h.address).collect();
    match find_lease(Path::new("/"), lease_file, index, &name, &addresses) {
        Found::Lease(lease) => Some(lease.resolvers),
        Found::NotPermitted | Found::None => None,
    }
}
