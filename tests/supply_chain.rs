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

/// An open brace and what it belongs to.
struct Open {
    /// `Some` where what stands directly in it belongs to the listing: the name put before it.
    name: Option<String>,
    /// Whether all in it is public: variants of an enum and their fields, methods of a trait.
    all_public: bool,
    depth: usize,
}

/// What an `impl`, struct, enum, union or trait is called: `impl<T> Row for A<T> {` is `A`.
fn owner(header: &str, word: &str) -> String {
    // the arrow of a function type closes nothing
    let header = header.replace("->", "");
    let rest = header.split_once(word).map_or("", |(_, rest)| rest);
    let mut rest = rest.split(" where ").next().unwrap_or(rest).trim_end_matches('{').trim();
    if let Some(inner) = rest.strip_prefix('<') {
        // generics of the impl itself
        let mut depth = 1;
        let end = inner.find(|letter| {
            depth += i32::from(letter == '<') - i32::from(letter == '>');
            depth == 0
        });
        rest = inner[end.map_or(0, |end| end + 1)..].trim();
    }
    rest.split(['<', ' ', '(', ':', '{', ';']).next().unwrap_or_default().to_owned()
}

/// A source text without what stands in quotes and comments, on as many lines.
fn bare(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    let mut before = ' ';
    while let Some(first) = rest.chars().next() {
        let hashes = rest.chars().skip(1).take_while(|letter| *letter == '#').count();
        let is_raw = first == 'r' && !before.is_alphanumeric() && rest[1 + hashes..].starts_with('"');
        // how long what is left out is
        let skipped = if rest.starts_with("//") {
            rest.find('\n').unwrap_or(rest.len())
        } else if is_raw {
            let end = format!("\"{}", "#".repeat(hashes));
            2 + hashes + rest[2 + hashes..].find(&end).unwrap() + end.len()
        } else if first == '"' {
            1 + closing(&rest[1..], '"')
        } else if first == '\'' && (rest[1..].starts_with('\\') || rest.chars().nth(2) == Some('\'')) {
            1 + closing(&rest[1..], '\'')
        } else {
            0
        };
        out.extend(rest[..skipped].chars().filter(|letter| *letter == '\n'));
        if skipped == 0 {
            out.push(first);
        }
        let taken = if skipped == 0 { first.len_utf8() } else { skipped };
        before = if skipped == 0 { first } else { ' ' };
        rest = &rest[taken..];
    }
    out
}

/// Where a text or letter ends, after its closing quote.
fn closing(rest: &str, quote: char) -> usize {
    let mut escaped = false;
    let end = rest.char_indices().find(|(_, letter)| {
        let ends = *letter == quote && !escaped;
        escaped = *letter == '\\' && !escaped;
        ends
    });
    end.unwrap().0 + 1
}

/// How deep brackets, braces and parentheses are open after a bare line.
fn opened(line: &str, open: &str, close: &str) -> i64 {
    let count = |set: &str| i64::try_from(line.chars().filter(|letter| set.contains(*letter)).count()).unwrap();
    count(open) - count(close)
}

/// What a file shows to the outside: one line per public item, re-export, field, variant and method, with its signature and
/// without its body, after the name of what it stands in. Formatted source: one item begins a line.
fn public(text: &str) -> Vec<String> {
    // tests of a file stand at its end
    let text = text.split("#[cfg(test)]").next().unwrap_or_default();
    let mut items = Vec::new();
    let mut stack: Vec<Open> = Vec::new();
    let mut depth = 0_usize;
    let without_quoted = bare(text);
    let mut lines = text.lines().map(str::trim).zip(without_quoted.lines().map(str::trim));
    while let Some((line, code)) = lines.next() {
        let (mut item, mut code) = (line.to_owned(), code.to_owned());
        if item.starts_with("//") {
            continue;
        }
        if code.starts_with("#[") {
            // an attribute to its end: its lines are no items
            while opened(&code, "([{", ")]}") != 0 {
                let Some((_, next)) = lines.next() else { break };
                code.push_str(next);
            }
            continue;
        }
        let inside = stack.last().filter(|open| open.depth == depth);
        let all_public = inside.is_some_and(|open| open.all_public);
        let shown = item.starts_with("pub ") || (all_public && item.starts_with(|first: char| first.is_alphabetic()));
        let is_header = ["impl", "trait ", "struct ", "enum "]
            .iter()
            .any(|word| item.trim_start_matches("pub ").trim_start_matches("pub(crate) ").starts_with(word));
        if shown || is_header {
            let word = item.trim_start_matches("pub ");
            let is_list = ["use ", "const ", "static "].iter().any(|kind| word.starts_with(kind));
            let ends: &[char] = match () {
                () if is_header || word.contains("fn ") => &['{', ';', '}'],
                () if is_list => &[';'],
                () => &['{', ';', '}', ','],
            };
            while opened(&code, "([", ")]") != 0 || !code.ends_with(ends) {
                let Some((next, next_code)) = lines.next() else { break };
                if !next.starts_with("//") {
                    item = format!("{item} {next}");
                    code = format!("{code} {next_code}");
                }
            }
        }
        let prefix = inside.and_then(|open| open.name.clone()).map_or(String::new(), |name| name + "::");
        if shown {
            items.push(prefix.clone() + &tidy(&item));
        }
        let change = opened(&code, "{", "}");
        let now = usize::try_from(i64::try_from(depth).unwrap() + change).unwrap();
        if now > depth {
            let bare = code.trim_start_matches("pub(crate) ").trim_start_matches("pub ");
            let of_trait = bare.starts_with("impl") && bare.contains(" for ");
            let (name, all_public) = if bare.starts_with("impl") && !of_trait {
                (Some(owner(bare, "impl")), false)
            } else if bare.starts_with("struct ") {
                (Some(owner(bare, "struct ")), false)
            } else if bare.starts_with("enum ") {
                (Some(owner(bare, "enum ")), item.starts_with("pub "))
            } else if bare.starts_with("trait ") {
                (Some(owner(bare, "trait ")), item.starts_with("pub "))
            } else if all_public && !bare.contains("fn ") {
                // fields of a variant
                (Some(prefix + &owner(&format!(" {bare}"), " ")), true)
            } else {
                (None, false)
            };
            stack.push(Open { name, all_public, depth: now });
        }
        depth = now;
        stack.retain(|open| open.depth <= depth);
    }
    items
}

