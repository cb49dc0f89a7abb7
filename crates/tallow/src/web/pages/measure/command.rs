//! What a form asks to be measured, as the command line's own words.

use std::path::PathBuf;

use clap::ValueEnum;

use crate::cli::{
    Along, Calipers, Measure, MeasureBacklash, MeasureBelt, MeasureFeed, MeasureHeat, MeasureMarks, MeasurePair,
    MeasureShake, MeasureSquare, TimeUnit, Whose,
};
use crate::input::Sent;
use crate::trouble::Trouble;
use crate::web::form::Typed;

/// The measurement that a form asks for.
///
/// # Errors
/// What must be there and is not, and what is no number.
pub(super) fn of(what: &str, typed: &Typed, files: &[Sent]) -> Result<Measure, Trouble> {
    let file = |place: usize| files.get(place).map(|file| PathBuf::from(&file.name));
    let first =
        |what: &str| file(0).ok_or_else(|| Trouble::refused(format!("no {what} came along")).help("choose the file"));
    Ok(match what {
        "belt" => Measure::Belt(MeasureBelt {
            file: first("recording")?,
            against: file(1),
            span: typed.some("span").map(in_mm),
            mass: typed.some("mass").map(|mass| with_unit(mass, "g/m")),
            whose: whose(typed),
            svg: None,
        }),
        "marks" => Measure::Marks(marks(typed, file(0))?),
        "feed" => Measure::Feed(feed(typed)?),
        "backlash" => Measure::Backlash(MeasureBacklash {
            up: some_numbers(typed, "up", "Reached from below")?,
            down: some_numbers(typed, "down", "Reached from above")?,
            whose: whose(typed),
        }),
        "square" => Measure::Square(MeasureSquare {
            diagonals: some_numbers(typed, "diagonals", "Both diagonals")?,
            side: required(typed, "side", "The side")?,
            calipers: calipers(typed)?,
            whose: whose(typed),
        }),
        "pair" => Measure::Pair(MeasurePair {
            diagonals: some_numbers(typed, "diagonals", "Both diagonals")?,
            calipers: calipers(typed)?,
            whose: whose(typed),
        }),
        "shake" => Measure::Shake(MeasureShake {
            file: first("log")?,
            before: file(1),
            time_unit: TimeUnit::from_str(&typed.text("unit"), false).ok(),
            whose: whose(typed),
            svg: None,
        }),
        "heat" => Measure::Heat(MeasureHeat {
            file: first("log")?,
            before: file(1),
            fastest: required(typed, "fastest", "A jump is faster than")?,
            fall: required(typed, "fall", "Cut off is what falls by")?,
            whose: whose(typed),
            svg: None,
        }),
        other => {
            return Err(Trouble::refused(format!("no measurement is called \"{other}\"")).help("use one of this page"));
        }
    })
}

fn whose(typed: &Typed) -> Whose {
    let machine = typed.some("machine");
    let at = typed.some("at").filter(|_| machine.is_some());
    Whose { machine, at, keep: false, fault: None, when: "now".to_owned(), note: String::new() }
}

fn marks(typed: &Typed, photo: Option<PathBuf>) -> Result<MeasureMarks, Trouble> {
    let positions = numbers(typed, "positions", "Positions of the marks")?;
    if photo.is_none() && positions.is_empty() {
        return Err(Trouble::refused("neither a photo came along nor positions")
            .help("choose a photo, or type where the marks are"));
    }
    let is_photo = photo.is_some() && positions.is_empty();
    let whose = whose(typed);
    let along = Along::from_str(&typed.text("along"), false).ok().filter(|_| whose.machine.is_some());
    Ok(MeasureMarks {
        photo: photo.filter(|_| is_photo),
        positions,
        from: numbers(typed, "from", "Where the line begins")?,
        to: numbers(typed, "to", "Where the line ends")?,
        mm_per_pixel: typed.number("mm_per_pixel", "Scale")?,
        apart: None,
        line: typed.some("line").filter(|_| along.is_some()),
        along,
        whose,
        svg: None,
    })
}

