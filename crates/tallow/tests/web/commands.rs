//! The interface for programs gives the command line's functions: in their forms, by their roles, and never by a path.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use crate::harness::{Server, Shop};
use crate::plain::{Ask, Heard, get, post, send};
use crate::who::{peopled, signed_in};

const PROBLEM: &str = "application/problem+json";

fn of(heard: &Heard) -> Value {
    serde_json::from_str(&heard.body).unwrap_or_else(|error| panic!("{error}: {heard:?}"))
}

fn post_json(path: &str, body: &Value) -> Ask {
    send(path, "application/json", body.to_string())
}

fn printed(shop: &Shop, words: &[&str]) -> Value {
    serde_json::from_str(&shop.run(&[words, &["--json"]].concat())).expect("JSON")
}

#[track_caller]
fn recorded(server: &Server, path: &str, body: &Value) -> Value {
    let heard = post_json(path, body).to(server);
    assert_eq!(heard.status, 200, "{path}: {}", heard.body);
    of(&heard)
}

#[track_caller]
fn refused(heard: &Heard, status: u16, words: &str) {
    assert_eq!((heard.status, heard.header("content-type")), (status, Some(PROBLEM)), "{}", heard.body);
    let problem = of(heard);
    let told = format!("{} {}", problem["detail"], problem["help"]);
    assert!(problem["status"] == status && told.contains(words), "{told}");
}

#[test]
fn what_is_read_and_reckoned_is_what_the_command_line_prints() {
    let shop = Shop::demo();
    let server = shop.serve();
    for (address, words) in [
        ("/api/moves", &["moves"][..]),
        ("/api/moves?machine=bowline", &["moves", "bowline"]),
        ("/api/moves?machine=bowline&name=sweep%20x", &["moves", "bowline", "sweep x"]),
        ("/api/moves?build=delta&name=sweep%20z", &["moves", "--build", "delta", "sweep z"]),
        ("/api/sheet?round=true&limit=1000", &["sheet", "--round"]),
        ("/api/calendar?limit=1000", &["calendar"]),
        ("/api/rhythm?machine=bowline", &["rhythm", "bowline"]),
    ] {
        let heard = get(address).to(&server);
        assert_eq!(heard.status, 200, "{address}: {}", heard.body);
        assert_eq!(of(&heard), printed(&shop, words), "{address}");
    }
    let bearing = json!({ "rating": 5000, "load": 500, "speed": 1500 });
    assert_eq!(
        recorded(&server, "/api/life/bearing", &bearing),
        printed(&shop, &["life", "bearing", "--rating", "5000", "--load", "500", "--speed", "1500"])
    );
    let shown = of(&get("/api/shop/show").to(&server));
    assert_eq!((&shown["shop"], &shown["place"]), (&"Pattern loft (invented)".into(), &Value::Null), "no path is told");
}

#[test]
fn a_table_is_sent_and_its_figures_are_the_command_lines() {
    let shop = Shop::demo();
    let server = shop.serve();
    let table = "time,event\n150,1\n320,1\n400,1\n500,0\n";
    let place = shop.place().with_file_name("lives.csv");
    std::fs::write(&place, table).expect("the table is written");
    let place = place.to_str().expect("UTF-8");
    let heard = send("/api/life/fit?at=200&at=400", "text/csv", table).to(&server);
    assert_eq!(heard.status, 200, "{}", heard.body);
    assert_eq!(of(&heard), printed(&shop, &["life", "fit", place, "--at", "200", "--at", "400"]));
    let drawn = send("/api/life/fit", "text/csv", table).with("accept", "image/svg+xml").to(&server);
    assert_eq!(drawn.header("content-type"), Some("image/svg+xml; charset=utf-8"));
    assert!(drawn.body.starts_with("<svg") && drawn.header("vary").is_some(), "{}", drawn.body);
    let bores = "unit,age,value\n1,0,4\n1,1,5\n1,2,5.5\n";
    let line = "/api/life/drift?limit=9&start=4&start=0.1&slope=1&slope=0.2&noise=0.1";
    assert_eq!(send(line, "text/csv", bores).to(&server).status, 200);
    refused(&send("/api/life/drift?limit=9&start=4", "text/csv", bores).to(&server), 422, "give 2");
    // What the sender calls it opens nothing, and tells of nothing.
    for label in ["/etc", "/etc/passwd", "-", place] {
        let heard = send(&format!("/api/life/fit?label={label}"), "text/csv", "a,b\n1,2\n").to(&server);
        refused(&heard, 422, "column");
    }
    refused(&post_json("/api/life/fit", &json!({ "file": place })).to(&server), 422, "no parameter");
}

