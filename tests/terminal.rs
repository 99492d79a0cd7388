//! On a terminal: colour only where it is wanted, and the summary where a person reads.

#![cfg(target_os = "linux")]

use std::path::Path;
use std::process::{Command, Stdio};

/// What the program writes to a terminal; `None` where there is no `script` (util-linux) to make one.
fn on_terminal(arguments: &str, environment: &[(&str, &str)]) -> Option<String> {
    let line = format!("{} {arguments}", env!("CARGO_BIN_EXE_strandrule"));
    let mut command = Command::new("script");
    command.args(["-qec", &line, "/dev/null"]).env_remove("NO_COLOR").env("TERM", "xterm").stdin(Stdio::null());
    let Ok(output) = command.envs(environment.iter().copied()).output() else {
        eprintln!("skipped: there is no `script` to make a terminal");
        return None;
    };
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

/// Source: no-color.org: set and not empty, it turns colour off (from memory).
#[test]
fn no_color_is_honoured_where_there_would_be_colour() {
    let Some(usual) = on_terminal("measure --no-such-option", &[]) else { return };
    assert!(usual.contains("--no-such-option") && usual.contains('\u{1b}'), "{usual:?}");
    let plain = on_terminal("measure --no-such-option", &[("NO_COLOR", "1")]).unwrap_or_default();
    assert!(plain.contains("--no-such-option") && !plain.contains('\u{1b}'), "{plain:?}");
}

#[test]
fn a_person_gets_the_summary_after_the_report_and_a_pipe_does_not() {
    let photo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/photos/p06-two-ply-z-navy.jpg");
    let Some(text) = on_terminal(&format!("measure '{}'", photo.display()), &[]) else { return };
    let report = text.rfind('}').unwrap_or_default();
    assert!(text[report..].contains("p06-two-ply-z-navy.jpg: "), "{text}");
    let quiet = on_terminal(&format!("measure --quiet '{}'", photo.display()), &[]).unwrap_or_default();
    assert!(quiet.trim_end().ends_with('}'), "{quiet}");
}
