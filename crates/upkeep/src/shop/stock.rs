//! What is there: received, less what was used and thrown away, set right by every count; and what is still to come.
//!
//! What expires first is taken first, and of equals what came first. A count that finds less than the book takes the
//! difference out in that order; one that finds more adds it as a batch of which nothing else is known. Use before an
//! item's last count does not matter to its stock, so it need not be read.

use std::collections::{BTreeMap, btree_map};

use jiff::Timestamp;
use jiff::civil::Date;

use super::{Coming, Measured, Ordered, Terms, Use};
use crate::{Entry, EntryId, Event, Supplies};

/// Amounts below this are rounding, in any unit.
const NOUGHT: f64 = 1e-9;

/// Something that the stores' entries name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// Its name.
    pub name: String,
    /// In what it is counted: `ml`, `g`, empty for pieces, or as the first entry has it.
    pub unit: String,
}

/// Some of an item that came together.
#[derive(Clone, Debug, PartialEq)]
pub struct Batch {
    /// The entry that brought it.
    pub entry: EntryId,
    /// When.
    pub at: Timestamp,
    /// What is left of it, in the item's unit.
    pub amount: f64,
    /// The last day on which it is good; `None` where it keeps, or nobody said.
    pub expires: Option<Date>,
    /// What one unit of it cost; `None` where nobody said.
    pub price_each: Option<f64>,
}

/// An item of the stores, or one that care uses although the stores know nothing of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Its name.
    pub name: String,
    /// In what it is counted.
    pub unit: String,
    /// How much is there by the book; below 0 where more was used than ever came. `None` where nothing was ever received,
    /// counted or thrown away.
    pub stock: Option<f64>,
    /// What is there, first out first.
    pub batches: Vec<Batch>,
    /// When it was last counted.
    pub counted: Option<Timestamp>,
    /// Whether the book has been below 0 since the last count, so that something is missing in it.
    pub fell_short: bool,
    /// Uses since the last count of which nobody said how much, or in another unit.
    pub unclear: u32,
    /// What was ordered and is still to come, the oldest order first.
    pub coming: Vec<Coming>,
    /// How it is bought.
    pub terms: Option<Terms>,
    /// How much was used on each day that was read.
    pub used: BTreeMap<Date, f64>,
}

impl Item {
    /// Whether the book can't be trusted before it is counted again.
    pub fn wants_count(&self) -> bool {
        self.fell_short || 0 < self.unclear
    }

    /// What is there cost so much, as far as prices were told.
    pub fn value(&self) -> f64 {
        sum(self.batches.iter().filter_map(|batch| Some(batch.price_each? * batch.amount)))
    }

    /// What a unit of it costs: by what was paid for the last of what is there, else by the terms of buying it.
    pub fn unit_price(&self) -> Option<f64> {
        let paid = self.batches.iter().rev().find_map(|batch| batch.price_each);
        paid.or_else(|| {
            let terms = self.terms.as_ref()?;
            let pack = self.measured(&terms.pack)?;
            (0.0 < pack).then_some(terms.price? / pack)
        })
    }

    /// How much is there of which no price was told.
    pub fn unpriced(&self) -> f64 {
        sum(self.batches.iter().filter(|batch| batch.price_each.is_none()).map(|batch| batch.amount))
    }

    /// How much is there that is no longer good on `day`.
    pub fn expired(&self, day: Date) -> f64 {
        let is_past = |batch: &&Batch| batch.expires.is_some_and(|expires| expires < day);
        sum(self.batches.iter().filter(is_past).map(|batch| batch.amount))
    }

    /// The first day after which something that is there is no longer good.
    pub fn expires(&self) -> Option<Date> {
        self.batches.iter().find_map(|batch| batch.expires)
    }

