//! How often one address may ask for customers' pages: nobody signs in here, so nothing else holds back who asks for everything. Addresses
//! are kept in memory only while they are hot, and never more than a stated number.

use actix_web::HttpRequest;
use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::num::NonZeroU32;

/// Addresses kept at most, about a megabyte.
const ADDRESSES: usize = 10_000;
/// Where everybody else queues once so many are hot: a flood from everywhere is let in as slowly as one caller.
const EVERYBODY_ELSE: IpAddr = IpAddr::V4(Ipv4Addr::BROADCAST);

/// Lets callers in, each at the rate of the settings.
pub struct Admission {
    limiter: DefaultKeyedRateLimiter<IpAddr>,
    clock: DefaultClock,
    most: usize,
}

impl Admission {
    /// So many requests a minute of one address, as many at once.
    pub fn new(requests_a_minute: NonZeroU32) -> Admission {
        Admission {
            limiter: RateLimiter::keyed(Quota::per_minute(requests_a_minute)),
            clock: DefaultClock::default(),
            most: ADDRESSES,
        }
    }

    /// Lets a request in, or says after how many seconds to try again.
    pub fn admit(&self, address: IpAddr) -> Result<(), u64> {
        let full = || self.limiter.len() >= self.most;
        if full() {
            self.limiter.retain_recent();
            self.limiter.shrink_to_fit();
        }
        let key = if full() { EVERYBODY_ELSE } else { whose(address) };
        self.limiter.check_key(&key).map_err(|refused| {
            let wait = refused.wait_time_from(self.clock.now());
            wait.as_secs() + u64::from(wait.subsec_nanos() > 0)
        })
    }
}

/// One household or phone: an IPv4 address, or the network of 64 bits that an IPv6 address lies in.
fn whose(address: IpAddr) -> IpAddr {
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
    use std::time::Duration;

    fn four(number: u32) -> IpAddr {
        IpAddr::V4(Ipv4Addr::from_bits(number))
    }

    fn admission(requests_a_minute: u32, most: usize) -> Admission {
        Admission { most, ..Admission::new(NonZeroU32::new(requests_a_minute).unwrap()) }
    }

    #[test]
    fn each_address_has_its_own_rate() {
        let two = admission(2, ADDRESSES);
        assert_eq!([two.admit(four(1)), two.admit(four(1)), two.admit(four(2))], [Ok(()); 3]);
        let wait = two.admit(four(1)).unwrap_err();
        assert!((29..=30).contains(&wait), "two a minute come every 30 seconds, not in {wait}");
        assert_eq!(two.admit(four(2)), Ok(()));
        let six = |text: &str| text.parse::<IpAddr>().unwrap();
        assert_eq!(two.admit(six("2001:db8::1")), Ok(()));
        assert_eq!(two.admit(six("2001:db8::ffff")), Ok(()));
        assert!(two.admit(six("2001:db8:0:0:1::")).is_err(), "one network");
        assert_eq!(two.admit(six("2001:db8:0:1::1")), Ok(()), "the next network");
        assert!(two.admit(six("::ffff:0.0.0.1")).is_err(), "the same IPv4 address");
    }

    #[test]
    fn memory_is_bounded_whoever_comes() {
        let small = admission(1, 100);
        let admitted = (1..=5_000).filter(|number| small.admit(four(*number)).is_ok()).count();
        assert_eq!(admitted, 101, "a hundred, and one of everybody else");
        assert_eq!(small.limiter.len(), 101);
    }

    #[test]
    fn what_is_cold_is_forgotten() {
        // At six thousand a minute an address is as good as new after ten milliseconds.
        let quick = admission(6_000, 100);
        assert!((1..=100).all(|number| quick.admit(four(number)).is_ok()));
        std::thread::sleep(Duration::from_millis(30));
        assert_eq!(quick.admit(four(1_000)), Ok(()));
        assert_eq!(quick.limiter.len(), 1);
    }

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
