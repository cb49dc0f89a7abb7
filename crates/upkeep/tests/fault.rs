//! Fault finding: what its files must say, and what the shipped ones do.

use std::collections::BTreeSet;

use upkeep::build::{self, State};
use upkeep::fault::{Answer, Evidence, Faults, Guide, Progress, Step, prior, shipped};
use upkeep::{Build, Prices, Rates, Risk};

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

/// The network's guide for a machine all of whose tasks are at `share`, but for one.
fn shares(build: &Build, share: f64, task: &str, other: f64) -> Vec<f64> {
    build.tasks.iter().map(|one| if one.name == task { other } else { share }).collect()
}

fn priors(build: &Build, faults: &Faults, shares: &[f64]) -> Vec<upkeep::fault::Prior> {
    prior::priors(faults, build, shares, &vec![Risk::believed(); build.tasks.len()])
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
    let [fresh, late] = [0.3, 2.0].map(|share| priors(&build, &faults, &shares(&build, 0.3, "oil the y rods", share)));
    assert!(2.0 * fresh[place].chance < late[place].chance);
    assert_eq!(late[place].reason.to_string(), "y rods: \"oil the y rods\" is at 2.0 times its allowance");
    let elsewhere = faults.causes.iter().position(|cause| cause.at == "nozzle").unwrap();
    assert_eq!(
        fresh[elsewhere].chance.to_bits(),
        late[elsewhere].chance.to_bits(),
        "a cause elsewhere is as likely as before"
    );
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
    check(&SYMPTOM.replace("leak", "leek"), 1, "needs the key \"leak\"", "add a line");
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

#[test]
fn a_check_of_a_cause_that_does_not_exist() {
    let check_text = "[[check]]\nname = \"look\"\notherwise = \"seldom\"\ntells = { dri = \"often\" }\n\
        steps = [\"Look.\"]\nminutes = 1\nstate = \"cold\"\n";
    let text = cause("at = \"y rods\"", "{ squeal = \"often\" }", REMEDY) + check_text;
    check(&text, 15, "no cause \"dri\"", "\"dry\"");
}