    fn new(name: &str, unit: &str) -> Item {
        Item {
            name: name.to_owned(),
            unit: unit.to_owned(),
            stock: None,
            batches: Vec::new(),
            counted: None,
            fell_short: false,
            unclear: 0,
            coming: Vec::new(),
            terms: None,
            used: BTreeMap::new(),
        }
    }

    fn add(&mut self, batch: Batch) {
        let stock = self.stock.unwrap_or(0.0);
        // What was missing came out of this.
        let amount = if stock < 0.0 { batch.amount + stock } else { batch.amount };
        self.stock = Some(stock + batch.amount);
        if NOUGHT < amount {
            self.batches.push(Batch { amount, ..batch });
            self.batches.sort_by_key(|batch| (batch.expires.is_none(), batch.expires, batch.at, batch.entry));
        }
    }

    fn take(&mut self, amount: f64) {
        draw(self.batches.iter_mut().map(|batch| &mut batch.amount), amount);
        self.batches.retain(|batch| NOUGHT < batch.amount);
        let stock = self.stock.unwrap_or(0.0) - amount;
        self.stock = Some(if stock.abs() <= NOUGHT { 0.0 } else { stock });
        self.fell_short |= stock < -NOUGHT;
    }

    /// Counts what came into what was ordered, the oldest order first.
    fn fill(&mut self, amount: f64) {
        draw(self.coming.iter_mut().map(|order| &mut order.amount), amount);
        self.coming.retain(|order| NOUGHT < order.amount);
    }

    fn set(&mut self, found: f64, at: Timestamp, entry: EntryId) {
        let book = self.stock.unwrap_or(0.0);
        if found < book {
            self.take(book - found);
        } else {
            self.add(Batch { entry, at, amount: found - book, expires: None, price_each: None });
        }
        (self.stock, self.counted) = (Some(found), Some(at));
        (self.fell_short, self.unclear) = (false, 0);
    }

    /// What `amount` says, in the item's unit.
    fn measured(&self, amount: &str) -> Option<f64> {
        Measured::parse(amount).ok()?.of(&self.name, &self.unit).ok()
    }

    /// Does what an entry says; an amount in another unit is not clear.
    fn say(&mut self, entry: &Entry) {
        let amount = match &entry.event {
            Event::Terms(terms) => return self.terms = Some(terms.clone()),
            event => named(event).and_then(|(_, amount)| self.measured(amount)),
        };
        let Some(amount) = amount else { return self.unclear += 1 };
        match &entry.event {
            Event::Ordered(ordered) => {
                let Ordered { by, supplier, .. } = ordered.clone();
                self.coming.push(Coming { entry: entry.id, amount, by, supplier });
            }
            Event::Received(received) => {
                let price_each = received.price.map(|price| price / amount);
                self.add(Batch { entry: entry.id, at: entry.at, amount, expires: received.expires, price_each });
                self.fill(amount);
            }
            Event::Counted(_) => self.set(amount, entry.at, entry.id),
            _ => self.take(amount),
        }
    }

    /// Takes what was used, unless it was before the stock's `start`.
    fn use_up(&mut self, one: &Use, start: Option<Mark>) {
        let amount = one.amount.as_ref().and_then(|amount| amount.of(&self.name, &self.unit).ok());
        if let Some(amount) = amount {
            *self.used.entry(one.day).or_default() += amount;
        }
        if start.is_none_or(|start| (one.at, one.entry) < start) {
            return;
        }
        match amount {
            Some(amount) => self.take(amount),
            None => self.unclear += 1,
        }
    }
}

/// A sum of which that of nothing is 0, and not −0 as by `Iterator::sum`.
pub(super) fn sum(amounts: impl Iterator<Item = f64>) -> f64 {
    amounts.fold(0.0, |sum, amount| sum + amount)
}

/// Takes `amount` from the first of `amounts` on, as far as they reach.
fn draw<'a>(amounts: impl Iterator<Item = &'a mut f64>, amount: f64) {
    let mut left = amount;
    for there in amounts {
        let taken = left.min(*there);
        *there -= taken;
        left -= taken;
    }
}

