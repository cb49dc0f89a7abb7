//! How long somebody must wait before the next try to sign in: nothing at first, then twice as long after each failure.
//!
//! Kept in memory and bounded; whoever starts the server anew may try anew.

use std::collections::HashMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

/// Failures before the first wait: people mistype.
const FREE: u32 = 5;

/// The longest wait for a name. It is short, or anybody could keep its owner out by trying; still, nobody guesses a password of
/// ten letters at one try a minute.
const LONGEST_FOR_NAME: Duration = Duration::from_secs(60);

/// The longest wait for an address.
const LONGEST_FOR_ADDRESS: Duration = Duration::from_secs(15 * 60);

/// After so long without a try all is forgotten.
const FORGOTTEN: Duration = Duration::from_secs(60 * 60);

/// The most names and addresses that are kept; the oldest makes room.
const MOST: usize = 10_000;

/// Letters of a name that are kept.
const LETTERS: usize = 80;

/// Tries that failed, by name and by address.
#[derive(Debug, Default)]
pub(crate) struct Waits {
    tries: HashMap<Who, Tries>,
}

#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Who {
    Name(String),
    Address(IpAddr),
}

#[derive(Clone, Copy, Debug)]
struct Tries {
    failed: u32,
    last: Instant,
}

impl Waits {
    /// Lets somebody try at `now`, and counts it as failed until [`Waits::succeeded`] says otherwise: of many tries at once
    /// each counts.
    ///
    /// # Errors
    /// How long to wait instead.
    pub(crate) fn ask(&mut self, name: &str, address: IpAddr, now: Instant) -> Result<(), Duration> {
        let both = [(Who::name(name), LONGEST_FOR_NAME), (Who::Address(address), LONGEST_FOR_ADDRESS)];
        let wait = both.iter().filter_map(|(who, longest)| self.tries.get(who)?.wait(*longest, now)).max();
        if let Some(wait) = wait {
            return Err(wait);
        }
        for (who, _) in both {
            self.make_room(now);
            let tries = self.tries.entry(who).or_insert(Tries { failed: 0, last: now });
            let failed = if FORGOTTEN <= now.duration_since(tries.last) { 0 } else { tries.failed };
            *tries = Tries { failed: failed.saturating_add(1), last: now };
        }
        Ok(())
    }

    /// Forgets the failures of a name and an address: it was the right password.
    pub(crate) fn succeeded(&mut self, name: &str, address: IpAddr) {
        self.tries.remove(&Who::name(name));
        self.tries.remove(&Who::Address(address));
    }

    fn make_room(&mut self, now: Instant) {
        if self.tries.len() < MOST {
            return;
        }
        self.tries.retain(|_, tries| now.duration_since(tries.last) < FORGOTTEN);
        let oldest = self.tries.iter().min_by_key(|(_, tries)| tries.last).map(|(who, _)| who.clone());
        if let Some(oldest) = oldest.filter(|_| MOST <= self.tries.len()) {
            self.tries.remove(&oldest);
        }
    }
}

impl Who {
    fn name(name: &str) -> Who {
        Who::Name(name.chars().take(LETTERS).collect())
    }
}

impl Tries {
    /// How much of the wait is left; `None` where it is over.
    fn wait(&self, longest: Duration, now: Instant) -> Option<Duration> {
        let doublings = self.failed.checked_sub(FREE)?;
        let wait = Duration::from_secs(1_u64.checked_shl(doublings.min(30))?).min(longest);
        wait.checked_sub(now.duration_since(self.last)).filter(|left| !left.is_zero())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOME: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

    fn address(n: u32) -> IpAddr {
        IpAddr::V4(n.into())
    }

    #[test]
    fn waits_double_after_five_failures_up_to_a_minute_for_a_name() {
        let (mut waits, start) = (Waits::default(), Instant::now());
        let mut now = start;
        // Each try from another address, so that only the name counts.
        for n in 0..5 {
            assert_eq!(waits.ask("mate", address(n), now), Ok(()));
        }
        for (n, seconds) in [(6, 1), (7, 2), (8, 4), (9, 8), (10, 16), (11, 32), (12, 60), (13, 60)] {
            assert_eq!(waits.ask("mate", address(n), now), Err(Duration::from_secs(seconds)));
            assert_eq!(waits.ask("bosun", address(n + 100), now), Ok(()), "others need not wait");
            waits.succeeded("bosun", address(n + 100));
            now += Duration::from_secs(seconds);
            assert_eq!(waits.ask("mate", address(n), now), Ok(()));
        }
        waits.succeeded("mate", HOME);
        assert_eq!(waits.ask("mate", HOME, now), Ok(()));
    }

    #[test]
    fn an_address_waits_whatever_names_it_tries() {
        let (mut waits, now) = (Waits::default(), Instant::now());
        for n in 0..5 {
            assert_eq!(waits.ask(&format!("name {n}"), HOME, now), Ok(()));
        }
        assert_eq!(waits.ask("another", HOME, now), Err(Duration::from_secs(1)));
        assert_eq!(waits.ask("another", HOME, now + FORGOTTEN), Ok(()));
    }

    #[test]
    fn a_flood_of_names_takes_no_more_room_than_there_is() {
        let (mut waits, now) = (Waits::default(), Instant::now());
        for n in 0..12_000 {
            let _ =
                waits.ask(&"x".repeat(1000 + n as usize % 7), address(n), now + Duration::from_millis(u64::from(n)));
            let _ = waits.ask(&format!("{n}"), address(n + 20_000), now + Duration::from_millis(u64::from(n)));
        }
        assert!(waits.tries.len() <= MOST, "{}", waits.tries.len());
    }
}
