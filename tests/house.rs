//! The house's order: who may use whom, how large a file may grow, what stands at the top level.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The rooms and what each may use; itself is always allowed. Reads as the ground plan:
/// `base | card figures | measure | show | work | desk | cli`; `synth` sees `base` and `card` only.
const MAY_USE: &[(&str, &[&str])] = &[
    ("base", &[]),
    ("card", &["base"]),
    ("figures", &["base"]),
    ("measure", &["base", "card", "figures"]),
    ("show", &["base", "card", "figures", "measure"]),
    ("work", &["base", "card", "figures", "measure", "show"]),
    ("synth", &["base", "card"]),
    ("desk", &["base", "card", "figures", "measure", "show", "work"]),
    ("cli", &["base", "card", "figures", "measure", "show", "work", "desk", "synth"]),
];

/// The stages, in order; each may use those before it.
const STAGES: &[&str] = &["photo", "seen", "scale", "strand", "twist", "evenness", "pipeline"];

/// What may stand at the top level, besides dotfiles.
const TOP: &[&str] = &[
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "src",
    "tests",
    "fixtures",
    "demo-images",
    "target",
];

/// A file longer than this holds more than one subject.
const MOST_LINES: usize = 600;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(folder: &str) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = walkdir::WalkDir::new(root().join(folder))
        .into_iter()
        .map(|entry| entry.expect("the folder can be read").into_path())
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        .filter(|path| !path.iter().any(|part| part == "target"))
        .collect();
    found.sort();
    found
}

/// The modules from the crate's root to this file: `src/show/overlay/marks.rs` is `show`, `overlay`, `marks`.
fn module_of(file: &Path) -> Vec<String> {
    let inside = file.strip_prefix(root().join("src")).expect("a file under src").with_extension("");
    let mut parts: Vec<String> = inside.iter().map(|p| p.to_string_lossy().into_owned()).collect();
    if parts.last().is_some_and(|last| last == "mod") {
        parts.pop();
    }
    parts
}

/// Code without comments (texts in quotes may be cut short; that hides no path).
fn code(file: &Path) -> String {
    let text = fs::read_to_string(file).expect("a source file is text");
    text.lines().map(|line| line.split("//").next().unwrap_or_default()).collect::<Vec<_>>().join("\n")
}

/// All paths that begin at the crate's root, as lists of names: `crate::a::b`, also those reached through `super`.
fn paths_from_root(file: &Path) -> Vec<Vec<String>> {
    let module = module_of(file);
    let text = code(file);
    let mut found = Vec::new();
    for (at, _) in text.match_indices("crate::") {
        found.push(names(&text[at + "crate::".len()..]));
    }
    // An inline test module lies one deeper.
    let tests_from = text.find("mod tests {").unwrap_or(text.len());
    for (at, _) in text.match_indices("super::") {
        if text[..at].ends_with("super::") {
            continue;
        }
        let ups = text[at..].split("super::").take_while(|s| s.is_empty()).count();
        let rest = names(&text[at + ups * "super::".len()..]);
        let depth = module.len() + usize::from(at > tests_from);
        assert!(ups <= depth, "{}: climbs above the crate's root", file.display());
        if let Some(kept) = module.get(..depth.saturating_sub(ups)) {
            found.push(kept.iter().cloned().chain(rest).collect());
        }
    }
    found
}

fn names(text: &str) -> Vec<String> {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '_' || c == ':')).unwrap_or(text.len());
    text[..end].split("::").filter(|n| !n.is_empty()).map(str::to_owned).collect()
}

