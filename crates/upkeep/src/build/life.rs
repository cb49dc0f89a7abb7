//! The keys `life` and `rating` of a position: how long its part is believed to last before a shop has records.

use life::bearing::{self, Basis, Rolling};
use motion::{AddsUp, Quantity};

use super::expected::quantity;
use super::raw::{Section, Value};
use crate::amount;

/// How long a part is believed to last.
#[derive(Clone, Debug, PartialEq)]
pub struct BelievedLife {
    /// By what it wears.
    pub of: Quantity,
    /// The age by which one part in ten has failed, in the quantity's unit.
    pub tenth: f64,
    /// Where that comes from.
    pub source: String,
}

/// Reads the two keys, of which a position may have one.
pub(super) fn read(position: &Section<'_>) -> Option<BelievedLife> {
    match (position.get("life"), position.get("rating")) {
        (Some(_), Some(rating)) => {
            rating.refuse("a position has either a life or a rating", "take one of the two out");
            None
        }
        (Some(life), None) => stated(&life.section("a life", &["tenth", "of", "source"])?),
        (None, Some(value)) => {
            rated(&value.section("a rating", &["rolls", "dynamic_N", "load_N", "of", "basis_km", "mm_per_turn"])?)
        }
        (None, None) => None,
    }
}

fn stated(section: &Section<'_>) -> Option<BelievedLife> {
    let of = section.need("of").and_then(|value| metered(&value));
    let tenth = section.need("tenth");
    let source = section.need("source").and_then(|value| value.prose());
    let (of, value) = (of?, tenth?);
    match amount::parse(value.text()?, of) {
        Ok(tenth) if 0.0 < tenth => Some(BelievedLife { of, tenth, source: source? }),
        Ok(_) => {
            value.refuse("a life of nothing", "write more than 0");
            None
        }
        Err(error) => {
            value.report.add_amount(&value.span, &error);
            None
        }
    }
}

/// The basic rating life (ISO 281; ISO 14728-1 for linear bearings), as travel along `of`.
fn rated(section: &Section<'_>) -> Option<BelievedLife> {
    let rolls = [("balls", Rolling::Balls), ("rollers", Rolling::Rollers)];
    let rolling = section.need("rolls").and_then(|value| value.choice(rolls));
    let dynamic = section.need("dynamic_N").and_then(|value| value.positive());
    let load = section.need("load_N").and_then(|value| value.positive());
    let of = section.need("of").and_then(|value| length(&value));
    let (rolling, dynamic, load, of) = (rolling?, dynamic?, load?, of?);
    let (life_m, standard) = match (section.get("basis_km"), section.get("mm_per_turn")) {
        (Some(basis), None) => {
            let basis = basis_km(&basis)?;
            (bearing::linear_rating_life_km(rolling, dynamic, basis, load).ok()? * 1e3, "ISO 14728-1")
        }
        (None, Some(turn)) => {
            let turns = bearing::rating_life_million_revolutions(rolling, dynamic, load).ok()? * 1e6;
            (turns * turn.positive()? / 1e3, "ISO 281")
        }
        _ => {
            section.report.add(
                &section.span,
                "a rating needs either \"basis_km\" or \"mm_per_turn\"",
                "basis_km = 50 or 100 for a linear bearing, as its maker rates it; mm_per_turn for one that turns",
            );
            return None;
        }
    };
    Some(BelievedLife { of, tenth: life_m, source: format!("basic rating life, {standard}") })
}

fn basis_km(value: &Value<'_>) -> Option<Basis> {
    match value.whole(50, 100)? {
        50 => Some(Basis::Km50),
        100 => Some(Basis::Km100),
        other => {
            value.refuse(format!("a rating for {other} km"), "makers of linear bearings rate for 50 or for 100 km");
            None
        }
    }
}

fn metered(value: &Value<'_>) -> Option<Quantity> {
    let of = quantity(value.text()?, &value.span, value)?;
    if of.adds_up() == AddsUp::Largest {
        value.refuse(format!("\"{of}\" never adds up"), "choose another quantity");
        return None;
    }
    Some(of)
}

fn length(value: &Value<'_>) -> Option<Quantity> {
    let of = metered(value)?;
    if of.unit() != motion::Unit::Metre {
        value.refuse(format!("\"{of}\" is no length"), "a bearing's rating goes by travel, for example \"travel x\"");
        return None;
    }
    Some(of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Build;

    fn build_with(line: &str) -> Result<Build, crate::BuildErrors> {
        let text = super::super::shipped()[0].1.replacen("along = \"x\"\n", &format!("along = \"x\"\n{line}\n"), 1);
        assert!(text.contains(line), "the shipped build has a position along x");
        Build::parse("test.toml", &text)
    }

    fn believed(line: &str) -> BelievedLife {
        let build = build_with(line).expect("a good build");
        build.positions.into_iter().find_map(|position| position.life).expect("one position with a life")
    }

    #[test]
    fn a_stated_life_keeps_its_quantity_and_source() {
        let life = believed("life = { tenth = \"300 km\", of = \"travel x\", source = \"a test\" }");
        assert_eq!(life, BelievedLife { of: Quantity::TravelX, tenth: 3e5, source: "a test".to_owned() });
    }

    #[test]
    fn a_linear_ball_bearing_lasts_fifty_kilometres_times_the_cube_of_rating_over_load() {
        // By hand: (400/40)³ · 50 km = 50,000 km.
        let life =
            believed("rating = { rolls = \"balls\", dynamic_N = 400, load_N = 40, of = \"travel x\", basis_km = 50 }");
        assert!((life.tenth - 5e7).abs() < 1.0, "{life:?}");
    }

    #[test]
    fn a_turning_bearing_lasts_a_million_turns_times_the_cube_of_rating_over_load() {
        // By hand: (1000/100)³ · 10⁶ turns of 40 mm = 40,000 km.
        let life = believed(
            "rating = { rolls = \"balls\", dynamic_N = 1000, load_N = 100, of = \"travel x\", mm_per_turn = 40 }",
        );
        assert!((life.tenth - 4e7).abs() < 1.0, "{life:?}");
    }

    #[test]
    fn what_makes_no_sense_is_refused_with_the_reason() {
        let cases = [
            ("life = { tenth = \"0 km\", of = \"travel x\", source = \"s\" }", "a life of nothing"),
            ("life = { tenth = \"3 h\", of = \"travel x\", source = \"s\" }", "\"h\""),
            ("rating = { rolls = \"balls\", dynamic_N = 1, load_N = 1, of = \"time\", basis_km = 50 }", "is no length"),
            ("rating = { rolls = \"balls\", dynamic_N = 1, load_N = 1, of = \"travel x\", basis_km = 60 }", "60 km"),
            ("rating = { rolls = \"balls\", dynamic_N = 1, load_N = 1, of = \"travel x\" }", "either \"basis_km\""),
        ];
        for (line, wanted) in cases {
            let errors = build_with(line).expect_err(line).to_string();
            assert!(errors.contains(wanted), "{line}: {errors}");
        }
    }
}
