//! A fault from its record: what was told becomes what is known, a cause that was found becomes a failure, and cases move
//! the chances until they are taken back.

use std::collections::BTreeMap;

use upkeep::entry::Because;
use upkeep::fault::said::{Answered, Asked, Over, OwnGrade, Shown, Was};
use upkeep::fault::{Answer, Case, Faults, Grade, Guide, Mending, Prior, cases, learn, of};
use upkeep::{Build, Entry, EntryId, Event, Prices, Rates, Risk, build, fault};

fn known() -> (Build, Faults) {
    let (file, text) = build::shipped()[0];
    let build = Build::parse(file, text).unwrap();
    let faults = of(&build).unwrap();
    (build, faults)
}

fn priors(build: &Build, faults: &Faults) -> Vec<Prior> {
    let since = jiff::Timestamp::UNIX_EPOCH;
    let used: Vec<_> = build.tasks.iter().map(|task| fault::prior::at_share(task, 0.7, since)).collect();
    fault::prior::priors(faults, build, &used, &vec![Risk::believed(); build.tasks.len()], &[], since)
}

fn prices() -> Prices {
    Prices::from_rates(&Rates::default()).0
}

/// The entries of a fault that shows `squeal while moving`, numbered from 1.
fn record(events: impl IntoIterator<Item = Event>) -> Vec<Entry> {
    let shown = Event::FaultShown(Shown { symptoms: vec!["squeal while moving".into()] });
    let at = "2026-11-24T14:10:00Z".parse().unwrap();
    let entry = |(id, event)| Entry {
        id: EntryId(id),
        machine: "bowline".into(),
        at,
        recorded: at,
        corrects: None,
        note: String::new(),
        event,
    };
    [shown].into_iter().chain(events).zip(1..).map(|(event, id)| entry((id, event))).collect()
}

fn answered(asked: Asked, answer: Answer) -> Event {
    Event::FaultAnswered(Answered { fault: EntryId(1), asked, answer })
}

fn case(events: impl IntoIterator<Item = Event>) -> Case {
    cases(&record(events)).remove(0)
}

#[test]
fn the_last_answer_to_a_question_holds_and_names_of_nothing_are_told() {
    let (build, faults) = known();
    let network = faults.network(&priors(&build, &faults));
    let guide = Guide::new(&faults, network, &prices());
    let check = faults.checks[0].title();
    let of_check = |answer| answered(Asked::Check(check.clone()), answer);
    let symptom = |answer| answered(Asked::Symptom("ringing".into()), answer);
    let case = case([
        of_check(Answer::Yes),
        symptom(Answer::Yes),
        answered(Asked::Check("a check of last year".into()), Answer::Yes),
        of_check(Answer::Likely(0.25)),
        symptom(Answer::CannotTell),
    ]);
    let (progress, unknown) = case.progress(&guide);
    let found: Vec<(String, f64)> =
        progress.evidence.iter().map(|known| (faults.finding(known.finding), known.sure)).collect();
    assert_eq!(found, [("squeal while moving".to_owned(), 1.0), (check.clone(), 0.25)]);
    assert_eq!(unknown, ["a check of last year"]);
}

#[test]
fn a_fault_is_dangerous_while_it_shows_what_orders_to_stop() {
    let (_, faults) = known();
    let symptom = |name: &str, answer| answered(Asked::Symptom(name.into()), answer);
    let dangers = |events: Vec<Event>| -> Vec<String> {
        case(events).dangers(&faults).into_iter().map(|symptom| symptom.name.clone()).collect()
    };
    assert_eq!(dangers(vec![]), [""; 0], "a squeal alone hurts nobody");
    let smoke = || symptom("smoke or flame", Answer::Yes);
    assert_eq!(dangers(vec![smoke()]), ["smoke or flame"]);
    // That the plug was pulled mends nothing.
    assert_eq!(dangers(vec![smoke(), answered(Asked::Stop("smoke or flame".into()), Answer::Yes)]), ["smoke or flame"]);
    assert_eq!(dangers(vec![smoke(), symptom("smoke or flame", Answer::No)]), [""; 0]);
    assert_eq!(case([symptom("ringing", Answer::Yes)]).showing(), ["squeal while moving", "ringing"]);
}

#[test]
fn every_step_is_found_again_by_its_name() {
    let (build, faults) = known();
    let guide = Guide::new(&faults, faults.network(&priors(&build, &faults)), &prices());
    for remedy in 0..guide.remedies.len() {
        let step = fault::Step::Remedy(remedy);
        assert_eq!(guide.step(&guide.asked(step).unwrap()), Some(step));
    }
    for check in 0..faults.checks.len() {
        let step = fault::Step::Check(check);
        assert_eq!(guide.step(&guide.asked(step).unwrap()), Some(step));
    }
}

