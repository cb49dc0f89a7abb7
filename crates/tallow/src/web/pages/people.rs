//! *People*: who may, where they are signed in, and which machines book by themselves.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::HeaderMap;
use jiff::Timestamp;
use ledger::{MachineToken, Person, Role, Session};
use maud::{Markup, html};

use super::super::act::{act, said};
use super::super::app::App;
use super::super::asked::{Form, Path};
use super::super::form::{self, Field, Refusal, Typed};
use super::super::frame::{Around, Page, Place};
use super::super::guard::{self, May};
use super::super::reply::{Answer, Denied, Reply};
use super::super::sending::may_send;
use super::sign_in::with_cookie;
use crate::cli::{self, Command, PersonRemove, PersonWord, TokenNew, TokenRevoke, TokenWord};
use crate::commands::person::put;
use crate::secret;
use crate::trouble::Trouble;

const ADDRESS: &str = "/shop/people";
const SET: &str = "/shop/people/set";

pub(super) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    Ok(Reply::Page(page(&app, &around, &Refusal::default(), None).await?))
}

/// Sets somebody up, or changes a role or a password.
pub(super) async fn set(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs.clone());
    let form = typed.text("form");
    let name = typed.text("name");
    let role = Role::from_word(&typed.text("role")).unwrap_or(Role::Look);
    let password = password(&pairs, "password");
    match changed(&app, &name, role, password).await {
        Ok(said) => settled(&app, &around, &name, &headers, said).await,
        Err(trouble) => Ok(Reply::Refused(page(&app, &around, &Refusal::new(&form, trouble, typed), None).await?)),
    }
}

/// Changes the password of whoever asks, who must know the old one.
pub(super) async fn change_password(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let name = around.visitor.name.clone().unwrap_or_default();
    let (old, new) = (password(&pairs, "old").unwrap_or_default(), password(&pairs, "password").unwrap_or_default());
    let hash = app.ledger.password_of(&name).await?;
    let is_right = app.with_password(move || secret::is_right(&old, hash.as_deref())).await?;
    let done = match &around.visitor.may {
        May::Role(role) if is_right => changed(&app, &name, *role, Some(new)).await,
        _ => Err(Trouble::refused("the old password is not right").help("nothing was changed; type it again")),
    };
    match done {
        Ok(said) => settled(&app, &around, &name, &headers, said).await,
        Err(trouble) => {
            let refusal = Refusal::new("own-password", trouble, Typed::default());
            Ok(Reply::Refused(page(&app, &around, &refusal, None).await?))
        }
    }
}

async fn changed(app: &App, name: &str, role: Role, password: Option<String>) -> Result<String, Trouble> {
    let hash = match password {
        Some(password) => Some(app.with_password(move || secret::hashed(&password)).await??),
        None => None,
    };
    put(&app.ledger, name, role, hash.as_deref(), app.now().timestamp()).await
}

/// Leads back to the page. All sessions of `name` have ended; whoever changed themselves gets a new one, and so does whoever
/// set up the first person: it is they.
async fn settled(app: &App, around: &Around, name: &str, headers: &HeaderMap, said: String) -> Answer {
    use axum::response::IntoResponse;
    let done = Reply::Done { to: ADDRESS.to_owned(), said };
    if around.visitor.name.as_deref().is_some_and(|own| own != name) {
        return Ok(done);
    }
    let cookie = guard::start(app, name, headers).await?;
    Ok(Reply::Other(Box::new(with_cookie(done.into_response(), cookie))))
}

/// Lets somebody sign in no more.
pub(super) async fn remove(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let what = PersonWord::Remove(PersonRemove { name: typed.text("name") });
    acted(&app, &around, &Command::Person(cli::Person { what: Some(what) }), typed).await
}

/// Lets a token book nothing any more.
pub(super) async fn revoke(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(token): Path<i64>,
) -> Answer {
    let what = TokenWord::Revoke(TokenRevoke { token });
    acted(&app, &around, &Command::Token(cli::Token { what: Some(what) }), Typed::default()).await
}

async fn acted(app: &App, around: &Around, command: &Command, typed: Typed) -> Answer {
    match act(app, command).await {
        Ok(answer) => Ok(Reply::Done { to: ADDRESS.to_owned(), said: said(&answer) }),
        Err(trouble) => {
            let form = typed.text("form");
            Ok(Reply::Refused(page(app, around, &Refusal::new(&form, trouble, typed), None).await?))
        }
    }
}

