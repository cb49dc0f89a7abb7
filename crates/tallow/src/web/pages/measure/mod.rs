//! *Measure*: what a recording, a photo, a log or a few figures tell of a machine, and how to keep it as a reading.

mod command;
mod forms;

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Multipart, Query, State};
use maud::{Markup, html};

use super::super::act::here;
use super::super::app::App;
use super::super::asked::Path;
use super::super::assets;
use super::super::form::{Field, Refusal, Typed, choice};
use super::super::frame::{self, Around, Page, Place};
use super::super::glance::Glance;
use super::super::guard::May;
use super::super::hints::without_command;
use super::super::reply::{Answer, Reply, encoded};
use super::super::sending::{Sending, role_wanted};
use super::super::upload::{Received, received};
use super::machines;
use crate::commands::measure::report::{Figure, digits};
use crate::commands::measure::show::named;
use crate::commands::measure::{self, Told};
use crate::input::{MOST_OF_A_RECORDING, Sent};
use crate::trouble::Trouble;

/// The most octets of a request: two recordings, and what is typed.
pub(in crate::web) const LARGEST_BODY: usize = 2 * MOST_OF_A_RECORDING + 1024 * 1024;

/// Where measuring something on a machine begins.
pub(super) fn address(machine: &str) -> String {
    format!("/measure?machine={}", encoded(machine))
}

pub(in crate::web) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Answer {
    let glance = app.glance().await?;
    Ok(Reply::Page(page(&around, &glance, &Typed::new(asked), &Refusal::default(), None)))
}

/// Measures what was sent. Nothing is recorded.
pub(in crate::web) async fn send(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(what): Path<String>,
    form: Multipart,
) -> Answer {
    let (typed, told) = match received(form).await {
        Ok(Received { typed, files }) => {
            let told = told(&app, &what, &typed, files);
            (typed, told)
        }
        Err((typed, trouble)) => (typed, Err(trouble)),
    };
    let glance = app.glance().await?;
    Ok(match told {
        Ok(told) => Reply::Page(page(&around, &glance, &typed, &Refusal::default(), Some(&told))),
        Err(trouble) => {
            Reply::Refused(page(&around, &glance, &typed, &Refusal::new(&what, trouble, typed.clone()), None))
        }
    })
}

fn told(app: &App, what: &str, typed: &Typed, mut files: Vec<Sent>) -> Result<Told, Trouble> {
    // Two files of one name are told apart.
    if let [first, second] = &mut files[..]
        && first.name == second.name
    {
        second.name = format!("the other {}", second.name);
    }
    let measure = command::of(what, typed, &files)?;
    here(measure::told(&app.context().with_files(files), &measure))
}

fn page(around: &Around, glance: &Glance, asked: &Typed, refusal: &Refusal, told: Option<&Told>) -> Page {
    let may = &around.visitor.may;
    let body = html! {
        @if let Some(told) = told { (result(told, glance, may)) h2 { "Measure again, or something else" } }
        p { "Choose what to measure. Nothing is recorded before you keep it." }
        (role_wanted(may, "/measure/belt", "Measuring"))
        (forms::all(glance, &asked.text("machine"), refusal, may))
    };
    Page::new(around, Place::Machines, "/measure", "Measure", body).with_script(&assets::MEASURE)
}

/// What was found, what it means, and what to do next.
fn result(told: &Told, glance: &Glance, may: &May) -> Markup {
    let report = &told.report;
    let sentence = |text: &String| {
        let text = without_command(text);
        if text.ends_with('.') { text.to_owned() } else { format!("{text}.") }
    };
    let next: Vec<String> = report.next.iter().filter(|text| !text.starts_with("tallow ")).map(sentence).collect();
    html! {
        section.next aria-labelledby="result" {
            h2 #result { (report.title) }
            p { strong { (report.result.words()) } ", " (named(&report.result)) }
            @if !report.others.is_empty() {
                dl.facts { @for figure in &report.others { dt { (named(figure)) } dd { (figure.words()) } } }
            }
            @for text in &report.means { p { (sentence(text)) } }
            @if !next.is_empty() {
                h3 { "Do next" }
                @for (word, text) in &report.cautions { (frame::caution(*word, text)) }
                ul { @for text in &next { li { (text) } } }
            }
            (keeping(told, glance, may))
            (answering(told, glance, may))
        }
        @if let Some(chart) = &report.chart {
            figure { div.wide tabindex="0" role="region" aria-label=(chart.title) { (chart.on_page()) } figcaption { (chart.says) } }
        }
    }
}

/// The form that takes the result as an answer in a fault of the machine, where one is open.
fn answering(told: &Told, glance: &Glance, may: &May) -> Markup {
    let Told { report, place } = told;
    let machine = place.as_ref().map(|place| place.machine.as_str());
    let open =
        glance.open_faults().filter(|case| Some(case.machine.as_str()) == machine && !report.measured.is_empty());
    html! {
        @for case in open {
            (Sending::to(&format!("/faults/{}/measured", case.id)).show(may, html! {
                @for found in &report.measured {
                    input type="hidden" name="what" value=(found.what.name());
                    input type="hidden" name="at" value=(found.at.as_deref().unwrap_or_default());
                    input type="hidden" name="value" value=(found.value);
                    input type="hidden" name="uncertainty" value=(found.uncertainty);
                }
                input type="hidden" name="note" value=(format!("{}: {}", report.result.what, report.result.words()));
                p { button.big { "Take it as an answer: " (case.symptoms.join("; ")) } }
            }))
        }
    }
}

/// The form that keeps the result as a reading of the machine, by the same command as a reading that is typed.
fn keeping(told: &Told, glance: &Glance, may: &May) -> Markup {
    let Some(place) = &told.place else {
        return html! { p.hint { "To keep it as a reading, choose the machine and measure again." } };
    };
    let Some(machine) = glance.machine(&place.machine) else { return html! {} };
    let Figure { what, value, uncertainty, unit, .. } = &told.report.result;
    let (size, doubt) = digits(value.abs(), *uncertainty);
    let sign = (*value < 0.0).then(|| format!("measured as {}", told.report.result.words()));
    let note: Vec<String> =
        doubt.map(|doubt| format!("± {doubt} {unit}").trim_end().to_owned()).into_iter().chain(sign).collect();
    let none = Refusal::default();
    let choose = (String::new(), "choose".to_owned());
    let positions = machine.build.positions.iter().map(|position| (position.name.clone(), position.name.clone()));
    let positions: Vec<(String, String)> = [choose].into_iter().chain(positions).collect();
    Sending::to(&machines::address(&place.machine)).show(
        may,
        html! {
            input type="hidden" name="form" value="reading";
            // The name is the measurement's own, however near it is to that of another reading there.
            input type="hidden" name="new" value="yes";
            input type="hidden" name="what" value=(what);
            input type="hidden" name="value" value=(format!("{size} {unit}").trim_end());
            input type="hidden" name="when" value="now";
            @match &place.at {
                Some(at) => { input type="hidden" name="position" value=(at); },
                None => (choice(&none, "keep", "position", "At which part", "", &positions)),
            }
            (Field { value: &note.join("; "), ..Field::text("keep", "note", "Note") }.show(&none))
            p { button.big { "Keep as a reading" } }
        },
    )
}
