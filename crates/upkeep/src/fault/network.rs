//! A network of independent causes and what they show: noisy-OR with a leak.
//!
//! Pearl (1988), Probabilistic Reasoning in Intelligent Systems, §4.3; the leak: Henrion (1987), Some practical issues in
//! constructing belief networks.
//!
//! # Formula
//! P(absent | causes) = (1 − leak) · ∏ (1 − strength), over the causes that are there.
//!
//! Sums go over sets of causes of up to a given size: exact for every such set and, with the size set to the number of
//! causes, exact without condition. The chance of a set is a product over findings, and is added up by its logarithm, so that
//! many findings do not vanish.

use std::fmt;

/// Causes by their chance, and what they show.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    /// The chance of each cause before anything was found, each less than 1.
    pub priors: Vec<f64>,
    /// What may be found.
    pub findings: Vec<Finding>,
}

/// Something that causes show.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Its chance without any of the causes.
    pub leak: f64,
    /// Each cause that shows it, and the chance that it alone does.
    pub links: Vec<(usize, f64)>,
}

impl Finding {
    /// The chance that it shows where `cause` alone is there; without a cause the leak.
    pub fn chance(&self, cause: Option<usize>) -> f64 {
        let strength = self.links.iter().find(|(link, _)| Some(*link) == cause).map_or(0.0, |(_, strength)| *strength);
        1.0 - (1.0 - self.leak) * (1.0 - strength)
    }
}

/// What is known of a finding. What is unknown is left out.
///
/// # Formula
/// P(evidence | causes) = sure · P(there | causes) + (1 − sure) · P(absent | causes): virtual evidence, Pearl (1988) §2.2.2.
/// A `sure` of 0.5 tells nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    /// Its place in the network.
    pub finding: usize,
    /// How surely it is there: 1 for yes, 0 for no, between for a measurement that only makes it likely.
    pub sure: f64,
}

impl Evidence {
    /// It is there.
    pub const fn yes(finding: usize) -> Evidence {
        Evidence { finding, sure: 1.0 }
    }

    /// It is not.
    pub const fn no(finding: usize) -> Evidence {
        Evidence { finding, sure: 0.0 }
    }

    /// The chance of this evidence, from those that the finding is there and absent.
    pub fn chance(self, there: f64, absent: f64) -> f64 {
        self.sure * there + (1.0 - self.sure) * absent
    }
}

/// The chances of causes, given what was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Posterior {
    /// The logarithm of the chance of the evidence, with sets of causes up to the size asked for.
    pub log_evidence: f64,
    /// The chance that each cause is there, alone or with others.
    pub causes: Vec<f64>,
}

/// Answers that cannot all be true.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contradiction {
    /// The findings, of which no one can be left out without lifting the contradiction.
    pub answers: Vec<usize>,
}

impl Contradiction {
    /// What to tell a keeper, who knows findings by name.
    pub fn tell(&self, name: impl Fn(usize) -> String) -> String {
        let names: Vec<String> = self.answers.iter().map(|&answer| format!("\"{}\"", name(answer))).collect();
        format!(
            "these answers contradict each other: {}; check them again, or take one back to \"can't tell\"",
            names.join(", ")
        )
    }
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.tell(|answer| format!("finding {answer}")))
    }
}

impl std::error::Error for Contradiction {}

impl Network {
    /// The chances given `evidence`, over all sets of up to `most` causes.
    ///
    /// # Errors
    /// If nothing that is weighed can bring the evidence about.
    pub fn posterior(&self, evidence: &[Evidence], most: usize) -> Result<Posterior, Contradiction> {
        let mut sum = Sum { causes: vec![0.0; self.priors.len()], largest: f64::NEG_INFINITY, total: 0.0 };
        self.each_set(evidence, most, |set, log| sum.add(set, log));
        if sum.total == 0.0 {
            return Err(self.contradiction(evidence, most));
        }
        sum.causes.iter_mut().for_each(|cause| *cause /= sum.total);
        Ok(Posterior { log_evidence: sum.largest + sum.total.ln(), causes: sum.causes })
    }

    /// Calls back with every set of up to `most` causes, in its order, and the logarithm of the chance of it and the evidence.
    fn each_set(&self, evidence: &[Evidence], most: usize, visit: impl FnMut(&[usize], f64)) {
        let n = evidence.len();
        let mut absent = vec![1.0; self.priors.len() * n];
        for (place, known) in evidence.iter().enumerate() {
            for &(cause, strength) in &self.findings[known.finding].links {
                absent[cause * n + place] *= 1.0 - strength;
            }
        }
        let none = self.priors.iter().map(|prior| (-prior).ln_1p()).sum();
        let log_odds = self.priors.iter().map(|prior| prior.ln() - (-prior).ln_1p()).collect();
        // One row for each number of causes in a set; the first is that of the leaks.
        let mut rows = vec![0.0; (most + 1) * n];
        rows.iter_mut().zip(evidence).for_each(|(row, known)| *row = 1.0 - self.findings[known.finding].leak);
        Walk { evidence, log_odds, absent, set: Vec::with_capacity(most), visit }.on(&mut rows, none, most);
    }

