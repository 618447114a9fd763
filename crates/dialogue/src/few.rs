//! A map of few entries, in order: on a bus a handful of nodes speak, and a look along them is quicker than a tree.

use alloc::vec::Vec;

#[derive(Clone, Debug)]
pub(crate) struct Few<K, V>(Vec<(K, V)>);

impl<K, V> Default for Few<K, V> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<K: Copy + Ord, V: Default> Few<K, V> {
    #[inline]
    pub(crate) fn get_mut(&mut self, key: K) -> Option<&mut V> {
        let mut entries = self.0.iter_mut();
        entries.find(|(found, _)| *found == key).map(|(_, value)| value)
    }

    /// The value of a key, which is made if it is not there.
    #[inline]
    pub(crate) fn entry(&mut self, key: K) -> &mut V {
        let place = self.0.iter().position(|(found, _)| *found == key);
        let place = place.unwrap_or_else(|| self.insert(key));
        &mut self.0[place].1
    }

    #[cold]
    fn insert(&mut self, key: K) -> usize {
        let place = self.0.partition_point(|(found, _)| *found < key);
        self.0.insert(place, (key, V::default()));
        place
    }

    pub(crate) fn keys(&self) -> impl Iterator<Item = K> {
        self.0.iter().map(|&(key, _)| key)
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = &(K, V)> {
        self.0.iter()
    }

    pub(crate) fn iter_mut(&mut self) -> impl Iterator<Item = &mut (K, V)> {
        self.0.iter_mut()
    }
}
