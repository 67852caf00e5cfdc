//! A certificate authority of the shop's own: made once, kept in a file that nobody else can read, and able to vouch for the shop's own
//! network alone. Certificates it issues live for 90 days and their keys never touch a disk.

use super::files::validity;
use super::provider;
use crate::cli::private_file;
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_SECOND};
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, date_time_ymd,
};
use rustls::RootCertStore;
use rustls::client::WebPkiServerVerifier;
use rustls::client::danger::ServerCertVerifier;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer, ServerName, UnixTime};
use rustls::sign::CertifiedKey;
use sha2::{Digest, Sha256};
use std::net::IpAddr;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

const MICROS_PER_DAY: i64 = 24 * MICROS_PER_HOUR;
const AUTHORITY_DAYS: i64 = 3_653;
pub const CERTIFICATE_DAYS: i64 = 90;
/// Clocks of tills and phones differ: what begins now must be valid on one that is late.
const EARLIER_DAYS: i64 = 1;

/// Networks that nobody else has: private, loopback, link-local (RFC 1918, 1122, 3927, 4193, 4291).
const OWN_NETWORKS: [(&str, u8); 8] = [
    ("10.0.0.0", 8),
    ("172.16.0.0", 12),
    ("192.168.0.0", 16),
    ("127.0.0.0", 8),
    ("169.254.0.0", 16),
    ("::1", 128),
    ("fc00::", 7),
    ("fe80::", 10),
];
/// Domains that nobody else has: RFC 6761, 6762, 8375; `lan` and `internal` by wide custom (the latter reserved by ICANN in 2024; memory).
const OWN_DOMAINS: [&str; 5] = ["localhost", "local", "home.arpa", "lan", "internal"];

const ANEW: &str = "take the file away to have another made, which every device has to be told to trust";

pub struct Authority {
    certificate: CertificateDer<'static>,
    key: KeyPair,
    /// For whoever has to be told where it is.
    file: String,
}

fn says(file: &Path, why: impl std::fmt::Display) -> String {
    format!("the authority in {}: {why}", file.display())
}

fn days(params: &mut CertificateParams, now: Instant, end: Instant) {
    let day = |instant: Instant| date_time_ymd(1970, 1, 1) + Duration::from_micros(instant.micros().unsigned_abs());
    params.not_before = day(now.plus_micros(-EARLIER_DAYS * MICROS_PER_DAY));
    params.not_after = day(end);
}

fn called(name: &str) -> DistinguishedName {
    let mut whole = DistinguishedName::new();
    whole.push(DnType::CommonName, name);
    whole
}

/// The shop's own networks and domains, and the names it has when the authority is made: a key that is stolen is good for nothing else.
fn constraints(names: &[String]) -> NameConstraints {
    let networks = OWN_NETWORKS.iter().filter_map(|(address, prefix)| {
        Some(GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(address.parse().ok()?, *prefix)))
    });
    let domains = OWN_DOMAINS.iter().map(|domain| GeneralSubtree::DnsName((*domain).to_owned()));
    let own = names.iter().map(|name| match name.parse::<IpAddr>() {
        Ok(address) => {
            GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(address, if address.is_ipv4() { 32 } else { 128 }))
        }
        Err(_) => GeneralSubtree::DnsName(name.clone()),
    });
    NameConstraints { permitted_subtrees: networks.chain(domains).chain(own).collect(), excluded_subtrees: Vec::new() }
}

impl Authority {
    /// The authority of this file; makes it when there is no file.
    pub fn open(file: &Path, names: &[String], now: Instant) -> Result<Authority, String> {
        if !file.exists() {
            let text = Self::make(names, now).map_err(|e| says(file, e))?;
            private_file::put(file, &text).map_err(|e| says(file, e))?;
        }
        let mode = std::fs::metadata(file).map_err(|e| says(file, e))?.permissions().mode();
        if mode & 0o077 != 0 {
            return Err(says(
                file,
                format_args!("others can read it (mode {:o}); chmod 600, and make another if they did", mode & 0o777),
            ));
        }
        let text = std::fs::read(file).map_err(|e| says(file, e))?;
        let certificate = CertificateDer::from_pem_slice(&text).map_err(|e| says(file, e))?;
        let key = PrivateKeyDer::from_pem_slice(&text).map_err(|e| says(file, e))?;
        let key = KeyPair::try_from(&key).map_err(|e| says(file, e))?;
        Ok(Authority { certificate, key, file: file.display().to_string() })
    }

