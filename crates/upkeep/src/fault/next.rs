//! What to do next: the check or the remedy with the lowest expected cost until the fault is mended.
//!
//! Where there is one fault, and each remedy mends its causes or leaves all as it was, trying remedies by falling
//! chance/cost costs least (Kadane and Simon 1977; Kalagnanam and Henrion 1990; for fault finding: Heckerman, Breese and
//! Rommelse 1995, CACM 38(3)). That is the base policy. A check has no such order: it is worth its cost plus, for each
//! answer, what the base policy would cost then; the most promising are looked at one check further, since a check that
//! tells several causes may pay only with another.

use super::network::{Contradiction, Evidence, Network};
use super::{Faults, RemedyKind, Work};
use crate::Prices;

/// Trying whether a remedy mended it, min. Judgement, no source.
const TRY_MIN: f64 = 5.0;

/// What finding a fault takes that is not listed, min. Judgement, no source.
const UNLISTED_MIN: f64 = 180.0;

/// The chance that a fault is one that is not listed. Judgement, no source.
const UNLISTED: f64 = 0.05;

/// How many checks are looked at one further.
const LOOKED_FURTHER: usize = 2;

/// A check that tells only causes less likely than this together is left alone.
const LEAST_TOLD: f64 = 0.03;

/// A way through the faults of one machine.
#[derive(Clone, Debug)]
pub struct Guide<'a> {
    faults: &'a Faults,
    network: Network,
    /// For each finding and each cause, then for none of them: the chance that it shows.
    chances: Vec<Vec<f64>>,
    /// Remedies, those that are the same piece of work together.
    pub remedies: Vec<Action>,
    /// The cost of each check.
    check_costs: Vec<f64>,
    /// What it costs to find a fault that is not listed.
    unlisted_cost: f64,
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

