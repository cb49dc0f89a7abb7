//! The binary columns: use, days, marks and duty as bytes.
//!
//! Every value starts with the byte [`FORMAT`]. Whole numbers are varints of seven bits to the byte, lowest first;
//! signed ones are zigzagged. Quantities and materials stand as the ids of their tables of names, so a value outlives
//! any reordering of the list of quantities.
//!
//! ```text
//! use    = n, n × stream
//! stream = tool, material id, quantities, grains of each quantity
//! quantities = m, m bytes; bit b of byte i is set where quantity 8 i + b is present
//! days   = n, n × (day of the month, use)
//! marks  = n, n × (instant less the one before, use since the one before, k, k × (0 task | 1 position, name, entry))
//! duty   = n, n × (tool, quantities, amount of each as IEEE 754 binary64, little-endian)
//!
//! forecast = use, n, n × (used, when), m, m × minutes
//! used   = instant, 0 added | 1 done | 2 replaced, entry or nothing, k, k × (so far, allowed, last day or nothing)
//! when   = 0, since or nothing | 1, early, median or nothing, late or nothing, limit, grounds | 2
//! grounds = 0 | 1, weeks, own share, mean of a week, spread of the level, queued runs
//! or nothing = 0 | 1, what it is
//! ```
//!
//! Days stand as days since 1970-01-01, and numbers that are not whole as those of duty.

use jiff::civil::Date;
use motion::{Amounts, Duty, Quantity, Tool};
use upkeep::usage::{Grains, Stream};
use upkeep::{Care, EntryId, Foreseen, Grounds, Likely, LimitUsed, Since, SinceWhat, Usage, UseGrounds, Used, When};

use crate::forecasts::Kept;
use crate::names::Names;
use crate::standing::Standings;
use crate::time::{self, DaysOfMonth};

/// The first byte of every value; a later layout would be 2.
const FORMAT: u8 = 1;

/// Bytes that are not what they should be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Garbled;

/// A value of use as bytes.
pub(crate) fn usage_to_bytes(usage: &Usage, names: &Names) -> Vec<u8> {
    let mut out = Writer::new();
    out.usage(usage, names);
    out.0
}

/// The value of use that `bytes` hold.
pub(crate) fn usage_from_bytes(bytes: &[u8], names: &Names) -> Result<Usage, Garbled> {
    let mut input = Reader::new(bytes)?;
    let usage = input.usage(names)?;
    input.end(usage)
}

/// The days of one month as bytes.
pub(crate) fn days_to_bytes(days: &DaysOfMonth, names: &Names) -> Vec<u8> {
    let mut out = Writer::new();
    out.count(days.len());
    for (&day, usage) in days {
        out.0.push(day);
        out.usage(usage, names);
    }
    out.0
}

/// Hands each day of the month and its use to `each`, in order.
pub(crate) fn for_each_day(bytes: &[u8], names: &Names, mut each: impl FnMut(u8, Usage)) -> Result<(), Garbled> {
    let mut input = Reader::new(bytes)?;
    for _ in 0..input.varint()? {
        let day = input.byte()?;
        each(day, input.usage(names)?);
    }
    input.end(())
}

/// The standings of one machine as bytes.
pub(crate) fn standings_to_bytes(standings: &Standings, names: &Names) -> Vec<u8> {
    let mut out = Writer::new();
    out.count(standings.marks().len());
    let mut before = 0;
    for (&at, mark) in standings.marks() {
        let micros = time::to_micros(at);
        out.signed(micros - before);
        before = micros;
        out.usage(&mark.since_the_one_before, names);
        out.count(mark.cares.len());
        for (care, entry) in &mark.cares {
            let (tag, name) = match care {
                Care::Task(name) => (0, name),
                Care::Position(name) => (1, name),
            };
            out.0.push(tag);
            out.text(name);
            out.signed(entry.0);
        }
    }
    out.0
}

/// The standings that `bytes` hold.
pub(crate) fn standings_from_bytes(bytes: &[u8], names: &Names) -> Result<Standings, Garbled> {
    let mut input = Reader::new(bytes)?;
    let mut standings = Standings::default();
    let mut micros: i64 = 0;
    for _ in 0..input.varint()? {
        micros = micros.checked_add(input.signed()?).ok_or(Garbled)?;
        let usage = input.usage(names)?;
        let mark = standings.push(time::from_micros(micros).ok_or(Garbled)?, usage);
        for _ in 0..input.varint()? {
            let tag = input.byte()?;
            let name = input.text()?;
            let care = match tag {
                0 => Care::Task(name),
                1 => Care::Position(name),
                _ => return Err(Garbled),
            };
            mark.cares.insert(care, EntryId(input.signed()?));
        }
    }
    input.end(standings)
}

