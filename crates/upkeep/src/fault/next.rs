//! What to do next: the check or the remedy with the lowest expected cost until the fault is mended ([`super::look`] has the
//! method).

use super::look::{Choice, Choices};
use super::network::{Contradiction, Evidence, Network};
use super::{Faults, Grade, RemedyKind, Work};
use crate::Prices;

/// Trying whether a remedy mended it, min. Judgement, no source.
const TRY_MIN: f64 = 5.0;

/// What finding a fault takes that is not listed, min. Judgement, no source.
const UNLISTED_MIN: f64 = 180.0;

/// A fault is looked for because it showed itself: a cause that shows none of the symptoms told is one only if they were told
/// amiss. Judgement, no source.
const TOLD_AMISS: f64 = Grade::HardlyEver.chance();

/// The chance that a fault is one that is not listed. Judgement, no source.
const UNLISTED: f64 = 0.05;

/// A way through the faults of one machine.
#[derive(Clone, Debug)]
pub struct Guide<'a> {
    faults: &'a Faults,
    network: Network,
    /// For each finding and each cause, then for none of them: the chance that it shows.
    chances: Vec<Vec<f64>>,
    /// Remedies, those that are the same piece of work together.
    pub remedies: Vec<Action>,
    choices: Choices,
}

/// One piece of work and the causes that it mends.
#[derive(Clone, Debug, PartialEq)]
pub struct Action {
    /// The causes, by their place.
    pub mends: Vec<usize>,
    /// What it costs, with trying whether it helped.
    pub cost: f64,
}

/// What a keeper answers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// It is so.
    Yes,
    /// It is not.
    No,
    /// A measurement says with this chance, between 0 and 1, that it is so.
    Likely(f64),
    /// It cannot be told.
    CannotTell,
    /// This was done before, and did not help.
    DidThatAlready,
    /// This mended it.
    FixedIt,
}

impl Answer {
    /// How surely what was looked for is there, where the answer says so.
    pub(super) fn sure(self) -> Option<f64> {
        match self {
            Answer::Yes => Some(1.0),
            Answer::No => Some(0.0),
            Answer::Likely(sure) => Some(sure),
            Answer::CannotTell | Answer::DidThatAlready | Answer::FixedIt => None,
        }
    }
}

/// What was answered so far.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Progress {
    /// Findings, by their place in the network.
    pub evidence: Vec<Evidence>,
    /// Checks that are not asked again.
    pub passed: Vec<usize>,
    /// Remedies that did not help.
    pub tried: Vec<usize>,
    /// Symptoms whose order to stop was followed.
    pub stopped: Vec<usize>,
    /// The remedy that mended it.
    pub fixed: Option<usize>,
}

/// A step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Make this check.
    Check(usize),
    /// Do this remedy, by its place in [`Guide::remedies`].
    Remedy(usize),
    /// Do what this symptom's `stop` says, before all else.
    Stop(usize),
    /// Nothing that is listed is left: ask somebody who knows the machine.
    AskSomebody,
}

/// A step and what it is expected to lead to.
#[derive(Clone, Debug, PartialEq)]
pub struct Advice {
    /// What to do.
    pub step: Step,
    /// The cost from here until it is mended, in money as [`Prices`] has it; 0 where safety comes first.
    pub expected_cost: f64,
    /// The chance of each cause, and last that of something that is not listed.
    pub chances: Vec<f64>,
}

/// What work costs that takes these minutes and this money, with the machine standing still.
fn cost_of(work: &Work, more_min: f64, prices: &Prices) -> f64 {
    let minutes = work.minutes + more_min;
    prices.labour(minutes) + prices.standing(minutes) + work.money
}

impl<'a> Guide<'a> {
    /// A way through `faults`, whose network is `network`.
    pub fn new(faults: &'a Faults, network: Network, prices: &Prices) -> Guide<'a> {
        let causes = network.priors.len();
        let row = |finding: &super::Finding| {
            let mut row = vec![finding.leak; causes + 1];
            finding.links.iter().for_each(|(cause, _)| row[*cause] = finding.chance(Some(*cause)));
            row
        };
        let chances: Vec<Vec<f64>> = network.findings.iter().map(row).collect();
        let check = |(check, yes): (&super::Check, &Vec<f64>)| Choice {
            cost: cost_of(&check.work, 0.0, prices),
            yes: yes.clone(),
            tells: check.tells.iter().map(|(cause, _)| *cause).collect(),
        };
        let checks = faults.checks.iter().zip(&chances[faults.symptoms.len()..]).map(check).collect();
        let remedies = actions(faults, prices);
        let mut mended_by = vec![0; causes];
        for (place, action) in remedies.iter().enumerate() {
            action.mends.iter().for_each(|&cause| mended_by[cause] = place);
        }
        let choices = Choices {
            remedies: remedies.iter().map(|action| action.cost).collect(),
            mended_by,
            checks,
            unlisted: prices.labour(UNLISTED_MIN) + prices.standing(UNLISTED_MIN),
        };
        Guide { faults, network, chances, remedies, choices }
    }

    /// The faults that it goes by.
    pub fn faults(&self) -> &'a Faults {
        self.faults
    }

    /// What a check costs.
    pub fn check_cost(&self, check: usize) -> f64 {
        self.choices.checks[check].cost
    }

