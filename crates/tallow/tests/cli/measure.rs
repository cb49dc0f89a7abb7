//! What `tallow measure` tells of recordings, photos, logs and figures that the tests make, each from a truth that is known.

use std::f64::consts::TAU;
use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;

use serde_json::Value;

use crate::shop::{Shop, near, testdata};

/// Seeded noise: a linear congruence's high bits.
struct Noise(u64);

impl Noise {
    /// From 0 to 1.
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Of variance 1: twelve that are uniform add up to it.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

const RATE_HZ: f64 = 16_000.0;

/// Samples as a WAV file, 16 bits, one channel.
fn wav(samples: &[f64]) -> Vec<u8> {
    let data: Vec<u8> = samples.iter().flat_map(|s| ((s * 32767.0).round() as i16).to_le_bytes()).collect();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    bytes.extend((RATE_HZ as u32).to_le_bytes());
    bytes.extend((2 * RATE_HZ as u32).to_le_bytes());
    bytes.extend(b"\x02\0\x10\0data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

/// Half a second of quiet and a pluck of that tone in noise, with hum of 50 Hz of that amplitude.
fn pluck(hz: f64, hum: f64, seed: u64) -> Vec<f64> {
    let mut noise = Noise(seed);
    let phases: Vec<f64> = (0..6).map(|_| TAU * noise.uniform()).collect();
    let at = |i: usize| {
        let time = i as f64 / RATE_HZ;
        let since = time - 0.5;
        let tone = |k: usize| {
            let order = (k + 1) as f64;
            (TAU * order * hz * since + phases[k]).sin() * (-since * (3.0 + order)).exp() / order
        };
        let string = if since < 0.0 { 0.0 } else { (0..6).map(tone).sum::<f64>() };
        0.2 * string + hum * (TAU * 50.0 * time).sin()
    };
    (0..(1.8 * RATE_HZ) as usize).map(|i| at(i) + 0.002 * noise.normal()).collect()
}

/// A shop without records in which `bowline` is of a shipped build, and a folder to measure in.
fn with(build: &str) -> Shop {
    Shop::with_machine(build)
}

#[track_caller]
fn figure<'a>(answer: &'a Value, what: &str) -> &'a Value {
    let all = answer["others"].as_array().unwrap().iter().chain([answer]);
    all.clone().find(|figure| figure["what"] == what).unwrap_or_else(|| panic!("no {what} in {answer:#}"))
}

#[track_caller]
fn measured<'a>(answer: &'a Value, what: &str) -> &'a Value {
    let all = answer["measured"].as_array().unwrap();
    all.iter().find(|found| found["what"] == what).unwrap_or_else(|| panic!("no {what} in {answer:#}"))
}

/// Asserts that a figure is what it should be within three of its own uncertainties, and that these are no excuse.
#[track_caller]
fn told(figure: &Value, truth: f64, most_uncertain: f64) {
    let uncertainty = figure["uncertainty"].as_f64().unwrap();
    assert!(uncertainty <= most_uncertain, "{figure:#}");
    near(&figure["value"], truth, 3.0 * uncertainty + 1e-9);
}

#[test]
fn a_plucked_belt_has_its_tone_and_with_span_and_mass_its_tension() {
    let shop = Shop::folder();
    shop.write("a.wav", wav(&pluck(81.3, 0.0, 1)));
    let alone = shop.json("measure belt a.wav");
    assert_eq!((&alone["what"], &alone["unit"], &alone["kept"]), (&"belt tone".into(), &"Hz".into(), &Value::Null));
    told(&alone, 81.3, 0.1);
    let missing = alone["next"].to_string();
    assert!(missing.contains("--span") && missing.contains("--mass") && missing.contains("--machine"), "{missing}");
    let both = shop.json("measure belt a.wav --span \"420 ± 1 mm\" --mass \"8.5 ± 0.1 g/m\"");
    // Mersenne: 4 L² f² μ, in SI; its uncertainty is mostly the mass' 1.2 % and twice the span's 0.24 %.
    let newtons = 4.0 * 0.42 * 0.42 * 81.3 * 81.3 * 0.0085;
    told(measured(&both, "belt tension"), newtons, 0.015 * newtons);
    assert_eq!((&both["what"], &both["unit"]), (&"belt tension".into(), &"N".into()));
    told(figure(&both, "belt tone"), 81.3, 0.1);
    let text = shop.told("measure belt a.wav --span \"420 mm\" --mass \"8.5 g/m\" --svg tone.svg");
    let caution = text.find("WARNING").expect("a caution");
    assert!(caution < text.find("Do next").expect("what to do"), "cautions come first: {text}");
    let svg = fs::read_to_string(shop.path("tone.svg")).unwrap();
    for part in ["<title>What is heard after the pluck</title>", "frequency, Hz", "81.3 Hz"] {
        assert!(svg.contains(part), "{part}");
    }
}

