//! What a sample of a picture is made of: every kind shows the same picture or is refused by its name; of several pages
//! or frames the first full-size one.
//!
//! The TIFF files are put together here byte by byte. Source: TIFF 6.0, sections 2 (structure), 4 to 6 (baseline tags) and
//! 18 to 19 (extra samples, sample formats).

use std::path::Path;

use strandrule::measure::photo::{self, Limits, Photo, PhotoError};
use strandrule::measure::pipeline::{Params, Request, measure};

const WIDTH: usize = 20;
const HEIGHT: usize = 14;

/// Code values of the picture, red, green, blue.
fn wanted(x: usize, y: usize) -> [u8; 3] {
    [(12 * x) as u8, (18 * y) as u8, (255 - 12 * x) as u8]
}

/// A tag's number, type (3 short, 4 long) and values.
type Entry = (u16, u16, Vec<u32>);

/// Pages of tags and samples, low bytes first ("II"), one strip each.
fn tiff(pages: &[(Vec<Entry>, Vec<u8>)]) -> Vec<u8> {
    let pages: Vec<_> = pages.iter().map(|(tags, samples)| (tags.clone(), vec![samples.clone()])).collect();
    of_strips(&pages)
}

/// The same, each page of several strips.
fn of_strips(pages: &[(Vec<Entry>, Vec<Vec<u8>>)]) -> Vec<u8> {
    let mut out = b"II\x2a\0\0\0\0\0".to_vec();
    let mut link = 4;
    for (entries, strips) in pages {
        let mut entries = entries.clone();
        let mut places = Vec::new();
        for strip in strips {
            places.push(out.len() as u32);
            out.extend(strip);
        }
        out.resize(out.len().next_multiple_of(2), 0);
        entries.push((273, 4, places));
        entries.push((279, 4, strips.iter().map(|strip| strip.len() as u32).collect()));
        entries.sort();
        let mut table = (entries.len() as u16).to_le_bytes().to_vec();
        for (tag, kind, values) in &entries {
            let bytes: Vec<u8> = match kind {
                3 => values.iter().flat_map(|v| (*v as u16).to_le_bytes()).collect(),
                _ => values.iter().flat_map(|v| v.to_le_bytes()).collect(),
            };
            table.extend(tag.to_le_bytes());
            table.extend(kind.to_le_bytes());
            table.extend((values.len() as u32).to_le_bytes());
            if bytes.len() > 4 {
                table.extend((out.len() as u32).to_le_bytes());
                out.extend(bytes);
                out.resize(out.len().next_multiple_of(2), 0);
            } else {
                let mut bytes = bytes;
                bytes.resize(4, 0);
                table.extend(bytes);
            }
        }
        let at = (out.len() as u32).to_le_bytes();
        out[link..link + 4].copy_from_slice(&at);
        out.extend(table);
        link = out.len();
        out.extend([0; 4]);
    }
    out
}

/// Tags of a page: size, bits of each sample, the meaning of its samples, and whatever else.
fn page(width: usize, height: usize, bits: &[u32], meaning: u32, more: &[Entry]) -> Vec<Entry> {
    let mut entries = vec![
        (256, 4, vec![width as u32]),
        (257, 4, vec![height as u32]),
        (258, 3, bits.to_vec()),
        (259, 3, vec![1]),
        (262, 3, vec![meaning]),
        (277, 3, vec![bits.len() as u32]),
        (278, 4, vec![height as u32]),
    ];
    entries.extend_from_slice(more);
    entries
}

/// The samples of the picture one after the other, as `of` writes each.
fn rgb(of: impl Fn(u8) -> Vec<u8>) -> Vec<u8> {
    (0..WIDTH * HEIGHT).flat_map(|i| wanted(i % WIDTH, i / WIDTH)).flat_map(of).collect()
}

fn read(bytes: Vec<u8>) -> Result<Photo, PhotoError> {
    photo::decode(Path::new("made.tif"), bytes, &Limits::default())
}

#[track_caller]
fn shows(name: &str, bytes: Vec<u8>, wanted: impl Fn(usize, usize) -> [u8; 3]) {
    let photo = read(bytes).unwrap_or_else(|error| panic!("{name}: {error}"));
    assert_eq!((photo.rgb.width(), photo.rgb.height()), (WIDTH, HEIGHT), "{name}");
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let (seen, right) = (photo.rgb.row(y)[x], wanted(x, y));
            // Rounding of wider samples to eight bits, and of products with ink or transparency.
            let off = seen.iter().zip(right).map(|(a, b)| a.abs_diff(b)).max().unwrap();
            assert!(off <= 1, "{name}: {seen:?} for {right:?} at {x}, {y}");
        }
    }
}

/// `SampleFormat` (339) for three samples.
fn format(kind: u32) -> Entry {
    (339, 3, vec![kind; 3])
}

fn share(code: u8) -> f64 {
    f64::from(code) / 255.0
}

