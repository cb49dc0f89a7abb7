//! Life data from tables, and limits of the shop's own: published data sets give the published numbers.

use serde_json::Value;

use crate::shop::{Shop, limit_on};

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.2.1: ten failures, ten units good at 500 h.
pub(crate) const HANDBOOK: &str =
    "time,event,count\n54,1,\n187,1,\n216,1,\n240,1,\n244,1,\n335,1,\n361,1,\n373,1,\n375,1,\n386,1,\n500,0,10\n";

#[track_caller]
pub(crate) fn near(found: &Value, expected: f64, share: f64) {
    let found = found.as_f64().unwrap_or_else(|| panic!("{found} is no number"));
    assert!((found - expected).abs() <= share * expected.abs(), "{found} not {expected}");
}

#[test]
fn a_handbooks_table_gives_the_handbooks_numbers() {
    let shop = Shop::folder();
    shop.write("test.csv", HANDBOOK);
    let fit = shop.json("life fit test.csv");
    // 8.4.1.3 prints shape 1.7208, scale 606.5280, AIC 154.27, mean 540.737; to more digits from the likelihood itself.
    for (key, expected) in [
        ("shape", 1.720797261),
        ("scale", 606.527558),
        ("log_likelihood", -75.13461816),
        ("aic", 154.2692363),
        ("mean", 540.7370255),
        ("sd", 323.8058243),
        ("b10", 164.0224387),
        ("failures", 10.0),
        ("lives", 20.0),
    ] {
        near(&fit[key], expected, 1e-7);
    }
    near(&fit["standard_error"]["shape"], 0.5021506035, 1e-7);
    near(&fit["bounds"]["wald"]["scale"][0], 405.0892935, 1e-7);
    near(&fit["bounds"]["profile"]["shape"][1], 2.885737866, 1e-7);
    near(&shop.json("life fit test.csv --model lognormal")["aic"], 154.39, 4e-5);
    let text = shop.told("life fit test.csv --svg paper.svg");
    assert!(text.contains("10 failures among 20 lives") && text.contains("paper.svg"), "{text}");
    let svg = std::fs::read_to_string(shop.path("paper.svg")).unwrap();
    assert!(svg.contains("<title>") && svg.contains("share failed") && !svg.contains("NaN"), "{svg}");
}

#[test]
fn a_curve_a_mean_and_a_best_age_are_those_of_the_textbooks() {
    let shop = Shop::folder();
    // NIST/SEMATECH e-Handbook, 8.2.1.5.
    shop.write(
        "seen.csv",
        "time,event,count\n10,1,\n32,1,\n56,1,\n98,1,\n122,1,\n181,1,\n50,0,\n100,0,\n125,0,\n150,0,\n200,0,10\n",
    );
    let curve = shop.json("life curve seen.csv");
    near(&curve[2]["survival"], 0.8470588235, 1e-9);
    near(&curve[5]["std_error"], 0.1121406859, 1e-9);
    near(&curve[5]["cumulative_hazard"], 0.3862927707, 1e-9);
    shop.told("life curve seen.csv --svg curve.svg");
    // 8.4.5.1: 2 failures in 800 h, 90 %.
    let mtbf = shop.json("life mtbf --time 800 --failures 2");
    near(&mtbf["lower"], 127.0690, 1e-6);
    near(&mtbf["upper"], 2251.229, 1e-6);
    let quiet = shop.json("life mtbf --time 1000 --failures 0");
    assert_eq!((&quiet["mtbf"], &quiet["upper"]), (&Value::Null, &Value::Null));
    shop.told("life mtbf --time 1000 --failures 0");
    // Barlow & Hunter (1960), the root worked out at 30 digits.
    let best = shop.json("life replace --shape 2.5 --scale 1000 --planned-cost 1 --failure-cost 5");
    near(&best["age"], 493.0469576, 1e-8);
    near(&best["cost_rate"], 0.003462042739, 1e-9);
    let never = shop.json("life replace --shape 1 --scale 1000 --planned-cost 1 --failure-cost 5");
    assert_eq!(never["age"], Value::Null);
    assert!(shop.told("life replace --shape 0.8 --scale 9 --planned-cost 1 --failure-cost 5").contains("No gain"));
}