/// One trial in a line: asked for, used, and perhaps the flow.
fn feed(typed: &Typed) -> Result<MeasureFeed, Trouble> {
    let (mut asked, mut used, mut flow) = (Vec::new(), Vec::new(), Vec::new());
    let text = typed.text("trials");
    for line in text.lines().filter(|line| !line.trim().is_empty()) {
        match numbers_in(line, "Trials")?[..] {
            [of, got] => {
                asked.push(of);
                used.push(got);
            }
            [of, got, at] => {
                asked.push(of);
                used.push(got);
                flow.push(at);
            }
            _ => {
                return Err(Trouble::refused(format!("\"{line}\" is no trial"))
                    .help("write asked for, used and perhaps the flow: 100 98.5 8"));
            }
        }
    }
    let mm = |lengths: Vec<f64>| lengths.into_iter().map(|length| format!("{length} mm")).collect::<Vec<_>>();
    if asked.is_empty() {
        return Err(Trouble::refused("no trial was typed").help("write asked for and used in a line: 100 96.5"));
    }
    Ok(MeasureFeed {
        asked: mm(asked),
        used: mm(used),
        weighed: Vec::new(),
        material: None,
        density: None,
        diameter: None,
        flow,
        steps: typed.number("steps", "Steps")?,
        whose: whose(typed),
    })
}

fn calipers(typed: &Typed) -> Result<Calipers, Trouble> {
    Ok(Calipers { uncertainty: required(typed, "uncertainty", "How far each length may be off")? })
}

fn required(typed: &Typed, name: &str, label: &str) -> Result<f64, Trouble> {
    typed.number(name, label)?.ok_or_else(|| Trouble::refused(format!("{label} is left empty")).help("fill it in"))
}

fn some_numbers(typed: &Typed, name: &str, label: &str) -> Result<Vec<f64>, Trouble> {
    let numbers = numbers(typed, name, label)?;
    if numbers.is_empty() {
        return Err(Trouble::refused(format!("{label} is left empty")).help("fill it in"));
    }
    Ok(numbers)
}

fn numbers(typed: &Typed, name: &str, label: &str) -> Result<Vec<f64>, Trouble> {
    numbers_in(&typed.text(name), label)
}

/// Numbers between blanks, commas or semicolons.
fn numbers_in(text: &str, label: &str) -> Result<Vec<f64>, Trouble> {
    let words = text
        .split(|letter: char| letter.is_whitespace() || matches!(letter, ',' | ';'))
        .filter(|word| !word.is_empty());
    let number = |word: &str| {
        let read = word.parse().ok().filter(|number: &f64| number.is_finite());
        read.ok_or_else(|| {
            Trouble::refused(format!("{label}: \"{word}\" is no number"))
                .help("write numbers with a point, and blanks between them: 10.00 10.01 9.99")
        })
    };
    words.map(number).collect()
}

fn in_mm(text: String) -> String {
    with_unit(text, "mm")
}

/// An amount with the unit that its label names, where none was typed.
fn with_unit(text: String, unit: &str) -> String {
    if text.ends_with(|letter: char| letter.is_ascii_digit()) { format!("{text} {unit}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stand_between_blanks_commas_or_semicolons_and_nothing_else_is_one() {
        assert_eq!(numbers_in(" 10.0, 10.1;9.9\n-3 ", "x").unwrap(), [10.0, 10.1, 9.9, -3.0]);
        assert_eq!(numbers_in("", "x").unwrap(), Vec::<f64>::new());
        for text in ["1 2 x", "NaN", "inf", "1e999"] {
            assert!(numbers_in(text, "x").is_err(), "{text}");
        }
    }

    #[test]
    fn what_was_typed_without_a_unit_has_that_of_its_label() {
        assert_eq!(in_mm("420".to_owned()), "420 mm");
        assert_eq!(in_mm("420 ± 1".to_owned()), "420 ± 1 mm");
        assert_eq!(in_mm("42 cm".to_owned()), "42 cm");
    }
}
