//! What is recorded of the stores: what was ordered, what came, what was counted, what was thrown away, and how it is bought.

use jiff::ToSpan;
use jiff::civil::Date;

use super::error::{named, one_line, price, said};
use super::measured::sensible;
use super::{Kept, ShopError};
use crate::nearest::is_slip;
use crate::{Supplies, Unknown};

/// The share of waits for an order in which nothing may run out, where the shop names none. Judgement, no source.
pub const USUAL_SERVICE: f64 = 0.95;

/// Something was ordered.
#[derive(Clone, Debug, PartialEq)]
pub struct Ordered {
    /// The supply or spare.
    pub item: String,
    /// How much, as typed; [`super::Measured::parse`] reads it.
    pub amount: String,
    /// The day by which it is to be there.
    pub by: Date,
    /// Who supplies it; may be empty.
    pub supplier: String,
}

/// Something came into the stores. It fills what was ordered before, the oldest order first.
#[derive(Clone, Debug, PartialEq)]
pub struct Received {
    /// The supply or spare.
    pub item: String,
    /// How much, as typed; [`super::Measured::parse`] reads it.
    pub amount: String,
    /// What all of it cost, in the shop's money.
    pub price: Option<f64>,
    /// The last day on which it is good; `None` where it keeps.
    pub expires: Option<Date>,
    /// Who supplied it; may be empty.
    pub supplier: String,
}

/// The stores were counted: the stock is what was found, whatever the book said.
#[derive(Clone, Debug, PartialEq)]
pub struct Counted {
    /// The supply or spare.
    pub item: String,
    /// How much was found, as typed.
    pub amount: String,
}

/// Something left the stores without being used.
#[derive(Clone, Debug, PartialEq)]
pub struct ThrownAway {
    /// The supply or spare.
    pub item: String,
    /// How much, as typed.
    pub amount: String,
    /// Why.
    pub why: String,
}

/// How an item is bought. Of several the newest holds.
#[derive(Clone, Debug, PartialEq)]
pub struct Terms {
    /// The supply or spare.
    pub item: String,
    /// Who supplies it; may be empty.
    pub supplier: String,
    /// Days from order to shelf.
    pub lead_days: u16,
    /// How much a pack holds, as typed.
    pub pack: String,
    /// What a pack costs, in the shop's money.
    pub price: Option<f64>,
    /// The share of waits for an order in which the item may not run out, below 1.
    pub service: f64,
}

impl Ordered {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Amount`],
    /// [`ShopError::TooLittle`], [`ShopError::Broken`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("what was ordered", &self.item)?;
        one_line("who supplies it", &self.supplier)?;
        sensible("an order", &self.amount, false).map(drop)
    }
}

impl Received {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Amount`],
    /// [`ShopError::TooLittle`], [`ShopError::Broken`], [`ShopError::Price`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("what was received", &self.item)?;
        one_line("who supplied it", &self.supplier)?;
        sensible("a delivery", &self.amount, false)?;
        price(self.price)
    }
}

impl Counted {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Amount`],
    /// [`ShopError::TooLittle`], [`ShopError::Broken`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("what was counted", &self.item)?;
        sensible("a count", &self.amount, true).map(drop)
    }
}

impl ThrownAway {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Amount`],
    /// [`ShopError::TooLittle`], [`ShopError::Broken`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("what was thrown away", &self.item)?;
        said("why it was thrown away", &self.why)?;
        sensible("what was thrown away", &self.amount, false).map(drop)
    }
}

