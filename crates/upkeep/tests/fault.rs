//! Fault finding: what its files must say, and what the shipped ones do.

use std::collections::BTreeSet;

use jiff::{SignedDuration, Timestamp};
use upkeep::build::{self, State, Task};
use upkeep::fault::measured::{self, What};
use upkeep::fault::{Answer, Evidence, Faults, Guide, Measured, Part, Progress, RemedyKind, Step, prior, shipped};
use upkeep::{Build, Prices, Rates, Risk, Used};

fn all() -> Vec<(&'static str, Build, Faults)> {
    let read = |((file, text), (build_file, build_text)): ((&'static str, &str), (&str, &str))| {
        let build = Build::parse(build_file, build_text).unwrap();
        let faults = Faults::parse(file, text, &build).unwrap_or_else(|errors| panic!("{errors}"));
        (file, build, faults)
    };
    shipped().into_iter().zip(build::shipped()).map(read).collect()
}

fn prices() -> Prices {
    Prices::from_rates(&Rates::default()).0
}

/// A machine all of whose tasks are at `share` of their allowance, but for one.
fn shares(build: &Build, share: f64, task: &str, other: f64) -> Vec<Used> {
    let share_of = |one: &Task| if one.name == task { other } else { share };
    build.tasks.iter().map(|one| prior::at_share(one, share_of(one), Timestamp::UNIX_EPOCH)).collect()
}

fn priors(build: &Build, faults: &Faults, used: &[Used]) -> Vec<upkeep::fault::Prior> {
    prior::priors(faults, build, used, &vec![Risk::believed(); build.tasks.len()], &[], Timestamp::UNIX_EPOCH)
}

#[test]
fn every_shipped_file_is_rich_enough_and_each_cause_shows_and_can_be_told() {
    for (file, _, faults) in all() {
        let counts = [faults.symptoms.len(), faults.causes.len(), faults.checks.len()];
        assert!(25 <= counts[0] && 60 <= counts[1] && 60 <= counts[2], "{file}: {counts:?}");
        for (place, cause) in faults.causes.iter().enumerate() {
            assert!(!cause.shows.is_empty(), "{file}: {}", cause.title());
            let told = faults.checks.iter().any(|check| check.tells.iter().any(|(told, _)| *told == place));
            assert!(told || !cause.remedy.work.steps.is_empty(), "{file}: {}", cause.title());
        }
        let titles: BTreeSet<String> = faults.causes.iter().map(|cause| cause.title()).collect();
        assert_eq!(titles.len(), faults.causes.len(), "{file}: two causes of one title");
        for (place, symptom) in faults.symptoms.iter().enumerate() {
            let shown = faults.causes.iter().any(|cause| cause.shows.iter().any(|(shown, _)| *shown == place));
            let of_another_build =
                ["chamber too cool", "smell of plastic in the room"].contains(&symptom.name.as_str());
            assert!(shown || of_another_build || symptom.stop.is_some(), "{file}: nothing shows \"{}\"", symptom.name);
        }
    }
}

#[test]
fn every_check_says_what_a_yes_means() {
    for (file, _, faults) in all() {
        for check in &faults.checks {
            let says = check.work.steps.iter().any(|step| step.starts_with("Yes: "));
            assert!(says, "{file}: {}: {:?}", check.title(), check.work.steps);
        }
    }
}

#[test]
fn no_hot_step_goes_without_a_caution() {
    for (file, _, faults) in all() {
        let works = faults.causes.iter().map(|cause| &cause.remedy.work).chain(faults.checks.iter().map(|c| &c.work));
        for work in works.filter(|work| work.state == State::Hot) {
            assert!(!work.cautions.is_empty(), "{file}: {:?}", work.steps);
        }
    }
}

#[test]
fn a_task_that_is_late_makes_the_causes_at_its_position_likelier_and_says_why() {
    let (_, build, faults) = all().swap_remove(0);
    let place = faults.causes.iter().position(|cause| cause.at == "y rods" && cause.name == "dry rod").unwrap();
    let [fresh, mut late] = [0.3, 2.0].map(|share| shares(&build, 0.3, "oil the y rods", share));
    // Its limits are a month and 25 km.
    late[build.tasks.iter().position(|task| task.name == "oil the y rods").unwrap()].limits[0].so_far = 40.0;
    let [fresh, late] = [fresh, late].map(|used| priors(&build, &faults, &used));
    assert!(2.0 * fresh[place].chance < late[place].chance);
    assert_eq!(late[place].reason.to_string(), "y rods: 50 km since it was lubricated, twice the allowance");
    let elsewhere = faults.causes.iter().position(|cause| cause.at == "nozzle").unwrap();
    assert_eq!(
        fresh[elsewhere].chance.to_bits(),
        late[elsewhere].chance.to_bits(),
        "a cause elsewhere is as likely as before"
    );
}

#[test]
fn a_cause_that_a_task_mends_follows_that_task_and_no_other_at_its_position() {
    let (_, build, faults) = all().swap_remove(0);
    let priors = |task| priors(&build, &faults, &shares(&build, 0.3, task, 2.0));
    for (place, cause) in faults.causes.iter().enumerate() {
        let RemedyKind::Task(mending) = &cause.remedy.kind else { continue };
        for other in build.tasks.iter().filter(|task| task.at == cause.at && task.name != *mending) {
            let [by_own, by_other] = [mending, &other.name].map(|task| priors(task)[place].chance);
            assert!(by_other < by_own, "{} by \"{}\"", cause.title(), other.name);
        }
    }
}

/// By hand: a part in place for 100 days, of which a thousandth fails in a day, and not cared for since: 0.1 failures.
#[test]
fn a_part_of_known_life_is_judged_by_its_age_where_only_a_new_one_helps() {
    let (_, build, faults) = all().swap_remove(0);
    let day = |days: i64| Timestamp::UNIX_EPOCH + SignedDuration::from_hours(24 * days);
    let used: Vec<Used> = build.tasks.iter().map(|task| prior::at_share(task, 0.5, day(0))).collect();
    let risks = vec![Risk::believed(); build.tasks.len()];
    let part = |per_day| [Part { at: "idlers".to_owned(), since: Some(day(0)), per_day }];
    let [known, unknown] =
        [Some(0.001), None].map(|per_day| prior::priors(&faults, &build, &used, &risks, &part(per_day), day(100)));
    let at = |name: &str| faults.causes.iter().position(|cause| cause.name == name).unwrap();
    let here = faults.causes.iter().filter(|cause| cause.at == "idlers");
    let weights: f64 = here.map(|cause| cause.weight.chance()).sum();
    let idler = at("rough idler bearing");
    let expected = (1.0 - (-0.1_f64).exp()) * faults.causes[idler].weight.chance() / weights;
    assert!((known[idler].chance / expected - 1.0).abs() < 1e-12);
    let reason = known[idler].reason.to_string();
    let life = "; the part is 3 months old; of such parts one fails in about 3 years at this age";
    assert!(reason.ends_with(life) && reason.contains("half the allowance"), "{reason}");
    assert!(unknown[idler].reason.to_string().ends_with("the part is 3 months old"));
    let elsewhere = at("slack belt");
    assert_eq!(known[elsewhere], unknown[elsewhere]);
}

#[test]
fn smoke_stops_the_machine_before_anything_is_checked() {
    let (_, build, faults) = all().swap_remove(0);
    let network = faults.network(&priors(&build, &faults, &shares(&build, 0.5, "", 0.0)));
    let guide = Guide::new(&faults, network, &prices());
    let symptom = |name: &str| faults.symptoms.iter().position(|symptom| symptom.name == name).unwrap();
    let smoke = symptom("smoke or flame");
    let evidence = [symptom("heats too slowly"), smoke].map(Evidence::yes).to_vec();
    let mut progress = Progress { evidence, ..Progress::default() };
    let step = guide.next(&progress).unwrap().step;
    assert_eq!(step, Step::Stop(smoke));
    guide.answer(&mut progress, step, Answer::Yes);
    assert!(!matches!(guide.next(&progress).unwrap().step, Step::Stop(_)));
}

#[test]
fn what_did_not_help_or_cannot_be_told_is_not_asked_again_and_every_way_ends() {
    for (file, build, faults) in all() {
        let network = faults.network(&priors(&build, &faults, &shares(&build, 0.8, "", 0.0)));
        let guide = Guide::new(&faults, network, &prices());
        let mut progress = Progress { evidence: vec![Evidence::yes(0)], ..Progress::default() };
        let mut seen = Vec::new();
        loop {
            let step = guide.next(&progress).unwrap().step;
            assert!(!seen.contains(&step), "{file}: {step:?} again");
            seen.push(step);
            match step {
                Step::AskSomebody => break,
                Step::Check(_) => guide.answer(&mut progress, step, Answer::CannotTell),
                _ => guide.answer(&mut progress, step, Answer::DidThatAlready),
            }
        }
        assert_eq!(progress.tried.len(), guide.remedies.len(), "{file}");
    }
}

const SYMPTOM: &str = "[[symptom]]\nname = \"squeal\"\nabout = \"A tone.\"\nleak = \"seldom\"\n";
const REMEDY: &str = "remedy = { steps = [\"Oil it.\"], minutes = 5, state = \"isolated\" }\n";

fn cause(place: &str, shows: &str, remedy: &str) -> String {
    format!(
        "{SYMPTOM}[[cause]]\nname = \"dry\"\n{place}\nmode = \"runs dry\"\nweight = \"often\"\nshows = {shows}\n{remedy}"
    )
}

/// What is wrong in a text, as a keeper reads it.
#[track_caller]
fn check(text: &str, line: usize, found: &str, help: &str) {
    let (file, build) = build::shipped()[0];
    let build = Build::parse(file, build).unwrap();
    let errors = Faults::parse("mine.toml", text, &build).expect_err("an error");
    let error = &errors.errors[0];
    let help_told = format!("{} {}", error.help, error.nearest.clone().unwrap_or_default());
    assert!(error.line == line && error.found.contains(found) && help_told.contains(help), "{errors}");
}

#[test]
fn a_text_that_is_no_toml() {
    check("[[symptom", 1, "", "the file must be TOML");
}

#[test]
fn a_shared_file_that_does_not_exist() {
    check("take = [\"moton\"]", 1, "cannot be \"moton\"", "\"motion\"");
}

#[test]
fn a_grade_that_does_not_exist() {
    check(&SYMPTOM.replace("seldom", "ofen"), 4, "cannot be \"ofen\"", "\"often\"");
}

#[test]
fn a_key_that_is_missing_or_misspelt() {
    check(&SYMPTOM.replace("leak", "leek"), 1, "needs the key \"leak\"", "docs/FAULTS.md says");
}

#[test]
fn two_symptoms_of_one_name() {
    check(&SYMPTOM.repeat(2), 6, "there are two symptoms \"squeal\"", "a name of its own");
}

#[test]
fn a_position_that_the_build_lacks() {
    check(&cause("at = \"y rod\"", "{ squeal = \"often\" }", REMEDY), 7, "no position \"y rod\"", "\"y rods\"");
}

#[test]
fn a_kind_that_does_not_exist() {
    check(&cause("on = [\"tothed belt\"]", "{ squeal = \"often\" }", REMEDY), 7, "tothed belt", "\"toothed belt\"");
}

#[test]
fn a_cause_that_sits_nowhere() {
    check(&cause("", "{ squeal = \"often\" }", REMEDY), 5, "says nowhere where it sits", "write at =");
}

#[test]
fn a_cause_that_sits_at_a_position_and_on_a_kind() {
    let place = "at = \"y rods\"\non = [\"toothed belt\"]";
    check(&cause(place, "{ squeal = \"often\" }", REMEDY), 7, "stand here together", "write at =");
}

#[test]
fn a_symptom_that_does_not_exist() {
    check(&cause("at = \"y rods\"", "{ squeel = \"often\" }", REMEDY), 10, "no symptom \"squeel\"", "\"squeal\"");
}

#[test]
fn a_cause_that_shows_nothing() {
    check(&cause("at = \"y rods\"", "{}", REMEDY), 10, "\"shows\" is empty", "name at least one symptom");
}

#[test]
fn a_task_that_the_build_lacks() {
    let remedy = "remedy = { task = \"oil the y rod\" }\n";
    check(&cause("at = \"y rods\"", "{ squeal = \"often\" }", remedy), 11, "no task", "\"oil the y rods\"");
}

#[test]
fn a_remedy_on_a_hot_machine_without_a_caution() {
    let remedy = REMEDY.replace("isolated", "hot");
    check(&cause("at = \"y rods\"", "{ squeal = \"often\" }", &remedy), 11, "must carry a caution", "add caution");
}

#[test]
fn mains_for_anybody() {
    check(
        &cause("at = \"power lead\"", "{ squeal = \"often\" }", REMEDY),
        11,
        "carries mains voltage",
        "qualified = true",
    );
}

/// A cause that can be told by a check, of which the last lines are `more`.
fn checked(tells: &str, more: &str) -> String {
    let text =
        "[[check]]\nname = \"look\"\notherwise = \"seldom\"\nsteps = [\"Look.\"]\nminutes = 1\nstate = \"cold\"\n";
    format!(
        "{}{text}tells = {{ {tells} = \"often\" }}\n{more}",
        cause("at = \"y rods\"", "{ squeal = \"often\" }", REMEDY)
    )
}

#[test]
fn a_check_of_a_cause_that_does_not_exist() {
    check(&checked("dri", ""), 18, "no cause \"dri\"", "\"dry\"");
}

#[test]
fn a_measurement_that_nobody_makes() {
    let measured = "measured = { what = \"belt tensoin\", unit = \"N\", below = 7 }\n";
    check(&checked("dry", measured), 19, "\"what\" cannot be \"belt tensoin\"", "\"belt tension\"");
}

#[test]
fn a_measurement_in_another_unit() {
    let measured = "measured = { what = \"belt tension\", unit = \"kg\", below = 7 }\n";
    check(&checked("dry", measured), 19, "\"unit\" cannot be \"kg\"", "allowed here: N");
}

#[test]
fn a_measurement_without_a_limit() {
    let measured = "measured = { what = \"belt tension\", unit = \"N\" }\n";
    check(&checked("dry", measured), 19, "no limit", "write below =");
}

#[test]
fn a_measurement_whose_limits_leave_nothing_good() {
    let measured = "measured = { what = \"belt tension\", unit = \"N\", below = 40, above = 7 }\n";
    check(&checked("dry", measured), 19, "every value would mean yes", "the smaller");
}

#[test]
fn a_file_that_is_taken_twice() {
    check("take = [\"motion\",\n\"motion\"]", 2, "\"motion\" is taken twice", "take it once");
}

#[test]
fn a_symptom_that_a_taken_file_has_too() {
    let text = format!("take = [\"symptoms\"]\n{SYMPTOM}").replace("squeal", "knocking");
    let found = "there are two symptoms \"knocking\", the other in symptoms, line 15";
    check(&text, 3, found, "a name of its own");
}

#[test]
fn a_cause_that_a_taken_file_has_at_the_same_position_too() {
    let own = cause("at = \"y rods\"", "{ squeal = \"often\" }", REMEDY).replace("\"dry\"", "\"Dry rod\"");
    let text = format!("take = [\"symptoms\", \"motion\"]\n{own}");
    check(&text, 7, "there are two causes \"y rods: Dry rod\", the other in motion, line 3", "a name of its own");
}

#[test]
fn a_check_that_a_taken_file_has_at_the_same_position_too() {
    let text = checked("dry", "at = \"y rods\"\n").replace("\"look\"", "\"wipe with a white cloth\"");
    let text = format!("take = [\"symptoms\", \"motion\"]\n{text}");
    check(
        &text,
        14,
        "there are two checks \"y rods: wipe with a white cloth\", the other in motion",
        "a name of its own",
    );
}

/// Makes a measurement on the first shipped build.
#[track_caller]
fn answered(what: What, at: Option<&str>, value: f64, expected: &[(&str, f64)]) {
    let (_, _, faults) = all().swap_remove(0);
    let measured = Measured { what, at: at.map(str::to_owned), value, uncertainty: 0.0 };
    let answers = measured::answers(&faults, &measured);
    let told: Vec<(String, f64)> =
        answers.iter().map(|(check, chance)| (faults.checks[*check].title(), *chance)).collect();
    let near = |((title, chance), (other, expected)): (&(String, f64), &(&str, f64))| {
        title == other && (chance - expected).abs() < 5e-5
    };
    assert!(told.len() == expected.len() && told.iter().zip(expected).all(near), "{told:?}");
}

/// By hand: Φ(1) = 0.8413 and 1 less that, at a tenth of the limit from it; the rest is beyond the surest.
#[test]
fn a_measurement_answers_the_checks_at_its_position_and_those_of_the_whole_machine() {
    let tension = [("belts: measure the belt for slack", 0.8413), ("belts: measure the belt for too much", 0.02)];
    answered(What::BeltTension, Some("belts"), 6.3, &tension);
    answered(What::BeltTension, Some("frame"), 6.3, &[]);
    answered(What::OutOfSquare, Some("frame"), 0.18, &[("print a square", 0.1587)]);
    answered(What::MarkMisfit, Some("idlers"), 0.5, &[("idlers: find the spacing of the marks", 0.98)]);
}

#[test]
fn every_measurement_answers_some_check_of_some_shipped_build() {
    let all = all();
    for what in What::ALL {
        let answers =
            |faults: &Faults| faults.checks.iter().any(|check| check.measured.is_some_and(|m| m.what == what));
        assert!(all.iter().any(|(_, _, faults)| answers(faults)), "{}", what.name());
    }
}
