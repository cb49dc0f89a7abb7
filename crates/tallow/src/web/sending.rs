//! Forms that are sent to change something: each stands on the pages of those alone who may send it.

use maud::{Markup, html};

use super::guard::May;
use super::pages::needed;

/// A form that is sent to an address of this server. What that needs is told by the route that answers there.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sending<'a> {
    /// Where to.
    pub(crate) to: &'a str,
    /// Its class; empty for none.
    pub(crate) class: &'a str,
    /// Its name in the page.
    pub(crate) id: Option<&'a str>,
    /// Whether files go along.
    pub(crate) brings_files: bool,
}

impl Sending<'_> {
    /// A form of fields alone.
    pub(crate) fn to(to: &str) -> Sending<'_> {
        Sending { to, class: "", id: None, brings_files: false }
    }

    /// Draws it for whoever may send it, with what stands in it; for others nothing.
    pub(crate) fn show(&self, may: &May, fields: Markup) -> Markup {
        let class = Some(self.class).filter(|class| !class.is_empty());
        let coding = self.brings_files.then_some("multipart/form-data");
        html! {
            @if may_send(may, self.to) {
                form id=[self.id] class=[class] method="post" enctype=[coding] action=(self.to) { (fields) }
            }
        }
    }

    /// As [`Sending::show`], folded up below its title until somebody wants it.
    pub(crate) fn folded(&self, may: &May, title: &str, is_open: bool, fields: Markup) -> Markup {
        html! {
            @if may_send(may, self.to) {
                details.form open[is_open] {
                    summary { (title) }
                    (self.show(may, fields))
                }
            }
        }
    }
}

/// Whether somebody may send a form to an address.
pub(crate) fn may_send(may: &May, to: &str) -> bool {
    may.do_what_needs(needed(to))
}

/// For whoever may not send a form to an address: a line that says which role `doing` that needs. For others nothing.
pub(crate) fn role_wanted(may: &May, to: &str, doing: &str) -> Markup {
    html! {
        @if !may_send(may, to) { p.hint { (doing) " needs the role \"" (needed(to).word()) "\"." } }
    }
}

#[cfg(test)]
mod tests {
    use ledger::Role;

    use super::*;

    #[test]
    fn a_form_is_drawn_for_those_who_may_send_it_and_a_line_says_what_others_lack() {
        let drawn = |role: Role| {
            let may = May::Role(role);
            let form = Sending { class: "row", brings_files: true, ..Sending::to("/limits/clove%20hitch") };
            let form = form.show(&may, html! { button { "Set" } }).into_string();
            (form, role_wanted(&may, "/limits/clove%20hitch", "Setting a limit").into_string())
        };
        let form = "<form class=\"row\" method=\"post\" enctype=\"multipart/form-data\" \
                    action=\"/limits/clove%20hitch\"><button>Set</button></form>";
        assert_eq!(drawn(Role::Plan), (form.to_owned(), String::new()));
        let line = "<p class=\"hint\">Setting a limit needs the role &quot;plan&quot;.</p>";
        assert_eq!(drawn(Role::Record), (String::new(), line.to_owned()));
        assert_eq!(Sending::to("/before").show(&May::Nothing, html! {}).into_string(), "");
    }
}
