//! A visit's sheet shared out over pages: a pure function of the sheet, the paper and the widths of letters.
//!
//! One page where it fits in one of the settings; else as few pages as any setting needs, with tasks unbroken if they may
//! be, in the first that needs no more. Columns are broken between steps, never between a caution and its step.

use upkeep::build::{Caution, Task};

use super::carry::Carry;
use super::measure::{BOLD, LINE, lines, width};
use super::page::{Area, Areas, Paper, SETTINGS, Setting};
use super::{Blank, Change, Stage, TaskStage, VisitSheet, cautions_before};

/// A sheet in pages.
#[derive(Debug)]
pub(super) struct LaidOut<'a> {
    /// How it is set.
    pub(super) setting: Setting,
    /// The pages; none is empty.
    pub(super) pages: Vec<Page<'a>>,
}

/// A page.
#[derive(Debug)]
pub(super) struct Page<'a> {
    /// What stands across it at its top.
    pub(super) top: Vec<Block<'a>>,
    /// What stands in its columns, of which the setting has one or two.
    pub(super) columns: Vec<Vec<Block<'a>>>,
}

/// Something that is not broken.
#[derive(Clone, Debug)]
pub(super) enum Block<'a> {
    /// Why the machine must not run.
    NotToBeRun(&'a str),
    /// What to lay out.
    LayOut(Carry),
    /// What to do to the machine.
    Change(&'a Change),
    /// The heading of a task, again where it goes on on another page.
    Head {
        /// The task's number in the visit, from 1.
        number: usize,
        /// The task.
        stage: &'a TaskStage,
        /// Whether it began on an earlier page.
        goes_on: bool,
    },
    /// A step with the cautions before it.
    Step {
        /// Its number in the task, from 1.
        number: usize,
        /// What to do.
        text: &'a str,
        /// What can happen.
        cautions: Vec<&'a Caution>,
    },
    /// Blanks for readings.
    Readings(&'a [Blank]),
    /// What is filled in at the end.
    SignOff,
}

/// Blocks that stand in one column.
struct Together<'a> {
    blocks: Vec<Block<'a>>,
    /// The task that they belong to.
    task: Option<(usize, &'a TaskStage)>,
}

/// The share of a column that may stay empty so that a task is not broken, where that makes no page more.
const MOST_EMPTY: f64 = 0.35;

/// Shares a sheet out.
pub(super) fn laid_out(sheet: &VisitSheet, paper: Paper) -> LaidOut<'_> {
    let broken = [MOST_EMPTY, 0.0];
    let tries = broken.into_iter().flat_map(|most_empty| SETTINGS.map(|setting| (setting, most_empty)));
    let laid_out = |(setting, most_empty)| LaidOut { setting, pages: pages(sheet, setting.areas(paper), most_empty) };
    // OK because there are settings; of equals the first is the least.
    tries.map(laid_out).min_by_key(|laid_out| laid_out.pages.len()).expect("a setting was tried")
}

/// Fills column after column, leaving at most a share of one empty so that the next task is not broken.
fn pages(sheet: &VisitSheet, areas: Areas, most_empty: f64) -> Vec<Page<'_>> {
    let Areas { page, column, n_columns } = areas;
    let top = opening(sheet);
    let mut height_here = page.height - height(&top, page);
    let mut left = height_here;
    let mut pages = vec![Page { top, columns: vec![Vec::new()] }];
    let all = together(sheet);
    for (at, group) in all.iter().enumerate() {
        let is_full =
            left < group.height(column) || group.is_head() && is_better_whole(&all[at..], column, left, most_empty);
        // OK because there is a page, and it has a column.
        let here = pages.last_mut().expect("there is a page");
        if is_full && here.columns.last().is_some_and(|column| !column.is_empty()) {
            if here.columns.len() < n_columns {
                here.columns.push(Vec::new());
            } else {
                height_here = page.height;
                pages.push(Page { top: Vec::new(), columns: vec![group.again()] });
            }
            let begun = pages.last().and_then(|page| page.columns.last()).map_or(0.0, |begun| height(begun, column));
            left = height_here - begun;
        }
        left -= group.height(column);
        let here = pages.last_mut().and_then(|page| page.columns.last_mut()).expect("there is a column");
        here.extend(group.blocks.iter().cloned());
    }
    pages
}

/// Whether the task that begins here stands whole in the next column, and only so, and what is left of this one may be lost.
fn is_better_whole(groups: &[Together<'_>], column: Area, left: f64, most_empty: f64) -> bool {
    let whole = task_height(groups, column);
    left < whole && whole <= column.height && left <= most_empty * column.height
}

/// What stands across the first page before the work begins.
fn opening(sheet: &VisitSheet) -> Vec<Block<'_>> {
    let carry = Carry::of(&[sheet]);
    let is_any = carry.lists().next().is_some();
    let lay_out = is_any.then_some(Block::LayOut(carry));
    sheet.not_to_be_run.iter().map(|why| Block::NotToBeRun(why)).chain(lay_out).collect()
}

