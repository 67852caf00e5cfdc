//! How connections come in: the socket, the place each takes, its watched line, and the service that speaks HTTP/1 on it. Which addresses
//! that service knows is `server`'s.

use super::limits::connections::{Connections, Place};
use super::limits::line::{HEAD, Line, Wire};
use actix_http::error::DispatchError;
use actix_http::{HttpService, KeepAlive, Protocol, Request, Response};
use actix_server::ServerBuilder;
use actix_service::{IntoServiceFactory, ServiceFactory, ServiceFactoryExt, fn_service, map_config};
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::AppConfig;
use rustls::ServerConfig;
use socket2::{Domain, Protocol as Transport, SockRef, Socket, Type};
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio_rustls::TlsAcceptor;

/// Connections that wait to be taken.
const BACKLOG: i32 = 1_024;
/// Without a request a connection is kept so long.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// After an answer to a request whose body was not read, what still comes is thrown away for so long, so that the answer is read.
const LINGER: Duration = Duration::from_secs(2);
/// For whoever finds no place.
const NO_PLACE: &[u8] =
    b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 5\r\nconnection: close\r\ncontent-length: 0\r\n\r\n";

/// Opens a socket to listen on.
pub fn socket(address: &str) -> io::Result<TcpListener> {
    let address: SocketAddr = address.parse().map_err(io::Error::other)?;
    let socket = Socket::new(Domain::for_address(address), Type::STREAM, Some(Transport::TCP))?;
    socket.set_reuse_address(true)?;
    socket.bind(&address.into())?;
    socket.listen(BACKLOG)?;
    Ok(socket.into())
}

fn place(stream: &TcpStream, connections: &Arc<Connections>) -> Option<Place> {
    let peer = stream.peer_addr().map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |peer| peer.ip());
    let place = connections.enter(peer);
    if place.is_none() {
        // Nobody waits for this to be written: a fresh connection has room for it.
        let _ = stream.try_write(NO_PLACE);
    }
    place
}

/// What all connections of one socket share.
#[derive(Clone)]
pub struct Entrance {
    pub connections: Arc<Connections>,
    /// None for plain HTTP.
    pub tls: Option<Arc<ServerConfig>>,
    /// A client that takes nothing of what was sent to it for so long is gone, whether its machine is off or it only does not read: the
    /// system ends the connection, which nobody here would notice while it waits for room to write.
    pub stalled: Duration,
}

async fn line(stream: TcpStream, entrance: Entrance) -> io::Result<Line> {
    let refused = || io::Error::new(io::ErrorKind::ConnectionRefused, "no place for a connection");
    // Taken before the handshake, which is the dearest part.
    let place = place(&stream, &entrance.connections).ok_or_else(refused)?;
    stream.set_nodelay(true)?;
    if let Err(error) = SockRef::from(&stream).set_tcp_user_timeout(Some(entrance.stalled)) {
        tracing::debug!(%error, "this system does not end connections by itself");
    }
    let Some(config) = entrance.tls else { return Ok(Line::new(Wire::Plain(stream), place)) };
    let secured = tokio::time::timeout(HEAD, TlsAcceptor::from(config).accept(stream)).await;
    let secured = secured.map_err(|_| io::Error::new(io::ErrorKind::TimedOut, "the handshake took too long"))??;
    Ok(Line::new(Wire::Secure(Box::new(secured)), place))
}

/// Lets the server answer on this socket with what `app` makes for each of its threads.
pub fn serve<A, F, S, B>(
    server: ServerBuilder,
    name: &str,
    socket: TcpListener,
    entrance: Entrance,
    app: A,
) -> io::Result<ServerBuilder>
where
    A: Fn() -> F + Send + Clone + 'static,
    F: IntoServiceFactory<S, Request>,
    S: ServiceFactory<Request, Config = AppConfig> + 'static,
    S::Error: Into<actix_web::Error> + 'static,
    S::InitError: std::fmt::Debug,
    S::Response: Into<Response<B>> + 'static,
    S::Future: 'static,
    <S::Service as actix_service::Service<Request>>::Future: 'static,
    S::Service: 'static,
    B: MessageBody + 'static,
{
    // Every thread takes what comes: who finds no place is told so, instead of waiting unseen.
    let server = server.max_concurrent_connections(usize::MAX / 2);
    let stopping = server.graceful_shutdown_signal();
    server.listen(name, socket, move || {
        let entrance = entrance.clone();
        let stopping = stopping.clone();
        let app = app().into_factory().map_err(|error| -> Response<BoxBody> {
            let error: actix_web::Error = error.into();
            error.error_response().into()
        });
        let http = HttpService::build()
            .keep_alive(KeepAlive::Timeout(KEEP_ALIVE))
            .client_request_timeout(HEAD)
            .client_disconnect_timeout(LINGER)
            .graceful_shutdown_signal(move || {
                let stopping = stopping.clone();
                async move { stopping.notified().await }
            })
            .on_connect_ext(|line: &Line, data| {
                data.insert(line.course());
            })
            .finish(map_config(app, |()| AppConfig::default()));
        fn_service(move |stream: TcpStream| {
            let entrance = entrance.clone();
            async move {
                let peer = stream.peer_addr().ok();
                let line = line(stream, entrance).await.map_err(DispatchError::Io)?;
                Ok((line, Protocol::Http1, peer))
            }
        })
        .and_then(http)
    })
}
