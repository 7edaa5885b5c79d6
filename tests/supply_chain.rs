//! What comes in with the code: no unsafe code, no build script, no source but the registry, a stated oldest compiler.

use std::fs;
use std::path::PathBuf;

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
