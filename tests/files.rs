//! Files as they come: each gives a clear error or a right report, whatever is wrong with it or with its name.
//!
//! Cuts and single faults are in `photo.rs`; here are headers byte by byte, odd sizes, odd names and things that are no
//! files.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use image::{ImageFormat, RgbImage};
use serde_json::Value;
use strandrule::measure::photo::{self, Limits};
use strandrule::measure::pipeline::{self, Params, Request};
use strandrule::measure::scale::{ScaleRequest, StatedScale};
use strandrule::show::{json, overlay};

fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_strandrule"));
    command.env_remove("NO_COLOR");
    command
}

fn format(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/formats").join(name)
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A report, or one line that names the file; never a panic.
#[track_caller]
fn clear(output: &Output) -> Option<Value> {
    let err = told(output);
    assert!(!err.contains("panicked"), "{err}");
    match output.status.code() {
        Some(0 | 1) => Some(serde_json::from_slice(&output.stdout).expect("a report is JSON")),
        Some(3) => {
            assert!(output.stdout.is_empty());
            assert_eq!(err.lines().count(), 1, "{err}");
            None
        }
        other => panic!("ended with {other:?}: {err}"),
    }
}

fn measure(file: &Path) -> Output {
    program().arg("measure").arg("--").arg(file).output().expect("the program runs")
}

/// Grey steps and a dark band, so that there is something to look at whatever the size.
fn striped(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        let level = if (y / 3) % 4 == 1 { 40 } else { 200 + ((x * 7 + y * 3) % 23) as u8 };
        image::Rgb([level, level, level / 2 + 60])
    })
}

fn png(picture: &RgbImage) -> Vec<u8> {
    let mut bytes = Vec::new();
    picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).expect("a PNG");
    bytes
}

/// Where the header of each fixture ends: from there on come samples.
fn header_length(bytes: &[u8]) -> usize {
    let found = |mark: &[u8]| bytes.windows(mark.len()).position(|w| w == mark);
    // The scan's start in a JPEG, the first data chunk of a PNG; the other formats' heads are short.
    found(&[0xff, 0xda]).map(|at| at + 12).or_else(|| found(b"IDAT").map(|at| at + 8)).unwrap_or(200)
}

/// Three flips of every byte of every header: nothing panics, and what is read keeps within the limits.
#[test]
fn every_flipped_byte_of_a_header_gives_an_error_or_a_picture() {
    let limits = Limits { max_megapixels: 2, ..Limits::default() };
    let (mut read, mut refused) = (0, 0);
    for name in [
        "baseline-420.jpg",
        "progressive.jpg",
        "orientation-6.jpg",
        "cmyk.jpg",
        "grey.jpg",
        "rgb16.png",
        "palette.png",
        "interlaced.png",
        "lzw.tif",
        "deflate.tif",
        "lossless.webp",
        "lossy.webp",
    ] {
        let whole = fs::read(format(name)).expect(name);
        for at in 0..header_length(&whole).min(whole.len()) {
            for flip in [0x01, 0x80, 0xff] {
                let mut bytes = whole.clone();
                bytes[at] ^= flip;
                match photo::decode(name.as_ref(), bytes, &limits) {
                    Ok(photo) => {
                        assert!(photo.rgb.samples().len() <= 2_000_000, "{name} at {at}");
                        read += 1;
                    }
                    Err(error) => {
                        assert!(error.to_string().starts_with(name), "{error}");
                        refused += 1;
                    }
                }
            }
        }
    }
    assert!(read > 500 && refused > 500, "{read} read, {refused} refused");
}

/// A PNG's chunks carry checksums, so a flip can change no pixel unnoticed. Source: PNG (ISO/IEC 15948), 5.3.
#[test]
fn no_flip_in_a_png_changes_the_picture_unnoticed() {
    let whole = fs::read(format("rgb8.png")).expect("rgb8.png");
    let right = photo::decode("a.png".as_ref(), whole.clone(), &Limits::default()).expect("whole").rgb;
    for at in 0..whole.len() {
        let mut bytes = whole.clone();
        bytes[at] ^= 0x10;
        if let Ok(photo) = photo::decode("a.png".as_ref(), bytes, &Limits::default()) {
            assert_eq!(photo.rgb, right, "byte {at}");
        }
    }
}