#[test]
fn repaired_systems_are_told_as_the_handbook_tells_them() {
    let shop = Shop::folder();
    // NIST/SEMATECH e-Handbook, 8.4.5.2: one system, ten failures in 1500 h.
    let times = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478];
    let rows: String = times.iter().map(|time| format!("1,0,1500,{time}\n")).collect();
    shop.write("repairs.csv", format!("system,start,end,time\n{rows}"));
    let repairs = shop.json("life repairs repairs.csv");
    near(&repairs["shape"], 0.537228866, 1e-7);
    near(&repairs["laplace"]["statistic"], -1.326949183, 1e-8);
    near(&repairs["mil"]["statistic"], 37.22808148, 1e-8);
    // Printed there (from memory): 33 reversals of at most 45. The chance by SciPy's exact law of Kendall's τ.
    assert_eq!((&repairs["reversals"][0]["spans"], &repairs["reversals"][0]["reversals"]), (&10.into(), &33.into()));
    near(&repairs["reversals"][0]["p"], 0.07255015432, 1e-9);
    near(&repairs["mean_cumulative"][9]["mean"], 10.0, 1e-12);
    assert!(shop.told("life repairs repairs.csv").contains("slower"));
    assert!(shop.told("life repairs repairs.csv").contains("reversals"));
}

#[test]
fn lives_found_failed_at_looks_have_a_curve_and_a_law() {
    let shop = Shop::folder();
    // Nelson (1982), p. 409: turbine wheels, each looked at once; hundreds of hours.
    let looks = [(4, 0, 39), (10, 4, 49), (14, 2, 31), (18, 7, 66), (22, 5, 25), (26, 9, 30), (30, 9, 33), (34, 6, 7)];
    let more = [(38, 22, 12), (42, 21, 19), (46, 21, 15)];
    let mut table = "time,event,upper,count\n".to_owned();
    for (age, cracked, sound) in looks.into_iter().chain(more) {
        table += &format!("{age},0,,{sound}\n");
        if 0 < cracked {
            table += &format!("0,1,{age},{cracked}\n");
        }
    }
    shop.write("wheels.csv", table);
    let fit = shop.json("life fit wheels.csv");
    near(&fit["shape"], 2.175779909, 1e-7);
    near(&fit["scale"], 46.77723025, 1e-7);
    let curve = shop.json("life curve wheels.csv");
    let survival: Vec<f64> = curve.as_array().unwrap().iter().map(|fall| fall["survival"].as_f64().unwrap()).collect();
    assert!(survival.is_sorted_by(|one, other| other <= one) && survival.len() >= 3, "{curve}");
    assert!(shop.told("life curve wheels.csv").contains("between two looks"));
}

#[test]
fn readings_that_drift_are_told_by_when_they_reach_their_limit() {
    let shop = Shop::folder();
    // Four bores that wear by 0.01 a step and a little; the limit is 0.1 away from where each began.
    let mut table = "unit,age,value\n".to_owned();
    for unit in 1..=4 {
        for age in 0..5 {
            let wobble = if (unit + age) % 2 == 0 { 0.0004 } else { -0.0004 };
            table += &format!("{unit},{age},{}\n", 0.4 + f64::from(age) * (0.01 + 0.0005 * f64::from(unit)) + wobble);
        }
    }
    shop.write("bores.csv", table);
    let drift = shop.json("life drift bores.csv --limit 0.5");
    for (unit, row) in drift.as_array().unwrap().iter().enumerate() {
        // By hand: 0.1 by the unit's own slope.
        near(&row["age_50"], 0.1 / (0.01 + 0.0005 * (unit + 1) as f64), 0.04);
        assert!(
            row["age_10"].as_f64() < row["age_50"].as_f64() && row["age_50"].as_f64() < row["age_90"].as_f64(),
            "{row}"
        );
    }
    let text = shop.told("life drift bores.csv --limit 0.5 --svg fan.svg");
    assert!(text.contains("drawn towards") && shop.path("fan.svg").is_file(), "{text}");
    shop.write("one.csv", "age,value\n0,110\n1,108\n2,106.5\n3,104\n");
    assert!(shop.told("life drift one.csv --limit 95 --falling").contains("own line alone"));
    shop.write("one.csv", "age,value\n0,110\n");
    shop.refused("life drift one.csv --limit 95 --falling", &[]);
}

