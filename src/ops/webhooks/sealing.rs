//! The secrets of webhooks as they are kept: sealed with a key that is not in the database, so that a copy of the database forges nothing.
//! XChaCha20-Poly1305 with a nonce of chance.

use super::super::secret::Random32;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{Key, XChaCha20Poly1305, XNonce};

/// How a sealed secret begins: the way it is sealed.
const VERSION: &str = "x1:";
/// What is sealed, so that nothing else sealed with the same key passes for it.
const PURPOSE: &[u8] = b"sakudana webhook secret";
const NONCE: usize = 24;

/// The key that seals.
#[derive(Clone)]
pub struct SealingKey(Random32);

impl SealingKey {
    pub const fn new(bytes: Random32) -> SealingKey {
        SealingKey(bytes)
    }

    fn cipher(&self) -> XChaCha20Poly1305 {
        XChaCha20Poly1305::new(&Key::from(self.0))
    }

    /// Seals a secret; `chance` is used for nothing else.
    pub fn seal(&self, secret: &[u8], chance: &Random32) -> Option<String> {
        let nonce = chance.first_chunk::<NONCE>()?;
        let sealed = self.cipher().encrypt(&XNonce::from(*nonce), Payload { msg: secret, aad: PURPOSE }).ok()?;
        Some(format!("{VERSION}{}", STANDARD.encode([nonce.as_slice(), &sealed].concat())))
    }

    /// Opens a sealed secret; none when another key sealed it, or somebody changed it.
    pub fn open(&self, sealed: &str) -> Option<Vec<u8>> {
        let bytes = STANDARD.decode(sealed.strip_prefix(VERSION)?).ok()?;
        let (nonce, sealed) = bytes.split_first_chunk::<NONCE>()?;
        self.cipher().decrypt(&XNonce::from(*nonce), Payload { msg: sealed, aad: PURPOSE }).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_sealed_opens_with_its_key_alone_and_unchanged() {
        let key = SealingKey::new([1; 32]);
        let sealed = key.seal(&[7; 32], &[2; 32]).unwrap();
        assert_eq!(key.open(&sealed).as_deref(), Some([7; 32].as_slice()));
        assert_ne!(key.seal(&[7; 32], &[3; 32]).unwrap(), sealed);
        assert_eq!(SealingKey::new([2; 32]).open(&sealed), None);
        for at in VERSION.len()..sealed.len() {
            let mut changed = sealed.clone().into_bytes();
            changed[at] = if changed[at] == b'A' { b'B' } else { b'A' };
            assert_eq!(key.open(&String::from_utf8(changed).unwrap()), None, "{at}");
        }
        assert_eq!(key.open(""), None);
        assert_eq!(key.open("x1:"), None);
    }
}
