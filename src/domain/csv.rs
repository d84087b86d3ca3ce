//! Tables as comma-separated text (RFC 4180), safe for programs that take cells for formulas.

#![cfg_attr(
    not(test),
    deny(clippy::indexing_slicing, clippy::arithmetic_side_effects)
)]

/// Longest cell that is read, in bytes.
pub const CELL_MAX: usize = 4096;
/// Most rows that are read, the header included.
pub const ROWS_MAX: usize = 100_001;

/// A cell that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// Its text, without its quotes and guard.
    pub text: String,
    /// The byte of the file at which it begins.
    pub at: usize,
}

/// What is no table: at which byte, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CsvFault {
    /// The byte.
    pub at: usize,
    /// Why.
    pub why: String,
}

/// True where a table program may take the text for a formula: its first character behind spaces and
/// quotes is one that begins one.
fn is_trigger(text: &str) -> bool {
    let first = text.trim_start_matches([' ', '"', '\'']).chars().next();
    first.is_some_and(|c| "=+-@\t\r\n\0＝＋－＠".contains(c))
}

/// The text with a `'` in front where a table program may take it for a formula.
pub fn guarded(text: &str) -> String {
    if is_trigger(text) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The text without the one `'` that [`guarded`] has put in front.
pub fn unguarded(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if is_trigger(rest) => rest,
        _ => text,
    }
}

/// One line of text cells, with its end.
pub fn line<'t>(cells: impl IntoIterator<Item = &'t str>) -> String {
    line_of(cells.into_iter().map(|cell| (cell, false)))
}

/// One line of cells, with its end; those that are numbers of our own (`true`) need no guard.
pub fn line_of<'t>(cells: impl IntoIterator<Item = (&'t str, bool)>) -> String {
    let cells: Vec<String> = cells
        .into_iter()
        .map(|(cell, number)| {
            if number {
                cell.to_owned()
            } else {
                quoted(&guarded(cell))
            }
        })
        .collect();
    // A line of nothing would be no row.
    let text = if cells == [""] {
        "\"\"".to_owned()
    } else {
        cells.join(",")
    };
    text + "\r\n"
}

fn quoted(text: &str) -> String {
    let plain = !text.contains(['"', ',', '\r', '\n']) && text.trim() == text;
    if plain {
        text.to_owned()
    } else {
        format!("\"{}\"", text.replace('"', "\"\""))
    }
}

/// Reads rows of cells; empty lines are skipped.
///
/// # Errors
/// The first place that is not as RFC 4180 has it, or where a limit is passed.
pub fn read(text: &str) -> Result<Vec<Vec<Cell>>, CsvFault> {
    let mut reader = Reader { text, at: 0 };
    let mut rows = Vec::new();
    while reader.at < text.len() {
        if rows.len() == ROWS_MAX {
            return Err(reader.fault(format!("more than {} rows", ROWS_MAX - 1)));
        }
        if !reader.line_end() {
            rows.push(reader.row()?);
        }
    }
    Ok(rows)
}

struct Reader<'t> {
    text: &'t str,
    at: usize,
}

