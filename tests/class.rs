//! A whole class: thirty invented people with four photos each, some of them spoilt, marked by one command from the
//! folder of a finished batch. The marks of six are worked out by hand here, in the comments.

use std::fs;
use std::path::Path;
use std::process::Command;

use strandrule::figures::quantity::{Component, Sourced};
use strandrule::figures::report::{
    Evenness, Faults, PhotoFacts, Program, Report, SCHEMA, Sample, ScaleFigures, TwistDirection,
};
use strandrule::figures::{Method, Quantity, Reason};

const PEOPLE: [&str; 30] = [
    "Anneth Quillfold",
    "Borrin Saltmarsh",
    "Cassimer Dray",
    "Delwyn Ashholt",
    "Ebba Thornquist",
    "Fenn Larkrise",
    "Gerrit Moldaway",
    "Hesper Linnow",
    "Ivo Candlebeck",
    "Jorund Pease",
    "Kerensa Wold",
    "Lubin Oatfield",
    "Marisk Tarn",
    "Nanny Fathom",
    "Odd Hollin",
    "Perrin Sedge",
    "Quenna Bartle",
    "Rafe Undercliff",
    "Sunniva Goss",
    "Tessaly Underbough",
    "Ulla Winterfold",
    "Vane Merrow",
    "Wystan Crake",
    "Xanthe Beadle",
    "Yrsa Dunnock",
    "Zeb Copplestone",
    "Aubin Fescue",
    "Brannoch Reed",
    "Cwen Haggard",
    "Dorrin Ploughley",
];

/// Weights 2, 1, 1, 1 of 5; out of 20. Diameter: full mark up to 0.1 mm from 2.0, none from 0.5 on. Turns: full up to
/// 0.4 (10 %) from 4.0, none from three times that, 1.2. Evenness: full up to 12 %, none from 10 + 3 x 2 = 16 % on.
const TARGET: &str = "title = \"Two-ply for socks\"\nout_of = 20\n\
    [[criterion]]\nfigure = \"diameter_mm\"\nvalue = 2.0\ntolerance = 0.1\nzero_beyond = 0.5\nweight = 2\n\
    [[criterion]]\nfigure = \"twists_per_inch\"\nvalue = 4.0\ntolerance_percent = 10\n\
    [[criterion]]\nfigure = \"diameter_cv_percent\"\nvalue = 10\ntolerance = 2\nside = \"at-most\"\n\
    [[criterion]]\nfigure = \"twist_direction\"\nvalue = \"S\"\n";

/// What a photo shows: diameter in mm, turns per inch, CV of the diameter in per cent, direction.
#[derive(Clone, Copy)]
pub(crate) struct Shows(pub(crate) f64, pub(crate) f64, pub(crate) f64, pub(crate) TwistDirection);

/// A number known to a millionth, so that only the spread among a person's photos makes an interval.
fn sharp(value: f64) -> Quantity<f64> {
    let budget = vec![Component { source: Sourced::Sampling, standard_uncertainty: 1e-6 }];
    Quantity::from_budget(value, Method::Combined, budget)
}

fn none() -> Quantity<f64> {
    Quantity::Unanswered(Reason::NoScale)
}

pub(crate) fn report(photo: &str, label: Option<&str>, shows: Shows) -> Report {
    let Shows(diameter, turns, cv, direction) = shows;
    Report {
        schema: SCHEMA.to_owned(),
        program: Program { name: "strandrule".to_owned(), version: "0.0.0".to_owned() },
        photo: PhotoFacts { file: photo.to_owned(), width_px: 4000, height_px: 3000, taken_at: None },
        scale: ScaleFigures {
            method: Some(Method::RulerCard),
            px_per_mm: sharp(20.0),
            tilt_deg: sharp(3.0),
            print_factor: None,
        },
        sample: Sample {
            label: label.map(str::to_owned),
            strands: 1,
            length_mm: sharp(100.0),
            plies: Quantity::likely(2, 0.99, Method::Combined),
            twist_direction: Quantity::likely(direction, 0.999, Method::LineAngle),
            diameter_mm: sharp(diameter),
            diameter_px: sharp(diameter * 20.0),
            envelope_diameter_mm: sharp(diameter * 1.2),
            wraps_per_inch: sharp(25.4 / diameter),
            weight_categories: Vec::new(),
            twist_angle_deg: sharp(26.0),
            ply_angles_deg: None,
            twists_per_inch: sharp(turns),
            twists_per_metre: sharp(turns / 0.0254),
            bumps_per_inch: sharp(2.0 * turns),
            bumps_per_diameter: sharp(2.0 * turns * diameter / 25.4),
            fibre_angle_deg: sharp(1.0),
            evenness: Evenness {
                diameter_cv_percent: sharp(cv),
                between_strands_cv_percent: Quantity::Unanswered(Reason::OnePiece),
                twist_cv_percent: sharp(9.0),
                faults: Some(Faults { searched_mm: 100.0, list: Vec::new() }),
                faults_reason: None,
            },
            hairiness: sharp(0.1),
            kinks: Quantity::Unanswered(Reason::NotYet),
        },
        strands: Vec::new(),
        warnings: Vec::new(),
    }
}

