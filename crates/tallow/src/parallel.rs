//! The same work on many things, on all cores.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// `work` done on each of `items`; the results stand in the items' order.
pub(crate) fn map<T: Sync, R: Send>(items: &[T], work: impl Fn(&T) -> R + Sync) -> Vec<R> {
    let next = AtomicUsize::new(0);
    let worker = || {
        let mut done = Vec::new();
        loop {
            let index = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(index) else { return done };
            done.push((index, work(item)));
        }
    };
    let cores = thread::available_parallelism().map_or(1, usize::from).min(items.len());
    let mut results: Vec<(usize, R)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..cores).map(|_| scope.spawn(worker)).collect();
        // OK because a worker does nothing but the work; if that panicked, so should we.
        workers.into_iter().flat_map(|worker| worker.join().expect("the work does not panic")).collect()
    });
    results.sort_by_key(|(index, _)| *index);
    results.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::map;

    #[test]
    fn results_stand_in_the_order_of_the_items() {
        let items: Vec<u32> = (0..1000).collect();
        assert_eq!(map(&items, |item| item * 2), items.iter().map(|item| item * 2).collect::<Vec<_>>());
        assert!(map(&[] as &[u32], |item| *item).is_empty());
    }
}