    fn make(names: &[String], now: Instant) -> Result<String, rcgen::Error> {
        let key = KeyPair::generate()?;
        let mut params = CertificateParams::default();
        params.distinguished_name = called("The shop's own authority (Sakudana)");
        params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
        params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
        params.name_constraints = Some(constraints(names));
        days(&mut params, now, now.plus_micros(AUTHORITY_DAYS * MICROS_PER_DAY));
        let certificate = params.self_signed(&key)?;
        Ok(format!("{}{}", certificate.pem(), key.serialize_pem()))
    }

    /// The certificate as devices take it.
    pub fn der(&self) -> Vec<u8> {
        self.certificate.to_vec()
    }

    /// SHA-256 of the certificate, as devices show it.
    pub fn fingerprint(&self) -> String {
        Sha256::digest(&self.certificate).iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":")
    }

    /// Its last moment.
    pub fn ends(&self) -> Instant {
        let micros = validity(&self.certificate).map_or(0, |(_, ends)| ends.saturating_mul(MICROS_PER_SECOND));
        Instant::from_micros(micros).unwrap_or(Instant::EPOCH)
    }

    /// Vouches for the shop under these names, with a key of its own, from now on.
    pub fn issue(&self, names: &[String], now: Instant) -> Result<CertifiedKey, String> {
        let says = |why: String| says(Path::new(&self.file), why);
        if now >= self.ends() {
            return Err(says(format!("it has ended; {ANEW}")));
        }
        let (certificate, key) = self.sign(names, now).map_err(|e| says(e.to_string()))?;
        if names.iter().any(|name| self.check(&certificate, name, now).is_err()) {
            let foreign = |name: &&String| !self.vouches_for(name, now);
            let which = names.iter().find(foreign).map_or("these names", String::as_str);
            return Err(says(format!("it cannot vouch for {which}, since it was made for other names; {ANEW}")));
        }
        let signer = provider().key_provider.load_private_key(key).map_err(|e| says(e.to_string()))?;
        Ok(CertifiedKey::new(vec![certificate], signer))
    }

    fn vouches_for(&self, name: &str, now: Instant) -> bool {
        self.sign(&[name.to_owned()], now).is_ok_and(|(alone, _)| self.check(&alone, name, now).is_ok())
    }

    fn sign(
        &self,
        names: &[String],
        now: Instant,
    ) -> Result<(CertificateDer<'static>, PrivateKeyDer<'static>), rcgen::Error> {
        let issuer = Issuer::from_ca_cert_der(&self.certificate, &self.key)?;
        let key = KeyPair::generate()?;
        let mut params = CertificateParams::new(names.to_vec())?;
        // With a space, so that nobody takes it for the name of a host.
        params.distinguished_name = called("Sakudana counter");
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        days(&mut params, now, now.plus_micros(CERTIFICATE_DAYS * MICROS_PER_DAY).min(self.ends()));
        let certificate = params.signed_by(&key, &issuer)?;
        Ok((certificate.der().clone(), PrivatePkcs8KeyDer::from(key.serialize_der()).into()))
    }

    /// What a device that trusts this authority would say of the certificate.
    fn check(&self, certificate: &CertificateDer<'_>, name: &str, now: Instant) -> Result<(), String> {
        let mut trusted = RootCertStore::empty();
        trusted.add(self.certificate.clone()).map_err(|e| e.to_string())?;
        let device = WebPkiServerVerifier::builder_with_provider(Arc::new(trusted), provider()).build();
        let device = device.map_err(|e| e.to_string())?;
        let name = ServerName::try_from(name).map_err(|e| e.to_string())?;
        let now = UnixTime::since_unix_epoch(Duration::from_micros(now.micros().unsigned_abs()));
        device.verify_server_cert(certificate, &[], &name, &[], now).map(drop).map_err(|e| e.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whoever comes while it is being made finds all of it or nothing, and all have the same one in the end.
    #[test]
    fn it_is_made_once_and_whole_however_many_begin_at_once() {
        let folder = std::env::temp_dir().join(format!("sakudana-authority-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let file = folder.join("sakudana-authority.pem");
        let open = || Authority::open(&file, &["counter.local".to_owned()], Instant::EPOCH).unwrap().fingerprint();
        let all: Vec<String> = std::thread::scope(|scope| {
            let begun: Vec<_> = (0..8).map(|_| scope.spawn(open)).collect();
            begun.into_iter().map(|one| one.join().unwrap()).collect()
        });
        assert!(all.iter().all(|one| Some(one) == all.first()), "{all:?}");
        assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1, "nothing half done is left beside it");
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
