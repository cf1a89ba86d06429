//! The terminal's size.

use nix::libc;

/// Columns and rows of the terminal behind standard output or standard error, whichever has one.
pub fn size() -> Option<(usize, usize)> {
    [libc::STDOUT_FILENO, libc::STDERR_FILENO].into_iter().find_map(|fd| {
        // SAFETY: `winsize` is plain data for which all-zero is valid.
        let mut size: libc::winsize = unsafe { std::mem::zeroed() };
        // SAFETY: the request writes one `winsize` to the pointer, which is valid and exclusively borrowed.
        let done = unsafe { libc::ioctl(fd, libc::TIOCGWINSZ, &raw mut size) };
        (done == 0 && size.ws_col > 0 && size.ws_row > 0).then(|| (size.ws_col.into(), size.ws_row.into()))
    })
}