#[test]
fn integers_and_fractions_of_every_width_show_the_picture() {
    let wide = |code: u8| u32::from(code) * 0x0101_0101;
    let full = |bits: u32, more: &[Entry]| page(WIDTH, HEIGHT, &[bits; 3], 2, more);
    let made = |name: &str, tags: Vec<Entry>, samples: Vec<u8>| shows(name, tiff(&[(tags, samples)]), wanted);
    made("8 bits", full(8, &[]), rgb(|c| vec![c]));
    made("16 bits", full(16, &[]), rgb(|c| (u16::from(c) * 257).to_le_bytes().to_vec()));
    // Without a word about the format they are unsigned integers.
    made("32 bits, format not told", full(32, &[]), rgb(|c| wide(c).to_le_bytes().to_vec()));
    made("32 bits, unsigned", full(32, &[format(1)]), rgb(|c| wide(c).to_le_bytes().to_vec()));
    let wider = |c: u8| (u64::from(wide(c)) << 32 | u64::from(wide(c))).to_le_bytes().to_vec();
    made("64 bits", full(64, &[format(1)]), rgb(wider));
    made("floats", full(32, &[format(3)]), rgb(|c| (share(c) as f32).to_le_bytes().to_vec()));
    made("doubles", full(64, &[format(3)]), rgb(|c| share(c).to_le_bytes().to_vec()));
    let plane = |k: usize| (0..WIDTH * HEIGHT).map(|i| wanted(i % WIDTH, i / WIDTH)[k]).collect::<Vec<u8>>();
    let bytes = of_strips(&[(full(8, &[(284, 3, vec![2])]), (0..3).map(plane).collect())]);
    shows("planes apart", bytes, wanted);
}

#[test]
fn grey_of_few_bits_ink_and_transparency_show_the_picture() {
    let grey = |bits: u32, meaning: u32| page(WIDTH, HEIGHT, &[bits], meaning, &[]);
    for bits in [1usize, 2, 4] {
        let most = (1u32 << bits) - 1;
        let level = |x: usize, y: usize| (x + y) as u32 % (most + 1);
        let packed: Vec<u8> = (0..HEIGHT)
            .flat_map(|y| {
                let row = (0..(WIDTH * bits).div_ceil(8)).map(move |byte| {
                    (0..8 / bits).fold(0u32, |sum, k| (sum << bits) | level(byte * 8 / bits + k, y)) as u8
                });
                row.collect::<Vec<_>>()
            })
            .collect();
        let code = move |x: usize, y: usize| [(level(x, y) * 255 / most) as u8; 3];
        shows(&format!("{bits} bits"), tiff(&[(grey(bits as u32, 1), packed.clone())]), code);
        let turned = move |x: usize, y: usize| code(x, y).map(|c| 255 - c);
        shows(&format!("{bits} bits, white is 0"), tiff(&[(grey(bits as u32, 0), packed)]), turned);
    }
    // Cyan, magenta, yellow and no black; then half black.
    let ink = |black: u8| {
        (0..WIDTH * HEIGHT).flat_map(move |i| {
            let [r, g, b] = wanted(i % WIDTH, i / WIDTH);
            [255 - r, 255 - g, 255 - b, black]
        })
    };
    let tags = || page(WIDTH, HEIGHT, &[8; 4], 5, &[]);
    shows("ink", tiff(&[(tags(), ink(0).collect())]), wanted);
    let half = |x: usize, y: usize| wanted(x, y).map(|c| (f64::from(c) * 127.0 / 255.0).round() as u8);
    shows("ink with black", tiff(&[(tags(), ink(128).collect())]), half);
    // Transparency: 1 is multiplied in already, 2 is not, 0 is something else.
    let faint = |c: u8| (f64::from(c) * 0.4 + 255.0 * 0.6).round() as u8;
    for (kind, colours) in [(2u32, 1.0), (1, 0.4)] {
        let samples = (0..WIDTH * HEIGHT).flat_map(|i| {
            let [r, g, b] = wanted(i % WIDTH, i / WIDTH).map(|c| (f64::from(c) * colours).round() as u8);
            [r, g, b, 102]
        });
        let tags = page(WIDTH, HEIGHT, &[8; 4], 2, &[(338, 3, vec![kind])]);
        shows("transparent", tiff(&[(tags, samples.collect())]), |x, y| wanted(x, y).map(faint));
    }
    let samples = (0..WIDTH * HEIGHT).flat_map(|i| {
        let [r, g, b] = wanted(i % WIDTH, i / WIDTH);
        [r, g, b, 7]
    });
    let tags = page(WIDTH, HEIGHT, &[8; 4], 2, &[(338, 3, vec![0])]);
    shows("a fourth channel of no meaning", tiff(&[(tags, samples.collect())]), wanted);
}

