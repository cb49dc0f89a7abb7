//! The checklist drawn: all of the visit's sheet in its order, with a form at each task.

use jiff::ZonedDateTime;
use ledger::{Outcome, Ticked};
use maud::{Markup, html};

use super::super::super::assets;
use super::super::super::form::{self, Field, Refusal, Typed};
use super::super::super::frame;
use super::super::super::guard::May;
use super::super::super::hints::without_command;
use super::super::super::sending::{Sending, role_wanted};
use super::{FINISH, Scene, new_key, ticks};
use crate::sheet::{self, Blank, Carry, Change, Stage, TaskStage, VisitSheet, What};
use crate::words;

/// How much of the checklist is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum View {
    /// The step at which the work is.
    Here,
    /// One step, from 1; the one behind the last task is the finish.
    Step(usize),
    /// All at once.
    All,
}

impl View {
    /// What an address asks for: `?step=3`, `?all=yes`.
    pub(super) fn asked(asked: &Typed) -> View {
        if asked.is_ticked("all") { View::All } else { View::of(&asked.text("step")) }
    }

    /// As a form says where it was pressed: `3`, `all`.
    pub(super) fn of(text: &str) -> View {
        match text.parse() {
            Ok(step) => View::Step(step),
            Err(_) if text == "all" => View::All,
            Err(_) => View::Here,
        }
    }

    /// Where the work goes on.
    pub(super) fn after(self, goes_on: bool) -> View {
        match self {
            View::Step(step) if goes_on => View::Step(step + 1),
            other => other,
        }
    }

    /// Its part of an address.
    pub(super) fn query(self) -> String {
        match self {
            View::Here => String::new(),
            View::Step(step) => format!("step={step}"),
            View::All => "all=yes".to_owned(),
        }
    }

    fn word(self) -> String {
        match self {
            View::Here => String::new(),
            View::Step(step) => step.to_string(),
            View::All => "all".to_owned(),
        }
    }
}

/// What is done between two ticks: the machine is brought into another condition, and then a task is done.
struct Step<'a> {
    changes: Vec<&'a Change>,
    stage: &'a TaskStage,
}

/// The steps of a sheet, and what is done to the machine behind the last.
fn steps(sheet: &VisitSheet) -> (Vec<Step<'_>>, Vec<&Change>) {
    let mut steps = Vec::new();
    let mut changes = Vec::new();
    for stage in &sheet.stages {
        match stage {
            Stage::Change(change) => changes.push(change),
            Stage::Task(stage) => steps.push(Step { changes: std::mem::take(&mut changes), stage }),
        }
    }
    (steps, changes)
}

/// The name of a task's form.
pub(super) fn form_of(task: &str) -> String {
    format!("task {task}")
}

/// The name of the form by which a photo of a task is added.
pub(super) fn photo_form_of(task: &str) -> String {
    format!("photo {task}")
}

/// Each drawing of the page.
struct Draw<'a> {
    scene: &'a Scene,
    sheet: &'a VisitSheet,
    view: View,
    n_steps: usize,
    refusal: &'a Refusal,
    may: &'a May,
}

/// The page below its heading.
pub(super) fn checklist(scene: &Scene, sheet: &VisitSheet, view: View, refusal: &Refusal, may: &May) -> Markup {
    let (steps, at_the_end) = steps(sheet);
    let view = match view {
        View::Here => {
            View::Step(steps.iter().position(|step| outcome(scene, step).is_none()).unwrap_or(steps.len()) + 1)
        }
        View::Step(step) => View::Step(step.clamp(1, steps.len() + 1)),
        View::All => View::All,
    };
    let draw = Draw { scene, sheet, view, n_steps: steps.len(), refusal, may };
    let n_settled = steps.iter().filter(|step| outcome(scene, step).is_some()).count();
    html! {
        div #visit data-visit=(scene.told.id) data-size=(scene.size) data-news=(format!("/visits/{}/news", scene.told.id))
            data-view=(view.word()) {
            (draw.head(n_settled))
            @for (place, step) in steps.iter().enumerate() { (draw.step(place + 1, step)) }
            (draw.finish(&steps, &at_the_end))
            p #announce role="status" {}
        }
        (script())
    }
}

/// The script that makes the checklist quicker, and keeps ticks where there is no connection.
pub(super) fn script() -> Markup {
    html! { script src=(assets::VISIT.address()) defer {} }
}

