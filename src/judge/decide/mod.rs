//! Decisions: what counts as an outage, how requirements are held against it, and the verdict.
//!
//! `settings`, `ask` and `signalling` (what it is judged by), `outage` and `evidence` (what counts and what is left out),
//! `requirement` (how it stands), `prior` (what is known of the line before watching), `belief` (how well lines of its kind
//! explain what was seen), `mending` (what still asks for it), `thresholds` (how sure a look must be), `drill` (what was
//! done on purpose, and what it measured), `kinds` (the four verdicts, on the evidence alone), `choice` (by odds),
//! `verdict`; for the reader besides: `delivering`, `supervision`, `flaps`, `outlook`, `detection`, `lengths`, `turning`.

pub(crate) mod ask;
pub mod belief;
pub mod choice;
pub(crate) mod delivering;
pub(crate) mod detection;
pub mod drill;
pub(crate) mod evidence;
pub(crate) mod flaps;
pub mod kinds;
pub(crate) mod lengths;
pub(crate) mod mending;
pub mod outage;
pub(crate) mod outlook;
pub mod prior;
pub mod requirement;
pub mod settings;
pub(crate) mod signalling;
pub(crate) mod supervision;
pub mod thresholds;
pub(crate) mod turning;
pub(crate) mod verdict;
