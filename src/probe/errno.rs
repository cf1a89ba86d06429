//! What an error number means as an outcome.
//!
//! Decides between "could not be asked" (raised on this host, before a packet left) and "the network said no" (raised
//! by what came back). The caller knows which of the two it has; the number alone does not (`ip(7)`, `tcp(7)`).

use crate::judge::{Detail, NotAsked, Outcome, Unreachable};
use crate::sys::errqueue::{Origin, Raised};
use crate::wire::icmp::{self, Family};
use nix::libc;
use std::io;

/// An error raised on this host while asking: always blind.
pub fn while_asking(e: &io::Error) -> (Outcome, Detail) {
    let why = match e.raw_os_error() {
        Some(libc::EPERM | libc::EACCES) => return (Outcome::NotPermitted, words(e)),
        Some(libc::ENETUNREACH | libc::EHOSTUNREACH) => NotAsked::NoRoute,
        Some(libc::ENODEV | libc::ENXIO | libc::ENETDOWN) => NotAsked::NoInterface,
        Some(libc::EADDRNOTAVAIL) => NotAsked::NoAddress,
        Some(libc::EAFNOSUPPORT | libc::EPROTONOSUPPORT | libc::ENOPROTOOPT) => NotAsked::Unsupported,
        _ => NotAsked::Local,
    };
    (Outcome::NotAsked(why), words(e))
}

/// An error that came back from the network; anything else is a local error.
pub fn from_network(e: &io::Error) -> (Outcome, Detail) {
    let outcome = match e.raw_os_error() {
        Some(libc::ECONNREFUSED) => Outcome::Refused,
        Some(libc::ETIMEDOUT) => Outcome::Timeout,
        Some(libc::ECONNRESET | libc::EPIPE) => Outcome::Reset,
        Some(libc::ENETUNREACH) => Outcome::Unreachable(Unreachable::Net),
        Some(libc::EHOSTUNREACH | libc::EHOSTDOWN) => Outcome::Unreachable(Unreachable::Host),
        Some(libc::EACCES) => Outcome::Unreachable(Unreachable::Prohibited),
        Some(libc::EPROTO | libc::ENONET | libc::EOPNOTSUPP | libc::EMSGSIZE | libc::ENOPROTOOPT) => {
            Outcome::Unreachable(Unreachable::Other)
        }
        _ => return while_asking(e),
    };
    (outcome, Detail::None)
}

/// An error of a `connect` call itself: raised here, but on loopback a refusal can come back within the call.
pub fn at_connect(e: &io::Error) -> (Outcome, Detail) {
    if e.kind() == io::ErrorKind::ConnectionRefused { from_network(e) } else { while_asking(e) }
}

/// An extended error about a packet of ours: by ICMP type and code where there are any, which tell more than the number.
pub fn raised(family: Family, r: &Raised) -> (Outcome, Detail) {
    let by_code = matches!(r.origin, Origin::Icmp | Origin::Icmp6).then(|| icmp::outcome(family, r.kind, r.code));
    match by_code.flatten() {
        Some(outcome) => (outcome, Detail::None),
        None => from_network(&io::Error::from_raw_os_error(r.errno)),
    }
}

fn words(e: &io::Error) -> Detail {
    Detail::Why(e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_number_means_two_things() {
        let e = |n| io::Error::from_raw_os_error(n);
        assert_eq!(while_asking(&e(libc::ENETUNREACH)).0, Outcome::NotAsked(NotAsked::NoRoute));
        assert_eq!(from_network(&e(libc::ENETUNREACH)), (Outcome::Unreachable(Unreachable::Net), Detail::None));
        assert_eq!(while_asking(&e(libc::EACCES)).0, Outcome::NotPermitted);
        assert_eq!(from_network(&e(libc::EACCES)).0, Outcome::Unreachable(Unreachable::Prohibited));
        assert_eq!(from_network(&e(libc::ENOMEM)).0, Outcome::NotAsked(NotAsked::Local));
        assert!(!while_asking(&e(libc::ECONNREFUSED)).0.was_asked());
    }
}
