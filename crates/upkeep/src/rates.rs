//! What things cost in the shop's money. There are no default prices: what is not set is not known.

/// The most that anything may cost. Judgement, no source; it catches slips of the finger and figures that sums would drown in.
const MOST: f64 = 1e9;

/// The most letters or signs of a currency.
const LONGEST_CURRENCY: usize = 8;

/// What a shop has said of its costs, each in its currency.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rates {
    /// What the money is called, `EUR`; empty where that is not said.
    pub currency: String,
    /// An hour of a keeper's work.
    pub labour_per_hour: Option<f64>,
    /// An hour in which a machine stands still.
    pub standing_per_hour: Option<f64>,
    /// What one nuisance costs beyond the repair.
    pub nuisance: Option<f64>,
    /// What one failed print costs beyond the repair.
    pub failed_print: Option<f64>,
    /// What one damage to the machine costs beyond the repair.
    pub damage: Option<f64>,
}

/// Why rates can't stand.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RateError {
    /// They say nothing.
    #[error("no rate is given\n  give at least one, or what the money is called")]
    Nothing,
    /// An amount of money is negative, no number, or more than anything costs.
    #[error("{what} of {value} makes no sense\n  give a number from 0 to {MOST}, in a larger money if need be")]
    Amount {
        /// Which.
        what: &'static str,
        /// The amount.
        value: f64,
    },
    /// The currency can't be printed, or not in a table.
    #[error(
        "\"{found}\" can't be what the money is called\n  write 1 to {LONGEST_CURRENCY} letters or signs without figures and blanks, for example EUR"
    )]
    Currency {
        /// What was given.
        found: String,
    },
}

impl Rates {
    /// These rates after `newer` were set: what `newer` leaves out stays.
    #[must_use]
    pub fn with(self, newer: &Rates) -> Rates {
        Rates {
            currency: if newer.currency.is_empty() { self.currency } else { newer.currency.clone() },
            labour_per_hour: newer.labour_per_hour.or(self.labour_per_hour),
            standing_per_hour: newer.standing_per_hour.or(self.standing_per_hour),
            nuisance: newer.nuisance.or(self.nuisance),
            failed_print: newer.failed_print.or(self.failed_print),
            damage: newer.damage.or(self.damage),
        }
    }

    /// Every amount of money with what it is for.
    pub fn amounts(&self) -> [(&'static str, Option<f64>); 5] {
        [
            ("an hour of labour", self.labour_per_hour),
            ("an hour standing still", self.standing_per_hour),
            ("a nuisance", self.nuisance),
            ("a failed print", self.failed_print),
            ("damage", self.damage),
        ]
    }

    /// Refuses rates that say nothing, or what can't be.
    ///
    /// # Errors
    /// [`RateError`].
    pub fn check(&self) -> Result<(), RateError> {
        let said = self.amounts().into_iter().filter_map(|(what, amount)| Some((what, amount?)));
        if self.currency.is_empty() && said.clone().next().is_none() {
            return Err(RateError::Nothing);
        }
        if LONGEST_CURRENCY < self.currency.chars().count()
            || self.currency.contains(|c: char| c.is_control() || c.is_whitespace() || c.is_numeric())
        {
            return Err(RateError::Currency { found: self.currency.clone() });
        }
        match said.clone().find(|(_, value)| !(0.0..=MOST).contains(value)) {
            Some((what, value)) => Err(RateError::Amount { what, value }),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labour(rate: f64) -> Rates {
        Rates { labour_per_hour: Some(rate), ..Rates::default() }
    }

    #[test]
    fn what_newer_rates_leave_out_stays_as_it_was() {
        let first = Rates { currency: "EUR".to_owned(), damage: Some(180.0), ..labour(32.0) };
        let both = first.with(&Rates { nuisance: Some(0.0), ..labour(35.0) });
        let expected = Rates { currency: "EUR".to_owned(), damage: Some(180.0), nuisance: Some(0.0), ..labour(35.0) };
        assert_eq!(both, expected);
    }

    #[test]
    fn amounts_and_names_that_can_not_be_are_refused() {
        assert_eq!(Rates::default().check(), Err(RateError::Nothing));
        assert_eq!(labour(1e9).check(), Ok(()));
        for value in [-1.0, 1.1e9, f64::INFINITY] {
            assert_eq!(labour(value).check(), Err(RateError::Amount { what: "an hour of labour", value }));
        }
        assert!(labour(f64::NAN).check().is_err());
        for currency in ["guilders!", "a b", "\u{7}", "5", "EUR2"] {
            let found = currency.to_owned();
            let rates = Rates { currency: found.clone(), ..Rates::default() };
            assert_eq!(rates.check(), Err(RateError::Currency { found }));
        }
        assert_eq!(Rates { currency: "€".to_owned(), ..labour(0.0) }.check(), Ok(()));
    }
}