#[test]
fn a_sheet_a_calendar_and_a_program_come_as_what_is_asked_for() {
    let shop = Shop::demo();
    let server = shop.serve();
    let ask = |path: &str, accept: &str| get(path).with("accept", accept).to(&server);
    let text = ask("/api/sheet", "text/plain");
    assert_eq!((text.status, text.header("content-type")), (200, Some("text/plain; charset=utf-8")));
    assert_eq!(text.body, shop.run(&["sheet"]));
    for (address, words) in [
        ("/api/sheet", "The maker"),
        ("/api/sheet?round=true&only=bench", "lint-free wipe"),
        ("/api/sheet?round=true&only=days&paper=letter", "bowline"),
    ] {
        let page = ask(address, "text/html");
        assert_eq!((page.status, page.header("content-type")), (200, Some("text/html; charset=utf-8")), "{address}");
        assert!(page.body.starts_with("<!DOCTYPE html>") && page.body.contains(words), "{address}");
        let policy = page.header("content-security-policy").expect("a policy");
        assert!(policy.contains("default-src 'none'") && policy.contains("style-src 'sha256-"), "{policy}");
    }
    refused(&ask("/api/sheet?round=true", "text/html"), 422, "3 documents");
    refused(&ask("/api/sheet", "image/png"), 406, "text/html");
    let calendar = ask("/api/calendar", "text/calendar");
    assert_eq!(calendar.header("content-type"), Some("text/calendar; charset=utf-8"));
    assert_eq!(calendar.body, shop.run(&["calendar"]));
    let program = ask("/api/moves?machine=bowline&name=sweep%20x", "text/plain");
    assert_eq!(program.body, shop.run(&["moves", "bowline", "sweep x"]));
    let caution = printed(&shop, &["moves", "bowline", "sweep x"])["cautions"][0]["text"].clone();
    let first_words: Vec<&str> = caution.as_str().expect("a caution").split(' ').take(3).collect();
    assert!(program.body.contains(&first_words.join(" ")), "no program without its cautions");
    let lives = ask("/api/lives?kind=nozzle", "text/csv");
    assert_eq!(lives.header("content-type"), Some("text/csv; charset=utf-8"));
    assert_eq!(lives.body, shop.run(&["lives", "nozzle", "--csv"]));
    refused(&ask("/api/lives", "text/csv"), 422, "one kind of part");
    refused(&ask("/api/lives?kind=feed%20tube", "image/svg+xml"), 422, "documents");
    let of_one = "/api/lives?kind=feed%20tube&build=open%20moving-bed%20machine,%20ball-bearing%20rods";
    let drawn = ["life", "cost"].map(|only| ask(&format!("{of_one}&only={only}"), "image/svg+xml"));
    assert!(drawn.iter().all(|drawn| drawn.status == 200 && drawn.body.starts_with("<svg")), "{drawn:?}");
    assert_ne!(drawn[0].body, drawn[1].body);
    let build = get("/api/build/print?name=moving-bed").to(&server);
    assert_eq!(build.header("content-type"), Some("text/plain; charset=utf-8"));
    assert_eq!(build.body, shop.run(&["build", "print", "moving-bed"]));
    // The same tag for the same bytes: each form has its own.
    assert_ne!(text.header("etag"), ask("/api/sheet", "application/json").header("etag"));
}