/// A program's duty as bytes; amounts come back to the last bit.
pub(crate) fn duty_to_bytes(duty: &Duty, names: &Names) -> Vec<u8> {
    let mut out = Writer::new();
    out.count(duty.tools.len());
    for (&tool, amounts) in &duty.tools {
        out.0.push(tool);
        let present = out.quantities(names, |quantity| amounts[quantity] != 0.0);
        for quantity in present {
            out.number(amounts[quantity]);
        }
    }
    out.0
}

/// The duty that `bytes` hold.
pub(crate) fn duty_from_bytes(bytes: &[u8], names: &Names) -> Result<Duty, Garbled> {
    let mut input = Reader::new(bytes)?;
    let mut duty = Duty::default();
    for _ in 0..input.varint()? {
        let tool: Tool = input.byte()?;
        let mut amounts = Amounts::default();
        let mask = input.mask()?;
        for quantity in present(mask, names) {
            amounts[quantity?] = input.number()?;
        }
        duty.tools.insert(tool, amounts);
    }
    input.end(duty)
}

/// How a machine is foreseen, as bytes.
pub(crate) fn forecast_to_bytes(machine: &Foreseen, names: &Names) -> Vec<u8> {
    let mut out = Writer::new();
    out.usage(&machine.total, names);
    out.count(machine.dues.len());
    for due in &machine.dues {
        out.used(&due.used);
        out.when(&due.when);
    }
    out.count(machine.busy.len());
    machine.busy.iter().for_each(|minutes| out.number(*minutes));
    out.0
}

/// The forecast that `bytes` hold.
pub(crate) fn forecast_from_bytes(bytes: &[u8], names: &Names) -> Result<Kept, Garbled> {
    let mut input = Reader::new(bytes)?;
    let total = input.usage(names)?;
    let dues = input.list(|input| Ok((input.used()?, input.when()?)))?;
    let busy = input.list(Reader::number)?;
    input.end(Kept { total, dues, busy })
}

/// The quantities whose bits are set, in the order of their ids.
fn present<'a>(mask: &'a [u8], names: &'a Names) -> impl Iterator<Item = Result<Quantity, Garbled>> + 'a {
    let mut bytes = mask.iter().enumerate();
    let (mut byte, mut bits) = (0, 0u8);
    std::iter::from_fn(move || {
        while bits == 0 {
            let (index, &next) = bytes.next()?;
            (byte, bits) = (index, next);
        }
        let id = byte * 8 + bits.trailing_zeros() as usize;
        bits &= bits - 1;
        Some(names.quantity(id).ok_or(Garbled))
    })
}

/// Bytes being written.
struct Writer(Vec<u8>);

impl Writer {
    fn new() -> Writer {
        Writer(vec![FORMAT])
    }

