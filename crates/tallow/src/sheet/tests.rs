//! What sheets hold, as text; how they look on paper is tested in a real browser under `tests/pages`.

use upkeep::build::{Build, Caution, SignalWord, State, shipped};

use super::*;

fn build() -> Build {
    let (file, text) = shipped()[1];
    Build::parse(file, text).expect("a shipped build")
}

fn stage(task: &Task) -> Stage {
    Stage::Task(Box::new(TaskStage { task: task.clone(), why: "131 % of 1 month".into(), readings: Vec::new() }))
}

fn change(what: What) -> Stage {
    Stage::Change(Change { what, minutes: 0.0 })
}

fn sheet(stages: Vec<Stage>) -> VisitSheet {
    VisitSheet {
        shop: "Pattern loft".into(),
        machine: "bowline".into(),
        build: "open moving-bed".into(),
        day: jiff::civil::date(2026, 11, 27),
        keeper: "First keeper".into(),
        number: Some(812),
        code: Some("visit 812".into()),
        not_to_be_run: None,
        starts_hot: false,
        stages,
        spares: vec![Spare { name: "brass nozzle 0.4".into(), count: 1 }],
        missing: Vec::new(),
        minutes: 40.0,
        setup_minutes: 10.0,
    }
}

/// A visit with every task of that state, after what brings the machine there.
fn all_of(state: State) -> VisitSheet {
    let build = build();
    let before = match state {
        State::Isolated => Some(What::SwitchOff { sinks: None, before: Vec::new() }),
        State::Cold => None,
        State::Hot => Some(What::HotWork { gear: vec!["heat-proof gloves".into()] }),
    };
    let tasks = build.tasks.iter().filter(|task| task.state == state).map(stage);
    sheet(before.into_iter().map(change).chain(tasks).collect())
}

/// Where the texts stand in a text, each looked for behind the one before.
#[track_caller]
fn assert_in_order(page: &str, texts: &[String]) {
    let mut from = 0;
    for text in texts {
        let at = page[from..].find(text.as_str());
        from += at.unwrap_or_else(|| panic!("not behind the one before: {text}")) + text.len();
    }
}

/// All that a keeper must read of a task, in order.
fn must_be_read(task: &Task, written: impl Fn(&str) -> String) -> Vec<String> {
    let step = |(index, step): (usize, &String)| {
        let cautions = task.cautions.iter().filter(move |caution| caution.before == index);
        let words = cautions.flat_map(|caution| [caution.word.name().to_uppercase(), caution.text.clone()]);
        words.chain([step.clone()]).collect::<Vec<_>>()
    };
    task.steps.iter().enumerate().flat_map(step).map(|text| written(&text)).collect()
}

#[test]
fn every_caution_of_every_task_stands_before_its_step_on_paper_and_in_text() {
    let html_of = |text: &str| maud::html! { (text) }.into_string();
    for state in State::ALL {
        let sheet = all_of(state);
        let page = html(std::slice::from_ref(&sheet), Paper::A4).expect("a page");
        let plain = text(&sheet, 10_000).expect("a text");
        let words = |written: &dyn Fn(&str) -> String| -> Vec<String> {
            sheet.tasks().flat_map(|stage| must_be_read(&stage.task, written)).collect()
        };
        assert!(sheet.tasks().any(|stage| !stage.task.cautions.is_empty()), "{state}");
        assert_in_order(&page, &words(&html_of));
        assert_in_order(&plain, &words(&str::to_owned));
    }
}

#[test]
fn a_caution_that_names_a_later_step_than_there_is_stands_before_the_last() {
    let mut task = build().tasks[0].clone();
    task.cautions = vec![Caution { word: SignalWord::Warning, text: "It bites.".into(), before: task.steps.len() + 3 }];
    let last = task.steps.last().expect("a step").clone();
    let plain = text(&sheet(vec![change(What::SwitchOff { sinks: None, before: Vec::new() }), stage(&task)]), 10_000)
        .expect("a text");
    assert_in_order(&plain, &["WARNING".to_owned(), "It bites.".to_owned(), last]);
}