/// Makes a token for a machine, and shows it: this once, and in no address.
pub(super) async fn new_token(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let new = TokenNew { machine: typed.text("machine"), label: typed.text("label") };
    match act(&app, &Command::Token(cli::Token { what: Some(TokenWord::New(new)) })).await {
        Ok(answer) => {
            let token = answer.get("token").and_then(|token| token.as_str()).unwrap_or_default().to_owned();
            Ok(Reply::Page(page(&app, &around, &Refusal::default(), Some((&said(&answer), &token))).await?))
        }
        Err(trouble) => Ok(Reply::Refused(page(&app, &around, &Refusal::new("token", trouble, typed), None).await?)),
    }
}

/// Ends a session: one's own, or, for whoever may say who may, any.
pub(super) async fn end_session(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(id): Path<i64>,
) -> Answer {
    let sessions = shown_sessions(&app, &around).await?;
    if !sessions.iter().any(|session| session.id == id) {
        return Ok(Reply::Other(Box::new(Denied::Role(Role::Own).response(ADDRESS, &around))));
    }
    app.ledger.end_session(id).await?;
    Ok(Reply::Done { to: ADDRESS.to_owned(), said: "that browser is signed out".to_owned() })
}

/// What was typed as a password, with the blanks around it; `None` where nothing was.
fn password(pairs: &[(String, String)], field: &str) -> Option<String> {
    pairs.iter().find(|(name, _)| name == field).map(|(_, typed)| typed.clone()).filter(|typed| !typed.is_empty())
}

async fn shown_sessions(app: &App, around: &Around) -> Result<Vec<Session>, Trouble> {
    let mut sessions = app.ledger.sessions(guard::idle_since(app.now().timestamp())).await?;
    if around.visitor.may != May::Role(Role::Own) {
        sessions.retain(|session| Some(&session.person) == around.visitor.name.as_ref());
    }
    Ok(sessions)
}

async fn page(app: &App, around: &Around, refusal: &Refusal, token: Option<(&str, &str)>) -> Result<Page, Trouble> {
    let sessions = shown_sessions(app, around).await?;
    let day = |at: Timestamp| at.to_zoned_datetime(app.now().time_zone().clone()).strftime("%a %-d %b %Y").to_string();
    let may_own = may_send(&around.visitor.may, SET);
    let body = html! {
        (refusal.shown(""))
        @if let Some((said, token)) = token { (new(said, token)) }
        @if may_own { (people(&app.ledger.people().await?, refusal, &day)) }
        @if around.visitor.name.is_some() { (signed_in(&sessions, around, refusal, &day)) }
        @if may_own {
            (tokens(&app.ledger.tokens().await?, &app.glance().await?.machines.iter().map(|machine| machine.name.clone()).collect::<Vec<_>>(), refusal, &day))
        }
    };
    Ok(Page::new(around, Place::Records, ADDRESS, "People", body))
}

fn new(said: &str, token: &str) -> Markup {
    html! {
        div.said role="status" {
            p { (form::sentence(said)) }
            p { label for="new-token" { "The token" } }
            input #new-token readonly value=(token);
            p { "Copy it now, and give it to nothing but that machine. The machine sends it with each run: " code { "Authorization: Bearer TOKEN" } "." }
        }
    }
}

const ROLES: [(Role, &str); 4] = [
    (Role::Look, "look: sees everything"),
    (Role::Record, "record: and records what happened"),
    (Role::Plan, "plan: and plans visits"),
    (Role::Own, "own: and says who may"),
];

