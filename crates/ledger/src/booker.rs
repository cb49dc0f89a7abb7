//! Entries that arrive while others are being written wait, and are written together: a group shares one wait for the disk.

use std::sync::Arc;

use tokio::sync::{Mutex, mpsc, oneshot};
use upkeep::EntryId;

use crate::place::Engine;
use crate::{Error, Ledger, NewEntry};

/// An entry that waits to be booked.
#[derive(Clone, Debug)]
pub(crate) struct Waiting {
    /// What it says.
    pub new: NewEntry,
    /// Who records it, where that is known.
    pub by: Option<Arc<str>>,
    /// The revision that the machine's record must still have ([`Ledger::as_read_at`]).
    pub read_at: Option<i64>,
}

/// Entries written in one transaction. More make it longer, and save little more.
const MOST: usize = 256;

type Answer = oneshot::Sender<Result<EntryId, Error>>;

type Line = Mutex<mpsc::Receiver<(Waiting, Answer)>>;

/// Where entries wait for each other.
#[derive(Clone, Debug)]
pub(crate) struct Booker(mpsc::Sender<(Waiting, Answer)>);

impl Booker {
    /// Starts to write what will be handed in to the shop of `ledger`. That ends when nobody can hand anything in any more.
    pub(crate) fn start(ledger: &Ledger) -> Booker {
        let (sender, receiver) = mpsc::channel(MOST);
        let line = Arc::new(Mutex::new(receiver));
        // An embedded file has one writer at a time. On a server one group is prepared while another waits for the disk.
        let writers = match ledger.engine {
            Engine::Sqlite => 1,
            Engine::Postgres => 2,
        };
        for _ in 0..writers {
            let plain = Ledger { booker: None, ..ledger.clone() };
            tokio::spawn(write(plain, line.clone()));
        }
        Booker(sender)
    }

    /// Hands an entry in and waits until it is booked or refused.
    pub(crate) async fn book(&self, waiting: Waiting) -> Result<EntryId, Error> {
        let (answer, answered) = oneshot::channel();
        let broke_off = || Error::Unreachable { reason: "what writes the record has ended".to_owned() };
        self.0.send((waiting, answer)).await.map_err(|_| broke_off())?;
        answered.await.map_err(|_| broke_off())?
    }
}

/// Writes group after group, each with all that wait by then.
async fn write(ledger: Ledger, line: Arc<Line>) {
    loop {
        let mut group = Vec::new();
        if line.lock().await.recv_many(&mut group, MOST).await == 0 {
            return;
        }
        let (waiting, answers): (Vec<Waiting>, Vec<Answer>) = group.into_iter().unzip();
        for (answer, outcome) in answers.into_iter().zip(outcomes(&ledger, &waiting).await) {
            // OK to ignore: whoever asked has gone, and finds the entry in the record.
            let _ = answer.send(outcome);
        }
    }
}

/// What became of each of a group. Where the group fails for the sake of one machine's rows, each entry is tried alone.
async fn outcomes(ledger: &Ledger, waiting: &[Waiting]) -> Vec<Result<EntryId, Error>> {
    let error = match ledger.book(waiting).await {
        Ok(outcomes) => return outcomes,
        Err(error) => error,
    };
    if error.of_all().is_some() {
        return waiting.iter().filter_map(|_| error.of_all().map(Err)).collect();
    }
    let mut outcomes = Vec::with_capacity(waiting.len());
    for one in waiting {
        let outcome = ledger.book(std::slice::from_ref(one)).await;
        outcomes.push(outcome.and_then(|mut outcomes| outcomes.remove(0)));
    }
    outcomes
}