#[test]
fn a_pluck_answers_a_check_of_a_fault_by_how_likely_it_makes_a_slack_belt() {
    let shop = with(&testdata("../crates/upkeep/builds/enclosed-corexy.toml"));
    let fault = shop.json("fault new bowline \"layer shift\"")["fault"].as_i64().unwrap();
    shop.write("slack.wav", wav(&pluck(30.0, 0.0, 6)));
    let line = format!("measure belt slack.wav --span \"420 mm\" --mass \"8.5 g/m\" --fault {fault}");
    let heard = shop.json(&line);
    assert!(heard["answers"][0].as_str().unwrap().contains("belts: measure the belt for slack"), "{heard:#}");
    let shown = shop.json(&format!("fault show {fault} --most 40"));
    let answer = &shown["answers"][0];
    assert_eq!((&answer["answer"], &answer["name"]), (&"measured".into(), &"belts: measure the belt for slack".into()));
    // 5.4 N lies under the usual 7 N by more than its doubt and the limit's tenth.
    assert!(0.9 < answer["chance"].as_f64().unwrap(), "{answer}");
    assert!(answer["note"].as_str().unwrap().contains("belt tension: 5.4"), "{answer}");
    assert_eq!(shown["causes"][0]["cause"], "belts: slack belt");
    shop.refused("measure belt slack.wav --fault 999", &["there is no fault 999"]);
    shop.refused(
        &format!("measure backlash --up 1,1.01,1 --down 1,1,1.01 --at nozzle --fault {fault}"),
        &["no check of bowline asks for that measurement there", "--fault"],
    );
}

#[test]
fn hum_is_told_apart_and_said() {
    let shop = Shop::folder();
    shop.write("a.wav", wav(&pluck(97.0, 0.05, 2)));
    let heard = shop.json("measure belt a.wav");
    told(&heard, 97.0, 0.1);
    assert!(heard["means"].to_string().contains("Hum of the mains at 50 Hz"), "{heard:#}");
}

#[test]
fn two_belts_differ_beyond_doubt_or_not() {
    let shop = Shop::folder();
    shop.write("a.wav", wav(&pluck(90.0, 0.0, 3)));
    shop.write("b.wav", wav(&pluck(81.3, 0.0, 4)));
    shop.write("c.wav", wav(&pluck(90.0, 0.0, 5)));
    let apart = shop.json("measure belt a.wav --against b.wav --span \"420 mm\" --mass \"8.5 g/m\"");
    let (f, g) = (90.0_f64.powi(2), 81.3_f64.powi(2));
    told(measured(&apart, "difference between belts"), 200.0 * (f - g) / (f + g), 0.5);
    assert!(apart["means"].to_string().contains("a.wav is tighter than that of b.wav"), "{apart:#}");
    told(figure(&apart, "belt tone of the other"), 81.3, 0.1);
    // Which of the two comes first makes no difference to its size.
    let turned = shop.json("measure belt b.wav --against a.wav --svg both.svg");
    near(measured(&turned, "difference between belts").get("value").unwrap(), 200.0 * (f - g) / (f + g), 0.6);
    assert!(fs::read_to_string(shop.path("both.svg")).unwrap().contains(">the other</text>"));
    let alike = shop.json("measure belt a.wav --against c.wav");
    assert!(alike["means"].to_string().contains("not beyond doubt"), "{alike:#}");
}

