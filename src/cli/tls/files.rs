//! A certificate and its key from files: read, held against each other and against the clock, and noticed when they change.

use super::provider;
use crate::units::instant::{Instant, MICROS_PER_SECOND};
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::sign::CertifiedKey;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Files {
    pub certificate: PathBuf,
    pub key: PathBuf,
}

/// What tells a changed file from the same one.
pub type Stamp = [Option<(SystemTime, u64)>; 2];

/// The first and last second of a certificate, since 1970.
pub fn validity(certificate: &CertificateDer<'_>) -> Option<(i64, i64)> {
    let (_, parsed) = x509_parser::parse_x509_certificate(certificate).ok()?;
    let validity = parsed.validity();
    Some((validity.not_before.timestamp(), validity.not_after.timestamp()))
}

fn named(what: &str, file: &Path, why: impl std::fmt::Display) -> String {
    format!("{what} {}: {why}", file.display())
}

impl Files {
    pub fn stamp(&self) -> Stamp {
        [&self.certificate, &self.key].map(|file| {
            let found = std::fs::metadata(file).ok()?;
            Some((found.modified().ok()?, found.len()))
        })
    }

    /// Reads both and says plainly what does not do.
    pub fn load(&self, now: Instant) -> Result<CertifiedKey, String> {
        let bad = |why: String| named("tls.certificate", &self.certificate, why);
        let chain = CertificateDer::pem_file_iter(&self.certificate).and_then(Iterator::collect::<Result<Vec<_>, _>>);
        let chain: Vec<CertificateDer<'static>> = chain.map_err(|e| bad(e.to_string()))?;
        let first = chain.first().ok_or_else(|| bad("holds no certificate in PEM form".to_owned()))?;
        let (begins, ends) = validity(first).ok_or_else(|| bad("the first certificate cannot be read".to_owned()))?;
        let seconds = now.micros() / MICROS_PER_SECOND;
        if seconds >= ends {
            return Err(bad("has ended; renew it".to_owned()));
        }
        if seconds < begins {
            return Err(bad("is not valid yet; is the clock right?".to_owned()));
        }
        let key = PrivateKeyDer::from_pem_file(&self.key).map_err(|e| named("tls.key", &self.key, e))?;
        let signer = provider().key_provider.load_private_key(key).map_err(|e| named("tls.key", &self.key, e))?;
        let certified = CertifiedKey::new(chain, signer);
        certified.keys_match().map_err(|_| named("tls.key", &self.key, "is not the key of tls.certificate"))?;
        Ok(certified)
    }
}
