//! *Machine*: one of them, with each of its tasks.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, State};
use maud::html;

use super::super::app::App;
use super::super::frame::{self, Around, Page, Place};
use super::super::reply::{Answer, Reply};
use super::machines::likely_due;

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
) -> Answer {
    let glance = app.glance().await?;
    let Some(machine) = glance.machine(&name) else {
        return super::missing(&around, &format!("no machine is called \"{name}\""));
    };
    let today = glance.now.date();
    let mut dues: Vec<_> = machine.dues.iter().collect();
    dues.sort_by(|one, other| other.share().total_cmp(&one.share()));
    let body = html! {
        (frame::hatches())
        p { (machine.build.name) }
        table.stacks {
            thead { tr { th { "Care" } th { "Used" } th { "Likely due" } th { "At" } } }
            tbody {
                @for due in dues {
                    tr {
                        th scope="row" { (due.name) }
                        td data-name="Used" { (frame::used(due.share())) }
                        td data-name="Likely due" { (likely_due(&due.when, today)) }
                        td data-name="At" { (machine.task(due).at) }
                    }
                }
            }
        }
    };
    Ok(Reply::Page(Page::new(&around, Place::Machines, "", machine.name.clone(), body)))
}
