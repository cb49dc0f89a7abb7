//! Telling browsers that something was recorded, whoever recorded it: server-sent events.

use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use ledger::News;
use tokio::sync::watch;
use tokio_stream::wrappers::WatchStream;
use tokio_stream::{Stream, StreamExt};

use super::super::app::App;

/// How often the ledger is asked, while somebody listens.
const EVERY: Duration = Duration::from_secs(1);

/// Rings when something was recorded. Nobody looks while nobody listens.
#[derive(Debug)]
pub(crate) struct Bell {
    news: watch::Sender<News>,
    is_watched: Mutex<bool>,
}

impl Default for Bell {
    fn default() -> Bell {
        Bell { news: watch::Sender::default(), is_watched: Mutex::new(false) }
    }
}

/// An event for each time that something was recorded since.
pub(super) async fn listen(State(app): State<Arc<App>>) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let now = app.ledger.news().await.unwrap_or_default();
    let heard = app.bell.news.subscribe();
    keep_watch(&app);
    let events = WatchStream::from_changes(heard).filter(move |news| *news != now);
    let events = events.map(|_| Ok(Event::default().event("news").data("something was recorded")));
    Sse::new(events).keep_alive(KeepAlive::default())
}

/// Starts to ask the ledger, if nobody does, until nobody listens.
fn keep_watch(app: &Arc<App>) {
    let mut is_watched = app.bell.is_watched.lock().unwrap_or_else(PoisonError::into_inner);
    if std::mem::replace(&mut *is_watched, true) {
        return;
    }
    let app = app.clone();
    tokio::spawn(async move {
        let mut ear = None;
        loop {
            if ear.is_none() {
                ear = app.ledger.ear().await.ok();
            }
            // Where the shop can't be read just now, the next second may tell.
            if let Ok(news) = app.ledger.news().await {
                app.bell.news.send_if_modified(|last| std::mem::replace(last, news) != news);
            }
            match &mut ear {
                Some(ear) => ear.listen(EVERY).await,
                None => tokio::time::sleep(EVERY).await,
            }
            let mut is_watched = app.bell.is_watched.lock().unwrap_or_else(PoisonError::into_inner);
            if app.bell.news.receiver_count() == 0 {
                *is_watched = false;
                return;
            }
        }
    });
}
