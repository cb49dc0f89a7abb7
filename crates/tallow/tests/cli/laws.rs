//! What `tallow life` makes of laws: bounds for few failures, beliefs, ways to keep a part, looks, bearings, drifting
//! readings. Expected values were worked out with scipy 1.17 and mpmath 1.3 from the formulas named, not by this program.

use std::fs;

use serde_json::Value;

use crate::lives::{HANDBOOK, near};
use crate::shop::Shop;

#[track_caller]
fn near_each(found: &Value, expected: &[f64], share: f64) {
    let found = found.as_array().unwrap_or_else(|| panic!("{found} is no list"));
    assert_eq!(found.len(), expected.len(), "{found:?}");
    found.iter().zip(expected).for_each(|(found, expected)| near(found, *expected, share));
}

fn with_handbook() -> Shop {
    let shop = Shop::folder();
    shop.write("test.csv", HANDBOOK);
    shop.write("none.csv", "time,event,count\n500,0,10\n");
    shop
}

#[test]
fn few_failures_have_conditional_bounds_beside_the_profiles() {
    let shop = with_handbook();
    let fit = shop.json("life fit test.csv --at 200 --quantile 0.01");
    // Lawless (1978): the density of (ln β, ln η) is the likelihood. The integral over η is a gamma function; the one over
    // β and the quantiles by scipy's quad and brentq.
    let conditional = &fit["bounds"]["conditional"];
    near_each(&conditional["shape"], &[0.7578099175, 2.629615142], 1e-6);
    near_each(&conditional["scale"], &[446.7740209, 1377.033685], 1e-6);
    near_each(&conditional["b10"], &[44.58746712, 266.0030269], 1e-6);
    near_each(&fit["at"][0]["conditional"], &[0.6819095971, 0.9469161413], 1e-6);
    // The profile by scipy's minimize_scalar, its ends by brentq.
    near(&fit["at"][0]["survival"], 0.86224795, 1e-7);
    near_each(&fit["at"][0]["profile"], &[0.699884001, 0.9533755187], 1e-6);
    near(&fit["quantiles"][0]["age"], 41.86641181, 1e-6);
    let text = shop.told("life fit test.csv --at 200");
    assert!(text.contains("too narrow") && text.contains("conditional") && text.contains("good at 200"), "{text}");
    // Twenty failures are enough for the profile.
    shop.write("many.csv", HANDBOOK.replace(",1,\n", ",1,2\n"));
    assert_eq!(shop.json("life fit many.csv")["bounds"]["conditional"], Value::Null);
    assert!(!shop.told("life fit many.csv").contains("conditional"));
}

#[test]
fn the_three_laws_stand_beside_each_other_unless_one_is_named() {
    let shop = with_handbook();
    let laws = shop.json("life fit test.csv")["laws"].clone();
    // AIC by scipy's minimize on the three likelihoods, weights by exp(−Δ/2).
    for (law, (model, aic, evidence)) in laws.as_array().unwrap().iter().zip([
        ("weibull", 154.26923633, 0.3851261),
        ("lognormal", 154.39254156, 0.3620992),
        ("exponential", 155.11138084, 0.2527747),
    ]) {
        assert_eq!(law["model"], model);
        near(&law["aic"], aic, 1e-8);
        near(&law["evidence"], evidence, 1e-6);
    }
    assert!(shop.told("life fit test.csv").contains("evidence"));
    assert!(!shop.told("life fit test.csv --model weibull").contains("evidence"));
}

#[test]
fn an_assumed_shape_gives_a_scale_and_without_failures_a_bound_from_below() {
    let shop = with_handbook();
    let fit = shop.json("life fit test.csv --shape 2");
    // By hand: η² = Σt²/r, with a relative error of 1/(2·√r).
    near(&fit["scale"], 580.7730193, 1e-9);
    near(&fit["standard_error"]["scale"], 91.82827729, 1e-7);
    assert_eq!((&fit["standard_error"]["shape"], &fit["aic"]), (&Value::Null, &Value::Null));
    // By hand: η² is at least 10·500²/−ln 0.05 with 95 %.
    let none = shop.json("life fit none.csv --shape 2 --at 200 --quantile 0.01");
    near(&none["bounds"]["one_sided"]["scale"], 913.5209367, 1e-9);
    near(&none["bounds"]["one_sided"]["b10"], 296.5223607, 1e-9);
    near(&none["at"][0]["one_sided"], 0.9531988729, 1e-9);
    near(&none["quantiles"][0]["one_sided"], 91.58171935, 1e-9);
    assert!(shop.told("life fit none.csv --shape 2").contains("no failure among 10 lives"));
    shop.refused("life fit none.csv", &["tallow life mtbf", "--shape 2", "tallow life believe"]);
    for line in ["life fit none.csv --shape 0", "life fit test.csv --shape -1"] {
        shop.refused(line, &["shape is", "must be positive"]);
    }
    shop.refused("life fit test.csv --at 0", &["the age is 0"]);
    shop.refused("life fit test.csv --quantile 5", &["a chance of 5"]);
}

