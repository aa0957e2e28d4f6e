//! The same work on many items by several threads: recordings are independent of one another.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Threads at most, however many cores there are: a pass shares the machine, and each holds some megabytes.
const MOST: usize = 4;

/// How many threads a pass reads with.
pub fn threads() -> usize {
    thread::available_parallelism().map_or(1, usize::from).min(MOST)
}

/// What `work` gives for the first of the `items`, in their order; it stops at whole items once there is `enough`.
///
/// Each thread has an `S` of its own. A fault in one of them is the caller's, as if it had been its own.
pub fn each<T: Sync, S: Default, R: Send>(
    threads: usize,
    items: &[T],
    enough: impl Fn() -> bool + Sync,
    work: impl Fn(&mut S, &T) -> R + Sync,
) -> Vec<R> {
    let next = AtomicUsize::new(0);
    // Whatever was taken is done: what is done is what stands first.
    let hand = || {
        let (mut own, mut done) = (S::default(), Vec::new());
        while !enough() {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(at) else { break };
            done.push((at, work(&mut own, item)));
        }
        done
    };
    let mut done = thread::scope(|scope| {
        // Where the machine gives no more threads, those there are do the work.
        let other = |_| thread::Builder::new().spawn_scoped(scope, hand).ok();
        let others: Vec<_> = (1..threads.min(items.len())).filter_map(other).collect();
        let mut done = hand();
        for other in others {
            done.extend(other.join().unwrap_or_else(|fault| resume_unwind(fault)));
        }
        done
    });
    done.sort_unstable_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};
    use std::time::Duration;

    use super::*;

    /// Later items are done sooner than earlier ones, and stand after them all the same.
    #[test]
    fn results_come_in_the_order_of_the_items() {
        let items: Vec<u64> = (0..200).collect();
        let work = |(): &mut (), n: &u64| {
            thread::sleep(Duration::from_micros((n * 7919) % 300));
            n * 2
        };
        assert_eq!(each(3, &items, || false, work), items.iter().map(|n| n * 2).collect::<Vec<_>>());
        assert_eq!(each(3, &items[..1], || false, work), [0]);
        assert!(each(3, &items[..0], || false, work).is_empty());
    }

    #[test]
    fn what_is_done_stands_first_when_there_is_enough() {
        let (items, count): (Vec<usize>, _) = ((0..1000).collect(), AtomicUsize::new(0));
        let work = |(): &mut (), n: &usize| {
            count.fetch_add(1, Ordering::Relaxed);
            *n
        };
        let done = each(3, &items, || count.load(Ordering::Relaxed) >= 50, work);
        assert!((50..53).contains(&done.len()), "{}", done.len());
        assert_eq!(done, items[..done.len()]);
    }

    #[test]
    fn a_fault_in_any_thread_is_the_callers() {
        let items: Vec<u32> = (0..100).collect();
        for bad in [0, 50, 99] {
            let work = |(): &mut (), n: &u32| assert!(*n != bad, "item {n}");
            let fault = catch_unwind(AssertUnwindSafe(|| each(3, &items, || false, work))).unwrap_err();
            assert_eq!(fault.downcast_ref::<String>(), Some(&format!("item {bad}")));
        }
    }
}
