//! What pages load beside themselves: the style, the script, the icon. The name of each holds its content's hash, so that a
//! browser may keep it for good.

use std::sync::LazyLock;

use axum::Router;
use axum::http::header;
use axum::routing::get;

use crate::input;

/// A file that is part of the program.
pub(crate) struct Asset {
    name: &'static str,
    kind: &'static str,
    text: &'static str,
    hash: LazyLock<String>,
}

impl Asset {
    /// Where it is served.
    pub(crate) fn address(&self) -> String {
        format!("/assets/{}-{}", &self.hash[..12], self.name)
    }

    /// Its content type.
    pub(crate) fn kind(&self) -> &'static str {
        self.kind
    }

    /// What it holds.
    pub(crate) fn text(&self) -> &'static str {
        self.text
    }
}

macro_rules! asset {
    ($file:literal, $kind:literal) => {
        Asset {
            name: $file,
            kind: $kind,
            text: include_str!(concat!("assets/", $file)),
            hash: LazyLock::new(|| input::sha256(include_bytes!(concat!("assets/", $file)))),
        }
    };
}

/// How pages look.
pub(crate) static STYLE: Asset = asset!("style.css", "text/css; charset=utf-8");
/// What makes them quicker.
pub(crate) static SCRIPT: Asset = asset!("script.js", "text/javascript; charset=utf-8");
/// What makes the checklist of a visit quicker, and keeps ticks where there is no connection.
pub(crate) static VISIT: Asset = asset!("visit.js", "text/javascript; charset=utf-8");
/// What keeps visits readable there. It is served by a name of its own, which says what it may speak for.
pub(crate) static WORKER: Asset = asset!("visit-worker.js", "text/javascript; charset=utf-8");
/// What moves visits about on the round.
pub(crate) static ROUNDS: Asset = asset!("rounds.js", "text/javascript; charset=utf-8");
/// What records a plucked belt, and takes points of a photo.
pub(crate) static MEASURE: Asset = asset!("measure.js", "text/javascript; charset=utf-8");
/// What hands on the microphone's sound, away from the page's own thread.
pub(crate) static EAR: Asset = asset!("ear.js", "text/javascript; charset=utf-8");
/// A part in section.
pub(crate) static ICON: Asset = asset!("icon.svg", "image/svg+xml");

pub(crate) fn router<S: Clone + Send + Sync + 'static>() -> Router<S> {
    let all: [&'static Asset; 7] = [&STYLE, &SCRIPT, &ICON, &VISIT, &ROUNDS, &MEASURE, &EAR];
    all.into_iter().fold(Router::new(), |router, asset| {
        let answer = || async {
            let headers =
                [(header::CONTENT_TYPE, asset.kind), (header::CACHE_CONTROL, "public, max-age=31536000, immutable")];
            (headers, asset.text)
        };
        router.route(&asset.address(), get(answer))
    })
}
