//! The point at which a run stopped, as people type it.

use std::fmt;

use crate::trouble::Trouble;

/// Where a run stopped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Point {
    /// A share of its time, 0 to 1.
    TimeShare(f64),
    /// A share of its bytes, 0 to 1.
    ByteShare(f64),
    /// After this many layers.
    Layer(u32),
    /// After this line.
    Line(u64),
}

impl Point {
    /// Reads `40 %`, `40 % of bytes`, `layer 12` or `line 300`.
    ///
    /// # Errors
    /// Any other text, a share that is nothing or above 100 %, layer or line 0.
    pub(crate) fn parse(text: &str) -> Result<Point, Trouble> {
        let spaced = text.to_lowercase().replace('%', " % ");
        let words: Vec<&str> = spaced.split_whitespace().collect();
        let point = match words[..] {
            [share, "%"] | [share, "%", "of", "time"] => percent(share).map(Point::TimeShare),
            [share, "%", "of", "bytes"] => percent(share).map(Point::ByteShare),
            ["layer", count] => count.parse().ok().filter(|&count| 1 <= count).map(Point::Layer),
            ["line", count] => count.parse().ok().filter(|&count| 1 <= count).map(Point::Line),
            _ => None,
        };
        point.ok_or_else(|| {
            Trouble::refused(format!("\"{text}\" is not a point at which a run can stop"))
                .help("write \"40 %\" (of its time), \"40 % of bytes\", \"layer 12\" or \"line 300\"")
        })
    }
}

impl fmt::Display for Point {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Point::TimeShare(share) => write!(f, "{} %", share * 100.0),
            Point::ByteShare(share) => write!(f, "{} % of bytes", share * 100.0),
            Point::Layer(count) => write!(f, "layer {count}"),
            Point::Line(count) => write!(f, "line {count}"),
        }
    }
}

fn percent(text: &str) -> Option<f64> {
    text.parse().ok().filter(|percent| 0.0 < *percent && *percent <= 100.0).map(|percent: f64| percent / 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_are_read_as_people_write_them() {
        assert_eq!(Point::parse("40 %").unwrap(), Point::TimeShare(0.4));
        assert_eq!(Point::parse("40%").unwrap(), Point::TimeShare(0.4));
        assert_eq!(Point::parse("12.5 % of bytes").unwrap(), Point::ByteShare(0.125));
        assert_eq!(Point::parse("Layer 12").unwrap(), Point::Layer(12));
        assert_eq!(Point::parse("line 300").unwrap(), Point::Line(300));
    }

    #[test]
    fn a_point_prints_as_it_is_read() {
        for text in ["40 %", "12.5 % of bytes", "layer 12", "line 300"] {
            assert_eq!(Point::parse(text).unwrap().to_string(), text);
        }
    }

    #[test]
    fn a_point_that_cannot_be_is_refused() {
        for text in ["", "101 %", "-1 %", "0 %", "0 % of bytes", "nan %", "layer 0", "layer -2", "line x", "half", "3"]
        {
            assert!(Point::parse(text).is_err(), "{text}");
        }
    }
}
