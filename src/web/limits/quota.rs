//! How often each may ask: a key or a person at their own rate once they have shown who they are, everybody else by address. Whoever is over
//! is answered before anything is looked up.

use super::address::{EVERYBODY_ELSE, address_of, whose};
use crate::web::call::Service;
use crate::web::problem::Problem;
use crate::web::session;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{Error, HttpRequest, ResponseError, web};
use governor::clock::{Clock, DefaultClock};
use governor::middleware::StateInformationMiddleware;
use governor::state::keyed::DefaultKeyedStateStore;
use governor::{Quota, RateLimiter};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::hash::Hash;
use std::net::IpAddr;
use std::num::NonZeroU32;
use std::sync::{Arc, PoisonError, RwLock};

/// Buckets kept at most of either kind, about a megabyte.
const BUCKETS: usize = 10_000;
/// Credentials remembered at most.
const CREDENTIALS: usize = 4_096;

/// So many requests a second, and so many at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rate {
    pub a_second: NonZeroU32,
    pub at_once: NonZeroU32,
}

impl Rate {
    /// The time in which an empty bucket is full again.
    fn window_seconds(self) -> u32 {
        self.at_once.get().div_ceil(self.a_second.get())
    }
}

/// What became of one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asked {
    /// So many more may follow at once.
    Within(u32),
    /// In so many seconds the next may come.
    Over(u64),
}

/// Buckets of one kind, in bounded memory.
struct Buckets<K: Hash + Eq + Clone> {
    limiter: RateLimiter<K, DefaultKeyedStateStore<K>, DefaultClock, StateInformationMiddleware>,
    clock: DefaultClock,
    rate: Rate,
    /// Where new ones queue once there are too many.
    rest: K,
}

impl<K: Hash + Eq + Clone> Buckets<K> {
    fn new(rate: Rate, rest: K) -> Buckets<K> {
        let quota = Quota::per_second(rate.a_second).allow_burst(rate.at_once);
        let limiter = RateLimiter::keyed(quota).with_middleware::<StateInformationMiddleware>();
        Buckets { limiter, clock: DefaultClock::default(), rate, rest }
    }

    fn ask(&self, key: &K) -> Asked {
        let full = || self.limiter.len() >= BUCKETS;
        if full() {
            self.limiter.retain_recent();
            self.limiter.shrink_to_fit();
        }
        match self.limiter.check_key(if full() { &self.rest } else { key }) {
            Ok(state) => Asked::Within(state.remaining_burst_capacity()),
            Err(refused) => {
                let wait = refused.wait_time_from(self.clock.now());
                Asked::Over((wait.as_secs() + u64::from(wait.subsec_nanos() > 0)).max(1))
            }
        }
    }
}

type Digest16 = [u8; 16];

/// The rates of everybody.
pub struct Quotas {
    clients: Buckets<Arc<str>>,
    addresses: Buckets<IpAddr>,
    /// Whose a credential was when it was looked up last. It opens nothing: it only says which bucket is asked first. A key's public number
    /// alone would not do: anybody could use up a till's rate by it.
    known: RwLock<HashMap<Digest16, Arc<str>>>,
    trusted_proxy_header: Option<String>,
}

fn digest(credential: &str) -> Digest16 {
    let mut short = [0; 16];
    short.iter_mut().zip(Sha256::digest(credential.as_bytes())).for_each(|(to, from)| *to = from);
    short
}

impl Quotas {
    pub fn new(client: Rate, address: Rate, trusted_proxy_header: Option<String>) -> Quotas {
        Quotas {
            clients: Buckets::new(client, Arc::from("")),
            addresses: Buckets::new(address, EVERYBODY_ELSE),
            known: RwLock::default(),
            trusted_proxy_header,
        }
    }

    /// Remembers whose a credential is, once that was looked up.
    pub fn remember(&self, credential: &str, client: &str) {
        let digest = digest(credential);
        let seen = |known: &HashMap<Digest16, Arc<str>>| known.get(&digest).is_some_and(|found| **found == *client);
        if seen(&self.known.read().unwrap_or_else(PoisonError::into_inner)) {
            return;
        }
        let mut known = self.known.write().unwrap_or_else(PoisonError::into_inner);
        // Sign-ins come and go; whoever still asks is soon known again.
        if known.len() >= CREDENTIALS {
            known.clear();
        }
        known.insert(digest, Arc::from(client));
    }

    /// Forgets a credential that turned out to be nobody's any more: what else comes with it is counted by address, and the key that it was
    /// once of keeps its rate for the secret it has now.
    pub fn forget(&self, credential: &str) {
        let digest = digest(credential);
        if self.known.read().unwrap_or_else(PoisonError::into_inner).contains_key(&digest) {
            self.known.write().unwrap_or_else(PoisonError::into_inner).remove(&digest);
        }
    }

    /// Forgets every credential of a client: those that are still good are soon known again.
    pub fn forget_all_of(&self, client: &str) {
        self.known.write().unwrap_or_else(PoisonError::into_inner).retain(|_, whose| **whose != *client);
    }

    /// Counts a request, and says under which policy.
    fn count(&self, credential: Option<&str>, address: impl FnOnce() -> IpAddr) -> (&'static str, Rate, Asked) {
        let known = |text| {
            let known = self.known.read().unwrap_or_else(PoisonError::into_inner);
            known.get(&digest(text)).map(Arc::clone)
        };
        match credential.and_then(known) {
            Some(client) => ("client", self.clients.rate, self.clients.ask(&client)),
            None => ("address", self.addresses.rate, self.addresses.ask(&whose(address()))),
        }
    }