/// The smallest, the narrowest and the flattest, through all stages and the overlay, with and without a scale.
#[test]
fn odd_sizes_pass_through_every_stage() {
    let sizes = [
        (1, 1),
        (1, 2),
        (2, 1),
        (2, 2),
        (3, 3),
        (5, 1),
        (1, 5),
        (7, 9),
        (8, 8),
        (15, 16),
        (16, 15),
        (31, 33),
        (64, 1),
        (1, 64),
        (100, 3),
        (3, 100),
        (400, 20),
        (20, 400),
        (1, 20_000),
        (20_000, 1),
        (2, 9000),
        (9000, 12),
    ];
    let stated = Some(StatedScale::DotsPerInch(600.0));
    for (width, height) in sizes {
        let bytes = png(&striped(width, height));
        let photo = photo::decode("odd.png".as_ref(), bytes, &Limits::default()).expect("a picture");
        for scale in [ScaleRequest::default(), ScaleRequest { stated, ..ScaleRequest::default() }] {
            let request = Request { scale, ..Request::default() };
            let measured = pipeline::measure(&photo, &request, &Params::default());
            assert_eq!((measured.report.photo.width_px, measured.report.photo.height_px), (width, height));
            json::text(&measured.report).expect("a report");
            overlay::png(&photo, &request, &measured.report, &measured.evidence).expect("an overlay");
        }
    }
}

/// A JPEG of the same odd sizes; the longest is over the decoder's cap and says so.
#[test]
fn odd_jpegs_are_measured_or_refused() {
    let folder = tempfile::tempdir().expect("a folder");
    for (width, height) in [(1u16, 1u16), (1, 9000), (17, 3), (1, 20_000), (20_000, 1)] {
        let file = folder.path().join(format!("{width}x{height}.jpg"));
        let picture = striped(width.into(), height.into());
        let mut bytes = Vec::new();
        jpeg_encoder::Encoder::new(&mut bytes, 90)
            .encode(picture.as_raw(), width, height, jpeg_encoder::ColorType::Rgb)
            .expect("a JPEG");
        fs::write(&file, bytes).expect("written");
        let output = measure(&file);
        let report = clear(&output);
        assert_eq!(report.is_some(), width.max(height) <= 16_384, "{}", told(&output));
        if report.is_none() {
            assert!(told(&output).contains("16384 px"), "{}", told(&output));
        }
    }
}

/// Headers that claim 65535 x 65535: refused at the default limit, and with the limit raised still without dying.
#[test]
fn enormous_headers_are_refused_even_when_the_limit_is_raised() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut jpeg = fs::read(format("baseline-444.jpg")).expect("a JPEG");
    let frame = jpeg.windows(2).position(|w| w == [0xff, 0xc0]).expect("a frame");
    jpeg[frame + 5..frame + 9].fill(0xff);
    let huge = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/bad");
    let file = folder.path().join("huge.jpg");
    fs::write(&file, jpeg).expect("written");
    for file in [file, huge.join("huge-header.png"), huge.join("huge-header.tif"), huge.join("large-header.webp")] {
        for limit in ["200", "4294967295"] {
            let output = program().args(["measure", "--max-megapixels", limit]).arg(&file).output().expect("it runs");
            assert_eq!(output.status.code(), Some(3), "{} at {limit}: {}", file.display(), told(&output));
            clear(&output);
        }
    }
}

/// What a file is called does not decide what it is; what it is does.
#[test]
fn endings_are_not_believed() {
    let folder = tempfile::tempdir().expect("a folder");
    for (from, to) in [
        ("rgb8.png", "a.jpg"),
        ("baseline-420.jpg", "b.tif"),
        ("lzw.tif", "c.webp"),
        ("lossy.webp", "d.png"),
        ("rgb16.png", "e"),
        ("progressive.jpg", "f.heic"),
        ("cmyk.jpg", "g.txt"),
    ] {
        let file = folder.path().join(to);
        fs::copy(format(from), &file).expect("copied");
        let report = clear(&measure(&file)).expect("a report");
        assert_eq!((report["photo"]["width_px"].as_u64(), report["photo"]["file"].as_str()), (Some(64), Some(to)));
    }
}

