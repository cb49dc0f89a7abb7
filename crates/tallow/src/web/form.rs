//! Forms: fields with their labels, what was typed kept when something is refused, and the trouble beside them.

use std::collections::BTreeMap;

use maud::{Markup, html};

use super::hints;
use crate::trouble::Trouble;

/// What was typed into a form, by field; a field may stand several times.
#[derive(Clone, Debug, Default)]
pub(crate) struct Typed(BTreeMap<String, Vec<String>>);

impl Typed {
    /// The fields of a form as a browser sends them.
    pub(crate) fn new(pairs: Vec<(String, String)>) -> Typed {
        let mut fields: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for (name, value) in pairs {
            // Browsers end the lines of a text by CR and LF.
            fields.entry(name).or_default().push(value.replace("\r\n", "\n"));
        }
        Typed(fields)
    }

    /// What stands in a field, without blanks around it; empty where there is none.
    pub(crate) fn text(&self, name: &str) -> String {
        self.0.get(name).and_then(|values| values.first()).map(|text| text.trim().to_owned()).unwrap_or_default()
    }

    /// As [`Typed::text`], `None` where it is empty.
    pub(crate) fn some(&self, name: &str) -> Option<String> {
        Some(self.text(name)).filter(|text| !text.is_empty())
    }

    /// All values of a field.
    pub(crate) fn all(&self, name: &str) -> &[String] {
        self.0.get(name).map_or(&[], Vec::as_slice)
    }

    /// The fields whose names begin so, and in which something stands: the rest of each name, and what stands in it.
    pub(crate) fn beginning<'a>(&'a self, start: &'a str) -> impl Iterator<Item = (&'a str, String)> {
        self.0.keys().filter_map(move |name| Some((name.strip_prefix(start)?, self.some(name)?)))
    }

    /// Whether a box is ticked.
    pub(crate) fn is_ticked(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    /// The number in a field; `None` where it is empty.
    ///
    /// # Errors
    /// A text that is no number, named by `label`.
    pub(crate) fn number(&self, name: &str, label: &str) -> Result<Option<f64>, Trouble> {
        let Some(text) = self.some(name) else { return Ok(None) };
        let plain = text.chars().all(|letter| letter.is_ascii_digit() || matches!(letter, '.' | '-' | '+'));
        let number = text.parse().ok().filter(|_| plain);
        number.map(Some).ok_or_else(|| {
            Trouble::refused(format!("{label}: \"{text}\" is no number")).help("write it with a point, for example 5.5")
        })
    }
}

/// A form that was refused: which, why, and what was typed.
#[derive(Clone, Debug, Default)]
pub(crate) struct Refusal {
    /// The form's name.
    pub(crate) form: String,
    /// Why.
    pub(crate) trouble: Option<Trouble>,
    /// What was typed.
    pub(crate) typed: Typed,
}

impl Refusal {
    /// A form that was refused.
    pub(crate) fn new(form: &str, trouble: Trouble, typed: Typed) -> Refusal {
        Refusal { form: form.to_owned(), trouble: Some(trouble), typed }
    }

    /// What a field of `form` holds: what was typed if that form was refused, else `usual`.
    pub(crate) fn value(&self, form: &str, name: &str, usual: &str) -> String {
        if self.is_of(form) { self.typed.text(name) } else { usual.to_owned() }
    }

    /// Whether it is of that form.
    pub(crate) fn is_of(&self, form: &str) -> bool {
        self.trouble.is_some() && self.form == form
    }

    /// Why, where it is of that form; it stands above the form's button.
    pub(crate) fn shown(&self, form: &str) -> Markup {
        match self.trouble.as_ref().filter(|_| self.form == form) {
            Some(of_form) => trouble(of_form),
            None => html! {},
        }
    }
}

/// A trouble in words: what was refused, and what to do. Hints for the command line are left out.
pub(crate) fn trouble(trouble: &Trouble) -> Markup {
    html! {
        div.trouble role="alert" tabindex="-1" {
            p { strong { (sentence(trouble.what())) } }
            @for line in hints::of(trouble) { p { (sentence(line)) } }
        }
    }
}