#[test]
fn tables_that_make_no_sense_are_told_with_their_line() {
    let shop = Shop::folder();
    for (text, parts) in [
        ("time,event\n5,1\n-3,1\n", &["bad.csv, line 3", "-3 is not an age"][..]),
        ("event,time\n1,5\n7,0\n", &["line 3", "an event of 7", "columns swapped"]),
        ("time,event\n5,x\n", &["line 2", "\"x\"", "not a number"]),
        ("time,event\n5,NaN\n", &["not a number"]),
        ("time,event,entry\n5,1,9\n", &["line 2", "watching began at age 9"]),
        ("time,event\n0,1\n", &["failure at age 0"]),
        ("time,event\n5,0\n9,0\n", &["no failure among the lives", "tallow life mtbf --time 14 --failures 0"]),
        ("time,event\n5,1\n5,1\n", &["do not differ in age", "--model exponential"]),
        ("time,happened\n5,1\n", &["\"happened\"", "time, event, entry, upper, count"]),
        ("time,event,upper\n5,0,9\n", &["still good has no \"upper\""]),
        ("age\n5\n", &["\"age\""]),
        ("time\n5\n", &["no column \"event\""]),
        ("time,event\n", &["no rows"]),
    ] {
        shop.write("bad.csv", text);
        shop.refused("life fit bad.csv", parts);
    }
    shop.refused("life fit none.csv", &["no file none.csv"]);
    shop.refused("life fit bad.csv --level 2", &["no rows"]);
    shop.write("one.csv", "time,event\n5,1\n9,0\n");
    shop.refused("life fit one.csv --level 2", &["a level of 2"]);
}

/// A shop whose nozzles failed after 30 to 60 h, six of them.
fn shop_with_failures() -> Shop {
    let shop = Shop::with_bowline();
    for (index, hours) in [42, 55, 37, 48, 60, 33].into_iter().enumerate() {
        let day = 2 + 4 * index;
        shop.told(&format!(
            "run --on bowline --hours {hours} --material PLA --label n{index} --when \"{day} Nov 0:00\""
        ));
        let left = format!("--on bowline --when \"{} Nov 20:00\"", day + 2);
        shop.told(&format!("failure nozzle \"prints too thin\" {left}"));
        shop.told(&format!("replace nozzle --because failed {left}"));
    }
    shop
}

#[test]
fn the_shops_own_failures_give_a_law_a_clock_and_advice_in_careful_words() {
    let mut shop = shop_with_failures();
    shop.now = "2026-12-10T12:00[Europe/Oslo]".to_owned();
    let all = shop.json("lives");
    assert_eq!((&all[0]["kind"], &all[0]["failed"]), (&"brass nozzle".into(), &6.into()));
    let lives = shop.json("lives nozzle --planned-cost 5 --failure-cost 100")[0].clone();
    assert_eq!((&lives["failures"], lives["stays"].as_array().unwrap().len()), (&6.into(), 7));
    let evidence: f64 =
        lives["clocks"].as_array().unwrap().iter().map(|clock| clock["evidence"].as_f64().unwrap()).sum();
    assert!((evidence - 1.0).abs() < 1e-9, "{lives}");
    assert!(["replace", "unsure"].contains(&lives["verdict"].as_str().unwrap()), "{lives}");
    let text = shop.told("lives nozzle --svg nozzle.svg");
    for part in ["6 failed", "By which clock they fail", "a tenth fails by", "Still there", "still good", "nozzle.svg"]
    {
        assert!(text.contains(part), "{part} is missing:\n{text}");
    }
    let why = shop.told("due bowline --all --why");
    assert!(why.contains("waiting a week: chance of a failure") && why.contains("Assumed, since the shop has not set"));
    let flat = why.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("chance to fail within four weeks at its kind's mean pace, by 6 failures"), "{why}");
    assert!(
        flat.contains("at assumed prices") && flat.contains("not yet done twice here: its limit alone tells"),
        "{why}"
    );
    assert!(!flat.contains("in one time from"), "a time that is not over is no time: {why}");
    // The shop's own rates take the place of what is assumed, and an age on record that of a new part.
    shop.json("rates --labour 60 --standing 0 --nuisance 1 --failed-print 100 --damage 100 --currency EUR");
    let by_rates = shop.json("lives nozzle")[0].clone();
    // By hand: twenty minutes of labour at 60 an hour, and what neglect of a nozzle leads to beside it.
    assert_eq!((&by_rates["planned_cost"], &by_rates["failure_cost"]), (&20.0.into(), &120.0.into()));
    assert!(shop.told("lives nozzle").replace('\n', " ").contains("by the shop's rates, without the part itself"));
    assert!(!shop.told("due bowline --all --why").contains("Assumed"));
    assert_eq!(by_rates["unknown_age"], 1);
    shop.json("age bowline nozzle \"50 h\" --of time");
    let lives = shop.json("lives nozzle")[0].clone();
    assert_eq!(lives["unknown_age"], 0);
    // What is printed as a table is read again, by the example of the help, in the unit of the screen.
    assert!(shop.told("lives --help").contains("tallow lives nozzle --csv > nozzles.csv"));
    shop.write("nozzles.csv", shop.told("lives nozzle --csv"));
    let fit = shop.json("life fit nozzles.csv");
    assert_eq!((&fit["failures"], &fit["lives"]), (&6.0.into(), &7.0.into()));
    near(&fit["shape"], lives["clocks"][0]["shape"].as_f64().unwrap(), 1e-9);
    let table = std::fs::read_to_string(shop.path("nozzles.csv")).unwrap();
    assert!(table.starts_with("time,event,entry,upper,build,clock,unit\n") && table.contains(",time,h\n"), "{table}");
    near(&fit["scale"], lives["clocks"][0]["scale"].as_f64().unwrap() / 3600.0, 1e-9);
    shop.refused("lives nozle", &["\"nozle\"", "tallow lives"]);
    shop.refused("lives nozzle --level 1.5", &["a level of 1.5"]);
}

