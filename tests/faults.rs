//! What the machine does to us: full disks, folders that vanish, files that change under our hands, no memory, no file
//! handles, a kill at any moment, a clock that jumps. Each ends in a clear error or a finished job; nothing is half
//! written and nothing finished is lost.
//!
//! What a machine does not let us arrange is skipped aloud.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant, SystemTime};

use strandrule::measure::photo::{self, Limits, PhotoError};

use super::batch::picture;

const PROGRAM: &str = env!("CARGO_BIN_EXE_strandrule");

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// It ended by itself, with one of these codes, and without a panic; a failure says one line or more.
#[track_caller]
fn ended(output: &Output, codes: &[i32]) -> i32 {
    let err = told(output);
    assert!(!err.contains("panicked"), "{err}");
    let code = output.status.code().unwrap_or_else(|| panic!("killed: {}: {err}", output.status));
    assert!(codes.contains(&code), "{code}: {err}");
    assert!(!(2..=4).contains(&code) || !err.trim().is_empty(), "{code} without a word");
    code
}

/// A folder with `n` small photos in `photos`.
fn photos(n: u32) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    for i in 0..n {
        picture(&folder.path().join(format!("photos/p{i:02}.png")), i);
    }
    folder
}

fn batch(folder: &Path, out: &Path) -> Command {
    let mut command = Command::new(PROGRAM);
    command.args(["batch", "photos", "--threads", "2", "--out"]).arg(out).current_dir(folder);
    command
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let walk = walkdir::WalkDir::new(folder).into_iter().filter_map(Result::ok);
    walk.filter(|e| e.file_type().is_file()).map(walkdir::DirEntry::into_path).collect()
}

/// Every file with a name of its own is whole: JSON parses, pictures decode, tables end with a line end.
#[track_caller]
fn all_whole(folder: &Path) -> usize {
    let mut looked_at = 0;
    for file in files(folder) {
        let bytes = fs::read(&file).expect("a file");
        let whole = match file.extension().and_then(|e| e.to_str()) {
            Some("json") => serde_json::from_slice::<serde_json::Value>(&bytes).is_ok(),
            Some("png") => image::load_from_memory(&bytes).is_ok(),
            Some("csv" | "jsonl") => bytes.ends_with(b"\n"),
            Some("html") => bytes.trim_ascii_end().ends_with(b"</html>"),
            Some("tmp") => continue,
            other => panic!("{}: {other:?} is nothing that we write", file.display()),
        };
        assert!(whole, "{} is half written", file.display());
        looked_at += 1;
    }
    looked_at
}

/// The same files with the same bytes.
#[track_caller]
fn same(a: &Path, b: &Path) {
    let below = |root: &Path| {
        let mut list: Vec<(PathBuf, Vec<u8>)> = files(root)
            .into_iter()
            .map(|f| (f.strip_prefix(root).expect("below it").to_owned(), fs::read(&f).expect("a file")))
            .collect();
        list.sort();
        list
    };
    let (a, b) = (below(a), below(b));
    let names = |list: &[(PathBuf, Vec<u8>)]| list.iter().map(|(name, _)| name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&a), names(&b));
    for ((name, left), (_, right)) in a.iter().zip(&b) {
        assert!(left == right, "{} differs", name.display());
    }
    assert!(a.len() > 4, "only {} files were compared", a.len());
}

#[test]
fn killed_at_random_moments_every_named_file_is_whole() {
    let folder = photos(6);
    let whole = folder.path().join("whole");
    let started = Instant::now();
    ended(&batch(folder.path(), &whole).output().expect("it runs"), &[0, 1]);
    let takes = started.elapsed();
    let killed = folder.path().join("killed");
    // Moments spread by the golden ratio: none is favoured, and every run tries the same ones.
    let (mut moment, mut looked_at) = (0.0f64, 0);
    for _ in 0..14 {
        moment = (moment + 0.618_034) % 1.0;
        let mut running =
            batch(folder.path(), &killed).stdout(Stdio::null()).stderr(Stdio::null()).spawn().expect("it runs");
        std::thread::sleep(takes.mul_f64(moment));
        // It may have finished already.
        let _ = running.kill();
        running.wait().expect("it ends");
        if killed.exists() {
            looked_at += all_whole(&killed);
        }
        if moment > 0.8 {
            // From nothing again, so that the first photos are hit too.
            let _ = fs::remove_dir_all(&killed);
        }
    }
    assert!(looked_at > 0, "every kill came before the first file");
    ended(&batch(folder.path(), &killed).output().expect("it runs"), &[0, 1]);
    same(&whole, &killed);
}