#[test]
fn a_build_tells_what_it_knows_and_the_rest_is_asked_for_by_its_option() {
    let shop = with("enclosed-corexy");
    shop.write("a.wav", wav(&pluck(81.3, 0.0, 6)));
    let lacking = shop.json("measure belt a.wav --machine bowline");
    assert_eq!((&lacking["what"], &lacking["at"]), (&"belt tone".into(), &"belts".into()));
    let next = lacking["next"].to_string();
    assert!(next.contains("--span") && next.contains("belt_span_mm") && !next.contains("--mass"), "{next}");
    let known = shop.json("measure belt a.wav --machine bowline --span \"420 mm\"");
    told(&known, 4.0 * 0.42 * 0.42 * 81.3 * 81.3 * 0.0085, 2.0);
    let text = shop.told("build print enclosed-corexy");
    let with_span = text.replacen("belt_mass_g_per_m = 8.5", "belt_mass_g_per_m = 8.5\nbelt_span_mm = 420", 1);
    shop.write("mine.toml", with_span.replacen("name = \"", "name = \"own ", 1));
    shop.told("machine add hitch --build mine.toml --when \"1 Nov 2026\"");
    let of_build = shop.json("measure belt a.wav --machine hitch");
    assert_eq!((&of_build["value"], &of_build["uncertainty"]), (&known["value"], &known["uncertainty"]));
}

#[test]
fn a_result_is_kept_as_a_reading_with_its_uncertainty_in_the_note() {
    let shop = with("enclosed-corexy");
    shop.write("a.wav", wav(&pluck(81.3, 0.0, 7)));
    let line =
        "measure belt a.wav --machine bowline --span \"420 mm\" --keep --when \"24 Nov 9:00\" --note \"after oiling\"";
    let kept = shop.json(line);
    let newest = shop.entries().pop().unwrap();
    assert_eq!((&newest["entry"], &newest["kind"]), (&kept["kept"]["entry"], &"reading".into()));
    let event = &newest["event"];
    assert_eq!(
        (&event["position"], &event["what"], &event["unit"]),
        (&"belts".into(), &"belt tension".into(), &"N".into())
    );
    // As many digits as its uncertainty deserves.
    near(&event["value"], kept["value"].as_f64().unwrap(), 0.05);
    let note = newest["note"].as_str().unwrap();
    assert!(note.starts_with("± 1.") && note.ends_with(" N; after oiling"), "{note}");
    let text = shop.told(line);
    assert!(text.contains("entry ") && text.contains("belt tension"), "{text}");
    shop.told("shop verify");
}

#[test]
fn a_kept_reading_outside_of_its_limits_says_so() {
    let shop = Shop::new();
    let text = shop.told("build print enclosed-corexy");
    let stated = "{ name = \"belt frequency a\", unit = \"Hz\", source = \"the maker's manual\" }";
    assert!(text.contains(stated));
    let limited = "{ name = \"belt tension\", unit = \"N\", most = 30, source = \"the test\" }";
    shop.write("mine.toml", text.replacen(stated, limited, 1).replacen("name = \"", "name = \"own ", 1));
    shop.told("machine add bowline --build mine.toml --when \"1 Nov 2026\"");
    shop.write("a.wav", wav(&pluck(81.3, 0.0, 8)));
    let kept = shop.json("measure belt a.wav --machine bowline --span \"420 mm\" --keep");
    let outside = &kept["kept"]["outside"][0];
    assert_eq!((&outside["is"], &outside["limit"]), (&"above".into(), &30.0.into()), "{kept:#}");
}

#[test]
fn where_it_was_measured_must_be_known_to_keep_it_and_fit_what_was_measured() {
    let shop = with("moving-bed");
    shop.write("a.wav", wav(&pluck(81.3, 0.0, 9)));
    let belt = "measure belt a.wav --machine bowline";
    shop.refused(&format!("{belt} --keep"), &["at which position", "--at POSITION", "machine show"]);
    shop.refused(&format!("{belt} --at nozzle"), &["not a toothed belt", "--at"]);
    shop.refused(&format!("{belt} --at \"z belt\""), &["z belt"]);
    shop.refused("measure belt a.wav --machine bowlin", &["bowlin", "did you mean"]);
    assert_eq!(shop.json(&format!("{belt} --at \"Y belt\""))["at"], "y belt");
    shop.refused("measure belt a.wav --keep", &["it is not said of which machine", "--machine"]);
    let before = shop.entries().len();
    shop.refused("measure belt absent.wav --machine bowline --at \"y belt\" --keep", &["no file absent.wav"]);
    assert_eq!(shop.entries().len(), before, "nothing is recorded of what can't be measured");
}

