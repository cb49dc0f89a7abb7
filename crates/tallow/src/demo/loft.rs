//! What the loft says of itself: what things cost, who keeps the machines, and what was in the stores three weeks ago.
//! Invented, as all of it.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use upkeep::shop::{Counted, Keeper, QUALIFIED, Terms, USUAL_SERVICE};
use upkeep::{Event, Rates};

/// An item of the stores.
struct Stock {
    item: &'static str,
    counted: &'static str,
    supplier: &'static str,
    lead_days: u16,
    pack: &'static str,
    price: f64,
}

const fn stock(
    item: &'static str,
    counted: &'static str,
    supplier: &'static str,
    lead_days: u16,
    pack: &'static str,
    price: f64,
) -> Stock {
    Stock { item, counted, supplier, lead_days, pack, price }
}

const CHANDLER: &str = "harbour chandler";
const FILTERS: &str = "filter maker";

const STORES: [Stock; 8] = [
    stock("lint-free wipe", "300 pieces", CHANDLER, 4, "100 pieces", 7.5),
    stock("ISO VG 32 light oil", "60 ml", CHANDLER, 4, "100 ml", 8.2),
    stock("NLGI 2 lithium grease", "90 g", CHANDLER, 4, "400 g", 11.0),
    stock("isopropyl alcohol, 90 % or more", "600 ml", CHANDLER, 4, "1000 ml", 9.0),
    stock("cotton swab", "120 pieces", CHANDLER, 4, "200 pieces", 3.4),
    stock("microfibre cloth", "30 pieces", CHANDLER, 4, "10 pieces", 12.0),
    stock("carbon filter", "6 pieces", FILTERS, 12, "2 pieces", 23.0),
    stock("particle filter", "6 pieces", FILTERS, 12, "2 pieces", 31.0),
];

/// The entries of the shop itself, oldest first, each with its instant.
pub(crate) fn loft(today: Date, zone: &TimeZone) -> Vec<(Timestamp, Event)> {
    let at = |days_ago: i64, hour: i8| {
        let day = today.saturating_sub(days_ago.days());
        zone.to_ambiguous_timestamp(day.at(hour, 0, 0, 0)).later().unwrap_or(Timestamp::MIN)
    };
    let keeper = |name: &str, minutes: [u16; 7], skills: &[&str]| {
        let skills = skills.iter().map(|skill| (*skill).to_owned()).collect();
        Event::Keeper(Keeper { name: name.to_owned(), minutes, skills, is_gone: false })
    };
    let mut entries = vec![
        (at(400, 8), Event::Rates(rates())),
        (at(400, 8), keeper("Sunniva", [150, 150, 150, 150, 120, 0, 0], &[QUALIFIED])),
        (at(400, 8), keeper("Torvald", [90, 0, 90, 0, 90, 0, 0], &[])),
    ];
    for stock in &STORES {
        let (item, pack) = (stock.item.to_owned(), stock.pack.to_owned());
        entries.push((at(21, 8), Event::Counted(Counted { item: item.clone(), amount: stock.counted.to_owned() })));
        entries.push((
            at(21, 8),
            Event::Terms(Terms {
                item,
                supplier: stock.supplier.to_owned(),
                lead_days: stock.lead_days,
                pack,
                price: Some(stock.price),
                service: USUAL_SERVICE,
            }),
        ));
    }
    entries
}

fn rates() -> Rates {
    Rates {
        currency: "EUR".to_owned(),
        labour_per_hour: Some(34.0),
        standing_per_hour: Some(4.0),
        nuisance: Some(6.0),
        failed_print: Some(28.0),
        damage: Some(160.0),
    }
}

#[cfg(test)]
mod tests {
    use upkeep::Supplies;

    use super::*;

    #[test]
    fn the_stores_hold_supplies_that_the_rules_know() {
        for stock in &STORES {
            assert!(Supplies::built_in().get(stock.item).is_some(), "{}", stock.item);
        }
    }
}
