//! Lives out of a machine's entries: which stays they tell of, by which clock parts wear, and what that advises.

use jiff::{SignedDuration, Timestamp};
use life::{End, Level};
use motion::{Duty, Quantity};
use upkeep::build::shipped;
use upkeep::entry::{Basis, Because, Run};
use upkeep::lives::{Clock, Costs, Ending, KindLives, Records, Uses, Verdict, stays};
use upkeep::{Build, Entry, EntryId, Event, Material, Materials, Usage};

const JOINED: &str = "2026-01-01T00:00:00Z";

fn build() -> Build {
    let (file, text) = shipped()[0];
    Build::parse(file, text).unwrap()
}

fn at(hours: f64) -> Timestamp {
    JOINED.parse::<Timestamp>().unwrap() + SignedDuration::from_secs_f64(hours * 3600.0)
}

/// A machine's record, told hour by hour.
struct Record {
    entries: Vec<Entry>,
}

impl Record {
    fn new(machine: &str) -> Record {
        let mut record = Record { entries: Vec::new() };
        record.tell(machine, 0.0, "", Event::Added { build: build().name });
        record
    }

    fn tell(&mut self, machine: &str, hours: f64, note: &str, event: Event) {
        let id = EntryId(1 + i64::try_from(self.entries.len()).unwrap());
        let machine = machine.to_owned();
        self.entries.push(Entry {
            id,
            machine,
            at: at(hours),
            recorded: at(hours),
            corrects: None,
            note: note.to_owned(),
            event,
        });
    }

    fn then(&mut self, hours: f64, event: Event) {
        let machine = self.entries[0].machine.clone();
        self.tell(&machine, hours, "", event);
    }
}

fn run(kg: f64) -> Event {
    let mut duty = Duty::default();
    let amounts = duty.tools.entry(0).or_default();
    (amounts[Quantity::FilamentMass], amounts[Quantity::Time]) = (kg, 3600.0);
    let usage = Usage::from_duty(&duty, |_| Material::new("PLA"));
    let label = "knots".to_owned();
    let materials = [(0, Material::new("PLA"))].into();
    Event::Run(Run { label, program: None, stopped: None, materials, usage, basis: Basis::Metered, queued: None })
}

fn failed(position: &str) -> Event {
    Event::Failed { position: position.to_owned(), mode: "sticks".to_owned(), found: false, mended: false }
}

fn replaced(position: &str, because: Because) -> Event {
    Event::Replaced { position: position.to_owned(), because, spare: None }
}

#[test]
fn each_way_of_leaving_is_told_apart_and_use_is_counted_while_a_part_is_there() {
    let mut record = Record::new("bowline");
    record.then(10.0, run(1.0));
    record.then(20.0, failed("nozzle"));
    record.then(25.0, run(8.0)); // With the failed part: no life of anything.
    record.then(30.0, replaced("nozzle", Because::Failed));
    record.then(40.0, run(2.0));
    record.then(50.0, replaced("nozzle", Because::Worn));
    record.then(60.0, replaced("nozzle", Because::Good));
    record.then(70.0, run(4.0));
    let all = stays(&build(), None, &record.entries, &Uses::of(&record.entries, at(100.0)), at(100.0));
    let nozzle: Vec<_> = all.iter().filter(|stay| stay.position == "nozzle").collect();
    let told: Vec<_> = nozzle
        .iter()
        .map(|stay| (stay.end, stay.first, (stay.usage.amount(Quantity::FilamentMass) * 1e3).round()))
        .collect();
    assert_eq!(
        told,
        [
            (Ending::Failed, true, 1000.0),
            (Ending::Worn, false, 2000.0),
            (Ending::Good, false, 0.0),
            (Ending::StillThere, false, 4000.0),
        ]
    );
    assert_eq!((nozzle[0].to, nozzle[1].from, nozzle[3].to), (at(20.0), at(30.0), at(100.0)));
    // Every other position has one stay, still there.
    assert_eq!(all.len(), build().positions.len() + 3);
}