/// A place in the order of entries.
type Mark = (Timestamp, EntryId);

/// The item and the amount of an entry that changes a stock.
fn of_stock(event: &Event) -> Option<(&str, &str)> {
    match event {
        Event::Received(received) => Some((&received.item, &received.amount)),
        Event::Counted(counted) => Some((&counted.item, &counted.amount)),
        Event::ThrownAway(thrown) => Some((&thrown.item, &thrown.amount)),
        _ => None,
    }
}

/// The item that an entry of the stores names, and an amount of it.
fn named(event: &Event) -> Option<(&str, &str)> {
    match event {
        Event::Terms(terms) => Some((&terms.item, &terms.pack)),
        Event::Ordered(ordered) => Some((&ordered.item, &ordered.amount)),
        event => of_stock(event),
    }
}

/// Where the stock of each item begins to depend on use: at its last count, or else at the first entry that changed it.
fn starts(said: &[Entry]) -> BTreeMap<String, Mark> {
    let mut starts: BTreeMap<String, Mark> = BTreeMap::new();
    for entry in said {
        if let Some((item, _)) = of_stock(&entry.event) {
            let mark = (entry.at, entry.id);
            let start = starts.entry(item.to_lowercase()).or_insert(mark);
            if matches!(entry.event, Event::Counted(_)) {
                *start = mark;
            }
        }
    }
    starts
}

/// The instant from which use must be known to tell the stock of everything; `None` where no stock was ever told.
/// `said` are the shop's entries that stand, oldest first.
pub fn used_from(said: &[Entry]) -> Option<Timestamp> {
    starts(said).into_values().map(|(at, _)| at).min()
}

/// What the stores' entries name, by name, with the unit in which it is counted. `said` as for [`used_from`].
pub fn kept(said: &[Entry]) -> Vec<Kept> {
    let mut kept: BTreeMap<String, Kept> = BTreeMap::new();
    for (item, amount) in said.iter().filter_map(|entry| named(&entry.event)) {
        let unit = || match Supplies::built_in().get(item) {
            Some(listed) => listed.unit.clone(),
            None => Measured::parse(amount).map(|read| read.unit).unwrap_or_default(),
        };
        kept.entry(item.to_lowercase()).or_insert_with(|| Kept { name: item.to_owned(), unit: unit() });
    }
    kept.into_values().collect()
}

/// Everything in the stores, by name, and what care used besides. `said` as for [`used_from`]; `uses` in any order, all
/// from then on at least.
pub fn stores(said: &[Entry], uses: &[Use]) -> Vec<Item> {
    let starts = starts(said);
    let mut items: BTreeMap<String, Item> =
        kept(said).iter().map(|kept| (kept.name.to_lowercase(), Item::new(&kept.name, &kept.unit))).collect();
    let mut uses: Vec<&Use> = uses.iter().collect();
    uses.sort_by_key(|one| (one.at, one.entry));
    let mut uses = uses.into_iter().peekable();
    for entry in said {
        let Some((name, _)) = named(&entry.event) else { continue };
        while let Some(one) = uses.next_if(|one| (one.at, one.entry) < (entry.at, entry.id)) {
            use_up(&mut items, one, &starts);
        }
        if let Some(item) = items.get_mut(&name.to_lowercase()) {
            item.say(entry);
        }
    }
    uses.for_each(|one| use_up(&mut items, one, &starts));
    items.into_values().collect()
}

fn use_up(items: &mut BTreeMap<String, Item>, one: &Use, starts: &BTreeMap<String, Mark>) {
    let key = one.item.to_lowercase();
    let start = starts.get(&key).copied();
    let unit = || one.amount.as_ref().map_or("", |amount| &amount.unit);
    items.entry(key).or_insert_with(|| Item::new(&one.item, unit())).use_up(one, start);
}

