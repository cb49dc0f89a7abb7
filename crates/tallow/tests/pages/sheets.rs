//! Sheets in a real browser.

use upkeep::build::{Build, Caution, State, Task, shipped};
use upkeep::visit::Sinks;

use crate::printer::Printed;
use crate::sheet::{Blank, Change, DaySheet, Paper, Spare, Stage, TaskStage, VisitSheet, What, bench_list, day_sheets};

fn build(name: &str) -> Build {
    let (file, text) = shipped().into_iter().find(|(file, _)| *file == name).expect("a shipped build");
    Build::parse(file, text).expect("it is in order")
}

fn change(what: What, minutes: f64) -> Stage {
    Stage::Change(Change { what, minutes })
}

fn task(task: &Task) -> Stage {
    let looks = task.name.contains("belt");
    let blank = || Blank {
        position: "belt".into(),
        name: "tone of the belt".into(),
        unit: "Hz".into(),
        good: "80 to 95 Hz".into(),
        last: "was 84 on 3 Nov".into(),
    };
    let readings = if looks { vec![blank()] } else { Vec::new() };
    Stage::Task(Box::new(TaskStage { task: task.clone(), why: "131 % of 1 month".into(), readings }))
}

/// A visit with these tasks: first those on an isolated machine, then the cold, then the hot ones.
fn visit(build: &Build, tasks: &[&Task]) -> VisitSheet {
    let of = |state: State| tasks.iter().filter(move |task| task.state == state).map(|one| task(one));
    let heat = || change(What::HotWork { gear: vec!["heat-proof gloves".into()] }, 9.0);
    let mut stages = vec![change(What::SwitchOff { sinks: Sinks::of(build), before: Vec::new() }, 0.0)];
    stages.extend(of(State::Isolated));
    stages.push(change(What::PowerOn { sinks: Sinks::of(build) }, 0.0));
    stages.extend(of(State::Cold));
    if tasks.iter().any(|task| task.state == State::Hot) {
        stages.push(heat());
        stages.extend(of(State::Hot));
        stages.extend([change(What::HeatersOff, 0.0), change(What::CoolDown { to_c: 43.0 }, 14.0)]);
    }
    stages.push(change(What::TestMove, 0.0));
    VisitSheet {
        shop: "Pattern loft".into(),
        machine: "bowline".into(),
        build: build.name.clone(),
        day: jiff::civil::date(2026, 11, 27),
        keeper: "First keeper".into(),
        number: Some(812),
        code: Some("visit 812 of bowline, 27 Nov 2026".into()),
        not_to_be_run: None,
        starts_hot: false,
        stages,
        spares: vec![Spare { name: "brass nozzle 0.4".into(), count: 1 }],
        missing: vec!["NLGI 2 lithium grease: 1 g too little, order by today".into()],
        minutes: tasks.iter().map(|task| task.minutes).sum::<f64>() + 10.0,
        setup_minutes: 10.0,
    }
}

/// The tasks of a build that come round most often: those with the shortest calendar allowance, in the build's order.
fn usual(build: &Build, count: usize) -> Vec<&Task> {
    let days = |task: &&Task| {
        let spans = task.limits.iter().filter_map(|limit| match limit.every {
            upkeep::build::Allowance::Elapsed { months, days } => Some(30 * u32::from(months) + u32::from(days)),
            upkeep::build::Allowance::Amount { .. } => None,
        });
        spans.min().unwrap_or(u32::MAX)
    };
    let mut tasks: Vec<&Task> = build.tasks.iter().collect();
    tasks.sort_by_key(days);
    tasks.truncate(count);
    tasks
}

fn printed(sheets: &[VisitSheet], paper: Paper) -> Printed {
    Printed::of(&crate::sheet::html(sheets, paper).expect("a page"))
}

/// How many pages the visits of as many usual tasks take on each shipped build.
fn pages_of_usual_visits(count: usize, paper: Paper) -> Vec<usize> {
    let pages = |(name, _): (&str, &str)| {
        let build = build(name);
        printed(&[visit(&build, &usual(&build, count))], paper).n_pages()
    };
    shipped().map(pages).to_vec()
}