#[test]
fn a_failure_found_while_looking_lies_between_two_looks() {
    let look = || Event::Done { task: "look into feed tube 1".to_owned(), supplies: Default::default() };
    let mut record = Record::new("bowline");
    record.then(10.0, run(1.0));
    record.then(20.0, look());
    record.then(30.0, run(2.0));
    let mode = "bore scored".to_owned();
    record.then(40.0, Event::Failed { position: "feed tube 1".to_owned(), mode, found: true, mended: false });
    let build = build();
    let uses = Uses::of(&record.entries, at(50.0));
    let records = [Records { build: &build, entries: &record.entries, uses: &uses }];
    let lives = KindLives::of("feed tube", &records, Materials::built_in(), at(50.0)).unwrap();
    let mass = lives.told.iter().find(|told| told.clock.to_string() == "filament mass").unwrap();
    let ends: Vec<End> = mass.lives.iter().map(|life| life.end()).filter(|end| end.is_failure()).collect();
    assert!(
        matches!(ends[..], [End::Between(from, to)] if (from - 1.0).abs() < 1e-9 && (to - 3.0).abs() < 1e-9),
        "{ends:?}"
    );
    assert_eq!(KindLives::of("no such kind", &records, Materials::built_in(), at(50.0)).map(|lives| lives.kind), None);
}

#[test]
fn a_part_of_recorded_age_counts_from_that_age_on_by_every_clock() {
    let age = |position: Option<&str>, of: Option<&str>, amount: &str| Event::Age {
        position: position.map(str::to_owned),
        of: of.map(str::to_owned),
        amount: amount.to_owned(),
    };
    let mut record = Record::new("bowline");
    record.then(0.0, age(None, None, "30 days"));
    record.then(0.0, age(Some("feed tube 1"), Some("filament mass"), "4 kg"));
    record.then(10.0, run(2.0));
    record.then(240.0, failed("feed tube 1"));
    let build = build();
    let uses = Uses::of(&record.entries, at(300.0));
    let records = [Records { build: &build, entries: &record.entries, uses: &uses }];
    let lives = KindLives::of("feed tube", &records, Materials::built_in(), at(300.0)).unwrap();
    let tube = lives.stays.iter().find(|stay| stay.position == "feed tube 1").unwrap();
    let of = |name: &str| {
        let clock = &lives.told.iter().find(|told| told.clock.to_string() == name).unwrap().clock;
        (clock.age_of(tube, Materials::built_in()), clock.passed(tube, Materials::built_in()))
    };
    // By hand: 4 kg before and 2 kg here; 30 days before and 10 here; an hour's run here stands for 2 kg, so 2 h before.
    assert_eq!(of("filament mass"), (6.0, 2.0));
    assert_eq!(of("days"), (40.0, 10.0));
    assert_eq!(of("time"), (3.0 * 3600.0, 3600.0));
    let failure = lives.told[0].lives.iter().find(|life| life.end().is_failure()).unwrap();
    assert!(0.0 < failure.entry());
    assert_eq!(lives.of_unknown_age(), 0);
}

#[test]
fn doing_a_task_that_renews_a_part_ends_its_life_once_even_if_the_replacement_is_recorded_beside_it() {
    let done = || Event::Done { task: "replace the carbon filter".to_owned(), supplies: Default::default() };
    let mut record = Record::new("bowline");
    record.then(100.0, done());
    record.then(200.0, done());
    record.then(200.0, replaced("carbon filter", Because::Good));
    let build = build();
    let all = stays(&build, Some("carbon filter"), &record.entries, &Uses::default(), at(300.0));
    let ends: Vec<(Timestamp, Timestamp, Ending)> = all.iter().map(|stay| (stay.from, stay.to, stay.end)).collect();
    let expected = [
        (at(0.0), at(100.0), Ending::Good),
        (at(100.0), at(200.0), Ending::Good),
        (at(200.0), at(300.0), Ending::StillThere),
    ];
    assert_eq!(ends, expected);
}

