//! With a certificate all goes encrypted, and the cookie goes nowhere else.

use std::sync::Arc;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::ServerName;
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

use crate::plain::{get, post, said};
use crate::who::{PASSWORD, peopled};

#[tokio::test]
async fn a_certificate_encrypts_everything_and_binds_the_cookie_to_it() {
    let made = rcgen::generate_simple_self_signed(["localhost".to_owned()]).expect("a certificate");
    let folder = tempfile::tempdir().expect("a folder");
    let file = |name: &str, text: String| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).expect("it is written");
        path.to_str().expect("UTF-8").to_owned()
    };
    let (certificate, key) = (file("hall.pem", made.cert.pem()), file("hall.key", made.signing_key.serialize_pem()));
    let shop = peopled();
    let server = shop.serve_with(&["--certificate", &certificate, "--key", &key]);
    let address = server.address.strip_prefix("https://").expect("it says that it is encrypted").to_owned();

    let mut roots = RootCertStore::empty();
    roots.add(made.cert.der().clone()).expect("a root");
    let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .expect("versions")
        .with_root_certificates(roots)
        .with_no_client_auth();
    let connector = TlsConnector::from(Arc::new(config));
    let body = format!("name=look&password={}", PASSWORD.replace(' ', "+"));
    let ask = format!(
        "POST /sign-in HTTP/1.1\r\nhost: localhost\r\norigin: https://localhost\r\nconnection: close\r\n\
         content-type: application/x-www-form-urlencoded\r\ncontent-length: {}\r\n\r\n{body}",
        body.len()
    );
    let stream = TcpStream::connect(&address).await.expect("the server listens");
    let mut stream =
        connector.connect(ServerName::try_from("localhost").expect("a name"), stream).await.expect("a handshake");
    stream.write_all(ask.as_bytes()).await.expect("it is sent");
    let mut heard = Vec::new();
    stream.read_to_end(&mut heard).await.expect("an answer");
    let heard = String::from_utf8_lossy(&heard).to_lowercase();
    assert!(heard.starts_with("http/1.1 303"), "{heard}");
    assert!(heard.contains("strict-transport-security: max-age=31536000"), "{heard}");
    let cookie = heard.lines().find(|line| line.starts_with("set-cookie: __host-session=")).expect("the prefix");
    assert!(cookie.contains("; secure"), "{cookie}");

    let plain = said(&address, b"GET /sign-in HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n");
    assert!(plain.is_none(), "nothing is told to who does not encrypt");
}

#[test]
fn behind_a_server_that_encrypts_cookie_and_addresses_are_those_of_the_address_that_was_named() {
    let shop = peopled();
    let visits: serde_json::Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let server = shop.serve_with(&["--public-address", "https://loft.example"]);
    let form = post("/sign-in", &[("name", "own"), ("password", PASSWORD)]).with("host", "loft.example");
    let own = form.clone().with("origin", "https://loft.example").with("sec-fetch-site", "same-origin");
    let heard = own.to(&server);
    assert_eq!(heard.status, 303, "{}", heard.body);
    let set = heard.header("set-cookie").expect("a cookie");
    assert!(set.starts_with("__Host-session=") && set.ends_with("; Secure"), "{set}");
    assert_eq!(heard.header("strict-transport-security"), Some("max-age=31536000"));
    let forwarded = ("x-forwarded-host", "example.org");
    for origin in ["http://loft.example", "https://example.org", &server.address] {
        let heard = form.clone().with("origin", origin).with(forwarded.0, forwarded.1).to(&server);
        assert_eq!(heard.status, 403, "{origin}");
        assert!(heard.body.contains("a page of this server, which is https://loft.example"), "{}", heard.body);
    }
    let cookie = heard.cookie().expect("a session");
    let page = |path: &str| {
        let ask = get(path).with("cookie", &cookie).with("x-forwarded-proto", "http").with(forwarded.0, forwarded.1);
        ask.to(&server).body
    };
    assert!(page("/labels").contains("Code that opens https://loft.example/machines/bowline"));
    // The code on the visit's sheet is that of the same address on the command line.
    let (visit, folder) = (visits[0]["visit"].to_string(), tempfile::tempdir().expect("a folder"));
    let file = folder.path().join("sheet.html");
    shop.run(&["sheet", &visit, "--site", "https://loft.example", "--html", file.to_str().expect("UTF-8")]);
    let drawn = |html: &str| {
        html.split("d=\"").filter_map(|rest| rest.split('"').next()).max_by_key(|d| d.len()).map(str::to_owned)
    };
    let printed = std::fs::read_to_string(&file).expect("a sheet");
    assert_eq!(drawn(&page(&format!("/visits/{visit}/sheet"))), drawn(&printed));
    let keeper = post("/rounds/keepers/calendar", &[("name", "Sunniva")]).with("origin", "https://loft.example");
    assert_eq!(keeper.with("cookie", &cookie).to(&server).status, 303);
    assert!(page("/rounds/keepers").contains(">https://loft.example/calendar/"));
    assert_eq!(get("/sign-in").with("host", "example.org").to(&server).status, 403, "and by no other name");
}

#[test]
fn without_a_public_address_nothing_that_a_request_says_of_itself_is_believed() {
    let shop = peopled();
    let server = shop.serve();
    let form = post("/sign-in", &[("name", "own"), ("password", PASSWORD)]);
    let heard = form.with("x-forwarded-proto", "https").with("forwarded", "proto=https;host=loft.example").to(&server);
    let set = heard.header("set-cookie").expect("a cookie");
    assert!(set.starts_with("session=") && !set.contains("Secure"), "{set}");
    let ask = get("/labels").with("cookie", &heard.cookie().expect("a session"));
    let page = ask.with("x-forwarded-proto", "https").with("x-forwarded-host", "loft.example").to(&server).body;
    assert!(page.contains(&format!("Code that opens {}/machines/bowline", server.address)), "{page}");
}