    /// Leaves out each answer in turn for as long as the rest still contradict each other.
    fn contradiction(&self, evidence: &[Evidence], most: usize) -> Contradiction {
        let mut rest = evidence.to_vec();
        for answer in evidence {
            let without: Vec<Evidence> = rest.iter().copied().filter(|other| other != answer).collect();
            let mut is_possible = false;
            self.each_set(&without, most, |_, log| is_possible |= f64::NEG_INFINITY < log);
            if !is_possible {
                rest = without;
            }
        }
        Contradiction { answers: rest.into_iter().map(|known| known.finding).collect() }
    }
}

/// How many chances are multiplied before the logarithm is taken: none is below 1e-16 but 0, so the product keeps its digits.
const MULTIPLIED: usize = 16;

/// A walk over sets of causes, each made of an earlier one and a later cause.
struct Walk<'a, V> {
    evidence: &'a [Evidence],
    /// What each cause adds to the logarithm of a set's chance.
    log_odds: Vec<f64>,
    /// For each cause and each finding of the evidence: the chance that the cause does not show it.
    absent: Vec<f64>,
    set: Vec<usize>,
    visit: V,
}

impl<V: FnMut(&[usize], f64)> Walk<'_, V> {
    /// Goes on from a set; `rows` begin with the chances that it shows none of the findings.
    fn on(&mut self, rows: &mut [f64], log_prior: f64, more: usize) {
        let n = self.evidence.len();
        let (row, rest) = rows.split_at_mut(n);
        (self.visit)(&self.set, log_prior + log_chance(self.evidence, row));
        if more == 0 {
            return;
        }
        for cause in self.set.last().map_or(0, |last| last + 1)..self.log_odds.len() {
            let log_prior = log_prior + self.log_odds[cause];
            if log_prior == f64::NEG_INFINITY {
                continue;
            }
            for ((next, row), absent) in rest.iter_mut().zip(&*row).zip(&self.absent[cause * n..]) {
                *next = row * absent;
            }
            self.set.push(cause);
            self.on(rest, log_prior, more - 1);
            self.set.pop();
        }
    }
}

/// The logarithm of the chance of the evidence, from the chances that its findings are absent.
fn log_chance(evidence: &[Evidence], absent: &[f64]) -> f64 {
    let pieces = evidence.chunks(MULTIPLIED).zip(absent.chunks(MULTIPLIED));
    let product = |(evidence, absent): (&[Evidence], &[f64])| -> f64 {
        evidence.iter().zip(absent).map(|(known, absent)| known.chance(1.0 - absent, *absent)).product()
    };
    pieces.map(|piece| product(piece).ln()).sum()
}

/// Chances that are added up by their logarithms, each as a multiple of the largest so far.
struct Sum {
    causes: Vec<f64>,
    largest: f64,
    total: f64,
}

impl Sum {
    fn add(&mut self, set: &[usize], log: f64) {
        if self.largest < log {
            let smaller = (self.largest - log).exp();
            self.causes.iter_mut().chain([&mut self.total]).for_each(|sum| *sum *= smaller);
            self.largest = log;
        }
        // Where all so far are impossible, so is this one.
        if self.largest == f64::NEG_INFINITY {
            return;
        }
        let chance = (log - self.largest).exp();
        self.total += chance;
        set.iter().for_each(|&cause| self.causes[cause] += chance);
    }
}

#[cfg(test)]
mod tests {
    use super::{Evidence, Finding, Network};
    use crate::rounds::random::Random;

    /// Pearl (1988); Henrion (1987): three causes, two symptoms.
    fn case() -> Network {
        let finding = |leak, strengths: [f64; 3]| Finding { leak, links: strengths.into_iter().enumerate().collect() };
        Network {
            priors: vec![0.05, 0.10, 0.02],
            findings: vec![finding(0.01, [0.8, 0.3, 0.0]), finding(0.02, [0.0, 0.6, 0.9])],
        }
    }

    #[track_caller]
    fn check(evidence: &[Evidence], chance: f64, causes: [f64; 3]) {
        let posterior = case().posterior(evidence, 3).unwrap();
        // Printed to 10 digits.
        assert!((posterior.log_evidence.exp() / chance - 1.0).abs() < 1e-8, "{posterior:?}");
        for (got, expected) in posterior.causes.iter().zip(causes) {
            assert!((got / expected - 1.0).abs() < 1e-8, "{got} for {expected}");
        }
    }

    #[test]
    fn a_present_symptom_as_by_enumeration_and_by_variable_elimination() {
        check(&[Evidence::yes(0)], 0.078112, [0.517_167_656_7, 0.428_512_904_5, 0.02]);
    }

    #[test]
    fn a_present_and_an_absent_symptom_as_by_enumeration_and_by_variable_elimination() {
        check(
            &[Evidence::yes(0), Evidence::no(1)],
            0.055_844_595_97,
            [0.651_621_263_9, 0.230_726_811_5, 0.002_036_659_878],
        );
    }

