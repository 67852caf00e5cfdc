//! `sakudana serve`: opens the shop and serves it until it is told to stop.

use super::settings::{self, Settings, Sources};
use super::speak::say;
use super::stop::Stop;
use super::{clock, database, logging, tls, webhooks as own_webhooks};
use crate::jobs::{feed, printing, recovery, shelf, watch, webhooks};
use crate::ops::desk::Desk;
use crate::web::server::{self, ServerOptions};
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

/// Serve the shop: the API and its pages
///
/// Creates the database on the first start, and with it the first owner, whose password is shown once. Ends on SIGTERM or Ctrl-C,
/// after the requests under way. Speaks plain HTTP unless [tls] is set: over a network that others can listen to, set it or put a proxy before it.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  sakudana serve
  sakudana serve --settings shop.toml --database /srv/fish/shop.db
  sakudana serve --database postgres://fish@db.example/shop --listen 0.0.0.0:8080

Environment: SAKUDANA_SETTINGS, SAKUDANA_DATABASE, SAKUDANA_LISTEN, SAKUDANA_LOG
Every setting with its default and range: settings.example.toml")]
pub struct ServeArguments {
    /// Settings file (TOML); all defaults when absent
    #[arg(long, value_name = "FILE")]
    settings: Option<PathBuf>,
    /// Database: a file, or a postgres:// address [default: sakudana.db]
    #[arg(long, value_name = "FILE-OR-URL")]
    database: Option<String>,
    /// Address and port; port 0 takes a free one [default: 127.0.0.1:8080]
    #[arg(long, value_name = "ADDR:PORT")]
    listen: Option<String>,
}

pub fn run(arguments: &ServeArguments) -> Result<(), Stop> {
    let settings = settings::load(&Sources {
        settings: arguments.settings.clone(),
        database: arguments.database.clone(),
        listen: arguments.listen.clone(),
    })?;
    logging::start(&settings.log)?;
    if settings.shop_is_unnamed {
        tracing::warn!("shop.name or shop.address is not set: labels cannot say whose they are");
    }
    let desk = database::open(&settings)?;
    say(format_args!("database: {} ({})", database::shown(&settings.database), desk.database_kind()));
    if let Some((name, password)) = desk.first_owner(clock::now(), &clock::random32()?)? {
        say(format_args!("owner sign-in: {name} {password}"));
        say("This password is shown only now: keep it.");
    }
    serve(Arc::new(desk), &settings, |_| ())
}

/// Every connection takes a file handle. Systems often give a process 1,024 and let it ask for more.
fn more_handles() {
    let limit = getrlimit(Resource::Nofile);
    let more = Rlimit { current: limit.maximum, maximum: limit.maximum };
    if limit.current != limit.maximum && setrlimit(Resource::Nofile, more).is_err() {
        tracing::warn!("cannot ask for more file handles: see limits.connections");
    }
}

/// Serves until told to stop. `ready` runs once the address is known and connections are taken.
pub fn serve(desk: Arc<Desk>, settings: &Settings, ready: impl FnOnce(SocketAddr)) -> Result<(), Stop> {
    desk.warm_up()?;
    more_handles();
    let watch = watch::start(Arc::clone(&desk), clock::now);
    let watch = watch.map_err(|e| Stop::unusable(format!("cannot start the watch: {e}")))?;
    let shelf = shelf::start(Arc::clone(&desk), clock::now);
    let shelf = shelf.map_err(|e| Stop::unusable(format!("cannot keep the shelf: {e}")))?;
    let recovery = recovery::start(Arc::clone(&desk));
    let recovery = recovery.map_err(|e| Stop::unusable(format!("cannot look after the database: {e}")))?;
    let feed = feed::start(&desk);
    let feed = feed.map_err(|e| Stop::unusable(format!("cannot follow the changes: {e}")))?;
    let printing = printing::start(&desk, &settings.printers, clock::now);
    let printing = printing.map_err(|e| Stop::unusable(format!("cannot serve the printers: {e}")))?;
    let serving = webhooks::start(&desk, own_webhooks::options(&settings.webhooks)?);
    let serving = serving.map_err(|e| Stop::unusable(format!("cannot serve the webhooks: {e}")))?;
    let tls = tls::prepare(settings, clock::now)?;
    if let Some(authority) = tls.as_ref().and_then(|tls| tls.authority.as_ref()) {
        say(format_args!("the shop's own authority, SHA-256: {}", authority.fingerprint));
        say("Devices are told to trust it on the page /trust: compare the fingerprint there with this one.");
    }
    let scheme = if tls.is_some() { "https" } else { "http" };
    let options = ServerOptions {
        listen: settings.listen.clone(),
        workers: settings.workers,
        secure_cookies: settings.secure_cookies,
        customer_page: settings.customer_page.clone(),
        limits: settings.limits.clone(),
        tls,
        following: settings.following,
    };
    let served = server::run(Arc::clone(&desk), &options, |addresses| {
        if let Some(plain) = addresses.plain {
            say(format_args!("plain HTTP on http://{plain} leads to HTTPS, and shows /trust"));
        }
        say(format_args!("listening on {scheme}://{}", addresses.shop));
        ready(addresses.shop);
    });
    served.map_err(|e| Stop::unusable(format!("cannot serve on {}: {e}", settings.listen)))?;
    // Nobody asks any more; what works on its own ends next, and then nobody writes.
    drop((watch, shelf, recovery, feed, printing, serving));
    if let Err(error) = desk.settle() {
        tracing::warn!(%error, "the log beside the database could not be emptied: the next start reads it");
    }
    tracing::info!("everything acknowledged is on disk");
    Ok(())
}