/// A signature on one line, as if it had never been broken.
fn tidy(item: &str) -> String {
    let mut text = item.trim_end_matches(['{', ';', ',']).trim_end().to_owned();
    for (from, to) in [("( ", "("), ("[ ", "["), (", )", ")"), (" )", ")"), (", ]", "]"), (" ]", "]"), (", }", " }")]
    {
        text = text.replace(from, to);
    }
    text
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
            // a list of names stands as one line each
            let names = item.strip_prefix("pub use ").and_then(|rest| rest.strip_suffix('}')?.split_once('{'));
            let room = room.trim_end_matches(".rs");
            match names {
                Some((from, names)) => {
                    let names = names.split(',').map(str::trim).filter(|name| !name.is_empty());
                    all.extend(names.map(|name| format!("{room}: pub use {from}{name}")));
                }
                None => drop(all.insert(format!("{room}: {item}"))),
            }
        }
    }
    all
}

/// What is public is what was listed, by the same signatures. New items are added with
/// `UPDATE_PUBLIC_API=1 cargo test public_items`, as are changes that break, once they stand in the change log.
#[test]
fn public_items_are_those_that_are_listed() {
    let path = root().join("docs/public-api.txt");
    let now = listing();
    assert!(now.len() > 1500, "{}", now.len());
    // an item that runs on into the next hides what follows
    let runs_on = now.iter().find(|item| item.matches("pub ").count() > 1 || item.contains("#[error"));
    assert_eq!(runs_on, None);
    if std::env::var_os("UPDATE_PUBLIC_API").is_some() {
        fs::write(&path, now.iter().fold(String::new(), |text, item| text + item + "\n")).unwrap();
    }
    let text = fs::read_to_string(&path).unwrap();
    let listed: BTreeSet<&str> = text.lines().collect();
    let gone: Vec<&str> = listed.iter().copied().filter(|item| !now.contains(*item)).collect();
    assert!(gone.is_empty(), "no longer public as listed in docs/public-api.txt:\n{}", gone.join("\n"));
    let new: Vec<&str> = now.iter().map(String::as_str).filter(|item| !listed.contains(item)).collect();
    assert!(new.is_empty(), "not listed yet (UPDATE_PUBLIC_API=1 adds them):\n{}", new.join("\n"));
}

#[test]
fn the_listing_sees_what_it_should() {
    let text = r#"
pub use a::{
    B, C,
};
pub struct A {
    pub(crate) hidden: u8,
    pub shown_mm: f64,
}
struct Own {
    own: u8,
}
impl<T: Fn(u8) -> Vec<T>> A<T>
where
    T: Copy,
{
    pub const TWO: [u8; 2] = [
        1,
        2,
    ];
    pub fn f(
        &self,
        x: u8,
    ) -> u8 {
        let brace = "{";
        let long = "{ \
            é {";
        let raw = r"{\"; // {
        match x {
            _ => '{',
            _ => '\'',
        }
    }
    fn own() {}
}
impl Clone for A {
    fn clone(&self) -> A {}
}
/// pub fn in a comment
pub enum E {
    #[default]
    One,
    #[error(
        "{} is none: \
         bring {what}",
        path.display()
    )]
    Two {
        /// A field.
        x_mm: f64,
    },
    Three(u8),
}
pub trait T {
    /// What it does.
    fn given(&self) -> u8 {
        let inner = 1;
    }
    fn wanted(&self);
}
pub fn last() {}
#[cfg(test)]
mod tests {
    pub fn no() {}
}
"#;
    let expected = [
        "pub use a::{ B, C }",
        "pub struct A",
        "A::pub shown_mm: f64",
        "A::pub const TWO: [u8; 2] = [1, 2]",
        "A::pub fn f(&self, x: u8) -> u8",
        "pub enum E",
        "E::One",
        "E::Two",
        "E::Two::x_mm: f64",
        "E::Three(u8)",
        "pub trait T",
        "T::fn given(&self) -> u8",
        "T::fn wanted(&self)",
        "pub fn last() {}",
    ];
    assert_eq!(public(text), expected);
}