#[test]
fn beliefs_and_lives_give_what_bayes_says() {
    let shop = with_handbook();
    let believed = shop.json("life believe test.csv --at 200");
    // As the conditional bounds, times the normal density of ln β that common practice believes.
    near(&believed["shape"]["mean"], 1.622632607, 1e-7);
    near(&believed["shape"]["median"], 1.583604116, 1e-6);
    near_each(&believed["shape"]["band"], &[0.9135295369, 2.553333261], 1e-6);
    near_each(&believed["scale"]["band"], &[445.9838997, 1185.65894], 1e-6);
    near_each(&believed["b10"]["band"], &[62.84324301, 264.6813729], 1e-6);
    near(&believed["at"][0]["survival"], 0.8480030382, 1e-7);
    near_each(&believed["at"][0]["band"], &[0.70615252, 0.9450363929], 1e-6);
    // By hand: 6/(π²·0.5089²).
    near(&believed["pull"]["shape_counts_as"], 2.347, 1e-3);
    let text = shop.told("life believe test.csv --svg band.svg");
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("counts as 2.3 failures") && text.contains("nothing was believed"), "{text}");
    assert!(!fs::read_to_string(shop.path("band.svg")).unwrap().contains("NaN"));
    shop.refused("life believe none.csv", &["nothing failed", "--life-from"]);
    assert!(shop.told("life believe none.csv --life-from 300 --life-to 900").contains("no failure among 10 lives"));
    shop.refused("life believe test.csv --shape-from 4 --shape-to 2", &["--shape-from is the smaller"]);
    shop.refused("life believe test.csv --shape-from 0", &["the low end is 0"]);
    shop.refused("life believe test.csv --shape-chance 1", &["a level of 1"]);
    shop.refused("life believe test.csv --life-from 1 --life-to 2 --life-share 1", &["a chance of 1"]);
}

#[test]
fn blocks_and_minimal_repairs_stand_beside_the_best_age() {
    let shop = with_handbook();
    let line = "life replace --shape 2.5 --scale 1000 --planned-cost 1 --failure-cost 5 --block --minimal-repair 2";
    let ways = shop.json(line);
    // Blocks: the renewal equation by the trapezoidal rule in numpy, extrapolated, its least cost by scipy. Repairs: Barlow &
    // Hunter (1960), policy II, t = η·(cp/(cm·(β − 1)))^(1/β), by mpmath.
    near(&ways["block"]["age"], 478.4131, 1e-4);
    near(&ways["block"]["cost_rate"], 0.00364352365, 1e-7);
    near(&ways["minimal_repair"]["age"], 644.394015, 1e-9);
    near(&ways["minimal_repair"]["cost_rate"], 0.00258640929, 1e-8);
    assert_eq!(ways["band"], Value::Null);
    let text = shop.told(&format!("{line} --svg ways.svg"));
    assert!(text.contains("in blocks") && text.contains("minimally"), "{text}");
    assert!(fs::read_to_string(shop.path("ways.svg")).unwrap().contains("best block"));
}

#[test]
fn a_table_leaves_the_best_age_open_within_a_band() {
    let shop = with_handbook();
    let ways = shop.json("life replace test.csv --planned-cost 1 --failure-cost 5");
    // The shape's profile bounds lie to both sides of 1 (see above), so that never is not excluded.
    assert_eq!(ways["band"]["age"][1], Value::Null);
    assert!(ways["band"]["age"][0].as_f64() < ways["age"].as_f64(), "{ways}");
    near(&ways["law"]["shape"], 1.720797261, 1e-7);
    assert!(shop.told("life replace test.csv --planned-cost 1 --failure-cost 5").contains("no bound"));
    shop.refused("life replace --shape 2 --planned-cost 1 --failure-cost 5", &["neither a table nor a law"]);
    shop.refused("life replace test.csv --planned-cost 0 --failure-cost 5", &["planned replacement is 0"]);
}