/// Two frames, hand-made after the container's rules; the first is measured or the file is refused, and nothing hangs.
/// Source: WebP container specification (RFC 9649), 2.7: VP8X with the animation flag, ANIM, ANMF.
#[test]
fn an_animated_webp_gives_a_clear_answer() {
    let still = fs::read(format("lossless.webp")).expect("a WebP");
    let data = &still[12..];
    let chunk = |name: &[u8; 4], body: &[u8]| {
        let mut out = name.to_vec();
        out.extend((body.len() as u32).to_le_bytes());
        out.extend(body);
        out.resize(out.len() + body.len() % 2, 0);
        out
    };
    let mut body = b"WEBP".to_vec();
    body.extend(chunk(b"VP8X", &[2, 0, 0, 0, 63, 0, 0, 47, 0, 0]));
    body.extend(chunk(b"ANIM", &[255, 255, 255, 255, 0, 0]));
    for _ in 0..2 {
        let mut frame = vec![0, 0, 0, 0, 0, 0, 63, 0, 0, 47, 0, 0, 100, 0, 0, 0];
        frame.extend(data);
        body.extend(chunk(b"ANMF", &frame));
    }
    let bytes = chunk(b"RIFF", &body);
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("moving.webp");
    fs::write(&file, bytes).expect("written");
    let output = measure(&file);
    match clear(&output) {
        Some(report) => assert_eq!(report["photo"]["width_px"], 64),
        None => assert!(told(&output).contains("moving.webp"), "{}", told(&output)),
    }
}

/// Where HEIC is not built in: the commonest photo that is not read says what to do instead.
#[test]
#[cfg(not(feature = "heic"))]
fn heic_says_how_to_get_a_jpeg() {
    let folder = tempfile::tempdir().expect("a folder");
    // Source: ISO/IEC 14496-12, 4.3: a box's size, `ftyp`, then the brands; 23008-12 names heic, mif1 and their kin.
    for brand in [b"heic", b"heix", b"mif1", b"hevc", b"msf1", b"avif"] {
        let file = folder.path().join("phone.HEIC");
        let mut bytes = vec![0, 0, 0, 24];
        bytes.extend(b"ftyp");
        bytes.extend(brand);
        bytes.extend([0, 0, 0, 0]);
        bytes.extend(b"mif1");
        bytes.extend(brand);
        bytes.extend([0; 400]);
        fs::write(&file, bytes).expect("written");
        let output = measure(&file);
        assert!(clear(&output).is_none());
        assert!(told(&output).contains("HEIC") && told(&output).contains("export it as JPEG"), "{}", told(&output));
    }
}

/// Names that a spreadsheet or a browser would run, through every output that shows them.
#[test]
fn hostile_names_stay_text_in_tables_pages_and_lists() {
    let folder = tempfile::tempdir().expect("a folder");
    let photos = folder.path().join("photos");
    fs::create_dir(&photos).expect("a folder");
    let mut names = vec!["=1+1.png", "+1.png", "@sum.png", "-dash.png", "plain.png"];
    if cfg!(unix) {
        names.extend(["<script>alert(1)<script>.png", "quo\"te'.png", "two\nlines.png", "tab\tand\u{1b}[31mred.png"]);
    }
    for (i, name) in names.iter().enumerate() {
        super::batch::picture(&photos.join(name), i as u32);
    }
    let out = folder.path().join("out");
    let output = program().arg("batch").arg(&photos).arg("--out").arg(&out).output().expect("it runs");
    let err = told(&output);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{err}");
    assert!(!err.contains('\u{1b}') && !err.contains("panicked"), "{err:?}");
    let mut table = csv::Reader::from_path(out.join("photos.csv")).expect("a table");
    let rows: Vec<csv::StringRecord> = table.records().map(|r| r.expect("a row")).collect();
    assert_eq!(rows.len(), names.len());
    for cell in rows.iter().flatten() {
        let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']) && cell.parse::<f64>().is_err();
        assert!(!formula, "{cell:?} would be run");
    }
    for name in ["'=1+1.png", "'+1.png", "'@sum.png", "'-dash.png", "plain.png"] {
        assert!(rows.iter().any(|row| &row[0] == name), "{name}");
    }
    let pages = folder.path().join("pages");
    let output = program().arg("portfolio").arg(&out).arg("--out").arg(&pages).output().expect("it runs");
    assert!(matches!(output.status.code(), Some(0 | 1)), "{}", told(&output));
    let mut seen = 0;
    for file in walkdir::WalkDir::new(&pages).into_iter().map(|e| e.expect("an entry").into_path()) {
        if file.extension().is_some_and(|e| e == "html") {
            let text = fs::read_to_string(&file).expect("a page");
            assert!(!text.contains("<script>alert"), "{}", file.display());
            seen += 1;
        }
    }
    assert!(seen > 0, "no page was written");
}