/// The same without a ruler in the picture: no length can be told, ratios and the direction can.
fn without_ruler(mut report: Report) -> Report {
    let sample = &mut report.sample;
    for length in [
        &mut sample.length_mm,
        &mut sample.diameter_mm,
        &mut sample.envelope_diameter_mm,
        &mut sample.wraps_per_inch,
        &mut sample.twists_per_inch,
        &mut sample.twists_per_metre,
        &mut sample.bumps_per_inch,
    ] {
        *length = none();
    }
    report
}

/// 64-bit FNV-1a. Source: RFC 9923 (constants from memory).
fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3))
}

/// A finished batch on disk, photo by photo: files are called after the photo and a hash of its name, and a record knows
/// its report's length and hash.
struct Batch<'a>(&'a Path);

impl Batch<'_> {
    fn photo(&self, name: &str, report: Option<&Report>) {
        let id = format!("{}-{:08x}", name.trim_end_matches(".jpg"), fnv1a(name.as_bytes()) & 0xffff_ffff);
        let text = report.map(|report| serde_json::to_string(report).unwrap());
        let check = text.as_ref().map(|text| format!("{:x}-{:016x}", text.len(), fnv1a(text.as_bytes())));
        let record = serde_json::json!({
            "photo": name, "id": id, "key": "", "report_check": check, "pictures": [],
            "label": report.and_then(|r| r.sample.label.clone()), "answered": report.is_some(),
            "failure": if report.is_some() { None } else { Some("the picture ends in the middle") },
        });
        fs::write(self.0.join(format!("records/{id}.json")), record.to_string()).unwrap();
        if let Some(text) = text {
            fs::write(self.0.join(format!("reports/{id}.json")), text).unwrap();
        }
    }
}

/// The four photos of a person; those of the first six are worked out by hand below.
fn shown(person: usize) -> [Shows; 4] {
    use TwistDirection::{S, Z};
    let diameters = |d: [f64; 4]| d.map(|d| Shows(d, 4.0, 8.0, S));
    match person {
        1 => diameters([1.9, 2.0, 2.1, 2.2]),
        2 => diameters([2.35, 2.40, 2.30, 2.35]),
        3 => [Shows(2.0, 4.8, 8.0, S); 4],
        4 => [Shows(2.0, 4.0, 13.0, Z); 4],
        0 | 5 => diameters([2.0; 4]),
        // The others: anything, but the same on every run.
        n => [0, 1, 2, 3].map(|k| {
            let step = |m: usize| ((n * m + k) % 13) as f64 / 12.0;
            Shows(1.5 + step(5), 3.0 + 2.0 * step(7), 5.0 + 12.0 * step(11), if n % 9 == 0 { Z } else { S })
        }),
    }
}

fn class(root: &Path) {
    for folder in ["records", "reports"] {
        fs::create_dir_all(root.join("results").join(folder)).unwrap();
    }
    let results = root.join("results");
    let batch = Batch(&results);
    for (n, person) in PEOPLE.iter().enumerate() {
        for (k, shows) in shown(n).into_iter().enumerate() {
            let name = format!("p{n:02}-{k}.jpg");
            let label = format!("Socks / {person}");
            let whole = report(&name, Some(&label), shows);
            match (n, k) {
                // Damaged files.
                (3, 0) | (17, 2) => batch.photo(&name, None),
                // No ruler in the picture.
                (3, 1) | (5, _) => batch.photo(&name, Some(&without_ruler(whole))),
                // A thumb on the label; the map mends two of them.
                (8, 0) | (9, 3) | (10, 1) => batch.photo(&name, Some(&report(&name, None, shows))),
                // A slip of the pen.
                (11, 0) => batch.photo(&name, Some(&report(&name, Some("Socks / Lubin Oatfeild"), shows))),
                // Never sent.
                (29, _) => {}
                _ => batch.photo(&name, Some(&whole)),
            }
        }
    }
    let roster: String = PEOPLE.iter().map(|p| format!("Socks,{p}\n")).collect();
    fs::write(root.join("roster.csv"), format!("sample,person\n{roster}")).unwrap();
    fs::write(root.join("map.csv"), "photo,sample\np08-0.jpg,Ivo Candlebeck\np09-3.jpg,Socks / Jorund Pease\n")
        .unwrap();
    fs::write(root.join("target.toml"), TARGET).unwrap();
}

