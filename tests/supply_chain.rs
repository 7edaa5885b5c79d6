//! What comes in with the code and what goes out of it: no unsafe code, no build script, no source but the registry, a stated
//! oldest compiler, and no public name that disappears unnoticed.
#![allow(clippy::case_sensitive_file_extension_comparisons)]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap()
}

#[test]
fn unsafe_code_is_forbidden_and_nothing_runs_while_building() {
    for file in ["src/lib.rs", "src/main.rs"] {
        assert!(read(file).contains("\n#![forbid(unsafe_code)]\n"), "{file}");
    }
    let manifest = read("Cargo.toml");
    assert!(manifest.contains("unsafe_code = \"forbid\""));
    assert!(!root().join("build.rs").exists() && !manifest.contains("\nbuild ="), "a build script");
}

#[test]
fn dependencies_come_from_the_registry_and_are_locked() {
    let lock = read("Cargo.lock");
    let sources = lock.lines().filter_map(|line| line.strip_prefix("source = "));
    let other: Vec<&str> =
        sources.filter(|source| *source != "\"registry+https://github.com/rust-lang/crates.io-index\"").collect();
    assert!(other.is_empty(), "{other:?}");
    // every locked package but this one has a checksum
    assert_eq!(lock.matches("[[package]]").count(), lock.matches("\nchecksum = ").count() + 1);
    let manifest = read("Cargo.toml");
    assert!(!manifest.contains("git = ") && !manifest.contains("path = \".."));
}

#[test]
fn the_oldest_compiler_is_stated_everywhere_alike() {
    let manifest = read("Cargo.toml");
    let stated = manifest.lines().find_map(|line| line.strip_prefix("rust-version = ")).unwrap().trim_matches('"');
    assert!(env!("CARGO_PKG_RUST_VERSION") == stated);
    for page in ["README.md", "docs/reliability.md"] {
        assert!(read(page).contains(stated), "{page} does not name Rust {stated}");
    }
}

fn sources(folder: &Path, out: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|kind| kind == "rs") {
            out.push(path);
        }
    }
}

/// What a file shows to the outside: one line per public item, method and field, with its signature and without its body.
fn public(text: &str) -> Vec<String> {
    // tests of a file stand at its end
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    let mut items = Vec::new();
    let mut lines = text.lines();
    while let Some(line) = lines.next() {
        let mut item = line.trim().to_owned();
        if !item.starts_with("pub ") {
            continue;
        }
        let is_done = |item: &str| {
            item.ends_with(['{', ';', '}', ','])
                && item.matches('(').count() == item.matches(')').count()
                && (!item.starts_with("pub use") || item.ends_with(';'))
        };
        while !is_done(&item) {
            let Some(next) = lines.next() else { break };
            item = format!("{item} {}", next.trim());
        }
        let short = item.trim_end_matches(['{', ';', ',']).trim_end().replace("( ", "(").replace(", )", ")");
        items.push(short);
    }
    items
}

fn listing() -> BTreeSet<String> {
    let mut files = Vec::new();
    let src = root().join("src");
    sources(&src, &mut files);
    let mut all = BTreeSet::new();
    for path in files {
        let below = path.strip_prefix(&src).unwrap();
        let room = below.iter().next().unwrap().to_string_lossy().into_owned();
        if room == "cli" || room == "main.rs" {
            continue;
        }
        // by room, so that an item may move from one file of its room to another
        for item in public(&fs::read_to_string(&path).unwrap()) {
            if !item.starts_with("pub use") {
                all.insert(format!("{}: {item}", room.trim_end_matches(".rs")));
            }
        }
    }
    all
}

/// What was public at the last listing is public still, by the same signature. New items are welcome and are added with
/// `UPDATE_PUBLIC_API=1 cargo test public_items`, as are changes that break, once they stand in the change log.
#[test]
fn public_items_stay() {
    let path = root().join("docs/public-api.txt");
    let now = listing();
    assert!(now.len() > 500, "{}", now.len());
    if std::env::var_os("UPDATE_PUBLIC_API").is_some() {
        fs::write(&path, now.iter().fold(String::new(), |text, item| text + item + "\n")).unwrap();
    }
    let listed = fs::read_to_string(&path).unwrap();
    let gone: Vec<&str> = listed.lines().filter(|item| !now.contains(*item)).collect();
    assert!(gone.is_empty(), "no longer public as listed in docs/public-api.txt:\n{}", gone.join("\n"));
}

#[test]
fn the_listing_sees_what_it_should() {
    let text = "pub struct A {\n    pub(crate) hidden: u8,\n    pub shown_mm: f64,\n}\nimpl A {\n    pub fn f(\n        &self,\n        \
                x: u8,\n    ) -> u8 {\n        0\n    }\n    fn own() {}\n}\n#[cfg(test)]\nmod tests {\n    pub fn no() {}\n}\n";
    assert_eq!(public(text), ["pub struct A", "pub shown_mm: f64", "pub fn f(&self, x: u8) -> u8"]);
}
