//! A list that copies of a score share until one of them changes it.

use std::ops::{Deref, DerefMut};
use std::sync::Arc;
use std::{slice, vec};

/// A vector whose clones are one and the same until one of them is changed. Fixes are tried on copies
/// of a score, and of what they do not touch there need be only one.
#[derive(Clone, Debug, PartialEq)]
pub struct Shared<T>(Arc<Vec<T>>);

impl<T> Default for Shared<T> {
    fn default() -> Self {
        Vec::new().into()
    }
}

impl<T> Deref for Shared<T> {
    type Target = Vec<T>;

    fn deref(&self) -> &Vec<T> {
        &self.0
    }
}

impl<T: Clone> DerefMut for Shared<T> {
    fn deref_mut(&mut self) -> &mut Vec<T> {
        Arc::make_mut(&mut self.0)
    }
}

impl<T> From<Vec<T>> for Shared<T> {
    fn from(list: Vec<T>) -> Self {
        Self(Arc::new(list))
    }
}

impl<T> FromIterator<T> for Shared<T> {
    fn from_iter<I: IntoIterator<Item = T>>(items: I) -> Self {
        Vec::from_iter(items).into()
    }
}

impl<'a, T> IntoIterator for &'a Shared<T> {
    type Item = &'a T;
    type IntoIter = slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl<'a, T: Clone> IntoIterator for &'a mut Shared<T> {
    type Item = &'a mut T;
    type IntoIter = slice::IterMut<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter_mut()
    }
}

impl<T: Clone> IntoIterator for Shared<T> {
    type Item = T;
    type IntoIter = vec::IntoIter<T>;

    fn into_iter(self) -> Self::IntoIter {
        Arc::unwrap_or_clone(self.0).into_iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn copies_are_one_until_one_is_changed() {
        let one: Shared<u8> = (1..=3).collect();
        let mut two = one.clone();
        assert!(std::ptr::eq(one.as_ptr(), two.as_ptr()));
        two.push(4);
        assert_eq!(*one, [1, 2, 3]);
        assert_eq!(*two, [1, 2, 3, 4]);
        let place = two.as_ptr();
        for n in &mut two {
            *n += 1;
        }
        assert!(
            std::ptr::eq(place, two.as_ptr()),
            "nobody else has it any more"
        );
        assert_eq!(two.into_iter().collect::<Vec<_>>(), [2, 3, 4, 5]);
    }
}