#[test]
fn rooms_use_only_rooms_to_their_left() {
    let allowed: BTreeMap<&str, &[&str]> = MAY_USE.iter().copied().collect();
    let mut compared = 0;
    let mut broken = Vec::new();
    for file in rust_files("src") {
        let module = module_of(&file);
        let Some(room) = module.first().filter(|m| !matches!(m.as_str(), "lib" | "main")) else { continue };
        let may = allowed.get(room.as_str()).unwrap_or_else(|| panic!("{room}: a room without a place in the plan"));
        assert!(!code(&file).contains("crate::{"), "{}: write one `use crate::room` a line", file.display());
        for path in paths_from_root(&file) {
            let Some(used) = path.first() else { continue };
            compared += 1;
            if used != room && !may.contains(&used.as_str()) {
                broken.push(format!("{}: {room} uses {}", file.display(), path.join("::")));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
    assert!(compared > 100, "only {compared} paths were compared");
}

#[test]
fn stages_use_only_stages_before_them() {
    let rank = |name: &str| STAGES.iter().position(|s| *s == name);
    let mut compared = 0;
    let mut broken = Vec::new();
    for file in rust_files("src/measure") {
        let module = module_of(&file);
        let Some(own) = module.get(1).and_then(|m| rank(m)) else { continue };
        for path in paths_from_root(&file) {
            let Some(used) = path.get(1).filter(|_| path[0] == "measure").and_then(|name| rank(name)) else { continue };
            compared += 1;
            if used > own {
                broken.push(format!("{}: {} uses {}", file.display(), STAGES[own], path.join("::")));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
    assert!(compared > 20, "only {compared} paths were compared");
}

/// The reader of paths itself, on lines whose answer is plain.
#[test]
fn paths_are_read_through_super_too() {
    let file = root().join("src/show/overlay/paint.rs");
    let found = paths_from_root(&file);
    let has = |path: &[&str]| found.iter().any(|f| f.iter().map(String::as_str).eq(path.iter().copied()));
    assert!(has(&["base", "raster", "Raster"]), "{found:?}");
    assert!(has(&["show", "overlay", "palette"]), "{found:?}");
    assert_eq!(names("base::stats::mean(&x)"), ["base", "stats", "mean"]);
}

#[test]
fn the_top_level_holds_only_what_belongs_there() {
    for entry in fs::read_dir(root()).expect("the package's folder") {
        let name = entry.expect("an entry").file_name().to_string_lossy().into_owned();
        assert!(name.starts_with('.') || TOP.contains(&name.as_str()), "{name} does not belong at the top level");
    }
}

#[test]
fn no_file_grows_beyond_one_subject() {
    let long: Vec<String> = rust_files("src")
        .into_iter()
        .chain(rust_files("tests"))
        .filter_map(|file| {
            let lines = fs::read_to_string(&file).expect("a source file is text").lines().count();
            (lines > MOST_LINES).then(|| format!("{}: {lines} lines", file.display()))
        })
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn unsafe_code_is_forbidden_and_lints_are_kept() {
    let package = fs::read_to_string(root().join("Cargo.toml")).expect("the package's file");
    let package: toml::Table = package.parse().expect("it is TOML");
    let lint = |of: &str, name: &str| package["lints"][of][name].as_str().unwrap_or_default().to_owned();
    assert_eq!(lint("rust", "unsafe_code"), "forbid");
    assert_eq!(lint("rust", "missing_docs"), "warn");
    assert_eq!(lint("clippy", "unwrap_used"), "warn");
    assert_eq!(lint("clippy", "print_stdout"), "warn");
}

#[test]
fn every_dependency_has_its_reason_written_down() {
    let package = fs::read_to_string(root().join("Cargo.toml")).expect("the package's file");
    let package: toml::Table = package.parse().expect("it is TOML");
    let reasons = fs::read_to_string(root().join("DEVELOPERS.md")).expect("the notes");
    let of_targets = package["target"].as_table().into_iter().flat_map(toml::Table::values);
    let whole = toml::Value::Table(package.clone());
    let missing: Vec<&String> = std::iter::once(&whole)
        .chain(of_targets)
        .flat_map(|part| {
            ["dependencies", "dev-dependencies"].map(|kind| part.get(kind).and_then(toml::Value::as_table))
        })
        .flatten()
        .flat_map(toml::Table::keys)
        .filter(|name| !reasons.contains(name.as_str()))
        .collect();
    assert!(missing.is_empty(), "DEVELOPERS.md says nothing of {missing:?}");
}