fn mending() -> Mending {
    Mending { supplies: BTreeMap::new(), because: Because::Failed, spare: Some("idler".into()) }
}

/// What a cause that was mended makes of the record, by its title.
fn came(faults: &Faults, title: &str, mending: Mending) -> Vec<Event> {
    faults.mended(faults.cause(title).unwrap(), mending).into_iter().flatten().collect()
}

#[test]
fn what_was_mended_becomes_a_failure_and_what_was_done_about_it() {
    let (_, faults) = known();
    // By a task: the part stays, its life goes on, and the task counts as done.
    let dry = faults.causes.iter().find(|cause| cause.name == "dry rod").unwrap();
    let events = came(&faults, &dry.title(), mending());
    let [Event::Failed { position, mended: true, .. }, Event::Done { .. }] = events.as_slice() else {
        panic!("{events:?}")
    };
    assert_eq!(*position, dry.at);
    // By a new part: the old one's life ends in failure, unless it went before it failed.
    let replaced = faults.causes.iter().find(|cause| cause.remedy.kind == fault::RemedyKind::Replace).unwrap();
    let events = came(&faults, &replaced.title(), mending());
    let [Event::Failed { mended: false, .. }, Event::Replaced { because: Because::Failed, spare, .. }] =
        events.as_slice()
    else {
        panic!("{events:?}")
    };
    assert_eq!(spare.as_deref(), Some("idler"));
    let early = came(&faults, &replaced.title(), Mending { because: Because::Worn, ..mending() });
    assert!(matches!(early.as_slice(), [Event::Replaced { because: Because::Worn, .. }]), "{early:?}");
    // By a setting: a failure that was put right, and nothing else.
    let set = faults.causes.iter().find(|cause| cause.remedy.kind == fault::RemedyKind::Setting).unwrap();
    let events = came(&faults, &set.title(), mending());
    assert!(matches!(events.as_slice(), [Event::Failed { mended: true, .. }]), "{events:?}");
}

#[test]
fn a_confirmed_case_moves_its_links_wherever_the_cause_sits_and_leaves_no_trace_when_taken_back() {
    let (build, faults) = known();
    let network = faults.network(&priors(&build, &faults));
    let squeal = faults.symptom("squeal while moving").unwrap();
    let dry: Vec<usize> = (0..faults.causes.len()).filter(|place| faults.causes[*place].name == "dry rod").collect();
    assert!(1 < dry.len(), "this build has several rods");
    let title = faults.causes[dry[0]].title();
    let events = record([Event::FaultOver(Over { fault: EntryId(1), was: Was::Cause(title) })]);
    let moved = learn::learned(&network, &faults.confirmed(&cases(&events)));
    let strength = |network: &fault::Network, cause: usize| {
        network.findings[squeal].links.iter().find(|(link, _)| *link == cause).unwrap().1
    };
    for &place in &dry {
        // Beta of ten cases at the grade "often", and one that showed: (0.5 · 10 + 1) / 11.
        assert!((strength(&moved, place) - 6.0 / 11.0).abs() < 1e-12);
    }
    let other = faults.causes.iter().position(|cause| cause.name == "dirty carbon rod").unwrap();
    assert!((strength(&moved, other) - strength(&network, other)).abs() < 1e-15);
    let withdrawn = learn::learned(&network, &faults.confirmed(&cases(&record([]))));
    assert_eq!(withdrawn, network);
}

#[test]
fn a_grade_of_the_shops_own_stands_for_the_knowledges() {
    let (_, faults) = known();
    let own = |finding: &str, grade| OwnGrade {
        cause: "dry rod".into(),
        finding: finding.into(),
        grade,
        reason: "ours sing".into(),
    };
    let squeal = faults.symptom("squeal while moving").unwrap();
    let graded = faults
        .clone()
        .graded(&[own("squeal while moving", Grade::Seldom), own("squeal while moving", Grade::NearlyAlways)]);
    for (before, after) in faults.causes.iter().zip(&graded.causes) {
        let shows =
            |cause: &fault::Cause| cause.shows.iter().find(|(symptom, _)| *symptom == squeal).map(|(_, grade)| *grade);
        let expected = if before.name == "dry rod" { Some(Grade::NearlyAlways) } else { shows(before) };
        assert_eq!(shows(after), expected, "{}", before.title());
    }
    assert_eq!(faults.clone().graded(&[own("no such symptom", Grade::Often)]), faults);
}