    fn varint(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.0.push((value & 0x7f) as u8 | 0x80);
            value >>= 7;
        }
        self.0.push(value as u8);
    }

    fn signed(&mut self, value: i64) {
        self.varint(((value << 1) ^ (value >> 63)).cast_unsigned());
    }

    fn count(&mut self, n: usize) {
        self.varint(n as u64);
    }

    fn text(&mut self, text: &str) {
        self.count(text.len());
        self.0.extend_from_slice(text.as_bytes());
    }

    fn usage(&mut self, usage: &Usage, names: &Names) {
        self.count(usage.streams().count());
        for (stream, grains) in usage.streams() {
            self.0.push(stream.tool);
            self.varint(names.material_id(&stream.material));
            let present = self.quantities(names, |quantity| grains.get(quantity) != 0);
            for quantity in present {
                self.signed(grains.get(quantity));
            }
        }
    }

    fn number(&mut self, number: f64) {
        self.0.extend_from_slice(&number.to_le_bytes());
    }

    fn day(&mut self, day: Date) {
        self.signed(time::day_number(day));
    }

    fn or_nothing<T>(&mut self, what: Option<T>, write: impl FnOnce(&mut Writer, T)) {
        self.0.push(u8::from(what.is_some()));
        if let Some(what) = what {
            write(self, what);
        }
    }

    fn used(&mut self, used: &Used) {
        self.signed(time::to_micros(used.since.at));
        self.0.push(match used.since.what {
            SinceWhat::Added => 0,
            SinceWhat::Done => 1,
            SinceWhat::Replaced => 2,
        });
        self.or_nothing(used.since.entry, |out, entry| out.signed(entry.0));
        self.count(used.limits.len());
        for limit in &used.limits {
            self.number(limit.so_far);
            self.number(limit.allowed);
            self.or_nothing(limit.until, Writer::day);
        }
    }

    fn when(&mut self, when: &When) {
        match when {
            When::Since(day) => {
                self.0.push(0);
                self.or_nothing(*day, Writer::day);
            }
            When::Likely(likely) => {
                self.0.push(1);
                self.day(likely.early);
                self.or_nothing(likely.median, Writer::day);
                self.or_nothing(likely.late, Writer::day);
                self.count(likely.limit);
                let of_use = match &likely.grounds {
                    Grounds::Calendar => None,
                    Grounds::Use(grounds) => Some(grounds),
                };
                self.or_nothing(of_use, |out, grounds| {
                    out.count(grounds.weeks);
                    out.number(grounds.own_share);
                    out.number(grounds.per_week);
                    out.number(grounds.level_spread);
                    out.count(grounds.queued);
                });
            }
            When::Beyond => self.0.push(2),
        }
    }

    /// Writes which quantities are present and gives them in the order of their ids.
    fn quantities(&mut self, names: &Names, is_present: impl Fn(Quantity) -> bool) -> Vec<Quantity> {
        let mut mask = Vec::new();
        let mut present = Vec::new();
        for (id, quantity) in names.quantities() {
            if is_present(quantity) {
                mask.resize(id / 8 + 1, 0);
                mask[id / 8] |= 1 << (id % 8);
                present.push(quantity);
            }
        }
        self.count(mask.len());
        self.0.extend_from_slice(&mask);
        present
    }
}

/// Bytes being read.
struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn new(bytes: &'a [u8]) -> Result<Reader<'a>, Garbled> {
        match bytes.split_first() {
            Some((&FORMAT, rest)) => Ok(Reader(rest)),
            _ => Err(Garbled),
        }
    }

    /// Gives `value` if every byte has been read.
    fn end<T>(&self, value: T) -> Result<T, Garbled> {
        if self.0.is_empty() { Ok(value) } else { Err(Garbled) }
    }

    fn take(&mut self, n: usize) -> Result<&'a [u8], Garbled> {
        let (taken, rest) = self.0.split_at_checked(n).ok_or(Garbled)?;
        self.0 = rest;
        Ok(taken)
    }

    fn byte(&mut self) -> Result<u8, Garbled> {
        let (&byte, rest) = self.0.split_first().ok_or(Garbled)?;
        self.0 = rest;
        Ok(byte)
    }

    fn varint(&mut self) -> Result<u64, Garbled> {
        let mut value = 0;
        for shift in (0..64).step_by(7) {
            let byte = self.byte()?;
            value |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Ok(value);
            }
        }
        Err(Garbled)
    }

    fn signed(&mut self) -> Result<i64, Garbled> {
        let value = self.varint()?;
        Ok((value >> 1).cast_signed() ^ -(value & 1).cast_signed())
    }

    fn length(&mut self) -> Result<usize, Garbled> {
        usize::try_from(self.varint()?).map_err(|_| Garbled)
    }

    fn text(&mut self) -> Result<String, Garbled> {
        let length = self.length()?;
        let bytes = self.take(length)?;
        std::str::from_utf8(bytes).map(str::to_owned).map_err(|_| Garbled)
    }

    fn number(&mut self) -> Result<f64, Garbled> {
        Ok(f64::from_le_bytes(self.take(8)?.try_into().map_err(|_| Garbled)?))
    }

    fn day(&mut self) -> Result<Date, Garbled> {
        time::numbered_day(self.signed()?).ok_or(Garbled)
    }

    fn or_nothing<T>(&mut self, read: impl FnOnce(&mut Self) -> Result<T, Garbled>) -> Result<Option<T>, Garbled> {
        match self.byte()? {
            0 => Ok(None),
            1 => read(self).map(Some),
            _ => Err(Garbled),
        }
    }

    fn list<T>(&mut self, mut read: impl FnMut(&mut Self) -> Result<T, Garbled>) -> Result<Vec<T>, Garbled> {
        (0..self.varint()?).map(|_| read(self)).collect()
    }

    fn used(&mut self) -> Result<Used, Garbled> {
        let at = time::from_micros(self.signed()?).ok_or(Garbled)?;
        let what = match self.byte()? {
            0 => SinceWhat::Added,
            1 => SinceWhat::Done,
            2 => SinceWhat::Replaced,
            _ => return Err(Garbled),
        };
        let entry = self.or_nothing(|input| Ok(EntryId(input.signed()?)))?;
        let limits = self.list(|input| {
            Ok(LimitUsed { so_far: input.number()?, allowed: input.number()?, until: input.or_nothing(Reader::day)? })
        })?;
        Ok(Used { since: Since { at, what, entry }, limits })
    }

    fn when(&mut self) -> Result<When, Garbled> {
        Ok(match self.byte()? {
            0 => When::Since(self.or_nothing(Reader::day)?),
            1 => When::Likely(Likely {
                early: self.day()?,
                median: self.or_nothing(Reader::day)?,
                late: self.or_nothing(Reader::day)?,
                limit: self.length()?,
                grounds: self.or_nothing(Reader::grounds)?.map_or(Grounds::Calendar, Grounds::Use),
            }),
            2 => When::Beyond,
            _ => return Err(Garbled),
        })
    }

    fn grounds(&mut self) -> Result<UseGrounds, Garbled> {
        Ok(UseGrounds {
            weeks: self.length()?,
            own_share: self.number()?,
            per_week: self.number()?,
            level_spread: self.number()?,
            queued: self.length()?,
        })
    }

    fn mask(&mut self) -> Result<&'a [u8], Garbled> {
        let length = self.length()?;
        self.take(length)
    }

    fn usage(&mut self, names: &Names) -> Result<Usage, Garbled> {
        let mut usage = Usage::new();
        for _ in 0..self.varint()? {
            let tool: Tool = self.byte()?;
            let material = names.material(self.varint()?).ok_or(Garbled)?.clone();
            let mut grains = Grains::default();
            let mask = self.mask()?;
            for quantity in present(mask, names) {
                grains.set(quantity?, self.signed()?);
            }
            usage.add_stream(Stream { tool, material }, &grains, 1);
        }
        Ok(usage)
    }
}

