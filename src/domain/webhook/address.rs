//! Where a shop's server may send: the text of an address, and the addresses of the network behind it. What is refused would let somebody who
//! may name a receiver reach machines that trust the server (server-side request forgery).

use std::collections::BTreeSet;
use std::fmt;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// Longest address of a receiver.
pub const LONGEST: usize = 500;

/// A host and a port, as an allow-list names them and as an address is compared with it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HostPort {
    /// A name in lower case, or an IP address in its usual form.
    pub host: String,
    pub port: u16,
}

impl fmt::Display for HostPort {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.host.contains(':') {
            write!(f, "[{}]:{}", self.host, self.port)
        } else {
            write!(f, "{}:{}", self.host, self.port)
        }
    }
}

impl HostPort {
    /// Reads `host:port`; both must be there.
    pub fn parse(text: &str) -> Option<HostPort> {
        let (host, port) = text.rsplit_once(':')?;
        Some(HostPort { host: read_host(host).ok()?.text(), port: read_port(port)? })
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Host {
    Name(String),
    Address(IpAddr),
}

impl Host {
    fn text(&self) -> String {
        match self {
            Host::Name(name) => name.clone(),
            Host::Address(address) => address.to_string(),
        }
    }
}

/// An address that may be written down: its text in one form, and whom it names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    pub url: String,
    pub at: HostPort,
}

/// What the shop allows beside the public internet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct AddressRules {
    /// Receivers in the shop's own network: over plain HTTP too, and at private addresses.
    pub allow: BTreeSet<HostPort>,
    /// Receivers on the server's own machine. What listens there trusts whoever reaches it, so that each is named by its port.
    pub this_machine: BTreeSet<HostPort>,
}

impl AddressRules {
    fn lists(&self, at: &HostPort) -> bool {
        self.allow.contains(at) || self.this_machine.contains(at)
    }

    /// Whether the shop vouches for a receiver of its own network or machine.
    pub fn is_of_the_shop(&self, host: &str, port: u16) -> bool {
        let host = host.trim_start_matches('[').trim_end_matches(']');
        self.lists(&HostPort { host: host.to_owned(), port })
    }

    /// Reads the address of a receiver, strictly: what two programs could read differently is not an address. Gives the reason otherwise.
    pub fn read(&self, text: &str) -> Result<Target, String> {
        if text.len() > LONGEST {
            return Err(format!("must be at most {LONGEST} characters"));
        }
        let (scheme, rest) = text.split_once("://").ok_or("must begin with https://")?;
        let default_port = match scheme {
            "https" => 443,
            "http" => 80,
            _ => return Err("must begin with https://".to_owned()),
        };
        let end = rest.find(['/', '?', '#', '\\']).unwrap_or(rest.len());
        let (authority, path) = rest.split_at(end);
        check_path(path)?;
        if authority.contains('@') {
            return Err("must hold no name or password: the secret signs what is sent".to_owned());
        }
        let (host, port) = split_port(authority, default_port)?;
        let host = read_host(host)?;
        let at = HostPort { host: host.text(), port };
        self.check(scheme, &host, &at)?;
        let shown = match &host {
            Host::Address(IpAddr::V6(address)) => format!("[{address}]"),
            other => other.text(),
        };
        let port = if port == default_port { String::new() } else { format!(":{port}") };
        let slash = if path.starts_with('/') { "" } else { "/" };
        Ok(Target { url: format!("{scheme}://{shown}{port}{slash}{path}"), at })
    }

    fn check(&self, scheme: &str, host: &Host, at: &HostPort) -> Result<(), String> {
        let listed = self.lists(at);
        if scheme == "http" && !listed {
            return Err(format!("must begin with https://, unless the settings allow {at}"));
        }
        if !listed && at.port != 443 && at.port < 1_024 {
            return Err(format!("port {} belongs to another service: 443, or 1024 and above", at.port));
        }
        match host {
            Host::Address(address) if !self.may_reach(&at.host, at.port, *address) => {
                Err(format!("{address} is not of the public internet, and the settings do not allow {at}"))
            }
            Host::Name(name) if !listed && is_local_name(name) => {
                Err(format!("{name} is a name of this machine or network, and the settings do not allow {at}"))
            }
            _ => Ok(()),
        }
    }

    /// Whether the server may connect to an address of the network for a receiver. Asked when it connects, of what the name stands for then.
    pub fn may_reach(&self, host: &str, port: u16, address: IpAddr) -> bool {
        let host = host.trim_start_matches('[').trim_end_matches(']');
        let at = HostPort { host: host.to_owned(), port };
        match reach(address) {
            Reach::Public => true,
            Reach::Private => self.allow.contains(&at),
            Reach::ThisMachine => self.this_machine.contains(&at),
            Reach::Never => false,
        }
    }
}

/// Names that never lead out: of one word, or reserved for the machine itself (RFC 6761, 6.3).
fn is_local_name(name: &str) -> bool {
    !name.contains('.') || name.ends_with(".localhost")
}

fn split_port(authority: &str, default: u16) -> Result<(&str, u16), String> {
    let after = if authority.starts_with('[') { authority.find(']').unwrap_or(0) } else { 0 };
    match authority.get(after..).and_then(|rest| rest.find(':')) {
        None => Ok((authority, default)),
        Some(at) => {
            let (host, port) = authority.split_at(after + at);
            let port = port.strip_prefix(':').and_then(read_port);
            Ok((host, port.ok_or("the port must be a number from 1 to 65535")?))
        }
    }
}

