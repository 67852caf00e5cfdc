//! The floor: actix-web that answers every request with the same bytes, set up as the shop's server is.

use actix_web::{App, HttpResponse, HttpServer, web};

/// Serves a constant of so many bytes, and says on which port. Ends when it is killed.
pub fn serve(bytes: usize) {
    let body: &'static str = Box::leak("x".repeat(bytes).into_boxed_str());
    let answer = move |_: web::Bytes| async move { HttpResponse::Ok().content_type("application/json").body(body) };
    actix_web::rt::System::new().block_on(async {
        let server = HttpServer::new(move || App::new().default_service(web::to(answer)))
            .workers(4)
            .bind("127.0.0.1:0")
            .expect("a free port");
        println!("listening on http://{}", server.addrs()[0]);
        server.run().await.expect("it serves");
    });
}
