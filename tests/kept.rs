//! What is read is never written over, and no output over another: told by what the files are, for every command that
//! names outputs, however a name is spelt; nothing is touched, and the sentence names both.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::batch::picture;

const TARGET: &str = "[[criterion]]\nfigure = \"bumps_per_diameter\"\nvalue = 0.7\ntolerance = 0.2\n";

/// A folder of everything that commands read, links to come.
struct Desk {
    _keep: tempfile::TempDir,
    root: PathBuf,
}

impl Desk {
    fn new() -> Self {
        let keep = tempfile::tempdir().unwrap();
        let root = keep.path().to_owned();
        picture(&root.join("y.png"), 1);
        picture(&root.join("class/p.png"), 2);
        fs::create_dir(root.join("sub")).unwrap();
        let report = fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/reference.json")).unwrap();
        for name in ["r.json", "s.json", "saved/a.json"] {
            fs::create_dir_all(root.join("saved")).unwrap();
            fs::write(root.join(name), &report).unwrap();
        }
        fs::write(root.join("roster.csv"), "sample,person\nFleece,Ada\n").unwrap();
        fs::write(root.join("map.csv"), "photo,sample\np.png,Fleece / Ada\n").unwrap();
        fs::write(root.join("list.txt"), "class/p.png\n").unwrap();
        fs::write(root.join("target.toml"), TARGET).unwrap();
        fs::write(root.join("habits.toml"), "unit = \"mm\"\n").unwrap();
        fs::write(root.join("class/p.toml"), "fibre = \"wool\"\n").unwrap();
        Self { _keep: keep, root }
    }

    fn run(&self, args: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_strandrule"));
        command.args(args).current_dir(&self.root).env("STRANDRULE_CONFIG", "habits.toml").output().unwrap()
    }

    /// Every file and link with its content, or where it leads.
    fn content(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let entries = walkdir::WalkDir::new(&self.root).into_iter().map(Result::unwrap);
        entries
            .map(|entry| {
                let path = entry.path().to_owned();
                let bytes = match entry.file_type() {
                    t if t.is_file() => fs::read(&path).unwrap(),
                    t if t.is_symlink() => fs::read_link(&path).unwrap().into_os_string().into_encoded_bytes(),
                    _ => Vec::new(),
                };
                (path, bytes)
            })
            .collect()
    }

    /// Other names of a file below the root, links made for it; the ending stays.
    fn names_of(&self, file: &str) -> Vec<String> {
        let (stem, ending) = file.rsplit_once('.').unwrap();
        let (folder, base) = stem.rsplit_once('/').map_or((String::new(), stem), |(f, b)| (format!("{f}/"), b));
        let own = self.root.file_name().unwrap().to_str().unwrap().to_owned();
        let mut names = vec![
            file.to_owned(),
            format!("./{file}"),
            format!(".//{file}"),
            format!("sub/../{file}"),
            format!("sub/.././sub/../{file}"),
            format!("../{own}/{file}"),
            self.root.join(file).to_str().unwrap().to_owned(),
        ];
        let link = |name: &str, make: &dyn Fn(&Path) -> std::io::Result<()>| {
            let path = self.root.join(name);
            if path.symlink_metadata().is_err() {
                make(&path).unwrap();
            }
        };
        let hard = format!("{folder}hard-{base}.{ending}");
        link(&hard, &|at| fs::hard_link(self.root.join(file), at));
        names.push(hard);
        #[cfg(unix)]
        {
            use std::os::unix::fs::symlink;
            let (soft, twice) = (format!("sub/soft-{base}.{ending}"), format!("sub/twice-{base}.{ending}"));
            link(&soft, &|at| symlink(self.root.join(file), at));
            link(&twice, &|at| symlink(self.root.join(&soft), at));
            link("sub/up", &|at| symlink("..", at));
            names.extend([soft, twice, format!("sub/up/{file}"), format!("sub/up/sub/up/{file}")]);
        }
        // Where capitals make no other name.
        let shouted = file.to_uppercase();
        if shouted != file && self.root.join(&shouted).exists() {
            names.push(shouted);
        }
        names
    }
}

