//! Tables and fenced blocks of a Markdown document, each with the heading it stands under.

use std::{fs, path::Path};

/// A Markdown document, taken apart.
#[derive(Debug)]
pub struct Document {
    tables: Vec<Table>,
    fences: Vec<(String, String)>,
}

/// A table as text.
#[derive(Debug)]
pub struct Table {
    heading: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Document {
    /// The datasheet of Corncrake.
    #[must_use]
    pub fn corncrake() -> Self {
        Self::read("docs/corncrake-datasheet.md")
    }

    /// The document at a path from the repository's root.
    ///
    /// # Panics
    /// If it cannot be read.
    #[must_use]
    pub fn read(path: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
        let text =
            fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        Self::parse(&text)
    }

    /// Takes the text of a document apart.
    #[must_use]
    pub fn parse(text: &str) -> Self {
        let mut document = Self {
            tables: Vec::new(),
            fences: Vec::new(),
        };
        let mut heading = String::new();
        let mut in_table = false;
        let mut lines = text.lines();
        while let Some(line) = lines.next() {
            let was_in_table = std::mem::replace(&mut in_table, line.starts_with('|'));
            if line.starts_with("```") {
                let block: Vec<_> = lines
                    .by_ref()
                    .take_while(|line| !line.starts_with("```"))
                    .collect();
                document.fences.push((heading.clone(), block.join("\n")));
            } else if line.starts_with('#') {
                heading = line.trim_start_matches('#').trim().to_owned();
            } else if in_table && !was_in_table {
                document.tables.push(Table {
                    heading: heading.clone(),
                    columns: cells(line),
                    rows: Vec::new(),
                });
            } else if in_table && !line.starts_with("|--") {
                let table = document.tables.last_mut().expect("a table began");
                let row = cells(line);
                assert_eq!(
                    row.len(),
                    table.columns.len(),
                    "under '{heading}': cells in '{line}'"
                );
                table.rows.push(row);
            }
        }
        document
    }

    /// The one table under the heading that begins with `heading` whose columns begin with
    /// `columns`.
    ///
    /// # Panics
    /// If there is no such table, or more than one.
    #[must_use]
    pub fn table(&self, heading: &str, columns: &[&str]) -> &Table {
        let mut found = self.tables(heading, columns);
        match (found.next(), found.next()) {
            (Some(table), None) => table,
            (None, _) => panic!("no table '{columns:?}' under '{heading}'"),
            (Some(_), Some(_)) => panic!("more than one table '{columns:?}' under '{heading}'"),
        }
    }

    /// All tables under that heading whose columns begin so, in the order of the document.
    pub fn tables(&self, heading: &str, columns: &[&str]) -> impl Iterator<Item = &Table> {
        let begins = move |table: &&Table| {
            table.heading.starts_with(heading)
                && table.columns.len() >= columns.len()
                && table
                    .columns
                    .iter()
                    .zip(columns)
                    .all(|(has, wants)| has == wants)
        };
        self.tables.iter().filter(begins)
    }

    /// The first fenced block under the heading that begins with `heading`.
    ///
    /// # Panics
    /// If there is none.
    #[must_use]
    pub fn fence(&self, heading: &str) -> &str {
        let found = self
            .fences
            .iter()
            .find(|(under, _)| under.starts_with(heading));
        found
            .map(|(_, text)| text.as_str())
            .unwrap_or_else(|| panic!("no fenced block under '{heading}'"))
    }
}

impl Table {
    /// The rows, as cells.
    pub fn rows(&self) -> impl Iterator<Item = &[String]> {
        self.rows.iter().map(Vec::as_slice)
    }

    /// The cell in the row whose first cell is `row`, under `column`.
    ///
    /// # Panics
    /// If there is no such row or column.
    #[must_use]
    pub fn cell(&self, row: &str, column: &str) -> &str {
        let index = self.columns.iter().position(|name| name == column);
        let index =
            index.unwrap_or_else(|| panic!("under '{}': no column '{column}'", self.heading));
        let found = self.rows.iter().find(|cells| cells[0] == row);
        &found.unwrap_or_else(|| panic!("under '{}': no row '{row}'", self.heading))[index]
    }
}

fn cells(line: &str) -> Vec<String> {
    line.trim()
        .trim_matches('|')
        .split('|')
        .map(|cell| cell.trim().to_owned())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::Document;

    const TEXT: &str = concat!(
        "# One\n\n| a | b |\n|---|---|\n| 1 | `2` |\n| 3 | 4 |\n\n",
        "| a | c |\n|---|---|\n| 5 | 6 |\n\n## Two\n```text\n| x |\ny\n```\n"
    );

    #[test]
    fn tables_are_found_by_heading_and_columns() {
        let document = Document::parse(TEXT);
        assert_eq!(
            document
                .table("One", &["a", "b"])
                .rows()
                .collect::<Vec<_>>(),
            [["1", "`2`"], ["3", "4"]]
        );
        assert_eq!(document.table("One", &["a", "c"]).cell("5", "c"), "6");
        assert_eq!(document.fence("Two"), "| x |\ny");
    }

    #[test]
    #[should_panic(expected = "more than one")]
    fn an_ambiguous_table_is_refused() {
        let _ = Document::parse(TEXT).table("One", &["a"]);
    }
}
