//! The kinds of entry, by the words that the record uses.

use upkeep::Event;

/// Which of the events an entry records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// A machine joined.
    Added,
    /// A run was executed.
    Run,
    /// A run is expected.
    Queued,
    /// A task was done.
    Done,
    /// A part was replaced.
    Replaced,
    /// A part failed.
    Failed,
    /// A condition was measured.
    Reading,
    /// The hour meter was read.
    HourMeter,
    /// A task got a limit of the shop's own.
    Limit,
    /// A part was old when its machine joined.
    Age,
    /// What things cost in the shop's money.
    Rates,
    /// Another entry was withdrawn.
    Withdrawn,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Kind; 12] = [
        Kind::Added,
        Kind::Run,
        Kind::Queued,
        Kind::Done,
        Kind::Replaced,
        Kind::Failed,
        Kind::Reading,
        Kind::HourMeter,
        Kind::Limit,
        Kind::Age,
        Kind::Rates,
        Kind::Withdrawn,
    ];

    /// The kind of `event`.
    pub fn of(event: &Event) -> Kind {
        match event {
            Event::Added { .. } => Kind::Added,
            Event::Run(_) => Kind::Run,
            Event::Queued(_) => Kind::Queued,
            Event::Done { .. } => Kind::Done,
            Event::Replaced { .. } => Kind::Replaced,
            Event::Failed { .. } => Kind::Failed,
            Event::Reading { .. } => Kind::Reading,
            Event::HourMeter { .. } => Kind::HourMeter,
            Event::Limit(_) => Kind::Limit,
            Event::Age { .. } => Kind::Age,
            Event::Rates(_) => Kind::Rates,
            Event::Withdrawn => Kind::Withdrawn,
        }
    }

    /// Its word in the record. Never changes once released.
    pub const fn word(self) -> &'static str {
        match self {
            Kind::Added => "added",
            Kind::Run => "run",
            Kind::Queued => "queued",
            Kind::Done => "done",
            Kind::Replaced => "replaced",
            Kind::Failed => "failed",
            Kind::Reading => "reading",
            Kind::HourMeter => "hour meter",
            Kind::Limit => "limit",
            Kind::Age => "age",
            Kind::Rates => "rates",
            Kind::Withdrawn => "withdrawn",
        }
    }

    /// The kind of that word.
    pub fn from_word(word: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}