fn outcome<'a>(scene: &'a Scene, step: &Step<'_>) -> Option<&'a Outcome> {
    scene.checklist.tasks.get(&step.stage.task.name).and_then(|ticked| ticked.outcome.as_ref())
}

impl Draw<'_> {
    fn head(&self, n_settled: usize) -> Markup {
        let VisitSheet { day, keeper, number, not_to_be_run, .. } = self.sheet;
        let number = number.unwrap_or_default();
        html! {
            p { "Visit " (number) " · " (sheet::day_words(*day)) " · " (keeper) " · " (sheet::time_words(self.sheet)) }
            @if let Some(trouble) = self.refusal.trouble.as_ref().filter(|_| !self.has_place()) { (form::trouble(trouble)) }
            p.small { (sheet::ABOVE) " " a href=(format!("/visits/{number}/sheet")) { "On paper" } ", "
                a href=(format!("/visits/{number}/sheet?paper=letter")) { "on letter paper" } "." }
            (role_wanted(self.may, &self.address("marks"), "Walking it"))
            @if let Some(why) = not_to_be_run { p.stop { strong { "DO NOT RUN THIS MACHINE" } ": " (why) } }
            div #unsent.trouble role="status" hidden {}
            nav.views aria-label="How much is shown" {
                a data-step="here" href="?" aria-current=[(self.view != View::All).then_some("true")] { "One step at a time" }
                a data-step="all" href="?all=yes" aria-current=[(self.view == View::All).then_some("true")] { "All at once" }
                span #progress data-live { (n_settled) " of " (self.n_steps) " ticked" }
            }
            (self.lay_out())
        }
    }

    /// Where the visit's forms are sent.
    fn address(&self, what: &str) -> String {
        format!("/visits/{}/{what}", self.scene.told.id)
    }

    /// Whether what was refused is said at one of the page's forms.
    fn has_place(&self) -> bool {
        let is_of = |stage: &TaskStage| {
            [form_of(&stage.task.name), photo_form_of(&stage.task.name)].iter().any(|form| self.refusal.is_of(form))
        };
        self.refusal.is_of(FINISH) || self.sheet.tasks().any(is_of)
    }

    fn lay_out(&self) -> Markup {
        let carry = Carry::of(&[self.sheet]);
        html! {
            details.layout open[matches!(self.view, View::All | View::Step(1))] {
                summary { "Lay out" @if !carry.missing.is_empty() { ", and what the stores lack" } }
                dl.facts {
                    @for (heading, items) in carry.lists() {
                        dt { (heading) }
                        dd { @for (place, item) in items.iter().enumerate() { @if place != 0 { "; " } (without_command(item)) } }
                    }
                }
            }
        }
    }

    fn is_hidden(&self, step: usize) -> bool {
        matches!(self.view, View::Step(shown) if shown != step)
    }

    /// Which step it is, and the ways to its neighbours.
    fn between(&self, step: usize) -> Markup {
        html! {
            nav.between aria-label="Steps" {
                @if 1 < step { a.button.quiet data-step=(step - 1) href=(format!("?step={}", step - 1)) { "Back" } }
                span { @if step <= self.n_steps { (step) " of " (self.n_steps) } @else { "The end" } }
                @if step <= self.n_steps { a.button.quiet data-step=(step + 1) href=(format!("?step={}", step + 1)) { "Next" } }
            }
        }
    }

    fn changes(&self, step: usize, changes: &[&Change]) -> Markup {
        html! {
            @for (place, change) in changes.iter().enumerate() {
                div.change {
                    p { strong { (change.what.words()) } }
                    @if 0.0 < change.minutes {
                        p.timer id=(format!("timer-{step}-{place}")) data-minutes=(change.minutes) data-what=(timed(&change.what)) {
                            (sheet::minutes_words(change.minutes)) " "
                            button.quiet type="button" hidden { "Count " (sheet::minutes_words(change.minutes)) }
                            span.left {}
                        }
                    }
                }
            }
        }
    }

    fn step(&self, number: usize, step: &Step<'_>) -> Markup {
        let task = &step.stage.task;
        let state = outcome(self.scene, step)
            .map_or("open", |outcome| if outcome.skipped.is_some() { "skipped" } else { "done" });
        html! {
            section.step id=(format!("step-{number}")) data-number=(number) data-task=(task.name) data-state=(state) hidden[self.is_hidden(number)] {
                (self.between(number))
                (self.changes(number, &step.changes))
                h2 tabindex="-1" { (number) " " (sheet::capital(&task.name)) }
                p { (sheet::head_words(step.stage)) }
                (self.state(number, step))
                p.local role="status" {}
                ol.steps {
                    @for (place, text) in task.steps.iter().enumerate() {
                        li {
                            @for caution in sheet::cautions_before(task, place) { (frame::caution(caution.word, &caution.text)) }
                            (text)
                        }
                    }
                }
                (self.form(number, step.stage))
                (self.photo_form(number, step.stage))
            }
        }
    }

    /// What was said of a task so far, by whomever.
    fn state(&self, number: usize, step: &Step<'_>) -> Markup {
        let task = &step.stage.task.name;
        let ticked = self.scene.checklist.tasks.get(task);
        html! {
            div.state id=(format!("state-{number}")) data-live {
                @if let Some(ticked) = ticked {
                    @if let Some(outcome) = &ticked.outcome {
                        p.outcome { strong { (outcome_words(outcome, &self.scene.glance.now)) } }
                        (Sending { class: "mark", ..Sending::to(&self.address("marks")) }.show(self.may, html! {
                            (self.hidden(number, task))
                            button.quiet name="do" value="open" { "Still to be done" }
                        }))
                    }
                    (said(ticked))
                }
                (photos(self.scene, Some(task)))
            }
        }
    }

    fn hidden(&self, number: usize, task: &str) -> Markup {
        let view = if self.view == View::All { "all".to_owned() } else { number.to_string() };
        html! {
            input type="hidden" name="task" value=(task);
            input type="hidden" name="view" value=(view);
            input type="hidden" name="key" value=(new_key());
        }
    }

    fn form(&self, number: usize, stage: &TaskStage) -> Markup {
        let (task, name) = (&stage.task, form_of(&stage.task.name));
        let is_refused = self.refusal.is_of(&name);
        let field = |field: &str, label: &str, hint: &str, kind: &str| {
            let form = format!("t{number}");
            let value = if is_refused { self.refusal.typed.text(field) } else { String::new() };
            Field { form: &form, name: field, label, hint, value: &value, kind, required: false }
                .show(&Refusal::default())
        };
        html! {
            (Sending { class: "mark", ..Sending::to(&self.address("marks")) }.show(self.may, html! {
                (self.hidden(number, &task.name))
                // What a key pressed in a field does: nothing is ticked by it.
                button name="do" value="keep" hidden tabindex="-1" { "Keep" }
                @for blank in &stage.readings {
                    (field(&format!("reading:{}|{}: {}", blank.unit, blank.position, blank.name), &label(blank), &good(blank), "number"))
                }
                (self.refusal.shown(&name))
                p.press { button.big name="do" value="done" { "Done" } }
                details open[is_refused && self.refusal.typed.text("do") == "skip"] {
                    summary { "Skip, because …" }
                    (field("reason", "Why it is skipped", "", "text"))
                    p { button.quiet.big name="do" value="skip" { "Skip it" } }
                }
                details open[is_refused && self.refusal.typed.text("do") == "keep"] {
                    summary { "A reading, other supplies, a note" }
                    (field("reading-what", "What was measured", "at the position of this task", "text"))
                    (field("reading-value", "Value and unit", "for example 104 Hz", "text"))
                    @for supply in &task.uses {
                        @let usual = format!("usually {} {}", supply.amount, supply.unit);
                        (field(&format!("used:{}|{}", supply.unit, supply.name), &format!("Used of {}", supply.name), usual.trim_end(), "number"))
                    }
                    (field("used-what", "Another supply", "", "text"))
                    (field("used-amount", "How much of it", "with its unit, for example 2 ml", "text"))
                    (field("note", "Note", "", "text"))
                    p { button.quiet name="do" value="keep" { "Keep, not done yet" } }
                }
            }))
        }
    }

    fn photo_form(&self, number: usize, stage: &TaskStage) -> Markup {
        let name = photo_form_of(&stage.task.name);
        let id = format!("photo-{number}");
        html! {
            (Sending { class: "photo", brings_files: true, ..Sending::to(&self.address("photos")) }.show(self.may, html! {
                (self.hidden(number, &stage.task.name))
                (self.refusal.shown(&name))
                p.field {
                    label for=(id) { "Photo" }
                    input id=(id) type="file" name="photo" accept="image/jpeg,image/png,image/webp" capture="environment" required;
                }
                p.local role="status" {}
                button.quiet { "Send the photo" }
            }))
        }
    }

    fn finish(&self, steps: &[Step<'_>], at_the_end: &[&Change]) -> Markup {
        let number = self.n_steps + 1;
        let scene = self.scene;
        let open = steps.iter().filter(|step| outcome(scene, step).is_none()).map(|step| step.stage.task.name.as_str());
        let open: Vec<&str> = open.collect();
        let planned = sheet::minutes_words(self.sheet.minutes);
        let usual = match scene.checklist.first.and_then(|first| ticks::so_far(first, &scene.glance.now)) {
            Some(minutes) => format!("left empty: since the first tick, {minutes} min so far"),
            None => format!("left empty: since the first tick, or as planned, {planned}"),
        };
        let field = |name: &str, label: &str, hint: &str, kind: &str| {
            Field { form: FINISH, name, label, hint, value: "", kind, required: false }.show(self.refusal)
        };
        html! {
            section.step id=(format!("step-{number}")) data-number=(number) hidden[self.is_hidden(number)] {
                (self.between(number))
                (self.changes(number, at_the_end))
                h2 tabindex="-1" { "Finish" }
                (Sending { id: Some("finish"), ..Sending::to(&self.address("finish")) }.show(self.may, html! {
                    (self.hidden(number, ""))
                    div #left-out data-live {
                        @if !open.is_empty() { p { strong { "Neither done nor skipped." } " Say of each why it was not done, or go back and tick it." } }
                        @for task in &open {
                            div data-task=(task) { (field(&ticks::left_out(task), &format!("Not done: {task}, because"), "", "text")) }
                        }
                    }
                    details open[self.refusal.is_of(FINISH)] {
                        summary { "How long, when, a note" }
                        (field("took", "Took, min", &usual, "number"))
                        (field("when", "When it ended", "left empty: now; for example 14:10, or yesterday 16:00", "text"))
                        (field("note", "Note", "", "text"))
                    }
                    (self.refusal.shown(FINISH))
                    p.local role="status" {}
                    p.press { button.big { "Finish the visit" } }
                }))
            }
        }
    }
}

