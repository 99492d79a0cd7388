//! Reading photos: every format shows the same picture, and no damaged file gives one.
//!
//! The files in `fixtures/formats` and `fixtures/bad` were written by encoders written apart from this project (Pillow
//! with libjpeg-turbo, libtiff and libwebp; see make.py there), so that our readers are checked against others.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use strandrule::measure::photo::{self, Limits, Photo, PhotoError};

const WIDTH: usize = 64;
const HEIGHT: usize = 48;

/// Code values wanted at a place.
type Wanted = fn(usize, usize) -> [f64; 3];

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn read(path: &Path) -> Result<Photo, PhotoError> {
    photo::read(path, &Limits::default())
}

/// The picture as make.py defines it.
fn defined(x: usize, y: usize) -> [f64; 3] {
    [20.0 + 3.0 * x as f64, 10.0 + 5.0 * y as f64, 230.0 - 2.0 * x as f64 - y as f64]
}

/// Grey as Pillow makes it. Source: ITU-R BT.601 weights, 299, 587, 114 thousandths.
fn grey(x: usize, y: usize) -> [f64; 3] {
    let [r, g, b] = defined(x, y);
    [0.299 * r + 0.587 * g + 0.114 * b; 3]
}

/// Mean and largest absolute difference, code values.
fn difference(photo: &Photo, wanted: impl Fn(usize, usize) -> [f64; 3]) -> (f64, f64) {
    assert_eq!((photo.rgb.width(), photo.rgb.height()), (WIDTH, HEIGHT), "{}", photo.name);
    let mut all = Vec::new();
    for y in 0..HEIGHT {
        for (x, pixel) in photo.rgb.row(y).iter().enumerate() {
            all.extend(pixel.iter().zip(wanted(x, y)).map(|(a, b)| (f64::from(*a) - b).abs()));
        }
    }
    (all.iter().sum::<f64>() / all.len() as f64, all.into_iter().fold(0.0, f64::max))
}

/// Mean difference allowed: lossless none but rounding; JPEG and lossy WebP at quality 95 about one level, with half
/// resolution of colour two; a palette of 256 for 3072 colours about four. A picture turned or mirrored the wrong way is off by 40 and more.
#[test]
fn every_format_shows_the_picture() {
    let rgb: Wanted = defined;
    let half_shown: Wanted = |x, y| if x < WIDTH / 2 { defined(x, y) } else { [255.0; 3] };
    let files: [(&str, f64, Wanted); 19] = [
        ("baseline-444.jpg", 1.0, rgb),
        ("baseline-420.jpg", 2.0, rgb),
        ("progressive.jpg", 2.0, rgb),
        ("restart-markers.jpg", 2.0, rgb),
        ("grey.jpg", 1.0, grey),
        ("cmyk.jpg", 2.0, rgb),
        ("trailing-data.jpg", 1.0, rgb),
        ("wrong-extension.png", 1.0, rgb),
        ("rgb8.png", 1e-9, rgb),
        ("rgb16.png", 1e-9, rgb),
        ("grey8.png", 0.51, grey),
        ("palette.png", 5.0, rgb),
        ("alpha.png", 1e-9, half_shown),
        ("interlaced.png", 1e-9, rgb),
        ("plain.tif", 1e-9, rgb),
        ("lzw.tif", 1e-9, rgb),
        ("deflate.tif", 1e-9, rgb),
        ("lossless.webp", 1e-9, rgb),
        ("lossy.webp", 3.0, rgb),
    ];
    for (name, allowed, wanted) in files {
        let photo = read(&folder("formats").join(name)).unwrap_or_else(|error| panic!("{error}"));
        let (mean, most) = difference(&photo, wanted);
        assert!(mean <= allowed && most <= 12.0 * allowed.max(1e-9), "{name}: mean {mean}, most {most}");
    }
}

/// Four of the eight contain a mirror; one left out would swap S and Z.
#[test]
fn all_eight_orientations_are_shown_upright() {
    for tag in 1..=8 {
        let photo = read(&folder("formats").join(format!("orientation-{tag}.jpg"))).unwrap_or_else(|e| panic!("{e}"));
        let (mean, _) = difference(&photo, defined);
        assert!(mean < 1.0, "orientation {tag}: {mean}");
        assert_eq!(photo.camera.taken_at.as_deref(), Some("2031-05-04T06:05:04+02:00"), "orientation {tag}");
        assert_eq!(photo.camera.focal_35mm_mm, Some(28.0), "orientation {tag}");
    }
}

/// What is said of each file in `fixtures/bad`: a word of it that no other kind of fault has.
const FAULTS: &[(&str, &str)] = &[
    ("animation.gif", "is not a JPEG, PNG, TIFF or WebP"),
    ("empty.jpg", "is empty"),
    ("half-of-baseline.jpg", "damaged or incomplete"),
    ("half-of-lossless.webp", "damaged or incomplete"),
    ("half-of-lossy.webp", "damaged or incomplete"),
    ("half-of-progressive.jpg", "damaged or incomplete"),
    ("half-of-rgb.png", "damaged or incomplete"),
    ("half-of-strips.tif", "damaged or incomplete"),
    ("huge-header.jpg", "above the limit"),
    ("huge-header.png", "above the limit"),
    ("huge-header.tif", "damaged or incomplete"),
    ("large-header.jpg", "above the limit"),
    ("large-header.png", "above the limit"),
    ("large-header.webp", "damaged or incomplete"),
    ("no-size.jpg", "damaged or incomplete"),
    ("only-start-marker.jpg", "damaged or incomplete"),
    ("page-called-photo.jpg", "is not a JPEG, PNG, TIFF or WebP"),
    ("phone.heic", "HEIC"),
    ("text-called-photo.jpg", "is not a JPEG, PNG, TIFF or WebP"),
    ("wrong-checksum.png", "damaged or incomplete"),
    ("zeros.jpg", "is not a JPEG, PNG, TIFF or WebP"),
];

