//! What every page has around it: the shop's name and day, the five places, what was just recorded.

use axum::http::header;
use axum::response::{IntoResponse, Response};
use jiff::civil::Date;
use maud::{DOCTYPE, Markup, html};
use upkeep::build::SignalWord;

use super::assets::{self, Asset};
use super::guard::Visitor;
use super::sending::may_send;
use super::shelf::Passing;
use crate::trouble::Trouble;
use crate::words;

/// The places at the top of each page. Nothing is nested deeper than two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Place {
    /// What to do now.
    Today,
    /// Each machine, and what a print would ask of it.
    Machines,
    /// The visits of the days to come.
    Rounds,
    /// Supplies and spares.
    Stores,
    /// What happened, what it cost, what it teaches; and the shop's own facts.
    Records,
}

impl Place {
    const ALL: [Place; 5] = [Place::Today, Place::Machines, Place::Rounds, Place::Stores, Place::Records];

    fn name(self) -> &'static str {
        match self {
            Place::Today => "Today",
            Place::Machines => "Machines",
            Place::Rounds => "Rounds",
            Place::Stores => "Stores",
            Place::Records => "Records",
        }
    }

    fn address(self) -> &'static str {
        match self {
            Place::Today => "/",
            Place::Machines => "/machines",
            Place::Rounds => "/rounds",
            Place::Stores => "/stores",
            Place::Records => "/records",
        }
    }

    /// Pages of the second level, by their address and name.
    fn within(self) -> &'static [(&'static str, &'static str)] {
        match self {
            Place::Machines => &[
                ("/machines", "All"),
                ("/faults", "Faults"),
                ("/measure", "Measure"),
                ("/before", "Before a print"),
                ("/labels", "Labels"),
            ],
            Place::Records => &[
                ("/records", "History"),
                ("/money", "Money"),
                ("/lives", "Lives"),
                ("/shop", "Shop"),
                ("/shop/people", "People"),
            ],
            Place::Rounds => &[("/rounds", "Round"), ("/rounds/plan", "Plan again"), ("/rounds/keepers", "Keepers")],
            Place::Stores => &[("/stores", "Items"), ("/stores/buy", "To buy")],
            Place::Today => &[],
        }
    }
}

/// A page: what stands on it, and where it belongs.
pub(crate) struct Page {
    title: String,
    place: Option<Place>,
    address: &'static str,
    body: Markup,
    about: Around,
    script: Option<&'static Asset>,
    looks_again: bool,
    passes: bool,
}

/// What the frame says of the shop and of whoever looks.
#[derive(Clone, Default)]
pub(crate) struct Around {
    /// The shop's name.
    pub(crate) shop: String,
    /// The day.
    pub(crate) today: Option<Date>,
    /// Who looks.
    pub(crate) visitor: Visitor,
    /// What was just recorded.
    pub(crate) said: Option<String>,
}

impl Page {
    /// A page at `address` in `place`.
    pub(crate) fn new(
        around: &Around,
        place: Place,
        address: &'static str,
        title: impl Into<String>,
        body: Markup,
    ) -> Page {
        Page {
            title: title.into(),
            place: Some(place),
            address,
            body,
            about: around.clone(),
            script: None,
            looks_again: false,
            passes: false,
        }
    }

    /// A page outside the five places.
    pub(crate) fn apart(around: &Around, title: impl Into<String>, body: Markup) -> Page {
        Page {
            title: title.into(),
            place: None,
            address: "",
            body,
            about: around.clone(),
            script: None,
            looks_again: false,
            passes: false,
        }
    }

    /// With a script of its own beside the one of all pages.
    pub(crate) fn with_script(self, script: &'static Asset) -> Page {
        Page { script: Some(script), ..self }
    }

    /// That a browser without scripts asks for again every few seconds, since something is being made.
    pub(crate) fn looking_again(self) -> Page {
        Page { looks_again: true, ..self.passing_if(true) }
    }

    /// That is drawn anew for each request as long as something on it is being made.
    pub(crate) fn passing_if(self, is_being_made: bool) -> Page {
        Page { passes: self.passes || is_being_made, ..self }
    }

    /// A page that says what went wrong and nothing else.
    pub(crate) fn of_trouble(title: &str, trouble: &Trouble) -> Page {
        Page::apart(&Around::default(), title, super::form::trouble(trouble))
    }