#[test]
fn a_recording_in_which_no_tone_can_be_heard_is_refused_with_its_name_and_what_to_do() {
    let shop = Shop::folder();
    let good = pluck(81.3, 0.0, 10);
    shop.write("good.wav", wav(&good));
    shop.write("silent.wav", wav(&vec![0.0; good.len()]));
    shop.write("clipped.wav", wav(&good.iter().map(|s| (8.0 * s).clamp(-1.0, 1.0)).collect::<Vec<_>>()));
    shop.write("short.wav", wav(&good[..1600]));
    shop.write("no.wav", "not a recording at all, but some forty bytes of text");
    shop.write("empty.wav", "");
    shop.write("cut.wav", &wav(&good)[..20_000]);
    let mut noise = Noise(11);
    shop.write("noise.wav", wav(&(0..30_000).map(|_| 0.1 * noise.normal()).collect::<Vec<_>>()));
    fs::create_dir(shop.path("folder")).unwrap();
    for (file, parts) in [
        ("silent.wav", &["is silent", "microphone"][..]),
        ("clipped.wav", &["clipped", "turn it down"]),
        ("short.wav", &["must last", "record longer"]),
        ("no.wav", &["not a WAV recording", "save the recording as WAV"]),
        ("empty.wav", &["not a WAV recording"]),
        ("cut.wav", &["cut off", "copy the file again"]),
        ("noise.wav", &["noise.wav"]),
        ("folder", &["is a folder"]),
        ("absent.wav", &["no file absent.wav"]),
    ] {
        shop.refused(&format!("measure belt {file}"), &[&[file], parts].concat());
    }
    shop.refused("measure belt good.wav --against silent.wav", &["silent.wav: ", "is silent"]);
    for (option, parts) in [
        ("--span 420", ["--span \"420\" has no unit", "mm"]),
        ("--span \"420 Hz\"", ["does not fit", "mm"]),
        ("--span long", ["is no amount", "mm"]),
        ("--mass 8.5", ["has no unit", "g/m"]),
        ("--span \"0 mm\" --mass \"8.5 g/m\"", ["the span (mm) is 0", "positive"]),
    ] {
        shop.refused(&format!("measure belt good.wav {option}"), &parts);
    }
}

#[test]
fn marks_a_belts_tooth_apart_point_to_the_belt() {
    let shop = with("rail-corexy");
    let along = "--machine bowline --along x";
    let teeth =
        shop.json(&format!("measure marks --positions 0.1,2.1,4.08,6.1,8.11,10.09,14.1 {along} --svg marks.svg"));
    told(&teeth, 2.0, 0.01);
    assert_eq!(
        (&teeth["fits"][0]["what"], &teeth["fits"][0]["at"]),
        (&"belt tooth".into(), &"belts".into()),
        "{teeth:#}"
    );
    assert_eq!((&teeth["fits"][0]["harmonic"], &teeth["fits"][0]["period_mm"]), (&1.into(), &2.0.into()));
    let misfits: Vec<&Value> = teeth["measured"].as_array().unwrap().iter().collect();
    assert!(misfits.iter().all(|misfit| misfit["what"] == "mark misfit" && misfit["uncertainty"] == 1.0));
    let of = |at: &str| misfits.iter().find(|misfit| misfit["at"] == at).unwrap()["value"].as_f64().unwrap();
    assert!(of("belts") < 3.0 && 10.0 < of("motor pulleys"), "{misfits:?}");
    assert!(teeth["next"].to_string().contains("tallow steps"), "{teeth:#}");
    assert!(fs::read_to_string(shop.path("marks.svg")).unwrap().contains("number of the mark"));
    // A turn of the pulley, three times in it.
    let third = shop.json(&format!("measure marks --positions 0,13.34,26.66,40.01,53.33 {along}"));
    assert_eq!((&third["fits"][0]["what"], &third["fits"][0]["harmonic"]), (&"pulley turn".into(), &3.into()));
    // The drive gear's turn by the volume that is kept.
    let area = (0.45 - 0.2) * 0.2 + TAU / 8.0 * 0.2 * 0.2;
    let turn = 22.6 * TAU / 8.0 * 1.75 * 1.75 / area;
    let places: Vec<String> = (0..5).map(|n| format!("{:.2}", f64::from(n) * turn)).collect();
    let gear = shop.json(&format!("measure marks --positions {} {along} --line \"0.45 x 0.2 mm\"", places.join(",")));
    assert_eq!(gear["fits"][0]["what"], "drive gear turn", "{gear:#}");
    let alone = shop.json("measure marks --positions 0,2.5,5,7.5");
    assert_eq!((&alone["fits"], &alone["measured"]), (&Value::Array(vec![]), &Value::Array(vec![])));
}

