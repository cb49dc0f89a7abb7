//! Forms that record something of a machine, each by the command that the command line has for it.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use upkeep::Foreseen;

use super::super::super::act::{act, said};
use super::super::super::app::App;
use super::super::super::asked::{Form, Path};
use super::super::super::form::{Field, Refusal, Typed, choice};
use super::super::super::frame::Around;
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Reply, encoded};
use super::super::super::sending::{Sending, role_wanted};
use super::super::machines::address;
use super::{material_names, named, nobody, page};
use crate::cli::{Age, Command, Done, Failure, HourMeter, Limit, Occasion, Reading, Reason, Replace};
use crate::trouble::Trouble;

/// Records what a form says.
pub(in crate::web) async fn record(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let form = typed.text("form");
    // Whoever may record may not set limits.
    let form = if form == LIMIT { "" } else { &form };
    recorded(&app, &around, &name, form, typed).await
}

/// Gives a task a limit of the shop's own: that changes what is planned, and so needs another role.
pub(in crate::web) async fn set_limit(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    recorded(&app, &around, &name, LIMIT, Typed::new(pairs)).await
}

/// The form that sets a limit.
const LIMIT: &str = "limit";

async fn recorded(app: &App, around: &Around, name: &str, form: &str, typed: Typed) -> Answer {
    let done = match command(form, name, &typed) {
        Ok(command) => act(app, &command).await,
        Err(trouble) => Err(trouble),
    };
    match done {
        Ok(answer) => Ok(Reply::Done { to: address(name), said: said(&answer) }),
        Err(trouble) => {
            let refusal = Refusal::new(form, trouble, typed);
            match page(app, around, name, &Typed::default(), &refusal).await? {
                Some(page) => Ok(Reply::Refused(page)),
                None => nobody(around, name),
            }
        }
    }
}

/// The command that a form asks for.
fn command(form: &str, machine: &str, typed: &Typed) -> Result<Command, Trouble> {
    let occasion = || Occasion { on: machine.to_owned(), when: now_or(typed.some("when")), note: typed.text("note") };
    Ok(match form {
        "done" => Command::Done(Done {
            task: chosen(typed, "task", "a task")?,
            new: false,
            occasion: occasion(),
            supplies: supplies(typed),
        }),
        "replace" => Command::Replace(Replace {
            position: chosen(typed, "position", "a part")?,
            occasion: occasion(),
            because: reason(&typed.text("because"))?,
            spare: typed.some("spare"),
        }),
        "failure" => Command::Failure(Failure {
            position: chosen(typed, "position", "a part")?,
            mode: typed.text("mode"),
            found: typed.is_ticked("found"),
            mended: typed.is_ticked("mended"),
            occasion: occasion(),
        }),
        "reading" => Command::Reading(Reading {
            new: typed.is_ticked("new"),
            position: chosen(typed, "position", "a part")?,
            what: typed.text("what"),
            value: typed.text("value"),
            occasion: occasion(),
        }),
        "hours" => Command::HourMeter(HourMeter {
            hours: typed.number("hours", "What it shows")?.ok_or_else(|| empty("what the hour meter shows"))?,
            occasion: occasion(),
            material: typed.text("material"),
        }),
        LIMIT => Command::Limit(Limit {
            task: chosen(typed, "task", "a task")?,
            every: typed.text("every"),
            of: typed.some("of"),
            on: Some(machine.to_owned()),
            reason: typed.text("reason"),
        }),
        "age" => {
            let amount = typed.text("amount");
            let (first, second) = match typed.some("position") {
                Some(position) => (position, Some(amount)),
                None => (amount, None),
            };
            Command::Age(Age {
                machine: machine.to_owned(),
                first,
                second,
                of: typed.some("of"),
                note: typed.text("note"),
            })
        }
        other => return Err(Trouble::refused(format!("no form is called \"{other}\"")).help("use one of this page")),
    })
}

/// The supplies of the field "used", one in a line.
pub(in super::super) fn supplies(typed: &Typed) -> Vec<String> {
    typed.text("used").lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect()
}

