//! How many event streams one key or person may hold open: each holds a connection for as long as it likes.

use crate::web::problem::Problem;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Said as `Retry-After`: a stream that broke is let go within this time.
const RETRY_SECONDS: u64 = 15;

pub struct Streams {
    most_of_one: usize,
    open: Arc<Mutex<HashMap<String, usize>>>,
}

/// One open stream; dropped, it makes room for another.
#[derive(Debug)]
pub struct OpenStream {
    client: String,
    open: Arc<Mutex<HashMap<String, usize>>>,
}

impl Streams {
    pub fn new(most_of_one: usize) -> Streams {
        Streams { most_of_one, open: Arc::default() }
    }

    /// Room for one more stream of this client (`Look::client`). Keep it as long as the stream is open.
    pub fn open(&self, client: &str) -> Result<OpenStream, Problem> {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let of_one = open.entry(client.to_owned()).or_insert(0);
        if *of_one >= self.most_of_one {
            return Err(Problem::over_quota("streams", RETRY_SECONDS));
        }
        *of_one += 1;
        Ok(OpenStream { client: client.to_owned(), open: Arc::clone(&self.open) })
    }
}

impl Drop for OpenStream {
    fn drop(&mut self) {
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(of_one) = open.get_mut(&self.client) {
            *of_one = of_one.saturating_sub(1);
            if *of_one == 0 {
                open.remove(&self.client);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_client_has_so_many_and_gets_them_back() {
        let streams = Streams::new(2);
        let (one, two) = (streams.open("key:a").unwrap(), streams.open("key:a").unwrap());
        assert_eq!(streams.open("key:a").unwrap_err().status, 429);
        let other = streams.open("key:b").unwrap();
        drop(one);
        assert!(streams.open("key:a").is_ok());
        drop((two, other));
        assert!(streams.open.lock().unwrap().is_empty(), "nothing is kept of who has left");
    }
}