/// A grey photo of bands across it, so many pixels apart, as PNG (ISO/IEC 15948: signature, IHDR, IDAT, IEND).
fn bands(pixels: f64) -> Vec<u8> {
    let (width, height) = (600_u32, 40_u32);
    let mut noise = Noise(12);
    let mut rows = Vec::new();
    for _ in 0..height {
        rows.push(0);
        rows.extend(
            (0..width).map(|x| (120.0 + 40.0 * (TAU * f64::from(x) / pixels).sin() + 5.0 * noise.normal()) as u8),
        );
    }
    let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    packed.write_all(&rows).unwrap();
    let mut header = [width.to_be_bytes(), height.to_be_bytes()].concat();
    header.extend([8, 0, 0, 0, 0]);
    let chunk = |kind: &[u8; 4], body: &[u8]| {
        let typed = [&kind[..], body].concat();
        let mut crc = flate2::Crc::new();
        crc.update(&typed);
        [&(body.len() as u32).to_be_bytes()[..], &typed, &crc.sum().to_be_bytes()].concat()
    };
    let chunks = [chunk(b"IHDR", &header), chunk(b"IDAT", &packed.finish().unwrap()), chunk(b"IEND", b"")];
    [b"\x89PNG\r\n\x1a\n".to_vec(), chunks.concat()].concat()
}

#[test]
fn bands_on_a_photo_have_their_spacing_by_its_scale_and_without_one_are_refused() {
    let shop = with("enclosed-corexy");
    shop.write("wall.png", bands(20.0));
    shop.write("no.png", "no photo");
    let line = "measure marks wall.png --from 10,20 --to 590,20";
    let seen = shop.json(&format!("{line} --mm-per-pixel 0.1 --machine bowline --along y --svg wall.svg"));
    told(&seen, 2.0, 0.02);
    assert_eq!(seen["fits"][0]["what"], "belt tooth", "{seen:#}");
    let svg = fs::read_to_string(shop.path("wall.svg")).unwrap();
    assert!(svg.contains("along the line, mm") && svg.contains(">the spacing found</text>"));
    told(&shop.json(&format!("{line} --apart \"58 ± 0.1 mm\"")), 2.0, 0.01);
    shop.refused(line, &["wall.png: ", "no scale", "--mm-per-pixel", "--apart"]);
    shop.refused(&format!("{line} --apart 58"), &["has no unit"]);
    shop.refused("measure marks wall.png --from 10 --to 590,20 --apart \"58 mm\"", &["--from has 1 values", "120,400"]);
    let outside = "measure marks wall.png --from 10,20 --to 1590,20 --mm-per-pixel 0.1";
    shop.refused(outside, &["outside the photo", "600 by 40"]);
    shop.refused("measure marks no.png --from 1,1 --to 90,1 --mm-per-pixel 0.1", &["no.png: ", "can't be read"]);
}

#[test]
fn marks_at_random_or_of_no_axis_are_refused() {
    let shop = with("enclosed-corexy");
    shop.refused("measure marks --positions 0,1,2.5,3,7.7", &["no regular spacing"]);
    shop.refused("measure marks --positions 0,1,2", &["found 3 marks", "at least 4"]);
    let marks = "measure marks --positions 0,2,4,6";
    shop.refused(&format!("{marks} --machine bowline"), &["along which axis", "--along"]);
    shop.refused(
        &format!("{marks} --machine bowline --along x --line 0.45"),
        &["no width and height", "0.45 x 0.2 mm"],
    );
    assert_eq!(shop.ask("measure marks").code, Some(2));
}

