//! Ten thousand invented data sets of every kind of censoring: each is fitted, or says why it can't be; and where it is
//! fitted, the fit is the best there is.

use life::{End, Family, Fit, Level, Life, NoFit, Of, failures};

/// A small generator of its own (Marsaglia (2003), xorshift), so that the sets are the same on every machine.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn within(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.next()
    }
}

/// Lives of a Weibull law with a shape of 0.3 to 12 and a scale of 1e-3 to 1e6, 1 to 5,000 of them.
fn data_set(random: &mut Random) -> Vec<Life> {
    let shape = (random.within(0.3_f64.ln(), 12.0_f64.ln())).exp();
    let scale = random.within(-7.0, 14.0).exp();
    // Most sets are small, as shops' are.
    let size = random.within(0.0, 5000.0_f64.ln()).exp().ceil() as usize;
    let (good, looked, late, rounded) = (random.next(), random.next() * 0.7, random.next() * 0.5, random.next() < 0.2);
    let mut lives = Vec::with_capacity(size);
    while lives.len() < size {
        let mut age = scale * (-random.next().ln()).powf(1.0 / shape);
        if rounded {
            age = (age / scale * 5.0).ceil() * scale / 5.0;
        }
        let entry = if random.next() < late { scale * random.next() } else { 0.0 };
        let limit = if random.next() < good { scale * random.within(0.0, 1.5) } else { f64::INFINITY };
        let end = if limit <= age {
            End::Good(limit)
        } else if random.next() < looked {
            let step = scale * random.within(0.05, 0.8);
            End::Between((age / step).floor() * step, ((age / step).floor() + 1.0) * step)
        } else {
            End::Failed(age)
        };
        // Those that were over before they could be seen are not in the data.
        let Ok(life) = Life::new(end).and_then(|life| life.entered_at(entry)) else { continue };
        lives.push(life);
    }
    lives
}

#[test]
fn every_data_set_is_fitted_or_says_why_not() {
    let mut random = Random(0x5eed_1234_abcd_ef01);
    let (mut fitted, mut refused) = (0, 0);
    while fitted + refused < 10_000 {
        let lives = data_set(&mut random);
        if failures(&lives) < 1.0 {
            assert_eq!(Fit::new(&lives, Family::Weibull).unwrap_err(), NoFit::NoFailures);
            continue;
        }
        for family in [Family::Weibull, Family::Lognormal] {
            match Fit::new(&lives, family) {
                Ok(fit) => best_of_its_neighbours(&lives, &fit, family),
                Err(NoFit::NeverGood) => refused += u32::from(family == Family::Weibull),
                Err(NoFit::ShapeUnbounded { .. } | NoFit::Flat) => {
                    refused += u32::from(family == Family::Weibull);
                    // What is used instead always works.
                    assert!(Fit::with_shape(&lives, 2.0).is_ok(), "{lives:?}");
                    continue;
                }
                Err(other) => panic!("{other}: {lives:?}"),
            }
            fitted += u32::from(family == Family::Weibull);
        }
    }
    // Few sets of more than a handful of failures are refused.
    assert!(refused < 2500, "{refused} of 10000 refused");
}

/// No law nearby has a greater likelihood, worked out by another way: the sum over the lives of their chances.
#[track_caller]
fn best_of_its_neighbours(lives: &[Life], fit: &Fit, family: Family) {
    let law = fit.law();
    assert!(law.location().is_finite() && law.spread().is_finite() && 0.0 < law.spread(), "{law:?}");
    if 200 < lives.len() {
        return;
    }
    let at = |location: f64, spread: f64| {
        let law = match family {
            Family::Lognormal => life::Law::lognormal(location, spread).unwrap(),
            _ => life::Law::weibull(1.0 / spread, location.exp()).unwrap(),
        };
        let of = |life: &Life| {
            let seen = match life.end() {
                End::Failed(age) => law.density(age).ln(),
                End::Good(age) => law.log_survival(age),
                End::Between(from, to) => (law.survival(from) - law.survival(to)).ln(),
            };
            seen - law.log_survival(life.entry())
        };
        lives.iter().map(of).sum::<f64>()
    };
    let (here, step) = (at(law.location(), law.spread()), 0.02 * law.spread());
    if !here.is_finite() {
        return; // A difference of survivals without digits, which the fit itself works out otherwise.
    }
    assert!((here - fit.log_likelihood()).abs() < 1e-5 * (1.0 + here.abs()), "{here} {}", fit.log_likelihood());
    for (mu, sigma) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step), (step, step), (-step, step)] {
        let there = at(law.location() + mu, law.spread() + sigma);
        assert!(there <= here + 1e-7 * (1.0 + here.abs()), "{law:?}: {there} there, {here} here\n{lives:?}");
    }
}

#[test]
fn profile_bounds_hold_the_fit_and_lie_on_the_likelihoods_contour() {
    let mut random = Random(0x0dd_ba11);
    let level = Level::new(0.9).unwrap();
    let mut bounded = 0;
    for _ in 0..400 {
        let lives = data_set(&mut random);
        let Ok(fit) = Fit::new(&lives, Family::Weibull) else { continue };
        let law = fit.law();
        let b10 = law.quantile(0.1).unwrap();
        for (of, value) in [(Of::Shape, law.shape()), (Of::Scale, law.scale()), (Of::Quantile(0.1), b10)] {
            let bounds = fit.profile(of, level).unwrap();
            assert!(bounds.holds(value), "{of:?} {bounds:?} {value}");
            for end in [bounds.lower, bounds.upper].into_iter().flatten() {
                assert!(end.is_finite() && 0.0 < end, "{of:?} {bounds:?}");
            }
            if let (Of::Shape, Some(lower)) = (of, bounds.lower) {
                // Held at that shape, the best likelihood lies half of 2.705543454 (chi-square tables) lower.
                let held =
                    Fit::with_shape(&lives, lower).unwrap_or_else(|e| panic!("{e} {law:?} {bounds:?}\n{lives:?}"));
                let drop = 2.0 * (fit.log_likelihood() - held.log_likelihood());
                assert!(
                    (drop - 2.705543454).abs() < 1e-5 * (1.0 + fit.log_likelihood().abs() * 1e-6),
                    "{drop} {law:?} {bounds:?} held {:?}\n{lives:?}",
                    held.law()
                );
                bounded += 1;
            }
        }
    }
    assert!(200 < bounded, "{bounded}");
}
