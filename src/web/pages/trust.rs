//! How to trust the shop's own authority, in plain words for each kind of device; and what plain HTTP is answered with when the shop speaks
//! HTTPS. Anyone may read it: it holds nothing that is secret.

use super::layout::page;
use super::visitor::html;
use crate::web::call::Service;
use crate::web::route;
use crate::web::tls::OwnAuthority;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, web};
use maud::{Markup, html as markup};

/// What is told of the authority, and the port of HTTPS.
pub struct Trust {
    pub authority: Option<OwnAuthority>,
    pub https_port: u16,
    /// What the shop is reached by: names, and addresses without brackets.
    pub names: Vec<String>,
}

/// What to do on each kind of device: the ways of their makers in 2026, from memory; they move these menus now and then.
const DEVICES: [(&str, &[&str]); 7] = [
    (
        "iPhone and iPad",
        &[
            "Open this page in Safari, tap the file above and allow the download.",
            "Settings, General, VPN & Device Management: choose the profile and install it.",
            "Settings, General, About, Certificate Trust Settings: switch it on. Without this step nothing changes.",
        ],
    ),
    (
        "Android",
        &[
            "Tap the file above to download it.",
            "Settings, Security, More security settings, Encryption & credentials, Install a certificate, CA certificate: choose the file. The names differ a little from maker to maker; searching the settings for “CA certificate” finds it.",
        ],
    ),
    (
        "Windows",
        &[
            "Download the file and open it: Install Certificate, Local Machine.",
            "Place all certificates in the following store: Trusted Root Certification Authorities.",
        ],
    ),
    (
        "macOS",
        &[
            "Download the file and open it: it is added to Keychain Access. Choose the keychain System.",
            "Open its entry there, Trust: Always Trust.",
        ],
    ),
    (
        "Linux",
        &[
            "Convert the file to PEM and put it where the system looks: openssl x509 -inform der -in authority.crt -out /usr/local/share/ca-certificates/sakudana.crt, then update-ca-certificates (Debian and its kin).",
        ],
    ),
    (
        "Firefox, on any system",
        &["Settings, Privacy & Security, Certificates, View Certificates, Authorities, Import: trust it for websites."],
    ),
    (
        "A till or another program",
        &[
            "Give it the file where it asks for a CA certificate, a trust store or a bundle. Never switch its checking of certificates off: then it would talk to anybody.",
        ],
    ),
];

fn steps(authority: &OwnAuthority) -> Markup {
    markup! {
        h1 { "Trust this shop's connection" }
        p { "This shop's counter speaks over an encrypted connection. Its certificate comes from an authority of the shop's own, which no device knows by itself. Each device is told once; then the warning is gone." }
        section.card {
            h2 { "1. Get the file" }
            p { a.button href="/trust/authority.crt" { "authority.crt" } }
        }
        section.card {
            h2 { "2. Compare it" }
            p { "Before a device trusts it, compare the SHA-256 fingerprint that the device shows with the one that the program printed when it was started. If they differ, stop: somebody else is answering." }
            p { code { (authority.fingerprint) } }
        }
        section.card {
            h2 { "3. Let the device trust it" }
            @for (device, steps) in DEVICES {
                h3 { (device) }
                ol { @for step in steps { li { (step) } } }
            }
        }
        section.card {
            h2 { "What it can do" }
            p { "It can vouch for the names of this shop and for addresses of private networks, and for nothing else: not for a bank, not for a mail server. Take it off a device that leaves the shop." }
        }
    }
}

async fn get(trust: web::Data<Trust>, service: web::Data<Service>) -> HttpResponse {
    match &trust.authority {
        Some(authority) => {
            html(page(service.desk.shop(), None, "Trust this shop's connection", "/trust", None, steps(authority)))
        }
        None => HttpResponse::NotFound().finish(),
    }
}

/// The media type that phones and browsers take for an authority (RFC 8555 names the one of chains; this one is what they all know; memory).
async fn certificate(trust: web::Data<Trust>) -> HttpResponse {
    match &trust.authority {
        Some(authority) => HttpResponse::Ok()
            .content_type("application/x-x509-ca-cert")
            .insert_header((header::CONTENT_DISPOSITION, "attachment; filename=\"authority.crt\""))
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .body(authority.der.clone()),
        None => HttpResponse::NotFound().finish(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/trust", route::get().to(get));
    config.route("/trust/authority.crt", route::get().to(certificate));
}

/// Leads from plain HTTP to the same address over HTTPS. The method stays: a till that posts finds its way, and sees that it was led.
pub async fn lead_to_https(request: HttpRequest, trust: web::Data<Trust>, service: web::Data<Service>) -> HttpResponse {
    // What a client or a stranger's proxy says beside the host leads nobody anywhere.
    let asked = request.headers().get(header::HOST).and_then(|value| value.to_str().ok()).unwrap_or("");
    let path = request.uri().path_and_query().map_or("/", |path| path.as_str());
    let place = secure_place(asked, &trust.names, trust.https_port, &service.desk.shop().web_address);
    match place.and_then(|place| HeaderValue::from_str(&format!("{place}{path}")).ok()) {
        Some(address) => HttpResponse::PermanentRedirect().insert_header((header::LOCATION, address)).finish(),
        None => HttpResponse::BadRequest().finish(),
    }
}

/// Where the shop speaks HTTPS: under the name it was asked by, if that is one of its own, else under the address that stands on its labels.
fn secure_place(asked: &str, names: &[String], port: u16, web_address: &str) -> Option<String> {
    let is_port = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let host = asked.rsplit_once(':').filter(|(_, port)| is_port(port)).map_or(asked, |(host, _)| host);
    let bare = host.trim_start_matches('[').trim_end_matches(']');
    let named = |host: &str| {
        let host = if host.contains(':') { format!("[{host}]") } else { host.to_owned() };
        if port == 443 { format!("https://{host}") } else { format!("https://{host}:{port}") }
    };
    if let Some(own) = names.iter().find(|name| name.eq_ignore_ascii_case(bare)) {
        return Some(named(own));
    }
    let shown = web_address.strip_prefix("https://").filter(|rest| !rest.is_empty());
    shown.map(|_| web_address.trim_end_matches('/').to_owned()).or_else(|| names.first().map(|name| named(name)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_to_a_host_that_is_not_the_shops() {
        let names = ["192.168.1.20", "::1", "counter.local"].map(str::to_owned);
        let place = |asked| secure_place(asked, &names, 8443, "https://fish.example").unwrap();
        let rows = [
            ("counter.local", "https://counter.local:8443"),
            ("COUNTER.local:8080", "https://counter.local:8443"),
            ("192.168.1.20:80", "https://192.168.1.20:8443"),
            ("[::1]:80", "https://[::1]:8443"),
            ("[::1]", "https://[::1]:8443"),
            ("evil.example", "https://fish.example"),
            ("counter.local.evil.example", "https://fish.example"),
            ("counter.local@evil.example", "https://fish.example"),
            ("", "https://fish.example"),
        ];
        for (asked, expected) in rows {
            assert_eq!(place(asked), expected, "{asked}");
        }
        assert_eq!(secure_place("x", &names, 443, "").as_deref(), Some("https://192.168.1.20"));
        assert_eq!(secure_place("x", &[], 443, ""), None);
    }
}
