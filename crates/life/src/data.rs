//! Life data: at which age each of many like things failed, or how old it had become without failing.
//!
//! Terms are those of the field (IEC 60050-192, and Meeker & Escobar (1998), Statistical Methods for Reliability Data):
//! a life that has not ended is *right-censored* or *suspended*; one that ended between two looks is
//! *interval-censored*, and if the first look found it failed, *left-censored*; one that was first watched at an age
//! above zero is *left-truncated*, since had it failed before, nobody would know of it.

/// What is known of the end of a life.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum End {
    /// It failed at this age.
    Failed(f64),
    /// It was still good at this age, and nothing is known of it after (right-censored, suspended).
    Good(f64),
    /// It was good at the first age (0: never looked at before) and found failed at the second.
    Between(f64, f64),
}

impl End {
    /// The last age at which it was known to be good, or failed exactly.
    pub fn known_good(&self) -> f64 {
        match *self {
            End::Failed(age) | End::Good(age) | End::Between(age, _) => age,
        }
    }

    /// The last age of which anything is known.
    pub fn last(&self) -> f64 {
        match *self {
            End::Failed(age) | End::Good(age) | End::Between(_, age) => age,
        }
    }

    /// Whether it has failed.
    pub fn is_failure(&self) -> bool {
        !matches!(self, End::Good(_))
    }
}

/// One life, or several of which the same is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Life {
    entry: f64,
    end: End,
    count: f64,
}

impl Life {
    /// A life watched from age zero.
    ///
    /// # Errors
    /// An age that is negative or not finite; a failure at age zero exactly; an interval whose end does not lie after its
    /// start.
    pub fn new(end: End) -> Result<Life, DataError> {
        Life { entry: 0.0, end, count: 1.0 }.checked()
    }

    /// The same, first watched at age `entry` (left-truncated).
    ///
    /// # Errors
    /// An entry that is negative, not finite, or not before the end; for an interval, after its start.
    pub fn entered_at(self, entry: f64) -> Result<Life, DataError> {
        Life { entry, ..self }.checked()
    }

    /// The same, `count` times; a weight need not be whole.
    ///
    /// # Errors
    /// A count that is not positive and finite.
    pub fn times(self, count: f64) -> Result<Life, DataError> {
        Life { count, ..self }.checked()
    }

    /// The age at which watching began.
    pub fn entry(&self) -> f64 {
        self.entry
    }

    /// How it ended.
    pub fn end(&self) -> End {
        self.end
    }

    /// How many such lives there are.
    pub fn count(&self) -> f64 {
        self.count
    }

    /// Whether it was good for any time in which it was watched, and so bounds life from below.
    pub(crate) fn was_seen_good(&self) -> bool {
        match self.end {
            End::Failed(_) => true,
            End::Good(age) | End::Between(age, _) => self.entry < age,
        }
    }

    fn checked(self) -> Result<Life, DataError> {
        let Life { entry, end, count } = self;
        for age in [entry, end.known_good(), end.last()] {
            if !(0.0..f64::INFINITY).contains(&age) {
                return Err(DataError::NotAnAge { got: age });
            }
        }
        if !(0.0 < count && count < f64::INFINITY) {
            return Err(DataError::NotACount { got: count });
        }
        match end {
            End::Failed(0.0) | End::Between(_, 0.0) => Err(DataError::FailedAtZero),
            End::Between(from, to) if to <= from => Err(DataError::EmptyInterval { from, to }),
            End::Failed(age) if age <= entry => Err(DataError::EntryAfterEnd { entry, end: age }),
            End::Good(age) if age < entry => Err(DataError::EntryAfterEnd { entry, end: age }),
            End::Between(from, _) if from < entry => Err(DataError::EntryAfterEnd { entry, end: from }),
            _ => Ok(self),
        }
    }
}

/// What is wrong with a life.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum DataError {
    /// An age that is negative or not finite.
    #[error("{got} is not an age: ages are 0 or more, and finite")]
    NotAnAge {
        /// Its value.
        got: f64,
    },
    /// A weight that is not positive and finite.
    #[error("a count of {got} can't be: it must be above 0, and finite")]
    NotACount {
        /// Its value.
        got: f64,
    },
    /// A failure at age zero.
    #[error(
        "a failure at age 0 is a part that never worked, and no life; leave it out, or give the age at which it was found"
    )]
    FailedAtZero,
    /// An interval that ends before it begins.
    #[error("an interval from {from} to {to} holds no time: its end must lie after its start")]
    EmptyInterval {
        /// Its start.
        from: f64,
        /// Its end.
        to: f64,
    },
    /// Watching began when the life was over.
    #[error("watching began at age {entry}, but the life was over at {end}")]
    EntryAfterEnd {
        /// When watching began.
        entry: f64,
        /// When it was over.
        end: f64,
    },
}

/// How many of `lives` failed, by their counts.
pub fn failures(lives: &[Life]) -> f64 {
    lives.iter().filter(|life| life.end.is_failure()).map(|life| life.count).sum()
}

/// How many lives there are, by their counts.
pub fn total(lives: &[Life]) -> f64 {
    lives.iter().map(|life| life.count).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_a_life_is_refused_with_the_reason() {
        assert_eq!(Life::new(End::Failed(-1.0)), Err(DataError::NotAnAge { got: -1.0 }));
        assert!(matches!(Life::new(End::Good(f64::NAN)), Err(DataError::NotAnAge { .. })));
        assert!(matches!(Life::new(End::Good(f64::INFINITY)), Err(DataError::NotAnAge { .. })));
        assert_eq!(Life::new(End::Failed(0.0)), Err(DataError::FailedAtZero));
        assert_eq!(Life::new(End::Between(5.0, 5.0)), Err(DataError::EmptyInterval { from: 5.0, to: 5.0 }));
        let life = Life::new(End::Failed(10.0)).unwrap();
        assert_eq!(life.entered_at(10.0), Err(DataError::EntryAfterEnd { entry: 10.0, end: 10.0 }));
        assert!(matches!(life.times(0.0), Err(DataError::NotACount { .. })));
        assert!(Life::new(End::Between(3.0, 5.0)).unwrap().entered_at(4.0).is_err());
    }

    #[test]
    fn what_was_found_failed_at_the_first_look_and_what_was_watched_for_no_time_are_lives() {
        assert!(Life::new(End::Between(0.0, 5.0)).is_ok());
        assert!(Life::new(End::Good(0.0)).is_ok());
        assert!(Life::new(End::Good(7.0)).unwrap().entered_at(7.0).is_ok());
    }
}