#[test]
fn looks_for_signs_cost_least_where_the_slope_is_nothing() {
    let shop = Shop::folder();
    let line = "life look --delay 40 --delay-shape 2 --signs 0.002 --look-cost 2 --planned-cost 20 --failure-cost 200";
    // The cost rate by mpmath's quadrature, the root of its slope.
    let look = shop.json(line);
    near(&look["best"], 27.66078164, 1e-6);
    near(&look["cost_rate"], 0.1527185408, 1e-9);
    near(&shop.json("life look --delay 40 --delay-shape 2 --sees 0.8")["longest"], 16.40118513, 1e-8);
    // By hand: 40/44.44 of the faults show at a look.
    near(&shop.json("life look --delay 40")["longest"], 40.0 / 0.9, 1e-9);
    assert!(shop.told(&format!("{line} --svg look.svg")).contains("62 % less"));
    assert!(shop.told("life look --delay 40").contains("90 %"));
    assert!(shop.told(&line.replace("--look-cost 2", "--look-cost 20")).contains("never pays"));
    shop.refused("life look --delay -1", &["the delay is -1"]);
    shop.refused("life look --delay 40 --sees 0", &["chance to see a fault"]);
    shop.refused("life look --delay 40 --wanted 1", &["wanted chance"]);
}

#[test]
fn hidden_failures_are_looked_for_at_the_least_cost() {
    let shop = Shop::folder();
    let line = "life hidden --shape 1.5 --scale 2000 --look-cost 1 --undetected-cost 0.5 --repair-cost 10";
    // Barlow & Proschan (1965), chapter 4, section 3: the sum in numpy, its least by scipy.
    let hidden = shop.json(line);
    near(&hidden["interval"], 87.47683818, 1e-6);
    near(&hidden["cost_rate"], 0.02867071116, 1e-9);
    assert!(shop.told(line).contains("may injure"));
    assert!(shop.told(&line.replace("--look-cost 1", "--look-cost 2000")).contains("never pays"));
}

#[test]
fn what_is_left_of_a_life_is_that_of_the_law() {
    let shop = with_handbook();
    let left = shop.json("life remain --shape 2.5 --scale 1000 --age 400 --within 100");
    // ∫ S over S(400) by mpmath's quadrature; the quantiles in closed form.
    near(&left["mean"], 551.58015, 1e-7);
    for (quantile, span) in left["quantiles"].as_array().unwrap().iter().zip([132.1241138, 512.0162728, 1020.226922]) {
        near(&quantile["span"], span, 1e-8);
    }
    near(&left["within"][0]["fails"], 0.07279798214, 1e-8);
    assert!(shop.told("life remain test.csv --age 400 --svg left.svg").contains("left.svg"));
    shop.refused("life remain --shape 2 --scale 9 --age -1", &["the age is -1"]);
    shop.refused("life remain --shape 2 --scale 0 --age 1", &["scale is 0"]);
}

#[test]
fn rating_lives_are_those_of_the_standards() {
    let shop = Shop::folder();
    // ISO 281: (5000/500)³ million revolutions, at 1500 a minute; a1 of its table (2007) for 95 % is 0.64.
    let ball = shop.json("life bearing --rating 5000 --load 500 --speed 1500 --reliability 0.95");
    near(&ball["l10"], 1000.0, 1e-12);
    near(&ball["l10_hours"], 1e9 / 60.0 / 1500.0, 1e-12);
    near(&ball["a1"], 0.64, 5e-3);
    let roller = shop.json("life bearing --rating 5000 --load 500 --rollers");
    near(&roller["l10"], 10f64.powf(10.0 / 3.0), 1e-12);
    // ISO 14728-1: (1200/100)³ times 50 km; a double stroke of 0.25 m is 0.5 m.
    let linear = shop.json("life bearing --rating 1200 --load 100 --linear-per 50 --stroke 0.25 --strokes 40");
    near(&linear["l10"], 1728.0 * 50.0, 1e-12);
    near(&linear["l10_hours"], 1728.0 * 50.0 * 1000.0 / 0.5 / 40.0 / 60.0, 1e-12);
    near(&linear["rating_per_100_km"], 1200.0 / 2f64.cbrt(), 1e-12);
    assert!(shop.told("life bearing --rating 100 --load 80 --svg life.svg").contains("above half the rating"));
    shop.refused("life bearing --rating 100 --load 0", &["the load is 0"]);
    shop.refused("life bearing --rating 100 --load 10 --reliability 0.5", &["the reliability is 0.5"]);
    assert_eq!(shop.ask("life bearing --rating 1 --load 1 --linear-per 50 --speed 9").code, Some(2));
}

