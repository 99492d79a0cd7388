//! Names that come from a browser become names of files in the desk's own folder, or of nothing else.

use std::path::{Path, PathBuf};

use crate::work::batch::is_photo_ending;

/// Longest name of a photo without its ending, in characters: every file system takes four bytes each of these beside what
/// the program adds.
const LONGEST: usize = 50;

/// Names that one system keeps for devices, whatever their ending. Source: Microsoft, "Naming Files, Paths, and Namespaces"
/// (from memory).
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// A file's name for a photo that was sent as `given`: what stands behind the last slash, letters and digits of any script,
/// spaces and a few signs; anything else becomes a hyphen. Never empty, never hidden, never a path, always with the ending
/// of a photo.
#[must_use]
pub(crate) fn of_photo(given: &str) -> String {
    let last = given.rsplit(['/', '\\']).next().unwrap_or_default();
    let path = Path::new(last);
    let ending = path.extension().filter(|e| is_photo_ending(e)).and_then(|e| e.to_str());
    let stem = match ending {
        Some(ending) => last.strip_suffix(ending).and_then(|s| s.strip_suffix('.')).unwrap_or(last),
        None => last,
    };
    let plain: String = stem
        .chars()
        .map(|c| if c.is_alphanumeric() || matches!(c, ' ' | '_' | '(' | ')' | '+' | ',' | '.') { c } else { '-' })
        .take(LONGEST)
        .collect();
    let plain = plain.trim_matches(|c: char| matches!(c, '-' | '.' | ' ' | '+' | ','));
    let device = plain.get(..3).is_some_and(|start| DEVICES.iter().any(|d| start.eq_ignore_ascii_case(d)));
    let stem = match plain {
        "" => "photo".to_owned(),
        plain if device => format!("photo {plain}"),
        plain => plain.to_owned(),
    };
    // What has no ending of a photo is called as most are; what it is, its bytes say.
    format!("{stem}.{}", ending.map_or_else(|| "jpg".to_owned(), str::to_ascii_lowercase))
}

/// The same name with a number before its ending, from 2 on.
#[must_use]
pub(crate) fn numbered(name: &str, n: usize) -> String {
    match name.rsplit_once('.') {
        _ if n < 2 => name.to_owned(),
        Some((stem, ending)) => format!("{stem} ({n}).{ending}"),
        None => format!("{name} ({n})"),
    }
}

/// Where the desk keeps its things unless told otherwise: `strandrule` in the pictures folder.
///
/// Source: freedesktop.org, xdg-user-dirs: `XDG_PICTURES_DIR="$HOME/..."` in `user-dirs.dirs`; elsewhere the folder is
/// called Pictures.
#[must_use]
pub fn usual_folder() -> PathBuf {
    let variable = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let Some(home) = variable("HOME").or_else(|| variable("USERPROFILE")) else { return PathBuf::from("strandrule") };
    let config = variable("XDG_CONFIG_HOME").unwrap_or_else(|| home.join(".config"));
    let told = std::fs::read_to_string(config.join("user-dirs.dirs")).ok().and_then(|text| pictures(&text, &home));
    told.unwrap_or_else(|| home.join("Pictures")).join("strandrule")
}

fn pictures(user_dirs: &str, home: &Path) -> Option<PathBuf> {
    let value = user_dirs.lines().find_map(|line| line.trim().strip_prefix("XDG_PICTURES_DIR="))?.trim_matches('"');
    let path = match value.strip_prefix("$HOME") {
        Some(below) => home.join(below.trim_start_matches('/')),
        None => PathBuf::from(value),
    };
    path.is_absolute().then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_never_a_path() {
        for (given, name) in [
            ("yarn.jpg", "yarn.jpg"),
            ("../../etc/passwd", "passwd.jpg"),
            ("C:\\Users\\a\\IMG 1.JPG", "IMG 1.jpg"),
            ("..", "photo.jpg"),
            ("", "photo.jpg"),
            (".hidden.png", "hidden.png"),
            ("<img src=x onerror=alert(1)>.png", "img src-x onerror-alert(1).png"),
            ("a\0b\n.webp", "a-b.webp"),
            ("con.jpg", "photo con.jpg"),
            ("Grüße 羊毛.jpeg", "Grüße 羊毛.jpeg"),
            ("=1+1.jpg", "1+1.jpg"),
            ("clip.mov", "clip.mov.jpg"),
        ] {
            assert_eq!(of_photo(given), name, "{given:?}");
        }
        let long = of_photo(&"ä".repeat(400));
        assert!(long.len() <= 4 * LONGEST + 4, "{}", long.len());
        assert_eq!(numbered("a.b.jpg", 3), "a.b (3).jpg");
        assert_eq!(numbered("a.jpg", 1), "a.jpg");
    }

    /// Source: the file's own comment, "XDG_xxx_DIR="$HOME/yyy"" or an absolute path (from memory).
    #[test]
    fn the_pictures_folder_is_where_the_system_says() {
        let home = Path::new("/home/ada");
        let text = "# about\nXDG_MUSIC_DIR=\"$HOME/Music\"\nXDG_PICTURES_DIR=\"$HOME/Bilder\"\n";
        assert_eq!(pictures(text, home), Some("/home/ada/Bilder".into()));
        assert_eq!(pictures("XDG_PICTURES_DIR=\"/data/p\"", home), Some("/data/p".into()));
        assert_eq!(pictures("XDG_PICTURES_DIR=\"p\"", home), None);
        assert_eq!(pictures("", home), None);
    }
}
