//! A door that speaks through an encrypted line with whoever comes from elsewhere, by certificate files.
//!
//! Programs on this machine may speak plainly on the same port, as they do where there are no certificates: nobody between hears
//! them. From elsewhere nothing that is said plainly is answered.

use std::io;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use axum::extract::connect_info::Connected;
use axum::serve::{IncomingStream, Listener};
use rustls::ServerConfig;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{Semaphore, mpsc};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;
use tokio_util::either::Either;

/// The first byte of a TLS record that begins a handshake (RFC 8446, section 5.1).
const HANDSHAKE: u8 = 22;
/// So many may be agreeing on how to speak at a time; others wait.
const GREETED: usize = 64;
/// Who does not say how they want to speak for so long is sent away.
const PATIENCE: Duration = Duration::from_secs(10);
/// How long to wait when the system lets nobody in.
const AGAIN: Duration = Duration::from_millis(200);

/// The files by which a door proves who it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Certificates {
    /// The certificate and those that lead up to its authority, in PEM.
    pub certificate: PathBuf,
    /// Its private key, in PEM.
    pub key: PathBuf,
}

impl Certificates {
    /// Whether a door can be opened with them.
    pub(crate) fn check(&self) -> io::Result<()> {
        self.config().map(drop)
    }

    fn config(&self) -> io::Result<ServerConfig> {
        let said = |path: &Path, why: &dyn std::fmt::Display| {
            io::Error::new(io::ErrorKind::InvalidData, format!("`{}`: {why}", path.display()))
        };
        let chain: Vec<CertificateDer<'static>> = CertificateDer::pem_file_iter(&self.certificate)
            .and_then(Iterator::collect)
            .map_err(|why| said(&self.certificate, &why))?;
        if chain.is_empty() {
            return Err(said(&self.certificate, &"there is no certificate in it"));
        }
        let key = PrivateKeyDer::from_pem_file(&self.key).map_err(|why| said(&self.key, &why))?;
        let config = ServerConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
            .with_safe_default_protocol_versions()
            .map_err(|why| said(&self.certificate, &why))?;
        let mut config =
            config.with_no_client_auth().with_single_cert(chain, key).map_err(|why| said(&self.key, &why))?;
        config.alpn_protocols = vec![b"http/1.1".to_vec()];
        Ok(config)
    }
}

/// What is said over, one way or the other.
type Line = Either<TcpStream, TlsStream<TcpStream>>;

/// Where somebody comes from.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Peer(pub(crate) SocketAddr);

impl Connected<IncomingStream<'_, TcpListener>> for Peer {
    fn connect_info(stream: IncomingStream<'_, TcpListener>) -> Self {
        Self(*stream.remote_addr())
    }
}

impl Connected<IncomingStream<'_, Encrypted>> for Peer {
    fn connect_info(stream: IncomingStream<'_, Encrypted>) -> Self {
        Self(*stream.remote_addr())
    }
}

/// A listener that has agreed with everybody on how to speak before it lets them in.
#[derive(Debug)]
pub(crate) struct Encrypted {
    address: SocketAddr,
    agreed: mpsc::Receiver<(Line, SocketAddr)>,
}

impl Encrypted {
    /// Goes on with a listener in that way. Whoever takes long keeps nobody else waiting.
    pub(crate) fn new(listener: TcpListener, certificates: &Certificates) -> io::Result<Self> {
        let acceptor = TlsAcceptor::from(Arc::new(certificates.config()?));
        let address = listener.local_addr()?;
        let (sender, agreed) = mpsc::channel(GREETED);
        tokio::spawn(greet(listener, acceptor, sender));
        Ok(Self { address, agreed })
    }
}

async fn greet(listener: TcpListener, acceptor: TlsAcceptor, agreed: mpsc::Sender<(Line, SocketAddr)>) {
    let greeted = Arc::new(Semaphore::new(GREETED));
    loop {
        let Ok(permit) = Arc::clone(&greeted).acquire_owned().await else { return };
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            () = agreed.closed() => return,
        };
        let Ok((stream, peer)) = accepted else {
            tokio::time::sleep(AGAIN).await;
            continue;
        };
        let (acceptor, agreed) = (acceptor.clone(), agreed.clone());
        tokio::spawn(async move {
            let _permit = permit;
            match tokio::time::timeout(PATIENCE, agree(stream, peer, &acceptor)).await {
                Ok(Ok(line)) => drop(agreed.send((line, peer)).await),
                Ok(Err(why)) => tracing::debug!(%peer, %why, "somebody was not let in"),
                Err(_) => tracing::debug!(%peer, "somebody said nothing"),
            }
        });
    }
}

async fn agree(stream: TcpStream, peer: SocketAddr, acceptor: &TlsAcceptor) -> io::Result<Line> {
    let mut first = [0];
    stream.peek(&mut first).await?;
    if first[0] == HANDSHAKE {
        return acceptor.accept(stream).await.map(Either::Right);
    }
    match may_speak_plainly(peer) {
        true => Ok(Either::Left(stream)),
        false => {
            Err(io::Error::new(io::ErrorKind::PermissionDenied, "it spoke plainly; hint: open the page by `https`"))
        }
    }
}

/// Only those on this machine: nobody is between.
fn may_speak_plainly(peer: SocketAddr) -> bool {
    peer.ip().to_canonical().is_loopback()
}

impl Listener for Encrypted {
    type Io = Line;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Line, SocketAddr) {
        match self.agreed.recv().await {
            Some(agreed) => agreed,
            // It goes on for as long as the door is open.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        Ok(self.address)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_from_another_machine_is_answered_plainly() {
        for here in ["127.0.0.1:9", "127.8.9.10:9", "[::1]:9", "[::ffff:127.0.0.1]:9"] {
            assert!(may_speak_plainly(here.parse().unwrap()), "{here}");
        }
        for elsewhere in ["192.0.2.7:9", "10.0.0.1:9", "[2001:db8::1]:9", "[::ffff:192.0.2.7]:9", "0.0.0.0:9"] {
            assert!(!may_speak_plainly(elsewhere.parse().unwrap()), "{elsewhere}");
        }
    }

    #[test]
    fn files_that_prove_nothing_are_told_by_name() {
        let folder = std::env::temp_dir().join(format!("lineclear-certificates-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let empty = folder.join("empty.pem");
        std::fs::write(&empty, "nothing").unwrap();
        let missing = folder.join("missing.pem");
        for certificate in [&empty, &missing] {
            let certificates = Certificates { certificate: certificate.clone(), key: empty.clone() };
            let error = certificates.check().unwrap_err().to_string();
            assert!(error.starts_with(&format!("`{}`: ", certificate.display())), "{error}");
        }
        std::fs::remove_dir_all(folder).unwrap();
    }
}