/// Runs `args`, in which `@` stands for another name of `file`; how many ways were tried.
#[track_caller]
fn refused(desk: &Desk, file: &str, said: &str, args: &[&str]) -> usize {
    let names = desk.names_of(file);
    let before = desk.content();
    for name in &names {
        let given: Vec<&str> = args.iter().map(|arg| if *arg == "@" { name.as_str() } else { arg }).collect();
        let output = desk.run(&given);
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{given:?}: {err}");
        assert!(output.stdout.is_empty(), "{given:?}");
        let base = file.rsplit('/').next().unwrap();
        assert!(err.contains(said) && err.contains(base), "{given:?}: {err}");
        assert!(desk.content() == before, "{given:?} touched something");
    }
    names.len()
}

#[test]
fn an_output_is_never_an_input() {
    let desk = Desk::new();
    let mut ways = refused(&desk, "y.png", "the photo", &["measure", "@", "class/p.png", "--csv", "y.png"]);
    for option in ["--overlay", "--csv", "--html"] {
        ways += refused(&desk, "y.png", "the photo", &["measure", "y.png", option, "@"]);
        ways += refused(&desk, "habits.toml", "your habits", &["measure", "y.png", option, "@"]);
    }
    ways += refused(&desk, "roster.csv", "the roster", &["card", "--roster", "roster.csv", "--out", "@"]);
    ways += refused(&desk, "r.json", "the report", &["compare", "r.json", "s.json", "--chart", "@"]);
    ways += refused(&desk, "saved/a.json", "the report", &["compare", "saved", "s.json", "--chart", "@"]);
    ways += refused(&desk, "map.csv", "the mapping file", &["batch", "class", "--map", "@", "--out", "map.csv"]);
    ways += refused(&desk, "list.txt", "the list", &["batch", "--list", "@", "--out", "list.txt"]);
    for file in ["target.toml", "roster.csv", "map.csv"] {
        let all = ["grade", "class", "--target", "target.toml", "--roster", "roster.csv", "--map", "map.csv"];
        ways += refused(&desk, file, "the ", &[&all[..], &["--out", "@"]].concat());
    }
    ways += refused(&desk, "class/p.toml", "the notes", &["portfolio", "class", "--out", "@"]);
    assert!(ways >= 100, "{ways} ways");
}

/// Names that the program gives itself: tables, pages and pictures below `--out`.
#[test]
fn files_that_a_command_names_itself_are_no_inputs_either() {
    let desk = Desk::new();
    let done = desk.run(&["batch", "class", "--out", "out"]);
    assert!(matches!(done.status.code(), Some(0 | 1)));
    let overlay = fs::read_dir(desk.root.join("out/overlays")).unwrap().next().unwrap().unwrap().file_name();
    let overlay = format!("out/overlays/{}", overlay.to_str().unwrap());
    let record = fs::read_dir(desk.root.join("out/records")).unwrap().next().unwrap().unwrap().file_name();
    let record = format!("out/records/{}", record.to_str().unwrap());
    let mut ways =
        refused(&desk, "out/photos.csv", "the mapping file", &["batch", "class", "--map", "@", "--out", "out"]);
    ways += refused(&desk, "out/photos.jsonl", "the list", &["batch", "class", "--list", "@", "--out", "out"]);
    ways += refused(&desk, &record, "the mapping file", &["batch", "class", "--map", "@", "--out", "out"]);
    ways += refused(&desk, &overlay, "the photo", &["batch", "@", "--out", "out"]);
    // What is stated of a photo lies there too.
    let stated = record.replace("records", "stated");
    fs::create_dir_all(desk.root.join("out/stated")).unwrap();
    fs::write(desk.root.join(&stated), "{\"plies\":2}").unwrap();
    ways += refused(&desk, &stated, "the mapping file", &["batch", "class", "--map", "@", "--out", "out"]);
    fs::create_dir_all(desk.root.join("marks/people")).unwrap();
    fs::copy(desk.root.join("roster.csv"), desk.root.join("marks/class.csv")).unwrap();
    let grade = ["grade", "class", "--target", "target.toml", "--roster", "@", "--out", "marks"];
    ways += refused(&desk, "marks/class.csv", "the roster", &grade);
    fs::copy(desk.root.join("map.csv"), desk.root.join("marks/people/map.html")).unwrap();
    let grade = ["grade", "class", "--target", "target.toml", "--map", "@", "--out", "marks"];
    ways += refused(&desk, "marks/people/map.html", "the mapping file", &grade);
    fs::copy(desk.root.join("map.csv"), desk.root.join("marks/p.html")).unwrap();
    ways += refused(&desk, "marks/p.html", "the mapping file", &["portfolio", "class", "--map", "@", "--out", "marks"]);
    // Several photos go into a folder under their own names.
    fs::copy(desk.root.join("y.png"), desk.root.join("y.overlay.png")).unwrap();
    ways += refused(&desk, "y.overlay.png", "the photo", &["measure", "y.png", "@", "--overlay", "."]);
    assert!(ways >= 60, "{ways} ways");
    // What lies beside is no reason to refuse.
    assert!(matches!(desk.run(&["batch", "class", "--map", "map.csv", "--out", "out"]).status.code(), Some(0 | 1)));
}

