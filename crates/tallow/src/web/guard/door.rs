//! From where a request may come: the names that the server goes by, and the pages that may make a browser record something.

use std::net::{IpAddr, SocketAddr};

use axum::http::{HeaderMap, HeaderName, Method, header};

use super::public::PublicAddress;
use super::text;
use crate::trouble::Trouble;

/// How the server can be reached.
#[derive(Clone, Debug)]
pub(crate) struct Door {
    names: Vec<String>,
    is_at_home: bool,
    encrypts: bool,
    public: Option<PublicAddress>,
}

impl Door {
    /// A server that listens at `address`, goes by `names` besides and itself encrypts or not. Where another one stands before
    /// it, people reach it at `public` alone.
    pub(crate) fn new(address: SocketAddr, names: &[String], encrypts: bool, public: Option<PublicAddress>) -> Door {
        let public_name = public.as_ref().map(PublicAddress::host);
        let names = names.iter().map(String::as_str).chain(public_name);
        let names: Vec<String> = names.map(|name| name.trim_end_matches('.').to_lowercase()).collect();
        Door { is_at_home: address.ip().is_loopback() && names.is_empty(), names, encrypts, public }
    }

    /// Whether only its own machine can reach it: it then asks nobody who they are until somebody has been set up.
    pub(crate) fn is_at_home(&self) -> bool {
        self.is_at_home
    }

    /// Whether all that people send to it is encrypted on its way.
    pub(crate) fn is_encrypted(&self) -> bool {
        self.public.as_ref().map_or(self.encrypts, PublicAddress::is_encrypted)
    }

    /// The address of this server, without a slash at its end, for whoever sent these headers.
    pub(crate) fn site(&self, headers: &HeaderMap) -> String {
        // OK to have none: who names no host is not let in.
        self.site_at(text(headers, header::HOST).unwrap_or_default())
    }

    /// The address of this server for whoever calls it `host`.
    pub(crate) fn site_at(&self, host: &str) -> String {
        let scheme = if self.encrypts { "https" } else { "http" };
        self.public.as_ref().map_or_else(|| format!("{scheme}://{host}"), |public| public.origin().to_owned())
    }