    /// What it costs to find a fault that is not listed.
    pub fn unlisted_cost(&self) -> f64 {
        self.choices.unlisted
    }

    /// Takes an answer to a step in.
    pub fn answer(&self, progress: &mut Progress, step: Step, answer: Answer) {
        match (step, answer) {
            (Step::Stop(symptom), _) => progress.stopped.push(symptom),
            (Step::Remedy(remedy), Answer::FixedIt | Answer::Yes) => progress.fixed = Some(remedy),
            (Step::Remedy(remedy), _) => progress.tried.push(remedy),
            (Step::Check(check), _) => {
                let finding = self.faults.symptoms.len() + check;
                progress.evidence.extend(answer.sure().map(|sure| Evidence { finding, sure }));
                progress.passed.push(check);
            }
            (Step::AskSomebody, _) => {}
        }
    }

    /// The chance of each cause, if there is one fault, and last that of something that is not listed.
    ///
    /// # Errors
    /// If no cause that is left, nor something not listed, can bring the evidence about.
    pub fn chances(&self, progress: &Progress) -> Result<Vec<f64>, Contradiction> {
        let odds = self.network.priors.iter().map(|prior| prior / (1.0 - prior));
        let mut chances: Vec<f64> = odds.collect();
        chances.push(UNLISTED / (1.0 - UNLISTED) * chances.iter().sum::<f64>());
        let mended = progress.tried.iter().flat_map(|&remedy| &self.remedies[remedy].mends);
        mended.for_each(|&cause| chances[cause] = 0.0);
        let told: Vec<usize> = self.told(progress).collect();
        if !told.is_empty() {
            let unrelated = (0..self.faults.causes.len()).filter(|cause| !self.shows_one_of(*cause, &told));
            unrelated.for_each(|cause| chances[cause] *= TOLD_AMISS);
        }
        for &known in &progress.evidence {
            let shows = self.chances[known.finding].iter();
            chances.iter_mut().zip(shows).for_each(|(chance, shows)| *chance *= known.chance(*shows, 1.0 - shows));
            if chances.iter().all(|chance| *chance == 0.0) {
                return Err(self.contradiction(progress));
            }
        }
        let total: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|chance| *chance /= total);
        Ok(chances)
    }

    /// The symptoms that show.
    fn told(&self, progress: &Progress) -> impl Iterator<Item = usize> {
        let shows = |known: &&Evidence| known.finding < self.faults.symptoms.len() && 0.5 < known.sure;
        progress.evidence.iter().filter(shows).map(|known| known.finding)
    }

    fn shows_one_of(&self, cause: usize, told: &[usize]) -> bool {
        self.faults.causes[cause].shows.iter().any(|(symptom, _)| told.contains(symptom))
    }

    fn contradiction(&self, progress: &Progress) -> Contradiction {
        let all = progress.evidence.iter().map(|known| known.finding).collect();
        self.network.posterior(&progress.evidence, 1).err().unwrap_or(Contradiction { answers: all })
    }

    /// The next step.
    ///
    /// # Errors
    /// If the answers contradict each other.
    pub fn next(&self, progress: &Progress) -> Result<Advice, Contradiction> {
        let chances = self.chances(progress)?;
        let stop = progress.evidence.iter().find(|known| {
            let stops = self.faults.symptoms.get(known.finding).is_some_and(|symptom| symptom.stop.is_some());
            0.0 < known.sure && stops && !progress.stopped.contains(&known.finding)
        });
        if let Some(known) = stop {
            return Ok(Advice { step: Step::Stop(known.finding), expected_cost: 0.0, chances });
        }
        let (check, expected_cost) = self.choices.best(&chances, &progress.passed);
        let step = check.map_or_else(|| self.first_remedy(&chances), Step::Check);
        Ok(Advice { step, expected_cost, chances })
    }

    /// The remedy with the most chance for its cost.
    fn first_remedy(&self, chances: &[f64]) -> Step {
        let rate = |action: &Action| mended(action, chances) / action.cost;
        let all = self.remedies.iter().enumerate().map(|(place, action)| (place, rate(action)));
        let best = all.filter(|(_, rate)| 0.0 < *rate).max_by(|one, other| one.1.total_cmp(&other.1));
        best.map_or(Step::AskSomebody, |(place, _)| Step::Remedy(place))
    }
}

fn mended(action: &Action, chances: &[f64]) -> f64 {
    action.mends.iter().map(|&cause| chances[cause]).sum()
}

/// The remedies of all causes, those that are the same piece of work together.
fn actions(faults: &Faults, prices: &Prices) -> Vec<Action> {
    let mut actions: Vec<Action> = Vec::new();
    for (place, cause) in faults.causes.iter().enumerate() {
        let same = actions.iter_mut().find(|action| {
            let first = &faults.causes[action.mends[0]];
            match (&first.remedy.kind, &cause.remedy.kind) {
                (RemedyKind::Task(one), RemedyKind::Task(other)) => one == other,
                (RemedyKind::Replace, RemedyKind::Replace) => first.at == cause.at && first.remedy == cause.remedy,
                _ => false,
            }
        });
        match same {
            Some(action) => action.mends.push(place),
            None => actions.push(Action { mends: vec![place], cost: cost_of(&cause.remedy.work, TRY_MIN, prices) }),
        }
    }
    actions
}
