//! The same answers for programs: what the command line reads and records, by addresses under `/api`.
//!
//! An address is a command's words; its parameters are those of the command line, by their names, and its answer is the JSON
//! that `--json` prints, or another of its `forms`. So it is written once: `routes` lists the commands, `received` takes in what
//! was sent, `arguments` makes a command line of it, `document` tells of it as OpenAPI. What names a file is never taken from the
//! network: a file is sent, and what a command would write is answered.

mod arguments;
mod document;
mod events;
mod forms;
mod metrics;
mod received;
mod routes;
mod shapes;

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use clap::Parser;
use ledger::Role;
use serde_json::Value;

pub(crate) use self::events::Bell;
use self::forms::{Form, How, JSON, PAGE};
use self::routes::{Does, LONGEST_SEEKING, ROUTES, Route, Taken};
use super::BODY_BYTES;
use super::act::{act_with, recording};
use super::app::App;
use super::desk;
use super::frame::Around;
use super::guard::{self, May};
use super::print::printed;
use super::problem;
use crate::cli::Cli;
use crate::commands;
use crate::input::{self, Sent};
use crate::trouble::Trouble;

/// What was sent, by the names of parameters.
pub(super) type Given = Vec<(String, String)>;

/// How many elements of a list are answered unless `limit` says otherwise, and at most.
const USUAL: usize = 100;
const MOST: i64 = 1000;

pub(super) fn router() -> Router<Arc<App>> {
    let behind = |role: Role| from_fn_with_state(role, guard::needs);
    let router = ROUTES.iter().fold(Router::new(), |router, route| {
        let handler = match route.does {
            Does::Reads => get(move |state, uri, headers| read(route, state, uri, headers)),
            Does::Records => post(move |state, around, request| record(route, state, around, request)),
            Does::TakesFile(taken) => {
                post(move |state, around, request| take_file(route, taken, state, around, request))
            }
        };
        router.route(&route.path(), handler.route_layer(behind(route.role)))
    });
    let looks = Router::new()
        .route("/api/openapi.json", get(openapi))
        .route("/api/events", get(events::listen))
        .route("/metrics", get(metrics::show))
        .route_layer(behind(Role::Look));
    router.merge(looks)
}

/// A refusal, with the status that says whose fault it is.
struct Refused(StatusCode, Trouble);

impl From<Trouble> for Refused {
    fn from(trouble: Trouble) -> Refused {
        Refused(problem::status_of(&trouble, StatusCode::UNPROCESSABLE_ENTITY), trouble)
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        let mut response = problem::response(self.0, &self.1);
        if self.0 == StatusCode::SERVICE_UNAVAILABLE {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(LONGEST_SEEKING));
        }
        response
    }
}

/// That another plan is being made.
fn busy() -> Refused {
    let trouble = Trouble::refused("another plan is being made").help("ask again when it is done");
    Refused(StatusCode::SERVICE_UNAVAILABLE, trouble)
}

async fn openapi(headers: HeaderMap) -> Response {
    tagged(&headers, JSON, document::document().to_string(), None)
}

async fn read(
    route: &'static Route,
    State(app): State<Arc<App>>,
    uri: Uri,
    headers: HeaderMap,
) -> Result<Response, Refused> {
    let mut given = received::query(&uri)?;
    let form = form(route, &headers)?;
    let page = if route.is_list() && form == JSON { Some(Paging::taken(&mut given)?) } else { None };
    arguments::check(route, &given)?;
    if let (Some(page), true) = (&page, route.pages_itself()) {
        given.push(("most".to_owned(), page.limit.to_string()));
        given.extend(page.after.map(|after| ("before".to_owned(), after.to_string())));
    }
    let (text, link) = match (carried_out(&app, route, form, &given, Vec::new()).await?, page) {
        (Answer::Json(answer), Some(page)) => {
            let (answer, next) = page.of(answer, route.pages_itself());
            (answer.to_string(), next.map(|after| format!("<{}>; rel=\"next\"", with_after(&uri, after))))
        }
        (answer, _) => (answer.text(), None),
    };
    Ok(varied(route, tagged(&headers, form, text, link)))
}

async fn record(
    route: &'static Route,
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    request: Request,
) -> Result<Response, Refused> {
    let form = form(route, request.headers())?;
    if let Some((name, _)) = received::query(request.uri())?.first() {
        let trouble = Trouble::refused(format!("\"{name}\" stands in the address"));
        return Err(trouble.help("say it in the body, as a member of a JSON object").into());
    }
    let mut given = received::members(route, request.into_body(), BODY_BYTES).await?;
    keep_to_its_machine(&around.visitor.may, &mut given)?;
    let _turn = match route.plans {
        true if desk::being_made(&app).await?.is_some() => return Err(busy()),
        true => Some(app.desk.try_turn().ok_or_else(busy)?),
        false => None,
    };
    let files = received::text(route, &mut given)?.into_iter().collect();
    Ok(varied(route, formed(form, carried_out(&app, route, form, &given, files).await?.text())))
}

