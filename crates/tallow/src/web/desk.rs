//! What takes seconds to reckon for a hall: it is made in the background, and kept until something is recorded.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Asked, Sought};
use tokio::runtime::Handle;

use super::app::{App, Of};
use crate::commands::buy::List;
use crate::commands::plan::{Assembled, Outlook, Proposal, Risks};
use crate::context;
use crate::trouble::Trouble;

/// What this server reckons for the shop, and what came of it. The plan that somebody asked for stands with the records, so that
/// every server can show it; the turn to make one is each server's own.
#[derive(Default)]
pub(crate) struct Desk {
    /// What moves of visits cost.
    outlook: Arc<Latest<Outlook>>,
    /// What to buy.
    shopping: Arc<Latest<List>>,
    /// A plan keeps a core busy for seconds: they are made one after another, whoever asks.
    turn: tokio::sync::Mutex<()>,
}

/// For how long a plan that is being made is this server's own without a word from it, and how many words it gives in that time.
const HELD: Duration = Duration::from_secs(8);
const WORDS: u32 = 4;

/// How far the plan is that somebody asked for, at whichever server.
pub(crate) enum Making {
    /// Nobody asked for one.
    Idle,
    /// It is being made.
    Running(Asked),
    /// It waits for somebody to decide.
    Ready(Box<Made>),
    /// It could not be made.
    Failed(Trouble),
}

/// A plan that was made.
pub(crate) struct Made {
    /// Its number.
    pub(crate) number: i64,
    /// When that was.
    pub(crate) at: ZonedDateTime,
    /// The plan.
    pub(crate) proposal: Proposal,
}

impl Desk {
    /// The turn to make a plan, held until it is dropped; `None` while this server makes one.
    pub(crate) fn try_turn(&self) -> Option<tokio::sync::MutexGuard<'_, ()>> {
        self.turn.try_lock().ok()
    }
}

/// How far the plan is that somebody asked for.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn plan(app: &App) -> Result<Making, Trouble> {
    let Some(asked) = app.ledger.plan_asked_for().await? else { return Ok(Making::Idle) };
    Ok(match &asked.stands {
        Sought::Held(until) if context::clock() <= *until => Making::Running(asked),
        Sought::Held(_) => {
            Making::Failed(Trouble::refused("the server that was making the plan ended before it was done"))
        }
        Sought::Failed(why) => Making::Failed(Trouble::from_text(why)),
        Sought::Left => Making::Idle,
        Sought::Made => match last_plan(app).await? {
            Some((at, Ok(proposal))) => Making::Ready(Box::new(Made { number: asked.number, at, proposal })),
            Some((_, Err(trouble))) => Making::Failed(trouble),
            None => Making::Idle,
        },
    })
}

/// The plan that somebody asked for, while it is being made.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn being_made(app: &App) -> Result<Option<Asked>, Trouble> {
    let is_held = |asked: &Asked| matches!(asked.stands, Sought::Held(until) if context::clock() <= until);
    Ok(app.ledger.plan_asked_for().await?.filter(is_held))
}

/// The last plan that was made, and when. One that a program with other words for it made can't be read.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn last_plan(app: &App) -> Result<Option<(ZonedDateTime, Result<Proposal, Trouble>)>, Trouble> {
    let unread = |_| Trouble::refused("the plan was made by another version of tallow, and can't be read");
    let read = |(made, body): (Timestamp, String)| {
        (made.to_zoned_datetime(app.ledger.shop().zone.clone()), serde_json::from_str(&body).map_err(unread))
    };
    Ok(app.ledger.last_plan().await?.map(read))
}

/// Plans `days` days for about `seconds`, unless a plan is being made already, here or by another server.
///
/// # Errors
/// Where the shop can't be written.
pub(crate) async fn start_plan(app: &Arc<App>, days: u16, seconds: u16) -> Result<(), Trouble> {
    let (at, ledger) = (app.now().timestamp(), app.recording());
    let Some(number) = ledger.ask_for_plan(days, seconds, at, (context::clock(), held_until())).await? else {
        return Ok(());
    };
    let app = app.clone();
    tokio::spawn(async move {
        let making = async {
            let _turn = app.desk.turn.lock().await;
            let for_plan = app.clone();
            apart(move || sought(&for_plan, days, seconds)).await
        };
        tokio::pin!(making);
        let made = loop {
            tokio::select! {
                made = &mut making => break made,
                () = tokio::time::sleep(HELD / WORDS) => {
                    // OK to ignore: at worst somebody asks for another before this one is there.
                    let _ = app.ledger.hold_plan(number, held_until()).await;
                }
            }
        };
        // OK to ignore: what can't be kept is told of as what a server that ended left.
        let _ = match made {
            Ok(body) => app.ledger.put_plan(number, &body, app.now().timestamp()).await.map(|_| ()),
            Err(trouble) => app.ledger.fail_plan(number, &trouble.to_string()).await,
        };
    });
    Ok(())
}

