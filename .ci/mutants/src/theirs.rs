//! What `cargo mutants --list --json` says of a mistake.

use serde::Deserialize;

#[derive(Deserialize)]
pub struct Theirs {
    pub file: String,
    pub genre: String,
    pub replacement: String,
    pub span: Span,
}

#[derive(Deserialize)]
pub struct Span {
    pub start: Point,
}

/// Both counted from 1.
#[derive(Deserialize)]
pub struct Point {
    pub line: usize,
    pub column: usize,
}
