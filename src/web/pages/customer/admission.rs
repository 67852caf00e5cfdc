//! How often one address may ask for customers' pages: nobody signs in here, so nothing else holds back who asks for everything. Addresses
//! are kept in memory only while they are hot, and never more than a stated number.

use crate::web::limits::address::{EVERYBODY_ELSE, whose};
use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::net::IpAddr;
use std::num::NonZeroU32;

/// Addresses kept at most, about a megabyte.
const ADDRESSES: usize = 10_000;
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;
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
}
