//! Sheets as pages for paper: one text that needs nothing else, no script and no colour.

use maud::{DOCTYPE, Markup, PreEscaped, html};
use qrcode::render::svg;
use qrcode::{EcLevel, QrCode};
use upkeep::build::Caution;

use super::carry::Carry;
use super::laid_out::{Block, LaidOut, head_words, laid_out};
use super::page::{FOOT_MM, HEAD_MM, MARGIN_MM, Paper};
use super::time_words;
use super::{ABOVE, Blank, Change, MOST_CODE_OCTETS, SheetError, TaskStage, VisitSheet, capital, check_all, day_words};

const STYLE: &str = include_str!("sheet.css");

/// The sheets of some visits, each from a page of its own on.
///
/// # Errors
/// What [`VisitSheet::check`] refuses, and no visit at all.
pub(crate) fn html(sheets: &[VisitSheet], paper: Paper) -> Result<String, SheetError> {
    check_all(sheets)?;
    let bodies = sheets.iter().map(|sheet| visit(sheet, paper)).collect::<Result<Vec<Markup>, SheetError>>()?;
    Ok(document("Visits", paper, &html! { @for body in &bodies { (body) } }))
}

/// A whole text around what is printed.
pub(super) fn document(title: &str, paper: Paper, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                title { (title) }
                style { (PreEscaped(style(paper))) }
            }
            body { (body) }
        }
    }
    .into_string()
}

/// The style of what is printed on a paper, as it stands in each page: a server must name it to a browser.
pub(crate) fn style(paper: Paper) -> String {
    format!(
        "@page {{ size: {}; margin: {MARGIN_MM}mm; }}\n\
         :root {{ --inner: {}mm; --head: {HEAD_MM}mm; --foot: {FOOT_MM}mm; }}\n{STYLE}",
        paper.css(),
        paper.inner_mm()
    )
}

fn visit(sheet: &VisitSheet, paper: Paper) -> Result<Markup, SheetError> {
    let code = sheet.code.as_deref().map(|text| square_code(text, &sheet.machine)).transpose()?;
    let LaidOut { setting, pages } = laid_out(sheet, paper);
    let n_pages = pages.len();
    Ok(html! {
        @for (index, page) in pages.iter().enumerate() {
            @let number = format!("{}/{n_pages}", index + 1);
            section class={ "page at-" (setting.size_pt) } {
                (head(sheet, &number))
                main {
                    @for block in &page.top { (self::block(block)) }
                    div class={ "columns of-" (setting.n_columns) } {
                        @for column in &page.columns { div { @for block in column { (self::block(block)) } } }
                    }
                }
                (foot(sheet, &number, code.as_deref()))
            }
        }
    })
}

fn head(sheet: &VisitSheet, page: &str) -> Markup {
    html! {
        header {
            h1 { (sheet.machine) }
            p.day { (day_words(sheet.day)) " · " (page) }
            p { (sheet.keeper) " · " (time_words(sheet)) }
        }
    }
}

fn block(block: &Block<'_>) -> Markup {
    match block {
        Block::NotToBeRun(why) => html! { p.stop { b { "DO NOT RUN THIS MACHINE" } " " (why) } },
        Block::LayOut(carry) => lay_out(carry),
        Block::Change(change) => self::change(change),
        Block::Head { number, stage, goes_on } => task_head(*number, stage, *goes_on),
        Block::Step { number, text, cautions } => html! {
            div.step {
                @for caution in cautions { (self::caution(caution)) }
                p { (tick()) span.number { (number) } span.text { (text) } }
            }
        },
        Block::Readings(readings) => self::readings(readings),
        Block::SignOff => sign_off(),
    }
}

/// A box to tick.
fn tick() -> Markup {
    html! { span.tick {} }
}

fn lay_out(carry: &Carry) -> Markup {
    html! {
        dl.layout {
            @for (heading, items) in carry.lists() {
                dt { (heading) }
                dd { (items.join("; ")) }
            }
        }
    }
}

fn change(change: &Change) -> Markup {
    html! {
        p.change {
            (tick())
            span.text { (change.what.words()) }
            @let minutes = change.minutes_words();
            @if !minutes.is_empty() { span.minutes { (minutes) } }
        }
    }
}

fn task_head(number: usize, stage: &TaskStage, goes_on: bool) -> Markup {
    html! {
        div.task {
            h2 { (number) " " (capital(&stage.task.name)) @if goes_on { ", from before" } }
            @if !goes_on {
                span.done { (tick()) "done " (tick()) "skipped" }
                p.rest { (head_words(stage)) }
            }
        }
    }
}

fn caution(caution: &Caution) -> Markup {
    html! {
        div class={ "caution " (caution.word.name()) } {
            b { (caution.word.name().to_uppercase()) }
            span { (caution.text) }
        }
    }
}

fn readings(readings: &[Blank]) -> Markup {
    html! {
        ul.readings {
            @for blank in readings {
                li {
                    (capital(&blank.what())) ": " span.blank {} " " (blank.unit) " " (blank.hint())
                }
            }
        }
    }
}

fn sign_off() -> Markup {
    html! {
        div.signoff {
            p { "Skipped, number and reason: " span.blank {} }
            p { "Found, to be seen to: " span.blank {} }
            p { "Begun at " span.blank {} " ended at " span.blank {} }
            p { "Signed " span.blank {} }
        }
    }
}

fn foot(sheet: &VisitSheet, page: &str, code: Option<&str>) -> Markup {
    let number = sheet.number.map_or_else(|| "not yet told".to_owned(), |number| number.to_string());
    let cells = [
        ("machine", sheet.machine.as_str()),
        ("day", &day_words(sheet.day)),
        ("sheet", page),
        ("build", &sheet.build),
        ("shop", &sheet.shop),
        ("visit", &number),
    ];
    html! {
        footer {
            @if let Some(code) = code { div.code { (PreEscaped(code)) } }
            p.above { (ABOVE) }
            dl.title { @for (label, value) in cells { div class=(label) { dt { (label) } dd { (value) } } } }
        }
    }
}

/// A square code (ISO/IEC 18004) as a drawing.
fn square_code(text: &str, machine: &str) -> Result<String, SheetError> {
    let code = QrCode::with_error_correction_level(text, EcLevel::M);
    let refused = |_| SheetError::Code { machine: machine.to_owned(), octets: text.len(), most: MOST_CODE_OCTETS };
    let drawing = code.map_err(refused)?.render::<svg::Color<'_>>().build();
    // What stands before the drawing declares a file, which this is not.
    Ok(drawing.find("<svg").map_or_else(String::new, |start| drawing[start..].to_owned()))
}
