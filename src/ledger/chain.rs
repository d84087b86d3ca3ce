//! The chain of hashes: each event seals itself and everything before it.
//!
//! `leaf = SHA-256(0x00, version, each field with its length in front)`, and
//! `link = SHA-256(0x01, link before, leaf)`; the link before the first event is 32 zero bytes. Lengths are
//! eight bytes, the largest first; numbers enter as decimal text.

use super::record::Row;
use sha2::{Digest, Sha256};

/// A hash of 32 bytes.
pub(super) type Hash = [u8; 32];

/// The link before the first event.
pub(super) const NO_LINK: Hash = [0; 32];

/// The hash of an event's own fields.
pub(super) fn leaf(row: &Row) -> Hash {
    let mut hash = Sha256::new();
    hash.update([0_u8]);
    hash.update(row.ver.to_be_bytes());
    for field in row.fields() {
        hash.update((field.len() as u64).to_be_bytes());
        hash.update(&field);
    }
    hash.finalize().into()
}

/// The hash that seals the event and all before it.
pub(super) fn link(before: &Hash, leaf: &Hash) -> Hash {
    let mut hash = Sha256::new();
    hash.update([1_u8]);
    hash.update(before);
    hash.update(leaf);
    hash.finalize().into()
}
