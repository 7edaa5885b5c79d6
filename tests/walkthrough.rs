//! The walk-through in the documents: its commands are run as they stand, and its output is what they print.

use std::fs;
use std::path::Path;
use std::process::Command;

use tempfile::TempDir;

/// The fenced blocks of a page with one of two languages, in order.
fn blocks(page: &str) -> Vec<(String, String)> {
    let mut blocks = Vec::new();
    let mut open: Option<(String, String)> = None;
    for line in page.lines() {
        match (&mut open, line.strip_prefix("```")) {
            (None, Some(language)) => open = Some((language.to_owned(), String::new())),
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (Some((_, text)), None) => text.extend([line, "\n"]),
            (None, None) => {}
        }
    }
    blocks
}

#[test]
fn its_commands_print_what_it_shows() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let page = fs::read_to_string(root.join("docs/walkthrough.md")).unwrap();
    let home = TempDir::new().unwrap();
    fs::create_dir(home.path().join("notebooks-data")).unwrap();
    fs::copy(root.join("notebooks-data/wing-7.csv"), home.path().join("notebooks-data/wing-7.csv")).unwrap();
    let binary = Path::new(env!("CARGO_BIN_EXE_linedrift"));
    let path = format!("{}:{}", binary.parent().unwrap().display(), std::env::var("PATH").unwrap());
    let blocks = blocks(&page);
    let mut run = 0;
    for (at, (language, text)) in blocks.iter().enumerate() {
        if language != "sh" {
            continue;
        }
        let output = Command::new("sh")
            .args(["-c", &format!("exec 2>&1\n{text}")])
            .current_dir(home.path())
            .env("PATH", &path)
            .output()
            .unwrap();
        let printed = String::from_utf8(output.stdout).unwrap();
        match blocks.get(at + 1).filter(|(language, _)| language == "text") {
            Some((_, shown)) => assert_eq!(printed.trim_end(), shown.trim_end(), "after\n{text}"),
            None => assert_eq!(printed, "", "after\n{text}"),
        }
        run += 1;
    }
    assert!(run >= 4, "{run} blocks of commands");
}
