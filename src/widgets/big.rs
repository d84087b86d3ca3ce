//! Words in large letters, to be read from across a bench. Plain `#` in every theme: it prints anywhere.

/// Rows of a large letter.
pub const ROWS: usize = 5;
/// Columns of a large letter with the gap after it.
const WIDE: usize = 6;

/// Letters of five rows by five columns; a bit is a cell, the highest of the five at the left.
const LETTERS: [(char, [u8; ROWS]); 26] = [
    ('A', [0b01110, 0b10001, 0b11111, 0b10001, 0b10001]),
    ('B', [0b11110, 0b10001, 0b11110, 0b10001, 0b11110]),
    ('C', [0b01111, 0b10000, 0b10000, 0b10000, 0b01111]),
    ('D', [0b11110, 0b10001, 0b10001, 0b10001, 0b11110]),
    ('E', [0b11111, 0b10000, 0b11110, 0b10000, 0b11111]),
    ('F', [0b11111, 0b10000, 0b11110, 0b10000, 0b10000]),
    ('G', [0b01111, 0b10000, 0b10011, 0b10001, 0b01111]),
    ('H', [0b10001, 0b10001, 0b11111, 0b10001, 0b10001]),
    ('I', [0b11111, 0b00100, 0b00100, 0b00100, 0b11111]),
    ('J', [0b00111, 0b00010, 0b00010, 0b10010, 0b01100]),
    ('K', [0b10001, 0b10010, 0b11100, 0b10010, 0b10001]),
    ('L', [0b10000, 0b10000, 0b10000, 0b10000, 0b11111]),
    ('M', [0b10001, 0b11011, 0b10101, 0b10001, 0b10001]),
    ('N', [0b10001, 0b11001, 0b10101, 0b10011, 0b10001]),
    ('O', [0b01110, 0b10001, 0b10001, 0b10001, 0b01110]),
    ('P', [0b11110, 0b10001, 0b11110, 0b10000, 0b10000]),
    ('Q', [0b01110, 0b10001, 0b10101, 0b10010, 0b01101]),
    ('R', [0b11110, 0b10001, 0b11110, 0b10010, 0b10001]),
    ('S', [0b01111, 0b10000, 0b01110, 0b00001, 0b11110]),
    ('T', [0b11111, 0b00100, 0b00100, 0b00100, 0b00100]),
    ('U', [0b10001, 0b10001, 0b10001, 0b10001, 0b01110]),
    ('V', [0b10001, 0b10001, 0b10001, 0b01010, 0b00100]),
    ('W', [0b10001, 0b10001, 0b10101, 0b11011, 0b10001]),
    ('X', [0b10001, 0b01010, 0b00100, 0b01010, 0b10001]),
    ('Y', [0b10001, 0b01010, 0b00100, 0b00100, 0b00100]),
    ('Z', [0b11111, 0b00010, 0b00100, 0b01000, 0b11111]),
];

/// The columns that a word takes in large letters.
pub fn width(word: &str) -> usize {
    (word.chars().count() * WIDE).saturating_sub(1)
}

/// The rows of a word in large letters, each as wide as the word; what is no letter is a gap.
pub fn big(word: &str) -> [String; ROWS] {
    std::array::from_fn(|row| {
        let letter = |letter: char| {
            let upper = letter.to_ascii_uppercase();
            let found = LETTERS.iter().find(|(own, _)| *own == upper);
            let bits = found.map_or(0, |(_, rows)| rows[row]);
            let cell = |column: usize| {
                if bits >> (4 - column) & 1 == 1 {
                    '#'
                } else {
                    ' '
                }
            };
            (0..5).map(cell).collect::<String>()
        };
        word.chars().map(letter).collect::<Vec<String>>().join(" ")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_read_from_its_cells() {
        let pass = big("Pass");
        assert_eq!(
            pass,
            [
                "####   ###   ####  ####",
                "#   # #   # #     #    ",
                "####  #####  ###   ### ",
                "#     #   #     #     #",
                "#     #   # ####  #### ",
            ]
        );
        assert!(pass.iter().all(|row| row.len() == width("Pass")));
        assert_eq!(big("")[0], "");
        let letters: std::collections::BTreeSet<[String; ROWS]> =
            ('A'..='Z').map(|letter| big(&letter.to_string())).collect();
        assert_eq!(letters.len(), 26, "every letter has a shape of its own");
    }
}
