//! An authority of the test's own, and certificates of receivers.

use rcgen::{BasicConstraints, CertificateParams, IsCa, Issuer, KeyPair};
use std::sync::Arc;

pub struct Authority {
    pub pem: String,
    pub der: Vec<u8>,
    issuer: Issuer<'static, KeyPair>,
}

impl Authority {
    pub fn new() -> Authority {
        let key = KeyPair::generate().unwrap();
        let mut params = CertificateParams::new(Vec::new()).unwrap();
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let certificate = params.self_signed(&key).unwrap();
        let (pem, der) = (certificate.pem(), certificate.der().to_vec());
        Authority { pem, der, issuer: Issuer::new(params, key) }
    }

    /// What a receiver needs that is called so.
    pub fn server(&self, name: &str) -> Arc<rustls::ServerConfig> {
        let key = KeyPair::generate().unwrap();
        let params = CertificateParams::new(vec![name.to_owned()]).unwrap();
        let certificate = params.signed_by(&key, &self.issuer).unwrap();
        let provider = Arc::new(rustls::crypto::ring::default_provider());
        let key = rustls::pki_types::PrivateKeyDer::try_from(key.serialize_der()).unwrap();
        let config = rustls::ServerConfig::builder_with_provider(provider)
            .with_safe_default_protocol_versions()
            .unwrap()
            .with_no_client_auth()
            .with_single_cert(vec![certificate.der().clone()], key)
            .unwrap();
        Arc::new(config)
    }
}
