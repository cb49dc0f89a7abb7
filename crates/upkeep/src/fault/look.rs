//! What to choose next: the remedies by themselves, or a check before them.
//!
//! Where there is one fault, and each remedy mends its causes or leaves all as it was, trying remedies by falling
//! chance/cost costs least (Kadane and Simon 1977; Kalagnanam and Henrion 1990; for fault finding: Heckerman, Breese and
//! Rommelse 1995, CACM 38(3)). That is the base policy. A check has no such order: it is worth its cost plus, for each
//! answer, what may be expected then. Every check that may tell something is tried, and after each of its answers every other,
//! since a check that tells several causes may pay only with another.

/// A check that tells only causes less likely than this together is left alone. Judgement, no source.
const LEAST_TOLD: f64 = 0.03;

/// A cause less likely than this is left out while looking ahead. Judgement, no source.
const LEAST_LIKELY: f64 = 1e-4;

/// How many checks are looked ahead.
const AHEAD: usize = 2;

/// What a keeper may choose from, and what it costs. Costs are in money, causes known by their place.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Choices {
    /// The cost of each remedy.
    pub(super) remedies: Vec<f64>,
    /// For each cause the remedy that mends it.
    pub(super) mended_by: Vec<usize>,
    /// The checks.
    pub(super) checks: Vec<Choice>,
    /// What it costs to find a fault that is not listed.
    pub(super) unlisted: f64,
}

/// A check.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Choice {
    /// What it costs.
    pub(super) cost: f64,
    /// For each cause, and last for none of them: the chance of a yes.
    pub(super) yes: Vec<f64>,
    /// The causes that it tells.
    pub(super) tells: Vec<usize>,
}

impl Choices {
    /// The check to make next, if one pays, and the cost to expect. `chances` are those of the causes, and last that of none
    /// of them; they sum to 1. Checks that have `passed` are left out.
    pub(super) fn best(&self, chances: &[f64], passed: &[usize]) -> (Option<usize>, f64) {
        let (chances, choices) = self.likely(chances);
        choices.least(&chances, &mut passed.to_vec(), &mut vec![Space::default(); AHEAD + 1])
    }

    /// The chances of likely causes alone, and the choices with those.
    fn likely(&self, chances: &[f64]) -> (Vec<f64>, Choices) {
        let (none, causes) = chances.split_last().map_or((0.0, &[][..]), |(none, causes)| (*none, causes));
        let kept: Vec<usize> = (0..causes.len()).filter(|cause| LEAST_LIKELY <= causes[*cause]).collect();
        let with_none = |of: &[f64], none: f64| kept.iter().map(|&cause| of[cause]).chain([none]).collect::<Vec<f64>>();
        let mut remedies: Vec<usize> = kept.iter().map(|&cause| self.mended_by[cause]).collect();
        remedies.sort_unstable();
        remedies.dedup();
        // By falling chance/cost from the start, so that little is left to sort after an answer.
        let mut mended = vec![0.0; self.remedies.len()];
        kept.iter().for_each(|&cause| mended[self.mended_by[cause]] += causes[cause]);
        let rate = |remedy: &usize| mended[*remedy] / self.remedies[*remedy];
        remedies.sort_by(|one, other| rate(other).total_cmp(&rate(one)));
        let place = |remedy| remedies.iter().position(|other| *other == remedy).unwrap_or_default();
        let check = |check: &Choice| Choice {
            cost: check.cost,
            yes: with_none(&check.yes, check.yes.last().copied().unwrap_or_default()),
            tells: check.tells.iter().filter_map(|cause| kept.binary_search(cause).ok()).collect(),
        };
        let choices = Choices {
            mended_by: kept.iter().map(|&cause| place(self.mended_by[cause])).collect(),
            checks: self.checks.iter().map(check).collect(),
            unlisted: self.unlisted,
            remedies: remedies.iter().map(|&remedy| self.remedies[remedy]).collect(),
        };
        let mut chances = with_none(causes, none);
        let total: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|chance| *chance /= total);
        (chances, choices)
    }

    /// The best check and the least cost to expect, with as many checks ahead as there are `spaces` but one.
    fn least(&self, chances: &[f64], made: &mut Vec<usize>, spaces: &mut [Space]) -> (Option<usize>, f64) {
        let Some((space, ahead)) = spaces.split_first_mut() else { return (None, f64::INFINITY) };
        let mut best = (None, self.base(chances, &mut space.remedies));
        if ahead.is_empty() {
            return best;
        }
        let known = self.known(chances);
        for (place, check) in self.checks.iter().enumerate() {
            let told = || check.tells.iter().map(|&cause| chances[cause]).sum::<f64>();
            if best.1 <= known + check.cost || made.contains(&place) || told() < LEAST_TOLD {
                continue;
            }
            made.push(place);
            let mut cost = check.cost;
            for is_yes in [true, false] {
                let chance = check.answered(is_yes, chances, &mut space.chances);
                if 0.0 < chance {
                    cost += chance * self.least(&space.chances, made, ahead).1;
                }
            }
            made.pop();
            if cost < best.1 {
                best = (Some(place), cost);
            }
        }
        best
    }

    /// The expected cost by the base policy.
    fn base(&self, chances: &[f64], remedies: &mut Vec<(f64, f64)>) -> f64 {
        remedies.clear();
        remedies.extend(self.remedies.iter().map(|cost| (0.0, *cost)));
        self.mended_by.iter().zip(chances).for_each(|(&remedy, chance)| remedies[remedy].0 += chance);
        let none = chances.last().copied().unwrap_or_default();
        base_cost(remedies, none) + self.unlisted * none
    }

    /// The cost to expect if the cause were known: no policy can do with less.
    fn known(&self, chances: &[f64]) -> f64 {
        let none = chances.last().copied().unwrap_or_default();
        let mended = self.mended_by.iter().zip(chances).map(|(&remedy, chance)| chance * self.remedies[remedy]);
        mended.sum::<f64>() + none * self.unlisted
    }
}

