//! The one list of duty quantities.
//!
//! The meter, the ledger, builds, screens and documents all go by this list. To add a quantity, add a line here and
//! measure it in the meter; nothing else needs to know.

use std::fmt;

/// The unit in which a quantity is counted (SI; counts and turns are plain numbers).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Length, m.
    Metre,
    /// Time, s.
    Second,
    /// Volume, m³.
    CubicMetre,
    /// Mass, kg.
    Kilogram,
    /// Volumetric flow, m³/s.
    CubicMetrePerSecond,
    /// Full turns of a shaft.
    Turn,
    /// A plain count.
    Count,
}

impl Unit {
    /// Its symbol (SI; BIPM, The International System of Units).
    pub const fn symbol(self) -> &'static str {
        match self {
            Unit::Metre => "m",
            Unit::Second => "s",
            Unit::CubicMetre => "m3",
            Unit::Kilogram => "kg",
            Unit::CubicMetrePerSecond => "m3/s",
            Unit::Turn => "turns",
            Unit::Count => "times",
        }
    }
}

/// How a quantity adds up over the moves of a run and over runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AddsUp {
    /// Amounts are summed.
    Sum,
    /// The largest amount counts.
    Largest,
}

macro_rules! quantities {
    ($($variant:ident, $name:literal, $unit:ident, $adds:ident, $about:literal;)*) => {
        /// One of the amounts that a run asks of a machine. The order is the order on screens.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        #[repr(u8)]
        pub enum Quantity { $(#[doc = $about] $variant),* }

        impl Quantity {
            /// Every quantity, in order; `ALL[q as usize] == q`.
            pub const ALL: &'static [Quantity] = &[$(Quantity::$variant),*];

            /// The name that builds, screens and records use, for example `travel x`. Never changes once released.
            pub const fn name(self) -> &'static str {
                match self { $(Quantity::$variant => $name),* }
            }

            /// The unit in which it is counted.
            pub const fn unit(self) -> Unit {
                match self { $(Quantity::$variant => Unit::$unit),* }
            }

            /// How it adds up over runs.
            pub const fn adds_up(self) -> AddsUp {
                match self { $(Quantity::$variant => AddsUp::$adds),* }
            }

            /// What it means, in one sentence.
            pub const fn about(self) -> &'static str {
                match self { $(Quantity::$variant => $about),* }
            }
        }
    };
}

quantities! {
    Time, "time", Second, Sum, "Time from the first command to the last, dwells included.";
    TimeMoving, "time moving", Second, Sum, "Time in which any axis or the extruder moves.";
    TimeExtruding, "time extruding", Second, Sum, "Time of moves that push filament forward while travelling.";
    TimeHot, "time hot", Second, Sum, "Time in which the nozzle's target is at or above the hot threshold.";
    TimeBedHot, "time bed hot", Second, Sum, "Time in which the bed has a target.";
    TimeChamberHot, "time chamber hot", Second, Sum, "Time in which the chamber has a target.";
    TravelX, "travel x", Metre, Sum, "Travel along X, both ways.";
    TravelY, "travel y", Metre, Sum, "Travel along Y, both ways.";
    TravelZ, "travel z", Metre, Sum, "Travel along Z, both ways.";
    ReversalsX, "reversals x", Count, Sum, "Times that X turned round.";
    ReversalsY, "reversals y", Count, Sum, "Times that Y turned round.";
    ReversalsZ, "reversals z", Count, Sum, "Times that Z turned round.";
    BeltA, "belt travel a", Metre, Sum, "Belt (or carriage) travel at motor a: cartesian x, CoreXY x + y, delta tower a.";
    BeltB, "belt travel b", Metre, Sum, "Belt (or carriage) travel at motor b: cartesian y, CoreXY x - y, delta tower b.";
    BeltC, "belt travel c", Metre, Sum, "Carriage travel at motor c: delta tower c.";
    ReversalsA, "reversals a", Count, Sum, "Times that motor a turned round.";
    ReversalsB, "reversals b", Count, Sum, "Times that motor b turned round.";
    ReversalsC, "reversals c", Count, Sum, "Times that motor c turned round.";
    TurnsA, "turns a", Turn, Sum, "Turns of motor a and of the idlers on its belt.";
    TurnsB, "turns b", Turn, Sum, "Turns of motor b and of the idlers on its belt.";
    TurnsC, "turns c", Turn, Sum, "Turns of motor c.";
    TurnsScrew, "turns screw", Turn, Sum, "Turns of each Z screw.";
    TurnsExtruder, "turns extruder", Turn, Sum, "Turns of the extruder's drive gear, both ways.";
    ReversalsE, "reversals e", Count, Sum, "Times that the extruder turned round.";
    Filament, "filament", Metre, Sum, "Filament used: fed less pulled back.";
    FilamentFed, "filament fed", Metre, Sum, "Filament pushed forward, unretractions included.";
    FilamentPulled, "filament pulled back", Metre, Sum, "Filament pulled back by retractions.";
    Retractions, "retractions", Count, Sum, "Retractions; a pull in several moves is one.";
    FilamentVolume, "filament volume", CubicMetre, Sum, "Volume of the filament used.";
    FilamentMass, "filament mass", Kilogram, Sum, "Mass of the filament used; known once the material is.";
    ToolChanges, "tool changes", Count, Sum, "Changes to another tool.";
    HeatCyclesNozzle, "heat cycles nozzle", Count, Sum, "Times that the nozzle's target rose past the hot threshold.";
    HeatCyclesBed, "heat cycles bed", Count, Sum, "Times that the bed was switched on.";
    TimeFan0, "time fan 0", Second, Sum, "Time in which fan 0 runs.";
    TimeFan1, "time fan 1", Second, Sum, "Time in which fan 1 runs.";
    TimeFan2, "time fan 2", Second, Sum, "Time in which fan 2 runs.";
    TimeFan3, "time fan 3", Second, Sum, "Time in which fan 3 runs.";
    WeightedFan0, "weighted time fan 0", Second, Sum, "Time of fan 0, each second weighted by its duty.";
    WeightedFan1, "weighted time fan 1", Second, Sum, "Time of fan 1, each second weighted by its duty.";
    WeightedFan2, "weighted time fan 2", Second, Sum, "Time of fan 2, each second weighted by its duty.";
    WeightedFan3, "weighted time fan 3", Second, Sum, "Time of fan 3, each second weighted by its duty.";
    PeakFlow, "peak flow", CubicMetrePerSecond, Largest, "The largest volumetric flow of an extruding move at its planned peak speed.";
}

impl Quantity {
    /// How many quantities there are.
    pub const COUNT: usize = Quantity::ALL.len();

    /// The quantity of that name, exactly as [`Quantity::name`] gives it.
    pub fn from_name(name: &str) -> Option<Quantity> {
        Quantity::ALL.iter().copied().find(|quantity| quantity.name() == name)
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_indexed_by_the_quantity_itself() {
        for (index, quantity) in Quantity::ALL.iter().enumerate() {
            assert_eq!(*quantity as usize, index);
        }
    }

    #[test]
    fn names_are_unique() {
        for quantity in Quantity::ALL {
            assert_eq!(Quantity::from_name(quantity.name()), Some(*quantity));
        }
    }
}
