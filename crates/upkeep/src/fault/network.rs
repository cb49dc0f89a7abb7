//! A network of independent causes and what they show: noisy-OR with a leak.
//!
//! Pearl (1988), Probabilistic Reasoning in Intelligent Systems, §4.3; the leak: Henrion (1987), Some practical issues in
//! constructing belief networks.
//!
//! # Formula
//! P(absent | causes) = (1 − leak) · ∏ (1 − strength), over the causes that are there.
//!
//! Sums go over sets of causes of up to a given size: exact for every such set and, with the size set to the number of
//! causes, exact without condition. All of it in logarithms, so that many findings do not vanish.

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
    /// Every set of causes that was weighed, the empty one first, with its chance; they sum to 1.
    pub sets: Vec<(Vec<usize>, f64)>,
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
        let sets = self.weigh(evidence, most);
        let largest = sets.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
        if largest == f64::NEG_INFINITY {
            return Err(self.contradiction(evidence, most));
        }
        let total: f64 = sets.iter().map(|(_, log)| (log - largest).exp()).sum();
        let log_evidence = largest + total.ln();
        let sets: Vec<(Vec<usize>, f64)> =
            sets.into_iter().map(|(set, log)| (set, (log - log_evidence).exp())).collect();
        let mut causes = vec![0.0; self.priors.len()];
        for (set, chance) in &sets {
            set.iter().for_each(|&cause| causes[cause] += chance);
        }
        Ok(Posterior { log_evidence, causes, sets })
    }

    /// Every set of up to `most` causes, with the logarithm of the chance of it and the evidence.
    fn weigh(&self, evidence: &[Evidence], most: usize) -> Vec<(Vec<usize>, f64)> {
        let mut log_absent = vec![vec![0.0; evidence.len()]; self.priors.len()];
        for (place, known) in evidence.iter().enumerate() {
            for &(cause, strength) in &self.findings[known.finding].links {
                log_absent[cause][place] += (-strength).ln_1p();
            }
        }
        let leak: Vec<f64> = evidence.iter().map(|known| (-self.findings[known.finding].leak).ln_1p()).collect();
        let none: f64 = self.priors.iter().map(|prior| (-prior).ln_1p()).sum();
        let mut walk = Walk { network: self, evidence, log_absent, sets: Vec::new() };
        walk.on(&mut Vec::new(), none, &leak, most);
        walk.sets
    }

    /// Leaves out each answer in turn for as long as the rest still contradict each other.
    fn contradiction(&self, evidence: &[Evidence], most: usize) -> Contradiction {
        let mut rest = evidence.to_vec();
        for answer in evidence {
            let without: Vec<Evidence> = rest.iter().copied().filter(|other| other != answer).collect();
            if self.weigh(&without, most).iter().all(|(_, log)| *log == f64::NEG_INFINITY) {
                rest = without;
            }
        }
        Contradiction { answers: rest.into_iter().map(|known| known.finding).collect() }
    }
}

/// A walk over sets of causes, each made of an earlier one and a later cause.
struct Walk<'a> {
    network: &'a Network,
    evidence: &'a [Evidence],
    /// What each cause adds to the logarithm of each finding's absence.
    log_absent: Vec<Vec<f64>>,
    sets: Vec<(Vec<usize>, f64)>,
}

impl Walk<'_> {
    fn on(&mut self, set: &mut Vec<usize>, log_prior: f64, log_absent: &[f64], more: usize) {
        let shown = self.evidence.iter().zip(log_absent).map(|(known, &log)| log_chance(log, *known));
        self.sets.push((set.clone(), log_prior + shown.sum::<f64>()));
        if more == 0 {
            return;
        }
        for cause in set.last().map_or(0, |last| last + 1)..self.network.priors.len() {
            let prior = self.network.priors[cause];
            if prior <= 0.0 {
                continue;
            }
            let log_absent: Vec<f64> = log_absent.iter().zip(&self.log_absent[cause]).map(|(a, b)| a + b).collect();
            set.push(cause);
            self.on(set, log_prior + prior.ln() - (-prior).ln_1p(), &log_absent, more - 1);
            set.pop();
        }
    }
}

/// The logarithm of the chance of what is known of a finding, from that of its absence.
fn log_chance(log_absent: f64, known: Evidence) -> f64 {
    known.chance(-log_absent.exp_m1(), log_absent.exp()).ln()
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
    fn random_networks_agree_with_enumeration_and_their_sets_sum_to_one() {
        let mut source = Random::new(7);
        for _ in 0..200 {
            let network = random(&mut source);
            let mut known = |finding| {
                let sure = [0.0, source.share(), 1.0][source.below(3)];
                Evidence { finding, sure }
            };
            let evidence = [known(0), known(2)];
            let posterior = network.posterior(&evidence, network.priors.len()).unwrap();
            assert!((posterior.sets.iter().map(|(_, chance)| chance).sum::<f64>() - 1.0).abs() < 1e-12);
            for (got, expected) in posterior.causes.iter().zip(by_enumeration(&network, &evidence)) {
                assert!((got - expected).abs() < 1e-12, "{network:?}");
            }
        }
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