    /// Where a request comes from, as far as it is counted: one household or phone.
    pub fn caller(&self, request: &HttpRequest) -> IpAddr {
        whose(address_of(request, self.trusted_proxy_header.as_deref()))
    }

    fn count_request(&self, request: &HttpRequest, service: &Service) -> (&'static str, Rate, Asked) {
        let credential = session::shown(request, service);
        self.count(credential.as_deref(), || address_of(request, self.trusted_proxy_header.as_deref()))
    }
}

/// The fields of draft-ietf-httpapi-ratelimit-headers-10: names in quotes, the quota and its window, what is left and when there is more.
fn tell(headers: &mut HeaderMap, policy: &str, rate: Rate, asked: Asked) {
    let (left, seconds) = match asked {
        Asked::Within(left) => {
            (left, u64::from((rate.at_once.get().saturating_sub(left)).div_ceil(rate.a_second.get())))
        }
        Asked::Over(seconds) => (0, seconds),
    };
    let quota = format!("\"{policy}\";q={};w={}", rate.at_once, rate.window_seconds());
    let now = format!("\"{policy}\";r={left};t={seconds}");
    for (name, text) in [("ratelimit-policy", quota), ("ratelimit", now)] {
        if let Ok(value) = HeaderValue::from_str(&text) {
            headers.insert(HeaderName::from_static(name), value);
        }
    }
}

/// Lets a request through, or answers 429.
pub async fn admit(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<impl MessageBody>, Error> {
    let Some(service) = request.app_data::<web::Data<Service>>().cloned() else {
        return Ok(next.call(request).await?.map_into_left_body());
    };
    let (policy, rate, asked) = service.limits.quotas.count_request(request.request(), &service);
    if let Asked::Over(seconds) = asked {
        let answer = Problem::over_quota(policy, seconds).error_response();
        let mut response: ServiceResponse<BoxBody> = request.into_response(answer);
        tell(response.headers_mut(), policy, rate, asked);
        return Ok(response.map_into_right_body());
    }
    let mut response = next.call(request).await?;
    // Strangers are told when they are over, not before: a wrong password must not be told from another by anything.
    if policy == "client" {
        tell(response.headers_mut(), policy, rate, asked);
    }
    Ok(response.map_into_left_body())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    fn rate(a_second: u32, at_once: u32) -> Rate {
        Rate { a_second: NonZeroU32::new(a_second).unwrap(), at_once: NonZeroU32::new(at_once).unwrap() }
    }

    fn four(number: u32) -> IpAddr {
        IpAddr::V4(Ipv4Addr::from_bits(number))
    }

    fn quotas() -> Quotas {
        Quotas::new(rate(1, 3), rate(1, 2), None)
    }

    #[test]
    fn a_known_client_has_a_rate_of_its_own_with_both_secrets() {
        let quotas = quotas();
        quotas.remember("old", "key:a");
        quotas.remember("new", "key:a");
        let ask = |credential| quotas.count(Some(credential), || four(1)).2;
        assert_eq!([ask("old"), ask("new"), ask("old")], [Asked::Within(2), Asked::Within(1), Asked::Within(0)]);
        assert!(matches!(ask("new"), Asked::Over(1)));
    }

    #[test]
    fn who_only_claims_to_be_a_client_uses_up_his_own_address() {
        let quotas = quotas();
        quotas.remember("right", "key:a");
        for _ in 0..5 {
            quotas.count(Some("guess"), || four(1));
        }
        assert!(matches!(quotas.count(Some("guess"), || four(1)).2, Asked::Over(_)));
        assert_eq!(quotas.count(Some("right"), || four(1)).2, Asked::Within(2));
        assert_eq!(quotas.count(None, || four(2)).2, Asked::Within(1));
    }

    #[test]
    fn a_dead_credential_spends_nothing_of_its_key() {
        let quotas = quotas();
        let ask = |credential| quotas.count(Some(credential), || four(1)).0;
        for forget in [|q: &Quotas| q.forget("old"), |q: &Quotas| q.forget_all_of("key:a")] {
            quotas.remember("old", "key:a");
            quotas.remember("other", "key:b");
            assert_eq!([ask("old"), ask("other")], ["client", "client"]);
            forget(&quotas);
            assert_eq!([ask("old"), ask("other")], ["address", "client"]);
        }
    }

    #[test]
    fn memory_is_bounded_whoever_comes() {
        let quotas = quotas();
        for number in 0..30_000 {
            quotas.count(None, || four(number));
            quotas.remember(&number.to_string(), "person:Ines");
        }
        assert!(quotas.addresses.limiter.len() <= BUCKETS + 1);
        assert!(quotas.known.read().unwrap().len() <= CREDENTIALS);
    }

    /// draft-ietf-httpapi-ratelimit-headers-10, the fields RateLimit-Policy and RateLimit: q, w and r required here, in whole seconds.
    #[test]
    fn the_fields_say_quota_window_and_what_is_left() {
        let said = |asked| {
            let mut headers = HeaderMap::new();
            tell(&mut headers, "client", rate(100, 1_000), asked);
            ["ratelimit-policy", "ratelimit"].map(|name| headers.get(name).unwrap().to_str().unwrap().to_owned())
        };
        assert_eq!(said(Asked::Within(950)), ["\"client\";q=1000;w=10", "\"client\";r=950;t=1"]);
        assert_eq!(said(Asked::Over(3)), ["\"client\";q=1000;w=10", "\"client\";r=0;t=3"]);
    }
}