fn people(people: &[Person], refusal: &Refusal, day: &impl Fn(Timestamp) -> String) -> Markup {
    let roles = |at_least: Role| -> Vec<(String, String)> {
        let roles = ROLES.iter().filter(|(role, _)| at_least <= *role);
        roles.map(|(role, words)| (role.word().to_owned(), (*words).to_owned())).collect()
    };
    let is_first = people.is_empty();
    html! {
        section aria-labelledby="people" {
            h2 #people { "Who may" }
            @if is_first {
                p { "Nobody has been set up: whoever sits at this computer may do everything, and nobody else can reach the shop. Once somebody is, everybody signs in." }
            }
            @for (place, person) in people.iter().enumerate() {
                @let form = format!("person-{place}");
                details.block open[refusal.is_of(&form)] {
                    summary { strong { (person.name) } ", " (person.role.word()) ", since " (day(person.since)) }
                    form method="post" action=(SET) {
                        input type="hidden" name="form" value=(form);
                        input type="hidden" name="name" value=(person.name);
                        (form::choice(refusal, &form, "role", "What this person may do", person.role.word(), &roles(Role::Look)))
                        (Field { kind: "password", hint: "Left empty, it stays as it is. Any change signs this person out everywhere.", ..Field::text(&form, "password", "New password") }.show(refusal))
                        (refusal.shown(&form))
                        p { button { "Change" } }
                    }
                    form method="post" action="/shop/people/remove" {
                        input type="hidden" name="form" value=(form);
                        input type="hidden" name="name" value=(person.name);
                        p { button.quiet { "Remove " (person.name) } }
                        p.hint { "What was recorded stays, with the name." }
                    }
                }
            }
            h3 { @if is_first { "Set yourself up" } @else { "Set somebody up" } }
            form method="post" action=(SET) {
                input type="hidden" name="form" value="new";
                (Field { required: true, ..Field::text("new", "name", "Name") }.show(refusal))
                (form::choice(refusal, "new", "role", "What this person may do", if is_first { "own" } else { "record" }, &roles(if is_first { Role::Own } else { Role::Look })))
                (Field { kind: "password", required: true, hint: "At least 10 letters.", ..Field::text("new", "password", "Password") }.show(refusal))
                (refusal.shown("new"))
                p { button { "Set up" } }
            }
        }
    }
}

fn signed_in(sessions: &[Session], around: &Around, refusal: &Refusal, day: &impl Fn(Timestamp) -> String) -> Markup {
    html! {
        section aria-labelledby="sessions" {
            h2 #sessions { "Signed in" }
            p { "A browser stays signed in until it signs out, or for 14 days after its last visit." }
            table.stacks {
                thead { tr { th scope="col" { "Person" } th scope="col" { "Browser" } th scope="col" { "Since" } th scope="col" { "Last seen" } th scope="col" { "End" } } }
                tbody {
                    @for session in sessions {
                        tr {
                            th scope="row" { (session.person) @if Some(session.id) == around.visitor.session { " (here)" } }
                            td data-name="Browser" { (session.device) }
                            td data-name="Since" { (day(session.started)) }
                            td data-name="Last seen" { (day(session.seen)) }
                            td {
                                form method="post" action=(format!("/shop/people/session/{}/end", session.id)) {
                                    button.quiet { "Sign out" }
                                }
                            }
                        }
                    }
                }
            }
            h3 { "Your password" }
            form method="post" action="/shop/people/password" {
                (Field { kind: "password", required: true, ..Field::text("own-password", "old", "Old password") }.show(refusal))
                (Field { kind: "password", required: true, hint: "At least 10 letters. Your other browsers are signed out.", ..Field::text("own-password", "password", "New password") }.show(refusal))
                (refusal.shown("own-password"))
                p { button { "Change the password" } }
            }
        }
    }
}

fn tokens(
    tokens: &[MachineToken],
    machines: &[String],
    refusal: &Refusal,
    day: &impl Fn(Timestamp) -> String,
) -> Markup {
    let machines: Vec<(String, String)> = machines.iter().map(|name| (name.clone(), name.clone())).collect();
    html! {
        section aria-labelledby="tokens" {
            h2 #tokens { "Machines that book by themselves" }
            p { "With a token a machine, or the computer beside it, books its own runs, what it expects and its hour meter, and can do nothing else." }
            @if !tokens.is_empty() {
                table.stacks {
                    thead { tr { th scope="col" { "Token" } th scope="col" { "Machine" } th scope="col" { "Has it" } th scope="col" { "Last used" } th scope="col" { "End" } } }
                    tbody {
                        @for token in tokens {
                            tr {
                                th scope="row" { (token.id) }
                                td data-name="Machine" { (token.machine) }
                                td data-name="Has it" { (token.label) }
                                td data-name="Last used" { (token.used.map_or_else(|| "never".to_owned(), day)) }
                                td {
                                    form method="post" action=(format!("/shop/people/token/{}/revoke", token.id)) {
                                        button.quiet { "Revoke" }
                                    }
                                }
                            }
                        }
                    }
                }
            }
            @if !machines.is_empty() {
                form method="post" action="/shop/people/token" {
                    (form::choice(refusal, "token", "machine", "Machine", "", &machines))
                    (Field { hint: "For example: its computer.", ..Field::text("token", "label", "What has it") }.show(refusal))
                    (refusal.shown("token"))
                    p { button { "Make a token" } }
                }
            }
        }
    }
}