#[test]
fn what_is_of_one_kind_needs_its_name_and_can_be_kept_to_one_build() {
    let shop = shop_with_failures();
    for option in ["--csv", "--svg x.svg", "--build x"] {
        let answer = shop.ask(&format!("lives {option}"));
        assert!(answer.code == Some(1) && answer.err.contains("for one kind of part"), "{}", answer.err);
        assert!(answer.err.contains("tallow lives KIND"), "{}", answer.err);
    }
    shop.refused("lives nozzle --planned-cost -3", &["a planned cost of -3", "above 0"]);
    shop.refused("lives nozzle --build reef", &["no build with such parts is called \"reef\""]);
    let build = shop.json("lives")[0]["build"].as_str().unwrap().to_owned();
    assert_eq!(shop.json(&format!("lives nozzle --build \"{build}\"")).as_array().unwrap().len(), 1);
    let nothing = shop.told("lives \"x rods\" --svg none.svg");
    assert!(nothing.contains("nothing to draw yet") && !shop.path("none.svg").exists(), "{nothing}");
}

#[test]
fn advice_names_its_clock_its_level_and_what_can_be_done_by_it() {
    let mut shop = shop_with_failures();
    shop.now = "2026-12-10T12:00[Europe/Oslo]".to_owned();
    let words = |line: &str| shop.told(line).split_whitespace().collect::<Vec<_>>().join(" ");
    // No task of the build puts in a nozzle, so that no limit can be set.
    let advised = words("lives nozzle --planned-cost 5 --failure-cost 100");
    for part in
        ["6 failures: replace at", "by time (", "leave open at 90 %)", "as today, run until they fail", "the diary"]
    {
        assert!(advised.contains(part), "{part} is missing:\n{advised}");
    }
    assert!(!advised.contains("TASK") && !advised.contains("AMOUNT"), "{advised}");
    assert!(
        advised.contains("mean pace of the kind") && advised.contains("what is believed of such parts"),
        "{advised}"
    );
    // Alike clocks stand on one row: the machine ran the same hours and grams all along.
    assert!(advised.contains("here the same:"), "{advised}");
    assert_eq!(shop.json("lives nozzle")[0]["level"], 0.9);
    // Where one also went worn, running to failure is not called today's habit.
    shop.told("replace nozzle --because worn --on bowline --when \"5 Dec 8:00\"");
    let worn = words("lives nozzle --planned-cost 5 --failure-cost 100");
    assert!(worn.contains("a year and position run until they fail") && !worn.contains("as today"), "{worn}");
    assert_eq!(shop.json("lives nozzle")[0]["cost_per_year_today"], Value::Null);
}