#[cfg(test)]
mod tests {
    use upkeep::Material;

    use super::*;

    fn names() -> Names {
        let mut names = Names::default();
        // Not in the list's order, and with a gap, as after a change of the list.
        for (index, &quantity) in Quantity::ALL.iter().rev().enumerate() {
            names.set_quantity(index + index / 9, quantity);
        }
        names.set_material(1, Material::new("PLA"));
        names.set_material(300, Material::new("PA-CF"));
        names
    }

    fn usage() -> Usage {
        let mut usage = Usage::new();
        for (tool, material, grains) in [(0, "PLA", i64::MAX), (0, "PA-CF", i64::MIN), (200, "PLA", -1)] {
            let mut sum = Grains::default();
            sum.set(Quantity::Time, grains);
            sum.set(Quantity::TravelX, 64);
            sum.set(Quantity::WeightedFan3, 1);
            usage.add_stream(Stream { tool, material: Material::new(material) }, &sum, 1);
        }
        usage
    }

    #[test]
    fn use_comes_back_to_the_grain_whatever_the_ids() {
        let bytes = usage_to_bytes(&usage(), &names());
        assert_eq!(usage_from_bytes(&bytes, &names()), Ok(usage()));
    }

    #[test]
    fn bytes_cut_short_or_too_long_are_refused() {
        let bytes = usage_to_bytes(&usage(), &names());
        for end in 0..bytes.len() {
            assert_eq!(usage_from_bytes(&bytes[..end], &names()), Err(Garbled), "{end} bytes");
        }
        assert_eq!(usage_from_bytes(&[&bytes[..], &[0]].concat(), &names()), Err(Garbled));
    }

    #[test]
    fn a_later_layout_and_unknown_names_are_refused() {
        let mut bytes = usage_to_bytes(&usage(), &names());
        assert_eq!(usage_from_bytes(&bytes, &Names::default()), Err(Garbled));
        bytes[0] = FORMAT + 1;
        assert_eq!(usage_from_bytes(&bytes, &names()), Err(Garbled));
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_a_reader_panic(mut bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..200)) {
            if let Some(first) = bytes.first_mut() {
                *first = FORMAT;
            }
            let names = names();
            // Each must end, with a value or a refusal.
            let _ = usage_from_bytes(&bytes, &names);
            let _ = standings_from_bytes(&bytes, &names);
            let _ = duty_from_bytes(&bytes, &names);
            let _ = forecast_from_bytes(&bytes, &names);
            let _ = for_each_day(&bytes, &names, |_, _| {});
        }
    }
}