fn read_port(text: &str) -> Option<u16> {
    let plain = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) && !text.starts_with('0');
    text.parse().ok().filter(|_| plain)
}

fn read_host(text: &str) -> Result<Host, String> {
    if let Some(inner) = text.strip_prefix('[') {
        let address = inner.strip_suffix(']').and_then(|inner| inner.parse::<Ipv6Addr>().ok());
        return address.map(|a| Host::Address(a.into())).ok_or_else(|| "is no IPv6 address".to_owned());
    }
    if !text.is_ascii() {
        return Err("write the name of the host in its ASCII form, xn--…".to_owned());
    }
    if let Ok(address) = text.parse::<Ipv4Addr>() {
        return Ok(Host::Address(address.into()));
    }
    let name = text.to_ascii_lowercase();
    let label = |label: &str| {
        (1..=63).contains(&label.len())
            && label.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-')
            && !label.starts_with('-')
            && !label.ends_with('-')
    };
    // A last part of digits, or of 0x and digits, would be read as an address by some: 127.1, 0x7f.1, 2130706433 (WHATWG URL, "ends in a number").
    let last = name.rsplit('.').next().unwrap_or_default();
    let ends_in_number = last.bytes().all(|b| b.is_ascii_digit()) || last.starts_with("0x");
    if name.len() > 253 || !name.split('.').all(label) || ends_in_number {
        return Err("names no host: a domain name or an IP address in its usual form".to_owned());
    }
    Ok(Host::Name(name))
}

/// Only the characters of RFC 3986 for path and query, and no fragment.
fn check_path(path: &str) -> Result<(), String> {
    let mut bytes = path.bytes();
    while let Some(byte) = bytes.next() {
        let fits = match byte {
            b'%' => [bytes.next(), bytes.next()].iter().all(|b| b.is_some_and(|b| b.is_ascii_hexdigit())),
            b => b.is_ascii_alphanumeric() || b"-._~!$&'()*+,;=:@/?".contains(&b),
        };
        if !fits {
            return Err("must hold only the characters of a plain address, and no #".to_owned());
        }
    }
    Ok(())
}

/// How far away an address is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    Public,
    /// Of a network of one's own, or set aside for examples and measurements.
    Private,
    ThisMachine,
    /// No receiver can be there: groups, link-local ones with the metadata services of clouds, and forms that hide another address.
    Never,
}

/// The first that holds an address counts. IANA special-purpose registry for IPv4 (RFC 6890 and its updates).
const V4: [([u8; 4], u32, Reach); 15] = [
    ([0, 0, 0, 0], 8, Reach::Never),
    ([10, 0, 0, 0], 8, Reach::Private),
    ([100, 64, 0, 0], 10, Reach::Private),
    ([127, 0, 0, 0], 8, Reach::ThisMachine),
    ([169, 254, 0, 0], 16, Reach::Never),
    ([172, 16, 0, 0], 12, Reach::Private),
    ([192, 0, 0, 0], 24, Reach::Never),
    ([192, 0, 2, 0], 24, Reach::Private),
    ([192, 88, 99, 0], 24, Reach::Never),
    ([192, 168, 0, 0], 16, Reach::Private),
    ([198, 18, 0, 0], 15, Reach::Private),
    ([198, 51, 100, 0], 24, Reach::Private),
    ([203, 0, 113, 0], 24, Reach::Private),
    ([224, 0, 0, 0], 4, Reach::Never),
    ([240, 0, 0, 0], 4, Reach::Never),
];

/// The same for IPv6. What is in none of these is not given out (2000::/3 is all that is), or hides an IPv4 address: ::ffff:0:0/96,
/// 64:ff9b::/96.
const V6: [([u16; 3], u32, Reach); 6] = [
    ([0xfc00, 0, 0], 7, Reach::Private),
    ([0x2001, 0x0db8, 0], 32, Reach::Private),
    // Teredo and other tunnels.
    ([0x2001, 0, 0], 23, Reach::Never),
    // 6to4.
    ([0x2002, 0, 0], 16, Reach::Never),
    ([0x3fff, 0, 0], 20, Reach::Private),
    ([0x2000, 0, 0], 3, Reach::Public),
];

pub fn reach(address: IpAddr) -> Reach {
    match address {
        IpAddr::V4(v4) => {
            let bits = u32::from(v4);
            let holds =
                |(net, length, _): &&([u8; 4], u32, Reach)| (bits ^ u32::from_be_bytes(*net)) >> (32 - length) == 0;
            V4.iter().find(holds).map_or(Reach::Public, |(.., reach)| *reach)
        }
        IpAddr::V6(v6) if v6 == Ipv6Addr::LOCALHOST => Reach::ThisMachine,
        IpAddr::V6(v6) => {
            let bits = u128::from(v6);
            let holds = |([a, b, c], length, _): &&([u16; 3], u32, Reach)| {
                let net = u128::from(Ipv6Addr::new(*a, *b, *c, 0, 0, 0, 0, 0));
                (bits ^ net) >> (128 - length) == 0
            };
            V6.iter().find(holds).map_or(Reach::Never, |(.., reach)| *reach)
        }
    }
}