#[test]
fn a_machine_joins_with_a_known_build_or_a_text_and_its_parts_have_ages() {
    let shop = Shop::demo();
    let server = shop.serve();
    let body = json!({ "name": "reef", "build": "moving-bed", "when": "1 Sep" });
    recorded(&server, "/api/machine/add", &body);
    let text = shop.run(&["build", "print", "delta"]);
    let name = text.lines().find_map(|line| line.strip_prefix("name = ")).expect("a name").to_owned();
    let own = text.replacen(&name, "\"Tall delta\"", 1);
    recorded(&server, "/api/build/check", &json!({ "text": own }));
    recorded(&server, "/api/machine/add", &json!({ "name": "granny knot", "text": own }));
    let shown = printed(&shop, &["machine", "list"]);
    let builds: BTreeMap<&str, &str> = shown
        .as_array()
        .expect("a list")
        .iter()
        .map(|row| (row["machine"].as_str().expect("a name"), row["build"].as_str().expect("a build")))
        .collect();
    assert_eq!(builds["granny knot"], "Tall delta");
    let metered = send("/api/meter?build=Tall%20delta", "application/octet-stream", "G28\nG1 X10 F600\n").to(&server);
    assert_eq!(metered.status, 200, "the shop's own builds are known: {}", metered.body);
    assert_eq!(get("/api/moves?build=Tall%20delta&name=sweep%20z").to(&server).status, 200);
    recorded(&server, "/api/age", &json!({ "machine": "reef", "amount": "8 months" }));
    recorded(&server, "/api/age", &json!({ "machine": "reef", "position": "nozzle", "amount": "3 spools" }));
    let history = printed(&shop, &["history", "reef", "--most", "2"]);
    assert_eq!((&history[0]["event"]["position"], &history[1]["event"]["position"]), (&"nozzle".into(), &Value::Null));
    let changed = own.replacen("\"Tall delta\"", "\"Tall delta\" # again", 1);
    assert_eq!(recorded(&server, "/api/build/change", &json!({ "text": changed }))["changed"], true);
    refused(&post_json("/api/age", &json!({ "machine": "reef", "position": "nozzle" })).to(&server), 422, "amount");
    let both = json!({ "name": "granny", "build": "delta", "text": own });
    refused(&post_json("/api/machine/add", &both).to(&server), 422, "both");
    refused(&post_json("/api/machine/add", &json!({ "name": "granny" })).to(&server), 422, "build");
    let wrong = json!({ "name": "granny", "text": own.replacen("name", "nmae", 1) });
    refused(&post_json("/api/machine/add", &wrong).to(&server), 422, "line");
    shop.run(&["shop", "verify"]);
}

#[test]
fn a_build_is_a_name_and_never_a_place_on_the_server() {
    let shop = Shop::demo();
    let server = shop.serve();
    let mine = shop.place().with_file_name("mine.toml");
    std::fs::write(&mine, shop.run(&["build", "print", "delta"])).expect("the build is written");
    for place in [mine.to_str().expect("UTF-8"), "/etc/passwd", "-", "text", "../mine.toml", "/etc"] {
        let unknown = format!("no build is called \\\"{place}\\\"");
        for (path, body) in [
            ("/api/machine/add", json!({ "name": "granny", "build": place })),
            ("/api/build/change", json!({ "build": place })),
            ("/api/build/print", Value::Null),
            ("/api/moves", Value::Null),
        ] {
            let heard = match body {
                Value::Null if path == "/api/moves" => get(&format!("{path}?build={place}&name=sweep%20z")).to(&server),
                Value::Null => get(&format!("{path}?name={place}")).to(&server),
                body => post_json(path, &body).to(&server),
            };
            refused(&heard, 422, &unknown);
            assert!(!heard.body.contains("no such file"), "{}", heard.body);
        }
        let metered = send(&format!("/api/meter?build={place}"), "application/octet-stream", "G28\nG1 X10\n");
        refused(&metered.to(&server), 422, &unknown);
    }
    let metered = send("/api/meter?build=delta", "application/octet-stream", "G28\nG1 X10 F600\n").to(&server);
    assert_eq!(metered.status, 200, "{}", metered.body);
}

#[test]
fn a_plan_is_sought_for_seconds_and_kept_where_that_is_asked() {
    let shop = Shop::demo();
    let server = shop.serve();
    let plan = recorded(&server, "/api/plan", &json!({ "days": 7, "seconds": 1 }));
    assert_eq!((&plan["days"], &plan["told"]), (&7.into(), &Value::Null));
    let entries = printed(&shop, &["shop", "verify"])["entries"].clone();
    let kept = recorded(&server, "/api/plan", &json!({ "seconds": 5, "keep": true }));
    assert!(kept["told"].is_object(), "{kept:#}");
    assert!(entries.as_i64() <= printed(&shop, &["shop", "verify"])["entries"].as_i64());
    for seconds in [0, 6, 60, -1] {
        let heard = post_json("/api/plan", &json!({ "seconds": seconds })).to(&server);
        refused(&heard, 422, "a whole number from 1 to 5");
    }
    let document = of(&get("/api/openapi.json").to(&server));
    let body = &document["paths"]["/api/plan"]["post"]["requestBody"]["content"]["application/json"]["schema"];
    let seconds = &body["properties"]["seconds"];
    assert_eq!([&seconds["minimum"], &seconds["maximum"], &seconds["default"]], [&json!(1), &json!(5), &json!(2)]);
}

