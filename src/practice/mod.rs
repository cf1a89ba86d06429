//! (room for practice)