/// A file is the whole body; what is said of it stands in the address. Without a file the body is JSON, as elsewhere.
async fn take_file(
    route: &'static Route,
    taken: Taken,
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    request: Request,
) -> Result<Response, Refused> {
    let form = form(route, request.headers())?;
    let mut given = received::query(request.uri())?;
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let files = if kind.starts_with("application/json") {
        given.extend(received::members(route, request.into_body(), BODY_BYTES).await?);
        arguments::check(route, &given)?;
        keep_to_its_machine(&around.visitor.may, &mut given)?;
        Vec::new()
    } else {
        keep_to_its_machine(&around.visitor.may, &mut given)?;
        let name = given.iter().find(|(name, label)| name == "label" && !label.is_empty());
        let name = name.map_or_else(|| taken.usual_name().to_owned(), |(_, label)| label.clone());
        if arguments::arguments(route).iter().all(|argument| argument.name != "label") {
            // What the command does not keep names the file all the same.
            given.retain(|(name, _)| name != "label");
        }
        arguments::check(route, &given)?;
        vec![received::file(request.into_body(), taken.most_bytes(), name).await?]
    };
    Ok(varied(route, formed(form, carried_out(&app, route, form, &given, files).await?.text())))
}

/// The form that is asked for.
fn form(route: &Route, headers: &HeaderMap) -> Result<Form, Refused> {
    forms::asked(route.forms, headers).map_err(|trouble| Refused(StatusCode::NOT_ACCEPTABLE, trouble))
}

/// Holds a machine's token to its machine: it is filled in, and no other may be named.
fn keep_to_its_machine(may: &May, given: &mut Given) -> Result<(), Refused> {
    let May::Machine(own) = may else { return Ok(()) };
    if given.iter().any(|(name, machine)| name == "on" && machine != own) {
        let trouble = Trouble::refused(format!("this token books for {own} alone")).help("leave \"on\" out");
        return Err(Refused(StatusCode::FORBIDDEN, trouble));
    }
    given.retain(|(name, _)| name != "on");
    given.push(("on".to_owned(), own.clone()));
    Ok(())
}

/// What a command answers.
enum Answer {
    Json(Value),
    Text(String),
}

impl Answer {
    fn text(self) -> String {
        match self {
            Answer::Json(value) => value.to_string(),
            Answer::Text(text) => text,
        }
    }
}

async fn carried_out(app: &App, route: &Route, form: Form, given: &Given, files: Vec<Sent>) -> Result<Answer, Refused> {
    let command = understood(route, given, files.first().map(|sent| sent.name.as_str()), form)?.command;
    if form.how == How::Json {
        return Ok(Answer::Json(act_with(app, &command, files).await?));
    }
    let context = app.context().with_files(files).in_words();
    recording(app, commands::carry_out(&context, &command))?;
    match form.how {
        How::File(_) => Ok(Answer::Text(the_only(context.written())?)),
        How::Json | How::Words | How::Switch(_) => Ok(Answer::Text(context.out.take())),
    }
}

/// The command line that parameters make, and the file that came along by its name.
fn understood(route: &Route, given: &Given, file: Option<&str>, form: Form) -> Result<Cli, Refused> {
    let line = arguments::command_line(route, given, file, form)?;
    Ok(Cli::try_parse_from(line).map_err(|error| explained(&error))?)
}

/// The command line that a JSON body makes at the address of that number; numbers beyond the last go round.
///
/// # Errors
/// A body that is refused there.
pub(crate) fn command_line_of(address: usize, body: &[u8]) -> Result<Cli, Trouble> {
    let route = &ROUTES[address % ROUTES.len()];
    let understood = received::object(route, body).and_then(|given| {
        arguments::check(route, &given)?;
        understood(route, &given, None, route.forms[0])
    });
    understood.map_err(|Refused(_, trouble)| trouble)
}

/// The text that a command would have written, where it is one.
fn the_only(mut written: Vec<String>) -> Result<String, Trouble> {
    match (written.len(), written.pop()) {
        (1, Some(only)) => Ok(only),
        (0, _) => Err(Trouble::refused("there is nothing of that form yet").help("accept application/json")),
        (many, _) => Err(Trouble::refused(format!("these are {many} documents, and one is answered"))
            .help("name which: /api/openapi.json tells the parameters")),
    }
}

/// What the command line makes of words that are none of its, in one line.
fn explained(error: &clap::Error) -> Trouble {
    let text = error.render().to_string();
    let mut lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    let what = lines.next().unwrap_or("that can't be understood");
    let more = lines.take_while(|line| !line.starts_with("Usage:") && !line.starts_with("For more"));
    let trouble = Trouble::refused(what.strip_prefix("error: ").unwrap_or(what));
    more.map(str::to_owned).fold(trouble, Trouble::help).help("/api/openapi.json tells the parameters")
}

/// Which part of a list is asked for.
struct Paging {
    limit: usize,
    after: Option<i64>,
}

