//! The pages of the documents that show commands: these are run as they stand, and the output is what they print.
//!
//! With `LINEDRIFT_WRITE_PAGES=1` the outputs are written into the pages instead of compared.

use std::fs;
use std::path::Path;
use std::process::Command;

use tempfile::TempDir;

/// A piece of a page: prose, or a fenced block with its language.
struct Piece {
    language: Option<String>,
    text: String,
}

fn pieces(page: &str) -> Vec<Piece> {
    let mut pieces: Vec<Piece> = vec![Piece { language: None, text: String::new() }];
    for line in page.lines() {
        let open = pieces.last().is_some_and(|piece| piece.language.is_some());
        match line.strip_prefix("```") {
            Some(language) if !open => {
                pieces.push(Piece { language: Some(language.to_owned()), text: String::new() });
            }
            Some(_) => pieces.push(Piece { language: None, text: String::new() }),
            None => pieces.last_mut().unwrap().text.extend([line, "\n"]),
        }
    }
    pieces
}

fn joined(pieces: &[Piece]) -> String {
    let piece = |piece: &Piece| match &piece.language {
        Some(language) => format!("```{language}\n{}```\n", piece.text),
        None => piece.text.clone(),
    };
    pieces.iter().map(piece).collect()
}

/// Runs the `sh` blocks of a page in one folder, each against the `text` block that follows it (none: no output).
fn run(name: &str, least: usize) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = root.join("docs").join(name);
    let write = std::env::var_os("LINEDRIFT_WRITE_PAGES").is_some();
    let mut pieces = pieces(&fs::read_to_string(&path).unwrap());
    let home = TempDir::new().unwrap();
    fs::create_dir(home.path().join("notebooks-data")).unwrap();
    for file in ["notebooks-data/wing-7.csv", "notebooks-data/wing-7.xlsx"] {
        fs::copy(root.join(file), home.path().join(file)).unwrap();
    }
    let binary = Path::new(env!("CARGO_BIN_EXE_linedrift"));
    let commands = format!("{}:{}", binary.parent().unwrap().display(), std::env::var("PATH").unwrap());
    let mut count = 0;
    for at in 0..pieces.len() {
        if pieces[at].language.as_deref() != Some("sh") {
            continue;
        }
        let output = Command::new("sh")
            .args(["-c", &format!("exec 2>&1\n{}", pieces[at].text)])
            .current_dir(home.path())
            .env("PATH", &commands)
            .output()
            .unwrap();
        let printed = String::from_utf8(output.stdout).unwrap();
        let command = pieces[at].text.clone();
        // a blank line of prose stands between the two
        match pieces.get_mut(at + 2).filter(|piece| piece.language.as_deref() == Some("text")) {
            Some(shown) if write => shown.text = format!("{}\n", printed.trim_end()),
            Some(shown) => assert_eq!(printed.trim_end(), shown.text.trim_end(), "{name}, after\n{command}"),
            None => assert_eq!(printed, "", "{name}, after\n{command}"),
        }
        count += 1;
    }
    assert!(count >= least, "{count} blocks of commands in {name}");
    if write {
        fs::write(&path, joined(&pieces)).unwrap();
    }
}

#[test]
fn the_spreadsheet_page_prints_what_it_shows() {
    run("walkthrough.md", 4);
}

#[test]
fn the_tutorial_prints_what_it_shows() {
    run("tutorial.md", 10);
}
