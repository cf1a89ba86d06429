//! Who acts.

use crate::judge::Actor;

/// Who acts, as the subject of a sentence.
pub const fn who(actor: Actor) -> &'static str {
    match actor {
        Actor::Customer => "The customer",
        Actor::Installer => "The installer",
        Actor::Provider => "The internet provider",
        Actor::Station => "The monitoring station",
        Actor::Nobody => "Nobody needs to act",
    }
}
