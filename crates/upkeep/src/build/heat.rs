//! The table `[heat]`: how hot a machine is for hot work, and how fast it heats and cools.

use super::raw::Section;

/// Temperatures in °C and time constants in s. All defaults are judgement, no source, but where a field says otherwise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heat {
    /// The nozzle's temperature for hot work, °C.
    pub nozzle_c: f64,
    /// The bed's temperature for hot work, °C.
    pub bed_c: f64,
    /// The air around hot parts, °C; for an enclosed machine that of its chamber.
    pub room_c: f64,
    /// At or below this, hot parts may be touched, °C; see [`LONGEST_TOUCH_C`].
    pub touch_c: f64,
    /// Time constant with which the nozzle nears its target, s.
    pub nozzle_heat_s: f64,
    /// Time constant with which the bed nears its target, s.
    pub bed_heat_s: f64,
    /// Time constant with which the nozzle cools towards the air, s.
    pub nozzle_cool_s: f64,
    /// Time constant with which the bed cools towards the air, s.
    pub bed_cool_s: f64,
}

impl Default for Heat {
    /// `touch_c` is the 40 °C that the shipped builds' cautions name: common practice, no source.
    fn default() -> Heat {
        Heat {
            nozzle_c: 200.0,
            bed_c: 60.0,
            room_c: 22.0,
            touch_c: 40.0,
            nozzle_heat_s: 30.0,
            bed_heat_s: 75.0,
            nozzle_cool_s: 150.0,
            bed_cool_s: 900.0,
        }
    }
}

/// The highest `touch_C` that a build may state, °C: the burn threshold of any material for a contact of ten minutes.
///
/// ISO 13732-1:2006, from memory and not verified: 43 °C for a contact of eight hours and longer, 48 °C for ten minutes,
/// both whatever the material; 51 °C for one minute on bare metal. The standard gives thresholds at which skin burns, not
/// limits that are safe, and not for contact of more than a tenth of the skin. Hands hold on to a part for minutes.
pub const LONGEST_TOUCH_C: f64 = 48.0;

/// The keys of the table.
pub(super) const KEYS: &[&str] =
    &["nozzle_C", "bed_C", "room_C", "touch_C", "nozzle_heat_s", "bed_heat_s", "nozzle_cool_s", "bed_cool_s"];

/// The hottest that a build may say, °C, and the longest time constant, s: beyond any machine.
const HOTTEST_C: f64 = 600.0;
const SLOWEST_S: f64 = 36_000.0;

/// Reads the table.
pub(super) fn read(section: &Section<'_>) -> Option<Heat> {
    let stated = |key, default, least, most| match section.get(key) {
        Some(value) => value.between(least, most),
        None => Some(default),
    };
    let default = Heat::default();
    let constant = |key, default| stated(key, default, 1.0, SLOWEST_S);
    let nozzle_c = stated("nozzle_C", default.nozzle_c, 0.0, HOTTEST_C);
    let bed_c = stated("bed_C", default.bed_c, 0.0, HOTTEST_C);
    let room_c = stated("room_C", default.room_c, -30.0, HOTTEST_C);
    let touch_c = stated("touch_C", default.touch_c, 0.0, LONGEST_TOUCH_C);
    let nozzle_heat_s = constant("nozzle_heat_s", default.nozzle_heat_s);
    let bed_heat_s = constant("bed_heat_s", default.bed_heat_s);
    let nozzle_cool_s = constant("nozzle_cool_s", default.nozzle_cool_s);
    let bed_cool_s = constant("bed_cool_s", default.bed_cool_s);
    let heat = Heat {
        nozzle_c: nozzle_c?,
        bed_c: bed_c?,
        room_c: room_c?,
        touch_c: touch_c?,
        nozzle_heat_s: nozzle_heat_s?,
        bed_heat_s: bed_heat_s?,
        nozzle_cool_s: nozzle_cool_s?,
        bed_cool_s: bed_cool_s?,
    };
    cools(section, &heat).then_some(heat)
}

/// Refuses air in which nothing ever cools far enough to be touched.
fn cools(section: &Section<'_>, heat: &Heat) -> bool {
    let cools = heat.room_c < heat.touch_c;
    if !cools {
        let found = format!("air of {} °C never cools a part to {} °C", heat.room_c, heat.touch_c);
        let help = "room_C must be below touch_C; for a heated chamber, state the air with its door open";
        section.report.add(&section.span_of("room_C"), found, help);
    }
    cools
}