impl Terms {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Amount`],
    /// [`ShopError::TooLittle`], [`ShopError::Broken`], [`ShopError::Price`],
    /// [`ShopError::Service`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("what is bought", &self.item)?;
        one_line("who supplies it", &self.supplier)?;
        sensible("a pack", &self.pack, false)?;
        price(self.price)?;
        if 0.0 < self.service && self.service < 1.0 { Ok(()) } else { Err(ShopError::Service { value: self.service }) }
    }
}

/// What the stores call `name`, and its unit where that is known: an item that they have, else a supply of the built-in
/// list, else a new one by that name.
///
/// # Errors
/// A new name that is a letter or two from a known one, unless `is_new` says that it is meant; names that differ in their
/// figures alone are told apart.
pub fn item_named(name: &str, kept: &[Kept], is_new: bool) -> Result<(String, Option<String>), Unknown> {
    let wanted = name.trim().to_lowercase();
    if let Some(item) = kept.iter().find(|item| item.name.to_lowercase() == wanted) {
        return Ok((item.name.clone(), Some(item.unit.clone())));
    }
    if let Some(supply) = Supplies::built_in().get(name) {
        return Ok((supply.name.clone(), Some(supply.unit.clone())));
    }
    let listed = Supplies::built_in().iter().map(|supply| &supply.name);
    let known: Vec<String> = kept.iter().map(|item| &item.name).chain(listed).cloned().collect();
    match known.iter().find(|other| is_slip(&wanted, &other.to_lowercase())) {
        Some(meant) if !is_new => {
            Err(Unknown { nearest: Some(meant.clone()), ..Unknown::new("item of the stores", name, known.clone()) })
        }
        _ => Ok((name.trim().to_owned(), None)),
    }
}

/// Reads the last day on which something is good: a day, or a month, which is meant to its end.
///
/// # Example
/// ```
/// use jiff::civil::date;
/// assert_eq!(upkeep::shop::expiry("2028-02"), Some(date(2028, 2, 29)));
/// assert_eq!(upkeep::shop::expiry("2028-02-10"), Some(date(2028, 2, 10)));
/// assert_eq!(upkeep::shop::expiry("soon"), None);
/// ```
pub fn expiry(text: &str) -> Option<Date> {
    let text = text.trim();
    let whole: Option<Date> = text.parse().ok().filter(|_| text.contains('-'));
    whole.or_else(|| {
        let first: Date = format!("{text}-01").parse().ok().filter(|_| text.len() == "2028-01".len())?;
        first.checked_add(1.month()).ok()?.yesterday().ok()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn received() -> Received {
        Received {
            item: "brass nozzle 0.4".into(),
            amount: "5".into(),
            price: Some(12.5),
            expires: None,
            supplier: String::new(),
        }
    }

    #[test]
    fn entries_that_can_not_be_are_refused() {
        assert_eq!(received().check(), Ok(()));
        assert!(matches!(Received { amount: "0".into(), ..received() }.check(), Err(ShopError::TooLittle { .. })));
        assert!(matches!(Received { amount: "five".into(), ..received() }.check(), Err(ShopError::Amount(_))));
        assert!(matches!(Received { item: " ".into(), ..received() }.check(), Err(ShopError::Missing { .. })));
        for price in [-0.01, f64::NAN, f64::INFINITY] {
            assert!(matches!(Received { price: Some(price), ..received() }.check(), Err(ShopError::Price { .. })));
        }
        let ordered = |amount: &str| Ordered {
            item: "acetone".into(),
            amount: amount.into(),
            by: jiff::civil::date(2026, 12, 4),
            supplier: "chandler".into(),
        };
        assert_eq!(ordered("1 l").check(), Ok(()));
        assert!(matches!(ordered("0 l").check(), Err(ShopError::TooLittle { .. })));
        assert!(matches!(ordered("soon").check(), Err(ShopError::Amount(_))));
        let broken = Ordered { supplier: "the\nchandler".into(), ..ordered("1 l") };
        assert!(matches!(broken.check(), Err(ShopError::NotOneLine { .. })));
        let counted = |amount: &str| Counted { item: "wipe".into(), amount: amount.into() };
        assert_eq!(counted("0").check(), Ok(()));
        assert!(counted("-1").check().is_err());
        let thrown = ThrownAway { item: "acetone".into(), amount: "20 ml".into(), why: "dirty".into() };
        assert_eq!(thrown.check(), Ok(()));
        assert!(ThrownAway { why: String::new(), ..thrown.clone() }.check().is_err());
        let broken = ThrownAway { why: "dirty\nall of it".into(), ..thrown };
        assert!(matches!(broken.check(), Err(ShopError::NotOneLine { .. })));
        assert!(matches!(counted("2.5").check(), Err(ShopError::Broken { .. })));
        assert_eq!(counted("2.5 m").check(), Ok(()), "lengths may be broken, pieces may not");
    }

    #[test]
    fn a_level_of_service_is_a_share_below_one() {
        let terms = |service| Terms {
            item: "acetone".into(),
            supplier: String::new(),
            lead_days: 10,
            pack: "500 ml".into(),
            price: None,
            service,
        };
        assert_eq!(terms(USUAL_SERVICE).check(), Ok(()));
        for service in [0.0, 1.0, 95.0, f64::NAN] {
            assert!(matches!(terms(service).check(), Err(ShopError::Service { .. })), "{service}");
        }
    }

    #[test]
    fn a_slip_of_the_pen_makes_no_new_item_but_another_size_does() {
        let kept = [Kept { name: "brass nozzle 0.4".into(), unit: String::new() }];
        let named = |name: &str, is_new| item_named(name, &kept, is_new);
        assert_eq!(named("Brass Nozzle 0.4 ", false), Ok(("brass nozzle 0.4".into(), Some(String::new()))));
        assert_eq!(named("brass nozzle 0.6", false), Ok(("brass nozzle 0.6".into(), None)));
        assert_eq!(named("iso vg 32 light OIL", false), Ok(("ISO VG 32 light oil".into(), Some("ml".into()))));
        let slip = named("brass nozle 0.4", false).unwrap_err();
        assert_eq!(slip.nearest.as_deref(), Some("brass nozzle 0.4"));
        assert_eq!(named("brass nozle 0.4", true), Ok(("brass nozle 0.4".into(), None)));
        assert!(named("ISO VG 32 lihgt oil", false).is_err());
        assert_eq!(named("hardened nozzle 0.4", false), Ok(("hardened nozzle 0.4".into(), None)));
    }

    #[test]
    fn only_a_whole_day_or_month_says_when_something_expires() {
        for text in ["", "2028", "2028-13", "2028-02-30", "20280110", "28-01"] {
            assert_eq!(expiry(text), None, "{text}");
        }
    }
}