#[test]
fn before_anything_failed_a_part_goes_by_what_its_build_believes() {
    let mut record = Record::new("bowline");
    for hour in 0..40 {
        record.then(f64::from(hour) * 4.0, run(0.1));
    }
    let build = build();
    let uses = Uses::of(&record.entries, at(168.0));
    let records = [Records { build: &build, entries: &record.entries, uses: &uses }];
    let lives = KindLives::of("feed tube", &records, Materials::built_in(), at(168.0)).unwrap();
    assert_eq!(lives.count(Ending::Failed), 0);
    assert_eq!(lives.best_clock().unwrap().clock.to_string(), "time");
    let stay = &lives.stays[0];
    let chance = lives.fails_within(stay, 28.0, Materials::built_in()).unwrap();
    // The build believes that a tenth fails by 150 h; a part of 40 h that does 160 h more runs a risk of that order.
    assert!((0.02..0.4).contains(&chance), "{chance}");
}

/// Tubes that last about 5 kg whatever the calendar says, on machines whose pace changes from week to week.
fn shop(spread: f64, sequence: impl Fn(u32) -> f64) -> Vec<Record> {
    let mut seed = 0;
    let mut next = || {
        seed += 1;
        sequence(seed)
    };
    (0..4)
        .map(|machine| {
            let mut record = Record::new(&format!("m{machine}"));
            let (mut hours, mut used, mut life) = (0.0, 0.0, 5.0 * next().powf(spread));
            for week in 0..120 {
                let pace = if week % 3 == machine % 3 { 1.2 } else { 0.15 };
                for _ in 0..2 {
                    hours += 80.0;
                    record.then(hours, run(pace));
                    used += pace;
                }
                if life <= used {
                    hours += 1.0;
                    record.then(hours, failed("feed tube 1"));
                    record.then(hours, replaced("feed tube 1", Because::Failed));
                    (used, life) = (0.0, 5.0 * next().powf(spread));
                }
            }
            record
        })
        .collect()
}

/// Evenly spread chances in a fixed, mixed order, as −ln of which powers are Weibull lives (van der Corput's sequence).
fn mixed(index: u32) -> f64 {
    let chance = f64::from(index.reverse_bits()) / f64::from(u32::MAX);
    -(chance.clamp(0.01, 0.99)).ln()
}

#[test]
fn the_clock_by_which_parts_wear_explains_their_failures_best() {
    let shop = shop(0.2, mixed);
    let build = build();
    let uses: Vec<Uses> = shop.iter().map(|record| Uses::of(&record.entries, at(25_000.0))).collect();
    let records: Vec<Records<'_>> = shop
        .iter()
        .zip(&uses)
        .map(|(record, uses)| Records { build: &build, entries: &record.entries, uses })
        .collect();
    let lives = KindLives::of("feed tube", &records, Materials::built_in(), at(25_000.0)).unwrap();
    assert!(20 <= lives.count(Ending::Failed), "{}", lives.count(Ending::Failed));
    let best = lives.best_clock().unwrap();
    assert!(matches!(best.clock, Clock::Meter { quantity: Quantity::FilamentMass, .. }), "{}", best.clock);
    let by_mass: f64 =
        lives.told.iter().filter(|told| told.clock.to_string().contains("mass")).map(|told| told.share).sum();
    assert!(0.95 < by_mass, "{by_mass}");
    assert!((lives.told.iter().map(|told| told.share).sum::<f64>() - 1.0).abs() < 1e-12);
    // Shape 5 (a fifth is the power), so replacing early pays where a failure costs ten times as much.
    let level = Level::new(0.9).unwrap();
    let advice = lives.advice(Costs { planned: 10.0, failure: 100.0 }, level, Materials::built_in()).unwrap();
    let Verdict::Replace { best, band } = advice.verdict else { panic!("{:?}", advice.verdict) };
    assert!((1.5..4.5).contains(&best.age) && band.age.holds(best.age), "{best:?}");
    assert!(advice.best_per_year.unwrap() < advice.to_failure_per_year.unwrap());
    // Where a failure costs no more than a planned replacement, it can't.
    let advice = lives.advice(Costs { planned: 10.0, failure: 10.0 }, level, Materials::built_in()).unwrap();
    assert_eq!(advice.verdict, Verdict::NoGain);
    let there =
        lives.stays.iter().find(|stay| stay.end == Ending::StillThere && stay.position == "feed tube 1").unwrap();
    let chances = [7.0, 28.0, 280.0].map(|days| lives.fails_within(there, days, Materials::built_in()).unwrap());
    assert!(0.0 < chances[0] && chances[0] < chances[1] && chances[1] < chances[2] && chances[2] < 1.0, "{chances:?}");
    assert!(0.05 < lives.alike(Materials::built_in()).unwrap().0.ratio.chance, "the machines' tubes last alike");
}

