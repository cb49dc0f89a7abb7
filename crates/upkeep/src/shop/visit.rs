//! Visits that people have been told of.

use jiff::civil::Date;

use super::ShopError;
use super::error::{named, said};
use super::week::MOST_MINUTES;

/// Tasks that somebody was told to do at a machine on a day. Moving it is a correction of its entry, calling it off a
/// withdrawal; the number of its first entry stays its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// The day.
    pub day: Date,
    /// Who was told.
    pub keeper: String,
    /// The tasks, by their names in the machine's build.
    pub tasks: Vec<String>,
    /// How long it takes, min.
    pub minutes: f64,
    /// Whether planning anew must leave it where it is.
    pub is_locked: bool,
    /// How long it really took, min; `None` until it was walked. One that was walked is not planned any more.
    pub took: Option<f64>,
}

impl Visit {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::NoTasks`],
    /// [`ShopError::VisitMinutes`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("the keeper of the visit", &self.keeper)?;
        if self.tasks.is_empty() {
            return Err(ShopError::NoTasks);
        }
        self.tasks.iter().try_for_each(|task| said("a task of the visit", task))?;
        let makes_sense = |minutes: &f64| 0.0 < *minutes && *minutes <= f64::from(MOST_MINUTES);
        match [Some(self.minutes), self.took].into_iter().flatten().find(|minutes| !makes_sense(minutes)) {
            Some(value) => Err(ShopError::VisitMinutes { value }),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_visit_without_keeper_task_or_time_is_refused() {
        let good = Visit {
            day: jiff::civil::date(2026, 11, 27),
            keeper: "mate".into(),
            tasks: vec!["wipe".into()],
            minutes: 12.5,
            is_locked: false,
            took: None,
        };
        assert_eq!(good.check(), Ok(()));
        assert!(Visit { keeper: String::new(), ..good.clone() }.check().is_err());
        assert_eq!(Visit { tasks: Vec::new(), ..good.clone() }.check(), Err(ShopError::NoTasks));
        assert!(Visit { tasks: vec![" ".into()], ..good.clone() }.check().is_err());
        for minutes in [0.0, -1.0, f64::NAN, 1440.5] {
            assert!(matches!(Visit { minutes, ..good.clone() }.check(), Err(ShopError::VisitMinutes { .. })));
            let took = Some(minutes);
            assert!(matches!(Visit { took, ..good.clone() }.check(), Err(ShopError::VisitMinutes { .. })));
        }
    }
}