#[test]
fn filament_that_falls_short_points_to_steps_or_to_slip() {
    let shop = Shop::folder();
    let once = shop.json("measure feed --asked \"100 mm\" --used \"96.5 mm\" --steps 415");
    told(measured(&once, "filament shortfall"), 3.5, 0.51);
    // By hand: 415 · 100/96.5.
    near(&figure(&once, "right steps")["value"], 415.0 * 100.0 / 96.5, 1e-9);
    assert!(once["next"].to_string().contains("--flow"), "{once:#}");
    let trials = |used: [f64; 5]| {
        let each = used.iter().enumerate().map(|(i, used)| format!("--used \"{used} mm\" --flow {}", 4 * (i + 1)));
        format!("measure feed --asked \"100 mm\" {}", each.collect::<Vec<_>>().join(" "))
    };
    let slips = shop.json(&trials([99.9, 99.1, 98.0, 97.1, 95.9]));
    assert!(slips["means"].to_string().contains("grows with the flow"), "{slips:#}");
    let growth = measured(&slips, "shortfall growing with flow");
    assert!(5.0 < growth["value"].as_f64().unwrap(), "{growth}");
    near(&figure(&slips, "shortfall for each mm³/s more")["value"], 0.25, 0.02);
    let constant = shop.json(&trials([95.1, 94.9, 95.0, 95.1, 94.9]));
    assert!(constant["means"].to_string().contains("the same at each flow"), "{constant:#}");
    near(&figure(&constant, "right flow")["value"], 100.0 / 0.95, 0.05);
    // A cylinder of 1.75 mm that is 1000 mm long, of 1.24 g/cm³, weighs 2.9826 g.
    let weighed = shop.json("measure feed --asked \"1000 mm\" --weighed \"2.9826 g\" --density 1.24");
    near(&weighed["value"], 0.0, 0.01);
    let by_name = shop.json("measure feed --asked \"1000 mm\" --weighed \"2.9826 g\" --material PLA");
    assert!(by_name["value"].is_number());
    for (line, parts) in [
        ("--asked 100 --used \"96 mm\"", &["--asked \"100\" has no unit"][..]),
        ("--asked \"100 mm\" --used \"96 g\"", &["does not fit"]),
        ("--asked \"0 mm\" --used \"96 mm\"", &["asked for (mm) is 0", "positive"]),
        ("--asked \"100 mm\" --asked \"90 mm\" --used \"96 mm\"", &["given 2 times for 1 trials"]),
        ("--asked \"100 mm\" --used \"96 mm\" --flow 4 --flow 8", &["--flow is given 2 times"]),
        ("--asked \"100 mm\" --weighed \"2 g\"", &["what was weighed", "--density"]),
        ("--asked \"100 mm\" --weighed \"2 g\" --material PLAQ", &["PLAQ"]),
    ] {
        shop.refused(&format!("measure feed {line}"), parts);
    }
}

#[test]
fn backlash_squareness_and_a_pair_of_belts_by_a_few_figures() {
    let shop = with("enclosed-corexy");
    let lost = shop.json("measure backlash --up 10.00,10.01,9.99 --down 10.08,10.09,10.10");
    // By hand: 10.09 − 10.00, and 0.01/√3 of either.
    told(measured(&lost, "backlash"), 0.09, 0.0082);
    assert!(lost["means"].to_string().contains("beyond doubt"), "{lost:#}");
    // The other way round its size is the same.
    let turned = shop.json(
        "measure backlash --up 10.08,10.09,10.10 --down 10.00,10.01,9.99 --machine bowline --at \"x rods\" --keep",
    );
    near(&turned["value"], 0.09, 1e-9);
    assert_eq!(shop.entries().pop().unwrap()["event"]["what"], "backlash");
    shop.refused("measure backlash --up 10 --down 10.1,10.2", &["reached from below", "at least 2"]);

    // A rhombus of side 100 whose corner is 89°.
    let half = 44.5_f64.to_radians();
    let diagonals = format!("{:.4},{:.4}", 200.0 * half.cos(), 200.0 * half.sin());
    let leaning = shop.json(&format!("measure square --diagonals {diagonals} --side 100"));
    told(measured(&leaning, "out of square"), 1.0, 0.05);
    near(&figure(&leaning, "corner less 90°")["value"], -1.0, 1e-4);
    let square = shop.json("measure square --diagonals 141.42,141.43 --side 100 --uncertainty 0.1");
    assert!(square["means"].to_string().contains("not beyond doubt"), "{square:#}");
    shop.refused("measure square --diagonals 141 --side 100", &["has 1 values", "141.2,141.6"]);
    shop.refused("measure square --diagonals 141,100 --side 100", &["must lie between"]);

    let pair = shop.json("measure pair --diagonals 101,99 --machine bowline");
    near(&pair["value"], 2.0, 1e-9);
    assert!(pair["next"].to_string().contains("tallow measure belt"), "{pair:#}");
    shop.told("machine add reef --build moving-bed --when \"1 Nov 2026\"");
    shop.refused("measure pair --diagonals 101,99 --machine reef", &["reef is no CoreXY machine", "measure square"]);
}

