//! Bytes that were made once, the oldest let go first.

use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

/// Bytes by their keys, at most so many of them.
#[derive(Debug)]
pub(crate) struct Cache {
    most: usize,
    held: usize,
    by_key: HashMap<String, Arc<Vec<u8>>>,
    /// Keys, the one asked for longest ago first.
    order: VecDeque<String>,
}

impl Cache {
    /// Holds at most `most` bytes.
    pub(crate) fn new(most: usize) -> Self {
        Self {
            most,
            held: 0,
            by_key: HashMap::new(),
            order: VecDeque::new(),
        }
    }

    pub(crate) fn get(&mut self, key: &str) -> Option<Arc<Vec<u8>>> {
        let found = self.by_key.get(key)?.clone();
        self.order.retain(|known| known != key);
        self.order.push_back(key.to_owned());
        Some(found)
    }

    pub(crate) fn put(&mut self, key: String, bytes: Arc<Vec<u8>>) {
        if bytes.len() > self.most || self.by_key.contains_key(&key) {
            return;
        }
        self.held += bytes.len();
        self.by_key.insert(key.clone(), bytes);
        self.order.push_back(key);
        while self.held > self.most
            && let Some(oldest) = self.order.pop_front()
        {
            if let Some(gone) = self.by_key.remove(&oldest) {
                self.held -= gone.len();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_one_not_asked_for_goes_first() {
        let mut cache = Cache::new(10);
        cache.put("a".into(), Arc::new(vec![0; 4]));
        cache.put("b".into(), Arc::new(vec![0; 4]));
        assert!(cache.get("a").is_some());
        cache.put("c".into(), Arc::new(vec![0; 4]));
        assert!(cache.get("b").is_none());
        assert!(cache.get("a").is_some() && cache.get("c").is_some());
        cache.put("d".into(), Arc::new(vec![0; 11]));
        assert!(cache.get("d").is_none() && cache.held == 8);
    }
}
