//! (room for record)