/// A log of noise through a resonator on x, and of noise alone on the others, a thousand rows a second for 20 s.
fn shaken(hz: f64, seed: u64) -> String {
    let mut noise = Noise(seed);
    let omega = TAU * hz / 1000.0;
    let decay = (-0.02 * omega).exp();
    let turn = 2.0 * decay * omega.cos();
    let (mut last, mut before) = (0.0, 0.0);
    let mut text = "time (ms),x,y,z\n".to_owned();
    for i in 0..20_000 {
        let next = turn * last - decay * decay * before + noise.normal();
        (last, before) = (next, last);
        // OK because writing to a String can't fail.
        let _ = writeln!(text, "{i},{next:.4},{:.4},{:.4}", noise.normal(), 9.81 + noise.normal());
    }
    text
}

#[test]
fn resonances_are_found_and_what_has_moved_is_told() {
    let shop = Shop::folder();
    shop.write("now.csv", shaken(52.0, 13));
    shop.write("spring.csv", shaken(60.0, 14));
    shop.write("again.csv", shaken(52.0, 15));
    let now = shop.json("measure shake now.csv --svg shake.svg");
    assert_eq!(now["what"], "highest resonance, x");
    told(&now, 52.0, 0.6);
    let svg = fs::read_to_string(shop.path("shake.svg")).unwrap();
    assert!(svg.contains("frequency, Hz") && svg.contains(">y</text>"), "lines are told apart by dash and name");
    let moved = shop.json("measure shake now.csv --before spring.csv");
    told(measured(&moved, "resonance moved"), 100.0 * (52.0 - 60.0) / 60.0, 1.5);
    assert!(
        moved["means"].to_string().contains("moved from") && moved["next"].to_string().contains("softer"),
        "{moved:#}"
    );
    let same = shop.json("measure shake again.csv --before now.csv");
    near(&measured(&same, "resonance moved")["value"], 0.0, 0.0);
    // The same log as a spreadsheet writes it where a comma is for decimals.
    shop.write("comma.csv", shaken(52.0, 13).replace(',', ";").replace('.', ","));
    assert_eq!(shop.json("measure shake comma.csv")["value"], now["value"]);
}

#[test]
fn a_log_of_accelerations_with_gaps_mixed_units_or_none_is_refused_with_its_line() {
    let shop = Shop::folder();
    let good = shaken(52.0, 16);
    shop.write(
        "gap.csv",
        good.lines().enumerate().filter(|(i, _)| *i != 500).map(|(_, l)| format!("{l}\n")).collect::<String>(),
    );
    shop.write("mixed.csv", good.replacen("time (ms),x,y,z", "time (ms),x (g),y (m/s2),z (g)", 1));
    shop.write("no-unit.csv", good.replacen("time (ms)", "time", 1));
    shop.write("words.csv", good.replacen("\n7,", "\n7,much,", 1));
    shop.write("short.csv", good.lines().take(80).map(|line| format!("{line}\n")).collect::<String>());
    for (file, parts) in [
        ("gap.csv", &["line 501", "missing", "log again"][..]),
        ("mixed.csv", &["different units", "convert"]),
        ("no-unit.csv", &["unit of the time is not told", "--time-unit"]),
        ("words.csv", &["line 9", "\"much\"", "number"]),
        ("short.csv", &["must last", "record longer"]),
    ] {
        shop.refused(&format!("measure shake {file}"), &[&[file], parts].concat());
    }
    assert!(shop.json("measure shake no-unit.csv --time-unit ms")["value"].is_number());
    shop.refused("measure shake mixed.csv --time-unit s", &["tell only one"]);
}

/// A log that rises from 20 °C at that rate and swings about 201 °C by that much, a reading a second for 400 s.
fn heated(rate: f64, swing: f64) -> Vec<(f64, f64)> {
    let mut noise = Noise(17);
    let at = |second: u32| {
        let time = f64::from(second);
        let held = 201.0 + swing * (TAU * time / 20.0).sin();
        (time, (20.0 + rate * time).min(held))
    };
    (0..400).map(at).map(|(time, c)| (time, c + 0.02 * noise.normal())).collect()
}