#[test]
fn hot_work_on_an_isolated_machine_and_cold_work_on_a_hot_one_are_refused() {
    let task = |state| build().tasks.iter().find(|task| task.state == state).expect("a task").clone();
    let refused = |stages: Vec<Stage>| matches!(sheet(stages).check(), Err(SheetError::WrongCondition { .. }));
    let (isolated, cold, hot) = (task(State::Isolated), task(State::Cold), task(State::Hot));
    let heat = || change(What::HotWork { gear: vec!["heat-proof gloves".into()] });
    assert!(refused(vec![change(What::SwitchOff { sinks: None, before: Vec::new() }), stage(&hot)]));
    assert!(refused(vec![stage(&isolated)]));
    assert!(refused(vec![heat(), stage(&cold)]) && refused(vec![heat(), change(What::HeatersOff), stage(&hot)]));
    let cooled = change(What::CoolDown { to_c: 43.0 });
    let whole = vec![heat(), stage(&hot), change(What::HeatersOff), cooled, stage(&cold)];
    assert_eq!(sheet(whole).check(), Ok(()));
    let hot_first = VisitSheet { starts_hot: true, ..sheet(vec![stage(&hot)]) };
    assert_eq!(hot_first.check(), Ok(()));
}

#[test]
fn nothing_empty_is_printed() {
    assert_eq!(html(&[], Paper::A4), Err(SheetError::NoVisits));
    assert_eq!(day_sheets(&[]), Err(SheetError::NoVisits));
    assert_eq!(bench_list(&[]), Err(SheetError::NoVisits));
    let no_tasks = sheet(vec![change(What::SwitchOff { sinks: None, before: Vec::new() })]);
    assert_eq!(text(&no_tasks, 80), Err(SheetError::NoTasks { machine: "bowline".into() }));
    let mut task = build().tasks[0].clone();
    task.steps.clear();
    let no_steps = sheet(vec![change(What::SwitchOff { sinks: None, before: Vec::new() }), stage(&task)]);
    assert!(matches!(html(&[no_steps], Paper::A4), Err(SheetError::NoSteps { .. })));
    for minutes in [0.0, f64::NAN, f64::INFINITY, 5.0] {
        let bad = VisitSheet { minutes, ..all_of(State::Isolated) };
        assert!(matches!(bad.check(), Err(SheetError::Minutes { .. })), "{minutes}");
    }
}

#[test]
fn a_code_too_fine_to_be_read_is_refused() {
    let with = |octets| VisitSheet { code: Some("x".repeat(octets)), ..all_of(State::Cold) };
    assert!(html(&[with(84)], Paper::A4).is_ok_and(|page| page.contains("<svg")));
    assert!(matches!(html(&[with(85)], Paper::A4), Err(SheetError::Code { octets: 85, .. })));
}

#[test]
fn a_page_needs_nothing_from_elsewhere_and_obeys_no_name() {
    let sheet = VisitSheet { machine: "<script>alert(1)</script>".into(), ..all_of(State::Cold) };
    let page = html(&[sheet], Paper::Letter).expect("a page");
    assert!(!page.contains("<script") && !page.contains("<link") && !page.contains("<img") && !page.contains("url("));
    assert!(page.contains("&lt;script&gt;") && page.contains("size: letter"));
}

