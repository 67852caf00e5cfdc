//! Passwords, sign-in tokens and keys: made from chance, kept as hashes. Nothing here is ever logged.

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;

/// Chance that is handed in: the system's, or a fixed one in tests.
pub type Random32 = [u8; 32];

/// argon2id with 19 MiB, two passes, one lane (OWASP Password Storage Cheat Sheet).
fn hasher() -> Argon2<'static> {
    let params = Params::new(19_456, 2, 1, None).unwrap_or_default();
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

/// The hash of a password in PHC form; none when the hasher refuses (a password beyond any limit of ours).
pub fn hash_password(password: &str) -> Option<String> {
    hasher().hash_password(password.as_bytes()).ok().map(|hash| hash.to_string())
}

/// Whether a password fits a hash. A hash that cannot be read fits nothing.
pub fn password_fits(password: &str, hash: &str) -> bool {
    PasswordHash::new(hash).is_ok_and(|parsed| hasher().verify_password(password.as_bytes(), &parsed).is_ok())
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

/// SHA-256 of a secret of 256 bits of chance: enough, since it cannot be guessed (OWASP ASVS 5.0, 6.5.2).
pub fn digest(secret: &str) -> String {
    hex(&Sha256::digest(secret.as_bytes()))
}

/// Compares without telling by time where two texts differ.
pub fn same(a: &str, b: &str) -> bool {
    a.as_bytes().ct_eq(b.as_bytes()).into()
}

const BASE62: &[u8; 62] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";

/// Text of chance without rejection: the bias of a modulus of 256 by 62 is below a quarter of a bit over 32 characters.
fn letters(random: &[u8]) -> String {
    random.iter().filter_map(|b| BASE62.get(usize::from(*b) % 62)).map(|b| char::from(*b)).collect()
}

/// A sign-in token.
pub fn token(random: &Random32) -> String {
    format!("sdt_{}", letters(random))
}

/// A key for a machine: its public number and the whole text, `sdk_<number>_<secret><check>`; the check catches typing errors before
/// any look-up.
pub fn access_key(number: &Random32, secret: &Random32) -> (String, String) {
    let key_id: String = letters(number).chars().take(8).collect();
    let text = access_key_again(&key_id, secret);
    (key_id, text)
}

/// The whole text of a key that has its public number already and gets a new secret.
pub fn access_key_again(key_id: &str, secret: &Random32) -> String {
    let body = format!("sdk_{key_id}_{}", letters(secret));
    let check = format!("{:08x}", crc32fast::hash(body.as_bytes()));
    format!("{body}{check}")
}

/// The public number of a key whose check fits; none for everything else.
pub fn key_id_of(key: &str) -> Option<&str> {
    let (body, check) = key.split_at_checked(key.len().checked_sub(8)?)?;
    let fits = format!("{:08x}", crc32fast::hash(body.as_bytes())) == check;
    let rest = body.strip_prefix("sdk_")?;
    let (key_id, secret) = rest.split_once('_')?;
    // Anybody can reckon the check: nothing but letters and digits may reach the database.
    let plain = |text: &str, length| text.len() == length && text.bytes().all(|b| b.is_ascii_alphanumeric());
    (fits && plain(key_id, 8) && plain(secret, 32)).then_some(key_id)
}

/// A password a person can copy once: four groups of five, 119 bits of chance.
pub fn first_password(random: &Random32) -> String {
    let text: Vec<char> = letters(random).chars().take(20).collect();
    text.chunks(5).map(|group| group.iter().collect::<String>()).collect::<Vec<_>>().join("-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passwords_fit_only_themselves() {
        let hash = hash_password("a long enough phrase").unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"));
        assert!(password_fits("a long enough phrase", &hash) && !password_fits("a long enough phrasE", &hash));
        assert!(!password_fits("x", "not a hash"));
    }

    #[test]
    fn keys_carry_their_check() {
        let (id, key) = access_key(&[7; 32], &[250; 32]);
        assert_eq!(key_id_of(&key), Some(id.as_str()));
        let mut typo = key.clone();
        typo.replace_range(15..16, if &key[15..16] == "A" { "B" } else { "A" });
        assert_eq!(key_id_of(&typo), None);
        for bad in ["", "sdk_", "sdk_12345678_", "ä", "sdk_x_y00000000"] {
            assert_eq!(key_id_of(bad), None);
        }
        for (id, secret) in [("1234567\0", "a".repeat(32)), ("12345678", "-".repeat(32)), ("123456ä", "a".repeat(32))]
        {
            let body = format!("sdk_{id}_{secret}");
            assert_eq!(key_id_of(&format!("{body}{:08x}", crc32fast::hash(body.as_bytes()))), None, "{body:?}");
        }
    }

    /// RFC 4231 and FIPS 180 agree on SHA-256 of "abc" (FIPS 180-2, appendix B.1).
    #[test]
    fn digests_are_sha_256() {
        assert_eq!(digest("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }
}
