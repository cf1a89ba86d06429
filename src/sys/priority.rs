//! Giving way: a thread whose work may wait.

/// Lets other threads run before this one and those it starts. Where that is not permitted nothing changes.
pub fn give_way() {
    /// Choice: a tenth of the share of a thread that does not give way (`sched(7)`).
    const NICE: libc::c_int = 10;
    // SAFETY: takes plain numbers; on Linux 0 is the calling thread (`setpriority(2)`).
    let done = unsafe { libc::setpriority(libc::PRIO_PROCESS, 0, NICE) };
    if done != 0 {
        tracing::debug!("this thread can't give way to others");
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn only_the_thread_that_asks_gives_way() {
        let nice =
            || std::fs::read_to_string("/proc/thread-self/stat").expect("reads").split(' ').nth(18).map(str::to_owned);
        let before = nice();
        let there = std::thread::spawn(move || {
            super::give_way();
            (nice(), std::thread::spawn(nice).join().expect("ends"))
        });
        let there = there.join().expect("ends");
        assert_eq!(nice(), before);
        // Already nicer than that where the tests are run so.
        assert!(there.0 == there.1 && (there.0.as_deref() == Some("10") || there.0 == before), "{there:?} {before:?}");
    }
}
