//! English.

pub mod causes;
pub mod lanes;
pub mod people;
pub mod signs;
