//! Scales: where along an axis a value lies, and which values are worth a mark.

/// How an axis runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Scale {
    /// Evenly.
    Linear,
    /// By the logarithm.
    Log,
    /// Chances by ln(−ln(1 − p)), on which a Weibull law is a straight line over a logarithmic age.
    Weibull,
}

impl Scale {
    /// Where a value lies; `None` where the scale has no place for it.
    pub(super) fn place(self, value: f64) -> Option<f64> {
        let place = match self {
            Scale::Linear => value,
            Scale::Log => value.ln(),
            Scale::Weibull => (-(-value).ln_1p()).ln(),
        };
        place.is_finite().then_some(place)
    }

    /// The value at a place.
    fn value(self, place: f64) -> f64 {
        match self {
            Scale::Linear => place,
            Scale::Log => place.exp(),
            Scale::Weibull => -(-place.exp()).exp_m1(),
        }
    }

    /// Values to mark between two places, with their words.
    pub(super) fn marks(self, [from, to]: [f64; 2]) -> Vec<(f64, String)> {
        let values = match self {
            Scale::Linear => linear(from, to),
            Scale::Log => log(self.value(from), self.value(to)),
            Scale::Weibull => CHANCES.to_vec(),
        };
        let slack = 1e-9 * (to - from);
        let within = |value: &f64| self.place(*value).is_some_and(|place| from - slack <= place && place <= to + slack);
        values.into_iter().filter(within).map(|value| (value, self.words(value))).collect()
    }

    fn words(self, value: f64) -> String {
        match self {
            Scale::Weibull => format!("{} %", trimmed(value * 100.0)),
            _ => trimmed(value),
        }
    }
}

/// With fewer marks than that an axis can't be read between them.
const LEAST: usize = 3;

/// Chances worth a mark.
const CHANCES: [f64; 11] = [0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.8, 0.95, 0.99];

/// Steps of 1, 2 or 5 times a power of ten, four to nine of them.
fn linear(from: f64, to: f64) -> Vec<f64> {
    let rough = (to - from) / 6.0;
    let power = 10f64.powf(rough.log10().floor());
    let step =
        [1.0, 2.0, 5.0, 10.0].into_iter().map(|times| times * power).find(|step| rough <= *step).unwrap_or(power);
    let first = (from / step).ceil() as i64;
    let last = (to / step).floor() as i64;
    (first..=last).map(|count| count as f64 * step).collect()
}

/// 1, 2 and 5 times the powers of ten; over more than four of them the powers alone. Between values that hardly differ, where
/// fewer than [`LEAST`] of those lie, even steps.
fn log(from: f64, to: f64) -> Vec<f64> {
    let powers = from.log10().floor() as i32..=to.log10().ceil() as i32;
    let few = to / from < 1e4;
    let round: Vec<f64> = powers
        .flat_map(|power| {
            [1.0, 2.0, 5.0].into_iter().take(if few { 3 } else { 1 }).map(move |times| times * 10f64.powi(power))
        })
        .collect();
    let within = round.iter().filter(|value| (from..=to).contains(*value)).count();
    if within < LEAST { linear(from, to) } else { round }
}

/// A figure of up to five digits by a power of ten: `1.5e12`.
pub(crate) fn scientific(value: f64) -> String {
    let text = format!("{value:.4e}");
    match text.split_once('e') {
        Some((digits, power)) => format!("{}e{power}", digits.trim_end_matches('0').trim_end_matches('.')),
        None => text,
    }
}

/// Without the noise of binary fractions.
fn trimmed(value: f64) -> String {
    if value != 0.0 && !(1e-5..1e7).contains(&value.abs()) {
        return scientific(value);
    }
    let text = format!("{value:.6}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_round_and_lie_within() {
        let words = |scale: Scale, from, to| -> Vec<String> {
            let span = [scale.place(from).unwrap(), scale.place(to).unwrap()];
            scale.marks(span).into_iter().map(|(_, words)| words).collect()
        };
        assert_eq!(words(Scale::Linear, 0.0, 0.5), ["0", "0.1", "0.2", "0.3", "0.4", "0.5"]);
        assert_eq!(words(Scale::Log, 3.0, 60.0), ["5", "10", "20", "50"]);
        assert_eq!(words(Scale::Weibull, 0.04, 0.6), ["5 %", "10 %", "20 %", "50 %"]);
    }

    #[test]
    fn ages_that_hardly_differ_have_marks_between_them() {
        for (from, to) in [(41.0, 48.0), (995.0, 1003.0), (2.01, 2.02), (3.0, 9.0), (6.0e6, 6.2e6)] {
            let span = [Scale::Log.place(from).unwrap(), Scale::Log.place(to).unwrap()];
            let marks = Scale::Log.marks(span);
            assert!(LEAST <= marks.len() && marks.len() <= 10, "{from} to {to}: {marks:?}");
            assert!(marks.iter().all(|(value, _)| from <= *value && *value <= to), "{marks:?}");
            assert!(marks.windows(2).all(|pair| pair[0].1 != pair[1].1), "{marks:?}");
        }
    }
}
