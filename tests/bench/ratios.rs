//! The table of ratios: the program as people start it, against decoding.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use super::decode;
use super::photos::{MEGAPIXELS, jpeg, small};

/// Times of which the least counts: what the machine's other work added is not ours.
const ROUNDS: usize = 7;

const PROGRAM: &str = env!("CARGO_BIN_EXE_strandrule");

fn timed(work: &mut dyn FnMut()) -> Duration {
    let start = Instant::now();
    work();
    start.elapsed()
}

/// The least time of each, taken in turns.
fn least(works: &mut [&mut dyn FnMut()], rounds: usize) -> Vec<f64> {
    let mut best = vec![f64::INFINITY; works.len()];
    for _ in 0..rounds {
        for (best, work) in best.iter_mut().zip(works.iter_mut()) {
            *best = best.min(timed(*work).as_secs_f64());
        }
    }
    best
}

fn run(command: &mut Command) {
    let status = command.stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap();
    assert!(status.success(), "{command:?}: {status}");
}

fn installed(program: &str) -> bool {
    Command::new(program).arg("-version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
}

fn milliseconds(seconds: f64) -> String {
    format!("{:.1} ms", 1e3 * seconds)
}

/// Prints all tables.
pub(crate) fn print() {
    let folder = tempfile::tempdir().unwrap();
    one_photo(folder.path());
    start_up();
    batch(folder.path());
}

fn one_photo(folder: &Path) {
    let reference = installed("djpeg");
    println!("\none photo, one thread, least of {ROUNDS} (the program: from its start to its end)\n");
    println!("| megapixels | file | our decode | djpeg, RGB | program | / our decode | / djpeg |");
    println!("| ---: | ---: | ---: | ---: | ---: | ---: | ---: |");
    for megapixels in MEGAPIXELS {
        let file = folder.join(format!("{megapixels}.jpg"));
        fs::write(&file, jpeg(megapixels)).unwrap();
        let mut ours = || drop(decode(megapixels));
        let mut program = || run(Command::new(PROGRAM).arg("measure").arg(&file).env("RAYON_NUM_THREADS", "1"));
        let mut theirs = || run(Command::new("djpeg").args(["-outfile", "/dev/null"]).arg(&file));
        let mut works: Vec<&mut dyn FnMut()> = vec![&mut ours, &mut program];
        if reference {
            works.push(&mut theirs);
        }
        let times = least(&mut works, ROUNDS);
        let (djpeg, ratio) = match times.get(2) {
            Some(djpeg) => (milliseconds(*djpeg), format!("{:.2}", times[1] / djpeg)),
            None => ("not installed".to_owned(), "-".to_owned()),
        };
        println!(
            "| {megapixels} | {:.1} MB | {} | {djpeg} | {} | {:.2} | {ratio} |",
            jpeg(megapixels).len() as f64 / 1e6,
            milliseconds(times[0]),
            milliseconds(times[1]),
            times[1] / times[0]
        );
    }
}

fn start_up() {
    let mut version = || run(Command::new(PROGRAM).arg("--version"));
    let times = least(&mut [&mut version], 50);
    println!("\n--version: {}", milliseconds(times[0]));
}

/// 64 small photos: one batch on two threads against two processes at once, each with half of them on one thread.
fn batch(folder: &Path) {
    const PHOTOS: usize = 64;
    let photos = folder.join("photos");
    fs::create_dir(&photos).unwrap();
    let bytes = small();
    for i in 0..PHOTOS {
        fs::write(photos.join(format!("{i:02}.jpg")), &bytes).unwrap();
    }
    let command = |out: &Path, threads: &str, shard: Option<&str>| {
        let mut command = Command::new(PROGRAM);
        command.args(["batch", "--quiet", "--no-pictures", "--threads", threads, "--out"]).arg(out).arg(&photos);
        if let Some(shard) = shard {
            command.args(["--shard", shard]);
        }
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    let fresh = || tempfile::tempdir_in(folder).unwrap();
    let mut one = || run(&mut command(fresh().path(), "1", None));
    let mut both = || run(&mut command(fresh().path(), "2", None));
    let mut apart = || {
        let (left, right) = (fresh(), fresh());
        let mut children = [("1/2", &left), ("2/2", &right)]
            .map(|(shard, out)| command(out.path(), "1", Some(shard)).spawn().unwrap());
        for child in &mut children {
            assert!(child.wait().unwrap().success());
        }
    };
    let times = least(&mut [&mut one, &mut both, &mut apart], 3);
    println!("\n{PHOTOS} photos of 1 megapixel, least of 3\n");
    println!("| one thread | two threads | two processes of one thread | throughput, threads / processes |");
    println!("| ---: | ---: | ---: | ---: |");
    println!("| {:.2} s | {:.2} s | {:.2} s | {:.0} % |", times[0], times[1], times[2], 100.0 * times[2] / times[1]);
}
