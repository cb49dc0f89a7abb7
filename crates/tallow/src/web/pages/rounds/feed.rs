//! A keeper's visits as a calendar that a calendar program reads by a private link, without signing in.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::IntoResponse;
use maud::{Markup, html};

use super::super::super::app::App;
use super::super::super::asked::{Form, Path};
use super::super::super::form::Typed;
use super::super::super::frame::Around;
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Failed, Reply};
use super::super::super::sending::Sending;
use super::Pairs;
use crate::calendar::Calendar;
use crate::commands::calendar::events;
use crate::{input, secret};

/// The calendar behind a secret; whoever knows it may read. A wrong one is an address at which there is nothing.
pub(in super::super::super) async fn calendar(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(file): Path<String>,
    headers: HeaderMap,
) -> Answer {
    let secret = file.strip_suffix(".ics").unwrap_or_default();
    let Some(keeper) = app.ledger.keeper_of_feed(secret).await? else {
        return super::super::missing(&around, "no page has that address");
    };
    let now = app.now();
    let events = events(&app.ledger, now.date(), Some(&keeper)).await?;
    let name = format!("{}: {keeper}", app.ledger.shop().name);
    // The stamp says when the file was written, and is no change of what stands in it.
    let unstamped = Calendar { name: name.clone(), now: jiff::Timestamp::UNIX_EPOCH, events: events.clone() };
    let tag = format!("\"{}\"", &input::sha256(unstamped.text().as_bytes())[..32]);
    let is_known = headers
        .get(header::IF_NONE_MATCH)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|tags| tags.split(',').any(|one| one.trim().trim_start_matches("W/") == tag));
    // Each time it is asked whether the tag still holds.
    let kept = [(header::ETAG, tag), (header::CACHE_CONTROL, "private, no-cache".to_owned())];
    let response = match is_known {
        true => (StatusCode::NOT_MODIFIED, kept).into_response(),
        false => {
            let text = Calendar { name, now: now.timestamp(), events }.text();
            (kept, [(header::CONTENT_TYPE, "text/calendar; charset=utf-8")], text).into_response()
        }
    };
    Ok(Reply::Other(Box::new(response)))
}

/// The links of all keepers.
pub(super) async fn section(app: &App, glance: &Glance, site: &str, may: &May) -> Result<Markup, Failed> {
    let feeds = app.ledger.feeds().await?;
    let secret_of = |keeper: &str| feeds.iter().find(|(of, _)| of.to_lowercase() == keeper.to_lowercase());
    Ok(html! {
        section aria-labelledby="calendars" {
            h2 #calendars { "Calendars" }
            p {
                "A calendar program reads a keeper's visits by a private link. Whoever has the link can read them without "
                "signing in; a new link makes the old one worthless."
            }
            @for one in &glance.keepers {
                @let name = &one.keeper.name;
                h3 { (name) }
                @if let Some((_, secret)) = secret_of(name) {
                    p { a.long href={ "/calendar/" (secret) ".ics" } { (site) "/calendar/" (secret) ".ics" } }
                }
                div.row {
                    (Sending::to("/rounds/keepers/calendar").show(may, html! {
                        input type="hidden" name="name" value=(name);
                        button.quiet { @if secret_of(name).is_some() { "Make a new link for " (name) } @else { "Make a link for " (name) } }
                    }))
                    @if secret_of(name).is_some() {
                        (Sending::to("/rounds/keepers/calendar/revoke").show(may, html! {
                            input type="hidden" name="name" value=(name);
                            button.quiet { "Take the link of " (name) " back" }
                        }))
                    }
                }
            }
        }
    })
}

/// A new link for a keeper, in place of the old one.
pub(in super::super::super) async fn renew(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let name = Typed::new(pairs).text("name");
    let keepers = app.ledger.keepers().await?;
    let keeper = match crate::commands::keeper::named(&keepers, &name) {
        Ok(keeper) => keeper,
        Err(trouble) => return super::super::missing(&around, trouble.what()),
    };
    app.ledger.set_feed(&keeper.keeper.name, &secret::token()?, app.now().timestamp()).await?;
    let said = format!("There is a new link for {}. Whoever has it can read their visits.", keeper.keeper.name);
    Ok(Reply::Done { to: "/rounds/keepers#calendars".to_owned(), said })
}

/// No link for a keeper any more.
pub(in super::super::super) async fn revoke(State(app): State<Arc<App>>, Form(pairs): Form<Pairs>) -> Answer {
    let name = Typed::new(pairs).text("name");
    app.ledger.drop_feed(&name).await?;
    Ok(Reply::Done {
        to: "/rounds/keepers#calendars".to_owned(),
        said: format!("The link of {name} opens nothing any more."),
    })
}