#[test]
fn readings_that_only_grow_reach_their_limit_by_a_gamma_process() {
    let shop = Shop::folder();
    let table = "unit,age,value\n1,0,0\n1,10,1.2\n1,20,1.9\n1,30,3.5\n2,0,0\n2,10,0.8\n2,20,2.1\n2,30,2.9\n";
    shop.write("wear.csv", table);
    // The likeliest shape by scipy's minimize_scalar on its gamma density; P(T ≤ t) = Q(a·t, D/b) (van Noortwijk 2009).
    let drift = shop.json("life drift wear.csv --limit 5 --gamma");
    for (unit, expected) in
        [[40.05550195, 44.36291999, 49.16833319], [44.84071953, 49.9882494, 55.63302715]].iter().enumerate()
    {
        for (key, expected) in ["age_10", "age_50", "age_90"].into_iter().zip(expected) {
            near(&drift[unit][key], *expected, 1e-6);
        }
    }
    assert!(shop.told("life drift wear.csv --limit 5 --gamma").contains("By a gamma process"));
    shop.write("one.csv", "age,value\n30,3.5\n");
    let one = shop.json("life drift one.csv --limit 5 --growth 0.1 --growth-sd 0.2");
    // a = (0.1/0.2)², b = 0.2²/0.1, as above.
    for (key, expected) in [("age_10", 37.62595226), ("age_50", 46.31220419), ("age_90", 57.22893972)] {
        near(&one[0][key], expected, 1e-8);
    }
    shop.refused("life drift one.csv --limit 5", &["too few readings", "--growth"]);
    shop.refused("life drift one.csv --limit 5 --gamma", &["0 steps", "--growth"]);
    shop.refused("life drift one.csv --limit 5 --growth 0 --growth-sd 1", &["the growth is 0"]);
    shop.refused("life drift wear.csv --limit 5 --gamma --falling", &["unit 1 goes from 0 to 1.2", "--gamma"]);
    // What is past its limit has reached it.
    assert_eq!(shop.json("life drift one.csv --limit 3 --growth 0.1 --growth-sd 0.2")[0]["age_90"], 30.0);
}

#[test]
fn one_reading_moves_an_assumed_line_as_bayes_says() {
    let shop = Shop::folder();
    shop.write("one.csv", "age,value\n100,8\n");
    // By hand: slope normal(0.05, 0.01²), nothing at the start but for 1e-9, noise 1; a reading of 8 where 5 was expected
    // moves the slope by 0.01²·100/2·3 to 0.065, so that 26 is reached at 400 with even chances.
    let drift = shop.json("life drift one.csv --limit 26 --start 0 0.000000001 --slope 0.05 0.01 --noise 1");
    near(&drift[0]["age_50"], 400.0, 1e-6);
    assert_eq!(drift[0]["by"], "assumed line");
    assert_eq!(shop.ask("life drift one.csv --limit 26 --start 0 1").code, Some(2));
}