#[test]
fn what_comes_along_where_folders_are_put_together_is_no_input() {
    let mut ways = 0;
    for folder in ["stated", "records"] {
        // Each in a place of its own: links to one must not stand for the other.
        let desk = Desk::new();
        assert!(matches!(desk.run(&["batch", "class", "--out", "part"]).status.code(), Some(0 | 1)));
        let record = fs::read_dir(desk.root.join("part/records")).unwrap().next().unwrap().unwrap().file_name();
        let brought = format!("both/{folder}/{}", record.to_str().unwrap());
        fs::create_dir_all(desk.root.join("both").join(folder)).unwrap();
        fs::copy(desk.root.join("map.csv"), desk.root.join(&brought)).unwrap();
        ways +=
            refused(&desk, &brought, "the mapping file", &["batch", "--merge", "part", "--map", "@", "--out", "both"]);
    }
    assert!(ways >= 20, "{ways} ways");
}

#[test]
fn two_outputs_are_never_one_file() {
    let desk = Desk::new();
    let absolute = desk.root.join("x").to_str().unwrap().to_owned();
    let before = desk.content();
    let mut names = vec!["x", "./x", "sub/../x", "X", "nowhere/../x", absolute.as_str()];
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("..", desk.root.join("sub/up")).unwrap();
        names.push("sub/up/x");
    }
    let before = if cfg!(unix) { desk.content() } else { before };
    for name in names {
        for [first, second] in [["--csv", "--html"], ["--html", "--overlay"], ["--overlay", "--csv"]] {
            let output = desk.run(&["measure", "y.png", first, "x", second, name]);
            let err = String::from_utf8_lossy(&output.stderr).into_owned();
            assert_eq!(output.status.code(), Some(2), "{name}: {err}");
            assert!(err.contains(first) && err.contains(second), "{err}");
            assert!(desk.content() == before, "{name} touched something");
        }
    }
    // A table is no picture.
    assert_eq!(desk.run(&["measure", "y.png", "--csv", "z.jpg"]).status.code(), Some(2));
}

/// A shell opens the file of standard output before we begin; what we can do is to add nothing.
#[cfg(unix)]
#[test]
fn standard_output_is_an_output_too() {
    let desk = Desk::new();
    let before = desk.content();
    for (file, args) in [
        ("y.png", &["measure", "y.png"][..]),
        ("r.json", &["skein", "r.json"]),
        ("s.json", &["plan", "s.json"]),
        ("saved/a.json", &["compare", "saved", "r.json"]),
        ("habits.toml", &["config"]),
        ("sub/t.csv", &["measure", "y.png", "--csv", "sub/t.csv"]),
    ] {
        let appended = fs::OpenOptions::new().append(true).create(true).open(desk.root.join(file)).unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_strandrule"))
            .args(args)
            .current_dir(&desk.root)
            .env("STRANDRULE_CONFIG", "habits.toml")
            .stdout(appended)
            .output()
            .unwrap();
        let err = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{args:?}: {err}");
        assert!(err.contains("standard output"), "{err}");
    }
    fs::remove_file(desk.root.join("sub/t.csv")).unwrap();
    assert!(desk.content() == before);
}

/// Capitals make no other name on every system.
#[test]
fn pages_of_photos_that_differ_in_capitals_are_kept_apart() {
    let desk = Desk::new();
    picture(&desk.root.join("a/one.png"), 3);
    picture(&desk.root.join("b/ONE.png"), 4);
    let done = desk.run(&["measure", "a/one.png", "b/ONE.png", "--html", "pages"]);
    assert!(matches!(done.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&done.stderr));
    let mut made: Vec<String> = fs::read_dir(desk.root.join("pages"))
        .unwrap()
        .map(|e| e.unwrap().file_name().to_str().unwrap().to_lowercase())
        .collect();
    made.sort();
    assert_eq!(made, ["one-2.html", "one.html"]);
}