/// Until when a plan is held that is begun, or told to be held, now; by the real clock, also in a rehearsal.
fn held_until() -> Timestamp {
    let now = context::clock();
    now.saturating_add(HELD).unwrap_or(now)
}

/// Seeks a plan; gives it as JSON.
fn sought(app: &App, days: u16, seconds: u16) -> Result<String, Trouble> {
    let (shop, risks) = ground(app)?;
    let proposal = Proposal::seek(&shop, &risks, days, seconds)?;
    serde_json::to_string(&proposal)
        .map_err(|error| Trouble::refused(format!("the plan can't be written down: {error}")))
}

/// What moves of visits cost, as far as it is known.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn outlook(app: &Arc<App>) -> Result<Found<Outlook>, Trouble> {
    let shop = app.clone();
    let make = move || Handle::current().block_on(Outlook::read(&shop.context(), &shop.ledger));
    Ok(app.desk.outlook.find(app.of().await?, make))
}

/// What to buy within the usual days, as far as it is known.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn shopping(app: &Arc<App>) -> Result<Found<List>, Trouble> {
    let shop = app.clone();
    let make = move || Handle::current().block_on(List::read(&shop.context(), &shop.ledger, USUAL_REVIEW_DAYS));
    Ok(app.desk.shopping.find(app.of().await?, make))
}

/// In how many days a shop orders again: as the command line has it.
pub(crate) const USUAL_REVIEW_DAYS: u16 = 7;

/// Reads what plans are made of, on a thread of its own.
fn ground(app: &App) -> Result<(Assembled, Risks), Trouble> {
    Handle::current().block_on(async {
        let context = app.context();
        let shop = Assembled::read(&context, &app.ledger).await?;
        if shop.states.is_empty() {
            return Err(context::no_machine());
        }
        let risks = Risks::read(&context, &app.ledger, &shop.materials).await?;
        Ok((shop, risks))
    })
}

/// Does work that takes seconds beside the answering of requests.
async fn apart<T: Send + 'static>(work: impl FnOnce() -> Result<T, Trouble> + Send + 'static) -> Result<T, Trouble> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|error| Err(Trouble::refused(format!("reckoning broke off: {error}"))))
}

/// A thing of the whole shop that is made anew in the background when something was recorded.
pub(crate) struct Latest<T>(Mutex<State<T>>);

struct State<T> {
    last: Option<(Of, Result<Arc<T>, Trouble>)>,
    is_being_made: bool,
}

/// What is known of it.
pub(crate) enum Found<T> {
    /// It is of the records as they stand now.
    Fresh(Arc<T>),
    /// It is of the records as they stood a while ago; a new one is being made.
    Old(Arc<T>),
    /// It is being made for the first time.
    Reckoning,
    /// It can't be made.
    Failed(Trouble),
}

impl<T> Found<T> {
    /// What there is, however old.
    pub(crate) fn any(&self) -> Option<&Arc<T>> {
        match self {
            Found::Fresh(value) | Found::Old(value) => Some(value),
            Found::Reckoning | Found::Failed(_) => None,
        }
    }

    /// Whether a newer one is being made.
    pub(crate) fn is_being_made(&self) -> bool {
        matches!(self, Found::Old(_) | Found::Reckoning)
    }
}

impl<T> Default for Latest<T> {
    fn default() -> Self {
        Latest(Mutex::new(State { last: None, is_being_made: false }))
    }
}

impl<T: Send + Sync + 'static> Latest<T> {
    /// What is known; where it is not of `of`, `make` is begun.
    fn find(self: &Arc<Self>, of: Of, make: impl FnOnce() -> Result<T, Trouble> + Send + 'static) -> Found<T> {
        let mut state = held(&self.0);
        match &state.last {
            Some((made_of, Ok(value))) if *made_of == of => return Found::Fresh(value.clone()),
            Some((made_of, Err(trouble))) if *made_of == of => return Found::Failed(trouble.clone()),
            _ => {}
        }
        if !state.is_being_made {
            state.is_being_made = true;
            let latest = self.clone();
            tokio::spawn(async move {
                let made = apart(make).await;
                let mut state = held(&latest.0);
                state.last = Some((of, made.map(Arc::new)));
                state.is_being_made = false;
            });
        }
        match &state.last {
            Some((_, Ok(value))) => Found::Old(value.clone()),
            Some((_, Err(_))) | None => Found::Reckoning,
        }
    }
}

fn held<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    // OK to go on: nothing that is held here is ever left half changed.
    of.lock().unwrap_or_else(PoisonError::into_inner)
}
