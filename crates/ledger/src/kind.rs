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
    /// People have been told of a visit.
    Visit,
    /// A task of a visit was not done.
    Skipped,
    /// Somebody looks after machines, or does no more.
    Keeper,
    /// A keeper has days off.
    Away,
    /// Something for the stores was ordered.
    Ordered,
    /// Something came into the stores.
    Received,
    /// Something in the stores was counted.
    Counted,
    /// Something left the stores unused.
    ThrownAway,
    /// How something is bought.
    Terms,
    /// A machine shows a fault.
    FaultShown,
    /// An answer on the way to a fault's cause.
    FaultAnswered,
    /// A fault is over.
    FaultOver,
    /// How often a cause shows something, by the shop's own judgement.
    FaultGrade,
    /// Another entry was withdrawn.
    Withdrawn,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Kind; 25] = [
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
        Kind::Visit,
        Kind::Skipped,
        Kind::Keeper,
        Kind::Away,
        Kind::Ordered,
        Kind::Received,
        Kind::Counted,
        Kind::ThrownAway,
        Kind::Terms,
        Kind::FaultShown,
        Kind::FaultAnswered,
        Kind::FaultOver,
        Kind::FaultGrade,
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
            Event::Visit(_) => Kind::Visit,
            Event::Skipped { .. } => Kind::Skipped,
            Event::Keeper(_) => Kind::Keeper,
            Event::Away(_) => Kind::Away,
            Event::Ordered(_) => Kind::Ordered,
            Event::Received(_) => Kind::Received,
            Event::Counted(_) => Kind::Counted,
            Event::ThrownAway(_) => Kind::ThrownAway,
            Event::Terms(_) => Kind::Terms,
            Event::FaultShown(_) => Kind::FaultShown,
            Event::FaultAnswered(_) => Kind::FaultAnswered,
            Event::FaultOver(_) => Kind::FaultOver,
            Event::FaultGrade(_) => Kind::FaultGrade,
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
            Kind::Visit => "visit",
            Kind::Skipped => "skipped",
            Kind::Keeper => "keeper",
            Kind::Away => "away",
            Kind::Ordered => "ordered",
            Kind::Received => "received",
            Kind::Counted => "counted",
            Kind::ThrownAway => "thrown away",
            Kind::Terms => "terms",
            Kind::FaultShown => "fault",
            Kind::FaultAnswered => "fault answer",
            Kind::FaultOver => "fault over",
            Kind::FaultGrade => "fault grade",
            Kind::Withdrawn => "withdrawn",
        }
    }

    /// The kind of that word.
    pub fn from_word(word: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}
