//! Words: short sentences where people begin to read, one word for one thing, no caution lost.

use std::fs;
use std::path::{Path, PathBuf};

use linedrift::TrimSpec;
use linedrift::report::{CAUTIONS, PageSpec, ReportData};
use linedrift::simulate::FleetSpec;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap()
}

/// Files below a folder with an ending.
fn files(folder: &str, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut left = vec![root().join(folder)];
    while let Some(folder) = left.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                left.push(path);
            } else if path.extension().is_some_and(|own| own == ending) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The running text of a page: no code, no tables, no headings, no pictures; a list item or a paragraph a line each.
fn prose(markdown: &str) -> Vec<String> {
    let mut paragraphs = vec![String::new()];
    let mut code = false;
    for line in markdown.lines().map(str::trim) {
        if line.starts_with("```") {
            code = !code;
            paragraphs.push(String::new());
        } else if code || line.is_empty() || line.starts_with(['#', '|', '!', '<']) {
            paragraphs.push(String::new());
        } else {
            if line.starts_with("- ") {
                paragraphs.push(String::new());
            }
            let last = paragraphs.last_mut().unwrap();
            last.push_str(line);
            last.push(' ');
        }
    }
    paragraphs.retain(|paragraph| !paragraph.trim().is_empty());
    paragraphs
}

/// Words of each sentence; a sentence ends in `.`, `?`, `!` or `:` before a space, or with its paragraph.
fn sentences(markdown: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for paragraph in prose(markdown) {
        let mut sentence = String::new();
        for word in paragraph.split_whitespace() {
            sentence.push_str(word);
            sentence.push(' ');
            let bare = word.trim_end_matches(['*', ')', '"', '_']);
            if bare.ends_with(['.', '?', '!', ':']) {
                found.push(std::mem::take(&mut sentence));
            }
        }
        found.push(sentence);
    }
    let words =
        |text: &String| text.split_whitespace().filter(|word| word.chars().any(char::is_alphanumeric)).count();
    found.into_iter().map(|text| (words(&text), text)).filter(|(words, _)| *words > 0).collect()
}

#[test]
fn sentences_are_counted_as_people_see_them() {
    let text = "# Head\n\nOne two. Three *four five.* Six\nseven (`a.b`)?\n\n```sh\nno\n```\n- Eight: nine ten.\n| a | b |\n";
    let counts: Vec<usize> = sentences(text).iter().map(|(words, _)| *words).collect();
    assert_eq!(counts, [2, 3, 3, 1, 2]);
}

/// Common advice for plain English is 15 to 20 words on average (practice, no source known).
#[test]
fn sentences_are_short_where_people_begin_to_read() {
    for path in ["README.md", "docs/tutorial.md"] {
        let sentences = sentences(&read(path));
        assert!(sentences.len() > 20, "{path}");
        let mean = sentences.iter().map(|(words, _)| *words as f64).sum::<f64>() / sentences.len() as f64;
        println!("{path}: {} sentences, {mean:.1} words each", sentences.len());
        assert!(mean < 16.0, "{path}: {mean:.1} words a sentence");
        for (words, sentence) in &sentences {
            assert!(*words <= 34, "{path}: {words} words: {sentence}");
        }
    }
}

/// The README says the job, shows the answer and names the two commands before it sends anyone elsewhere.
#[test]
fn the_readme_has_a_screen_before_its_first_link() {
    let readme = read("README.md");
    let link = readme
        .match_indices("](")
        .find(|(at, _)| !readme[..*at].rsplit('\n').next().unwrap().starts_with("!["))
        .unwrap()
        .0;
    for first in ["![", "\ncargo run --release\n", "\ncargo test\n"] {
        assert!(readme.find(first).unwrap() < link, "{first}");
    }
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for caution in CAUTIONS {
        assert!(words(&readme).contains(caution), "lost: {caution}");
    }
}

/// Words that the glossary says are not used, each with what is used in its place.
fn not_used() -> Vec<(String, String)> {
    let glossary = read("docs/glossary.md");
    let table = glossary.split("## One word for one thing").nth(1).unwrap();
    let rows = table.lines().filter_map(|line| line.strip_prefix("| ")?.strip_suffix(" |")?.split_once(" | "));
    rows.skip(1).map(|(used, not)| (used.to_owned(), not.to_owned())).collect()
}

fn has_word(text: &str, word: &str) -> bool {
    let letter = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
    text.match_indices(word)
        .any(|(at, _)| !letter(text[..at].chars().next_back()) && !letter(text[at + word.len()..].chars().next()))
}

/// What is between quotes in a line of Rust that is no comment, and what a comment says that the command line shows as help.
fn said(line: &str, is_cli: bool) -> Vec<&str> {
    match line.trim_start() {
        help if help.starts_with("///") && is_cli => vec![help],
        comment if comment.starts_with("//") => Vec::new(),
        code => code.split('"').skip(1).step_by(2).collect(),
    }
}

#[test]
fn pages_and_program_keep_to_the_glossary() {
    let not_used = not_used();
    assert!(not_used.len() > 4, "{not_used:?}");
    let mut found = Vec::new();
    let mut pages = files("docs", "md");
    pages.push(root().join("README.md"));
    for page in pages {
        let text = fs::read_to_string(&page).unwrap();
        let text = text.split("## One word for one thing").next().unwrap().to_lowercase();
        for (used, not) in &not_used {
            if has_word(&text, not) {
                found.push(format!("{}: `{not}`, say `{used}`", page.display()));
            }
        }
    }
    for source in files("src", "rs") {
        let is_cli = source.starts_with(root().join("src/cli"));
        for line in fs::read_to_string(&source).unwrap().lines() {
            for (used, not) in &not_used {
                if said(line, is_cli).iter().any(|text| has_word(&text.to_lowercase(), not)) {
                    found.push(format!("{}: `{not}`, say `{used}`: {}", source.display(), line.trim()));
                }
            }
        }
    }
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

/// Each sample is a fault, so that a checker that sees nothing is found out.
#[test]
fn the_checker_of_words_sees_a_word() {
    assert!(has_word("a rate of nought.", "nought") && !has_word("noughts", "nought"));
    assert_eq!(said("f(\"a nought\", \"b\")", true), ["a nought", "b"]);
    assert!(said("/// \"nought\"", false).is_empty());
    assert_eq!(said("    /// Help", true), ["/// Help"]);
    assert_eq!(not_used()[0], ("zero".to_owned(), "nought".to_owned()));
}

#[test]
fn what_the_page_explains_is_in_the_glossary() {
    let fleet = FleetSpec::default().wings(2).seed(1).run().unwrap().fleet;
    let history = &fleet.histories()[0];
    let trim =
        TrimSpec::default().run(fleet.line_set(history), &history.wing, history.checks.last().unwrap()).unwrap();
    let page = PageSpec::default().run(&ReportData { trims: &[trim], ..ReportData::of(&fleet) }).unwrap();
    let reading = page.html().split("How to read this page</h2>").nth(1).unwrap();
    let terms: Vec<&str> = reading.split("<dt>").skip(1).map(|rest| rest.split("</dt>").next().unwrap()).collect();
    assert!(terms.len() > 5);
    let glossary = read("docs/glossary.md");
    for term in terms {
        assert!(glossary.contains(&format!("| {} |", term.to_lowercase())), "{term}");
    }
}