fn now_or(when: Option<String>) -> String {
    when.unwrap_or_else(|| "now".to_owned())
}

fn chosen(typed: &Typed, name: &str, what: &str) -> Result<String, Trouble> {
    typed.some(name).ok_or_else(|| Trouble::refused(format!("{what} must be chosen")).help("choose one"))
}

fn empty(what: &str) -> Trouble {
    Trouble::refused(format!("{what} is left empty")).help("fill it in")
}

pub(in super::super) const REASONS: [(&str, &str, Reason); 3] = [
    ("worn", "it was worn, but worked", Reason::Worn),
    ("failed", "it had failed", Reason::Failed),
    ("good", "it was good", Reason::Good),
];

/// The reason of that word.
///
/// # Errors
/// A word that is none.
pub(in super::super) fn reason(word: &str) -> Result<Reason, Trouble> {
    let found = REASONS.iter().find(|(name, ..)| *name == word);
    found.map(|(.., reason)| *reason).ok_or_else(|| Trouble::refused("why it went must be chosen").help("choose one"))
}

/// All forms, each folded up until it is wanted or was refused.
pub(super) fn section(machine: &Foreseen, glance: &Glance, refusal: &Refusal, may: &May) -> Markup {
    let build = &machine.build;
    let tasks = named(build.tasks.iter().map(|task| task.name.clone()));
    let positions = named(build.positions.iter().map(|position| position.name.clone()));
    let none = |words: &str| vec![(String::new(), words.to_owned())];
    let spares = spares(glance);
    let reasons: Vec<(String, String)> =
        REASONS.iter().map(|(name, words, _)| ((*name).into(), (*words).into())).collect();
    let parts = [none("every part that was there"), positions.clone()].concat();
    let materials = [none("nobody knows"), material_names(glance)].concat();
    let form = |name: &'static str, title: &str, fields: Markup| shown(machine, refusal, may, name, title, &fields);
    html! {
        section aria-labelledby="record" {
            h2 #record { "Record" }
            (role_wanted(may, &address(&machine.name), "Recording something of this machine"))
            (form("done", "A task was done", html! {
                (choice(refusal, "done", "task", "Task", "", &tasks))
                (lines(refusal, "done", "used", "Used besides what the task names", "one supply in a line: ISO VG 32 light oil=2 ml"))
                (occasion(refusal, "done"))
            }))
            (form("replace", "A part was replaced", html! {
                (choice(refusal, "replace", "position", "Part", "", &positions))
                (choice(refusal, "replace", "because", "Why it went", "worn", &reasons))
                (choice(refusal, "replace", "spare", "A spare of the stores", "", &spares))
                (occasion(refusal, "replace"))
            }))
            (form("failure", "A part failed", html! {
                (choice(refusal, "failure", "position", "Part", "", &positions))
                (field(refusal, "failure", "mode", "How it shows", "filament sticks in the tube"))
                (tick(refusal, "failure", "found", "It was found by looking: it happened at some time since the last look"))
                (tick(refusal, "failure", "mended", "It was put right without another part"))
                (occasion(refusal, "failure"))
            }))
            (form("reading", "Something was measured", html! {
                (choice(refusal, "reading", "position", "Part", "", &positions))
                (field(refusal, "reading", "what", "What was measured", "belt frequency"))
                (field(refusal, "reading", "value", "Value with its unit", "110 Hz"))
                (occasion(refusal, "reading"))
            }))
            (form("hours", "The hour meter was read", html! {
                (Field { kind: "number", hint: "use that was not booked is estimated", ..Field::text("hours", "hours", "It shows, h") }.show(refusal))
                (choice(refusal, "hours", "material", "What was printed in hours that were not booked", "", &materials))
                (occasion(refusal, "hours"))
            }))
            (form(LIMIT, "A limit of our own", html! {
                (choice(refusal, "limit", "task", "Task", "", &tasks))
                (field(refusal, "limit", "every", "Every", "300 km; 6 weeks"))
                (field(refusal, "limit", "of", "Of", "travel x; empty where the task has one limit by use"))
                (field(refusal, "limit", "reason", "Why", "dry and clean here"))
            }))
            (form("age", "How old parts were when the machine joined", html! {
                (choice(refusal, "age", "position", "Part", "", &parts))
                (field(refusal, "age", "amount", "Age", "8 months; 1200 h"))
                (field(refusal, "age", "of", "Of", "time; empty for the calendar, or where one quantity alone fits"))
                (field(refusal, "age", "note", "How that is known", ""))
            }))
        }
    }
}

