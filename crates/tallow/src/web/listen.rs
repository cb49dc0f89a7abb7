//! Listening: connections, each with its bounds, encrypted where there is a certificate.
//!
//! A client that sends slowly, or nothing, holds no more than its own connection, and that not for long.

use std::io;
use std::net::{IpAddr, SocketAddr};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::timeout;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::pem::{Error as PemError, PemObject};
use tokio_rustls::rustls::pki_types::{CertificateDer, PrivateKeyDer};

use crate::trouble::Trouble;

/// Connections at once; more wait to be accepted. A hall's browsers hold a few each.
const CONNECTIONS: usize = 512;

/// How long a client may take to agree on a key, and to send a request's head.
const HEAD: Duration = Duration::from_secs(10);

/// The longest head of a request, bytes.
const HEAD_BYTES: usize = 32 * 1024;

/// How long answers that are under way may take once the server was told to end.
const ENDING: Duration = Duration::from_secs(5);

/// From where a request came.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Peer(pub(crate) IpAddr);

/// What encrypts connections: the certificate with those that vouch for it, and its key, both in PEM.
///
/// # Errors
/// Files that can't be read, or do not belong together.
pub(crate) fn encrypted_by(certificate: &Path, key: &Path) -> Result<TlsAcceptor, Trouble> {
    let unreadable = |file: &Path, error: PemError| {
        Trouble::refused(format!("{} can't be read: {error}", file.display())).help("give a file in PEM")
    };
    let chain: Result<Vec<CertificateDer<'static>>, PemError> =
        CertificateDer::pem_file_iter(certificate).and_then(Iterator::collect);
    let chain = chain.map_err(|error| unreadable(certificate, error))?;
    let secret = PrivateKeyDer::from_pem_file(key).map_err(|error| unreadable(key, error))?;
    let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_safe_default_protocol_versions()
        .and_then(|config| config.with_no_client_auth().with_single_cert(chain, secret));
    let mut config = config.map_err(|error| {
        Trouble::refused(format!("the certificate can't be used: {error}"))
            .help("--certificate takes the server's certificate first, then those that vouch for it; --key its key")
    })?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(TlsAcceptor::from(Arc::new(config)))
}

/// Serves until `ended`, then lets answers that are under way reach their end.
pub(super) async fn serve(
    listener: TcpListener,
    tls: Option<TlsAcceptor>,
    router: Router,
    ended: impl Future<Output = ()>,
) {
    let open = GracefulShutdown::new();
    let places = Arc::new(Semaphore::new(CONNECTIONS));
    let mut ended = std::pin::pin!(ended);
    loop {
        let accepted = async {
            let place = places.clone().acquire_owned().await;
            (place, listener.accept().await)
        };
        let (place, accepted) = tokio::select! {
            accepted = accepted => accepted,
            () = &mut ended => break,
        };
        let Ok((stream, peer)) = accepted else {
            // Out of handles, or the client went away: others may fare better in a moment.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let (tls, router, watcher) = (tls.clone(), router.clone(), open.watcher());
        tokio::spawn(async move {
            // OK to ignore: whoever broke the connection off knows.
            let _ = connection(stream, peer, tls, router, watcher).await;
            drop(place);
        });
    }
    drop(listener);
    // OK to ignore: what takes longer is cut off.
    let _ = timeout(ENDING, open.shutdown()).await;
}

async fn connection(
    stream: TcpStream,
    peer: SocketAddr,
    tls: Option<TlsAcceptor>,
    router: Router,
    watcher: Watcher,
) -> io::Result<()> {
    match tls {
        None => answered(stream, peer, router, watcher).await,
        Some(tls) => answered(timeout(HEAD, tls.accept(stream)).await??, peer, router, watcher).await,
    }
}

async fn answered(
    stream: impl AsyncRead + AsyncWrite + Unpin + 'static,
    peer: SocketAddr,
    router: Router,
    watcher: Watcher,
) -> io::Result<()> {
    let pages = TowerToHyperService::new(router);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(Peer(peer.ip()));
        pages.call(request)
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(TokioIo::new(stream), service);
    watcher.watch(connection).await.map_err(io::Error::other)
}
