//! What the method saves: faults drawn from the network, each mended in three ways.
//!
//! Machines' histories are drawn, and from them the faults; a keeper tells what shows. The three ways meet the same faults
//! and would get the same answer to the same check. What is assumed: the network is right, one fault at a time, remedies
//! help when they are the right ones. docs/FAULTS.md says more.

use jiff::Timestamp;

use super::network::{Evidence, Network};
use super::next::{Answer, Guide, Progress, Step};
use super::{Faults, Grade, prior};
use crate::rounds::random::Random;
use crate::{Build, Prices, Risk, Used};

/// The middle share of an allowance that is used, and the spread of its logarithm. Judgement, no source: most care is done
/// before it is due, and one task in three is late.
const MIDDLE_SHARE: f64 = 0.7;
const LOG_SPREAD: f64 = 0.8;

/// Histories of which the mean is what a method knows that is not told the machine's own.
const HISTORIES: usize = 1000;

/// The mean cost until a fault is mended, in money as [`Prices`] has it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Means {
    /// A fixed list for the symptoms told, quickest first.
    pub checklist: f64,
    /// The method without the machine's history.
    pub without_history: f64,
    /// The method with it.
    pub with_history: f64,
}

/// Draws `count` faults of `build` and mends each.
///
/// # Panics
/// Never for faults that were read from a file: their grades contradict no answer.
pub fn simulate(faults: &Faults, build: &Build, prices: &Prices, count: usize, seed: u64) -> Means {
    let mut random = Random::new(seed);
    let believed = Risk::believed();
    let usual = usual(faults, build, &believed, &mut random);
    let mut means = Means::default();
    for _ in 0..count {
        let network = network(faults, build, &believed, &mut random);
        let fault = draw(faults, &network, &mut random);
        let unknowing = Guide::new(faults, Network { priors: usual.clone(), ..network.clone() }, prices);
        let knowing = Guide::new(faults, network, prices);
        means.checklist += checklist(faults, &knowing, &fault) / count as f64;
        means.without_history += guided(&unknowing, faults, &fault) / count as f64;
        means.with_history += guided(&knowing, faults, &fault) / count as f64;
    }
    means
}

/// A fault, and the answer that each finding would give.
struct Fault {
    cause: usize,
    answers: Vec<bool>,
}

impl Fault {
    /// The symptoms that a keeper tells: those that show.
    fn told(&self, faults: &Faults) -> Vec<Evidence> {
        (0..faults.symptoms.len()).filter(|symptom| self.answers[*symptom]).map(Evidence::yes).collect()
    }
}

/// The network of a machine with a history that is drawn.
fn network(faults: &Faults, build: &Build, believed: &Risk, random: &mut Random) -> Network {
    let now = Timestamp::UNIX_EPOCH;
    let mut share = || MIDDLE_SHARE * (LOG_SPREAD * normal(random)).exp();
    let used: Vec<Used> = build.tasks.iter().map(|task| prior::at_share(task, share(), now)).collect();
    let risks = vec![believed.clone(); build.tasks.len()];
    faults.network(&prior::priors(faults, build, &used, &risks, &[], now))
}

/// The mean prior of each cause over many histories.
fn usual(faults: &Faults, build: &Build, believed: &Risk, random: &mut Random) -> Vec<f64> {
    let mut sums = vec![0.0; faults.causes.len()];
    for _ in 0..HISTORIES {
        let network = network(faults, build, believed, random);
        sums.iter_mut().zip(network.priors).for_each(|(sum, prior)| *sum += prior / HISTORIES as f64);
    }
    sums
}

/// A normal deviate (Box and Muller 1958).
fn normal(random: &mut Random) -> f64 {
    let [one, other] = [random.share(), random.share()];
    (-2.0 * (-one).ln_1p()).sqrt() * (std::f64::consts::TAU * other).cos()
}