#[test]
fn what_is_not_read_is_refused_by_name() {
    let full = |bits: u32, more: &[Entry]| page(WIDTH, HEIGHT, &[bits; 3], 2, more);
    let cases: Vec<(&str, Vec<Entry>, Vec<u8>)> = vec![
        ("signed samples of 8 bits", full(8, &[format(2)]), rgb(|c| vec![c])),
        ("signed samples of 32 bits", full(32, &[format(2)]), rgb(|c| u32::from(c).to_le_bytes().to_vec())),
        ("outside 0 to 1", full(32, &[format(3)]), rgb(|c| f32::from(c).to_le_bytes().to_vec())),
        ("outside 0 to 1", full(32, &[format(3)]), rgb(|_| f32::NAN.to_le_bytes().to_vec())),
        ("feature", page(WIDTH, HEIGHT, &[8], 3, &[(320, 3, vec![0; 768])]), vec![0; WIDTH * HEIGHT]),
        ("YCbCr", page(WIDTH, HEIGHT, &[8; 3], 6, &[]), rgb(|c| vec![c])),
        ("TIFF", page(WIDTH, HEIGHT, &[8; 3], 8, &[]), rgb(|c| vec![c])),
        ("TIFF", page(WIDTH, HEIGHT, &[12; 3], 2, &[]), rgb(|c| vec![c, c])),
        ("TIFF", page(WIDTH, HEIGHT, &[8; 6], 2, &[]), vec![0; 6 * WIDTH * HEIGHT]),
    ];
    for (said, tags, samples) in cases {
        let error = read(tiff(&[(tags, samples)])).expect_err(said);
        let text = error.to_string();
        assert!(matches!(error, PhotoError::Unsupported { .. }) && text.contains(said), "{said}: {text}");
        assert!(!text.contains("damaged") && !text.contains("copy the photo"), "{text}");
    }
    // JPEG's own other ways of coding: the frame's marker, and its precision (ITU-T T.81, table B.1, B.2.2).
    let whole = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/formats/baseline-444.jpg")).unwrap();
    let frame = whole.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    for (marker, bits, said) in [
        (0xc3, 8, "lossless JPEG"),
        (0xc9, 8, "arithmetic coding"),
        (0xc1, 12, "more than 8 bits"),
        (0xc5, 8, "hierarchical"),
    ] {
        let mut bytes = whole.clone();
        (bytes[frame + 1], bytes[frame + 4]) = (marker, bits);
        let text = photo::decode(Path::new("a.jpg"), bytes, &Limits::default()).expect_err(said).to_string();
        assert!(text.contains(said) && !text.contains("damaged"), "{text}");
    }
}

fn warnings(photo: &Photo) -> Vec<String> {
    let report = measure(photo, &Request::default(), &Params::default()).report;
    report.warnings.into_iter().filter(|w| w.code == "several-pictures").map(|w| w.message).collect()
}

#[test]
fn of_several_pages_the_first_full_size_one_is_measured_and_said() {
    let whole = || (page(WIDTH, HEIGHT, &[8; 3], 2, &[]), rgb(|c| vec![c]));
    let small = |more: &[Entry]| (page(5, 4, &[8; 3], 2, more), vec![9; 60]);
    let black = || (page(WIDTH, HEIGHT, &[8; 3], 2, &[]), vec![0; 3 * WIDTH * HEIGHT]);
    // NewSubfileType (254): 1 is a reduced copy.
    for (name, pages, count) in [
        ("two pages", vec![whole(), black()], 2),
        ("a small copy first", vec![small(&[(254, 4, vec![1])]), whole()], 1),
        ("a small page first", vec![small(&[]), whole(), black()], 3),
    ] {
        let bytes = tiff(&pages);
        shows(name, bytes.clone(), wanted);
        let said = warnings(&read(bytes).unwrap());
        assert_eq!(said.len(), usize::from(count > 1), "{name}: {said:?}");
        assert!(said.iter().all(|s| s.contains(&format!("{count} pages"))), "{name}: {said:?}");
    }
    // The page's own orientation counts (274): 3 is upside down.
    let mut turned = whole();
    turned.0.push((274, 3, vec![3]));
    let upside_down = |x: usize, y: usize| wanted(WIDTH - 1 - x, HEIGHT - 1 - y);
    shows("a turned second page", tiff(&[small(&[]), turned]), upside_down);
}

/// Source: PNG third edition (W3C), 11.3.6: acTL holds the number of frames and of repetitions.
#[test]
fn an_animated_png_shows_its_first_frame_and_says_so() {
    let plain = std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/formats/rgb8.png")).unwrap();
    let right = photo::decode(Path::new("a.png"), plain.clone(), &Limits::default()).unwrap();
    assert!(warnings(&right).is_empty());
    let mut chunk = b"acTL\0\0\0\x05\0\0\0\0".to_vec();
    let check = crc(&chunk);
    chunk.splice(0..0, [0, 0, 0, 8]);
    chunk.extend(check.to_be_bytes());
    let mut moving = plain;
    // After the signature and IHDR.
    moving.splice(33..33, chunk);
    let photo = photo::decode(Path::new("a.png"), moving, &Limits::default()).unwrap();
    assert_eq!(photo.rgb, right.rgb);
    assert!(warnings(&photo)[0].contains("5 pages or frames"), "{:?}", warnings(&photo));
}

/// Source: PNG (ISO/IEC 15948), annex D.
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 })
    })
}