#[test]
fn a_round_needs_each_tool_once_and_the_sum_of_what_is_used_up() {
    let build = build();
    let of = |name: &str, day: i8| VisitSheet {
        day: jiff::civil::date(2026, 11, day),
        ..sheet(vec![
            change(What::SwitchOff { sinks: None, before: Vec::new() }),
            stage(build.task(name).expect("a task")),
        ])
    };
    // As the build states them: 2 wipes and 0.3 ml, 3 wipes and 0.4 ml, 2 wipes and 0.2 ml; a torch and a brush for the
    // second; gloves for all.
    let round = [of("oil the x rods", 27), of("oil the y rods", 28), of("oil the z rods", 26)];
    let list = bench_list(&round).expect("a list");
    assert_eq!(list.carry.supplies, ["ISO VG 32 light oil, 0.9 ml", "lint-free wipe, 7"]);
    assert_eq!(list.carry.tools, ["dry paint brush", "torch"]);
    assert_eq!(list.carry.gear, ["nitrile gloves"]);
    assert_eq!(list.carry.spares, ["brass nozzle 0.4, 3"]);
    assert_eq!((list.from.day(), list.to.day(), list.n_visits, list.minutes.to_bits()), (26, 28, 3, 120_f64.to_bits()));
    assert!(list.text(80).contains("3 visits, 120 min"));
}

#[test]
fn what_only_a_finding_asks_for_is_laid_out_as_if_needed() {
    let (file, delta) = shipped().into_iter().find(|(file, _)| *file == "delta").expect("a shipped build");
    let delta = Build::parse(file, delta).expect("it is in order");
    let alarm = delta.task("test the smoke alarm above the machine").expect("a task");
    let list = bench_list(&[sheet(vec![stage(alarm)])]).expect("a list");
    assert_eq!((list.carry.if_needed, list.carry.supplies), (vec!["alarm battery, 1".to_owned()], vec![]));
    assert!(text(&sheet(vec![stage(alarm)]), 80).expect("a text").contains("If needed: alarm battery, 1"));
}

#[test]
fn hot_work_is_announced_with_its_gear_and_with_the_heaters_off() {
    let page = html(&[all_of(State::Hot)], Paper::A4).expect("a page");
    let hot = "HEATERS STILL OFF. WARNING: hot work follows";
    assert_in_order(&page, &[hot, "wear heat-proof gloves", "only where a step says so"].map(str::to_owned));
}

#[test]
fn a_keepers_day_holds_their_visits_alone_in_the_given_order() {
    let of = |machine: &str, keeper: &str| VisitSheet {
        machine: machine.into(),
        keeper: keeper.into(),
        ..all_of(State::Cold)
    };
    let visits = [of("sheet bend", "First keeper"), of("clove hitch", "Second keeper"), of("bowline", "First keeper")];
    let days = day_sheets(&visits).expect("days");
    assert_eq!(days.iter().map(|day| day.keeper.as_str()).collect::<Vec<_>>(), ["First keeper", "Second keeper"]);
    assert_eq!(
        days[0].visits.iter().map(|visit| visit.machine.as_str()).collect::<Vec<_>>(),
        ["sheet bend", "bowline"]
    );
    assert!(days[0].text(80).contains("Together 80 min."));
    let page = DaySheet::html(&days, Paper::A4);
    assert_in_order(&page, &["sheet bend", "bowline", "Second keeper", "clove hitch"].map(str::to_owned));
}

#[test]
fn text_keeps_to_its_width_and_loses_no_word() {
    let sheet = all_of(State::Isolated);
    let wide = text(&sheet, 10_000).expect("a text");
    let narrow = text(&sheet, 60).expect("a text");
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(words(&wide), words(&narrow));
    assert!(narrow.lines().all(|line| line.chars().count() <= 60), "{narrow}");
}

#[test]
fn what_makes_a_task_due_what_is_lacking_and_a_ban_are_on_the_sheet() {
    let sheet = VisitSheet {
        missing: vec!["NLGI 2 lithium grease: 1 g too little".into()],
        not_to_be_run: Some("bed wire chafed, seen 24 Nov".into()),
        ..all_of(State::Cold)
    };
    let page = html(std::slice::from_ref(&sheet), Paper::A4).expect("a page");
    let plain = text(&sheet, 200).expect("a text");
    for words in ["131 % of 1 month", "1 g too little", "DO NOT RUN", "bed wire chafed, seen 24 Nov", ABOVE] {
        assert!(page.contains(words) && plain.contains(words), "{words}");
    }
}