/// The spares that can be put in: what the stores count in pieces.
pub(in super::super) fn spares(glance: &Glance) -> Vec<(String, String)> {
    let of_pieces = glance.items().iter().filter(|item| item.unit.is_empty()).map(|item| item.name.clone());
    [vec![(String::new(), "of none that is counted".to_owned())], named(of_pieces)].concat()
}

/// A form that is folded up.
fn shown(machine: &Foreseen, refusal: &Refusal, may: &May, name: &str, title: &str, fields: &Markup) -> Markup {
    let to = if name == LIMIT { format!("/limits/{}", encoded(&machine.name)) } else { address(&machine.name) };
    let fields = html! {
        input type="hidden" name="form" value=(name);
        (fields)
        (refusal.shown(name))
        button { "Record it" }
    };
    Sending::to(&to).folded(may, title, refusal.is_of(name), fields)
}

/// When, and a note.
fn occasion(refusal: &Refusal, form: &str) -> Markup {
    html! {
        (Field { value: "now", hint: "now, today 8:30, yesterday 14:10, monday 8:30, 2026-11-24 9:00", ..Field::text(form, "when", "When") }.show(refusal))
        (Field::text(form, "note", "Note").show(refusal))
    }
}

fn field(refusal: &Refusal, form: &str, name: &str, label: &str, hint: &str) -> Markup {
    Field { hint, ..Field::text(form, name, label) }.show(refusal)
}

/// A field of several lines.
pub(in super::super) fn lines(refusal: &Refusal, form: &str, name: &str, label: &str, hint: &str) -> Markup {
    let id = format!("{form}-{name}");
    html! {
        p.field {
            label for=(id) { (label) }
            textarea id=(id) name=(name) rows="2" aria-describedby=(format!("{id}-hint")) { (refusal.value(form, name, "")) }
            span.hint id=(format!("{id}-hint")) { (hint) }
        }
    }
}

/// A box to tick.
fn tick(refusal: &Refusal, form: &str, name: &str, label: &str) -> Markup {
    let is_ticked = refusal.is_of(form) && refusal.typed.is_ticked(name);
    html! {
        p { label.tick { input type="checkbox" name=(name) value="yes" checked[is_ticked]; " " (label) } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed(pairs: &[(&str, &str)]) -> Typed {
        Typed::new(pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect())
    }

    #[test]
    fn a_form_is_the_command_that_the_command_line_has() {
        let done = typed(&[("task", "wipe the x rods"), ("used", "oil=2 ml\n\n wipe \n"), ("when", ""), ("note", "n")]);
        let Ok(Command::Done(done)) = command("done", "bowline", &done) else { panic!("a task done") };
        assert_eq!(
            (done.task.as_str(), done.occasion.on.as_str(), done.occasion.when.as_str()),
            ("wipe the x rods", "bowline", "now")
        );
        assert_eq!(done.supplies, ["oil=2 ml", "wipe"]);
        let age = typed(&[("position", ""), ("amount", "8 months")]);
        let Ok(Command::Age(age)) = command("age", "bowline", &age) else { panic!("an age") };
        assert_eq!((age.first.as_str(), age.second), ("8 months", None));
    }

    #[test]
    fn what_must_be_said_and_is_not_is_refused() {
        for (form, pairs) in [
            ("done", &[][..]),
            ("replace", &[("position", "nozzle"), ("because", "bored")]),
            ("hours", &[("hours", "")]),
            ("hours", &[("hours", "many")]),
            ("other", &[]),
        ] {
            assert!(command(form, "bowline", &typed(pairs)).is_err(), "{form}");
        }
    }
}