    fn render(&self) -> Markup {
        let Around { shop, today, visitor, said } = &self.about;
        html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta name="color-scheme" content="light dark";
                    title { (self.title) @if !shop.is_empty() { " · " (shop) } }
                    link rel="stylesheet" href=(assets::STYLE.address());
                    link rel="icon" href=(assets::ICON.address()) type="image/svg+xml";
                    script src=(assets::SCRIPT.address()) defer {}
                    @if let Some(script) = self.script { script src=(script.address()) defer {} }
                    @if self.looks_again { noscript { meta http-equiv="refresh" content="3"; } }
                }
                body {
                    a.skip href="#main" { "To the page" }
                    header {
                        p.where {
                            span.shop { (shop) }
                            @if let Some(today) = today { span.day { (today.strftime("%a %-d %b %Y")) } }
                            @if let Some(name) = &visitor.name {
                                form.who method="post" action="/sign-out" { (name) " " button.quiet { "Sign out" } }
                            }
                        }
                        @if !shop.is_empty() {
                            nav aria-label="Places" {
                                @for place in Place::ALL {
                                    a href=(place.address()) aria-current=[(self.place == Some(place)).then_some("true")] { (place.name()) }
                                }
                            }
                        }
                        @if let Some(within) = self.place.map(Place::within).filter(|within| !within.is_empty()) {
                            nav.within aria-label="Within" {
                                @for (address, name) in within.iter().filter(|(address, _)| may_send(&visitor.may, address)) {
                                    a href=(address) aria-current=[(*address == self.address).then_some("page")] { (name) }
                                }
                            }
                        }
                    }
                    main #main tabindex="-1" {
                        @if let Some(said) = said { p.said role="status" { (said) } }
                        h1 { (self.title) }
                        (self.body)
                    }
                }
            }
        }
    }
}

impl IntoResponse for Page {
    fn into_response(self) -> Response {
        let used_up = self.about.said.is_some();
        let mut response =
            ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], self.render().into_string()).into_response();
        if self.passes {
            response.extensions_mut().insert(Passing);
        }
        if used_up {
            let cookie = header::HeaderValue::from_static("said=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
            response.headers_mut().append(header::SET_COOKIE, cookie);
        }
        response
    }
}

/// A bar that is hatched as far as something is used; the figure must stand beside it.
pub(crate) fn bar(share: f64) -> Markup {
    let width = (share.clamp(0.0, 1.0) * 100.0).round();
    html! {
        svg.bar viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" focusable="false" {
            rect.all x="0" y="0" width="100" height="10" {}
            rect class=(hatch(share)) x="0" y="0" width=(width) height="10" {}
        }
    }
}

/// A bar that is hatched as far as something is used, with the figure beside it.
///
/// Used is drawn as a section in a drawing (ISO 128-50), so that it reads in black and white: blank to a half, wide hatch
/// to 80 %, close hatch to 100 %, solid when due.
pub(crate) fn used(share: f64) -> Markup {
    html! {
        span.used {
            (bar(share))
            span.figure { (words::percent(share)) }
        }
    }
}

/// A caution with its signal word.
pub(crate) fn caution(word: SignalWord, text: &str) -> Markup {
    let class = match word {
        SignalWord::Danger => "danger",
        SignalWord::Warning => "warning",
        SignalWord::Caution => "caution-word",
        SignalWord::Notice => "notice",
    };
    html! {
        div class={ "caution " (class) } {
            span.word { (word.name().to_uppercase()) }
            span.text { (text) }
        }
    }
}

/// A bar as long as a chance, with the figure beside it.
pub(crate) fn likely(chance: f64) -> Markup {
    html! {
        span.used {
            svg.bar.evidence viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" focusable="false" {
                rect.all x="0" y="0" width="100" height="10" {}
                rect x="0" y="0" width=(format!("{:.1}", chance * 100.0)) height="10" fill="currentColor" {}
            }
            span.figure { (words::percent(chance)) }
        }
    }
}

/// The class of the hatch of a share that is used.
pub(crate) fn hatch(share: f64) -> &'static str {
    match share {
        share if 1.0 <= share => "hatch due",
        share if 0.8 <= share => "hatch close",
        share if 0.5 <= share => "hatch wide",
        _ => "hatch blank",
    }
}

/// The patterns that [`hatch`] fills with; they stand once on each page that uses them.
pub(crate) fn hatches() -> Markup {
    html! {
        svg.patterns width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                pattern #hatch-wide patternUnits="userSpaceOnUse" width="8" height="8" patternTransform="rotate(45)" {
                    line.ink x1="0" y1="0" x2="0" y2="8" {}
                }
                pattern #hatch-close patternUnits="userSpaceOnUse" width="3" height="3" patternTransform="rotate(45)" {
                    line.ink x1="0" y1="0" x2="0" y2="3" {}
                }
            }
        }
    }
}
