//! HTTPS by the program itself: a certificate from files, or one of the shop's own authority; loaded, checked, renewed. What is served over
//! it is not known here.

pub mod authority;
pub mod files;
pub mod keeper;

use super::database;
use super::settings::Settings;
use super::settings::tls::{CertificateFrom, TlsSettings, is_name};
use super::stop::Stop;
use crate::units::instant::Instant;
use crate::web::tls::{OwnAuthority, Tls};
use authority::Authority;
use files::Files;
use keeper::{Keeper, Source};
use rustls::ServerConfig;
use rustls::crypto::CryptoProvider;
use rustls::version::{TLS12, TLS13};
use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

/// The ciphers: those of `ring`, which builds everywhere without further tools.
pub fn provider() -> Arc<CryptoProvider> {
    Arc::new(rustls::crypto::ring::default_provider())
}

/// Makes ready what the settings ask for; none for plain HTTP. What is wrong with a certificate is said before anything listens.
pub fn prepare(settings: &Settings, now: fn() -> Instant) -> Result<Option<Tls>, Stop> {
    let Some(tls) = &settings.tls else { return Ok(None) };
    let given: &[String] = match &tls.from {
        CertificateFrom::Files { .. } => &[],
        CertificateFrom::OwnAuthority { names, .. } => names,
    };
    let names = all_names(settings, given);
    let (source, authority) = match &tls.from {
        CertificateFrom::Files { certificate, key } => {
            (Source::Files(Files { certificate: certificate.clone(), key: key.clone() }), None)
        }
        CertificateFrom::OwnAuthority { directory, .. } => {
            let file = authority_file(settings, directory.clone())?;
            let authority = Authority::open(&file, &names, now()).map_err(Stop::unusable)?;
            let shown = OwnAuthority { der: authority.der(), fingerprint: authority.fingerprint() };
            (Source::Authority(Box::new(authority), names.clone()), Some(shown))
        }
    };
    let keeper = Keeper::new(source, now()).map_err(Stop::unusable)?;
    ready(keeper, authority, tls, names, now).map(Some)
}

fn ready(
    keeper: Keeper,
    authority: Option<OwnAuthority>,
    tls: &TlsSettings,
    names: Vec<String>,
    now: fn() -> Instant,
) -> Result<Tls, Stop> {
    let keeper = Arc::new(keeper);
    let config = ServerConfig::builder_with_provider(provider()).with_protocol_versions(&[&TLS13, &TLS12]);
    let config = config.map_err(|e| Stop::unusable(format!("TLS cannot be set up: {e}")))?;
    let shown = Arc::clone(&keeper);
    let mut config = config.with_no_client_auth().with_cert_resolver(shown);
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Tls {
        config: Arc::new(config),
        refresh: Arc::new(move || keeper.refresh(now())),
        authority,
        http_listen: tls.http_listen.clone(),
        names,
    })
}

/// The authority's file stands beside the database, since it is as much the shop's own.
fn authority_file(settings: &Settings, directory: Option<PathBuf>) -> Result<PathBuf, Stop> {
    let beside = || Some(database::file_of(&settings.database)?.parent()?.to_owned());
    let directory = directory.or_else(beside).ok_or_else(|| {
        Stop::wrong("tls.authority_directory: must be given, since a PostgreSQL server has no directory for the authority's file")
    })?;
    Ok(directory.join("sakudana-authority.pem"))
}

/// The names of the settings, the address that is listened on, and the host that is on the labels.
fn all_names(settings: &Settings, given: &[String]) -> Vec<String> {
    let mut names: BTreeSet<String> = given.iter().cloned().collect();
    let listen = settings.listen.parse::<SocketAddr>().ok().map(|address| address.ip());
    names.extend(listen.filter(|ip| !ip.is_unspecified()).map(|ip| ip.to_string()));
    let host = settings
        .shop
        .web_address
        .strip_prefix("https://")
        .map(|rest| rest.rsplit_once(':').map_or(rest, |(host, _)| host));
    names.extend(host.map(|host| host.trim_matches(['[', ']']).to_owned()).filter(|host| is_name(host)));
    if names.is_empty() {
        names.insert("localhost".to_owned());
    }
    names.into_iter().collect()
}
