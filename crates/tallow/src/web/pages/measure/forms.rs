//! The forms, one for each measurement, with the caution that stands before it.

use maud::{Markup, html};
use upkeep::build::SignalWord;

use super::super::super::assets;
use super::super::super::form::{Field, Refusal, choice};
use super::super::super::frame;
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::sending::Sending;
use crate::cli;
use crate::commands::steps::ABOVE;

/// Each form's own part.
struct Form<'a> {
    name: &'static str,
    machine: &'a str,
    machines: &'a [(String, String)],
    refusal: &'a Refusal,
}

/// All forms, each folded up until it is wanted or was refused.
pub(super) fn all(glance: &Glance, machine: &str, refusal: &Refusal, may: &May) -> Markup {
    let none = (String::new(), "none of the shop".to_owned());
    let names = glance.machines.iter().map(|of| (of.name.clone(), of.name.clone()));
    let machines: Vec<(String, String)> = [none].into_iter().chain(names).collect();
    let form = |name| Form { name, machine, machines: &machines, refusal };
    html! {
        p.small { (ABOVE) }
        (form("belt").show(may, "The tension of a belt, by its tone", Some((SignalWord::Warning, cli::AT_BELTS)), belt))
        (form("marks").show(may, "Marks that come back on a print", None, marks))
        (form("feed").show(may, "Filament asked for and used", Some((SignalWord::Warning, cli::AT_NOZZLE)), feed))
        (form("backlash").show(may, "The backlash of an axis", Some((SignalWord::Caution, cli::AT_GAUGE)), backlash))
        (form("square").show(may, "How far two axes are from square", None, square))
        (form("pair").show(may, "How differently the two belts of a CoreXY machine carry", None, pair))
        (form("shake").show(may, "Resonances, by a log of accelerations", Some((SignalWord::Caution, cli::AT_SHAKING)), shake))
        (form("heat").show(may, "A heater, by a log of its temperature", Some((SignalWord::Warning, cli::AT_HEATER)), heat))
    }
}

impl Form<'_> {
    fn show(
        &self,
        may: &May,
        title: &str,
        caution: Option<(SignalWord, &str)>,
        fields: fn(&Form<'_>) -> Markup,
    ) -> Markup {
        let to = format!("/measure/{}", self.name);
        let is_open = self.refusal.is_of(self.name);
        Sending { brings_files: true, ..Sending::to(&to) }.folded(
            may,
            title,
            is_open,
            html! {
                @if let Some((word, text)) = caution { (frame::caution(word, text)) }
                (fields(self))
                (choice(self.refusal, self.name, "machine", "Machine", self.machine, self.machines))
                (self.field("at", "Part", "its position; empty where the machine has one alone that fits"))
                (self.refusal.shown(self.name))
                p { button { "Measure it" } }
            },
        )
    }

    fn field(&self, name: &str, label: &str, hint: &str) -> Markup {
        Field { hint, ..Field::text(self.name, name, label) }.show(self.refusal)
    }

    fn number(&self, name: &str, label: &str, hint: &str, value: &str) -> Markup {
        Field { hint, value, kind: "number", ..Field::text(self.name, name, label) }.show(self.refusal)
    }

    fn file(&self, name: &str, label: &str, accept: &str, hint: &str) -> Markup {
        let id = format!("{}-{name}", self.name);
        html! {
            p.field {
                label for=(id) { (label) }
                input id=(id) name=(name) type="file" accept=(accept) aria-describedby=(format!("{id}-hint"));
                span.hint id=(format!("{id}-hint")) { (hint) }
            }
        }
    }
}

const SOUND: &str = "audio/wav,audio/x-wav,.wav";
const TABLE: &str = "text/csv,.csv,.txt";

fn belt(form: &Form<'_>) -> Markup {
    let ear = |into: &str, name: &str, press: &str| {
        html! {
            div hidden data-ear=(assets::EAR.address()) data-into=(into) data-name=(name) {
                p { button.quiet type="button" { (press) } " " span role="status" {} }
            }
        }
    };
    html! {
        p { "Put the carriage where the span is as long as it gets. Hold the phone within a hand\u{2019}s breadth, wait half a second, pluck the middle of the span once, and wait." }
        (form.file("recording", "Recording of the pluck", SOUND, "WAV"))
        (ear("belt-recording", "pluck", "Record it with this device"))
        (form.file("against", "Recording of the other belt", SOUND, "WAV; to compare them, else none"))
        (ear("belt-against", "pluck of the other", "Record the other with this device"))
        (form.field("span", "Free length of the span, mm", "perhaps with its uncertainty: 420 ± 1; empty where the build tells it"))
        (form.field("mass", "The belt\u{2019}s mass, g/m", "for example 8.5; empty where the build tells it"))
    }
}

