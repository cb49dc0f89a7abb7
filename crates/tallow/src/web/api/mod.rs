//! The same answers for programs: what the command line reads and records, by addresses under `/api`.
//!
//! An address is a command's words; its parameters are those of the command line, by their names, and its answer is the JSON
//! that `--json` prints. So it is written once: `routes` lists the commands, `arguments` makes a command line of what was
//! sent, `document` tells of it as OpenAPI. What names a file is never taken from the network: a print file is sent.

mod arguments;
mod document;
mod events;
mod metrics;
mod routes;
mod shapes;

use std::fs::File;
use std::io::Write;
use std::sync::Arc;

use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Query, Request, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use clap::Parser;
use ledger::Role;
use serde_json::Value;

pub(crate) use self::events::Bell;
use self::routes::{Does, ROUTES, Route};
use super::act::act_with;
use super::app::App;
use super::frame::Around;
use super::guard::{self, May};
use super::problem;
use super::upload::MOST_BYTES;
use crate::cli::Cli;
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
            Does::Reads => get(move |state, uri, headers, query| read(route, state, uri, headers, query)),
            Does::Records => post(move |state, around, body| record(route, state, around, body)),
            Does::TakesFile(_) => {
                let take = move |state, around, query, request| take_file(route, state, around, query, request);
                post(take).layer(DefaultBodyLimit::max(MOST_BYTES))
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
        Refused(StatusCode::UNPROCESSABLE_ENTITY, trouble)
    }
}

impl IntoResponse for Refused {
    fn into_response(self) -> Response {
        problem::response(self.0, &self.1)
    }
}

async fn openapi(headers: HeaderMap) -> Response {
    tagged(&headers, document::document().to_string(), None)
}

async fn read(
    route: &'static Route,
    State(app): State<Arc<App>>,
    uri: Uri,
    headers: HeaderMap,
    Query(mut given): Query<Given>,
) -> Result<Response, Refused> {
    let page = if route.is_list() { Some(Paging::taken(&mut given)?) } else { None };
    arguments::check(route, &given)?;
    if let (Some(page), true) = (&page, route.pages_itself()) {
        given.push(("most".to_owned(), page.limit.to_string()));
        given.extend(page.after.map(|after| ("before".to_owned(), after.to_string())));
    }
    let answer = carried_out(&app, route, &given, Vec::new()).await?;
    let (answer, next) = match page {
        Some(page) => page.of(answer, route.pages_itself()),
        None => (answer, None),
    };
    let link = next.map(|after| format!("<{}>; rel=\"next\"", with_after(&uri, after)));
    Ok(tagged(&headers, answer.to_string(), link))
}

async fn record(
    route: &'static Route,
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    body: Bytes,
) -> Result<Response, Refused> {
    let mut given = members(route, &body)?;
    keep_to_its_machine(&around.visitor.may, &mut given)?;
    Ok(json(carried_out(&app, route, &given, Vec::new()).await?.to_string()))
}

/// A print file is the whole body; what is said of it stands in the address. Without a file the body is JSON, as elsewhere.
async fn take_file(
    route: &'static Route,
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(mut given): Query<Given>,
    request: Request,
) -> Result<Response, Refused> {
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    if kind.starts_with("application/json") {
        let body = axum::body::to_bytes(request.into_body(), super::BODY_BYTES).await.map_err(|_| too_large())?;
        given.extend(members(route, &body)?);
        arguments::check(route, &given)?;
        keep_to_its_machine(&around.visitor.may, &mut given)?;
        return Ok(json(carried_out(&app, route, &given, Vec::new()).await?.to_string()));
    }
    keep_to_its_machine(&around.visitor.may, &mut given)?;
    let name = given.iter().find(|(name, label)| name == "label" && !label.is_empty());
    let name = name.map_or_else(|| "print file".to_owned(), |(_, label)| label.clone());
    if arguments::arguments(route).iter().all(|argument| argument.name != "label") {
        // What the command does not keep names the file all the same.
        given.retain(|(name, _)| name != "label");
    }
    arguments::check(route, &given)?;
    let file = stored(request.into_body()).await?;
    let sent = Sent { name, file: Arc::new(file) };
    Ok(json(carried_out(&app, route, &given, vec![sent]).await?.to_string()))
}

/// Writes a body into a file without a name.
async fn stored(body: Body) -> Result<File, Refused> {
    let full = |error: std::io::Error| {
        let trouble = Trouble::refused(format!("the file could not be taken in: {error}"));
        Refused(StatusCode::INSUFFICIENT_STORAGE, trouble.help("make room on the server's disk"))
    };
    let mut file = tempfile::tempfile().map_err(full)?;
    let mut chunks = axum::body::Body::into_data_stream(body);
    let mut bytes = 0;
    while let Some(chunk) = tokio_stream::StreamExt::next(&mut chunks).await {
        let chunk = chunk.map_err(|_| Trouble::refused("the file did not arrive whole").help("send it again"))?;
        bytes += chunk.len();
        if MOST_BYTES < bytes {
            return Err(too_large());
        }
        file.write_all(&chunk).map_err(full)?;
    }
    match bytes {
        0 => Err(Trouble::refused("no print file was sent")
            .help("send it as the request's body, or hours as JSON")
            .into()),
        _ => Ok(file),
    }
}

fn too_large() -> Refused {
    let most = MOST_BYTES / 1024 / 1024;
    let trouble =
        Trouble::refused("that is more than is read").help(format!("a print file may have {most} MiB, packed"));
    Refused(StatusCode::PAYLOAD_TOO_LARGE, trouble)
}

/// The members of a JSON object, as parameters; an empty body says nothing.
fn members(route: &Route, body: &[u8]) -> Result<Given, Refused> {
    if body.is_empty() {
        return Ok(Given::new());
    }
    match serde_json::from_slice(body) {
        Ok(Value::Object(members)) => Ok(arguments::given(route, members)?),
        Ok(_) => Err(malformed("what was sent is no JSON object")),
        Err(error) => Err(malformed(&format!("what was sent is no JSON: {error}"))),
    }
}

fn malformed(what: &str) -> Refused {
    let help = "send an object whose members are the command's parameters; /api/openapi.json tells them";
    Refused(StatusCode::BAD_REQUEST, Trouble::refused(what).help(help))
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

async fn carried_out(app: &App, route: &Route, given: &Given, files: Vec<Sent>) -> Result<Value, Refused> {
    let line = arguments::command_line(route, given, files.first().map(|sent| sent.name.as_str()))?;
    let cli = Cli::try_parse_from(line).map_err(|error| explained(&error))?;
    Ok(act_with(app, &cli.command, files).await?)
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

fn json(body: String) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], body).into_response()
}

/// An answer with a strong tag of its content (RFC 9110, 8.8.3): who has it already gets no second copy.
fn tagged(headers: &HeaderMap, body: String, link: Option<String>) -> Response {
    let tag = format!("\"{}\"", &input::sha256(body.as_bytes())[..32]);
    let known = headers.get_all(header::IF_NONE_MATCH).iter().filter_map(|value| value.to_str().ok());
    let is_known = known
        .flat_map(|value| value.split(','))
        .map(str::trim)
        .any(|one| one == "*" || one.trim_start_matches("W/") == tag);
    let mut response = if is_known { StatusCode::NOT_MODIFIED.into_response() } else { json(body) };
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