/// The expected cost of trying remedies by falling chance/cost until one helps: pairs of chance and cost.
///
/// # Formula
/// Σ cost · (chance that none before it helped). `rest` is the chance that none of them will help.
pub fn base_cost(remedies: &mut [(f64, f64)], rest: f64) -> f64 {
    remedies.sort_by(|one, other| (other.0 * one.1).total_cmp(&(one.0 * other.1)));
    let mut left = rest + remedies.iter().map(|(chance, _)| chance).sum::<f64>();
    let mut cost = 0.0;
    for (chance, one) in remedies.iter().filter(|(chance, _)| 0.0 < *chance) {
        cost += one * left;
        left -= chance;
    }
    cost
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
        let chances = network.findings.iter().map(row).collect();
        let check_costs = faults.checks.iter().map(|check| cost_of(&check.work, 0.0, prices)).collect();
        let unlisted_cost = prices.labour(UNLISTED_MIN) + prices.standing(UNLISTED_MIN);
        Guide { faults, network, chances, remedies: actions(faults, prices), check_costs, unlisted_cost }
    }

    /// The faults that it goes by.
    pub fn faults(&self) -> &'a Faults {
        self.faults
    }

    /// What a check costs.
    pub fn check_cost(&self, check: usize) -> f64 {
        self.check_costs[check]
    }

    /// What it costs to find a fault that is not listed.
    pub fn unlisted_cost(&self) -> f64 {
        self.unlisted_cost
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
        for &known in &progress.evidence {
            chances = self.seen(&chances, known).1;
            if chances.iter().all(|chance| *chance == 0.0) {
                return Err(self.contradiction(progress));
            }
        }
        let total: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|chance| *chance /= total);
        Ok(chances)
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
        let (step, expected_cost) = self.best(&chances, &progress.passed);
        Ok(Advice { step, expected_cost, chances })
    }

    fn best(&self, chances: &[f64], passed: &[usize]) -> (Step, f64) {
        let mut best = (self.first_remedy(chances), self.base(chances));
        let mut checks: Vec<(usize, f64)> = self
            .worth(chances, passed)
            .map(|check| (check, self.with_check(chances, check, |after| self.base(after))))
            .collect();
        checks.sort_by(|one, other| one.1.total_cmp(&other.1));
        let further = |check: usize| {
            let passed: Vec<usize> = passed.iter().copied().chain([check]).collect();
            self.with_check(chances, check, |after| {
                let again = |next| self.with_check(after, next, |last| self.base(last));
                self.worth(after, &passed).map(again).fold(self.base(after), f64::min)
            })
        };
        for (check, cost) in checks.into_iter().take(LOOKED_FURTHER) {
            let cost = cost.min(further(check));
            if cost < best.1 {
                best = (Step::Check(check), cost);
            }
        }
        best
    }

    /// The checks that may tell something.
    fn worth<'b>(&'b self, chances: &'b [f64], passed: &'b [usize]) -> impl Iterator<Item = usize> + 'b {
        (0..self.faults.checks.len()).filter(move |check| {
            let told = || self.faults.checks[*check].tells.iter().map(|(cause, _)| chances[*cause]).sum::<f64>();
            !passed.contains(check) && LEAST_TOLD <= told()
        })
    }

    /// The remedy with the most chance for its cost.
    fn first_remedy(&self, chances: &[f64]) -> Step {
        let rate = |action: &Action| mended(action, chances) / action.cost;
        let all = self.remedies.iter().enumerate().map(|(place, action)| (place, rate(action)));
        let best = all.filter(|(_, rate)| 0.0 < *rate).max_by(|one, other| one.1.total_cmp(&other.1));
        best.map_or(Step::AskSomebody, |(place, _)| Step::Remedy(place))
    }

    /// The expected cost by the base policy.
    fn base(&self, chances: &[f64]) -> f64 {
        let all = self.remedies.iter().map(|action| (mended(action, chances), action.cost));
        let mut remedies: Vec<(f64, f64)> = all.filter(|(chance, _)| 0.0 < *chance).collect();
        let rest = chances.last().copied().unwrap_or_default();
        base_cost(&mut remedies, rest) + self.unlisted_cost * rest
    }

    /// The expected cost of a check and of what comes `after` its answers.
    fn with_check(&self, chances: &[f64], check: usize, after: impl Fn(&[f64]) -> f64) -> f64 {
        let cost = |known| {
            let (chance, mut left) = self.seen(chances, known);
            if chance <= 0.0 {
                return 0.0;
            }
            left.iter_mut().for_each(|one| *one /= chance);
            chance * after(&left)
        };
        let finding = self.faults.symptoms.len() + check;
        self.check_costs[check] + cost(Evidence::yes(finding)) + cost(Evidence::no(finding))
    }

    /// The chances each multiplied by that of the evidence, and their sum.
    fn seen(&self, chances: &[f64], known: Evidence) -> (f64, Vec<f64>) {
        let shows = self.chances[known.finding].iter().map(|shows| known.chance(*shows, 1.0 - shows));
        let left: Vec<f64> = chances.iter().zip(shows).map(|(chance, shows)| chance * shows).collect();
        (left.iter().sum(), left)
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

#[cfg(test)]
mod tests {
    use super::base_cost;
    use crate::rounds::random::Random;

    fn in_order(remedies: &[(f64, f64)], order: &[usize], rest: f64) -> f64 {
        let mut left: f64 = rest + remedies.iter().map(|(chance, _)| chance).sum::<f64>();
        order.iter().fold(0.0, |cost, &place| {
            let cost = cost + left * remedies[place].1;
            left -= remedies[place].0;
            cost
        })
    }

    fn orders(count: usize) -> Vec<Vec<usize>> {
        if count == 0 {
            return vec![Vec::new()];
        }
        let shorter = orders(count - 1);
        let put = |order: &Vec<usize>, at: usize| [&order[..at], &[count - 1], &order[at..]].concat();
        shorter.iter().flat_map(|order| (0..count).map(move |at| put(order, at))).collect()
    }

    /// Kadane and Simon (1977); Heckerman, Breese and Rommelse (1995): best by chance/cost, of all 24 orders.
    #[test]
    fn four_checks_by_chance_over_cost_cost_32_5() {
        let checks = [(0.40, 30.0), (0.25, 10.0), (0.20, 5.0), (0.15, 20.0)];
        let mut sorted = checks;
        assert!((base_cost(&mut sorted, 0.0) / 32.5 - 1.0).abs() < 1e-8);
        assert_eq!(sorted, [checks[2], checks[1], checks[0], checks[3]]);
        let worst = orders(4).iter().map(|order| in_order(&checks, order, 0.0)).fold(0.0, f64::max);
        assert!((worst / 51.0 - 1.0).abs() < 1e-8, "{worst}");
    }

    #[test]
    fn no_order_of_random_remedies_costs_less() {
        let mut random = Random::new(3);
        for _ in 0..50 {
            let remedies: Vec<(f64, f64)> = (0..5).map(|_| (0.2 * random.share(), 1.0 + random.share())).collect();
            let rest = 0.1 * random.share();
            let least = orders(5).iter().map(|order| in_order(&remedies, order, rest)).fold(f64::MAX, f64::min);
            assert!((base_cost(&mut remedies.clone(), rest) / least - 1.0).abs() < 1e-12, "{remedies:?}");
        }
    }
}
