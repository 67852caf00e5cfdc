//! Where a request comes from, for whoever counts by address.

use actix_web::HttpRequest;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// Where everybody else queues once so many addresses are hot: a flood from everywhere is let in as slowly as one caller.
pub const EVERYBODY_ELSE: IpAddr = IpAddr::V4(Ipv4Addr::BROADCAST);

/// One household or phone: an IPv4 address, or the network of 64 bits that an IPv6 address lies in.
pub fn whose(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(six) => IpAddr::V6(Ipv6Addr::from_bits(six.to_bits() & !u128::from(u64::MAX))),
        four => four,
    }
}

/// The address a request comes from: what the trusted proxy wrote last into its header, else the other end of the connection. Anything
/// before the last entry was sent by the caller and could be made up.
pub fn address_of(request: &HttpRequest, trusted_header: Option<&str>) -> IpAddr {
    let written = trusted_header
        .and_then(|name| request.headers().get_all(name).last())
        .and_then(|value| value.to_str().ok())
        .and_then(|list| list.rsplit(',').next())
        .and_then(read_address);
    let peer = || request.peer_addr().map(|peer| peer.ip());
    written.or_else(peer).unwrap_or(EVERYBODY_ELSE)
}

/// An address as proxies write it: bare, with a port, or `for=` of RFC 7239.
fn read_address(text: &str) -> Option<IpAddr> {
    let pair = text.split(';').map(str::trim).find_map(|pair| {
        let (name, value) = pair.split_once('=')?;
        name.eq_ignore_ascii_case("for").then_some(value)
    });
    let bare = pair.unwrap_or(text.trim()).trim_matches('"');
    let six = || bare.strip_prefix('[')?.strip_suffix(']')?.parse().ok().map(IpAddr::V6);
    bare.parse().ok().or_else(|| bare.parse::<SocketAddr>().ok().map(|socket| socket.ip())).or_else(six)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::test::TestRequest;

    #[test]
    fn only_what_the_trusted_proxy_wrote_counts() {
        let peer: SocketAddr = "192.0.2.1:999".parse().unwrap();
        let said = |name: &'static str, value: &'static str, trusted: Option<&str>| {
            let request = TestRequest::default().peer_addr(peer).insert_header((name, value)).to_http_request();
            address_of(&request, trusted).to_string()
        };
        let trusted = Some("x-forwarded-for");
        assert_eq!(said("x-forwarded-for", "198.51.100.7", None), "192.0.2.1");
        let rows = [
            ("198.51.100.7", "198.51.100.7"),
            ("10.0.0.1, 198.51.100.7", "198.51.100.7"),
            ("198.51.100.7:4711", "198.51.100.7"),
            ("[2001:db8::1]:80", "2001:db8::1"),
            ("[2001:db8::1]", "2001:db8::1"),
            ("2001:db8::1", "2001:db8::1"),
            ("unknown", "192.0.2.1"),
            ("", "192.0.2.1"),
        ];
        for (value, expected) in rows {
            assert_eq!(said("x-forwarded-for", value, trusted), expected, "{value}");
        }
        // RFC 7239, section 4, examples of the node identifier.
        let forwarded = "for=192.0.2.43, For=\"[2001:db8:cafe::17]:4711\";proto=http;by=203.0.113.43";
        assert_eq!(said("forwarded", forwarded, Some("forwarded")), "2001:db8:cafe::17");
    }
}
