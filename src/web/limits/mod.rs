//! What keeps one caller from using up the server for the others: how often each may ask, how many connections there may be, how slowly
//! bytes may come and go, how much may be under way at once. Who a caller is, and what they may do, is `session`'s and `permit`'s.

pub mod address;
pub mod connections;
pub mod line;
pub mod pace;
pub mod quota;
pub mod seats;
pub mod turns;

use connections::Connections;
use quota::{Quotas, Rate};
use seats::Seats;
use std::num::NonZeroU32;
use std::sync::Arc;
use turns::Turns;

/// What a shop sets. Every number is at least one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LimitOptions {
    /// Of one key, or of one person signed in.
    pub client: Rate,
    /// Of one address that has not shown who it is.
    pub address: Rate,
    pub connections: usize,
    pub connections_of_one_address: usize,
    /// Calls into the shop under way at once; others wait.
    pub calls_at_once: usize,
    /// The header in which a proxy of the shop's own names the client.
    pub trusted_proxy_header: Option<String>,
}

impl Default for LimitOptions {
    /// Generous: a till that scans as fast as hands move asks a few times a second.
    fn default() -> LimitOptions {
        let rate = |a_second, at_once| Rate {
            a_second: NonZeroU32::new(a_second).unwrap_or(NonZeroU32::MIN),
            at_once: NonZeroU32::new(at_once).unwrap_or(NonZeroU32::MIN),
        };
        LimitOptions {
            client: rate(100, 1_000),
            address: rate(20, 400),
            connections: 1_024,
            connections_of_one_address: 256,
            calls_at_once: 256,
            trusted_proxy_header: None,
        }
    }
}

/// The limits of one server, shared by all its threads.
pub struct Limits {
    pub quotas: Quotas,
    pub connections: Arc<Connections>,
    pub turns: Turns,
    /// For answers that last as long as their clients take.
    pub seats: Arc<Seats>,
}

impl Limits {
    /// The limits of a shop whose database can show itself at length to so many at once.
    pub fn new(options: &LimitOptions, long_looks: usize) -> Limits {
        Limits {
            quotas: Quotas::new(options.client, options.address, options.trusted_proxy_header.clone()),
            connections: Arc::new(Connections::new(options.connections, options.connections_of_one_address)),
            turns: Turns::new(options.calls_at_once),
            seats: Arc::new(Seats::new(long_looks)),
        }
    }
}