#[test]
fn the_command_that_advice_prints_sets_the_limit() {
    let mut shop = Shop::with_bowline();
    let task = "[[task]]\nname = \"change the nozzle\"\nat = \"nozzle\"\nstate = \"isolated\"\nminutes = 10\n\
                neglect = \"failed print\"\nrenews = true\nsteps = [\"Change it.\"]\n[[task.limit]]\nevery = \"900 h\"\n\
                of = \"time\"\nsource = \"common practice, no source\"\n";
    let build = shop.told("build print moving-bed").replace("name = \"", "name = \"own, ");
    let mut lines: Vec<&str> = build.lines().collect();
    let name = lines.iter().position(|line| line.starts_with("name")).unwrap();
    lines[name] = "name = \"with a nozzle task\"";
    shop.write("own.toml", format!("{}\n{task}", lines.join("\n").replace("\"own, ", "\"")));
    shop.told("machine add reef --build own.toml --when \"1 Nov 2026\"");
    for (index, hours) in [42, 45, 41, 48, 44, 43].into_iter().enumerate() {
        let day = 2 + 4 * index;
        shop.told(&format!("run --on reef --hours {hours} --material PLA --label r{index} --when \"{day} Nov 0:00\""));
        shop.told(&format!("failure nozzle thin --on reef --when \"{} Nov 20:00\"", day + 2));
        shop.told(&format!("replace nozzle --because failed --on reef --when \"{} Nov 20:00\"", day + 2));
    }
    shop.now = "2026-12-10T12:00[Europe/Oslo]".to_owned();
    let line = "lives nozzle --build \"with a nozzle task\" --planned-cost 5 --failure-cost 100";
    let told = shop.told(line);
    let command = told.lines().find_map(|line| line.strip_prefix("  tallow ")).unwrap_or_else(|| panic!("{told}"));
    assert!(
        command.starts_with("limit \"change the nozzle\" --every \"") && command.contains("--of \"time\""),
        "{command}"
    );
    let entry = shop.json(command)[0]["entry"].clone();
    let wanted = shop.json(line)[0]["limits"].clone();
    assert_eq!((&wanted[0]["task"], &wanted[0]["carried"]), (&"change the nozzle".into(), &false.into()));
    assert!(shop.told(command).contains("tallow correct "), "{entry}");
}

#[test]
fn a_shop_without_failures_says_that_there_is_nothing_to_tell() {
    let shop = Shop::with_bowline();
    assert!(shop.told("lives").contains("No part was replaced or failed yet"));
    assert!(shop.told("lives nozzle").contains("Nothing failed"));
    let empty = Shop::new();
    empty.refused("lives", &["no machine yet", "tallow machine add"]);
}

#[test]
fn a_limit_of_the_shops_own_counts_until_it_is_taken_back() {
    let shop = Shop::with_bowline();
    let allowed = |shop: &Shop| limit_on(&shop.due("wipe the x rods"), "travel x")["allowed"].clone();
    let built = allowed(&shop);
    let line = "limit \"wipe the x rods\" --every \"340 km\" --on bowline --reason \"dry and clean here\"";
    let entry = shop.json(line)[0]["entry"].clone();
    assert_eq!(allowed(&shop), 340_000.0);
    assert!(shop.told("history bowline").contains("dry and clean here"));
    assert!(shop.told("due bowline --all --why").contains("dry and clean here"));
    shop.json(&format!("correct {entry} --withdraw"));
    assert_eq!(allowed(&shop), built);
    let said = shop.told(line);
    let entry = said.split("entry ").nth(1).unwrap().split(':').next().unwrap();
    assert!(said.contains(&format!("tallow correct {entry} --withdraw")), "{said}");
    shop.told(&format!("correct {entry} --withdraw"));
    shop.refused("limit \"wipe the x rods\" --every \"3 kg\" --reason x", &["\"kg\" is not a unit", "km"]);
    shop.refused("limit \"wipe the x rods\" --every \"0 km\" --reason x", &["always due"]);
    shop.refused("limit \"wipe the x rod\" --every \"3 km\" --reason x", &["did you mean wipe the x rods?"]);
    shop.refused("limit \"wipe the x rods\" --every \"3 km\" --reason \" \"", &["no reason"]);
    // Where neglect may injure, a limit may only become shorter.
    shop.told("machine add reef --build moving-bed");
    let smoke = |every: &str| format!("limit \"test the smoke alarm\" --every \"{every}\" --on reef --reason x");
    shop.refused(&smoke("2 months"), &["may injure", "shorter, not longer", "maker's manual"]);
    shop.told(&smoke("2 weeks"));
    assert!(shop.told("lives \"smoke alarm\"").contains("may injure"));
}

#[test]
fn narrow_terminals_hold_what_a_shop_tells_of_lives() {
    let shop = shop_with_failures();
    for line in ["lives", "lives nozzle", "due bowline --all --why"] {
        let answer = shop.command(line).env("COLUMNS", "60").output().unwrap();
        let text = String::from_utf8(answer.stdout).unwrap();
        let wide = text.lines().find(|line| 60 < line.chars().count());
        assert_eq!((wide, text.is_empty()), (None, false), "tallow {line}");
    }
}
