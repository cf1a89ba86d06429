//! (room for cli)
