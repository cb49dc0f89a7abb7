//! What a build knows of belts and of the idlers that they turn: the keys `belt_span_mm`, `belt_mass_g_per_m` and `idler` of a
//! position.

use super::raw::{Section, Value};

/// The kind of part that the keys of belts belong to.
pub const TOOTHED_BELT: &str = "toothed belt";

/// The kind of part that the key `idler` belongs to.
pub const SEALED_IDLER: &str = "sealed idler";

/// What is known of a toothed belt.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Belt {
    /// The free length that is plucked, mm.
    pub span_mm: Option<f64>,
    /// Its mass per length, g/m.
    pub mass_g_per_m: Option<f64>,
}

/// How an idler turns.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Idler {
    /// The belt that passes in one turn, mm.
    pub mm_per_turn: f64,
    /// Its bearing, where that is known.
    pub bearing: Option<BallBearing>,
}

/// A ball bearing whose balls run at no angle to its plane, as in deep grooves.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BallBearing {
    /// How many balls it has.
    pub balls: u16,
    /// A ball's diameter, mm.
    pub ball_mm: f64,
    /// The diameter of the circle of the balls' centres, mm.
    pub pitch_mm: f64,
}

/// Reads the two keys of a belt, which no other kind of part has.
pub(super) fn belt(position: &Section<'_>, kind: &str) -> Option<Belt> {
    let span = position.get("belt_span_mm");
    let mass = position.get("belt_mass_g_per_m");
    let are_here = [&span, &mass].into_iter().flatten().all(|value| belongs(value, kind, TOOTHED_BELT));
    let between = |value: Option<Value<'_>>, least, most| match value {
        // The outer `None` is a mistake, the inner one a key that was left out.
        Some(value) => value.between(least, most).map(Some),
        None => Some(None),
    };
    let (span_mm, mass_g_per_m) = (between(span, 20.0, 5000.0), between(mass, 0.5, 500.0));
    are_here.then_some(Belt { span_mm: span_mm?, mass_g_per_m: mass_g_per_m? })
}

/// Reads how an idler turns; the outer `None` is a mistake.
pub(super) fn idler(position: &Section<'_>, kind: &str) -> Option<Option<Idler>> {
    let Some(value) = position.get("idler") else { return Some(None) };
    if !belongs(&value, kind, SEALED_IDLER) {
        return None;
    }
    let section = value.section("an idler", &["mm_per_turn", "balls", "ball_mm", "pitch_mm"])?;
    let mm_per_turn = section.need("mm_per_turn").and_then(|value| value.between(5.0, 500.0));
    let of_bearing = ["balls", "ball_mm", "pitch_mm"];
    let bearing = if of_bearing.iter().any(|key| section.get(key).is_some()) { Some(bearing(&section)?) } else { None };
    Some(Some(Idler { mm_per_turn: mm_per_turn?, bearing }))
}

/// A bearing, of which all three keys are there.
fn bearing(section: &Section<'_>) -> Option<BallBearing> {
    let balls = section.need("balls").and_then(|value| value.whole(3, 50));
    let ball = section.need("ball_mm").and_then(|value| value.positive());
    let pitch_value = section.need("pitch_mm");
    let (balls, ball_mm, pitch_value) = (balls?, ball?, pitch_value?);
    let pitch_mm = pitch_value.positive()?;
    // Balls side by side on their circle must fit on it.
    if pitch_mm * std::f64::consts::PI <= f64::from(balls) * ball_mm {
        let found = format!("{balls} balls of {ball_mm} mm do not fit on a circle of {pitch_mm} mm");
        pitch_value.refuse(found, "write the diameter of the circle of the balls' centres, between bore and outside");
        return None;
    }
    Some(BallBearing { balls, ball_mm, pitch_mm })
}

/// Refuses a key at a part of another kind.
fn belongs(value: &Value<'_>, kind: &str, to: &str) -> bool {
    let is_so = kind == to;
    if !is_so {
        value.refuse(format!("{} belongs to a {to} alone, not to a {kind}", value.label), "take the line out");
    }
    is_so
}

#[cfg(test)]
mod tests {
    use crate::Build;

    /// A shipped build with lines added to its position of that kind.
    fn with(kind: &str, lines: &str) -> Result<Build, crate::BuildErrors> {
        let (_, text) = super::super::shipped()[0];
        let head = format!("kind = \"{kind}\"\n");
        let plain: Vec<&str> = text.lines().filter(|line| !line.starts_with("belt_mass")).collect();
        let plain = format!("{}\n", plain.join("\n"));
        assert!(plain.contains(&head), "the shipped build has a {kind}");
        Build::parse("test.toml", &plain.replacen(&head, &format!("{head}{lines}\n"), 1))
    }

    #[track_caller]
    fn refused(kind: &str, lines: &str, words: &str) {
        let errors = with(kind, lines).unwrap_err().to_string();
        assert!(errors.contains(words), "{errors}");
    }

    #[test]
    fn a_belt_has_a_span_and_a_mass_and_an_idler_a_bearing() {
        let build = with("toothed belt", "belt_span_mm = 420\nbelt_mass_g_per_m = 8.5").unwrap();
        let belt = build.positions.iter().find(|position| position.kind == "toothed belt").unwrap().belt;
        assert_eq!((belt.span_mm, belt.mass_g_per_m), (Some(420.0), Some(8.5)));
        let turns = "idler = { mm_per_turn = 40, balls = 7, ball_mm = 1.5, pitch_mm = 6.5 }";
        let build = with("sealed idler", turns).unwrap();
        let idler = build.positions.iter().find_map(|position| position.idler).unwrap();
        assert_eq!((idler.mm_per_turn, idler.bearing.unwrap().balls), (40.0, 7));
        let build = with("sealed idler", "idler = { mm_per_turn = 40 }").unwrap();
        assert_eq!(build.positions.iter().find_map(|position| position.idler).unwrap().bearing, None);
    }

    #[test]
    fn what_belongs_to_no_belt_or_can_not_be_is_refused() {
        refused("toothed belt", "belt_span_mm = -4", "must be from 20 to 5000");
        refused("toothed belt", "belt_mass_g_per_m = 8500", "must be from 0.5 to 500");
        refused("toothed belt", "belt_span_mm = \"420 mm\"", "a number without quotes");
        refused("sealed idler", "belt_span_mm = 420", "belongs to a toothed belt alone");
        refused("toothed belt", "idler = { mm_per_turn = 40 }", "belongs to a sealed idler alone");
        refused("sealed idler", "idler = { balls = 7 }", "mm_per_turn");
        refused("sealed idler", "idler = { mm_per_turn = 40, balls = 7 }", "ball_mm");
        let crowded = "idler = { mm_per_turn = 40, balls = 20, ball_mm = 2, pitch_mm = 6.5 }";
        refused("sealed idler", crowded, "do not fit on a circle");
    }
}