impl Choice {
    /// Puts the chances after an answer into `after`; answers with the chance of the answer.
    fn answered(&self, is_yes: bool, chances: &[f64], after: &mut Vec<f64>) -> f64 {
        after.clear();
        after.extend(chances.iter().zip(&self.yes).map(|(chance, yes)| chance * if is_yes { *yes } else { 1.0 - yes }));
        let chance = after.iter().sum::<f64>();
        after.iter_mut().for_each(|one| *one /= chance);
        chance
    }
}

/// Where one step of looking ahead works, so that nothing is allocated on the way.
#[derive(Clone, Debug, Default)]
struct Space {
    chances: Vec<f64>,
    remedies: Vec<(f64, f64)>,
}

/// The expected cost of trying remedies by falling chance/cost until one helps: pairs of chance and cost.
///
/// # Formula
/// Σ cost · (chance that none before it helped). `rest` is the chance that none of them will help.
fn base_cost(remedies: &mut [(f64, f64)], rest: f64) -> f64 {
    sort_by_rate(remedies);
    let mut left = rest + remedies.iter().map(|(chance, _)| chance).sum::<f64>();
    let mut cost = 0.0;
    for (chance, one) in remedies.iter().filter(|(chance, _)| 0.0 < *chance) {
        cost += one * left;
        left -= chance;
    }
    cost
}