impl Paging {
    /// Takes `limit` and `after` out of the parameters.
    fn taken(given: &mut Given) -> Result<Paging, Trouble> {
        let mut number = |name: &str, most: i64| -> Result<Option<i64>, Trouble> {
            let found = given.iter().find(|(key, _)| key == name).map(|(_, value)| value.clone());
            given.retain(|(key, _)| key != name);
            let Some(text) = found else { return Ok(None) };
            let number = text.parse().ok().filter(|number| (1..=most).contains(number));
            number.map(Some).ok_or_else(|| {
                Trouble::refused(format!("{name} can't be \"{text}\""))
                    .help(format!("give a whole number from 1 to {most}"))
            })
        };
        let limit = number("limit", MOST)?.and_then(|limit| usize::try_from(limit).ok()).unwrap_or(USUAL);
        Ok(Paging { limit, after: number("after", i64::MAX)? })
    }

    /// That part of an answer, and what `after` is for the next. Where the command cuts by itself, `after` is the number of
    /// an entry; elsewhere it is how many elements there were so far.
    fn of(&self, answer: Value, pages_itself: bool) -> (Value, Option<i64>) {
        let Value::Array(all) = answer else { return (answer, None) };
        if pages_itself {
            let next = all.last().and_then(|last| last["entry"].as_i64()).filter(|_| all.len() == self.limit);
            return (Value::Array(all), next);
        }
        let from = self.after.and_then(|after| usize::try_from(after).ok()).unwrap_or(0);
        let to = from.saturating_add(self.limit);
        let next = i64::try_from(to).ok().filter(|_| to < all.len());
        (all.into_iter().skip(from).take(self.limit).collect(), next)
    }
}

/// The same address with another `after`.
fn with_after(uri: &Uri, after: i64) -> String {
    let rest = uri.query().unwrap_or_default().split('&');
    let rest = rest.filter(|pair| !pair.is_empty() && !pair.starts_with("after="));
    let pairs: Vec<String> = rest.map(str::to_owned).chain([format!("after={after}")]).collect();
    format!("{}?{}", uri.path(), pairs.join("&"))
}

/// An answer in a form. Nothing runs in it, and only a sheet's own style is let in.
fn formed(form: Form, body: String) -> Response {
    if form == PAGE {
        return printed(body);
    }
    ([(header::CONTENT_TYPE, form.content_type())], body).into_response()
}

/// Says that the answer depends on `Accept`, where it does (RFC 9110, 12.5.5).
fn varied(route: &Route, mut response: Response) -> Response {
    if 1 < route.forms.len() {
        response.headers_mut().append(header::VARY, HeaderValue::from_static("accept"));
    }
    response
}

/// An answer with a strong tag of its content (RFC 9110, 8.8.3): who has it already gets no second copy.
fn tagged(headers: &HeaderMap, form: Form, body: String, link: Option<String>) -> Response {
    let tag = format!("\"{}\"", &input::sha256(body.as_bytes())[..32]);
    let known = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    let is_known = known
        .flat_map(|value| value.split(','))
        .map(str::trim)
        .any(|one| one == "*" || one.trim_start_matches("W/") == tag);
    let mut response = if is_known { StatusCode::NOT_MODIFIED.into_response() } else { formed(form, body) };
    let mut put = |name, value: &str| {
        // OK to leave out: a tag is hexadecimal, and an address came as a header's value.
        if let Ok(value) = HeaderValue::from_str(value) {
            response.headers_mut().insert(name, value);
        }
    };
    put(header::ETAG, &tag);
    put(header::CACHE_CONTROL, "private, no-cache");
    if let Some(link) = link {
        put(header::LINK, &link);
    }
    response
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn a_list_is_read_page_by_page_and_nothing_is_left_out() {
        let whole: Value = (0..7).collect();
        let (mut read, mut after) = (Vec::new(), None);
        for _ in 0..10 {
            let (part, next) = Paging { limit: 3, after }.of(whole.clone(), false);
            read.extend(part.as_array().unwrap().clone());
            after = next;
            if next.is_none() {
                break;
            }
        }
        assert_eq!(Value::Array(read), whole);
        let (part, next) = Paging { limit: 3, after: Some(99) }.of(whole, false);
        assert_eq!((part, next), (json!([]), None));
    }

    #[test]
    fn the_next_pages_address_keeps_what_else_was_asked() {
        let uri: Uri = "/api/history?machine=clove%20hitch&after=7&limit=2".parse().unwrap();
        assert_eq!(with_after(&uri, 5), "/api/history?machine=clove%20hitch&limit=2&after=5");
    }

    #[test]
    fn a_token_books_for_its_machine_and_no_other() {
        let may = May::Machine("bowline".into());
        let mut given = vec![("hours".to_owned(), "2".to_owned())];
        assert!(keep_to_its_machine(&may, &mut given).is_ok());
        assert!(given.contains(&("on".to_owned(), "bowline".to_owned())));
        for on in ["clove hitch", "Bowline", ""] {
            let mut given = vec![("on".to_owned(), "bowline".to_owned()), ("on".to_owned(), on.to_owned())];
            assert!(keep_to_its_machine(&may, &mut given).is_err(), "{on}");
        }
    }
}