#[test]
fn no_money_is_weighed_against_an_injury() {
    let build = build();
    let record = Record::new("bowline");
    let uses = Uses::of(&record.entries, at(500.0));
    let records = [Records { build: &build, entries: &record.entries, uses: &uses }];
    let lives = KindLives::of("smoke alarm", &records, Materials::built_in(), at(500.0)).unwrap();
    let costs = Costs { planned: 10.0, failure: 100.0 };
    let advice = lives.advice(costs, Level::new(0.9).unwrap(), Materials::built_in()).unwrap();
    assert_eq!(advice.verdict, Verdict::MayInjure);
}

#[test]
fn few_failures_and_none_are_not_advised_upon() {
    let build = build();
    let level = Level::new(0.9).unwrap();
    let costs = Costs { planned: 10.0, failure: 100.0 };
    let mut record = Record::new("bowline");
    record.then(10.0, run(1.0));
    let advise = |record: &Record| {
        let uses = Uses::of(&record.entries, at(500.0));
        let records = [Records { build: &build, entries: &record.entries, uses: &uses }];
        let lives = KindLives::of("feed tube", &records, Materials::built_in(), at(500.0)).unwrap();
        lives.advice(costs, level, Materials::built_in()).unwrap().verdict
    };
    assert_eq!(advise(&record), Verdict::NothingFailed);
    record.then(20.0, failed("feed tube 1"));
    record.then(21.0, failed("feed tube 2"));
    assert_eq!(advise(&record), Verdict::TooFew { failures: 2 });
}

/// What the records of one machine with a build advise for a kind of part.
fn advise(build: &Build, kind: &str, record: &Record, until: f64) -> (KindLives, upkeep::lives::Advice) {
    let uses = Uses::of(&record.entries, at(until));
    let records = [Records { build, entries: &record.entries, uses: &uses }];
    let lives = KindLives::of(kind, &records, Materials::built_in(), at(until)).unwrap();
    let costs = Costs { planned: 10.0, failure: 100.0 };
    let advice = lives.advice(costs, Level::new(0.9).unwrap(), Materials::built_in()).unwrap();
    (lives, advice)
}

/// Feed tube 1 failed after each of these masses, kg, one run for each.
fn failed_after(masses: &[f64]) -> Record {
    let mut record = Record::new("bowline");
    for (index, kg) in masses.iter().enumerate() {
        let hours = 10.0 * (index as f64 + 1.0);
        record.then(hours, run(*kg));
        record.then(hours + 2.0 + *kg, failed("feed tube 1"));
        record.then(hours + 2.5 + *kg, replaced("feed tube 1", Because::Failed));
    }
    record
}

