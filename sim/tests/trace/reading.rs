//! What a recording holds, read back by the parser of the crate `vcd`.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::BufReader;
use std::path::{Path, PathBuf};

use vcd::{Command, IdCode, ScopeItem, Value};

/// A directory of a test's own, gone with the test.
pub struct Directory(pub PathBuf);

impl Directory {
    pub fn new(test: &str) -> Self {
        let path = std::env::temp_dir().join(format!("crake-sim-{}-{test}", std::process::id()));
        Self(path)
    }

    pub fn path(&self) -> &Path {
        &self.0
    }

    pub fn files(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).map_or(Vec::new(), |entries| entries.collect());
        let names = entries.into_iter().flatten().map(|entry| entry.file_name());
        let mut names: Vec<String> = names.map(|name| name.to_string_lossy().into()).collect();
        names.sort();
        names
    }
}

impl Drop for Directory {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// A dump as its changes by signal, each a time and a text: bits, or a decimal number.
pub struct Read {
    pub changes: BTreeMap<String, Vec<(u64, String)>>,
    pub begin_ns: u64,
    pub end_ns: u64,
}

impl Read {
    /// Reads a dump, and checks that times rise, that every signal has a value at the beginning,
    /// and that none is repeated.
    pub fn new(path: &Path) -> Result<Self, Box<dyn std::error::Error>> {
        let mut parser = vcd::Parser::new(BufReader::new(File::open(path)?));
        let header = parser.parse_header()?;
        let mut names = BTreeMap::new();
        collect(&header.items, "", &mut names);
        let mut changes: BTreeMap<String, Vec<(u64, String)>> = BTreeMap::new();
        let (mut begin_ns, mut now_ns) = (None, 0);
        for command in parser {
            let (id, value) = match command? {
                Command::Timestamp(ns) => {
                    assert!(begin_ns.is_none() || ns > now_ns, "#{ns} after #{now_ns}");
                    begin_ns.get_or_insert(ns);
                    now_ns = ns;
                    continue;
                }
                Command::ChangeScalar(id, value) => (id, value.to_string()),
                Command::ChangeVector(id, bits) => (id, bits.to_string()),
                Command::ChangeReal(id, number) => (id, number.to_string()),
                Command::Begin(_) | Command::End(_) => continue,
                other => panic!("unexpected {other:?}"),
            };
            let of_signal = changes.entry(names[&id].clone()).or_default();
            if let Some((_, last)) = of_signal.last() {
                assert_ne!(*last, value, "{} repeats at #{now_ns}", names[&id]);
            }
            of_signal.push((now_ns, value));
        }
        let begin_ns = begin_ns.ok_or("no time at all")?;
        for name in names.values() {
            assert_eq!(changes[name][0].0, begin_ns, "{name} has no value at first");
        }
        Ok(Self {
            changes,
            begin_ns,
            end_ns: now_ns,
        })
    }

    pub fn of(&self, signal: &str) -> &[(u64, String)] {
        &self.changes[&format!("bench.{signal}")]
    }

    /// Changes of both wires in the order of time: when, whether it is SCL, and the level.
    pub fn edges(&self) -> Vec<(u64, bool, bool)> {
        let of = |name, is_scl| {
            let changes = self.of(name).iter();
            changes.map(move |(at, level)| (*at, is_scl, level == &Value::V1.to_string()))
        };
        let mut edges: Vec<_> = of("SCL", true).chain(of("SDA", false)).collect();
        edges.sort_by_key(|edge| edge.0);
        edges
    }
}

pub fn collect(items: &[ScopeItem], prefix: &str, names: &mut BTreeMap<IdCode, String>) {
    for item in items {
        match item {
            ScopeItem::Var(var) => {
                names.insert(var.code, format!("{prefix}{}", var.reference));
            }
            ScopeItem::Scope(scope) => collect(
                &scope.items,
                &format!("{prefix}{}.", scope.identifier),
                names,
            ),
            _ => {}
        }
    }
}
