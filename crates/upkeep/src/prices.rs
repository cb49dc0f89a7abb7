//! Prices that a plan can count with: the shop's rates, and for what it has not set an assumption that is said to be one.

use crate::Rates;
use crate::build::Neglect;

/// What a shop is assumed to pay where it has not said so: the cost of things next to each other, in no currency.
/// Judgement, no source.
const ASSUMED: Prices =
    Prices { labour_per_hour: 30.0, standing_per_hour: 3.0, nuisance: 5.0, failed_print: 25.0, damage: 150.0 };

/// What things cost, none left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prices {
    /// An hour of a keeper's work.
    pub labour_per_hour: f64,
    /// An hour in which a machine that has work stands still.
    pub standing_per_hour: f64,
    /// What one nuisance costs beyond the repair.
    pub nuisance: f64,
    /// What one failed print costs beyond the repair.
    pub failed_print: f64,
    /// What one damage to the machine costs beyond the repair.
    pub damage: f64,
}

impl Prices {
    /// The shop's rates, filled up with assumptions; and the names of what was assumed.
    pub fn from_rates(rates: &Rates) -> (Prices, Vec<&'static str>) {
        let prices = Prices {
            labour_per_hour: rates.labour_per_hour.unwrap_or(ASSUMED.labour_per_hour),
            standing_per_hour: rates.standing_per_hour.unwrap_or(ASSUMED.standing_per_hour),
            nuisance: rates.nuisance.unwrap_or(ASSUMED.nuisance),
            failed_print: rates.failed_print.unwrap_or(ASSUMED.failed_print),
            damage: rates.damage.unwrap_or(ASSUMED.damage),
        };
        let unset = rates.amounts().into_iter().filter(|(_, amount)| amount.is_none());
        (prices, unset.map(|(what, _)| what).collect())
    }

    /// Every amount of money, in the order of [`Rates::amounts`].
    pub fn amounts(&self) -> [f64; 5] {
        [self.labour_per_hour, self.standing_per_hour, self.nuisance, self.failed_print, self.damage]
    }

    /// What `minutes` of a keeper's work cost.
    pub fn labour(&self, minutes: f64) -> f64 {
        self.labour_per_hour * minutes / 60.0
    }

    /// What `minutes` of a machine with work standing still cost.
    pub fn standing(&self, minutes: f64) -> f64 {
        self.standing_per_hour * minutes / 60.0
    }

    /// What one event of that class costs beyond the repair; `None` for an injury, which has no price, on purpose.
    pub fn of(&self, neglect: Neglect) -> Option<f64> {
        match neglect {
            Neglect::Nuisance => Some(self.nuisance),
            Neglect::FailedPrint => Some(self.failed_print),
            Neglect::Damage => Some(self.damage),
            Neglect::Injury => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_shop_has_set_holds_and_what_is_assumed_is_named() {
        let rates = Rates { labour_per_hour: Some(60.0), damage: Some(0.0), ..Rates::default() };
        let (prices, assumed) = Prices::from_rates(&rates);
        assert!((prices.labour(10.0) - 10.0).abs() < 1e-12);
        assert_eq!(prices.of(Neglect::Damage), Some(0.0));
        assert_eq!(prices.of(Neglect::Injury), None);
        assert_eq!(prices.amounts().map(|amount| amount.to_string()), ["60", "3", "5", "25", "0"]);
        assert_eq!(assumed, ["an hour standing still", "a nuisance", "a failed print"]);
    }
}