impl Reader<'_> {
    fn fault(&self, why: impl Into<String>) -> CsvFault {
        CsvFault {
            at: self.at,
            why: why.into(),
        }
    }

    fn rest(&self) -> &str {
        self.text.get(self.at..).unwrap_or("")
    }

    fn step(&mut self, bytes: usize) {
        self.at = self.at.saturating_add(bytes);
    }

    /// Goes over the end of a line where one is here.
    fn line_end(&mut self) -> bool {
        let ends = ["\r\n", "\n"];
        let Some(end) = ends.into_iter().find(|end| self.rest().starts_with(end)) else {
            return false;
        };
        self.step(end.len());
        true
    }

    fn row(&mut self) -> Result<Vec<Cell>, CsvFault> {
        let mut cells = Vec::new();
        loop {
            cells.push(self.cell()?);
            if self.rest().starts_with(',') {
                self.step(1);
            } else if self.rest().is_empty() || self.line_end() {
                return Ok(cells);
            } else {
                return Err(self.fault("a comma or the end of the line is asked after a cell"));
            }
        }
    }

    fn cell(&mut self) -> Result<Cell, CsvFault> {
        let at = self.at;
        let text = if self.rest().starts_with('"') {
            self.quoted()?
        } else {
            self.plain()?
        };
        if text.len() > CELL_MAX {
            let why = format!(
                "the cell has {} bytes, at most {CELL_MAX} are taken",
                text.len()
            );
            return Err(CsvFault { at, why });
        }
        Ok(Cell {
            text: unguarded(&text).to_owned(),
            at,
        })
    }

    fn plain(&mut self) -> Result<String, CsvFault> {
        let rest = self.rest();
        let end = rest.find([',', '\n']).unwrap_or(rest.len());
        let cell = rest.get(..end).unwrap_or("");
        let cell = cell
            .strip_suffix('\r')
            .filter(|_| rest.get(end..).is_some_and(|rest| rest.starts_with('\n')))
            .unwrap_or(cell);
        if let Some(quote) = cell.find('"') {
            self.step(quote);
            return Err(self.fault("a quote inside a cell that does not begin with one"));
        }
        let cell = cell.to_owned();
        self.step(cell.len());
        Ok(cell)
    }

    fn quoted(&mut self) -> Result<String, CsvFault> {
        let begun = self.at;
        self.step(1);
        let mut cell = String::new();
        loop {
            let rest = self.rest();
            let Some(quote) = rest.find('"') else {
                self.at = begun;
                return Err(self.fault("the quote that begins here is never closed"));
            };
            cell.push_str(rest.get(..quote).unwrap_or(""));
            self.step(quote.saturating_add(1));
            if !self.rest().starts_with('"') {
                return Ok(cell);
            }
            cell.push('"');
            self.step(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(text: &str) -> Vec<Vec<String>> {
        let rows = read(text).expect("a table");
        let cells = |row: Vec<Cell>| row.into_iter().map(|cell| cell.text).collect();
        rows.into_iter().map(cells).collect()
    }

    #[test]
    fn cells_are_read_as_the_standard_has_them() {
        assert_eq!(
            texts("a,b\r\nc,\"d,\"\"e\"\"\r\nf\"\n"),
            [["a", "b"], ["c", "d,\"e\"\r\nf"]]
        );
        assert_eq!(texts("a,,\n\n,b,"), [["a", "", ""], ["", "b", ""]]);
        let at: Vec<usize> = read("ab,\"c\",d\nü,e")
            .expect("a table")
            .concat()
            .iter()
            .map(|cell| cell.at)
            .collect();
        assert_eq!(at, [0, 3, 7, 9, 12]);
    }

    #[test]
    fn what_is_no_table_is_told_with_its_place() {
        for (text, at) in [("a,\"b", 2), ("a,\"b\"c", 5), ("a,b\"c", 3)] {
            assert_eq!(read(text).map_err(|fault| fault.at), Err(at), "{text}");
        }
        assert!(read(&"x".repeat(CELL_MAX + 1)).is_err());
        assert!(read(&"x\n".repeat(ROWS_MAX + 1)).is_err());
        assert!(read(&"x\n".repeat(ROWS_MAX)).is_ok());
    }

    #[test]
    fn nothing_that_is_written_is_taken_for_a_formula() {
        for text in ["=1+1", " +1", "\"@a", "'-1", "\t=1", "＝1", "-5", "\0x"] {
            assert_eq!(guarded(text), format!("'{text}"));
            assert_eq!(unguarded(&guarded(text)), text);
        }
        for text in ["R-1/1", "'quoted'", "a=b", "", "'", "''"] {
            assert_eq!(guarded(text), text);
            assert_eq!(unguarded(text), text);
        }
    }
}