#[test]
fn plans_are_made_one_at_a_time_and_whoever_asks_meanwhile_is_told_when_to_come_again() {
    let shop = Shop::demo();
    let server = shop.serve();
    let heard = std::thread::scope(|scope| {
        let ask = || post_json("/api/plan", &json!({ "seconds": 5 })).to(&server);
        let asked = [(); 3].map(|()| scope.spawn(ask));
        asked.map(|asked| asked.join().expect("an answer"))
    });
    let (made, busy): (Vec<_>, Vec<_>) = heard.iter().partition(|heard| heard.status == 200);
    assert!(!made.is_empty() && !busy.is_empty(), "{heard:?}");
    for heard in busy {
        refused(heard, 503, "another plan is being made");
        assert_eq!(heard.header("retry-after"), Some("5"));
    }
}

/// What each operation needs beyond its own kind: reading needs *look*, and what happens needs *record*.
const PLANS: [&str; 18] = [
    "fault grade",
    "build change",
    "job forget",
    "job retry",
    "keeper away",
    "keeper remove",
    "keeper set",
    "limit",
    "machine add",
    "material add",
    "plan",
    "rates",
    "shop verify",
    "stores terms",
    "visit free",
    "visit lock",
    "visit move",
    "visit off",
];
const OWNS: [&str; 7] = ["doctor", "person", "person remove", "person set", "token", "token new", "token revoke"];
/// What records happened.
const RECORDS: [&str; 26] = [
    "fault end",
    "fault new",
    "fault say",
    "age",
    "correct",
    "done",
    "failure",
    "hour-meter",
    "measure backlash",
    "measure belt",
    "measure feed",
    "measure heat",
    "measure marks",
    "measure pair",
    "measure shake",
    "measure square",
    "queue",
    "reading",
    "replace",
    "run",
    "skip",
    "stores count",
    "stores discard",
    "stores order",
    "stores receive",
    "visit walked",
];

#[test]
fn each_operation_needs_its_role_and_no_less() {
    let shop = peopled();
    let server = shop.serve();
    let roles = ["look", "record", "plan", "own"];
    let cookies = roles.map(|role| signed_in(&server, role));
    let document = of(&get("/api/openapi.json").with("cookie", &cookies[0]).to(&server));
    for (path, methods) in document["paths"].as_object().expect("paths") {
        let words = path.trim_start_matches("/api/").replace('/', " ");
        for method in methods.as_object().expect("methods").keys() {
            let is_read = method == "get";
            let needed = match words.as_str() {
                words if OWNS.contains(&words) => 3,
                words if PLANS.contains(&words) && !is_read => 2,
                words if RECORDS.contains(&words) => 1,
                _ => 0,
            };
            let ask = || if is_read { get(path) } else { post_json(path, &json!({ "no such parameter": true })) };
            for (place, cookie) in cookies.iter().enumerate() {
                let status = ask().with("cookie", cookie).to(&server).status;
                assert_eq!(status == 403, place < needed, "{method} {path} as {}: {status}", roles[place]);
            }
            assert_eq!(ask().to(&server).status, 401, "{method} {path}");
        }
    }
}

#[test]
fn people_get_roles_and_lose_them_but_no_password_goes_this_way() {
    let shop = peopled();
    let server = shop.serve();
    let own = signed_in(&server, "own");
    let ask = |path: &str, body: Value| post_json(path, &body).with("cookie", &own).to(&server);
    assert_eq!(ask("/api/person/set", json!({ "name": "look", "role": "record" })).status, 200);
    refused(&ask("/api/person/set", json!({ "name": "thief", "role": "own" })), 422, "password");
    for name in ["new-password", "password-stdin", "password"] {
        let body = json!({ "name": "look", "role": "own", name: true });
        refused(&ask("/api/person/set", body), 422, "no parameter");
    }
    assert_eq!(ask("/api/person/remove", json!({ "name": "plan" })).status, 200);
    let people = of(&get("/api/person").with("cookie", &own).to(&server));
    let roles: Vec<&Value> = people.as_array().expect("a list").iter().map(|person| &person["role"]).collect();
    assert_eq!(roles.len(), 3, "{people:#}");
    assert!(!roles.contains(&&"look".into()) && !roles.contains(&&"plan".into()), "{people:#}");
    refused(&ask("/api/person/remove", json!({ "name": "own" })), 422, "");
}

