//! The table `[motion]`: what the meter must know.

use motion::{Corner, Drive, Kinematics, Limits, Machine, PerAxis};

use super::raw::{Section, Value, all};

/// What the table says.
pub(super) struct Motion {
    pub(super) machine: Machine,
    pub(super) travel: [f64; 3],
    pub(super) belt_pitch: f64,
    pub(super) fans: Vec<String>,
}

/// The keys of the table.
pub(super) const KEYS: &[&str] = &[
    "kinematics",
    "rod_mm",
    "tower_radius_mm",
    "travel_mm",
    "belt_pitch_mm",
    "pulley_teeth",
    "screw_lead_mm",
    "extruder_mm_per_turn",
    "filament_diameter_mm",
    "max_speed_mm_s",
    "max_acceleration_mm_s2",
    "acceleration_mm_s2",
    "jerk_mm_s",
    "junction_deviation_mm",
    "corner",
    "hot_nozzle_c",
    "fans",
];

/// A nozzle at or above this counts as hot where the build does not say, °C. Common practice, no source.
const HOT_NOZZLE_C: f64 = 180.0;

/// How many fans the meter tells apart, `P0` to `P3`.
const MOST_FANS: usize = 4;

/// Reads the table.
pub(super) fn read(section: &Section<'_>) -> Option<Motion> {
    let travel = section.need("travel_mm").and_then(|value| travel(&value));
    let kinematics = kinematics(section, travel);
    let limits = limits(section);
    let corner =
        section.need("corner").and_then(|v| v.choice([("jerk", Corner::Jerk), ("deviation", Corner::Deviation)]));
    let drive = drive(section);
    let hot_nozzle = section.get("hot_nozzle_c").map_or(Some(HOT_NOZZLE_C), |value| value.positive());
    let fans = fans(section);
    let (belt_pitch, drive) = drive?;
    let machine = Machine { kinematics: kinematics?, limits: limits?, corner: corner?, drive, hot_nozzle: hot_nozzle? };
    Some(Motion { machine, travel: travel?, belt_pitch, fans: fans? })
}

/// Which of the three kinematics.
#[derive(Clone, Copy)]
enum Word {
    Cartesian,
    CoreXy,
    Delta,
}

fn kinematics(section: &Section<'_>, travel: Option<[f64; 3]>) -> Option<Kinematics> {
    let words = [("cartesian", Word::Cartesian), ("corexy", Word::CoreXy), ("delta", Word::Delta)];
    match section.need("kinematics")?.choice(words)? {
        Word::Delta => delta(section, travel),
        Word::Cartesian => no_rods(section, Kinematics::Cartesian),
        Word::CoreXy => no_rods(section, Kinematics::CoreXy),
    }
}

/// Refuses a delta's keys on another machine.
fn no_rods(section: &Section<'_>, kinematics: Kinematics) -> Option<Kinematics> {
    for value in ["rod_mm", "tower_radius_mm"].into_iter().filter_map(|key| section.get(key)) {
        let found = format!("{} belongs to a delta alone", value.label);
        value.refuse(found, "take the line out, or write kinematics = \"delta\"");
    }
    Some(kinematics)
}

fn delta(section: &Section<'_>, travel: Option<[f64; 3]>) -> Option<Kinematics> {
    let rod_value = section.need("rod_mm");
    let radius = section.need("tower_radius_mm").and_then(|value| value.positive());
    let rod_value = rod_value?;
    let (rod, radius, [x, y, _]) = (rod_value.positive()?, radius?, travel?);
    // The farthest that the head stands from a tower, seen from above: across the centre, at the rim of the round
    // plate. A rod must be longer than that, or it lies flat before the head is there.
    let reach = radius + x.max(y) / 2.0;
    if rod <= reach {
        let found = format!("\"rod_mm\" is {rod}, but the rim of the travel is {reach} mm from a tower");
        rod_value
            .refuse(found, "rod_mm must be more than tower_radius_mm + half of travel_mm x or y; correct one of them");
        return None;
    }
    Some(Kinematics::Delta { rod, radius })
}

fn travel(value: &Value<'_>) -> Option<[f64; 3]> {
    let section = value.section("\"travel_mm\"", &["x", "y", "z"])?;
    let [x, y, z] = ["x", "y", "z"].map(|axis| section.need(axis).and_then(|value| value.positive()));
    Some([x?, y?, z?])
}

fn limits(section: &Section<'_>) -> Option<Limits> {
    let per_axis = |key| section.need(key).and_then(|value| per_axis(&value));
    let [max_speed, max_acceleration, jerk] = ["max_speed_mm_s", "max_acceleration_mm_s2", "jerk_mm_s"].map(per_axis);
    let acceleration = section.need("acceleration_mm_s2").and_then(|value| acceleration(&value));
    let junction_deviation = section.need("junction_deviation_mm").and_then(|value| value.positive());
    let [print, retract, travel] = acceleration?;
    Some(Limits {
        max_speed: max_speed?,
        max_acceleration: max_acceleration?,
        print_acceleration: print,
        retract_acceleration: retract,
        travel_acceleration: travel,
        jerk: jerk?,
        junction_deviation: junction_deviation?,
    })
}

fn per_axis(value: &Value<'_>) -> Option<PerAxis> {
    let section = value.section("a value for each axis", &["x", "y", "z", "e"])?;
    let [x, y, z, e] = ["x", "y", "z", "e"].map(|axis| section.need(axis).and_then(|value| value.positive()));
    Some(PerAxis { x: x?, y: y?, z: z?, e: e? })
}

fn acceleration(value: &Value<'_>) -> Option<[f64; 3]> {
    let keys = ["print", "retract", "travel"];
    let section = value.section("\"acceleration_mm_s2\"", &keys)?;
    let [print, retract, travel] = keys.map(|key| section.need(key).and_then(|value| value.positive()));
    Some([print?, retract?, travel?])
}

/// The pitch of the belts, mm, and what the meter makes of it.
fn drive(section: &Section<'_>) -> Option<(f64, Drive)> {
    let pitch = section.need("belt_pitch_mm").and_then(|value| value.positive());
    let teeth = section.need("pulley_teeth").and_then(|value| value.whole(1, 1000));
    let extruder_per_turn = section.need("extruder_mm_per_turn").and_then(|value| value.positive());
    let filament_diameter = section.need("filament_diameter_mm").and_then(|value| value.positive());
    let screw_lead = match section.get("screw_lead_mm") {
        Some(value) => Some(value.positive()?),
        None => None,
    };
    let pitch = pitch?;
    let drive = Drive {
        belt_per_turn: pitch * f64::from(teeth?),
        screw_lead,
        extruder_per_turn: extruder_per_turn?,
        filament_diameter: filament_diameter?,
    };
    Some((pitch, drive))
}

fn fans(section: &Section<'_>) -> Option<Vec<String>> {
    let value = section.need("fans")?;
    let items = value.list()?;
    if MOST_FANS < items.len() {
        let found = format!("\"fans\" names {} fans", items.len());
        value.refuse(found, format!("the meter tells at most {MOST_FANS} apart, P0 to P3; leave the others out"));
        return None;
    }
    all(items.iter().map(Value::name))
}
