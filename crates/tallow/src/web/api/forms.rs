//! In which form an answer is given: JSON, or another that the command line can print or write, for whoever asks by `Accept`.

use axum::http::{HeaderMap, header};

use crate::trouble::Trouble;

/// A form of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Form {
    /// Its media type.
    pub(super) media: &'static str,
    /// How the command gives it.
    pub(super) how: How,
}

/// How a command gives an answer in some form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum How {
    /// It prints it with `--json`.
    Json,
    /// It prints it without.
    Words,
    /// It prints it with this switch.
    Switch(&'static str),
    /// It writes it into the file of this option.
    File(&'static str),
}

pub(super) const JSON: Form = Form { media: "application/json", how: How::Json };
pub(super) const TEXT: Form = Form { media: "text/plain", how: How::Words };
pub(super) const CALENDAR: Form = Form { media: "text/calendar", how: How::Words };
pub(super) const TABLE: Form = Form { media: "text/csv", how: How::Switch("csv") };
pub(super) const PAGE: Form = Form { media: "text/html", how: How::File("html") };
pub(super) const DRAWING: Form = Form { media: "image/svg+xml", how: How::File("svg") };

impl Form {
    /// What stands in `Content-Type`.
    pub(super) fn content_type(self) -> String {
        match self.how {
            How::Json => self.media.to_owned(),
            How::Words | How::Switch(_) | How::File(_) => format!("{}; charset=utf-8", self.media),
        }
    }

    /// The word of the command line that asks for it.
    pub(super) fn word(self) -> Option<String> {
        match self.how {
            How::Json | How::Words => None,
            How::Switch(name) => Some(format!("--{name}")),
            // The name is never opened: what would be written is answered.
            How::File(name) => Some(format!("--{name}=answer")),
        }
    }
}

/// The form that `Accept` asks for most (RFC 9110, 12.5.1), the first of those where it says nothing. Where there is no choice
/// the one there is, whatever is asked for.
///
/// # Errors
/// Where it takes none of them.
pub(super) fn asked(forms: &'static [Form], headers: &HeaderMap) -> Result<Form, Trouble> {
    let accept: Vec<&str> = headers.get_all(header::ACCEPT).iter().filter_map(|value| value.to_str().ok()).collect();
    let ranges: Vec<Range> = accept.iter().flat_map(|value| value.split(',')).filter_map(Range::read).collect();
    if forms.len() == 1 || ranges.is_empty() {
        return Ok(forms[0]);
    }
    let weighed = forms.iter().map(|form| (weight(&ranges, form.media), form));
    // Of equals the first is the usual one.
    let best = weighed.rev().max_by(|(one, _), (other, _)| one.total_cmp(other));
    best.filter(|(weight, _)| 0.0 < *weight).map(|(_, form)| *form).ok_or_else(|| {
        let media: Vec<&str> = forms.iter().map(|form| form.media).collect();
        Trouble::refused(format!("the answer can't be given as {}", accept.join(", ")))
            .help(format!("accept one of: {}", media.join(", ")))
    })
}

/// An element of `Accept`.
struct Range<'a> {
    kind: &'a str,
    subtype: &'a str,
    weight: f64,
}

impl<'a> Range<'a> {
    fn read(text: &'a str) -> Option<Range<'a>> {
        let mut parts = text.split(';').map(str::trim);
        let (kind, subtype) = parts.next()?.split_once('/')?;
        let weight = parts.find_map(|part| part.strip_prefix("q=").or_else(|| part.strip_prefix("Q=")));
        Some(Range { kind, subtype, weight: weight.map_or(1.0, |text| text.parse().unwrap_or(0.0)) })
    }

    /// How closely it names a media type; `None` if it does not.
    fn closeness(&self, media: &str) -> Option<u8> {
        let (kind, subtype) = media.split_once('/')?;
        let is = |range: &str, word: &str| range.eq_ignore_ascii_case(word);
        match (self.kind, self.subtype) {
            ("*", "*") => Some(0),
            (own, "*") if is(own, kind) => Some(1),
            (own, under) if is(own, kind) && is(under, subtype) => Some(2),
            _ => None,
        }
    }
}

/// The weight of a media type: that of the range which names it most closely.
fn weight(ranges: &[Range<'_>], media: &str) -> f64 {
    let naming = ranges.iter().filter_map(|range| Some((range.closeness(media)?, range.weight)));
    naming.max_by_key(|(closeness, _)| *closeness).map_or(0.0, |(_, weight)| weight)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FORMS: &[Form] = &[JSON, TEXT, PAGE];

    fn media(accept: &str) -> Option<&'static str> {
        let mut headers = HeaderMap::new();
        headers.insert(header::ACCEPT, accept.parse().unwrap());
        asked(FORMS, &headers).ok().map(|form| form.media)
    }

    #[test]
    fn the_form_is_the_one_that_is_asked_for_most() {
        // RFC 9110, 12.5.1: the most specific range holds, weights count, q=0 is "not acceptable".
        for (accept, expected) in [
            ("*/*", Some("application/json")),
            ("text/html", Some("text/html")),
            ("TEXT/html; q=1.0", Some("text/html")),
            ("text/*", Some("text/plain")),
            ("text/html;q=0.5, text/plain;q=0.7", Some("text/plain")),
            ("text/*, text/plain;q=0.1, application/json;q=0.3", Some("text/html")),
            ("text/html,application/xhtml+xml,*/*;q=0.8", Some("text/html")),
            ("application/json;q=0, */*", Some("text/plain")),
            ("image/png", None),
            ("*/*;q=0", None),
            ("text/html;q=much", None),
        ] {
            assert_eq!(media(accept), expected, "{accept}");
        }
        assert_eq!(asked(FORMS, &HeaderMap::new()).unwrap(), JSON);
    }
}
