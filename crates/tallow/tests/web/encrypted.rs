//! With a certificate all goes encrypted, and the cookie goes nowhere else.

use std::sync::Arc;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::ServerName;
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

use crate::plain::said;
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