fn marks(form: &Form<'_>) -> Markup {
    let axes = [("", "of no machine"), ("x", "from left to right"), ("y", "from front to back"), ("z", "upwards")];
    let axes = axes.map(|(value, words)| (value.to_owned(), words.to_owned()));
    html! {
        p { "Either a photo, taken squarely and lit from the side, with its scale and the two ends of a line across the marks; or where four marks or more are." }
        (form.file("photo", "Photo", "image/png,image/jpeg", "PNG or JPEG"))
        div hidden data-points="" {
            p.field { label for="marks-length" { "A length that can be seen in it, mm" } input #marks-length inputmode="decimal"; }
            p role="status" {}
            div.taps { img alt="The photo that was chosen"; svg aria-hidden="true" focusable="false" {} }
        }
        (form.number("mm_per_pixel", "Scale, mm for each pixel", "", ""))
        (form.field("from", "The line begins at", "pixels from the upper left corner: 120, 400"))
        (form.field("to", "The line ends at", "for example 1850, 400"))
        (form.field("positions", "In place of a photo, where the marks are, mm", "for example 0.1 2.1 4.05 6.1 8.1"))
        (choice(form.refusal, form.name, "along", "They follow each other", "", &axes))
        (form.field("line", "Width and height of the printed lines", "to tell turns of the drive gear: 0.45 x 0.2 mm"))
    }
}

fn feed(form: &Form<'_>) -> Markup {
    let id = "feed-trials";
    html! {
        p { "Mark the filament, feed a known length, and measure how much went in. At four flows or more it is told whether the loss grows." }
        p.field {
            label for=(id) { "Trials" }
            textarea id=(id) name="trials" rows="4" aria-describedby="feed-trials-hint" { (form.refusal.value("feed", "trials", "")) }
            span.hint #feed-trials-hint { "one in a line: mm asked for, mm used, and perhaps the flow in mm³/s, for example 100 98.5 8" }
        }
        (form.number("steps", "Steps for each mm that are set", "to hear the right ones, else empty", ""))
    }
}

fn backlash(form: &Form<'_>) -> Markup {
    html! {
        p { "Drive to the same position from below and from above in turn, and read the dial gauge each time." }
        (form.field("up", "Reached from below, mm", "for example 10.00 10.01 9.99"))
        (form.field("down", "Reached from above, mm", "for example 10.08 10.09 10.10"))
    }
}

fn diagonals(form: &Form<'_>) -> Markup {
    html! {
        (form.field("diagonals", "Both diagonals, mm", "from corner to corner: 141.2 141.6"))
        (form.number("uncertainty", "How far each length may be off, mm", "as a standard uncertainty", "0.05"))
    }
}

fn square(form: &Form<'_>) -> Markup {
    html! {
        p { "Print a square with one wall, let it cool on the plate, and measure it from corner to corner. The first diagonal begins at the corner whose angle is told." }
        (diagonals(form))
        (form.number("side", "The side, mm", "for example 100", ""))
    }
}

fn pair(form: &Form<'_>) -> Markup {
    html! {
        p { "A frame out of square looks the same: measure that first." }
        (diagonals(form))
    }
}

fn shake(form: &Form<'_>) -> Markup {
    let units = [
        ("", "as the table says"),
        ("s", "seconds"),
        ("ms", "thousandths of a second"),
        ("us", "millionths of a second"),
    ];
    let units = units.map(|(value, words)| (value.to_owned(), words.to_owned()));
    html! {
        (form.file("log", "Log", TABLE, "a table with the columns time, x, y and z at a steady rate"))
        (form.file("before", "An earlier log", TABLE, "to tell what has changed, else none"))
        (choice(form.refusal, form.name, "unit", "Its time is in", "", &units))
    }
}

fn heat(form: &Form<'_>) -> Markup {
    html! {
        (form.file("log", "Log", TABLE, "a table with the columns time (s), target (°C) and measured (°C)"))
        (form.file("before", "An earlier log", TABLE, "to tell what has changed, else none"))
        (form.number("fastest", "A jump is faster than, K/s", "judgement, no source", "20"))
        (form.number("fall", "Cut off is what falls by, K", "judgement, no source", "15"))
    }
}
