//! What the server needs to speak HTTPS, and how it keeps it fresh. Where certificates come from is not known here.

use actix_web::rt;
use rustls::ServerConfig;
use std::sync::Arc;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};

/// How often the certificate is looked after.
const EVERY: Duration = Duration::from_secs(60);

/// An authority that devices have to be told of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnAuthority {
    pub der: Vec<u8>,
    /// SHA-256, as devices show it.
    pub fingerprint: String,
}

#[derive(Clone)]
pub struct Tls {
    pub config: Arc<ServerConfig>,
    /// Looks after the certificate; may read files.
    pub refresh: Arc<dyn Fn() + Send + Sync>,
    /// None when the certificate comes from elsewhere.
    pub authority: Option<OwnAuthority>,
    /// Where plain HTTP is answered with the way to HTTPS.
    pub http_listen: Option<String>,
    /// What the shop is reached by: names, and addresses without brackets.
    pub names: Vec<String>,
}

/// Looks after the certificate once a minute, and at once on SIGHUP.
pub fn keep_fresh(tls: &Tls) -> std::io::Result<()> {
    let mut hangup = signal(SignalKind::hangup())?;
    let refresh = Arc::clone(&tls.refresh);
    rt::spawn(async move {
        loop {
            // Either way it is time: the minute has passed, or somebody asks.
            let _ = rt::time::timeout(EVERY, hangup.recv()).await;
            let refresh = Arc::clone(&refresh);
            let _ = rt::task::spawn_blocking(move || refresh()).await;
        }
    });
    Ok(())
}
