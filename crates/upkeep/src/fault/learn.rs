//! Confirmed cases adjust the chances that grades stand for.
//!
//! # Formula
//! Each chance is the mean of a Beta distribution that begins as the grade's chance out of [`PSEUDO_CASES`] cases:
//! (chance · PSEUDO_CASES + shown) / (PSEUDO_CASES + shown + not shown). What a measurement only makes likely counts as that
//! much shown and the rest not shown. A finding that shows by its leak counts for the
//! cause as well. The network is made anew from all cases, so that a case that is taken back leaves no trace.

use super::network::{Evidence, Network};

/// How many cases a grade weighs. Judgement, no source.
pub const PSEUDO_CASES: f64 = 10.0;

/// A fault that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Its cause, by its place.
    pub cause: usize,
    /// What was found, and what was not.
    pub found: Vec<Evidence>,
}

/// The network with what `cases` say of its links.
pub fn learned(network: &Network, cases: &[Case]) -> Network {
    let mut network = network.clone();
    for (place, finding) in network.findings.iter_mut().enumerate() {
        for (cause, strength) in &mut finding.links {
            let of_cause = cases.iter().filter(|case| case.cause == *cause).flat_map(|case| &case.found);
            let told: Vec<f64> = of_cause.filter(|found| found.finding == place).map(|found| found.sure).collect();
            *strength = (*strength * PSEUDO_CASES + told.iter().sum::<f64>()) / (PSEUDO_CASES + told.len() as f64);
        }
    }
    network
}

#[cfg(test)]
mod tests {
    use super::{Case, learned};
    use crate::fault::{Evidence, Finding, Network};

    #[test]
    fn ten_cases_weigh_as_much_as_the_grade_and_touch_their_own_link_alone() {
        let finding = Finding { leak: 0.02, links: vec![(0, 0.5), (1, 0.5)] };
        let network = Network { priors: vec![0.1, 0.1], findings: vec![finding] };
        let case = Case { cause: 0, found: vec![Evidence::yes(0)] };
        let after = learned(&network, &vec![case; 10]);
        assert_eq!(after.findings[0].links, [(0, 0.75), (1, 0.5)]);
        let likely = Case { cause: 0, found: vec![Evidence { finding: 0, sure: 0.75 }] };
        assert_eq!(learned(&network, &vec![likely; 10]).findings[0].links, [(0, 0.625), (1, 0.5)]);
        assert_eq!(learned(&network, &[]), network);
    }
}