/// What the stores' entries say, for telling stocks of which care draws ever more: of the use between two of an item's entries
/// only the sum matters to its stock.
#[derive(Clone, Debug, PartialEq)]
pub struct Book {
    said: Vec<Entry>,
    /// Where each item's entries are, by its name in lower case.
    marks: BTreeMap<String, Vec<Mark>>,
}

impl Book {
    /// `said` as for [`used_from`].
    pub fn new(mut said: Vec<Entry>) -> Book {
        said.retain(|entry| named(&entry.event).is_some());
        let mut marks: BTreeMap<String, Vec<Mark>> = BTreeMap::new();
        for entry in &said {
            if let Some((item, _)) = named(&entry.event) {
                marks.entry(item.to_lowercase()).or_default().push((entry.at, entry.id));
            }
        }
        Book { said, marks }
    }

    /// As [`used_from`].
    pub fn used_from(&self) -> Option<Timestamp> {
        used_from(&self.said)
    }

    /// The same use in fewer parts, in no order: what was used of an item between two of its entries is one. Days are lost by that.
    pub fn sum<'a>(&self, uses: impl IntoIterator<Item = &'a Use>) -> Vec<Use> {
        let mut sums: BTreeMap<(&str, usize, &str), Use> = BTreeMap::new();
        let mut all = Vec::new();
        for one in uses {
            let Some(amount) = &one.amount else {
                // How often nobody said how much is counted.
                all.push(one.clone());
                continue;
            };
            let marks = self.marks.get(&one.item.to_lowercase()).map_or(&[][..], Vec::as_slice);
            let stretch = marks.partition_point(|mark| *mark < (one.at, one.entry));
            match sums.entry((&one.item, stretch, &amount.unit)) {
                btree_map::Entry::Vacant(place) => {
                    place.insert(one.clone());
                }
                btree_map::Entry::Occupied(mut place) => {
                    if let Some(sum) = &mut place.get_mut().amount {
                        sum.amount += amount.amount;
                    }
                }
            }
        }
        all.extend(sums.into_values());
        all
    }

    /// As [`stores`], of summed use too; how much was used on which day is not told.
    pub fn items(&self, uses: &[Use]) -> Vec<Item> {
        let mut items = stores(&self.said, uses);
        items.iter_mut().for_each(|item| item.used.clear());
        items
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;
    use crate::shop::{Counted, Received, ThrownAway, sources};

    const OIL: &str = "ISO VG 32 light oil";

    /// An entry at that second, whose number is the second's.
    fn entry(second: i64, event: Event) -> Entry {
        let at = Timestamp::from_second(second).unwrap();
        let (machine, note) = (String::new(), String::new());
        Entry { id: EntryId(second), machine, at, recorded: at, corrects: None, note, event }
    }

    fn received(second: i64, amount: &str, price: Option<f64>, expires: Option<Date>) -> Entry {
        let (item, amount, supplier) = (OIL.to_owned(), amount.to_owned(), String::new());
        entry(second, Event::Received(Received { item, amount, price, expires, supplier }))
    }

    fn ordered(second: i64, amount: &str, by: Date) -> Entry {
        let (item, amount, supplier) = (OIL.to_owned(), amount.to_owned(), "chandler".to_owned());
        entry(second, Event::Ordered(Ordered { item, amount, by, supplier }))
    }

    fn counted(second: i64, amount: &str) -> Entry {
        entry(second, Event::Counted(Counted { item: OIL.to_lowercase(), amount: amount.to_owned() }))
    }

    fn thrown(second: i64, amount: &str) -> Entry {
        let (item, amount, why) = (OIL.to_owned(), amount.to_owned(), "dirty".to_owned());
        entry(second, Event::ThrownAway(ThrownAway { item, amount, why }))
    }

    fn used(second: i64, amount: Option<f64>) -> Use {
        Use {
            at: Timestamp::from_second(second).unwrap(),
            day: date(2026, 11, 1),
            entry: EntryId(second),
            machine: "bowline".to_owned(),
            item: OIL.to_owned(),
            amount: amount.map(|amount| Measured { amount, unit: "ml".to_owned() }),
        }
    }

    #[track_caller]
    fn only(said: &[Entry], uses: &[Use]) -> Item {
        let mut items = stores(said, uses);
        assert_eq!(items.len(), 1, "{items:?}");
        items.remove(0)
    }

    #[test]
    fn stock_is_what_came_less_what_went() {
        let said = [received(1, "0.1 l", Some(9.5), None), received(2, "50 ml", None, None), thrown(4, "20 ml")];
        let item = only(&said, &[used(3, Some(2.0)), used(5, Some(3.5)), used(0, Some(1000.0))]);
        assert_eq!(
            (item.stock, item.wants_count()),
            (Some(124.5), false),
            "use before the first delivery is not of it"
        );
        // Worked by hand: 100 − 2 − 20 − 3.5 = 74.5 ml of the first delivery are left, at 0.095 each.
        assert!((item.value() - 74.5 * 0.095).abs() < 1e-9 && (item.unpriced() - 50.0).abs() < 1e-9, "{item:?}");
        assert_eq!(item.used, BTreeMap::from([(date(2026, 11, 1), 1005.5)]));
    }

    #[test]
    fn what_expires_first_is_taken_first() {
        let (soon, late) = (Some(date(2027, 1, 31)), Some(date(2028, 1, 31)));
        let said =
            [received(1, "10 ml", None, None), received(2, "10 ml", None, late), received(3, "10 ml", None, soon)];
        let left = |amount| {
            let item = only(&said, &[used(9, Some(amount))]);
            item.batches.into_iter().map(|batch| (batch.expires, batch.amount)).collect::<Vec<_>>()
        };
        assert_eq!(left(4.0), [(soon, 6.0), (late, 10.0), (None, 10.0)]);
        assert_eq!(left(15.0), [(late, 5.0), (None, 10.0)]);
        assert_eq!(left(25.0), [(None, 5.0)]);
        let item = only(&said, &[used(9, Some(4.0))]);
        assert_eq!((item.expires(), item.expired(date(2027, 1, 31)), item.expired(date(2027, 2, 1))), (soon, 0.0, 6.0));
    }

    #[test]
    fn a_count_sets_the_stock_whatever_the_book_said() {
        let late = Some(date(2028, 1, 31));
        let fewer = [received(1, "100 ml", None, late), received(2, "10 ml", None, None), counted(5, "60 ml")];
        let item = only(&fewer, &[used(3, Some(7.0)), used(9, Some(1.0))]);
        assert_eq!((item.stock, item.counted), (Some(59.0), Some(Timestamp::from_second(5).unwrap())));
        assert_eq!(item.batches.iter().map(|batch| batch.amount).collect::<Vec<_>>(), [49.0, 10.0]);
        let more = only(&[received(1, "100 ml", None, late), counted(5, "130 ml")], &[]);
        assert_eq!(
            more.batches.iter().map(|batch| (batch.expires, batch.amount)).collect::<Vec<_>>(),
            [(late, 100.0), (None, 30.0)]
        );
        assert_eq!(only(&[counted(1, "0 ml")], &[]).stock, Some(0.0));
    }

    #[test]
    fn a_stock_below_nought_is_shown_and_wants_a_count() {
        let said = [received(1, "10 ml", None, None)];
        let item = only(&said, &[used(2, Some(12.0))]);
        assert_eq!((item.stock, item.wants_count(), item.batches.len()), (Some(-2.0), true, 0));
        let more = [said[0].clone(), received(3, "10 ml", None, None)];
        let item = only(&more, &[used(2, Some(12.0))]);
        assert_eq!((item.stock, item.batches[0].amount), (Some(8.0), 8.0));
        assert!(item.wants_count(), "the book was wrong, and still is");
        let counted = [more[0].clone(), more[1].clone(), counted(4, "9 ml")];
        let item = only(&counted, &[used(2, Some(12.0))]);
        assert_eq!((item.stock, item.wants_count()), (Some(9.0), false));
    }

    #[test]
    fn a_use_without_an_amount_is_told_and_not_guessed() {
        let said = [received(1, "10 ml", None, None)];
        let pieces = Use { amount: Some(Measured { amount: 1.0, unit: String::new() }), ..used(3, None) };
        let item = only(&said, &[used(2, None), pieces]);
        assert_eq!((item.stock, item.unclear, item.wants_count()), (Some(10.0), 2, true));
    }

    #[test]
    fn what_care_uses_and_the_stores_do_not_know_has_no_stock() {
        let item = only(&[], &[used(2, Some(3.0))]);
        assert_eq!((item.name.as_str(), item.unit.as_str(), item.stock), (OIL, "ml", None));
        assert_eq!(used_from(&[]), None);
    }

    #[test]
    fn the_first_entry_of_an_item_tells_its_unit_unless_the_list_does() {
        let spare = |second, amount: &str| {
            let (item, amount) = ("braided sleeve".to_owned(), amount.to_owned());
            entry(second, Event::Counted(Counted { item, amount }))
        };
        let said = [spare(1, "4 m"), spare(2, "9"), received(3, "1 l", None, None)];
        let units = kept(&said).into_iter().map(|kept| (kept.name, kept.unit)).collect::<Vec<_>>();
        assert_eq!(units, [("braided sleeve".into(), "m".into()), (OIL.into(), "ml".into())]);
        let sleeve = stores(&said, &[]).remove(0);
        assert_eq!((sleeve.stock, sleeve.unclear), (Some(4.0), 1), "an amount in another unit is not counted in");
    }

    #[test]
    fn what_comes_fills_the_oldest_order_first() {
        let (soon, late) = (date(2026, 12, 4), date(2026, 12, 12));
        // The older order is the one that is to come later.
        let said = [ordered(1, "0.1 l", late), ordered(2, "50 ml", soon)];
        let open = |more: &[Entry]| {
            let item = only(&[&said[..], more].concat(), &[]);
            item.coming.iter().map(|order| (order.entry.0, order.amount)).collect::<Vec<_>>()
        };
        assert_eq!(open(&[]), [(1, 100.0), (2, 50.0)]);
        assert_eq!(open(&[received(3, "30 ml", None, None)]), [(1, 70.0), (2, 50.0)]);
        assert_eq!(open(&[received(3, "30 ml", None, None), received(4, "80 ml", None, None)]), [(2, 40.0)]);
        assert_eq!(open(&[received(3, "1 l", None, None)]), []);
        assert_eq!(open(&[counted(3, "5 ml")]), [(1, 100.0), (2, 50.0)]);
        let before = only(&[received(0, "1 l", None, None), said[0].clone()], &[]);
        let open: Vec<f64> = before.coming.iter().map(|order| order.amount).collect();
        assert_eq!(open, [100.0], "what came before it was ordered is none of it");
    }

    #[test]
    fn an_order_tells_no_stock() {
        let item = only(&[ordered(1, "100 ml", date(2026, 12, 4))], &[used(2, Some(3.0))]);
        assert_eq!((item.stock, item.wants_count(), item.coming.len()), (None, false, 1));
        assert!(sources(&[item], date(2026, 12, 1)).unwrap().is_empty());
    }

    fn moves() -> impl Strategy<Value = Vec<(u8, u16)>> {
        prop::collection::vec((0u8..4, 0u16..40), 1..40)
    }

    /// What the stores were told in these moves, and what was used in them: of each use as much as `used_up` makes of its number.
    fn happened(moves: Vec<(u8, u16)>, used_up: impl Fn(u16) -> Option<f64>) -> (Vec<Entry>, Vec<Use>) {
        let (mut said, mut uses) = (Vec::new(), Vec::new());
        for (second, (what, amount)) in (1..).zip(moves) {
            let expires = (amount % 3 != 0).then(|| date(2027, 1, 1 + (amount % 28) as i8));
            match what {
                0 => said.push(received(second, &format!("{} ml", amount + 1), Some(1.0), expires)),
                1 => said.push(counted(second, &format!("{amount} ml"))),
                2 => said.push(thrown(second, &format!("{} ml", amount + 1))),
                _ => uses.push(used(second, used_up(amount))),
            }
        }
        (said, uses)
    }

    proptest! {
        /// What is there or on its way is what lies in the stores and what was ordered and has not come: what comes moves from
        /// one to the other.
        #[test]
        fn what_comes_makes_no_more_than_was_there_and_still_to_come(moves in moves()) {
            let today = date(2026, 12, 1);
            let (mut said, mut uses, mut hand, mut open) = (Vec::new(), Vec::new(), 0.0_f64, 0.0_f64);
            for (second, (what, amount)) in (1..).zip(moves) {
                let amount = f64::from(amount) + 1.0;
                match what {
                    0 => said.push(ordered(second, &format!("{amount} ml"), today)),
                    1 => said.push(received(second, &format!("{amount} ml"), None, None)),
                    2 => said.push(counted(second, &format!("{amount} ml"))),
                    _ => uses.push(used(second, Some(amount.min(hand)))),
                }
                (hand, open) = match what {
                    0 => (hand, open + amount),
                    1 => (hand + amount, (open - amount).max(0.0)),
                    2 => (amount, open),
                    _ => (hand - amount.min(hand), open),
                };
                let position: f64 =
                    stores(&said, &uses).iter().map(|item| item.shelf(today).unwrap().there_or_coming(today)).sum();
                prop_assert!((position - hand - open).abs() < 1e-6, "{position} is not {hand} and {open}");
            }
        }

        /// Use is summed machine by machine, and that once more: it is the same stock.
        #[test]
        fn summed_use_leaves_the_same_in_the_stores(moves in moves()) {
            let (said, uses) = happened(moves, |amount| (amount % 5 != 0).then_some(f64::from(amount) + 0.5));
            let book = Book::new(said.clone());
            let (one, other) = uses.split_at(uses.len() / 2);
            let summed = book.sum(book.sum(one).iter().chain(&book.sum(other)));
            prop_assert!(summed.len() <= uses.len());
            let mut whole = stores(&said, &uses);
            whole.iter_mut().for_each(|item| item.used.clear());
            prop_assert_eq!(book.items(&summed), whole);
        }

        /// Use that a count has settled may be read or not: what is there stays the same.
        #[test]
        fn use_before_the_last_count_changes_nothing(moves in moves()) {
            let (said, uses) = happened(moves, |amount| Some(f64::from(amount) + 0.5));
            let from = used_from(&said);
            let later: Vec<Use> = uses.iter().filter(|one| from.is_some_and(|from| from <= one.at)).cloned().collect();
            let known = |uses: &[Use]| stores(&said, uses).into_iter().find(|item| item.stock.is_some());
            let forget = |item: Option<Item>| item.map(|item| Item { used: BTreeMap::new(), ..item });
            let (whole, short) = (forget(known(&uses)), forget(known(&later)));
            prop_assert_eq!(&whole, &short);
            if let Some(item) = whole {
                let there: f64 = item.batches.iter().map(|batch| batch.amount).sum();
                prop_assert!((there - item.stock.unwrap().max(0.0)).abs() < 1e-6, "batches add up to the stock");
                prop_assert!(item.batches.iter().all(|batch| 0.0 < batch.amount));
                prop_assert!(0.0 <= item.stock.unwrap() || item.wants_count());
            }
        }
    }
}
