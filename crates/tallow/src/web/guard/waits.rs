//! How long somebody must wait before the next try to sign in: nothing at first, then twice as long after each failure.
//!
//! Tries are counted with the records, so that all servers of a shop count as one; there are only so many, and old ones are swept.

use std::net::IpAddr;

use jiff::{SignedDuration, Timestamp};
use ledger::{Ledger, Tries};

/// Failures before the first wait: people mistype.
const FREE: u32 = 5;

/// The longest wait for a name. It is short, or anybody could keep its owner out by trying; still, nobody guesses a password of
/// ten letters at one try a minute.
const LONGEST_FOR_NAME: SignedDuration = SignedDuration::from_secs(60);

/// The longest wait for an address.
const LONGEST_FOR_ADDRESS: SignedDuration = SignedDuration::from_mins(15);

/// After so long without a try all is forgotten.
const FORGOTTEN: SignedDuration = SignedDuration::from_hours(1);

/// The most names and addresses that are kept; the oldest makes room.
const MOST: u32 = 10_000;

/// Letters of a name that are kept.
const LETTERS: usize = 80;

/// Whose tries are counted, and how long they wait at most.
type Who = (String, SignedDuration);

fn both(name: &str, address: IpAddr) -> [Who; 2] {
    let name: String = name.chars().take(LETTERS).collect();
    [(format!("name {name}"), LONGEST_FOR_NAME), (format!("address {address}"), LONGEST_FOR_ADDRESS)]
}

/// Lets somebody try at `now`, and counts it as failed until [`succeeded`] says otherwise: of many tries at once each counts.
/// Gives how long to wait instead, where they may not.
///
/// # Errors
/// Where the shop can't be read or written.
pub(crate) async fn ask(
    ledger: &Ledger,
    name: &str,
    address: IpAddr,
    now: Timestamp,
) -> Result<Option<SignedDuration>, ledger::Error> {
    let mut asked = Vec::new();
    for (who, longest) in both(name, address) {
        let tries = ledger.tries(&who).await?;
        asked.push((who, longest, tries));
    }
    let wait = asked.iter().filter_map(|(_, longest, tries)| left((*tries)?, *longest, now)).max();
    if wait.is_some() {
        return Ok(wait);
    }
    for (who, longest, tries) in asked {
        if let Some(wait) = count(ledger, (who, longest), tries, now).await? {
            return Ok(Some(wait));
        }
    }
    Ok(None)
}

/// Counts a try of somebody who has made `tries`; where others tried meanwhile there may be a wait by now.
async fn count(
    ledger: &Ledger,
    (who, longest): Who,
    mut tries: Option<Tries>,
    now: Timestamp,
) -> Result<Option<SignedDuration>, ledger::Error> {
    while !ledger.count_try(&who, tries, one_more(tries, now)).await? {
        tries = ledger.tries(&who).await?;
        if let Some(wait) = tries.and_then(|tries| left(tries, longest, now)) {
            return Ok(Some(wait));
        }
    }
    if tries.is_none() {
        // OK to ignore: whoever is new next sweeps too.
        let _ = ledger.sweep_tries(now.saturating_sub(FORGOTTEN).unwrap_or(Timestamp::MIN), MOST).await;
    }
    Ok(None)
}

/// Forgets the failures of a name and an address: it was the right password.
///
/// # Errors
/// Where the shop can't be written.
pub(crate) async fn succeeded(ledger: &Ledger, name: &str, address: IpAddr) -> Result<(), ledger::Error> {
    for (who, _) in both(name, address) {
        ledger.forget_tries(&who).await?;
    }
    Ok(())
}

fn one_more(tries: Option<Tries>, now: Timestamp) -> Tries {
    let still = tries.filter(|tries| now.duration_since(tries.last) < FORGOTTEN);
    Tries { failed: still.map_or(0, |tries| tries.failed).saturating_add(1), last: now }
}

/// How much of the wait is left; `None` where it is over. Where the clock was put back, no more than the whole wait.
fn left(tries: Tries, longest: SignedDuration, now: Timestamp) -> Option<SignedDuration> {
    let doublings = tries.failed.checked_sub(FREE)?;
    let wait = SignedDuration::from_secs(1_i64 << doublings.min(30)).min(longest);
    let gone = now.duration_since(tries.last).max(SignedDuration::ZERO);
    Some(wait - gone).filter(SignedDuration::is_positive)
}

#[cfg(test)]
mod tests {
    use std::net::Ipv4Addr;

    use super::*;

    const HOME: IpAddr = IpAddr::V4(Ipv4Addr::LOCALHOST);

    fn address(n: u32) -> IpAddr {
        IpAddr::V4(n.into())
    }

    async fn shop() -> (tempfile::TempDir, Ledger) {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("shop.tallow");
        let ledger = Ledger::create(place.to_str().unwrap(), "loft", "Europe/Lisbon").await.unwrap();
        (folder, ledger)
    }

    fn start() -> Timestamp {
        "2026-11-25T08:00:00Z".parse().unwrap()
    }

    #[tokio::test]
    async fn waits_double_after_five_failures_up_to_a_minute_for_a_name() {
        let ((_folder, ledger), mut now) = (shop().await, start());
        let ask = async |name: &str, address: IpAddr, now: Timestamp| ask(&ledger, name, address, now).await.unwrap();
        // Each try from another address, so that only the name counts.
        for n in 0..5 {
            assert_eq!(ask("mate", address(n), now).await, None);
        }
        for (n, seconds) in [(6, 1), (7, 2), (8, 4), (9, 8), (10, 16), (11, 32), (12, 60), (13, 60)] {
            let wait = SignedDuration::from_secs(seconds);
            assert_eq!(ask("mate", address(n), now).await, Some(wait));
            assert_eq!(ask("bosun", address(n + 100), now).await, None, "others need not wait");
            succeeded(&ledger, "bosun", address(n + 100)).await.unwrap();
            assert_eq!(ask("mate", address(n), now - SignedDuration::from_hours(1)).await, Some(wait), "put back");
            now += wait;
            assert_eq!(ask("mate", address(n), now).await, None);
        }
        succeeded(&ledger, "mate", HOME).await.unwrap();
        assert_eq!(ask("mate", HOME, now).await, None);
    }

    #[tokio::test]
    async fn an_address_waits_whatever_names_it_tries() {
        let ((_folder, ledger), now) = (shop().await, start());
        let ask = async |name: &str, now: Timestamp| ask(&ledger, name, HOME, now).await.unwrap();
        for n in 0..5 {
            assert_eq!(ask(&format!("name {n}"), now).await, None);
        }
        assert_eq!(ask("another", now).await, Some(SignedDuration::from_secs(1)));
        assert_eq!(ledger.tries("name another").await.unwrap(), None, "who must wait did not try");
        assert_eq!(ask("another", now + FORGOTTEN).await, None);
        assert_eq!(ledger.tries("name name 0").await.unwrap(), None, "what is forgotten is swept");
    }

    #[tokio::test]
    async fn of_a_long_name_only_so_many_letters_are_kept() {
        let ((_folder, ledger), now) = (shop().await, start());
        assert_eq!(ask(&ledger, &"ø".repeat(1000), HOME, now).await.unwrap(), None);
        let kept = ledger.tries(&format!("name {}", "ø".repeat(LETTERS))).await.unwrap();
        assert_eq!(kept, Some(Tries { failed: 1, last: now }));
    }
}
