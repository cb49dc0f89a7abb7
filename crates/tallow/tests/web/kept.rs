//! Pages that are kept until something is recorded: nobody sees another's page, or what no longer holds.

use std::io::Read;

use flate2::read::GzDecoder;

use crate::harness::Shop;
use crate::plain::get;
use crate::who::{peopled, signed_in};

#[test]
fn a_kept_page_shows_at_once_what_the_command_line_or_another_page_recorded() {
    let shop = Shop::demo();
    let server = shop.serve();
    let pages = ["/machines/bowline", "/machines/bowline/x%20rods", "/records"];
    for page in pages.iter().chain(&pages) {
        let heard = get(page).to(&server);
        assert_eq!((heard.status, heard.body.contains("0.4321")), (200, false), "{page}");
    }
    shop.run(&["reading", "x rods", "sideways play", "0.4321 mm", "--on", "bowline"]);
    for page in pages {
        assert!(get(page).to(&server).body.contains("0.4321"), "{page}");
    }
}

#[test]
fn a_kept_page_is_for_whoever_it_was_drawn_for() {
    let shop = peopled();
    let server = shop.serve();
    for name in ["own", "look", "own", "look"] {
        let cookie = signed_in(&server, name);
        let page = get("/machines").with("cookie", &cookie).to(&server);
        assert!(page.body.contains(&format!("action=\"/sign-out\">{name} ")), "{name}: {}", page.body);
    }
    assert_eq!(get("/machines").to(&server).status, 303, "and a stranger gets none");
}

#[test]
fn a_kept_page_is_the_same_packed_and_plain() {
    let server = Shop::demo().serve();
    let plain = get("/machines/bowline").to(&server);
    let packed = get("/machines/bowline").with("accept-encoding", "gzip").to(&server);
    assert_eq!(packed.header("content-encoding"), Some("gzip"));
    assert_eq!(plain.header("content-encoding"), None);
    let mut page = String::new();
    GzDecoder::new(packed.bytes.as_slice()).read_to_string(&mut page).expect("gzip that is whole");
    assert_eq!(page, plain.body);
}

#[test]
fn a_kept_page_shows_the_forms_of_the_role_that_somebody_has_now() {
    let shop = peopled();
    let server = shop.serve();
    let has_form = || {
        let cookie = signed_in(&server, "look");
        let page = || get("/machines/bowline").with("cookie", &cookie).to(&server).body;
        let both = [page(), page()].map(|page| page.contains("action=\"/machines/bowline\""));
        assert_eq!(both[0], both[1], "drawn and kept");
        both[0]
    };
    assert!(!has_form());
    shop.run(&["person", "set", "look", "--role", "record"]);
    assert!(has_form());
    shop.run(&["person", "set", "look", "--role", "look"]);
    assert!(!has_form());
}
