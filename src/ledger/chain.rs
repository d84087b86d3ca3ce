//! The chain of hashes: each event seals itself and everything before it.
//!
//! `leaf = SHA-256(0x00, version, each field with its length in front)`, and
//! `link = SHA-256(0x01, link before, leaf)`; the link before the first event is 32 zero bytes. Lengths are
//! eight bytes, the largest first; numbers enter as decimal text.

use super::record::Row;
use rusqlite::types::ValueRef;
use sha2::{Digest, Sha256};
use std::io::Write;

/// A hash of 32 bytes.
pub(super) type Hash = [u8; 32];

/// The link before the first event.
pub(super) const NO_LINK: Hash = [0; 32];

/// The hash of an event's own fields.
pub(super) fn leaf(row: &Row) -> Hash {
    let mut hash = Sha256::new();
    hash.update([0_u8]);
    hash.update(row.ver.to_be_bytes());
    row.each_field(|field| put(&mut hash, field));
    hash.finalize().into()
}

/// A field with its length in front.
fn put(hash: &mut Sha256, field: &[u8]) {
    hash.update((field.len() as u64).to_be_bytes());
    hash.update(field);
}

/// The same hash, straight from the columns of a stored row: whatever stands in them, text that is no text
/// included.
pub(super) fn stored_leaf(row: &rusqlite::Row<'_>) -> rusqlite::Result<Hash> {
    const VER: usize = 16;
    const LAST: usize = 17;
    let mut hash = Sha256::new();
    hash.update([0_u8]);
    hash.update(row.get::<_, i64>(VER)?.to_be_bytes());
    for column in (0..=LAST).filter(|column| *column != VER) {
        match row.get_ref(column)? {
            ValueRef::Integer(number) => {
                let mut digits = [0_u8; 20];
                let mut rest = &mut digits[..];
                // Twenty places hold every number of 64 bits.
                let _fits = write!(rest, "{number}");
                let left = rest.len();
                let written = digits.len().saturating_sub(left);
                put(&mut hash, digits.get(..written).unwrap_or(&digits));
            }
            ValueRef::Text(bytes) | ValueRef::Blob(bytes) => put(&mut hash, bytes),
            ValueRef::Real(number) => put(&mut hash, number.to_string().as_bytes()),
            ValueRef::Null => put(&mut hash, b""),
        }
    }
    Ok(hash.finalize().into())
}

/// The hash that seals the event and all before it.
pub(super) fn link(before: &Hash, leaf: &Hash) -> Hash {
    let mut hash = Sha256::new();
    hash.update([1_u8]);
    hash.update(before);
    hash.update(leaf);
    hash.finalize().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(hash: &Hash) -> String {
        let parts = [0, 16].map(|from| hash[from..from + 16].try_into().expect("sixteen bytes"));
        parts
            .map(|part| format!("{:032x}", u128::from_be_bytes(part)))
            .concat()
    }

    fn one_note() -> Row {
        Row {
            seq: 1,
            id: std::array::from_fn(|ix| u8::try_from(ix).expect("below sixteen")),
            ledger: [7; 16],
            site: "Test lab".to_owned(),
            happened_ms: 1_803_888_000_000,
            recorded_ms: 1_803_888_000_123,
            zone: "Europe/Lisbon".to_owned(),
            offset_min: 0,
            uid: 1000,
            login: "bench".to_owned(),
            person: "Ines".to_owned(),
            host: "bench-1".to_owned(),
            session: "s-1".to_owned(),
            program: "rigday 0.1.0".to_owned(),
            clock_back: 0,
            kind: "note".to_owned(),
            ver: 1,
            body: r#"{"kind":"note","about":"lab","name":"","text":"Tür zu"}"#.to_owned(),
        }
    }

    /// Worked out with another program (hashlib of Python) from the rule at the head of this file. Ledgers
    /// on disk hold such hashes: these values never change.
    #[test]
    fn hashes_are_those_of_another_program() {
        let leaf = leaf(&one_note());
        assert_eq!(
            hex(&leaf),
            "893307218edf9c50f62b8ee58cedad9254a221433f65bd406b6a2d03f2a4d683"
        );
        let first = link(&NO_LINK, &leaf);
        assert_eq!(
            hex(&first),
            "c84e2744046199d85ace844ced6424930520043e75914de83c94f4d552b465b6"
        );
        assert_eq!(
            hex(&link(&first, &leaf)),
            "2c8bcadeea8742dafe79a067d493f02b10dc7e4ffd0c0c23637c5997d080cb60"
        );
    }
}