#[test]
fn an_output_folder_that_vanishes_is_an_error_and_the_next_run_finishes() {
    let folder = photos(8);
    let (whole, out) = (folder.path().join("whole"), folder.path().join("out"));
    let started = Instant::now();
    ended(&batch(folder.path(), &whole).output().expect("it runs"), &[0, 1]);
    let takes = started.elapsed();
    for share in [0.2, 0.5, 0.8] {
        let running = batch(folder.path(), &out).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().expect("it runs");
        std::thread::sleep(takes.mul_f64(share));
        // Renamed, not removed: a removal races with the files that come in.
        let _ = fs::rename(&out, folder.path().join(format!("gone{share}")));
        ended(&running.wait_with_output().expect("it ends"), &[0, 1, 4]);
    }
    ended(&batch(folder.path(), &out).output().expect("it runs"), &[0, 1]);
    same(&whole, &out);
}

#[test]
fn folders_that_cannot_be_written_are_named_before_the_work() {
    let folder = photos(1);
    let photo = folder.path().join("photos/p00.png");
    let mut places = vec![photo.join("below-a-file")];
    // Nobody, not even root, makes files there.
    places.extend(Some(PathBuf::from("/proc/strandrule")).filter(|_| Path::new("/proc/self").exists()));
    for place in places {
        let output = batch(folder.path(), &place).output().expect("it runs");
        ended(&output, &[4]);
        assert!(output.stdout.is_empty() && told(&output).contains(&*place.to_string_lossy()), "{}", told(&output));
        let overlay = place.join("seen.png");
        let output = Command::new(PROGRAM).arg("measure").arg(&photo).arg("--overlay").arg(&overlay).output();
        ended(&output.expect("it runs"), &[4]);
    }
}

/// While somebody copies a photo into place its size and time change; half of it must give no figures.
#[test]
fn a_photo_written_while_it_is_read_is_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("growing.png");
    picture(&file, 1);
    // Large enough that the writer comes between: what follows a PNG's end does not matter to its decoder.
    let open = fs::OpenOptions::new().write(true).open(&file).expect("open");
    open.set_len(200 << 20).expect("longer");
    let done = AtomicBool::new(false);
    let result = std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut length = 200u64 << 20;
            while !done.load(Ordering::SeqCst) {
                length += 1;
                open.set_len(length).expect("longer");
                std::thread::sleep(Duration::from_millis(1));
            }
        });
        let result = photo::read(&file, &Limits::default());
        done.store(true, Ordering::SeqCst);
        result
    });
    match result {
        Err(error @ PhotoError::Changed { .. }) => assert!(error.to_string().contains("growing.png"), "{error}"),
        other => panic!("{:?}", other.map(|p| p.name)),
    }
    assert!(photo::read(&file, &Limits::default()).is_ok(), "once it rests it can be read");
}

/// A photo put in another's place by renaming: what is read is one of the two, never a mixture.
#[test]
fn a_photo_replaced_while_it_is_read_is_one_of_the_two() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name);
    let mut wanted = Vec::new();
    for (i, name) in ["a.png", "b.png"].iter().enumerate() {
        picture(&path(name), i as u32);
        wanted.push(photo::read(&path(name), &Limits::default()).expect("a photo").rgb);
    }
    fs::copy(path("a.png"), path("photo.png")).expect("copied");
    let done = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut turn = 0;
            while !done.load(Ordering::SeqCst) {
                turn += 1;
                fs::copy(path(["a.png", "b.png"][turn % 2]), path("next.png")).expect("copied");
                fs::rename(path("next.png"), path("photo.png")).expect("renamed");
            }
        });
        let seen: Vec<_> = (0..200).map(|_| photo::read(&path("photo.png"), &Limits::default())).collect();
        done.store(true, Ordering::SeqCst);
        for photo in seen {
            let rgb = photo.unwrap_or_else(|error| panic!("{error}")).rgb;
            assert!(wanted.contains(&rgb));
        }
    });
}