/// Sorts pairs of chance and cost by falling chance/cost, by insertion: they come nearly sorted.
fn sort_by_rate(remedies: &mut [(f64, f64)]) {
    for end in 1..remedies.len() {
        let mut place = end;
        while 0 < place && remedies[place - 1].0 * remedies[place].1 < remedies[place].0 * remedies[place - 1].1 {
            remedies.swap(place - 1, place);
            place -= 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{Choice, Choices, base_cost};
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

    /// Choices with `causes` causes, each with a remedy of its own, and their chances.
    fn random(random: &mut Random, causes: usize, checks: usize) -> (Choices, Vec<f64>) {
        let check = |random: &mut Random| {
            let tells: Vec<usize> = (0..causes).filter(|_| random.share() < 0.6).collect();
            let mut yes = vec![0.05; causes + 1];
            tells.iter().for_each(|&cause| yes[cause] = 0.4 + 0.6 * random.share());
            Choice { cost: 0.1 + random.share(), yes, tells }
        };
        let choices = Choices {
            remedies: (0..causes).map(|_| 0.5 + 4.0 * random.share()).collect(),
            mended_by: (0..causes).collect(),
            checks: (0..checks).map(|_| check(random)).collect(),
            unlisted: 10.0,
        };
        let mut chances: Vec<f64> = (0..=causes).map(|_| 0.05 + random.share()).collect();
        chances[causes] = 0.05;
        let total: f64 = chances.iter().sum();
        chances.iter_mut().for_each(|chance| *chance /= total);
        (choices, chances)
    }

    /// What a step leads to: the cost of taking it, and the chances after each of its outcomes, not normalised.
    fn taken(choices: &Choices, chances: &[f64], step: Step) -> (f64, Vec<Vec<f64>>) {
        let left: f64 = chances.iter().sum();
        match step {
            Step::Check(check) => {
                let check = &choices.checks[check];
                let after = |answer: fn(f64) -> f64| {
                    chances.iter().zip(&check.yes).map(|(chance, yes)| chance * answer(*yes)).collect()
                };
                (left * check.cost, vec![after(|yes| yes), after(|yes| 1.0 - yes)])
            }
            Step::Remedy(remedy) => {
                let mended = |cause: usize| choices.mended_by.get(cause) == Some(&remedy);
                let after = |(cause, chance): (usize, &f64)| if mended(cause) { 0.0 } else { *chance };
                (left * choices.remedies[remedy], vec![chances.iter().enumerate().map(after).collect()])
            }
        }
    }

    #[derive(Clone, Copy)]
    enum Step {
        Check(usize),
        Remedy(usize),
    }

    fn steps(choices: &Choices, chances: &[f64], passed: &[usize]) -> Vec<Step> {
        let checks = (0..choices.checks.len()).filter(|check| !passed.contains(check)).map(Step::Check);
        let helps =
            |remedy: &usize| (0..choices.mended_by.len()).any(|c| choices.mended_by[c] == *remedy && 0.0 < chances[c]);
        checks.chain((0..choices.remedies.len()).filter(helps).map(Step::Remedy)).collect()
    }

    /// The cost of a policy from here on, by going through all that may happen: `choose` picks from the steps with the costs
    /// that they lead to, each reckoned only when asked for.
    fn cost(choices: &Choices, chances: &[f64], passed: &[usize], is_best: bool) -> f64 {
        let steps = steps(choices, chances, passed);
        let of = |step: Step| {
            let passed: Vec<usize> = match step {
                Step::Check(check) => passed.iter().copied().chain([check]).collect(),
                Step::Remedy(_) => passed.to_vec(),
            };
            let (cost_of_step, after) = taken(choices, chances, step);
            cost_of_step + after.iter().map(|after| cost(choices, after, &passed, is_best)).sum::<f64>()
        };
        let remedies_left = steps.iter().any(|step| matches!(step, Step::Remedy(_)));
        if !remedies_left {
            return chances.iter().sum::<f64>() * choices.unlisted;
        }
        if is_best {
            return steps.into_iter().map(of).fold(f64::INFINITY, f64::min);
        }
        of(by_looking_ahead(choices, chances, passed))
    }

    /// The step that looking ahead takes.
    fn by_looking_ahead(choices: &Choices, chances: &[f64], passed: &[usize]) -> Step {
        let total: f64 = chances.iter().sum();
        let normal: Vec<f64> = chances.iter().map(|chance| chance / total).collect();
        let rate = |remedy: &usize| {
            let mended = (0..choices.mended_by.len()).filter(|cause| choices.mended_by[*cause] == *remedy);
            mended.map(|cause| normal[cause]).sum::<f64>() / choices.remedies[*remedy]
        };
        let first = || (0..choices.remedies.len()).max_by(|one, other| rate(one).total_cmp(&rate(other)));
        choices.best(&normal, passed).0.map_or_else(|| Step::Remedy(first().unwrap()), Step::Check)
    }

    #[test]
    fn without_checks_no_policy_costs_less() {
        let mut source = Random::new(5);
        for _ in 0..50 {
            let (choices, chances) = random(&mut source, 4, 0);
            let least = cost(&choices, &chances, &[], true);
            assert!((choices.best(&chances, &[]).1 / least - 1.0).abs() < 1e-12, "{choices:?}");
            assert!((cost(&choices, &chances, &[], false) / least - 1.0).abs() < 1e-12, "{choices:?}");
        }
    }

    /// All policies are gone through; the share is what was seen, rounded up.
    #[test]
    fn with_two_checks_looking_ahead_costs_hardly_more_than_the_best_of_all_policies() {
        let mut source = Random::new(6);
        let (mut worst, mut mean): (f64, f64) = (0.0, 0.0);
        for round in 0..300 {
            let (choices, chances) = random(&mut source, 3 + round % 2, 2);
            let least = cost(&choices, &chances, &[], true);
            let ours = cost(&choices, &chances, &[], false);
            assert!(least <= ours * (1.0 + 1e-12), "{choices:?}");
            worst = worst.max(ours / least - 1.0);
            mean += (ours / least - 1.0) / 300.0;
        }
        assert!(worst < 0.05 && mean < 0.002, "{worst} {mean}");
    }
}
