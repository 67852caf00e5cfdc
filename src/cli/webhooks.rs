//! What serving webhooks needs of this machine: the file with the key of their secrets, and the certificates of the shop's own authority.

use super::private_file::{self, Put};
use super::settings::Settings;
use super::settings::webhooks::WebhookSettings;
use super::stop::Stop;
use super::{clock, database};
use crate::jobs::webhooks::Options;
use crate::ops::secret::Random32;
use crate::ops::webhooks::Webhooks;
use crate::outbound::webhook::{Road, read_authority};
use crate::web::clock::random;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::os::unix::fs::MetadataExt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A key file is one line; whatever is larger is another file.
const LARGEST_KEY_FILE: u64 = 200;

/// What the shop's desk knows of webhooks. The key is read, or made, when it is first needed.
pub fn of(settings: &Settings) -> Webhooks {
    let file = key_file(settings);
    Webhooks::of(settings.webhooks.rules.clone(), Box::new(move || read_or_make(&file)))
}

/// Where the key is: where the settings say, or beside the database; for a server's database in the folder the program runs in.
fn key_file(settings: &Settings) -> PathBuf {
    settings.webhooks.key_file.clone().unwrap_or_else(|| match database::file_of(&settings.database) {
        Some(file) => PathBuf::from(format!("{}.webhook-key", file.display())),
        None => PathBuf::from("sakudana.webhook-key"),
    })
}

fn read_or_make(file: &Path) -> Result<Random32, String> {
    match read_key(file) {
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        read => return read.map_err(|error| format!("{}: {error}", file.display())),
    }
    let wrong = |error: std::io::Error| format!("{} cannot be made: {error}", file.display());
    let key = random().ok_or_else(|| wrong(std::io::Error::other("the system gives no random numbers")))?;
    if private_file::put(file, &format!("{}\n", STANDARD.encode(key))).map_err(wrong)? == Put::New {
        tracing::info!(file = %file.display(), "made the key of the webhooks' secrets: keep it, apart from copies of the database");
    }
    // Another process may have been faster: its key is the one.
    read_key(file).map_err(wrong)
}

fn read_key(file: &Path) -> std::io::Result<Random32> {
    let opened = File::open(file)?;
    let mode = opened.metadata()?.mode();
    if mode & 0o077 != 0 {
        return Err(std::io::Error::other(format!("others may read it (mode {:o}): make it 600", mode & 0o777)));
    }
    let mut text = String::new();
    opened.take(LARGEST_KEY_FILE).read_to_string(&mut text)?;
    let bytes = STANDARD.decode(text.trim()).ok().and_then(|bytes| Random32::try_from(bytes).ok());
    bytes.ok_or_else(|| std::io::Error::other("is no key of 32 bytes in base64"))
}

/// How the letters travel.
pub fn options(settings: &WebhookSettings) -> Result<Options, Stop> {
    let authority = match &settings.authority_file {
        None => Vec::new(),
        Some(file) => {
            let wrong = |why: String| Stop::unusable(format!("webhooks.authority_file {}: {why}", file.display()));
            let pem = std::fs::read(file).map_err(|error| wrong(error.to_string()))?;
            read_authority(&pem).ok_or_else(|| wrong("holds no certificate".to_owned()))?
        }
    };
    let (may, ours) = (settings.rules.clone(), settings.rules.clone());
    let process: String = clock::random32()?.iter().take(12).map(|byte| format!("{byte:02x}")).collect();
    Ok(Options {
        road: Road {
            may_reach: Arc::new(move |host, port, address| may.may_reach(host, port, address)),
            is_ours: Arc::new(move |host, port| ours.is_of_the_shop(host, port)),
            authority,
            timeout: settings.timeout,
        },
        clock: Arc::new(clock::now),
        chance: || random().map_or(0, |[a, b, ..]| u16::from_be_bytes([a, b])),
        process,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_key_is_made_once_and_kept_from_others() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("key");
        let made = read_or_make(&file).unwrap();
        assert_eq!(read_or_make(&file).unwrap(), made);
        assert_eq!(std::fs::metadata(&file).unwrap().mode() & 0o777, 0o600);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1, "nothing half made is left");
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o640)).unwrap();
        assert!(read_or_make(&file).unwrap_err().contains("others may read it"));
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).unwrap();
        for bad in ["", "AAAA", "not base64", &"A".repeat(400)] {
            std::fs::write(&file, bad).unwrap();
            assert!(read_or_make(&file).unwrap_err().contains("no key"), "{bad:?}");
        }
    }

    #[test]
    fn of_processes_that_make_a_key_at_once_all_get_the_same() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("key");
        let keys: Vec<Random32> = std::thread::scope(|scope| {
            let started: Vec<_> = (0..8).map(|_| scope.spawn(|| read_or_make(&file).unwrap())).collect();
            started.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        assert!(keys.iter().all(|key| *key == keys[0]));
    }
}