/// The clock is asked by nothing that reaches a file: photos and results from 1970 or from the future change nothing.
#[test]
fn a_clock_that_jumps_changes_nothing() {
    let folder = photos(3);
    let (whole, out) = (folder.path().join("whole"), folder.path().join("out"));
    ended(&batch(folder.path(), &whole).output().expect("it runs"), &[0, 1]);
    ended(&batch(folder.path(), &out).output().expect("it runs"), &[0, 1]);
    let day = Duration::from_secs(24 * 3600);
    for time in [SystemTime::UNIX_EPOCH + day, SystemTime::now() + 20_000 * day] {
        for file in files(folder.path()) {
            let open = fs::OpenOptions::new().write(true).open(&file).expect("open");
            if open.set_modified(time).is_err() {
                eprintln!("skipped: the file system does not keep {time:?}");
                return;
            }
        }
        let output = batch(folder.path(), &out).output().expect("it runs");
        assert!(told(&output).contains("3 unchanged"), "{}", told(&output));
        same(&whole, &out);
    }
    for file in files(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src")) {
        let text = fs::read(&file).expect("a file");
        let text = String::from_utf8_lossy(&text);
        for asks in ["SystemTime::now", "Instant::now", "Zoned::now", "Timestamp::now"] {
            assert!(!text.contains(asks), "{} asks for the time", file.display());
        }
    }
}

#[cfg(unix)]
mod unix {
    use super::*;

    /// The program under limits of the shell's `ulimit` and `trap`.
    fn under(limits: &str, folder: &Path, args: &[&str]) -> Output {
        let line = format!("{limits} && exec \"$0\" \"$@\"");
        let mut command = Command::new("sh");
        command.args(["-c", &line, PROGRAM]).args(args).current_dir(folder);
        // One figure whatever the machine: each thread wants room for its stack.
        command.env("RAYON_NUM_THREADS", "2").output().expect("a shell")
    }

    fn shell_can(limits: &str) -> bool {
        let can = Command::new("sh").args(["-c", limits]).stderr(Stdio::null()).status().is_ok_and(|s| s.success());
        if !can {
            eprintln!("skipped: the shell cannot `{limits}`");
        }
        can
    }

    /// A photo of 12 megapixels with a little yarn in it.
    fn large(folder: &Path) {
        let mut picture = image::RgbImage::from_pixel(4000, 3000, image::Rgb([220, 218, 210]));
        for y in 1400..1440 {
            for x in 0..4000 {
                picture.put_pixel(x, y, image::Rgb([60, 50 + (x % 9) as u8, 40]));
            }
        }
        let (width, height) = (4000, 3000);
        let mut bytes = Vec::new();
        jpeg_encoder::Encoder::new(&mut bytes, 90)
            .encode(picture.as_raw(), width, height, jpeg_encoder::ColorType::Rgb)
            .expect("a JPEG");
        fs::write(folder.join("large.jpg"), bytes).expect("written");
        picture.save(folder.join("large.png")).expect("written");
    }

    /// 1 GB is enough for 12 megapixels; less ends in a sentence about memory, never in a crash.
    #[test]
    fn little_memory_gives_a_report_or_a_sentence() {
        if !cfg!(target_os = "linux") || !shell_can("ulimit -v 1000000") {
            return;
        }
        let folder = photos(2);
        large(folder.path());
        fs::copy(folder.path().join("large.png"), folder.path().join("photos/large.png")).expect("copied");
        let steps = [1000, 700, 500, 400, 350, 300, 250, 225, 200, 175, 150, 125, 100, 90, 80, 70, 60];
        for file in ["large.jpg", "large.png", "photos/p00.png"] {
            let mut codes = Vec::new();
            for megabytes in steps {
                let limit = format!("ulimit -v {}", megabytes * 1000);
                let args = ["measure", file, "--overlay", "seen.png", "--html", "seen.html"];
                let output = under(&limit, folder.path(), &args);
                let code = ended(&output, &[0, 1, 3]);
                if code == 3 {
                    assert!(told(&output).contains("memory"), "{megabytes} MB: {}", told(&output));
                    assert!(!folder.path().join("seen.png").exists() && output.stdout.is_empty());
                } else {
                    fs::remove_file(folder.path().join("seen.png")).expect("it was drawn");
                }
                codes.push(code);
            }
            assert!(codes[0] < 2, "{file}: 1 GB must do: {codes:?}");
            assert!(codes.contains(&3), "{file}: no limit was felt: {codes:?}");
        }
        for megabytes in steps {
            let limit = format!("ulimit -v {}", megabytes * 1000);
            let out = format!("out{megabytes}");
            let output = under(&limit, folder.path(), &["batch", "photos", "--threads", "4", "--out", &out]);
            let code = ended(&output, &[0, 1, 5]);
            assert!(code != 5 || told(&output).contains("failed"), "{megabytes} MB: {}", told(&output));
            all_whole(&folder.path().join(&out));
        }
    }