/// What a wait is for, as it is announced when it is over.
fn timed(what: &What) -> &'static str {
    match what {
        What::HotWork { .. } => "heating up",
        What::CoolDown { .. } => "cooling down",
        _ => "waiting",
    }
}

fn label(blank: &Blank) -> String {
    let name = format!("{}: {}", sheet::capital(&blank.position), blank.name);
    if blank.unit.is_empty() { name } else { format!("{name}, {}", blank.unit) }
}

/// What is good, and what it was last.
fn good(blank: &Blank) -> String {
    let good = (!blank.good.is_empty()).then(|| format!("good: {}", blank.good));
    let last = Some(blank.last.clone()).filter(|last| !last.is_empty());
    good.into_iter().chain(last).collect::<Vec<_>>().join("; ")
}

fn outcome_words(outcome: &Outcome, now: &ZonedDateTime) -> String {
    let at = outcome.at.to_zoned_datetime(now.time_zone().clone());
    let time = match at.date() == now.date() {
        true => at.strftime("%H:%M").to_string(),
        false => format!("{}, {}", words::day(at.date(), now.date()), at.strftime("%H:%M")),
    };
    let by = outcome.by.as_ref().map(|by| format!(" by {by}")).unwrap_or_default();
    match &outcome.skipped {
        None => format!("Done at {time}{by}"),
        Some(reason) => format!("Skipped at {time}{by}: {reason}"),
    }
}

/// What was read and used at a task, and what was noted.
fn said(ticked: &Ticked) -> Markup {
    html! {
        @for (what, value) in &ticked.readings { p { (what) ": " (value) } }
        @for (supply, amount) in &ticked.used { p { "Used: " (supply) " " (amount) } }
        @if !ticked.note.is_empty() { p { "Note: " (ticked.note) } }
    }
}

/// The photos of a task, or of the whole visit.
pub(super) fn photos(scene: &Scene, task: Option<&str>) -> Markup {
    let photos = scene.photos.iter().filter(|photo| task.is_none_or(|task| photo.task == task));
    html! {
        @for photo in photos {
            @let address = format!("/visits/{}/photos/{}", scene.told.id, photo.place);
            a.photo href=(address) { img src=(address) width="160" height="120" loading="lazy" alt=(format!("Photo {}: {}", photo.place, photo.task)); }
        }
    }
}
