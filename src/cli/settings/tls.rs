//! The table `[tls]`: whether the program speaks HTTPS itself, and with whose certificate.

use super::reader::Section;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use toml::{Table, Value};

/// Where the certificate comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CertificateFrom {
    Files {
        certificate: PathBuf,
        key: PathBuf,
    },
    /// An authority of the shop's own, in a directory or beside the database.
    OwnAuthority {
        names: Vec<String>,
        directory: Option<PathBuf>,
    },
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TlsSettings {
    pub from: CertificateFrom,
    /// Where plain HTTP is answered with the way to HTTPS.
    pub http_listen: Option<String>,
}

const NAME: &str = "must be a list of host names, lower case, or addresses, such as [\"shop.local\", \"192.0.2.7\"]";
const BOTH: &str = "certificate and key are given together, or own_authority = true without them";

/// Reads `[tls]`; none when the program speaks plain HTTP.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> Option<TlsSettings> {
    let mut section = Section::take(file, "tls", problems);
    let path = |text: &str| Some((!text.is_empty()).then(|| PathBuf::from(text)));
    let certificate = section.text("certificate", None, "must be the path of a PEM file", path);
    let key = section.text("key", None, "must be the path of a PEM file", path);
    let own = section.flag("own_authority", false);
    let directory = section.text("authority_directory", None, "must be the path of a directory", path);
    let names = section.value("names").map_or(Some(Vec::new()), |found| {
        names(&found).or_else(|| {
            section.wrong("names", &found, NAME);
            None
        })
    });
    let must = "must be an address and a port, such as 0.0.0.0:8081, or empty";
    let http_listen = section.text("http_listen", None, must, |text| match text {
        "" => Some(None),
        text => text.parse::<SocketAddr>().ok().map(|_| Some(text.to_owned())),
    });
    section.finish();
    let from = match (certificate, key, own) {
        (None, None, false) => return None,
        (Some(certificate), Some(key), false) => CertificateFrom::Files { certificate, key },
        (None, None, true) => CertificateFrom::OwnAuthority { names: names?, directory },
        _ => {
            problems.push(format!("tls: {BOTH}"));
            return None;
        }
    };
    Some(TlsSettings { from, http_listen })
}

fn names(found: &Value) -> Option<Vec<String>> {
    let text = |value: &Value| value.as_str().filter(|name| is_name(name)).map(str::to_owned);
    let list = found.as_array().filter(|list| list.len() <= 40)?;
    list.iter().map(text).collect()
}

/// A host name of labels, lower case, or an address.
pub fn is_name(name: &str) -> bool {
    let label = |label: &str| {
        let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
        !label.is_empty()
            && label.len() <= 63
            && label.bytes().all(plain)
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    name.parse::<IpAddr>().is_ok() || name.len() <= 253 && name.split('.').all(label)
}