#[cfg(unix)]
mod unix {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;
    use std::time::{Duration, Instant};

    use super::*;

    /// A named pipe, or `None` where there is no `mkfifo`.
    fn pipe(path: &Path) -> Option<()> {
        let made = Command::new("mkfifo").arg(path).status().is_ok_and(|s| s.success());
        if !made {
            eprintln!("skipped: mkfifo is not to be had");
        }
        made.then_some(())
    }

    /// Nobody writes into it: opening it would wait for ever.
    #[test]
    fn a_pipe_is_no_photo_and_is_not_waited_for() {
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("pipe.jpg");
        if pipe(&file).is_none() {
            return;
        }
        let started = Instant::now();
        let output = measure(&file);
        assert!(clear(&output).is_none() && told(&output).contains("is not a file"), "{}", told(&output));
        // In a folder it is passed over; named, it is a row.
        super::super::batch::picture(&folder.path().join("good.png"), 1);
        let out = folder.path().join("out");
        let batch = |place: &Path| program().arg("batch").arg(place).arg("--out").arg(&out).output().expect("it runs");
        assert!(matches!(batch(folder.path()).status.code(), Some(0 | 1)));
        assert_eq!(batch(&file).status.code(), Some(5));
        assert!(started.elapsed() < Duration::from_secs(60));
    }

    #[test]
    fn devices_and_files_of_the_system_give_a_clear_error() {
        for file in ["/dev/null", "/dev/zero", "/proc/self/mem", "/proc/version"] {
            if Path::new(file).exists() {
                assert!(clear(&measure(Path::new(file))).is_none(), "{file}");
            }
        }
    }

    #[test]
    fn links_in_circles_are_left_and_links_to_photos_are_followed() {
        let folder = tempfile::tempdir().expect("a folder");
        let photos = folder.path().join("photos");
        super::super::batch::picture(&photos.join("good.png"), 1);
        symlink(&photos, photos.join("again")).expect("a link");
        symlink(photos.join("b.png"), photos.join("a.png")).expect("a link");
        symlink(photos.join("a.png"), photos.join("b.png")).expect("a link");
        symlink(photos.join("nowhere"), photos.join("dangling.png")).expect("a link");
        let output = measure(&photos.join("a.png"));
        assert!(clear(&output).is_none() && told(&output).contains("a.png"), "{}", told(&output));
        let out = folder.path().join("out");
        let output = program().arg("batch").arg(&photos).arg("--out").arg(&out).output().expect("it runs");
        assert!(!told(&output).contains("panicked"));
        let table = fs::read_to_string(out.join("photos.csv")).expect("a table");
        assert!(table.contains("good.png"), "{table}\n{}", told(&output));
        symlink(photos.join("good.png"), folder.path().join("link.png")).expect("a link");
        assert!(clear(&measure(&folder.path().join("link.png"))).is_some());
    }

    /// Two names that differ only in bytes that are no text must not be taken for one photo.
    #[test]
    fn names_that_are_no_text_stay_apart_in_a_batch() {
        let folder = tempfile::tempdir().expect("a folder");
        let photos = folder.path().join("photos");
        for (i, name) in [&b"a\xff.png"[..], b"a\xfe.png", b"b.png"].iter().enumerate() {
            super::super::batch::picture(&photos.join(OsStr::from_bytes(name)), i as u32);
        }
        let out = folder.path().join("out");
        let output = program().arg("batch").arg(&photos).arg("--out").arg(&out).output().expect("it runs");
        let err = told(&output);
        assert!(!err.contains("panicked"), "{err}");
        match output.status.code() {
            // A refusal that names them is as good as three rows.
            Some(3) => assert!(err.contains("would both be called"), "{err}"),
            _ => assert_eq!(csv::Reader::from_path(out.join("photos.csv")).expect("a table").records().count(), 3),
        }
    }
}
