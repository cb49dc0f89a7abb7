//! What somebody with bad intent would send. The server answers each, tells nothing, records nothing and goes on.

use std::io::Write;
use std::net::TcpStream;
use std::time::Duration;

use crate::harness::{Server, Shop};
use crate::plain::{Heard, get, post, said, send};
use crate::who::{PASSWORD, peopled, signed_in, try_in};

/// Texts that do harm where text is pasted into SQL, HTML, paths or headers.
const HARMFUL: [&str; 9] = [
    "'; drop table entry; --",
    "\" or 1=1 --",
    "<script>alert(1)</script>",
    "../../../etc/passwd",
    "..\\..\\windows\\win.ini",
    "a\r\nSet-Cookie: session=x",
    "a\u{0}b",
    "{{7*7}}${7*7}%n%s",
    "\u{202e}\u{1f4a3}",
];

fn encoded(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

fn goes_on(server: &Server) -> bool {
    get("/sign-in").to(server).status == 200
}

#[test]
fn a_page_of_another_site_changes_nothing_even_with_the_cookie() {
    let shop = peopled();
    let server = shop.serve();
    let cookie = signed_in(&server, "own");
    let before = shop.run(&["person"]);
    let form = || {
        post("/shop/people/set", &[("name", "thief"), ("role", "own"), ("password", PASSWORD)]).with("cookie", &cookie)
    };
    let own = server.address.clone();
    let elsewhere = [
        ("origin", "http://example.org"),
        ("origin", "null"),
        ("origin", "https://127.0.0.1"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ];
    for (name, value) in elsewhere {
        assert_eq!(form().with(name, value).to(&server).status, 403, "{name}: {value}");
    }
    assert_eq!(form().with("origin", &own).with("sec-fetch-site", "cross-site").to(&server).status, 403);
    let sign_in = post("/sign-in", &[("name", "own"), ("password", PASSWORD)]).with("origin", "http://example.org");
    assert_eq!(sign_in.to(&server).status, 403, "nor does it sign somebody in under another's name");
    assert_eq!(shop.run(&["person"]), before);
    assert_eq!(form().with("origin", &own).with("sec-fetch-site", "same-origin").to(&server).status, 303);
}

#[test]
fn a_token_that_was_put_into_a_browser_before_signing_in_opens_nothing_after() {
    let shop = peopled();
    let server = shop.serve();
    let planted = format!("session={}", "ab".repeat(32));
    let form = post("/sign-in", &[("name", "own"), ("password", PASSWORD)]).with("cookie", &planted);
    let cookie = form.to(&server).cookie().expect("a session");
    assert_ne!(cookie, planted);
    assert_eq!(get("/").with("cookie", &planted).to(&server).status, 303);
    assert_eq!(get("/").with("cookie", &cookie).to(&server).status, 200);
    // Signing in again ends the session before.
    let again = post("/sign-in", &[("name", "own"), ("password", PASSWORD)]).with("cookie", &cookie).to(&server);
    assert_ne!(again.cookie().as_deref(), Some(cookie.as_str()));
    assert_eq!(get("/").with("cookie", &cookie).to(&server).status, 303);
}

#[test]
fn a_sessions_cookie_is_out_of_reach_of_scripts_and_other_sites() {
    let shop = peopled();
    let server = shop.serve();
    let heard = try_in(&server, "look", PASSWORD);
    let set = heard.header("set-cookie").expect("a cookie");
    for word in ["HttpOnly", "SameSite=Strict", "Path=/", "Max-Age=1209600"] {
        assert!(set.split("; ").any(|part| part == word), "{word}: {set}");
    }
    let token = set.split(['=', ';']).nth(1).expect("a token");
    assert!(token.len() == 64 && token.bytes().all(|byte| byte.is_ascii_hexdigit()), "256 bits: {set}");
}

#[test]
fn signing_in_leads_to_no_other_site() {
    let shop = peopled();
    let server = shop.serve();
    for to in [
        "//example.org",
        "/\\example.org",
        "https://example.org",
        "javascript:alert(1)",
        "/\r\nLocation: //example.org",
        "\\\\example.org",
    ] {
        let heard = post("/sign-in", &[("name", "own"), ("password", PASSWORD), ("to", to)]).to(&server);
        assert_eq!((heard.status, heard.header("location")), (303, Some("/")), "{to:?}");
        let page = get(&format!("/sign-in?to={}", encoded(to))).to(&server).body;
        assert!(!page.contains("example.org") && !page.contains("javascript:"), "{to:?}");
    }
    let heard = post("/sign-in", &[("name", "own"), ("password", PASSWORD), ("to", "/machines?x=1")]).to(&server);
    assert_eq!(heard.header("location"), Some("/machines?x=1"));
    let led = get("//example.org/%2e%2e").to(&server);
    assert!(led.header("location").is_none_or(|to| to.starts_with("/sign-in?to=%2F")), "{led:?}");
}

#[test]
fn names_that_somebody_points_at_the_server_get_nothing() {
    let shop = Shop::demo();
    let server = shop.serve();
    for host in ["example.org", "127.0.0.1.example.org", "localhost@example.org", "10.0.0.1", ""] {
        let heard = get("/").with("host", host).to(&server);
        assert!(matches!(heard.status, 400 | 403), "{host}: {}", heard.status);
        assert!(!heard.body.contains("Pattern loft") && !heard.body.contains("bowline"), "{host}");
    }
    assert_eq!(get("/").with("host", "localhost:1").to(&server).status, 200);
}

#[test]
fn no_address_leads_out_of_the_server_or_into_its_innards() {
    let shop = Shop::demo();
    let server = shop.serve();
    let folders = ["/machines", "/records", "/visits", "/assets", "/shop/people/session", "/shop/people/token", "/api"];
    for folder in folders {
        for text in HARMFUL.iter().copied().chain(["..", ".", "%2e%2e", "-1", "9999999999999999999999", "nul"]) {
            for path in [format!("{folder}/{}", encoded(text)), format!("{folder}/{}/x", encoded(text))] {
                let heard = get(&path).to(&server);
                assert!(matches!(heard.status, 400 | 404 | 405), "{path}: {}\n{}", heard.status, heard.body);
                let innards = ["root:", "select ", "sqlx", "panicked", "SQLITE", "src/"];
                assert!(!innards.iter().any(|word| heard.body.contains(word)), "{path}:\n{}", heard.body);
                // Text is shown as text: browsers are told not to guess.
                let is_page = heard.header("content-type").is_some_and(|kind| kind.starts_with("text/html"));
                assert!(!is_page || !heard.body.contains("<script>alert"), "{path}:\n{}", heard.body);
                assert_eq!(heard.header("x-content-type-options"), Some("nosniff"), "{path}");
                assert!(heard.header("set-cookie").is_none(), "{path}: {heard:?}");
            }
        }
    }
    // Paths that a careless server would put together before it looks.
    for raw in
        ["/assets/../../../../etc/passwd", "/assets/..%2f..%2fetc%2fpasswd", "/./machines/../../etc/passwd", "/%00"]
    {
        let heard = get(raw).to(&server);
        assert!(matches!(heard.status, 400 | 404) && !heard.body.contains("root:"), "{raw}: {}", heard.status);
    }
}

#[test]
fn an_address_that_can_not_be_read_is_told_in_a_page_with_a_way_on() {
    let server = Shop::demo().serve();
    for (address, words) in [
        ("/visits/abc", "the address has &quot;abc&quot; where the number of something belongs"),
        ("/visits/1/photos/x", "the address has &quot;x&quot; where"),
        ("/visits/99999999999999999999", "the address has &quot;99999999999999999999&quot; where"),
        ("/visits/%3Cb%3E/sheet", "the address has &quot;&lt;b&gt;&quot; where"),
        ("/machines/%ff", "that are no text (UTF-8)"),
        ("/machines/bowline/%C3%28", "that are no text (UTF-8)"),
        ("/stores/item/%ff", "that are no text (UTF-8)"),
    ] {
        let heard = get(address).to(&server);
        let body = heard.body.replace("The address", "the address");
        assert_eq!(heard.status, 400, "{address}: {body}");
        assert!(body.contains(words), "{address}: {body}");
        assert!(body.contains("See whether the whole address was copied"), "{address}");
        assert!(body.contains("<h1>No such address</h1>") && body.contains("href=\"/machines\""), "{address}");
    }
    let priced = get("/rounds/price?visit=x").to(&server);
    assert_eq!((priced.status, priced.body.starts_with("No visit was named.")), (422, true), "{}", priced.body);
    for list in ["/machines", "/labels", "/rounds", "/stores", "/money"] {
        for page in ["x", "-1", "0", "1.5", "99999999999999999999"] {
            let heard = get(&format!("{list}?page={page}")).to(&server);
            let words = format!("has &quot;{page}&quot; where the number of a page of the list belongs");
            assert!(heard.status == 400 && heard.body.contains(&words), "{list} {page}: {}", heard.body);
        }
        assert_eq!(get(&format!("{list}?page=99")).to(&server).status, 200, "behind the last stands the last: {list}");
    }
    assert_eq!(get("/machines?%ff=%ff").to(&server).status, 200);
    assert_eq!(get("/records?from=x").to(&server).status, 422);
}

#[test]
fn harmful_text_in_forms_is_text() {
    let shop = peopled();
    let server = shop.serve();
    let cookie = signed_in(&server, "own");
    let entries = shop.run(&["history", "bowline", "--most", "5"]);
    for text in HARMFUL {
        let refused = try_in(&server, text, text);
        assert!(matches!(refused.status, 422 | 429), "{text:?}: {}", refused.status);
        assert!(!refused.body.contains("<script>alert"), "{text:?}");
        let heard = post("/shop/people/set", &[("form", text), ("name", text), ("role", text), ("password", PASSWORD)]);
        let heard = heard.with("cookie", &cookie).to(&server);
        assert!(matches!(heard.status, 303 | 422), "{text:?}: {}", heard.status);
        assert!(
            !heard.head.iter().any(|(name, value)| name == "set-cookie" && value.starts_with("session=x")),
            "{text:?}"
        );
        let page = get("/shop/people").with("cookie", &cookie).to(&server);
        assert!(page.status == 200 && !page.body.contains("<script>alert"), "{text:?}");
    }
    assert_eq!(shop.run(&["history", "bowline", "--most", "5"]), entries);
    shop.run(&["shop", "verify"]);
}

#[test]
fn bodies_that_are_too_large_or_make_no_sense_are_refused() {
    let shop = Shop::demo();
    let server = shop.serve();
    let form = "application/x-www-form-urlencoded";
    let large = vec![b'a'; 2 * 1024 * 1024];
    assert_eq!(send("/sign-in", form, large).to(&server).status, 413);
    assert!(matches!(send("/sign-in", "text/plain", "name=x").to(&server).status, 400 | 415));
    assert!(matches!(send("/sign-in", form, [0xff, 0xfe, b'=', 0x00]).to(&server).status, 400 | 422));
    assert!(matches!(send("/shop/people/token/x/revoke", form, "").to(&server).status, 400 | 404));
    assert_eq!(post("/rounds/keepers/calendar", &[("name", "nobody")]).to(&server).status, 404);
    let visits: serde_json::Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let marks = format!("/visits/{}/marks", visits[0]["visit"]);
    let refused = post(&marks, &[("task", "any"), ("ago", "x")]).to(&server);
    assert!(refused.status == 422 && refused.body.contains("is no number"), "{}", refused.status);
    let many = (0..20_000).map(|n| format!("f{n}=1")).collect::<Vec<_>>().join("&");
    assert!(matches!(send("/sign-in", form, many).to(&server).status, 422 | 429));
    assert!(goes_on(&server));
}

#[test]
fn a_form_that_can_not_be_read_is_told_in_a_page() {
    let server = Shop::demo().serve();
    let form = "application/x-www-form-urlencoded";
    for (heard, status, words) in [
        (send("/sign-in", "text/plain", "name=x").to(&server), 415, "What was sent is no form."),
        (send("/shop/rates", "application/json", "{}").to(&server), 415, "What was sent is no form."),
        (send("/sign-in", form, vec![b'a'; 2 * 1024 * 1024]).to(&server), 413, "at most 1024 KiB are."),
        (send("/before", "multipart/form-data", "x").to(&server), 400, "it may not have arrived whole."),
        (send("/runs/bowline", form, "x=y").to(&server), 400, "it may not have arrived whole."),
    ] {
        assert_eq!(heard.status, status, "{}", heard.body);
        assert!(heard.body.contains(words) && heard.body.contains("<h1>Not read</h1>"), "{}", heard.body);
        assert!(heard.body.contains("href=\"/machines\""), "with a way on: {}", heard.body);
    }
}

#[test]
fn an_address_that_takes_another_method_says_so_in_a_page() {
    let server = Shop::demo().serve();
    for (heard, allowed, words) in [
        (get("/shop/rates").to(&server), "POST", "This address takes what a form sends"),
        (get("/visits/1/finish").to(&server), "POST", "This address takes what a form sends"),
        (post("/money", &[]).to(&server), "GET,HEAD", "This address shows something, and takes nothing."),
        (post("/rounds/price", &[]).to(&server), "GET,HEAD", "This address shows something, and takes nothing."),
    ] {
        assert_eq!((heard.status, heard.header("allow")), (405, Some(allowed)), "RFC 9110, 15.5.6: {}", heard.body);
        assert!(heard.body.contains(words) && heard.body.contains("href=\"/machines\""), "{}", heard.body);
    }
}

#[test]
fn heads_that_are_no_http_or_too_long_are_refused() {
    let shop = Shop::demo();
    let server = shop.serve();
    let address = server.address.split_once("://").expect("a scheme").1;
    let long = format!("GET / HTTP/1.1\r\nhost: {address}\r\nx: {}\r\n\r\n", "y".repeat(100_000));
    let many = format!("GET / HTTP/1.1\r\nhost: {address}\r\n{}\r\n", "x: y\r\n".repeat(5_000));
    let both = format!(
        "POST /sign-in HTTP/1.1\r\nhost: {address}\r\ncontent-length: 5\r\ntransfer-encoding: chunked\r\nconnection: close\r\n\r\n0\r\n\r\nGET /machines HTTP/1.1\r\n\r\n"
    );
    let twice = format!(
        "POST /sign-in HTTP/1.1\r\nhost: {address}\r\ncontent-length: 5\r\ncontent-length: 6\r\nconnection: close\r\n\r\nhello"
    );
    for (what, bytes) in
        [("long", long), ("many", many), ("twice", twice), ("nonsense", "\u{0}\u{1}\u{2}\r\n\r\n".into())]
    {
        let heard = said(address, bytes.as_bytes());
        assert!(heard.as_ref().is_none_or(|heard| matches!(heard.status, 400 | 431)), "{what}: {heard:?}");
    }
    // Where both lengths stand, what follows is not taken for another request.
    let heard = said(address, both.as_bytes());
    assert!(heard.is_none_or(|heard| !heard.body.contains("HTTP/1.1 200")), "a request inside another");
    assert!(goes_on(&server));
}

#[test]
fn a_client_that_sends_nothing_is_hung_up_on() {
    let shop = Shop::demo();
    let server = shop.serve();
    let address = server.address.split_once("://").expect("a scheme").1;
    let mut slow = TcpStream::connect(address).expect("the server listens");
    slow.write_all(b"GET / HTTP/1.1\r\nhost: ").expect("it takes the beginning");
    slow.set_read_timeout(Some(Duration::from_secs(30))).expect("a timeout");
    assert!(goes_on(&server), "others are served meanwhile");
    let mut rest = Vec::new();
    let ended = std::io::Read::read_to_end(&mut slow, &mut rest);
    assert!(ended.is_ok(), "the server ends what does not go on: {ended:?}");
}

#[test]
fn neither_the_time_nor_the_words_of_a_refusal_tell_who_exists() {
    let shop = Shop::demo();
    for name in ["alpha", "bravo"] {
        crate::who::set(&shop, name, "own");
    }
    let server = shop.serve();
    // Few of each: after five failures an address must wait.
    let tried = |name: &str| try_in(&server, name, "not the password");
    tried("warm");
    let [known, also_known] = ["alpha", "bravo"].map(tried);
    let [unknown, also_unknown] = ["xray", "yankee"].map(tried);
    let took = |one: &Heard, other: &Heard| (one.took + other.took).as_secs_f64();
    // A hash takes tens of ms, a page less than one: without the same work the ratio would be far from one.
    let ratio = took(&known, &also_known) / took(&unknown, &also_unknown);
    assert!((0.3..3.0).contains(&ratio), "who exists takes {ratio} times as long as who does not");
    assert_eq!(known.body.replace("alpha", "?"), unknown.body.replace("xray", "?"));
    assert_eq!((known.status, unknown.status), (422, 422));
}

#[test]
fn guessing_gets_slower_and_says_for_how_long() {
    let shop = peopled();
    let server = shop.serve();
    let statuses: Vec<u16> = (0..6).map(|_| try_in(&server, "own", "a wrong password").status).collect();
    assert_eq!(statuses, [422, 422, 422, 422, 422, 429]);
    let heard = try_in(&server, "own", PASSWORD);
    assert_eq!(heard.status, 429, "nor does the right one help meanwhile");
    assert_eq!(heard.header("retry-after"), Some("1"));
    std::thread::sleep(Duration::from_millis(1100));
    assert_eq!(try_in(&server, "own", PASSWORD).status, 303);
}

#[test]
fn every_answer_forbids_what_no_page_needs() {
    let shop = peopled();
    let server = shop.serve();
    let cookie = signed_in(&server, "look");
    for ask in [get("/"), get("/nowhere"), get("/sign-in"), post("/shop/people/set", &[])] {
        let heard = ask.with("cookie", &cookie).to(&server);
        let policy = heard.header("content-security-policy").expect("a policy");
        assert!(policy.contains("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{policy}");
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(heard.header("x-content-type-options"), Some("nosniff"));
        assert_eq!(heard.header("cache-control"), Some("no-store"));
        assert!(heard.header("strict-transport-security").is_none(), "not over plain HTTP");
    }
}