/// One fault that shows something; a fault that shows nothing is not looked for.
fn draw(faults: &Faults, network: &Network, random: &mut Random) -> Fault {
    loop {
        let odds: Vec<f64> = network.priors.iter().map(|prior| prior / (1.0 - prior)).collect();
        let mut left = random.share() * odds.iter().sum::<f64>();
        let cause = odds.iter().position(|odds| {
            left -= odds;
            left <= 0.0
        });
        let cause = cause.unwrap_or(odds.len() - 1);
        let answers = network.findings.iter().map(|finding| random.share() < finding.chance(Some(cause))).collect();
        let fault = Fault { cause, answers };
        if !fault.told(faults).is_empty() {
            return fault;
        }
    }
}

/// The cost by a guide.
fn guided(guide: &Guide<'_>, faults: &Faults, fault: &Fault) -> f64 {
    let mut progress = Progress { evidence: fault.told(faults), ..Progress::default() };
    let mut cost = 0.0;
    while progress.fixed.is_none() {
        let step = guide.next(&progress).expect("grades contradict no answer").step;
        let answer = match step {
            Step::Check(check) => {
                cost += guide.check_cost(check);
                if fault.answers[faults.symptoms.len() + check] { Answer::Yes } else { Answer::No }
            }
            Step::Remedy(remedy) => {
                cost += guide.remedies[remedy].cost;
                if guide.remedies[remedy].mends.contains(&fault.cause) { Answer::FixedIt } else { Answer::No }
            }
            Step::Stop(_) => Answer::Yes,
            Step::AskSomebody => return cost + guide.unlisted_cost(),
        };
        guide.answer(&mut progress, step, answer);
    }
    cost
}

/// The cost by a list: everything that shows a symptom told, quickest first; where a check nearly always tells it and is quicker
/// than its remedy, the check comes first, and the remedy only after a yes. What was passed over so is done in the end.
fn checklist(faults: &Faults, guide: &Guide<'_>, fault: &Fault) -> f64 {
    let told = fault.told(faults);
    let shows =
        |cause: &usize| faults.causes[*cause].shows.iter().any(|(symptom, _)| told.contains(&Evidence::yes(*symptom)));
    let check_of = |remedy: usize| {
        let tells = |check: &usize| {
            let told = |(cause, grade): &(usize, Grade)| {
                *grade == Grade::NearlyAlways && guide.remedies[remedy].mends.contains(cause)
            };
            faults.checks[*check].tells.iter().any(told)
        };
        let cheapest = (0..faults.checks.len())
            .filter(tells)
            .min_by(|one, other| guide.check_cost(*one).total_cmp(&guide.check_cost(*other)));
        cheapest.filter(|check| guide.check_cost(*check) < guide.remedies[remedy].cost)
    };
    let first_cost =
        |remedy: usize| check_of(remedy).map_or(guide.remedies[remedy].cost, |check| guide.check_cost(check));
    let (mut listed, mut others): (Vec<usize>, Vec<usize>) =
        (0..guide.remedies.len()).partition(|&remedy| guide.remedies[remedy].mends.iter().any(shows));
    listed.sort_by(|one, other| first_cost(*one).total_cmp(&first_cost(*other)));
    let (mut cost, mut checked, mut passed) = (0.0, Vec::new(), Vec::new());
    let mends = |remedy: usize| guide.remedies[remedy].mends.contains(&fault.cause);
    for remedy in listed {
        if let Some(check) = check_of(remedy) {
            if !checked.contains(&check) {
                checked.push(check);
                cost += guide.check_cost(check);
            }
            if !fault.answers[faults.symptoms.len() + check] {
                passed.push(remedy);
                continue;
            }
        }
        cost += guide.remedies[remedy].cost;
        if mends(remedy) {
            return cost;
        }
    }
    others.sort_by(|one, other| guide.remedies[*one].cost.total_cmp(&guide.remedies[*other].cost));
    for remedy in passed.into_iter().chain(others) {
        cost += guide.remedies[remedy].cost;
        if mends(remedy) {
            return cost;
        }
    }
    cost + guide.unlisted_cost()
}