#[test]
fn what_is_malformed_is_a_problem_too() {
    let shop = Shop::demo();
    let server = shop.serve();
    for path in ["/api/due?machine=%FF", "/api/history?limit=%", "/api/due?%C3%28=1", "/api/lives?kind=%zz"] {
        refused(&get(path).to(&server), 400, "UTF-8");
    }
    let file = send("/api/run?on=%FF&material=PLA", "application/octet-stream", "G28\n").to(&server);
    refused(&file, 400, "UTF-8");
    for path in ["/api", "/api/", "/api/nothing", "/api/machine/%FF", "/api/machine/show/bowline", "/api/visit/x/move"]
    {
        refused(&get(path).to(&server), 404, "/api/openapi.json");
    }
    let twice = post_json("/api/done?task=x", &json!({ "on": "bowline" })).to(&server);
    refused(&twice, 422, "body");
    for heard in [post("/api/due", &[]).to(&server), get("/api/done").to(&server), post("/metrics", &[]).to(&server)] {
        refused(&heard, 405, "does not take");
        assert!(heard.header("allow").is_some(), "RFC 9110, 15.5.6");
    }
    refused(&send("/api/done", "application/json", vec![b' '; 2 * 1024 * 1024]).to(&server), 413, "1024 KiB");
    refused(&send("/api/life/fit", "text/csv", vec![b'1'; 200 * 1024]).to(&server), 413, "64 KiB");
}

/// Half a second of quiet and a decaying tone of 90 Hz with its octave, as a WAV file of 16 bits.
fn plucked() -> Vec<u8> {
    let (rate, turn) = (16_000_u32, std::f64::consts::TAU * 90.0);
    let mut dust: u64 = 5;
    let samples = (0..28_000_u32).map(|i| {
        dust = dust.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        let noise = (dust >> 11) as f64 / (1_u64 << 53) as f64 - 0.5;
        let since = f64::from(i) / f64::from(rate) - 0.5;
        let tone = (turn * since).sin() + 0.5 * (2.0 * turn * since).sin();
        let string = if since < 0.0 { 0.0 } else { tone * (-4.0 * since).exp() };
        ((0.2 * string + 0.004 * noise) * 32767.0) as i16
    });
    let data: Vec<u8> = samples.flat_map(i16::to_le_bytes).collect();
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    bytes.extend(rate.to_le_bytes());
    bytes.extend((2 * rate).to_le_bytes());
    bytes.extend(b"\x02\0\x10\0data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

#[test]
fn a_recording_is_sent_measured_drawn_and_kept() {
    let shop = Shop::demo();
    let server = shop.serve();
    let place = shop.place().with_file_name("a.wav");
    std::fs::write(&place, plucked()).expect("the recording is written");
    let by_line =
        printed(&shop, &["measure", "belt", place.to_str().expect("UTF-8"), "--span", "420 mm", "--mass", "8.5 g/m"]);
    let address = "/api/measure/belt?span=420%20mm&mass=8.5%20g/m";
    let heard = send(address, "application/octet-stream", plucked()).to(&server);
    assert_eq!(heard.status, 200, "{}", heard.body);
    assert_eq!(of(&heard), by_line);
    let drawn = send(address, "application/octet-stream", plucked()).with("accept", "image/svg+xml").to(&server);
    assert_eq!(drawn.header("content-type"), Some("image/svg+xml; charset=utf-8"));
    assert!(drawn.body.starts_with("<svg"), "{}", drawn.body);
    let kept = send(&format!("{address}&machine=bowline&keep=true"), "application/octet-stream", plucked()).to(&server);
    assert_eq!(kept.status, 200, "{}", kept.body);
    let newest = printed(&shop, &["history", "bowline", "--most", "1"]);
    assert_eq!(
        (&newest[0]["entry"], &newest[0]["event"]["what"]),
        (&of(&kept)["kept"]["entry"], &"belt tension".into())
    );
    let marks = json!({ "positions": [0, 2.01, 4, 6, 8.01], "machine": "bowline", "along": "x" });
    assert_eq!(recorded(&server, "/api/measure/marks", &marks)["fits"][0]["what"], "belt tooth");
    let square = json!({ "diagonals": [141.2, 141.6], "side": 100 });
    assert_eq!(
        recorded(&server, "/api/measure/square", &square),
        printed(&shop, &["measure", "square", "--diagonals", "141.2,141.6", "--side", "100"])
    );
    // What names a file is no parameter, and what is no recording is a problem.
    for name in ["file", "against", "svg", "before"] {
        let heard = send(&format!("{address}&{name}=/etc/passwd"), "application/octet-stream", plucked()).to(&server);
        refused(&heard, 422, "no parameter");
    }
    refused(&send("/api/measure/belt", "application/octet-stream", "noise").to(&server), 422, "not a WAV recording");
    refused(&send("/api/measure/heat", "text/csv", vec![b'1'; 17 * 1024 * 1024]).to(&server), 413, "16384 KiB");
}
