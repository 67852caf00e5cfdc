//! How many connections there may be, in all and from one address. A connection beyond is closed at once, which is seen, and not left to
//! wait in a queue, which is not.

use super::address::whose;
use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

#[derive(Default)]
struct Inside {
    all: usize,
    of_one: HashMap<IpAddr, usize>,
}

pub struct Connections {
    most: usize,
    most_of_one: usize,
    inside: Mutex<Inside>,
}

/// The place of one connection; dropped, it is free again.
pub struct Place {
    connections: Arc<Connections>,
    address: IpAddr,
}

impl Connections {
    pub fn new(most: usize, most_of_one: usize) -> Connections {
        Connections { most, most_of_one, inside: Mutex::default() }
    }

    /// A place for a connection from this address, if there is one.
    pub fn enter(self: &Arc<Self>, address: IpAddr) -> Option<Place> {
        let address = whose(address);
        let mut inside = self.inside.lock().unwrap_or_else(PoisonError::into_inner);
        let of_one = inside.of_one.get(&address).copied().unwrap_or(0);
        if inside.all >= self.most || of_one >= self.most_of_one {
            return None;
        }
        inside.all += 1;
        inside.of_one.insert(address, of_one + 1);
        Some(Place { connections: Arc::clone(self), address })
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        let mut inside = self.connections.inside.lock().unwrap_or_else(PoisonError::into_inner);
        inside.all = inside.all.saturating_sub(1);
        let left = inside.of_one.get(&self.address).map_or(0, |of_one| of_one.saturating_sub(1));
        if left == 0 {
            inside.of_one.remove(&self.address);
        } else {
            inside.of_one.insert(self.address, left);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_address_cannot_take_all_places() {
        let door = Arc::new(Connections::new(3, 2));
        let address = |text: &str| text.parse::<IpAddr>().unwrap();
        let (one, _two) = (door.enter(address("192.0.2.1")).unwrap(), door.enter(address("192.0.2.1")).unwrap());
        assert!(door.enter(address("192.0.2.1")).is_none());
        let other = door.enter(address("192.0.2.2"));
        assert!(other.is_some() && door.enter(address("192.0.2.3")).is_none(), "three in all");
        drop(one);
        let again = door.enter(address("192.0.2.1"));
        assert!(again.is_some());
        drop((other, again));
        let inside = door.inside.lock().unwrap();
        assert_eq!((inside.all, inside.of_one.len()), (1, 1), "nothing is kept of who has left");
    }
}
