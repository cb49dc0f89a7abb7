//! The shop in a browser: pages made by the server, that work without scripts and are made quicker by a little of one.
//!
//! A request goes through `guard` (who asks, from where, and what they may do), then to a page (`pages`), which reads the
//! shop through `app` and draws itself with `frame`, `form` and `picture`. What a page records, it records by the same
//! commands as the command line (`act`).

mod act;
mod api;
mod app;
mod asked;
mod assets;
mod desk;
mod form;
mod founding;
mod frame;
mod glance;
mod guard;
mod hints;
mod later;
mod listen;
mod pages;
mod picture;
mod print;
mod problem;
mod reply;
mod sending;
mod shelf;
mod upload;

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::{Extensions, HeaderMap, StatusCode, Version, header};
use axum::middleware;
use ledger::Ledger;
use tokio::net::TcpListener;
use tokio_rustls::TlsAcceptor;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, Predicate};
use tower_http::timeout::RequestBodyTimeoutLayer;

pub(crate) use self::api::command_line_of;
use self::app::App;
use self::guard::Door;
pub(crate) use self::guard::PublicAddress;
pub(crate) use self::listen::encrypted_by;
use crate::context::Context;
use crate::trouble::Trouble;
use crate::{out, secret};

/// The largest request, bytes; routes that take files say more.
const BODY_BYTES: usize = 1024 * 1024;

/// How long a client may pause while it sends a request's body.
const BODY_PAUSE: Duration = Duration::from_secs(15);

/// How a server is reached.
pub(crate) struct Reached {
    /// The address and port at which it listens.
    pub(crate) address: SocketAddr,
    /// Names by which browsers call it, besides its address.
    pub(crate) names: Vec<String>,
    /// What encrypts its connections.
    pub(crate) tls: Option<TlsAcceptor>,
    /// Where people reach it, if another server stands before it.
    pub(crate) public: Option<PublicAddress>,
}

/// Serves a shop until the process is told to end; where there is none yet, a page that makes one before.
///
/// # Errors
/// An address that can't be listened at, or may not before somebody has been set up; a shop that can't be read.
pub(crate) async fn serve(
    context: &Context,
    ledger: Option<Ledger>,
    Reached { address, names, tls, public }: Reached,
) -> Result<(), Trouble> {
    let is_behind_another = public.is_some();
    let door = Door::new(address, &names, tls.is_some(), public);
    let has_people = match &ledger {
        Some(ledger) => ledger.has_people().await?,
        None => false,
    };
    if !door.is_at_home() && !has_people {
        return Err(Trouble::refused("others could reach the server, and nobody has been set up who may sign in")
            .help("set somebody up: tallow person set NAME --role own")
            .help("or listen at 127.0.0.1, without --name and --public-address"));
    }
    if !address.ip().is_loopback() && tls.is_none() {
        out::remark(
            "Passwords will cross the network readably. Give --certificate and --key, or listen at 127.0.0.1 behind a server that \
             encrypts, and say so by --public-address.",
        );
    }
    let unheard = |error: std::io::Error| {
        Trouble::refused(format!("{address} can't be listened at: {error}"))
            .help("name another: --listen 127.0.0.1:8080")
    };
    let listener = TcpListener::bind(address).await.map_err(unheard)?;
    let bound = listener.local_addr().unwrap_or(address);
    let host = names.first().map_or_else(|| bound.to_string(), |name| format!("{name}:{}", bound.port()));
    let what = ledger.as_ref().map_or("No shop yet, a page makes one", |ledger| ledger.shop().name.as_str());
    let from = match is_behind_another {
        true => format!(", passed on to {bound}"),
        false => String::new(),
    };
    context.out.line(format!("{what}: {}/{from}\nTo end: Ctrl-C", door.site_at(&host)))?;
    let (ledger, listener) = match ledger {
        Some(ledger) => (ledger, listener),
        None => {
            // Whoever comes between the two servers waits at the port, which stays open.
            let port = listener.into_std().map_err(unheard)?;
            let first = TcpListener::from_std(port.try_clone().map_err(unheard)?).map_err(unheard)?;
            let Some(made) = founding::found(first, context.place()?, &door).await else { return Ok(()) };
            context.will_close(&made);
            (made, TcpListener::from_std(port).map_err(unheard)?)
        }
    };
    secret::prepare();
    let app = Arc::new(App::new(ledger.in_groups(), door, context.places()?, context.fixed_now()));
    let ended = async {
        // OK to ignore: where the signal can't be heard the process ends by it.
        let _ = tokio::signal::ctrl_c().await;
    };
    listen::serve(listener, tls, router(app), ended).await;
    Ok(())
}

/// Pages are packed; an answer whose tag stands for its very bytes is not (RFC 9110, 8.8.3.3).
fn packs() -> impl Predicate {
    let is_untagged =
        |_: StatusCode, _: Version, headers: &HeaderMap, _: &Extensions| !headers.contains_key(header::ETAG);
    DefaultPredicate::new().and(is_untagged)
}

fn router(app: Arc<App>) -> Router {
    pages::router(&app)
        .merge(api::router())
        .merge(assets::router())
        .fallback(pages::nowhere)
        .method_not_allowed_fallback(pages::not_so)
        .layer(DefaultBodyLimit::max(BODY_BYTES))
        .layer(middleware::from_fn_with_state(app.clone(), guard::guard))
        .layer(RequestBodyTimeoutLayer::new(BODY_PAUSE))
        .layer(CompressionLayer::new().compress_when(packs()))
        .with_state(app)
}
