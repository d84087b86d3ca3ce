//! Tables as text: tab-separated for programs, aligned for people.

use crate::domain::csv;
use crate::domain::text::shown;
use unicode_width::UnicodeWidthStr;

/// A table: a header and rows of as many cells.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// Names of the columns.
    pub header: Vec<&'static str>,
    /// Rows, each with one cell a column.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// Tab-separated with a header line; nothing that could steer a terminal or break a line.
    pub fn tsv(&self) -> String {
        let header = self.header.join("\t");
        let rows = self.rows.iter().map(|row| {
            row.iter()
                .map(|cell| shown(cell))
                .collect::<Vec<String>>()
                .join("\t")
        });
        std::iter::once(header)
            .chain(rows)
            .map(|line| line + "\n")
            .collect()
    }

    /// Comma-separated with a header line, every cell as text; safe for table programs.
    pub fn csv(&self) -> String {
        self.csv_with_numbers(&[])
    }

    /// The same, where the columns of these names hold numbers that this program wrote: they stay numbers.
    pub fn csv_with_numbers(&self, numbers: &[&str]) -> String {
        let header = csv::line(self.header.iter().copied());
        let rows = self.rows.iter().map(|row| {
            let cells: Vec<String> = row.iter().map(|cell| shown(cell)).collect();
            let is_number = |(name, cell): (&&str, &String)| {
                numbers.contains(name) && cell.parse::<f64>().is_ok_and(f64::is_finite)
            };
            let kinds = self.header.iter().zip(&cells).map(is_number);
            csv::line_of(cells.iter().map(String::as_str).zip(kinds))
        });
        std::iter::once(header).chain(rows).collect()
    }

    /// Columns aligned with spaces, for reading.
    pub fn aligned(&self) -> String {
        let rows: Vec<Vec<String>> =
            std::iter::once(self.header.iter().map(ToString::to_string).collect())
                .chain(
                    self.rows
                        .iter()
                        .map(|row| row.iter().map(|cell| shown(cell)).collect()),
                )
                .collect();
        let width = |column: usize| {
            rows.iter()
                .map(|row| row[column].width())
                .max()
                .unwrap_or(0)
        };
        let widths: Vec<usize> = (0..self.header.len()).map(width).collect();
        let mut text = String::new();
        for row in &rows {
            let mut line = String::new();
            for (cell, width) in row.iter().zip(&widths) {
                line.push_str(cell);
                line.push_str(&" ".repeat(width + 2 - cell.width()));
            }
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }
}