/// A clause as a sentence: a capital letter and a full stop.
pub(crate) fn sentence(clause: &str) -> String {
    let mut letters = clause.chars();
    let first = letters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    let rest = letters.as_str();
    let end = if clause.ends_with(['.', ':', '?']) { "" } else { "." };
    format!("{first}{rest}{end}")
}

/// A field of one line with its label, and a hint below it.
pub(crate) struct Field<'a> {
    /// The form that it stands in.
    pub(crate) form: &'a str,
    /// Its name in what is sent.
    pub(crate) name: &'a str,
    /// What people read.
    pub(crate) label: &'a str,
    /// How to fill it in; empty for none.
    pub(crate) hint: &'a str,
    /// What stands in it at first.
    pub(crate) value: &'a str,
    /// `text`, `number`, `password`, `date`.
    pub(crate) kind: &'a str,
    /// Whether it may not be left empty.
    pub(crate) required: bool,
}

impl Field<'_> {
    /// A field of text that may be left empty.
    pub(crate) fn text<'a>(form: &'a str, name: &'a str, label: &'a str) -> Field<'a> {
        Field { form, name, label, hint: "", value: "", kind: "text", required: false }
    }

    /// What a browser may fill it with (HTML, "Autofill").
    fn filled(&self) -> Option<&'static str> {
        match (self.kind, self.form, self.name) {
            ("password", "sign-in", _) | ("password", _, "old") => Some("current-password"),
            ("password", ..) => Some("new-password"),
            (_, "sign-in", "name") => Some("username"),
            _ => None,
        }
    }

    /// Draws it.
    pub(crate) fn show(&self, refusal: &Refusal) -> Markup {
        let id = format!("{}-{}", self.form, self.name);
        let hint_id = format!("{id}-hint");
        let value =
            if self.kind == "password" { String::new() } else { refusal.value(self.form, self.name, self.value) };
        // Figures are typed as text with a number pad: a browser's own field of numbers drops what it does not like.
        let (kind, pad) = if self.kind == "number" { ("text", Some("decimal")) } else { (self.kind, None) };
        html! {
            p.field {
                label for=(id) { (self.label) }
                input id=(id) name=(self.name) type=(kind) inputmode=[pad] value=(value) required[self.required] autocomplete=[self.filled()]
                    aria-describedby=[(!self.hint.is_empty()).then_some(&hint_id)];
                @if !self.hint.is_empty() { span.hint id=(hint_id) { (self.hint) } }
            }
        }
    }
}

/// A field in which one of some things is chosen: pairs of value and words.
pub(crate) fn choice(
    refusal: &Refusal,
    form: &str,
    name: &str,
    label: &str,
    chosen: &str,
    of: &[(String, String)],
) -> Markup {
    let id = format!("{form}-{name}");
    let chosen = refusal.value(form, name, chosen);
    html! {
        p.field {
            label for=(id) { (label) }
            select id=(id) name=(name) {
                @for (value, words) in of { option value=(value) selected[*value == chosen] { (words) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_typed_stays_in_the_form_that_was_refused_and_in_no_other() {
        let typed = Typed::new(vec![("name".into(), " bow<line ".into()), ("n".into(), "1e5".into())]);
        assert!(typed.number("n", "hours").is_err(), "an exponent is no number that people write");
        let refusal = Refusal::new("add", Trouble::refused("no such build").help("tallow build list"), typed);
        let field = Field::text("add", "name", "Name").show(&refusal).into_string();
        assert!(field.contains("value=\"bow&lt;line\""), "{field}");
        assert!(!Field::text("other", "name", "Name").show(&refusal).into_string().contains("bow"));
        assert!(refusal.shown("add").into_string().contains("No such build."));
        assert_eq!(refusal.shown("other").into_string(), "");
    }
}
