//! The same work on many things: on all cores with the feature `cli`, one after the other without it.
//! A browser's page has no threads to start; results are the same, in the same order.

#[cfg(feature = "cli")]
use rayon::prelude::*;

/// How many threads work side by side.
pub fn count() -> usize {
    #[cfg(feature = "cli")]
    return rayon::current_num_threads();
    #[cfg(not(feature = "cli"))]
    1
}

/// Does `work` with each of `items`; results stand in the order of the items.
pub fn map<T: Send, R: Send>(items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
    #[cfg(feature = "cli")]
    return items.into_par_iter().map(work).collect();
    #[cfg(not(feature = "cli"))]
    items.into_iter().map(work).collect()
}

/// Does `work` with each of `items` as they come, until one gives nothing. The results stand in any
/// order.
pub fn map_unordered<T: Send, R: Send>(
    items: impl Iterator<Item = T> + Send,
    work: impl Fn(T) -> Option<R> + Send + Sync,
) -> Option<Vec<R>> {
    #[cfg(feature = "cli")]
    return items.par_bridge().map(work).collect();
    #[cfg(not(feature = "cli"))]
    items.map(work).collect()
}

/// Does `work` with pieces of `items`, each of at most `size` items (at least one).
pub fn for_chunks<T: Send>(items: &mut [T], size: usize, work: impl Fn(&mut [T]) + Send + Sync) {
    let size = size.max(1);
    #[cfg(feature = "cli")]
    items.par_chunks_mut(size).for_each(work);
    #[cfg(not(feature = "cli"))]
    items.chunks_mut(size).for_each(work);
}

/// Does two things, side by side where there are threads.
pub fn both<A: Send, B: Send>(
    one: impl FnOnce() -> A + Send,
    other: impl FnOnce() -> B + Send,
) -> (A, B) {
    #[cfg(feature = "cli")]
    return rayon::join(one, other);
    #[cfg(not(feature = "cli"))]
    (one(), other())
}

/// Does `work`, which needs a deep stack of its own (in bytes); nothing where it broke off.
#[cfg(feature = "cli")]
pub fn on_a_deep_stack<T: Send + 'static>(
    bytes: usize,
    work: impl FnOnce() -> T + Send + 'static,
) -> Option<T> {
    let thread = std::thread::Builder::new().stack_size(bytes);
    thread.spawn(work).ok()?.join().ok()
}

/// Does `work` where it stands: its depth has to be bounded by its input.
#[cfg(not(feature = "cli"))]
#[allow(
    clippy::unnecessary_wraps,
    reason = "with threads the work may break off"
)]
pub fn on_a_deep_stack<T>(_bytes: usize, work: impl FnOnce() -> T) -> Option<T> {
    Some(work())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_stand_in_the_order_of_their_items() {
        let squares = map((0..1000_u64).collect(), |n| n * n);
        assert_eq!(squares, (0..1000).map(|n| n * n).collect::<Vec<u64>>());
        assert_eq!(both(|| 1, || "b"), (1, "b"));
    }

    #[test]
    fn one_without_a_result_ends_the_work() {
        let odd = |n: u64| (n % 2 == 1).then_some(n);
        assert_eq!(map_unordered(0..9, odd), None);
        let mut all = map_unordered((1..9).step_by(2), odd).unwrap();
        all.sort_unstable();
        assert_eq!(all, [1, 3, 5, 7]);
    }

    #[test]
    fn chunks_hold_all_items() {
        let mut items = vec![1; 10];
        for_chunks(&mut items, 0, |chunk| {
            for n in chunk.iter_mut() {
                *n += 1;
            }
        });
        assert_eq!(items, vec![2; 10]);
    }
}