#[test]
fn tables_as_spreadsheets_write_them_are_read() {
    let shop = Shop::folder();
    shop.write("plain.csv", "time,event,count\n54.5,1,\n187,1,\n500,0,10\n");
    let expected = shop.json("life fit plain.csv")["shape"].clone();
    for table in [
        "time;event;count\r\n54,5;1;\r\n187;1;\r\n500;0;10\r\n",
        "\u{feff}time;event;count\n54,5;1;\n187;1;\n500;0;10\n",
        "Time\tEvent\tCount\n54.5\t1\t\n187\t1\t\n500\t0\t10\n",
        " time , event , count \n 54.5 , 1 ,\n187,1,\n500,0,10\n",
    ] {
        shop.write("other.csv", table);
        assert_eq!(shop.json("life fit other.csv")["shape"], expected, "{table}");
    }
    for (table, parts) in [
        ("time,event\n54,5,1\n", &["line 2", "3 cells", "2 columns", "semicolons"][..]),
        ("", &["is empty", "time, event"]),
        ("\n\n", &["is empty"]),
        ("54,1\n187,1\n", &["has no header"]),
        ("time;event\n1.234,5;1\n", &["line 2", "not a number"]),
    ] {
        shop.write("bad.csv", table);
        shop.refused("life fit bad.csv", parts);
    }
    shop.write("bad.csv", [0xff, 0xfe, 0x00, 0x41]);
    shop.refused("life fit bad.csv", &["not text"]);
}

#[test]
fn every_example_in_the_help_works() {
    let shop = Shop::folder();
    let lives = "time,event\n150,1\n210,1\n320,1\n400,1\n500,0\n";
    shop.write("tubes.csv", lives);
    shop.write("fans.csv", lives);
    shop.write("machines.csv", "system,start,end,time\n1,0,100,20\n1,0,100,90\n2,0,80,50\n2,0,80,70\n");
    let bores = "unit,age,value\n1,0,0.4\n1,1,0.41\n1,2,0.418\n2,0,0.4\n2,1,0.411\n2,2,0.42\n";
    shop.write("bores.csv", bores);
    shop.write("bore.csv", "age,value\n10,0.412\n");
    shop.write("tones.csv", "age,value\n0,110\n1,108\n2,106.5\n3,104\n");
    let commands = shop.told("life --help");
    let commands: Vec<&str> = commands.lines().filter_map(|line| line.strip_prefix("  ")?.split(' ').next()).collect();
    let mut tried = 0;
    for command in commands.iter().filter(|word| word.starts_with(|c: char| c.is_ascii_lowercase()) && **word != "help")
    {
        let help = shop.told(&format!("life {command} --help"));
        let examples: Vec<&str> = help.lines().filter_map(|line| line.strip_prefix("  tallow ")).collect();
        assert!(!examples.is_empty(), "tallow life {command} --help has no example");
        for example in examples {
            shop.told(example);
            tried += 1;
        }
    }
    assert!(20 <= tried, "{tried} examples");
}

#[test]
fn narrow_terminals_hold_every_answer() {
    let shop = with_handbook();
    for line in [
        "life fit test.csv --at 200",
        "life believe test.csv --at 200",
        "life curve test.csv",
        "life remain test.csv --age 100",
        "life replace test.csv --planned-cost 1 --failure-cost 5 --block --minimal-repair 2",
        "life look --delay 40 --signs 0.002 --look-cost 2 --planned-cost 20 --failure-cost 200",
        "life bearing --rating 1200 --load 100 --linear-per 50",
        "life mtbf --time 100 --failures 2",
    ] {
        let answer = shop.command(line).env("COLUMNS", "60").output().unwrap();
        let text = String::from_utf8(answer.stdout).unwrap();
        let wide = text.lines().find(|line| 60 < line.chars().count());
        assert_eq!(wide, None, "tallow {line}");
    }
}

#[test]
fn what_a_curve_says_begins_where_watching_began() {
    let shop = Shop::folder();
    shop.write("late.csv", "time,event,entry\n150,1,100\n210,1,120\n320,1,100\n400,0,50\n500,0,30\n");
    let text = shop.told("life curve late.csv --svg late.svg");
    assert!(text.replace('\n', " ").contains("Of those good at age 30, where watching began, half have failed by 320"));
    let svg = fs::read_to_string(shop.path("late.svg")).unwrap();
    // The axis begins at 30, so that no mark stands at 0 along it; the steps run to the right edge, 720 less the margin.
    assert!(svg.contains("696.0,"), "{svg}");
    assert!(!svg.contains("text-anchor=\"middle\">0</text>"), "{svg}");
}