    fn random(random: &mut Random) -> Network {
        let causes = 2 + random.below(4);
        let finding = |random: &mut Random| Finding {
            leak: 0.2 * random.share(),
            links: (0..causes).map(|cause| (cause, random.share())).collect(),
        };
        let findings = (0..3).map(|_| finding(random)).collect();
        Network { priors: (0..causes).map(|_| 0.9 * random.share()).collect(), findings }
    }

    /// The chances of the causes by the definition, over all sets as bits.
    fn by_enumeration(network: &Network, evidence: &[Evidence]) -> Vec<f64> {
        let count = network.priors.len();
        let (mut sums, mut total) = (vec![0.0; count], 0.0);
        for set in 0..1_usize << count {
            let has = |cause: usize| set >> cause & 1 == 1;
            let mut chance = 1.0;
            for (cause, prior) in network.priors.iter().enumerate() {
                chance *= if has(cause) { *prior } else { 1.0 - prior };
            }
            for known in evidence {
                let finding = &network.findings[known.finding];
                let links = finding.links.iter().filter(|(cause, _)| has(*cause));
                let absent = links.fold(1.0 - finding.leak, |product, (_, strength)| product * (1.0 - strength));
                chance *= known.sure * (1.0 - absent) + (1.0 - known.sure) * absent;
            }
            total += chance;
            (0..count).filter(|cause| has(*cause)).for_each(|cause| sums[cause] += chance);
        }
        sums.into_iter().map(|sum| sum / total).collect()
    }

    #[test]
    fn random_networks_agree_with_enumeration() {
        let mut source = Random::new(7);
        for _ in 0..200 {
            let network = random(&mut source);
            let mut known = |finding| {
                let sure = [0.0, source.share(), 1.0][source.below(3)];
                Evidence { finding, sure }
            };
            let evidence = [known(0), known(2)];
            let posterior = network.posterior(&evidence, network.priors.len()).unwrap();
            for (got, expected) in posterior.causes.iter().zip(by_enumeration(&network, &evidence)) {
                assert!((got - expected).abs() < 1e-12, "{network:?}");
            }
        }
    }

    /// 200 findings of a hundredth each are a chance of 1e-400, which no number holds.
    #[test]
    fn many_findings_do_not_vanish() {
        let finding = Finding { leak: 0.01, links: vec![(0, 0.0)] };
        let network = Network { priors: vec![0.1], findings: vec![finding; 200] };
        let evidence: Vec<Evidence> = (0..200).map(Evidence::yes).collect();
        let posterior = network.posterior(&evidence, 1).unwrap();
        assert!((posterior.log_evidence / (200.0 * 0.01_f64.ln()) - 1.0).abs() < 1e-12, "{posterior:?}");
        assert!((posterior.causes[0] - 0.1).abs() < 1e-12, "{posterior:?}");
    }

    #[test]
    fn what_is_there_raises_a_cause_that_shows_it_and_what_is_not_lowers_it() {
        let mut source = Random::new(11);
        for _ in 0..200 {
            let network = random(&mut source);
            let count = network.priors.len();
            let [there, absent] =
                [Evidence::yes(1), Evidence::no(1)].map(|known| network.posterior(&[known], count).unwrap());
            for cause in 0..count {
                let prior = network.priors[cause];
                assert!(absent.causes[cause] <= prior + 1e-12 && prior <= there.causes[cause] + 1e-12, "{network:?}");
            }
        }
    }

    #[test]
    fn a_measurement_as_likely_as_not_tells_nothing_and_one_that_is_nearly_sure_as_much_as_a_yes() {
        let mut source = Random::new(13);
        for _ in 0..200 {
            let network = random(&mut source);
            let count = network.priors.len();
            let causes = |sure| network.posterior(&[Evidence { finding: 1, sure }], count).unwrap().causes;
            let yes = by_enumeration(&network, &[Evidence::yes(1)]);
            let close = |got: Vec<f64>, expected: &[f64], by: f64| {
                got.iter().zip(expected).all(|(got, expected)| (got - expected).abs() < by)
            };
            assert!(close(causes(0.5), &network.priors, 1e-12), "{network:?}");
            // A yes is itself at least as likely as the leak, which is rarely below 1e-3.
            assert!(close(causes(1.0 - 1e-12), &yes, 1e-6), "{network:?}");
        }
    }

    #[test]
    fn answers_that_cannot_be_true_together_are_named_and_others_are_not() {
        let sure = |leak| Finding { leak, links: vec![(0, 1.0)] };
        let network = Network { priors: vec![0.1, 0.1], findings: vec![sure(0.5), sure(0.0), sure(0.0)] };
        let wrong = network.posterior(&[Evidence::yes(0), Evidence::yes(1), Evidence::no(2)], 2).unwrap_err();
        assert_eq!(wrong.answers, [1, 2]);
        assert!(wrong.to_string().contains("finding 1") && wrong.to_string().contains("take one back"), "{wrong}");
    }
}
