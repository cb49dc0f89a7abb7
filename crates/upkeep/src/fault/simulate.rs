//! What the method saves: faults drawn from the network, each mended in three ways.
//!
//! Machines' histories are drawn, and from them the faults; a keeper tells what shows. The three ways meet the same faults
//! and would get the same answer to the same check. What is assumed: the network is right, one fault at a time, remedies
//! help when they are the right ones. docs/FAULTS.md says more.

use jiff::{SignedDuration, Timestamp};

use super::network::{Evidence, Network};
use super::next::{Answer, Guide, Progress, Step};
use super::{Faults, Grade, Part, prior};
use crate::build::{Allowance, Limit, Position, Task};
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
pub fn simulate(faults: &Faults, build: &Build, prices: &Prices, told: Told, count: usize, seed: u64) -> Means {
    let mut random = Random::new(seed);
    let believed = Risk::believed();
    let usual = usual(faults, build, &believed, &mut random);
    let mut means = Means::default();
    for _ in 0..count {
        let network = network(faults, build, &believed, &mut random);
        let fault = draw(faults, &network, told, &mut random);
        let unknowing = Guide::new(faults, Network { priors: usual.clone(), ..network.clone() }, prices);
        let knowing = Guide::new(faults, network, prices);
        means.checklist += checklist(faults, &knowing, &fault) / count as f64;
        means.without_history += guided(&unknowing, faults, &fault) / count as f64;
        means.with_history += guided(&knowing, faults, &fault) / count as f64;
    }
    means
}

/// Which of the symptoms that show a keeper tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// One of the fault's own, which made the keeper look.
    One,
    /// Every one.
    All,
}

/// A fault, the symptoms that a keeper tells, and the answer that each finding would give.
struct Fault {
    cause: usize,
    told: Vec<Evidence>,
    answers: Vec<bool>,
}

/// The network of a machine with a history that is drawn: how long ago each task was done, and how old each part is.
fn network(faults: &Faults, build: &Build, believed: &Risk, random: &mut Random) -> Network {
    let now = Timestamp::UNIX_EPOCH;
    let mut used: Vec<Used> = Vec::with_capacity(build.tasks.len());
    for task in &build.tasks {
        let share = MIDDLE_SHARE * (LOG_SPREAD * normal(random)).exp();
        used.push(prior::at_share(task, share, now - SignedDuration::from_secs_f64(86_400.0 * share * days(task))));
    }
    let parts: Vec<Part> = build.positions.iter().map(|position| part(position, build, random)).collect();
    let risks = vec![believed.clone(); build.tasks.len()];
    faults.network(&prior::priors(faults, build, &used, &risks, &parts, now))
}

/// The days that a task's calendar limit allows; three months' where it has none.
fn days(task: &Task) -> f64 {
    let of_limit = |limit: &Limit| match limit.every {
        Allowance::Elapsed { months, days } => Some(f64::from(months) * 365.25 / 12.0 + f64::from(days)),
        Allowance::Amount { .. } => None,
    };
    task.limits.iter().find_map(of_limit).unwrap_or(91.0)
}

/// A part of any age up to its characteristic life, with its hazard by a Weibull law: the tenth percentile of its life is what
/// the build believes, the shape what is common of parts that wear.
///
/// # Formula
/// h = (β/η) · (t/η)^(β − 1), η = t₁₀ · (−ln 0.9)^(−1/β).
fn part(position: &Position, build: &Build, random: &mut Random) -> Part {
    let age = random.share();
    let shape = life::bayes::Prior::common_shape().median();
    let per_day = position.life.as_ref().and_then(|life| {
        let (_, per_hour) = build.expected.per_hour.iter().find(|(quantity, _)| *quantity == life.of)?;
        let characteristic = life.tenth * (-(0.9_f64.ln())).powf(-1.0 / shape);
        let use_per_day = per_hour * build.expected.hours_per_week / 7.0;
        Some(use_per_day * shape / characteristic * age.powf(shape - 1.0))
    });
    Part { at: position.name.clone(), since: None, per_day: per_day.filter(|per_day| 0.0 < *per_day) }
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

/// One fault that shows a symptom of its own; one that shows none is not looked for.
fn draw(faults: &Faults, network: &Network, told: Told, random: &mut Random) -> Fault {
    loop {
        let odds: Vec<f64> = network.priors.iter().map(|prior| prior / (1.0 - prior)).collect();
        let mut left = random.share() * odds.iter().sum::<f64>();
        let cause = odds.iter().position(|odds| {
            left -= odds;
            left <= 0.0
        });
        let cause = cause.unwrap_or(odds.len() - 1);
        let shows = |finding: &super::Finding| finding.chance(Some(cause));
        let answers: Vec<bool> = network.findings.iter().map(|finding| random.share() < shows(finding)).collect();
        let own = faults.causes[cause].shows.iter().map(|(symptom, _)| *symptom);
        let own: Vec<usize> = own.filter(|symptom| answers[*symptom]).collect();
        if !own.is_empty() {
            let told = match told {
                Told::One => vec![Evidence::yes(own[random.below(own.len())])],
                Told::All => {
                    let all = (0..faults.symptoms.len()).filter(|symptom| answers[*symptom]);
                    all.map(Evidence::yes).collect()
                }
            };
            return Fault { cause, told, answers };
        }
    }
}

/// The cost by a guide.
fn guided(guide: &Guide<'_>, faults: &Faults, fault: &Fault) -> f64 {
    let mut progress = Progress { evidence: fault.told.clone(), ..Progress::default() };
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
    let told = &fault.told;
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