/// A visit of quick tasks, each of three short steps and a caution, that need nothing before switching off.
fn quick_tasks(count: usize) -> VisitSheet {
    let build = build("moving-bed");
    let mut tasks: Vec<Task> = usual(&build, count).into_iter().cloned().collect();
    for task in &mut tasks {
        task.before_off.clear();
        task.steps.truncate(3);
        task.steps
            .iter_mut()
            .for_each(|step| *step = step.split_inclusive([',', ';', ':']).next().unwrap_or("").to_owned());
        task.cautions.truncate(1);
        task.cautions.iter_mut().for_each(|caution| caution.before = 0);
    }
    visit(&build, &tasks.iter().collect::<Vec<_>>())
}

#[test]
fn a_visit_of_eight_quick_tasks_or_six_on_the_shorter_paper_is_one_page() {
    for (count, paper, size) in
        [(8, Paper::A4, "594.96 x 841.92 pts (A4)"), (6, Paper::Letter, "612 x 792 pts (letter)")]
    {
        let printed = printed(&[quick_tasks(count)], paper);
        assert_eq!((printed.n_pages(), printed.size_pt().as_str()), (1, size));
    }
}

#[test]
fn a_visit_of_three_of_the_shipped_builds_tasks_is_one_page() {
    for paper in [Paper::A4, Paper::Letter] {
        assert_eq!(pages_of_usual_visits(3, paper), [1; 4], "{paper:?}");
    }
}

#[test]
fn a_visit_of_eight_tasks_of_a_shipped_build_or_seven_on_the_shorter_paper_is_the_two_sides_of_one_leaf() {
    for (n_tasks, paper) in [(8, Paper::A4), (7, Paper::Letter)] {
        assert_eq!(pages_of_usual_visits(n_tasks, paper), [2; 4], "{paper:?}");
    }
}

#[test]
fn a_long_visit_goes_on_under_its_heading_and_says_which_page_it_is() {
    let build = build("enclosed-corexy");
    let all: Vec<&Task> = build.tasks.iter().collect();
    let mut sheet = visit(&build, &all);
    sheet.stages.insert(1, change(What::Open("panels off".into()), 5.0));
    sheet.stages.push(change(What::Close("panels off".into()), 0.0));
    let sheet = VisitSheet { not_to_be_run: Some("bed wire chafed, seen 24 Nov".into()), ..sheet };
    for paper in [Paper::A4, Paper::Letter] {
        let printed = printed(std::slice::from_ref(&sheet), paper);
        let n_pages = printed.n_pages();
        assert!(2 < n_pages);
        for page in 1..=n_pages {
            let text = printed.page(page);
            let heading = format!("bowline Fri 27 Nov 2026 · {page}/{n_pages}");
            assert!(text.starts_with(&heading), "{heading}: {text}");
            assert!(text.contains("The maker's manual stands above this sheet."), "{text}");
        }
        every_caution_is_printed(&sheet, &printed);
    }
}

/// Looks for the beginning of each caution on paper, where lines may break anywhere between two words.
fn every_caution_is_printed(sheet: &VisitSheet, printed: &Printed) {
    let paper: Vec<String> = (1..=printed.n_pages()).map(|page| printed.page(page)).collect();
    let paper = paper.join(" ");
    let cautions: Vec<&Caution> = sheet.tasks().flat_map(|stage| &stage.task.cautions).collect();
    assert!(10 < cautions.len(), "this visit has many cautions");
    for caution in cautions {
        let words = format!("{} {}", caution.word.name().to_uppercase(), caution.text);
        let start = words.split(' ').take(6).collect::<Vec<_>>().join(" ");
        assert!(paper.contains(&start), "not on paper: {words}");
    }
}

#[test]
fn a_day_and_a_bench_list_are_a_page_each() {
    let builds = shipped().map(|(name, _)| build(name));
    let machines = ["bowline", "clove hitch", "sheet bend", "carrick bend"];
    let named = builds.iter().zip(machines);
    let sheets: Vec<VisitSheet> = named
        .map(|(build, machine)| VisitSheet { machine: machine.into(), ..visit(build, &usual(build, 4)) })
        .collect();
    let days = day_sheets(&sheets).expect("days");
    let day = Printed::of(&DaySheet::html(&days, Paper::A4));
    assert_eq!(day.n_pages(), 1);
    assert!(machines.iter().all(|machine| day.page(1).contains(machine)));
    let list = bench_list(&sheets).expect("a list");
    let bench = Printed::of(&list.html(Paper::Letter));
    assert_eq!(bench.n_pages(), 1);
    assert!(bench.page(1).contains("4 visits"));
}
