//! The listening sockets: which, how many connections, and how long a client may take to say what it wants.

use super::gate::{Door, Gate};
use super::hub::{BEAT_MS, Hub};
use super::routes::{Peer, Site, router};
use axum::body::Body;
use hyper_util::rt::{TokioIo, TokioTimer};
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tower_service::Service;

/// The usual port.
pub const PORT: u16 = 8417;
/// Connections at once, pages that are open included. More are closed at once.
pub const MOST_CONNECTIONS: usize = 64;
/// A client that has not said by then what it wants is dropped.
pub const HEADER_TIME: Duration = Duration::from_secs(5);

/// Where to listen.
#[derive(Debug, Clone)]
pub struct Options {
    /// Port on this machine.
    pub port: u16,
    /// Another address to listen on, which needs the pairing code.
    pub listen: Option<SocketAddr>,
    /// Names by which that address may be asked for.
    pub names: Vec<String>,
    /// Nothing can be changed from a page.
    pub read_only: bool,
}

impl Default for Options {
    fn default() -> Options {
        Options { port: PORT, listen: None, names: Vec::new(), read_only: false }
    }
}

/// Bound sockets.
#[derive(Debug)]
pub struct Server {
    site: Arc<Site>,
    doors: Vec<(TcpListener, Door)>,
    addresses: Vec<SocketAddr>,
}

impl Server {
    /// Binds: this machine only, unless told otherwise.
    ///
    /// # Errors
    /// A port is taken, or an address is not this machine's or names no single interface.
    pub async fn bind(hub: Arc<Hub>, options: &Options) -> io::Result<Server> {
        let gate = Gate::new(Instant::now()).map_err(io::Error::other)?;
        let site = Arc::new(Site::new(hub, options.read_only, gate));
        let four = TcpListener::bind((Ipv4Addr::LOCALHOST, options.port)).await?;
        let port = four.local_addr()?.port();
        let local = ["127.0.0.1".to_owned(), "[::1]".to_owned(), "localhost".to_owned()];
        let mut doors = vec![(four, Door::new(&local, port, false))];
        // A machine without version 6 does without.
        if let Ok(six) = TcpListener::bind((Ipv6Addr::LOCALHOST, port)).await {
            doors.push((six, Door::new(&local, port, false)));
        }
        if let Some(address) = options.listen {
            if address.ip().is_unspecified() || address.ip().is_loopback() {
                return Err(io::Error::new(
                    io::ErrorKind::InvalidInput,
                    "--listen needs the address of one network interface, not all of them and not this machine's own",
                ));
            }
            let listener = TcpListener::bind(address).await?;
            let bound = listener.local_addr()?;
            let mut names = options.names.clone();
            names.push(match bound.ip() {
                IpAddr::V4(ip) => ip.to_string(),
                IpAddr::V6(ip) => format!("[{ip}]"),
            });
            doors.push((listener, Door::new(&names, bound.port(), true)));
        }
        let addresses = doors.iter().map(|(listener, _)| listener.local_addr()).collect::<io::Result<_>>()?;
        Ok(Server { site, doors, addresses })
    }

    /// Where it listens.
    pub fn addresses(&self) -> &[SocketAddr] {
        &self.addresses
    }

    /// What it serves.
    pub fn site(&self) -> &Arc<Site> {
        &self.site
    }

    /// Serves until the future is dropped.
    pub async fn run(self) {
        let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        for (listener, door) in self.doors {
            let router = router(self.site.clone(), door);
            tokio::spawn(accept(listener, router, room.clone()));
        }
        let mut beat = tokio::time::interval(Duration::from_millis(BEAT_MS));
        beat.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
        loop {
            beat.tick().await;
            self.site.hub.beat();
        }
    }
}

async fn accept(listener: TcpListener, router: axum::Router, room: Arc<Semaphore>) {
    loop {
        let Ok((stream, peer)) = listener.accept().await else {
            // Out of file descriptors, most likely: wait for some to come back.
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        // Full: dropping the stream closes it.
        let Ok(place) = room.clone().try_acquire_owned() else { continue };
        let router = router.clone();
        tokio::spawn(async move {
            serve(stream, peer, router).await;
            drop(place);
        });
    }
}

async fn serve(stream: TcpStream, peer: SocketAddr, router: axum::Router) {
    let service = hyper::service::service_fn(move |request: hyper::Request<hyper::body::Incoming>| {
        let mut request = request.map(Body::new);
        request.extensions_mut().insert(Peer(peer.ip()));
        router.clone().call(request)
    });
    let mut http = hyper::server::conn::http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEADER_TIME).max_buf_size(16 * 1024);
    // A connection that breaks is the client's affair.
    let _ = http.serve_connection(TokioIo::new(stream), service).await;
}