#[test]
fn no_answer_is_more_certain_than_its_data() {
    let shop = Shop::folder();
    let rows: String = (1..=60).map(|age| format!("{},1\n", 1000 + age)).collect();
    shop.write("sure.csv", format!("time,event\n{rows}"));
    let text = shop.told("life fit sure.csv --at 500");
    assert!(text.contains("p < 0.001") && !text.contains("p = 0.000") && !text.contains(" 100 %"), "{text}");
    shop.write("huge.csv", "time,event\n100000000000,1\n300000000000,1\n0.000002,1\n");
    let text = shop.told("life fit huge.csv");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    shop.write("slip.csv", "time,event\n5,1\n1e13,0\n");
    shop.refused("life fit slip.csv", &["slip.csv, line 3", "1e13", "larger unit"]);
    assert_eq!(shop.ask("life mtbf --time 10000000000000 --failures 1").code, Some(2));
    let half = shop.ask("life mtbf --time 10 --failures 2.5");
    assert!(half.code == Some(2) && half.err.contains("a whole number from 0 on"), "{}", half.err);
    assert!(shop.told("life mtbf --time 10 --failures 2").replace('\n', " ").contains("two-sided: 5 %"));
    assert!(shop.told("life mtbf --time 10 --failures 0").replace('\n', " ").contains("(one-sided)"));
    for line in ["life remain --age 3", "life replace --planned-cost 1 --failure-cost 2 --shape 2"] {
        shop.refused(line, &["give a table, or --shape and --scale"]);
    }
}

#[test]
fn odd_readings_are_said_to_be_odd() {
    let shop = Shop::folder();
    shop.write("line.csv", "age,value\n0,1\n1,2\n2,3\n");
    let said = |line: &str| shop.told(line).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said("life drift line.csv --limit 5").contains("without scatter to tell a range from"));
    assert!(said("life drift line.csv --limit 0").contains("past the limit already: say --falling"));
    assert!(said("life drift line.csv --limit 2.5").contains("Past the limit by its last reading: unit 1"));
    assert!(said("life drift line.csv --limit 0.5 --falling").contains("Moves away from the limit: unit 1"));
}

#[test]
fn rows_that_say_the_same_or_the_opposite_are_refused_with_both_lines() {
    let shop = Shop::folder();
    for (rows, parts) in [
        ("1,0,100,20\n1,0,100,20\n", ["line 3", "as line 2"]),
        ("1,0,100,\n1,0,100,\n", ["line 3", "as line 2"]),
        ("1,0,100,20\n1,0,100,\n", ["line 3", "line 2 and this one"]),
        ("1,0,100,\n2,0,90,5\n1,0,100,20\n", ["line 4", "line 2 and this one"]),
    ] {
        shop.write("bad.csv", format!("system,start,end,time\n{rows}"));
        shop.refused("life repairs bad.csv", &parts);
    }
}

#[test]
fn the_cheapest_of_the_ways_asked_for_comes_first() {
    let shop = Shop::folder();
    let line = "life replace --shape 2.5 --scale 1000 --planned-cost 1 --failure-cost 5 --minimal-repair";
    let second = |text: &str| text.lines().nth(1).unwrap().to_owned();
    // Barlow & Hunter's policies: (1/(0.5·1.5))^0.4·1000 = 1122 by hand, cheaper than the 493 of replacing at an age.
    assert!(second(&shop.told(&format!("{line} 0.5"))).contains("repair minimally, and replace at age 1122"));
    assert!(second(&shop.told(&format!("{line} 5"))).starts_with("Replace at age 493"));
}

#[test]
fn tables_of_two_clocks_are_not_fitted_together() {
    let shop = Shop::folder();
    shop.write("two.csv", "time,event,build,clock,unit\n5,1,one,time,h\n7,1,two,time,h\n8,0,two,days,days\n");
    shop.refused("life fit two.csv", &["two.csv, line 4", "\"days\"", "\"time\"", "--build"]);
    shop.write("one.csv", "time,event,build,clock,unit\n5,1,one,time,h\n7,1,two,time,h\n");
    assert_eq!(shop.json("life fit one.csv")["failures"], 2.0);
}

#[test]
fn help_is_wrapped_once_at_eighty_columns() {
    let shop = Shop::folder();
    for command in ["fit", "believe", "curve", "remain", "repairs", "drift", "replace", "look", "hidden", "bearing"] {
        let help = shop.told(&format!("life {command} --help"));
        let after = help.split("\nThe table").nth(1).unwrap_or_default();
        let wide = after.lines().find(|line| 80 < line.len() && !line.starts_with("  tallow"));
        assert_eq!(wide, None, "life {command}");
    }
}