/// The height of the task that the first group begins, em.
fn task_height(groups: &[Together<'_>], area: Area) -> f64 {
    let number = groups.first().and_then(|group| group.task).map(|(number, _)| number);
    let of_task = groups.iter().take_while(|group| group.task.map(|(number, _)| number) == number);
    of_task.map(|group| group.height(area)).sum()
}

/// How high some blocks stand on each other, em.
fn height(blocks: &[Block<'_>], area: Area) -> f64 {
    blocks.iter().map(|block| block.height(area)).sum()
}

impl<'a> Together<'a> {
    fn height(&self, area: Area) -> f64 {
        height(&self.blocks, area)
    }

    /// Whether a task begins here.
    fn is_head(&self) -> bool {
        self.blocks.iter().any(|block| matches!(block, Block::Head { .. }))
    }

    /// What stands above it at the top of a page.
    fn again(&self) -> Vec<Block<'a>> {
        match self.task {
            Some((number, stage)) if !self.is_head() => vec![Block::Head { number, stage, goes_on: true }],
            _ => Vec::new(),
        }
    }
}

/// How many steps stay with the heading of their task.
const FIRST_STEPS: usize = 2;

/// The work in groups that are not broken: a change of the machine stays with what follows it, a heading with the first
/// steps, readings with the last.
fn together(sheet: &VisitSheet) -> Vec<Together<'_>> {
    let mut open: Vec<Block<'_>> = Vec::new();
    let mut groups = Vec::new();
    let mut number = 0;
    for stage in &sheet.stages {
        match stage {
            Stage::Change(change) => open.push(Block::Change(change)),
            Stage::Task(stage) => {
                number += 1;
                open.push(Block::Head { number, stage, goes_on: false });
                groups.extend(of_task(std::mem::take(&mut open), number, stage));
            }
        }
    }
    open.push(Block::SignOff);
    groups.push(Together { blocks: open, task: None });
    groups
}

fn of_task<'a>(before: Vec<Block<'a>>, number: usize, stage: &'a TaskStage) -> Vec<Together<'a>> {
    let task = Some((number, stage));
    let mut steps = steps(&stage.task);
    let first = before.into_iter().chain(steps.by_ref().take(FIRST_STEPS)).collect();
    let mut groups = vec![Together { blocks: first, task }];
    groups.extend(steps.map(|step| Together { blocks: vec![step], task }));
    if let Some(last) = groups.last_mut().filter(|_| !stage.readings.is_empty()) {
        last.blocks.push(Block::Readings(&stage.readings));
    }
    groups
}

fn steps(task: &Task) -> impl Iterator<Item = Block<'_>> {
    task.steps.iter().enumerate().map(|(index, text)| Block::Step {
        number: index + 1,
        text,
        cautions: cautions_before(task, index).collect(),
    })
}

/// Where the text of a step begins, em: after its box and number.
const STEP_INDENT: f64 = 3.0;

/// How wide the blank of a reading is, em, the room around it included.
const BLANK: f64 = 7.0;

/// Room that a box to tick takes with what is around it, em.
const TICK: f64 = 2.2;

impl Block<'_> {
    /// How high it stands, em, its distance to the next included.
    fn height(&self, area: Area) -> f64 {
        match self {
            Block::NotToBeRun(why) => area.text(&format!("DO NOT RUN THIS MACHINE {why}"), 6.0) + 1.2,
            Block::LayOut(carry) => {
                carry.lists().map(|(_, items)| area.text(&items.join("; "), 7.0)).sum::<f64>() + 0.9
            }
            Block::Change(change) => {
                let minutes = change.minutes_words();
                let room = area.width - TICK - if minutes.is_empty() { 1.0 } else { width(&minutes) + 3.0 };
                LINE * lines(&change.what.words(), room / BOLD) as f64 + 0.9
            }
            Block::Head { stage, goes_on, .. } => head_height(stage, *goes_on, area),
            Block::Step { text, cautions, .. } => {
                let frames = cautions.iter().map(|caution| caution_height(caution, area));
                area.text(text, STEP_INDENT) + 0.15 + frames.sum::<f64>()
            }
            Block::Readings(readings) => {
                let words = |blank: &Blank| format!("{}: {} {}", blank.what(), blank.unit, blank.hint());
                readings.iter().map(|blank| area.text(&words(blank), STEP_INDENT + BLANK) + 0.8).sum::<f64>() + 0.1
            }
            Block::SignOff => 4.0 * 2.2 + 0.5,
        }
    }
}

/// Room for "done" and "skipped" with their boxes, em.
const DONE: f64 = 11.0;

fn head_height(stage: &TaskStage, goes_on: bool, area: Area) -> f64 {
    let name = LINE * lines(&stage.task.name, (area.width - 2.0 - if goes_on { 11.0 } else { DONE }) / BOLD) as f64;
    if goes_on {
        return name + 1.0;
    }
    name + area.text(&head_words(stage), 0.0) + 1.0
}

/// What stands below a task's name.
pub(crate) fn head_words(stage: &TaskStage) -> String {
    let task = &stage.task;
    let gear = (!task.gear.is_empty()).then(|| format!("wear {}", task.gear.join(", ")));
    let qualified = task.qualified.then(|| "beyond looking, for a qualified person under the local code".to_owned());
    let why = (!stage.why.is_empty()).then(|| stage.why.clone());
    let words = [Some(super::minutes_words(task.minutes)), why, gear, qualified];
    words.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

fn caution_height(caution: &Caution, area: Area) -> f64 {
    let word = BOLD * width(&caution.word.name().to_uppercase()) + 1.5;
    // The word stands in the first line, as so many letters would.
    let letters = (word / width("n")).ceil() as usize;
    area.text(&format!("{} {}", "n".repeat(letters), caution.text), STEP_INDENT + 1.2) + 0.8
}
