//! What takes seconds to reckon for a hall: it is made in the background, and kept until something is recorded.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use jiff::ZonedDateTime;
use tokio::runtime::Handle;
use upkeep::Usage;

use super::app::{App, Of};
use crate::commands::buy::List;
use crate::commands::plan::{Assembled, Outlook, Risks, Round};
use crate::context;
use crate::trouble::Trouble;

/// What is being reckoned for the shop, and what came of it.
#[derive(Default)]
pub(crate) struct Desk {
    /// What moves of visits cost.
    outlook: Arc<Latest<Outlook>>,
    /// What to buy.
    shopping: Arc<Latest<List>>,
    plan: Mutex<Making>,
    /// A plan keeps a core busy for seconds: they are made one after another, whoever asks.
    turn: tokio::sync::Mutex<()>,
    last: Mutex<Option<Arc<Proposal>>>,
}

/// A plan that nobody has been told of.
pub(crate) struct Proposal {
    /// What it is a plan of.
    pub(crate) shop: Assembled,
    /// The plan, and what two simple rules would cost.
    pub(crate) round: Round,
    /// How long it was sought, s.
    pub(crate) seconds: u16,
    /// When it was made.
    pub(crate) made: ZonedDateTime,
}

/// How far the plan is that somebody asked for.
#[derive(Clone, Default)]
pub(crate) enum Making {
    /// Nobody asked for one.
    #[default]
    Idle,
    /// It is being made.
    Running(Arc<Running>),
    /// It waits for somebody to decide.
    Ready(Arc<Proposal>),
    /// It could not be made.
    Failed(Trouble),
}

/// A plan that is being made.
pub(crate) struct Running {
    /// Since when.
    pub(crate) since: ZonedDateTime,
    /// For how long it is sought, s.
    pub(crate) seconds: u16,
    /// For how many days.
    pub(crate) days: u16,
}

impl Desk {
    /// The plan that somebody asked for.
    pub(crate) fn plan(&self) -> Making {
        held(&self.plan).clone()
    }

    /// The turn to make a plan, held until it is dropped; `None` while one is being made.
    pub(crate) fn try_turn(&self) -> Option<tokio::sync::MutexGuard<'_, ()>> {
        self.turn.try_lock().ok()
    }

    /// Whether a plan is being made.
    pub(crate) fn is_planning(&self) -> bool {
        matches!(*held(&self.plan), Making::Running(_))
    }

    /// The last plan that was made, since the server was started.
    pub(crate) fn last_plan(&self) -> Option<Arc<Proposal>> {
        held(&self.last).clone()
    }

    /// Forgets the plan that somebody asked for.
    pub(crate) fn leave(&self) {
        *held(&self.plan) = Making::Idle;
    }

    fn finish(&self, running: &Arc<Running>, made: Result<Proposal, Trouble>) {
        let mut plan = held(&self.plan);
        // Who left it, or asked for another, does not want this one.
        if !matches!(&*plan, Making::Running(now) if Arc::ptr_eq(now, running)) {
            return;
        }
        *plan = match made {
            Ok(proposal) => {
                let proposal = Arc::new(proposal);
                *held(&self.last) = Some(proposal.clone());
                Making::Ready(proposal)
            }
            Err(trouble) => Making::Failed(trouble),
        };
    }
}

/// Plans `days` days for about `seconds`, unless a plan is being made already.
pub(crate) fn start_plan(app: &Arc<App>, days: u16, seconds: u16) {
    let running = Arc::new(Running { since: app.now(), seconds, days });
    {
        let mut plan = held(&app.desk.plan);
        if matches!(*plan, Making::Running(_)) {
            return;
        }
        *plan = Making::Running(running.clone());
    }
    let app = app.clone();
    tokio::spawn(async move {
        let _turn = app.desk.turn.lock().await;
        let for_plan = app.clone();
        let made = apart(move || proposal(&for_plan, days, seconds)).await;
        app.desk.finish(&running, made);
    });
}

fn proposal(app: &App, days: u16, seconds: u16) -> Result<Proposal, Trouble> {
    let (mut shop, risks) = ground(app)?;
    let round = Round::of(&shop, &risks, usize::from(days), Duration::from_secs(seconds.into()))?;
    // Most of a hall's size is what its machines were used, which nobody asks of a plan that is made.
    for state in &mut shop.states {
        state.days = Vec::new();
        state.standings.values_mut().for_each(|standing| standing.base = Usage::new());
    }
    Ok(Proposal { shop, round, seconds, made: app.now() })
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