    /// A PNG of `width` x `height` in four channels of 16 bits, with `profile` as its colour profile.
    fn deep(path: &Path, width: u32, height: u32, profile: Vec<u8>) {
        let mut about = png::Info::with_size(width, height);
        (about.color_type, about.bit_depth) = (png::ColorType::Rgba, png::BitDepth::Sixteen);
        about.icc_profile = (!profile.is_empty()).then(|| profile.into());
        let file = std::io::BufWriter::new(fs::File::create(path).expect("a file"));
        let mut encoder = png::Encoder::with_info(file, about).expect("a PNG");
        encoder.set_compression(png::Compression::Fastest);
        let mut writer = encoder.write_header().expect("its header");
        let row: Vec<u8> = (0..width).flat_map(|x| [200 + (x % 7) as u8, 0, 190, 0, 180, 0, 255, 255]).collect();
        let mut rows = writer.stream_writer().expect("rows");
        for _ in 0..height {
            std::io::Write::write_all(&mut rows, &row).expect("a row");
        }
        rows.finish().expect("its end");
    }

    /// What a file unpacks to is not taken on trust: 12 megapixels of 16 bits and four channels fit where those of eight bits
    /// and three do, and a colour profile of any size stays packed.
    #[test]
    fn neither_deep_samples_nor_a_huge_profile_take_memory() {
        if !cfg!(target_os = "linux") || !shell_can("ulimit -v 300000") {
            return;
        }
        let folder = tempfile::tempdir().expect("a folder");
        large(folder.path());
        deep(&folder.path().join("deep.png"), 4000, 3000, Vec::new());
        deep(&folder.path().join("bomb.png"), 300, 200, vec![0; 400 << 20]);
        let fits = |file: &str, megabytes: u32| {
            let output = under(&format!("ulimit -v {}", megabytes * 1000), folder.path(), &["measure", file]);
            ended(&output, &[0, 1, 3]) < 2
        };
        let least = (60..400).step_by(10).find(|mb| fits("large.png", *mb)).expect("400 MB must do");
        assert!(fits("deep.png", least + 10), "{least} MB do for eight bits");
        assert!(fits("bomb.png", 220));
    }

    #[test]
    fn without_file_handles_the_error_is_clear_and_nothing_is_left_behind() {
        if !shell_can("ulimit -n 8") {
            return;
        }
        let folder = photos(3);
        for handles in 4..14 {
            let limit = format!("ulimit -n {handles}");
            let args =
                ["measure", "photos/p00.png", "--overlay", "seen.png", "--csv", "table.csv", "--html", "page.html"];
            // One file is open at a time, so that few handles are enough.
            ended(&under(&limit, folder.path(), &args), &[0, 1]);
            for made in ["seen.png", "table.csv", "page.html"] {
                fs::remove_file(folder.path().join(made)).expect("it was made");
            }
            let beside = fs::read_dir(folder.path()).expect("a folder").map(|e| e.expect("an entry").path());
            assert_eq!(beside.filter(|p| p.is_file()).count(), 0, "{handles} handles left something behind");
            let out = format!("out{handles}");
            let output = under(&limit, folder.path(), &["batch", "photos", "--threads", "2", "--out", &out]);
            ended(&output, &[0, 1, 3, 4, 5]);
            all_whole(&folder.path().join(&out));
        }
        // With handles again, the batch that was refused most is finished.
        ended(&batch(folder.path(), &folder.path().join("whole")).output().expect("it runs"), &[0, 1]);
        ended(&batch(folder.path(), &folder.path().join("out4")).output().expect("it runs"), &[0, 1]);
        same(&folder.path().join("whole"), &folder.path().join("out4"));
    }