fn heat_log(readings: &[(f64, f64)]) -> String {
    let rows = readings.iter().map(|(time, c)| format!("{time},200,{c:.3}\n"));
    format!("time (s),target,measured\n{}", rows.collect::<String>())
}

#[test]
fn a_heater_is_known_by_its_log_and_by_an_earlier_one() {
    let shop = Shop::folder();
    shop.write("now.csv", heat_log(&heated(3.0, 1.5)));
    shop.write("new.csv", heat_log(&heated(4.0, 0.5)));
    let now = shop.json("measure heat now.csv --before new.csv --svg heat.svg");
    // It stands 1 °C too high, which the first readings, still on their way, lower a little.
    near(&measured(&now, "steady error")["value"], 1.0, 0.1);
    near(&measured(&now, "temperature swing")["value"], 1.5, 0.05);
    near(&figure(&now, "period of the swing")["value"], 20.0, 0.3);
    told(figure(&now, "rate of heating up"), 3.0, 0.01);
    told(measured(&now, "heat-up slower than before"), 25.0, 0.5);
    for what in ["temperature jumps", "heater cut-outs"] {
        assert_eq!(measured(&now, what)["value"], 0.0, "{what}");
    }
    assert!(now["means"].to_string().contains("its swing changed by"), "{now:#}");
    let svg = fs::read_to_string(shop.path("heat.svg")).unwrap();
    assert!(
        svg.contains("temperature, °C") && svg.contains(">target</text>") && svg.contains(">measured before</text>")
    );
    let odd: Vec<(f64, f64)> = heated(3.0, 0.5)
        .into_iter()
        .map(|(time, c)| match time {
            150.0 => (time, 320.0),
            time if 300.0 <= time => (time, c - (time - 299.0)),
            _ => (time, c),
        })
        .collect();
    shop.write("odd.csv", heat_log(&odd));
    let odd = shop.json("measure heat odd.csv");
    assert_eq!(
        (&measured(&odd, "temperature jumps")["value"], &measured(&odd, "heater cut-outs")["value"]),
        (&2.0.into(), &1.0.into())
    );
    let text = shop.told("measure heat odd.csv");
    assert!(text.find("WARNING").unwrap() < text.find("Do not print on").unwrap(), "{text}");
}

#[test]
fn a_temperature_log_that_pauses_or_says_nothing_is_refused() {
    let shop = Shop::folder();
    let good = heated(3.0, 1.0);
    let paused: Vec<(f64, f64)> = good.iter().filter(|(time, _)| !(200.0..260.0).contains(time)).copied().collect();
    shop.write("paused.csv", heat_log(&paused));
    shop.write("back.csv", heat_log(&[&good[..50], &good[40..]].concat()));
    shop.write("cold.csv", "0,0,20\n1,0,20\n2,0,20\n");
    shop.write("empty.csv", heat_log(&good).replacen("10,200,", "10,,", 1));
    shop.write("good.csv", heat_log(&good));
    for (file, parts) in [
        ("paused.csv", &["between 199 s and 260 s", "log again"][..]),
        ("back.csv", &["line 52", "sort the log"]),
        ("cold.csv", &["neither heats up", "log from cold"]),
        ("empty.csv", &["line 12", "column 2", "number"]),
    ] {
        shop.refused(&format!("measure heat {file}"), &[&[file], parts].concat());
    }
    shop.refused("measure heat good.csv --before back.csv", &["back.csv: ", "line 52"]);
    shop.refused("measure heat good.csv --fastest 0", &["fastest", "positive"]);
}

#[test]
fn the_help_of_what_is_measured_at_a_machine_begins_with_its_caution() {
    let shop = Shop::folder();
    for (what, caution) in [
        ("belt", "Switch the machine off and unplug it"),
        ("feed", "The nozzle burns at once"),
        ("backlash", "keep hands, hair and sleeves away"),
        ("shake", "stay clear while the axes shake"),
        ("heat", "switched off at the mains"),
    ] {
        let help = shop.told(&format!("measure {what} --help"));
        let told = help.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(caution) && told.contains("Example"), "{help}");
        assert!(told.find("CAUTION").or(told.find("WARNING")) < told.find("Example"), "{help}");
    }
}