#[test]
fn few_scattered_failures_leave_a_law_open_by_which_replacing_early_gains_nothing() {
    let record = failed_after(&[0.5, 3.0, 3.4, 4.0]);
    let (lives, advice) = advise(&build(), "feed tube", &record, 60.0);
    let few = lives.best_clock().unwrap().few().unwrap();
    let [shape, _] = few.band(life::Of::Shape, Level::new(0.9).unwrap()).unwrap();
    assert!(shape < 1.0, "the data are meant to be unsure: {shape}");
    assert!(matches!(advice.verdict, Verdict::Unsure { .. }), "{:?}", advice.verdict);
    assert!(advice.limits.is_empty(), "what is unsure asks for no limit");
}

#[test]
fn clocks_that_advance_alike_count_once() {
    // Nothing abrasive was printed, so that its weight changes no age.
    let (lives, _) = advise(&build(), "feed tube", &failed_after(&[3.0, 3.4, 4.0, 4.4]), 60.0);
    let mass: Vec<_> = lives.told.iter().filter(|told| told.clock.to_string().contains("mass")).collect();
    assert_eq!(mass.len(), 1, "{:?}", lives.told.iter().map(|told| told.clock.to_string()).collect::<Vec<_>>());
    assert!(mass[0].same.iter().any(|clock| clock.to_string().contains("abrasive")), "{:?}", mass[0].same);
    assert!((lives.told.iter().map(|told| told.share).sum::<f64>() - 1.0).abs() < 1e-12);
}

#[test]
fn where_parts_also_went_worn_no_cost_is_called_that_of_today() {
    let mut record = failed_after(&[3.0, 3.4, 4.0, 4.4]);
    let (_, advice) = advise(&build(), "feed tube", &record, 60.0);
    assert_eq!(advice.today_per_year, advice.to_failure_per_year);
    record.then(61.0, replaced("feed tube 1", Because::Worn));
    let (_, advice) = advise(&build(), "feed tube", &record, 80.0);
    assert!(advice.goes_worn && advice.today_per_year.is_none() && advice.to_failure_per_year.is_some());
}

#[test]
fn an_age_becomes_a_limit_of_the_task_that_renews_the_part_at_the_ratio_of_the_clocks() {
    let with_task = |limit: &str| {
        let (file, text) = shipped()[0];
        let task = "[[task]]\nname = \"change feed tube 1\"\nat = \"feed tube 1\"\nstate = \"isolated\"\nminutes = 10\n\
                    neglect = \"failed print\"\nrenews = true\nsteps = [\"Change it.\"]\n[[task.limit]]\n";
        Build::parse(file, &format!("{text}\n{task}{limit}\nsource = \"common practice, no source\"\n")).unwrap()
    };
    let record = failed_after(&[3.0, 3.1, 3.2, 3.3, 3.4, 3.5]);
    let wanted = |limit: &str| {
        let (_, advice) = advise(&with_task(limit), "feed tube", &record, 80.0);
        let Verdict::Replace { best, .. } = advice.verdict else { panic!("{:?}", advice.verdict) };
        (best.age, advice.clock, advice.limits)
    };
    let (age, clock, limits) = wanted("every = \"9 kg\"\nof = \"filament mass\"");
    assert_eq!(clock.quantity(), Some(Quantity::FilamentMass));
    let [limit] = &limits[..] else { panic!("{limits:?}") };
    assert_eq!((limit.task.as_str(), limit.of), ("change feed tube 1", Some(Quantity::FilamentMass)));
    assert!(!limit.is_carried && (limit.every - age).abs() < 1e-12);
    // By hand: 19.5 kg through feed tube 1, and four tubes there for 80 h each but for six gaps of half an hour.
    let (age, _, limits) = wanted("every = \"9 months\"");
    let [limit] = &limits[..] else { panic!("{limits:?}") };
    let expected = age * (4.0 * 80.0 - 6.0 * 0.5) / 24.0 / 19.5;
    assert!(
        limit.is_carried && limit.of.is_none() && (limit.every / expected - 1.0).abs() < 1e-9,
        "{limit:?} {expected}"
    );
}
