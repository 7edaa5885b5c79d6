//! The pages of the documents hold together: links lead somewhere, and files and headings that they name are there.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// README, the page for developers and all pages in docs/, by path.
fn pages() -> BTreeMap<PathBuf, String> {
    let mut paths = vec![root().join("README.md"), root().join("DEVELOPERS.md")];
    for entry in fs::read_dir(root().join("docs")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|ending| ending == "md") {
            paths.push(path);
        }
    }
    paths.into_iter().map(|path| (path.clone(), fs::read_to_string(path).unwrap())).collect()
}

/// The text outside fenced blocks.
fn prose(page: &str) -> String {
    page.split("```").step_by(2).collect()
}

/// Places that headings make: small letters, spaces as dashes, other signs left out.
fn anchors(page: &str) -> BTreeSet<String> {
    let anchor = |heading: &str| -> String {
        let text = heading.trim_start_matches('#').trim().to_lowercase();
        let kept = text.chars().filter(|c| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_'));
        kept.map(|c| if c == ' ' { '-' } else { c }).collect()
    };
    prose(page).lines().filter(|line| line.starts_with('#')).map(anchor).collect()
}

fn faults(pages: &BTreeMap<PathBuf, String>) -> Vec<String> {
    let mut faults = Vec::new();
    for (path, page) in pages {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let text = prose(page);
        for rest in text.split("](").skip(1) {
            let target = rest.split(')').next().unwrap();
            if target.starts_with("http") {
                continue;
            }
            let (file, place) = target.split_once('#').unwrap_or((target, ""));
            let file = if file.is_empty() { path.clone() } else { path.parent().unwrap().join(file) };
            if !file.exists() {
                faults.push(format!("{name}: no file for `{target}`"));
            } else if !place.is_empty() && !anchors(&fs::read_to_string(&file).unwrap()).contains(place) {
                faults.push(format!("{name}: no heading for `{target}`"));
            }
        }
        for code in text.split('`').skip(1).step_by(2) {
            let is_file = ["src/", "tests/", "docs/", "benches/"].iter().any(|folder| code.starts_with(folder));
            let plain = code.chars().all(|c| c.is_ascii_alphanumeric() || "_-./".contains(c));
            if is_file && plain && !root().join(code).exists() {
                faults.push(format!("{name}: there is no `{code}`"));
            }
        }
    }
    faults
}

#[test]
fn links_lead_somewhere_and_named_files_are_there() {
    let pages = pages();
    assert!(pages.len() > 10, "{}", pages.len());
    let found = faults(&pages);
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

/// Each sample has one fault, so that a checker that sees nothing is found out.
#[test]
fn the_checker_sees_each_fault() {
    let docs = root().join("docs");
    for (text, wanted) in [
        ("[a](nothing.md)", "no file for `nothing.md`"),
        ("# One\n[a](#two)", "no heading for `#two`"),
        ("`src/nothing.rs`", "there is no `src/nothing.rs`"),
    ] {
        // headings are read from the file, so the sample of a heading names one that no page has
        let pages = BTreeMap::from([(docs.join("README.md"), text.to_owned())]);
        let found = faults(&pages);
        assert!(found.len() == 1 && found[0].contains(wanted), "{text}: {found:?}");
    }
}

#[test]
fn the_index_names_every_page() {
    let index = fs::read_to_string(root().join("docs/README.md")).unwrap();
    for path in pages().keys().filter(|path| path.parent().unwrap().ends_with("docs")) {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        assert!(name == "README.md" || index.contains(&format!("]({name})")), "{name}");
    }
}

/// Steps for researchers name functions and types that are there.
#[test]
fn the_page_for_researchers_names_what_is_there() {
    let page = fs::read_to_string(root().join("docs/researchers.md")).unwrap();
    for (file, names) in [
        ("src/wear/model/shape.rs", &["enum Shape", "fn name", "fn at", "fn hours_at"][..]),
        ("src/wear/fit/scale.rs", &["Shape::Saturating"]),
        ("src/cli/wear_model.rs", &["saturating"]),
        ("src/wing/material.rs", &["struct Fibre"]),
    ] {
        assert!(page.contains(&format!("`{file}`")), "{file}");
        let code = fs::read_to_string(root().join(file)).unwrap().to_lowercase();
        for name in names {
            assert!(code.contains(&name.to_lowercase()), "{file}: {name}");
        }
    }
    let model = fs::read_to_string(root().join("src/wear/model/layout.rs")).unwrap();
    assert!(model.contains("covariate:{name}"), "the term of a covariate has that name");
}
