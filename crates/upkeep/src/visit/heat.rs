//! How long heating and cooling take.
//!
//! Newton's law of cooling: the difference to what a part heats or cools towards falls by e in each time constant. A
//! heater that holds its target is taken the same way, with a time constant of its own. Measured time constants beat any
//! default; a fan that blows on the part, a draught or a thick plate change them.

use crate::build::Heat;

/// A part counts as heated when it is so near to its target, °C. Judgement, no source.
const SETTLED_C: f64 = 2.0;

/// The time in which a part at `from_c` comes to `to_c` in surroundings of `towards_c`, s; `time_constant_s` above 0. Nought
/// where it is there already, `None` where it never gets there.
///
/// # Formula
/// t = τ · ln((T₀ − Tₐ) / (T − Tₐ))
///
/// # Example
/// ```
/// let seconds = upkeep::visit::heat::newton_s(210.0, 48.0, 22.0, 300.0);
/// assert!((seconds.unwrap() - 593.5036274).abs() < 1e-6);
/// ```
pub fn newton_s(from_c: f64, to_c: f64, towards_c: f64, time_constant_s: f64) -> Option<f64> {
    let (before, after) = (from_c - towards_c, to_c - towards_c);
    if before.abs() <= after.abs() && before * after >= 0.0 {
        return Some(0.0);
    }
    (0.0 < before * after).then(|| time_constant_s * (before / after).ln())
}

/// How long nozzle and bed, heated together, take from the air's temperature to that of hot work, min.
pub fn heating_minutes(heat: &Heat) -> f64 {
    let nozzle = warming_s(heat.nozzle_c, heat.room_c, heat.nozzle_heat_s);
    let bed = warming_s(heat.bed_c, heat.room_c, heat.bed_heat_s);
    nozzle.max(bed) / 60.0
}

/// How long nozzle and bed take from the temperature of hot work until both may be touched, min.
pub fn cooling_minutes(heat: &Heat) -> f64 {
    let nozzle = to_the_touch_s(heat.nozzle_c, heat, heat.nozzle_cool_s);
    let bed = to_the_touch_s(heat.bed_c, heat, heat.bed_cool_s);
    nozzle.max(bed) / 60.0
}

/// The time from the air's temperature until `target_c` is as good as reached, s.
fn warming_s(target_c: f64, room_c: f64, time_constant_s: f64) -> f64 {
    match target_c - room_c {
        rise if rise <= SETTLED_C => 0.0,
        rise => time_constant_s * (rise / SETTLED_C).ln(),
    }
}

/// The time from `from_c` until a part may be touched, s.
fn to_the_touch_s(from_c: f64, heat: &Heat, time_constant_s: f64) -> f64 {
    if from_c <= heat.touch_c {
        return 0.0;
    }
    // OK because a build's air is colder than what may be touched; in warmer air nothing would ever be ready, and a
    // plan that says so is right.
    newton_s(from_c, heat.touch_c, heat.room_c, time_constant_s).unwrap_or(f64::INFINITY)
}