    /// Why a request is not let in, whoever asks; `None` where it is.
    pub(crate) fn refuses(&self, method: &Method, headers: &HeaderMap) -> Option<Trouble> {
        let host = text(headers, header::HOST).unwrap_or_default();
        if !self.is_own_name(host) {
            return Some(
                Trouble::refused("the server does not go by that name")
                    .help("open it by the address that it printed")
                    .help("or let it go by that name: tallow serve --name NAME"),
            );
        }
        let changes = !matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS);
        (changes && self.is_from_elsewhere(headers, host)).then(|| {
            Trouble::refused("a page of another site asked for this")
                .help(format!("do it on a page of this server, which is {}", self.site_at(host)))
        })
    }

    /// Whether a browser says that the request comes from another site's page. What is no browser says nothing, and carries
    /// no cookie that somebody else could use.
    fn is_from_elsewhere(&self, headers: &HeaderMap, host: &str) -> bool {
        let is_own = |origin: &str| {
            // Where the name is its own but somebody else encrypts, the browser's scheme is not the server's.
            let may_be_encrypted = self.public.is_none() && !self.names.is_empty();
            origin == self.site_at(host) || may_be_encrypted && origin.strip_prefix("https://") == Some(host)
        };
        let site = text(headers, HeaderName::from_static("sec-fetch-site"));
        match (site, text(headers, header::ORIGIN)) {
            (Some(site), _) if site != "same-origin" && site != "none" => true,
            (_, Some(origin)) => !is_own(origin),
            (_, None) => false,
        }
    }

    /// Whether the server goes by that name. Nobody else can point an address at it, as they can a name: away from home any
    /// address will do.
    fn is_own_name(&self, host: &str) -> bool {
        let name = match host.strip_prefix('[') {
            Some(rest) => rest.split(']').next().unwrap_or_default(),
            None => host.split(':').next().unwrap_or_default(),
        };
        match name.parse::<IpAddr>() {
            Ok(address) => address.is_loopback() || !self.is_at_home,
            Err(_) => name == "localhost" || self.names.contains(&name.trim_end_matches('.').to_lowercase()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(door: &Door, method: &str, headers: &[(&str, &str)]) -> bool {
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(HeaderName::from_bytes(name.as_bytes()).unwrap(), value.parse().unwrap());
        }
        door.refuses(&method.parse().unwrap(), &map).is_none()
    }

    fn at_home() -> Door {
        Door::new("127.0.0.1:4630".parse().unwrap(), &[], false, None)
    }

    fn hall(is_encrypted: bool) -> Door {
        Door::new("0.0.0.0:4630".parse().unwrap(), &["Print.hall.example".to_owned()], is_encrypted, None)
    }

    #[test]
    fn another_sites_page_records_nothing_here() {
        const HOST: (&str, &str) = ("host", "127.0.0.1:4630");
        let asked = |method, headers: &[_]| asked(&at_home(), method, headers);
        assert!(asked("POST", &[HOST, ("sec-fetch-site", "same-origin"), ("origin", "http://127.0.0.1:4630")]));
        assert!(!asked("POST", &[HOST, ("sec-fetch-site", "cross-site"), ("origin", "http://127.0.0.1:4630")]));
        assert!(!asked("POST", &[HOST, ("origin", "http://example.org")]));
        assert!(!asked("POST", &[HOST, ("origin", "http://127.0.0.1:8080")]), "another port");
        assert!(!asked("POST", &[HOST, ("origin", "null")]));
        assert!(!asked("POST", &[HOST, ("sec-fetch-site", "same-site")]), "another port is another server");
        assert!(!asked("DELETE", &[HOST, ("sec-fetch-site", "cross-site")]), "whatever the method");
        assert!(asked("POST", &[HOST]), "a program without a browser");
        assert!(asked("GET", &[HOST, ("sec-fetch-site", "cross-site")]), "a link from elsewhere may be followed");
    }

    #[test]
    fn a_page_that_came_unencrypted_is_not_the_encrypted_servers_own() {
        let host = ("host", "print.hall.example");
        assert!(asked(&hall(true), "POST", &[host, ("origin", "https://print.hall.example")]));
        assert!(!asked(&hall(true), "POST", &[host, ("origin", "http://print.hall.example")]));
        assert!(
            asked(&hall(false), "POST", &[host, ("origin", "https://print.hall.example")]),
            "somebody before it encrypts"
        );
    }

    #[test]
    fn a_name_that_somebody_points_at_the_server_is_none_of_its_own() {
        for own in ["localhost:1", "127.0.0.1", "[::1]:4630", "127.8.0.1:80"] {
            assert!(asked(&at_home(), "GET", &[("host", own)]), "{own}");
        }
        for other in ["example.org", "localhost.example.org:1", "192.168.1.5:4630", "", "[::2]:1"] {
            assert!(!asked(&at_home(), "GET", &[("host", other)]), "{other}");
        }
        for own in ["print.hall.example:4630", "PRINT.hall.example.", "192.168.1.5:4630", "[fe80::2]:1"] {
            assert!(asked(&hall(true), "GET", &[("host", own)]), "{own}");
        }
        for other in ["example.org", "print.hall.example.org", "xprint.hall.example", ""] {
            assert!(!asked(&hall(true), "GET", &[("host", other)]), "{other}");
        }
    }

    #[test]
    fn a_server_behind_another_is_the_address_that_it_was_told_and_no_other() {
        let public = PublicAddress::read("https://loft.example").unwrap();
        let door = Door::new("127.0.0.1:4630".parse().unwrap(), &[], false, Some(public));
        assert!(!door.is_at_home(), "others reach it");
        assert!(door.is_encrypted());
        let own = ("origin", "https://loft.example");
        // A server before this one may tell the name that it was called by, or its own for this one.
        for host in ["loft.example", "127.0.0.1:4630", "localhost:4630"] {
            assert_eq!(door.site_at(host), "https://loft.example");
            assert!(asked(&door, "POST", &[("host", host), own]), "{host}");
            for other in ["http://loft.example", "https://loft.example:8443", "http://127.0.0.1:4630"] {
                assert!(!asked(&door, "POST", &[("host", host), ("origin", other)]), "{host} {other}");
            }
            let claims = [("x-forwarded-proto", "https"), ("x-forwarded-host", "example.org")];
            let forged = [("host", host), ("origin", "https://example.org"), claims[0], claims[1]];
            assert!(!asked(&door, "POST", &forged), "what a request says of itself is not believed");
        }
        assert!(!asked(&door, "GET", &[("host", "example.org"), ("x-forwarded-host", "loft.example")]));
    }

    #[test]
    fn a_server_that_goes_by_a_name_can_be_reached_by_others() {
        assert!(at_home().is_at_home());
        assert!(!hall(true).is_at_home());
        let behind_another =
            Door::new("127.0.0.1:4630".parse().unwrap(), &["print.hall.example".to_owned()], false, None);
        assert!(!behind_another.is_at_home());
    }
}