#[test]
fn thirty_people_with_four_photos_each_are_marked_by_one_command() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    class(root);
    let done = Command::new(env!("CARGO_BIN_EXE_strandrule"))
        .args(["grade", "results", "--target", "target.toml", "--roster", "roster.csv", "--map", "map.csv"])
        .args(["--out", "marks"])
        .current_dir(root)
        .output()
        .unwrap();
    assert_eq!(done.status.code(), Some(5), "{}", String::from_utf8_lossy(&done.stderr));
    let told: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(told["people"], 30);
    // All but who sent nothing; without a ruler, evenness and direction are left, 2 of 5 weights.
    assert_eq!(told["marked"], 29);
    let spoilt = told["marks"].as_array().unwrap().iter().find(|m| m["sample"] == "Socks / Fenn Larkrise").unwrap();
    assert_eq!((&spoilt["rests_on_percent"], &spoilt["provisional"]), (&40.0.into(), &true.into()));
    assert_eq!(told["without_photo"], serde_json::json!(["Socks / Dorrin Ploughley"]));
    assert_eq!(told["unread"], serde_json::json!(["p10-1.jpg"]));
    assert_eq!(told["not_on_roster"], serde_json::json!(["p11-0.jpg"]));
    assert_eq!(told["failed"], serde_json::json!(["p03-0.jpg", "p17-2.jpg"]));

    let mut sheet = csv::Reader::from_path(root.join("marks/class.csv")).unwrap();
    let header = sheet.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = sheet.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 30);
    let cell = |row: usize, name: &str| {
        let column = header.iter().position(|h| h == name).unwrap();
        rows[row][column].to_owned()
    };
    let photos: usize = (0..30).map(|n| cell(n, "photos").parse::<usize>().unwrap()).sum();
    // 120 less the four never sent, two damaged, one whose label nobody can read and one with a slip of the pen.
    assert_eq!(photos, 112);

    // Worked by hand. A mark is 20 / 5 x (2 x diameter + turns + evenness + direction), each part from 0 to 1.
    let by_hand = [
        // All as asked, four times the same: 20 / 5 x 5.
        ("20.0", "20.0"),
        // Diameters 1.9, 2.0, 2.1, 2.2: mean 2.05, standard deviation sqrt((0.15^2 + 0.05^2 + 0.05^2 + 0.15^2) / 3)
        // = 0.12910, of the mean half of it, 0.06455; Student's t for 3 degrees of freedom 3.1824 (any table): 0.20543.
        // The interval, 1.8446 to 2.2554, holds 2.0: full at the most. Its far end is 0.2554 away: (0.5 - 0.2554) / 0.4 = 0.6115; 4 x (1.2230 + 3) = 16.89.
        ("20.0", "16.9"),
        // 2.35, 2.40, 2.30, 2.35: mean 2.35, sd sqrt(0.005 / 3) = 0.040825, half 0.020412, x 3.1824 = 0.06496. The near
        // end, 2.28504, is 0.28504 away: 0.21496 / 0.4 = 0.5374; 4 x (1.0748 + 3) = 16.30. The far end, 2.41496:
        // 0.08504 / 0.4 = 0.2126; 4 x (0.4252 + 3) = 13.70.
        ("16.3", "13.7"),
        // One damaged, one without a ruler, two that show 4.8 turns: 0.8 away, (1.2 - 0.8) / 0.8 = 0.5;
        // 4 x (2 + 0.5 + 1 + 1) = 18.
        ("18.0", "18.0"),
        // CV 13 %: 3 over, (6 - 3) / (6 - 2) = 0.75; wrong way round: 4 x (2 + 1 + 0.75 + 0) = 15.
        ("15.0", "15.0"),
        // No ruler on any: evenness and direction are as asked, 2 of 5 weights; the rest may be worth nothing or all.
        ("20.0", "8.0"),
    ];
    for (n, (most, least)) in by_hand.into_iter().enumerate() {
        assert_eq!((cell(n, "most_mark").as_str(), cell(n, "least_mark").as_str()), (most, least), "{}", PEOPLE[n]);
        let (rests_on, provisional) = if n == 5 { ("40", "yes") } else { ("100", "no") };
        assert_eq!((cell(n, "rests_on_percent"), cell(n, "provisional")), (rests_on.into(), provisional.into()));
    }
    assert_eq!(cell(1, "diameter_mm_standing"), "cannot-be-told-apart");
    assert_eq!(cell(2, "diameter_mm_standing"), "misses");
    assert_eq!(cell(5, "diameter_mm_standing"), "not-marked");

    let sheet = fs::read_to_string(root.join("marks/class.html")).unwrap();
    assert!(sheet.contains("perhaps Socks / Lubin Oatfield"));
    let mut pages = 0;
    for entry in fs::read_dir(root.join("marks/people")).unwrap() {
        let path = entry.unwrap().path();
        let page = fs::read_to_string(&path).unwrap();
        assert!(sheet.contains(path.file_name().unwrap().to_str().unwrap()), "the sheet links every page");
        assert_eq!(PEOPLE.iter().filter(|p| page.contains(*p)).count(), 1, "a page names one person only");
        pages += 1;
    }
    assert_eq!(pages, 30);
}