#[test]
fn every_bad_file_fails_in_its_own_way_and_at_once() {
    let mut found: Vec<String> = fs::read_dir(folder("bad"))
        .expect("fixtures/bad")
        .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
        .collect();
    found.sort();
    assert_eq!(found, FAULTS.iter().map(|(name, _)| *name).collect::<Vec<_>>());
    for (name, word) in FAULTS {
        let error = read(&folder("bad").join(name)).expect_err(name).to_string();
        assert!(error.contains(word), "{name}: {error}");
        assert!(error.contains(name), "the file is named: {error}");
        // Milliseconds on an idle machine; a decoder that filled the claimed picture would take seconds. The best of three,
        // since a busy machine may hold up any one of them.
        let took = (0..3).map(|_| {
            let started = Instant::now();
            read(&folder("bad").join(name)).expect_err(name);
            started.elapsed()
        });
        let least = took.min().expect("three times");
        assert!(least < Duration::from_secs(1), "{name}: {least:?}");
    }
}

#[test]
fn a_photo_cut_anywhere_gives_no_picture() {
    for name in [
        "baseline-444.jpg",
        "baseline-420.jpg",
        "progressive.jpg",
        "restart-markers.jpg",
        "grey.jpg",
        "rgb16.png",
        "lossy.webp",
        "lzw.tif",
    ] {
        let whole = fs::read(folder("formats").join(name)).expect(name);
        for cut in (0..50).map(|i| whole.len() * i / 50).chain([whole.len() - 3]) {
            let part = whole[..cut].to_vec();
            let result = photo::decode(Path::new(name), part, &Limits::default());
            assert!(result.is_err(), "{name} cut at {cut} of {}", whole.len());
        }
    }
}

#[test]
fn limits_are_kept_and_can_be_raised() {
    let file = folder("formats").join("rgb8.png");
    let few_bytes = Limits { max_bytes: 100, ..Limits::default() };
    assert!(matches!(photo::read(&file, &few_bytes), Err(PhotoError::TooManyBytes { limit: 100, .. })));
    let no_pixels = Limits { max_megapixels: 0, ..Limits::default() };
    assert!(matches!(photo::read(&file, &no_pixels), Err(PhotoError::TooLarge { width: 64, height: 48, .. })));
    assert!(read(&file).is_ok());
}

#[test]
fn folders_and_missing_files_are_named() {
    assert!(matches!(read(&folder("formats")), Err(PhotoError::NotAFile { .. })));
    assert!(matches!(read(&folder("formats").join("nowhere.jpg")), Err(PhotoError::Unreadable { .. })));
}

proptest::proptest! {
    /// Nothing panics, and what is read has the size that the header says.
    #[test]
    fn flipped_bytes_give_an_error_or_a_picture(at in 0usize..4000, flip in 1u8..=255, which in 0usize..6) {
        let name = ["baseline-420.jpg", "progressive.jpg", "orientation-5.jpg", "palette.png", "lzw.tif", "lossy.webp"][which];
        let mut bytes = fs::read(folder("formats").join(name)).expect(name);
        let at = at % bytes.len();
        bytes[at] ^= flip;
        let small = Limits { max_megapixels: 4, ..Limits::default() };
        if let Ok(photo) = photo::decode(Path::new(name), bytes, &small) {
            proptest::prop_assert!(photo.rgb.width() * photo.rgb.height() <= 4_000_000);
        }
    }
}

/// libheif wrote them and shows them like this. Off by 4 levels on average at most: 4:2:0, quality 95, and a transform
/// of the colours on the way in and out.
#[test]
#[cfg(feature = "heic")]
fn heic_shows_the_picture_upright() {
    let difference = |name: &str, (width, height): (usize, usize), wanted: Wanted| {
        let photo = read(&folder("heic").join(name)).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!((photo.rgb.width(), photo.rgb.height()), (width, height), "{name}");
        let mut sum = 0.0;
        for y in 0..height {
            for (x, pixel) in photo.rgb.row(y).iter().enumerate() {
                sum += pixel.iter().zip(wanted(x, y)).map(|(a, b)| (f64::from(*a) - b).abs()).sum::<f64>();
            }
        }
        sum / (3 * width * height) as f64
    };
    assert!(difference("plain.heic", (WIDTH, HEIGHT), defined) < 4.0);
    // A quarter turn anticlockwise. Source: ISO/IEC 23008-12, 6.5.10.
    assert!(difference("rotated.heic", (HEIGHT, WIDTH), |x, y| defined(WIDTH - 1 - y, x)) < 4.0);
}

/// Cut anywhere it gives no picture; flipped anywhere it gives an error or a picture, and nothing panics.
#[test]
#[cfg(feature = "heic")]
fn damaged_heic_is_refused_or_shown() {
    let whole = fs::read(folder("heic").join("rotated.heic")).expect("a HEIC");
    let small = Limits { max_megapixels: 4, ..Limits::default() };
    for cut in 0..whole.len() {
        let result = photo::decode(Path::new("cut.heic"), whole[..cut].to_vec(), &small);
        assert!(result.is_err(), "cut at {cut} of {}", whole.len());
    }
    for at in 0..whole.len() {
        for flip in [0x01, 0x10, 0x80, 0xff] {
            let mut bytes = whole.clone();
            bytes[at] ^= flip;
            if let Ok(photo) = photo::decode(Path::new("flipped.heic"), bytes, &small) {
                assert!(photo.rgb.width() * photo.rgb.height() <= 4_000_000, "byte {at}");
            }
        }
    }
}
