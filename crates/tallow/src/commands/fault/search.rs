//! Where the search for a cause stands: plain data, for every front end.

use upkeep::build::{Caution, State};
use upkeep::fault::said::Asked;
use upkeep::fault::{Advice, Case, Guide, Progress, RemedyKind, Step, Work};

use super::Known;

/// Causes less likely than this are not listed.
const LEAST: f64 = 0.005;

/// A fault, and where the search for its cause stands.
pub(crate) struct Search {
    /// The fault.
    pub(crate) case: Case,
    /// The causes, the likeliest first.
    pub(crate) ranked: Vec<Ranked>,
    /// The chance of something that is not listed.
    pub(crate) unlisted: f64,
    /// What comes next.
    pub(crate) next: Next,
    /// What it is expected to cost from here until it is mended; `None` where safety comes first, or nothing can be reckoned.
    pub(crate) expected_cost: Option<f64>,
    /// Names in the record that mean nothing to this machine's build any more, and count for nothing.
    pub(crate) unknown: Vec<String>,
    /// What the money is called.
    pub(crate) currency: String,
}

/// A cause, and how likely it is.
pub(crate) struct Ranked {
    /// With its position: `belts: slack belt`.
    pub(crate) title: String,
    /// The position.
    pub(crate) at: String,
    /// The manner in which the part fails.
    pub(crate) mode: String,
    /// Its chance, given everything that was told.
    pub(crate) chance: f64,
    /// What its machine's history says of it.
    pub(crate) history: String,
    /// What was told and speaks for it, and how often it shows that.
    pub(crate) speaks: Vec<String>,
}

/// What comes next.
pub(crate) enum Next {
    /// Nothing: the fault is over.
    Over,
    /// Before all else, what this symptom orders.
    Stop { symptom: String, order: String },
    /// A check.
    Check(Ask),
    /// A remedy.
    Remedy(Ask),
    /// Nothing that is listed is left.
    AskSomebody,
    /// The answers contradict each other; how to go on.
    Contradiction(String),
}

/// A check or a remedy, with what it takes.
pub(crate) struct Ask {
    /// What it is called.
    pub(crate) name: String,
    /// What to do.
    pub(crate) steps: Vec<String>,
    /// Cautions, each before the step that it belongs to.
    pub(crate) cautions: Vec<Caution>,
    /// Hands-on time, min.
    pub(crate) minutes: f64,
    /// Supplies and parts, in money.
    pub(crate) money: f64,
    /// The state that the machine must be in.
    pub(crate) state: State,
    /// Whether it is for a qualified person.
    pub(crate) qualified: bool,
    /// The causes that a check tells, or a remedy mends, of those that are likely.
    pub(crate) of: Vec<String>,
    /// Of a remedy, of which kind it is.
    pub(crate) kind: Option<RemedyKind>,
}

impl Search {
    /// Of an open or closed fault, by what is known of its machine.
    pub(crate) fn of(case: &Case, known: &Known) -> Search {
        let guide = known.guide();
        let (progress, unknown) = case.progress(&guide);
        let mut search = Search {
            case: case.clone(),
            ranked: Vec::new(),
            unlisted: 0.0,
            next: Next::Over,
            expected_cost: None,
            unknown,
            currency: known.currency.clone(),
        };
        match guide.next(&progress) {
            Err(contradiction) => {
                search.next = Next::Contradiction(contradiction.tell(|finding| known.faults.finding(finding)));
            }
            Ok(advice) => {
                search.ranked = ranked(known, &progress, &advice.chances);
                search.unlisted = advice.chances.last().copied().unwrap_or_default();
                if case.end.is_none() {
                    search.take(known, &guide, &advice);
                }
            }
        }
        search
    }

    fn take(&mut self, known: &Known, guide: &Guide<'_>, advice: &Advice) {
        self.expected_cost = Some(advice.expected_cost).filter(|_| !matches!(advice.step, Step::Stop(_)));
        let titles = |places: &mut dyn Iterator<Item = usize>| {
            let mut likely: Vec<usize> = places.filter(|place| LEAST <= advice.chances[*place]).collect();
            likely.sort_by(|one, other| advice.chances[*other].total_cmp(&advice.chances[*one]));
            likely.into_iter().map(|place| known.faults.causes[place].title()).collect::<Vec<_>>()
        };
        self.next = match advice.step {
            Step::AskSomebody => Next::AskSomebody,
            Step::Stop(symptom) => {
                let symptom = &known.faults.symptoms[symptom];
                Next::Stop { symptom: symptom.name.clone(), order: symptom.stop.clone().unwrap_or_default() }
            }
            Step::Check(place) => {
                let check = &known.faults.checks[place];
                let of = titles(&mut check.tells.iter().map(|(cause, _)| *cause));
                Next::Check(Ask::new(check.title(), &check.work, of, None))
            }
            Step::Remedy(place) => {
                let mends = &guide.remedies[place].mends;
                let remedy = &known.faults.causes[mends[0]].remedy;
                let of = titles(&mut mends.iter().copied());
                Next::Remedy(Ask::new(guide.remedy_name(place), &remedy.work, of, Some(remedy.kind.clone())))
            }
        };
    }
}

impl Ask {
    fn new(name: String, work: &Work, of: Vec<String>, kind: Option<RemedyKind>) -> Ask {
        let Work { steps, minutes, money, state, qualified, cautions } = work.clone();
        Ask { name, steps, cautions, minutes, money, state, qualified, of, kind }
    }

    /// Whether a part is replaced.
    pub(crate) fn replaces(&self) -> bool {
        self.kind == Some(RemedyKind::Replace)
    }
}

impl Next {
    /// What it asks, by name; `None` where it asks nothing.
    pub(crate) fn asked(&self) -> Option<Asked> {
        match self {
            Next::Stop { symptom, .. } => Some(Asked::Stop(symptom.clone())),
            Next::Check(ask) => Some(Asked::Check(ask.name.clone())),
            Next::Remedy(ask) => Some(Asked::Remedy(ask.name.clone())),
            Next::Over | Next::AskSomebody | Next::Contradiction(_) => None,
        }
    }
}

fn ranked(known: &Known, progress: &Progress, chances: &[f64]) -> Vec<Ranked> {
    let mut places: Vec<usize> = (0..known.faults.causes.len()).filter(|place| LEAST <= chances[*place]).collect();
    places.sort_by(|one, other| chances[*other].total_cmp(&chances[*one]));
    let of_cause = |place: usize| {
        let cause = &known.faults.causes[place];
        Ranked {
            title: cause.title(),
            at: cause.at.clone(),
            mode: cause.mode.clone(),
            chance: chances[place],
            history: known.priors[place].reason.to_string(),
            speaks: speaks(known, progress, place),
        }
    };
    places.into_iter().map(of_cause).collect()
}

/// What was found and speaks for a cause: `shows "squeal while moving" often`.
fn speaks(known: &Known, progress: &Progress, cause: usize) -> Vec<String> {
    let likely = progress.evidence.iter().filter(|evidence| 0.5 < evidence.sure);
    let grade = |finding: usize| match finding.checked_sub(known.faults.symptoms.len()) {
        None => {
            known.faults.causes[cause].shows.iter().find(|(symptom, _)| *symptom == finding).map(|(_, grade)| *grade)
        }
        Some(check) => {
            known.faults.checks[check].tells.iter().find(|(told, _)| *told == cause).map(|(_, grade)| *grade)
        }
    };
    let words = |finding: usize| Some(format!("{} shows \"{}\"", grade(finding)?, known.faults.finding(finding)));
    likely.filter_map(|evidence| words(evidence.finding)).collect()
}