    /// A disk that takes no more, by way of the largest size of a file.
    #[test]
    fn a_disk_that_takes_no_more_leaves_nothing_half_written() {
        if !shell_can("ulimit -f 8") {
            return;
        }
        let folder = photos(3);
        let whole = folder.path().join("whole");
        ended(&batch(folder.path(), &whole).output().expect("it runs"), &[0, 1]);
        let mut refused = 0;
        for blocks in [1, 2, 4, 8, 16, 32, 64, 128] {
            let limit = format!("ulimit -f {blocks}");
            let args = ["measure", "photos/p00.png", "--overlay", "seen.png", "--csv", "table.csv"];
            let code = ended(&under(&limit, folder.path(), &args), &[0, 1, 4]);
            for made in ["seen.png", "table.csv"] {
                if let Ok(bytes) = fs::read(folder.path().join(made)) {
                    assert!(code < 2 || !bytes.is_empty(), "{made} is empty");
                    let picture = made.ends_with("png").then(|| image::load_from_memory(&bytes));
                    assert!(picture.is_none_or(|p| p.is_ok()), "{made} is half written");
                    fs::remove_file(folder.path().join(made)).expect("removed");
                }
            }
            let output = under(&limit, folder.path(), &["batch", "photos", "--threads", "2", "--out", "out"]);
            refused += usize::from(ended(&output, &[0, 1, 4]) == 4);
            all_whole(&folder.path().join("out"));
            let left = files(folder.path()).into_iter().find(|f| f.extension().is_some_and(|e| e == "tmp"));
            assert_eq!(left, None, "{blocks} blocks");
        }
        assert!(refused > 0, "no limit was felt");
        ended(&batch(folder.path(), &folder.path().join("out")).output().expect("it runs"), &[0, 1]);
        same(&whole, &folder.path().join("out"));
    }

    /// A real full disk: a small file system of its own, where the machine lets us mount one.
    #[test]
    #[cfg(target_os = "linux")]
    fn a_full_disk_stops_a_batch_and_keeps_what_was_finished() {
        let folder = photos(4);
        fs::create_dir(folder.path().join("disk")).expect("a folder");
        let can = "unshare -rm sh -c 'mount -t tmpfs -o size=64k none disk'";
        let tried = Command::new("sh").args(["-c", can]).current_dir(folder.path()).stderr(Stdio::null()).status();
        if !tried.is_ok_and(|s| s.success()) {
            eprintln!("skipped: no file system can be mounted");
            return;
        }
        let mut refused = 0;
        for size in ["8k", "32k", "64k", "128k", "256k", "512k"] {
            let script = format!(
                "mount -t tmpfs -o size={size} none disk; \"$0\" batch photos --threads 2 --out disk; code=$?; \
                 cp -r disk copy{size}; exit $code"
            );
            let output = Command::new("unshare")
                .args(["-rm", "sh", "-c", &script, PROGRAM])
                .current_dir(folder.path())
                .output()
                .expect("unshare");
            refused += usize::from(ended(&output, &[0, 1, 4]) == 4);
            all_whole(&folder.path().join(format!("copy{size}")));
        }
        assert!(refused > 0, "no disk was full");
    }

    /// /dev/full takes nothing, as a full disk does: whatever was to go there, the exit code is 4.
    #[test]
    #[cfg(target_os = "linux")]
    fn a_full_device_exits_with_4_whatever_goes_there() {
        let folder = photos(1);
        for option in ["--overlay", "--csv", "--html"] {
            let mut command = Command::new(PROGRAM);
            command.args(["measure", "photos/p00.png", option, "/dev/full"]).current_dir(folder.path());
            let output = command.output().expect("it runs");
            ended(&output, &[4]);
            assert!(output.stdout.is_empty(), "{option}");
        }
        for args in [&["measure", "photos/p00.png"][..], &["measure", "photos/p00.png", "--summary"], &["schema"]] {
            let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("/dev/full");
            let output = Command::new(PROGRAM).args(args).current_dir(folder.path()).stdout(full).output();
            ended(&output.expect("it runs"), &[4]);
        }
    }

    /// Both streams closed, as a careless service starts a program.
    #[test]
    fn closed_streams_are_no_panic() {
        let folder = photos(1);
        let output = under("exec >&- 2>&- <&-", folder.path(), &["measure", "photos/p00.png", "--csv", "table.csv"]);
        assert!(output.status.code().is_some(), "{}", output.status);
        assert!(all_whole(&folder.path().join("table.csv")) <= 1);
    }
}
