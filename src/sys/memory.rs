//! The C library's heap, kept small for a program that stays for a year on a small board.
//!
//! Reading a long record back and judging it leave a heap full of holes, and each thread would get a heap of its own.
//! Both are glibc's (`mallopt(3)`, `malloc_trim(3)`); with another C library nothing is done.

/// One heap for all threads, which here are never busy at once. To be called before the first thread.
pub fn one_heap() {
    #[cfg(target_env = "gnu")]
    // SAFETY: sets a number inside the allocator; no thread but this one runs yet, as the caller promises.
    let _ = unsafe { libc::mallopt(libc::M_ARENA_MAX, 1) };
}

/// Gives what is free back to the kernel.
pub fn give_back() {
    #[cfg(target_env = "gnu")]
    // SAFETY: takes the allocator's own locks; may be called from any thread at any time.
    let _ = unsafe { libc::malloc_trim(0) };
}

#[cfg(test)]
#[cfg(target_env = "gnu")]
mod tests {
    use super::*;

    fn resident_kb() -> u64 {
        let text = std::fs::read_to_string("/proc/self/status").expect("reads");
        let value = text.lines().find_map(|l| l.strip_prefix("RssAnon:")).expect("is told");
        value.split_whitespace().next().expect("a number").parse().expect("a number")
    }

    #[test]
    fn holes_are_given_back() {
        let pieces: Vec<Vec<u8>> = (0..20_000).map(|_| vec![7; 1_000]).collect();
        let full = resident_kb();
        // Every hundredth stays, so that the heap can't shrink from its end.
        let kept: Vec<Vec<u8>> = pieces.into_iter().step_by(100).collect();
        give_back();
        let after = resident_kb();
        assert!(full > after + 10_000, "{full} kB before, {after} kB after");
        assert_eq!(kept.len(), 200);
    }
}
