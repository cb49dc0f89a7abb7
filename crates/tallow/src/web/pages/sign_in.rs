//! *Sign in*, and out.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::Response;
use maud::html;

use super::super::app::App;
use super::super::asked::Form;
use super::super::form::{Field, Refusal, Typed};
use super::super::frame::{Around, Page};
use super::super::guard::{self, May, waits};
use super::super::listen::Peer;
use super::super::reply::{Answer, Failed, Reply, local, see};
use crate::context;
use crate::secret;
use crate::trouble::Trouble;

/// The form's name.
const FORM: &str = "sign-in";

pub(super) async fn show(Extension(around): Extension<Around>, Query(query): Query<Vec<(String, String)>>) -> Answer {
    let typed = Typed::new(query);
    Ok(Reply::Page(page(&around, local(&typed.text("to")), &Refusal::default())))
}

/// Signs somebody in. A name that nobody has and a wrong password take as long and are told alike.
pub(super) async fn sign_in(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Extension(Peer(address)): Extension<Peer>,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs.clone());
    let (name, to) = (typed.text("name"), local(&typed.text("to")).to_owned());
    // A password keeps the blanks around it.
    let password = pairs.into_iter().find(|(field, _)| field == "password").map(|(_, typed)| typed).unwrap_or_default();
    // By the real clock, also in a rehearsal.
    if let Some(wait) = waits::ask(&app.ledger, &name, address, context::clock()).await? {
        let seconds = wait.as_secs().unsigned_abs().max(1);
        let trouble = Trouble::refused("too many tries").help(format!("try again in {seconds} s"));
        return Ok(Reply::Wait { page: page(&around, &to, &Refusal::new(FORM, trouble, typed)), seconds });
    }
    let hash = app.ledger.password_of(&name).await?;
    if !app.with_password(move || secret::is_right(&password, hash.as_deref())).await? {
        let trouble = Trouble::refused("the name or the password is not right")
            .help("who has forgotten a password gets a new one from somebody whose role is \"own\"");
        return Ok(Reply::Refused(page(&around, &to, &Refusal::new(FORM, trouble, typed))));
    }
    waits::succeeded(&app.ledger, &name, address).await?;
    if let Some(session) = around.visitor.session {
        app.ledger.end_session(session).await?;
    }
    Ok(Reply::Other(Box::new(with_cookie(see(&to), guard::start(&app, &name, &headers).await?))))
}

/// Ends the session of whoever asks.
pub(super) async fn sign_out(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
) -> Result<Response, Failed> {
    if let Some(session) = around.visitor.session {
        app.ledger.end_session(session).await?;
    }
    Ok(with_cookie(see("/sign-in"), guard::forget(&app)))
}

/// The answer with a cookie.
pub(super) fn with_cookie(mut response: Response, cookie: HeaderValue) -> Response {
    response.headers_mut().append(header::SET_COOKIE, cookie);
    response
}

fn page(around: &Around, to: &str, refusal: &Refusal) -> Page {
    let asks_nobody = around.visitor.name.is_none() && around.visitor.may != May::Nothing;
    let body = html! {
        @if asks_nobody {
            p { "Nobody has been set up, so nobody needs to sign in here." }
            p { a href="/" { "What to do today" } }
        } @else {
            form method="post" action="/sign-in" {
                (Field { required: true, ..Field::text(FORM, "name", "Name") }.show(refusal))
                (Field { kind: "password", required: true, ..Field::text(FORM, "password", "Password") }.show(refusal))
                input type="hidden" name="to" value=(to);
                (refusal.shown(FORM))
                p { button { "Sign in" } }
            }
            p.small { "This browser stays signed in until you sign out, or for 14 days after its last visit." }
        }
    };
    // A stranger sees no more of the shop than its name.
    let place = Around { shop: String::new(), today: None, ..around.clone() };
    Page::apart(if asks_nobody { around } else { &place }, format!("Sign in to {}", around.shop), body)
}
