//! How much to order at once.

use super::StoresError;
use super::wrong::positive;

/// What ordering and keeping an item costs, in one money.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// One order, however large: postage and the keeper's time.
    pub per_order: f64,
    /// Keeping one unit of it for a year: money tied up, room, what goes bad.
    pub keeping_per_year: f64,
}

impl Costs {
    /// Refuses costs of nothing, with which the best quantity would be nothing or without end.
    ///
    /// # Errors
    /// [`StoresError::NotPositive`].
    pub fn check(&self) -> Result<(), StoresError> {
        positive("the cost of an order", self.per_order)?;
        positive("the cost of keeping", self.keeping_per_year).map(drop)
    }

    /// The economic order quantity for that use per year.
    ///
    /// # Formula
    /// √(2·D·K/h). Harris (1913), Factory, The Magazine of Management 10: 135–136, 152.
    ///
    /// # Errors
    /// As [`Costs::check`]; a use of nothing.
    pub fn economic_quantity(&self, per_year: f64) -> Result<f64, StoresError> {
        self.check()?;
        Ok((2.0 * positive("the use per year", per_year)? * self.per_order / self.keeping_per_year).sqrt())
    }

    /// The whole number of packs that costs least per year, at least 1.
    ///
    /// # Formula
    /// K·D/(n·p) + h·n·p/2 rises from n to n + 1 where n·(n + 1) ≥ (Q/p)², with Q the economic order quantity.
    ///
    /// # Errors
    /// As [`Costs::economic_quantity`]; a pack of nothing.
    pub fn economic_packs(&self, per_year: f64, pack: f64) -> Result<u32, StoresError> {
        let ratio = self.economic_quantity(per_year)? / positive("a pack", pack)?;
        // The n at which n·(n + 1) = ratio², rounded up.
        let least = (0.25 + ratio * ratio).sqrt() - 0.5;
        Ok(whole(least).max(1))
    }
}

/// The fewest packs that hold `amount`; a share of a pack below a billionth is rounding.
///
/// # Errors
/// A pack of nothing.
pub fn packs(amount: f64, pack: f64) -> Result<u32, StoresError> {
    Ok(whole(amount / positive("a pack", pack)?))
}

/// The packs that `amount` fills.
pub(super) fn full_packs(amount: f64, pack: f64) -> u32 {
    clamped((amount / pack + 1e-9).floor())
}

fn whole(packs: f64) -> u32 {
    clamped((packs - 1e-9).ceil())
}

/// A whole number in what a `u32` holds.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a cast of floats saturates")]
fn clamped(packs: f64) -> u32 {
    packs as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    const COSTS: Costs = Costs { per_order: 8.0, keeping_per_year: 0.225 };

    #[test]
    fn the_economic_quantity_is_the_textbooks() {
        // Snyder & Shen, Fundamentals of Supply Chain Theory, Example 3.1: 304.1 of 1300 a year. From memory; by hand
        // √(2·1300·8/0.225) = √92444.4 = 304.0468.
        assert!((COSTS.economic_quantity(1300.0).unwrap() - 304.0468).abs() < 5e-5);
    }

    #[test]
    fn whole_packs_cost_no_more_than_one_fewer_or_one_more() {
        let cost = |packs: u32, pack: f64| {
            let amount = f64::from(packs) * pack;
            8.0 * 1300.0 / amount + 0.225 * amount / 2.0
        };
        for pack in [0.7, 50.0, 100.0, 215.0, 250.0, 900.0] {
            let best = COSTS.economic_packs(1300.0, pack).unwrap();
            assert!(cost(best, pack) <= cost(best + 1, pack) + 1e-9, "{pack}");
            assert!(best == 1 || cost(best, pack) <= cost(best - 1, pack) + 1e-9, "{pack}");
        }
    }

    #[test]
    fn packs_are_rounded_up_and_rounding_of_sums_is_not() {
        assert_eq!(packs(0.1 + 0.2, 0.1), Ok(3));
        assert_eq!(packs(0.301, 0.1), Ok(4));
        assert_eq!((packs(0.0, 5.0), packs(-3.0, 5.0)), (Ok(0), Ok(0)));
        assert_eq!((full_packs(14.9, 5.0), full_packs(0.3, 0.1), full_packs(-1.0, 5.0)), (2, 3, 0));
    }

    #[test]
    fn costs_and_packs_of_nothing_are_refused() {
        for wrong in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(packs(1.0, wrong).is_err());
            assert!(COSTS.economic_quantity(wrong).is_err());
            assert!(COSTS.economic_packs(1300.0, wrong).is_err());
            assert!(Costs { per_order: wrong, ..COSTS }.check().is_err());
            assert!(Costs { keeping_per_year: wrong, ..COSTS }.check().is_err());
        }
    }
}
