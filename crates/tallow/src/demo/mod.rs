//! The demo: the pattern loft of a small boatyard, with six machines named after knots. Everything in it is invented and
//! generated from a seed.
//!
//! 1. [`programs`] makes the G-code that the loft runs: general toolpaths of parts given by formulae.
//! 2. The caller meters each program, whole and up to each of [`STOPS`].
//! 3. [`history`] makes fourteen months of events up to a day: runs, failures, care, readings, a queue. The keeper in it
//!    works by the same [`upkeep::used`] as the rest of the program, so any build will do.

mod calendar;
mod care;
mod catalogue;
mod geometry;
mod history;
mod loft;
mod part;
mod pen;
mod random;
mod runs;
mod toolpath;

pub(crate) use catalogue::{DemoProgram, programs};
pub(crate) use history::{DemoEvent, DemoMachine, Metered, ProgramInfo, STOPS, history};
pub(crate) use loft::loft;

/// The seed of the demo that is shown.
pub(crate) const SEED: u64 = 0x7a11_0000_0000_0001;

/// The shop's name.
pub(crate) const SHOP: &str = "Pattern loft (invented)";

/// A machine of the loft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Berth {
    /// The machine's name.
    pub(crate) name: &'static str,
    /// The key of its shipped build.
    pub(crate) build: &'static str,
    /// Printing hours that are asked of it in an average week.
    pub(crate) hours_per_week: f64,
    /// Months after the records begin at which it joined.
    pub(crate) joined_after_months: i32,
}

const fn berth(name: &'static str, build: &'static str, hours_per_week: f64, joined_after_months: i32) -> Berth {
    Berth { name, build, hours_per_week, joined_after_months }
}

/// The loft's machines.
pub(crate) const LOFT: [Berth; 6] = [
    berth("bowline", "enclosed-corexy", 40.0, 0),
    berth("clove hitch", "enclosed-corexy", 34.0, 0),
    berth("sheet bend", "moving-bed", 30.0, 0),
    berth("reef knot", "moving-bed", 26.0, 0),
    berth("rolling hitch", "rail-corexy", 46.0, 3),
    berth("figure eight", "delta", 28.0, 7),
];

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;
    use std::sync::Arc;

    use jiff::tz::TimeZone;
    use motion::Duty;
    use upkeep::build::shipped;
    use upkeep::{Build, Material, Usage};

    use super::*;

    pub(super) use super::SEED;

    pub(super) fn zone() -> TimeZone {
        TimeZone::get("Europe/Oslo").expect("the time zone is known")
    }

    pub(super) fn builds() -> Vec<(&'static str, Build)> {
        let read = |(key, text)| (key, Build::parse(key, text).expect("a shipped build is valid"));
        shipped().into_iter().map(read).collect()
    }

    /// The loft's machines with stand-ins for metered programs: a dozen each, of one and a half to nine hours, that ask
    /// for what the build expects of a printing hour.
    pub(super) fn machines() -> Vec<DemoMachine> {
        let builds = builds();
        let machine = |berth: &Berth| {
            let (_, build) = builds.iter().find(|(key, _)| *key == berth.build).expect("the loft's builds are shipped");
            DemoMachine {
                name: berth.name.to_owned(),
                build: Arc::new(build.clone()),
                programs: (0..12).map(|index| stand_in(build, index)).collect(),
                hours_per_week: berth.hours_per_week,
                joined_after_months: berth.joined_after_months,
            }
        };
        LOFT.iter().map(machine).collect()
    }

    fn stand_in(build: &Build, index: u8) -> ProgramInfo {
        let hours = 1.5 + 0.65 * f64::from(index);
        let metered = |share: f64| {
            let mut duty = Duty::default();
            let amounts = duty.tools.entry(0).or_default();
            for (quantity, amount) in &build.expected.per_hour {
                amounts[*quantity] = amount * hours * share;
            }
            Metered { seconds: hours * 3600.0 * share, usage: Usage::from_duty(&duty, |_| Material::new("ASA")) }
        };
        ProgramInfo {
            file_name: format!("stand-in-{index}.gcode"),
            sha256: format!("{index:064x}"),
            materials: BTreeMap::from([(0, Material::new("ASA"))]),
            whole: metered(1.0),
            stopped: STOPS.map(|stop| metered(f64::from(stop) / 100.0)),
        }
    }
}
