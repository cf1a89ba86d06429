//! (room for show)
