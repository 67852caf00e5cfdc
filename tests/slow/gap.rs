//! The ground of the watch over connections: the HTTP server below, set as ours was before, lets a second head and a body trickle without
//! end. The same clients that our server ends hold this one, so they can tell.

use super::clients::{Ended, Slow, hold};
use actix_web::{App, HttpResponse, HttpServer, web};
use std::net::SocketAddr;
use std::sync::mpsc::channel;
use std::thread;
use std::time::Duration;

/// Reads the whole body, however long it takes.
async fn read(body: web::Payload) -> HttpResponse {
    HttpResponse::Ok().body(body.to_bytes().await.unwrap_or_default())
}

async fn live() -> HttpResponse {
    HttpResponse::Ok().body("{\"status\":\"pass\"}")
}

async fn large() -> HttpResponse {
    HttpResponse::Ok().body("x".repeat(1_000_000))
}

fn bare() -> SocketAddr {
    let (send, receive) = channel();
    thread::spawn(move || {
        actix_web::rt::System::new().block_on(async {
            let app = || {
                App::new()
                    .route("/livez", web::get().to(live))
                    .route("/v1/openapi.json", web::get().to(large))
                    .route("/v1/sign-in", web::post().to(read))
                    .route("/v1/sales", web::post().to(|| async { HttpResponse::Unauthorized().finish() }))
            };
            let server = HttpServer::new(app).workers(1).disable_signals();
            let server = server.client_request_timeout(Duration::from_secs(5)).bind("127.0.0.1:0").unwrap();
            send.send(server.addrs()[0]).unwrap();
            server.run().await.unwrap();
        });
    });
    receive.recv().unwrap()
}

#[test]
fn without_the_watch_the_same_clients_hold_a_server() {
    let address = bare();
    let kinds = [
        (Slow::Silent, Ended::ByTheServer),
        (Slow::Head, Ended::ByTheServer),
        (Slow::SecondHead, Ended::Never),
        (Slow::LateSecondHead, Ended::Never),
        (Slow::Body, Ended::Never),
        (Slow::ChunksOfARefusedRequest, Ended::Never),
        (Slow::NoChunkAfterARefusal, Ended::Never),
        (Slow::NeverReading, Ended::Never),
    ];
    let running: Vec<_> = kinds.map(|(kind, end)| (kind, end, thread::spawn(move || hold(address, kind)))).into();
    let found: Vec<_> = running.into_iter().map(|(kind, end, one)| (kind, end, one.join().unwrap())).collect();
    for (kind, expected, end) in found {
        assert_eq!(end, expected, "{kind:?}");
    }
}
