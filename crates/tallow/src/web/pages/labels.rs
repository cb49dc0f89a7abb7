//! *Labels*: a code for each machine, to be printed, cut out and stuck on it; it opens the machine's page.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::HeaderMap;
use maud::{Markup, html};
use qrcode::{Color, EcLevel, QrCode};

use super::super::app::App;
use super::super::asked::Paged;
use super::super::form::{Field, Refusal, choice};
use super::super::frame::{Around, Page, Place};
use super::super::reply::{Answer, Reply};
use super::machines::{address, filtered, pages};

/// Light modules that must surround a code (ISO/IEC 18004).
const QUIET: usize = 4;

/// Labels on a page of this server; a printer's sheets hold fewer.
const MOST: usize = 100;

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
    Paged(asked, page): Paged,
) -> Answer {
    let glance = app.glance().await?;
    let machines = filtered(&glance.machines, &asked.text("q"));
    let (shown, turn) = pages(&machines, &asked, page, MOST, "/labels");
    let size = if asked.text("size") == "40" { "40" } else { "30" };
    let paper = if asked.text("paper") == "letter" { "letter" } else { "a4" };
    let site = app.door.site(&headers);
    let body = html! {
        form.no-print method="get" action="/labels" {
            div.row {
                (Field { value: &asked.text("q"), ..Field::text("labels", "q", "Machines whose name holds") }.show(&Refusal::default()))
                (choice(&Refusal::default(), "labels", "size", "Size of the code", size, &[("30".into(), "30 mm".into()), ("40".into(), "40 mm".into())]))
                (choice(&Refusal::default(), "labels", "paper", "Paper", paper, &[("a4".into(), "A4".into()), ("letter".into(), "Letter".into())]))
                button.quiet { "Show" }
            }
            p { "Print this page, cut the labels out, and stick each on its machine. A phone's camera opens the machine's page at " strong { (site) } "." }
        }
        @if shown.is_empty() { p { "No machine has such a name." } }
        div class=(format!("labels mm{size} {paper}")) {
            @for machine in shown { (label(&machine.name, &format!("{site}{}", address(&machine.name)))) }
        }
        (turn)
    };
    Ok(Reply::Page(Page::new(&around, Place::Machines, "/labels", "Labels", body)))
}

fn label(name: &str, to: &str) -> Markup {
    html! {
        div.label {
            @match code(to) {
                Some(code) => (code),
                None => p { (to) },
            }
            p { (name) }
        }
    }
}

/// The code of a text; `None` for one that is too long for any.
fn code(text: &str) -> Option<Markup> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M).ok()?;
    let (side, path) = (code.width() + 2 * QUIET, dark(&code.to_colors(), code.width()));
    Some(html! {
        svg.code viewBox=(format!("0 0 {side} {side}")) role="img" aria-label=(format!("Code that opens {text}")) shape-rendering="crispEdges" {
            rect.light width=(side) height=(side) {}
            path.dark d=(path) {}
        }
    })
}

/// The dark modules, those that touch in a row as one stroke.
fn dark(modules: &[Color], width: usize) -> String {
    let mut path = String::new();
    for (y, row) in modules.chunks(width).enumerate() {
        let mut x = 0;
        for run in row.chunk_by(|one, other| one == other) {
            if run[0] == Color::Dark {
                path.push_str(&format!("M{} {}h{}v1h-{}z", x + QUIET, y + QUIET, run.len(), run.len()));
            }
            x += run.len();
        }
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dark_modules_are_drawn_where_they_are_and_with_a_quiet_zone_around_them() {
        use Color::{Dark, Light};
        let modules = [Dark, Dark, Light, Light, Light, Light, Light, Dark, Light];
        assert_eq!(dark(&modules, 3), "M4 4h2v1h-2zM5 6h1v1h-1z");
    }

    #[test]
    fn an_address_becomes_a_code_and_what_no_code_holds_is_shown_as_it_is() {
        // ISO/IEC 18004: 49 bytes at level M need version 4, 33 modules; with the quiet zone 41.
        let text = "http://127.0.0.1:4630/machines/clove%20hitch-1234";
        assert_eq!(text.len(), 49);
        assert!(code(text).unwrap().into_string().contains("viewBox=\"0 0 41 41\""));
        assert!(label("long", &"x".repeat(5000)).into_string().contains("xxxx"));
    }
}
