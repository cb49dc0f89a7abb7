//! What takes longer than a page may: it is reckoned beside the requests, and kept until something is recorded
//! or the day ends.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use super::app::Of;
use crate::commands::fault::{Link, Sought};
use crate::commands::lives::{KindEnds, Report};
use crate::commands::money;
use crate::trouble::Trouble;

/// What the server reckons beside its requests.
#[derive(Default)]
pub(crate) struct Beside {
    /// How often causes show what they show.
    pub(crate) links: Arc<Later<Vec<Link>>>,
    /// Where the search of a fault stands, by its number.
    pub(crate) faults: Arc<Later<Sought>>,
    /// The filling of the shop with the invented one.
    pub(crate) filling: Arc<Later<()>>,
    /// How long parts live: all kinds.
    pub(crate) kinds: Arc<Later<Vec<KindEnds>>>,
    /// How long parts of a kind live, by its name.
    pub(crate) lives: Arc<Later<Vec<Report>>>,
    /// What care has cost, by its range of days.
    pub(crate) money: Arc<Later<money::Report>>,
    /// The proof that the records are whole.
    pub(crate) proof: Arc<Later<ledger::Verdict>>,
}

/// How often it is looked whether something is there while a request waits for it, and how many times.
const LOOK: (Duration, u32) = (Duration::from_millis(25), 16);

/// Things kept under different names; one more, and those that are there are forgotten. What is of another state of the records
/// or another day is forgotten with the next that is reckoned.
const MOST_KEPT: usize = 64;

/// What came of reckoning something.
pub(crate) type Found<T> = Result<Arc<T>, Trouble>;

/// Things that are reckoned beside the requests, by name.
pub(crate) struct Later<T>(Mutex<BTreeMap<String, Thing<T>>>);

struct Thing<T> {
    /// What it is of: what is there has grown a day older by tomorrow.
    of: Of,
    /// `None` while it is being reckoned.
    found: Option<Found<T>>,
}

impl<T> Default for Later<T> {
    fn default() -> Later<T> {
        Later(Mutex::default())
    }
}

impl<T: Send + Sync + 'static> Later<T> {
    /// The thing of that name as of `of`; `None` while it is being reckoned, which begins with the first request for it.
    ///
    /// # Errors
    /// What the reckoning ended in.
    pub(crate) async fn get(
        self: &Arc<Self>,
        name: &str,
        of: Of,
        reckon: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
    ) -> Result<Option<Arc<T>>, Trouble> {
        self.begin(name, of, reckon);
        for _ in 0..LOOK.1 {
            if let Some(found) = self.found(name) {
                return found.map(Some);
            }
            tokio::time::sleep(LOOK.0).await;
        }
        Ok(None)
    }

    /// Begins to reckon the thing of that name, unless it is there as of `of` or being reckoned for it. Says whether it began.
    pub(crate) fn begin(
        self: &Arc<Self>,
        name: &str,
        of: Of,
        reckon: impl FnOnce() -> Result<T, Trouble> + Send + 'static,
    ) -> bool {
        let mut things = self.things();
        if things.get(name).is_some_and(|thing| thing.of == of) {
            return false;
        }
        let is_full = MOST_KEPT <= things.len();
        things.retain(|_, thing| thing.found.is_none() || (thing.of == of && !is_full));
        things.insert(name.to_owned(), Thing { of, found: None });
        let (held, name) = (self.clone(), name.to_owned());
        tokio::task::spawn_blocking(move || {
            // A panic is told, since a thing that is under way for good is never begun again.
            let found =
                catch_unwind(AssertUnwindSafe(reckon)).unwrap_or_else(|_| Err(Trouble::refused("reckoning broke off")));
            let found = found.map(Arc::new);
            // Where something was recorded meanwhile, a newer reckoning has the place.
            if let Some(thing) = held.things().get_mut(&name).filter(|thing| thing.of == of) {
                thing.found = Some(found);
            }
        });
        true
    }

    /// What came of the thing of that name, if it is there.
    pub(crate) fn found(&self, name: &str) -> Option<Found<T>> {
        self.things().get(name)?.found.clone()
    }

    /// Whether the thing of that name is being reckoned.
    pub(crate) fn is_under_way(&self, name: &str) -> bool {
        self.things().get(name).is_some_and(|thing| thing.found.is_none())
    }

    fn things(&self) -> MutexGuard<'_, BTreeMap<String, Thing<T>>> {
        // OK to go on: each change of the map is whole.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU32, Ordering};

    use jiff::civil::date;
    use ledger::News;

    use super::*;

    fn of(revisions: i64) -> Of {
        (News { revisions, descriptions: 0 }, date(2026, 11, 25))
    }

    #[tokio::test]
    async fn a_thing_is_reckoned_once_for_each_state_of_the_records() {
        let later: Arc<Later<u32>> = Arc::default();
        let times = Arc::new(AtomicU32::new(0));
        for (revision, expected) in [(1, 1), (1, 1), (2, 2), (2, 2)] {
            let times = times.clone();
            let got = later.get("one", of(revision), move || Ok(times.fetch_add(1, Ordering::SeqCst) + 1)).await;
            assert_eq!(got.unwrap().as_deref(), Some(&expected));
        }
    }

    #[tokio::test]
    async fn what_was_reckoned_yesterday_is_neither_told_today_nor_kept() {
        let later: Arc<Later<u32>> = Arc::default();
        let (today, tomorrow) = (of(1), (of(1).0, date(2026, 11, 26)));
        for name in ["one", "other"] {
            assert_eq!(later.get(name, today, || Ok(1)).await.unwrap().as_deref(), Some(&1));
        }
        assert_eq!(later.get("one", tomorrow, || Ok(2)).await.unwrap().as_deref(), Some(&2));
        assert!(later.found("other").is_none());
    }

    #[tokio::test]
    async fn a_reckoning_that_breaks_off_is_told_and_not_waited_for_without_end() {
        let later: Arc<Later<u32>> = Arc::default();
        let got = later.get("one", of(1), || panic!("on purpose")).await;
        assert_eq!(got.unwrap_err().what(), "reckoning broke off");
        assert!(!later.is_under_way("one"));
    }

    #[tokio::test]
    async fn what_takes_long_is_waited_for_elsewhere_and_a_trouble_is_told() {
        let later: Arc<Later<u32>> = Arc::default();
        let (go, wait) = std::sync::mpsc::channel::<()>();
        let slow = move || {
            wait.recv().expect("the word to go on");
            Err(Trouble::refused("no such kind"))
        };
        assert_eq!(later.get("slow", of(1), slow).await, Ok(None));
        assert!(later.is_under_way("slow"));
        go.send(()).unwrap();
        let again = later.get("slow", of(1), || Ok(1)).await;
        assert_eq!(again.unwrap_err().what(), "no such kind");
    }
}
