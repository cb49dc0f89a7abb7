//! A client that sends what it is told, byte by byte: no browser would.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use crate::harness::Server;

/// What the server answered.
#[derive(Clone, Debug)]
pub(crate) struct Heard {
    /// The status.
    pub(crate) status: u16,
    /// The head's lines but for the first, names in lower case.
    pub(crate) head: Vec<(String, String)>,
    /// The body; chunks put together.
    pub(crate) body: String,
    /// The same as it came.
    pub(crate) bytes: Vec<u8>,
    /// How long it took.
    pub(crate) took: Duration,
}

impl Heard {
    /// The first header of that name.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        self.head.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str())
    }

    /// The session's cookie, as a browser would send it back.
    pub(crate) fn cookie(&self) -> Option<String> {
        let set = self.head.iter().filter(|(key, _)| key == "set-cookie").map(|(_, value)| value);
        let pair = set.filter_map(|value| value.split(';').next()).find(|pair| pair.contains("session="));
        pair.map(str::to_owned)
    }
}

/// A request.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ask {
    method: String,
    path: String,
    head: Vec<(String, String)>,
    body: Vec<u8>,
}

/// Asks for a page.
pub(crate) fn get(path: &str) -> Ask {
    Ask { method: "GET".into(), path: path.into(), ..Ask::default() }
}

/// Sends a form.
pub(crate) fn post(path: &str, fields: &[(&str, &str)]) -> Ask {
    let text: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
    let ask = Ask { method: "POST".into(), path: path.into(), body: text.join("&").into_bytes(), ..Ask::default() };
    ask.with("content-type", "application/x-www-form-urlencoded")
}

/// Sends bytes.
pub(crate) fn send(path: &str, kind: &str, body: impl Into<Vec<u8>>) -> Ask {
    Ask { method: "POST".into(), path: path.into(), body: body.into(), ..Ask::default() }.with("content-type", kind)
}

fn encoded(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

impl Ask {
    /// With a header, in place of the usual one of that name.
    pub(crate) fn with(mut self, name: &str, value: &str) -> Ask {
        self.head.push((name.to_owned(), value.to_owned()));
        self
    }

    /// Sends it on a connection of its own.
    #[track_caller]
    pub(crate) fn to(&self, server: &Server) -> Heard {
        self.to_address(server.address.split_once("://").expect("a scheme").1).expect("an answer")
    }

    /// Sends it to whoever listens there; `None` where nobody does, or breaks off without an answer.
    pub(crate) fn to_address(&self, address: &str) -> Option<Heard> {
        let mut text = format!("{} {} HTTP/1.1\r\nconnection: close\r\n", self.method, self.path);
        if !self.head.iter().any(|(name, _)| name == "host") {
            text.push_str(&format!("host: {address}\r\n"));
        }
        if !self.head.iter().any(|(name, _)| name == "content-length" || name == "transfer-encoding") {
            text.push_str(&format!("content-length: {}\r\n", self.body.len()));
        }
        for (name, value) in &self.head {
            text.push_str(&format!("{name}: {value}\r\n"));
        }
        text.push_str("\r\n");
        let bytes = [text.as_bytes(), &self.body].concat();
        said(address, &bytes)
    }
}

/// Sends bytes as they are; `None` where nobody listens, or breaks off without an answer.
pub(crate) fn said(address: &str, bytes: &[u8]) -> Option<Heard> {
    let began = Instant::now();
    let mut stream = TcpStream::connect(address).ok()?;
    stream.set_read_timeout(Some(Duration::from_secs(60))).expect("a timeout");
    // OK to ignore: the server may have refused before it has read all.
    let _ = stream.write_all(bytes);
    let mut heard = Vec::new();
    let _ = stream.read_to_end(&mut heard);
    let took = began.elapsed();
    let end = heard.windows(4).position(|window| window == b"\r\n\r\n")?;
    let head = String::from_utf8_lossy(&heard[..end]).into_owned();
    let mut lines = head.split("\r\n");
    let status = lines.next()?.split(' ').nth(1)?.parse().ok()?;
    let head: Vec<(String, String)> = lines
        .filter_map(|line| line.split_once(':'))
        .map(|(name, value)| (name.to_lowercase(), value.trim().to_owned()))
        .collect();
    let body = &heard[end + 4..];
    let chunked = head.iter().any(|(name, value)| name == "transfer-encoding" && value == "chunked");
    let body = if chunked { together(body) } else { body.to_vec() };
    Some(Heard { status, head, body: String::from_utf8_lossy(&body).into_owned(), bytes: body, took })
}

/// A body that came in chunks.
fn together(mut rest: &[u8]) -> Vec<u8> {
    let mut body = Vec::new();
    while let Some(end) = rest.windows(2).position(|window| window == b"\r\n") {
        let size = usize::from_str_radix(&String::from_utf8_lossy(&rest[..end]), 16).unwrap_or(0);
        let (from, to) = (end + 2, (end + 2 + size).min(rest.len()));
        body.extend_from_slice(&rest[from..to]);
        rest = rest.get(to + 2..).unwrap_or_default();
        if size == 0 {
            break;
        }
    }
    body
}
