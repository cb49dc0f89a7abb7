//! The shop in a browser: pages made by the server, that work without scripts and are made quicker by a little of one.
//!
//! A request goes through `guard` (who asks, from where, and what they may do), then to a page (`pages`), which reads the
//! shop through `app` and draws itself with `frame`, `form` and `picture`. What a page records, it records by the same
//! commands as the command line (`act`).

mod act;
mod app;
mod assets;
mod form;
mod frame;
mod glance;
mod guard;
mod pages;
mod reply;

use std::net::SocketAddr;
use std::sync::Arc;

use axum::Router;
use axum::middleware;
use ledger::Ledger;
use tokio::net::TcpListener;
use tower_http::compression::CompressionLayer;

use self::app::App;
use crate::context::Context;
use crate::trouble::Trouble;

/// Serves a shop until the process is told to end.
///
/// # Errors
/// An address that can't be listened at, or may not without a password; a shop that can't be read.
pub(crate) async fn serve(context: &Context, ledger: Ledger, address: SocketAddr) -> Result<(), Trouble> {
    if !address.ip().is_loopback() {
        return Err(Trouble::refused(format!("{address} can be reached from other machines, and there is no password"))
            .help("listen at 127.0.0.1 instead"));
    }
    let listener = TcpListener::bind(address)
        .await
        .map_err(|error| Trouble::refused(format!("{address} can't be listened at: {error}")).help("name another: --listen 127.0.0.1:8080"))?;
    let bound = listener.local_addr().unwrap_or(address);
    let name = ledger.shop().name.clone();
    let app = Arc::new(App::new(ledger, context.fixed_now()));
    context.out.line(format!("{name}: http://{bound}/\nTo end: Ctrl-C"))?;
    let ended = async {
        // OK to ignore: where the signal can't be heard the process ends by it.
        let _ = tokio::signal::ctrl_c().await;
    };
    axum::serve(listener, router(app))
        .with_graceful_shutdown(ended)
        .await
        .map_err(|error| Trouble::refused(format!("serving ended: {error}")))
}

fn router(app: Arc<App>) -> Router {
    pages::router()
        .merge(assets::router())
        .fallback(pages::nowhere)
        .layer(middleware::from_fn_with_state(app.clone(), guard::guard))
        .layer(CompressionLayer::new())
        .with_state(app)
}
