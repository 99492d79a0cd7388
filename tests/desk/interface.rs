//! The interface, asked without a socket.

use std::path::Path;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, Response, StatusCode};
use serde_json::{Value, json};
use strandrule::desk::{self, Listening, Options, TOKEN};
use tower::ServiceExt;

use super::wire::encoded;

struct Desk {
    folder: tempfile::TempDir,
    listening: Listening,
    router: Router,
    host: String,
    runtime: tokio::runtime::Runtime,
}

impl Desk {
    fn open() -> Self {
        Self::on(tempfile::tempdir().unwrap())
    }

    fn on(folder: tempfile::TempDir) -> Self {
        let options = Options { folder: folder.path().to_owned(), ..Options::default() };
        // A desk that was closed ends its threads after the photo that they are at.
        let opened = (0..200).find_map(|_| {
            let opened = desk::open(options.clone()).ok();
            if opened.is_none() {
                std::thread::sleep(Duration::from_millis(100));
            }
            opened
        });
        let listening = opened.unwrap();
        listening.start().unwrap();
        let host = listening.url().trim_start_matches("http://").trim_end_matches('/').to_owned();
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
        Self { router: listening.router(), listening, host, folder, runtime }
    }

    fn answer(&self, request: Request<Body>) -> Response<Body> {
        self.runtime.block_on(self.router.clone().oneshot(request)).unwrap()
    }

    fn body(&self, response: Response<Body>) -> (StatusCode, Vec<u8>) {
        let (parts, body) = response.into_parts();
        (parts.status, self.runtime.block_on(to_bytes(body, 64 << 20)).unwrap().to_vec())
    }

    fn ask(&self, method: &str, path: &str, body: impl Into<Body>) -> (StatusCode, Value) {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", &self.host)
            .header("origin", format!("http://{}", self.host))
            .header(TOKEN, self.listening.token())
            .header("content-type", "application/json")
            .body(body.into())
            .unwrap();
        let (status, bytes) = self.body(self.answer(request));
        (status, serde_json::from_slice(&bytes).unwrap_or(Value::Null))
    }

    fn get(&self, path: &str) -> Value {
        let (status, answer) = self.ask("GET", path, Body::empty());
        assert_eq!(status, StatusCode::OK, "{path}: {answer}");
        answer
    }

    #[track_caller]
    fn change(&self, method: &str, path: &str, body: &Value) -> Value {
        let (status, answer) = self.ask(method, path, body.to_string());
        assert_eq!(status, StatusCode::OK, "{path}: {answer}");
        answer
    }

    fn send(&self, name: &str, bytes: Vec<u8>) -> String {
        let (status, answer) = self.ask("POST", &format!("/api/photos?name={}", encoded(name)), bytes);
        assert_eq!(status, StatusCode::OK, "{answer}");
        answer["id"].as_str().unwrap().to_owned()
    }

    fn settled(&self) -> Vec<Value> {
        for _ in 0..1800 {
            let photos = self.get("/api/desk")["photos"].as_array().unwrap().clone();
            if photos.iter().all(|p| p["stage"] != "waiting" && p["stage"] != "measuring") {
                return photos;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("photos are still waiting");
    }
}

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)).unwrap()
}

fn navy() -> Vec<u8> {
    fixture("photos/p06-two-ply-z-navy.jpg")
}

#[test]
fn a_photo_becomes_words_and_figures() {
    let desk = Desk::open();
    let id = desk.send("navy.jpg", navy());
    let photos = desk.settled();
    assert_eq!((photos[0]["name"].as_str(), photos[0]["stage"].as_str()), (Some("navy.jpg"), Some("measured")));
    let seen = desk.get(&format!("/api/photos/{id}"));
    let spoken = seen["words"]["paragraph"]["metric"].as_str().unwrap();
    // The fixture's truth, drawn apart from the program: two plies, Z.
    assert!(spoken.contains("two-ply") && spoken.contains("twisted Z") && spoken.contains(" mm thick"), "{spoken}");
    let imperial = seen["words"]["paragraph"]["imperial"].as_str().unwrap();
    assert!(imperial.contains(" in thick") && !imperial.contains(" mm"), "{imperial}");
    let report: Value =
        serde_json::from_slice(&std::fs::read(desk.folder.path().join(format!("reports/{id}.json"))).unwrap()).unwrap();
    let mm = report["sample"]["diameter_mm"]["value"].as_f64().unwrap();
    let figures = seen["words"]["figures"].as_array().unwrap();
    let of = |key: &str| figures.iter().find(|f| f["key"] == key).unwrap();
    let number = |text: &Value| text.as_str().unwrap().split(' ').next().unwrap().parse::<f64>().unwrap();
    let thick = of("diameter_mm");
    // A shown figure is the report's, rounded to what its interval supports: within half of it.
    let ends = report["sample"]["diameter_mm"]["interval95"].as_array().unwrap();
    let half = (ends[1].as_f64().unwrap() - ends[0].as_f64().unwrap()) / 2.0;
    assert!((number(&thick["metric"]["value"]) - mm).abs() < half, "{thick}");
    // Source: international inch of 1959, 25.4 mm exactly.
    assert!((number(&thick["imperial"]["value"]) * 25.4 - mm).abs() < half, "{thick}");
    assert!(!seen["sketch"]["pieces"].as_array().unwrap().is_empty());
    assert!(seen["plots"].as_array().unwrap().len() > 1);
    for picture in ["photo", "overlay", "strand", "near", "report", "page"] {
        let request =
            Request::get(format!("/api/photos/{id}/{picture}")).header("host", &desk.host).body(Body::empty());
        let (status, bytes) = desk.body(desk.answer(request.unwrap()));
        assert!(status == StatusCode::OK && bytes.len() > 1000, "{picture}: {status}");
    }
}

/// The ends of the photo's longest piece, touched as two points, and back again.
#[test]
fn what_is_stated_is_measured_at_once_kept_and_taken_back() {
    let desk = Desk::open();
    let id = desk.send("navy.jpg", navy());
    desk.settled();
    let place = format!("/api/photos/{id}");
    let plain = desk.get(&place);
    let stated = json!({"points": {"from": [100.0, 100.0], "to": [600.0, 100.0], "distance_mm": 50.0}, "plies": 3});
    desk.change("PUT", &format!("{place}/stated"), &stated);
    desk.settled();
    let seen = desk.get(&place);
    assert_eq!(seen["stated"]["plies"], 3);
    assert_eq!(seen["scale"], "stated");
    assert!(seen["words"]["paragraph"]["metric"].as_str().unwrap().contains("three-ply"));
    // 500 px for 50 mm: ten to the millimetre (worked by hand).
    let text = std::fs::read_to_string(desk.folder.path().join(format!("reports/{id}.json"))).unwrap();
    let report: Value = serde_json::from_str(&text).unwrap();
    let px_per_mm = report["scale"]["px_per_mm"]["value"].as_f64().unwrap();
    assert!((px_per_mm - 10.0).abs() < 0.1, "{px_per_mm}");
    desk.change("PUT", &format!("{place}/stated"), &json!({}));
    desk.settled();
    let back = desk.get(&place);
    assert_eq!(back["words"], plain["words"]);
    assert!(!desk.folder.path().join(format!("stated/{id}.json")).exists());
    let (status, answer) = desk.ask("PUT", &format!("{place}/stated"), json!({"plies": 99}).to_string());
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer["error"].as_str().unwrap().contains("1 to 12"), "{answer}");
}

/// What the desk leaves, `batch` finds unchanged; what `batch` leaves, the desk shows.
#[test]
fn desk_and_batch_go_on_where_the_other_stopped() {
    let desk = Desk::open();
    let id = desk.send("navy.jpg", navy());
    desk.settled();
    desk.change("PUT", &format!("/api/photos/{id}/stated"), &json!({"plies": 2}));
    desk.change("PUT", "/api/samples", &json!({"photos": [id], "sample": "moss"}));
    desk.settled();
    let Desk { folder, listening, router, runtime, .. } = desk;
    drop((listening, router, runtime));
    let batch = || {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_strandrule"));
        command.current_dir(folder.path()).args(["batch", "photos", "--out", ".", "--map", "map.csv"]);
        let told = String::from_utf8(command.output().unwrap().stderr).unwrap();
        let report: Value =
            serde_json::from_slice(&std::fs::read(folder.path().join(format!("reports/{id}.json"))).unwrap()).unwrap();
        (told, report)
    };
    // Another program than the one that runs these tests: it measures again, with what was stated.
    let (_, report) = batch();
    let codes: Vec<&str> = report["warnings"].as_array().unwrap().iter().map(|w| w["code"].as_str().unwrap()).collect();
    assert!(codes.contains(&"plies-stated"), "{codes:?}");
    assert!(batch().0.contains("1 unchanged"));
    let samples = std::fs::read_to_string(folder.path().join("samples.csv")).unwrap();
    assert!(samples.contains("moss"), "{samples}");
    let desk = Desk::on(folder);
    let photos = desk.settled();
    assert_eq!((photos[0]["sample"].as_str(), photos[0]["stated"].as_bool()), (Some("moss"), Some(true)));
}

#[test]
fn the_same_photo_twice_is_one_and_two_of_one_name_are_two() {
    let desk = Desk::open();
    let first = desk.send("yarn.jpg", navy());
    assert_eq!(desk.send("again.jpg", navy()), first);
    let other = desk.send("yarn.jpg", fixture("photos/p07-singles-s-white.jpg"));
    assert_ne!(other, first);
    let names: Vec<String> = desk.settled().iter().map(|p| p["name"].as_str().unwrap().to_owned()).collect();
    assert_eq!(names.len(), 2, "{names:?}");
    assert_eq!(std::fs::read_dir(desk.folder.path().join("photos")).unwrap().count(), 2);
}

#[test]
fn a_photo_that_cannot_be_read_says_why_and_stops_no_other() {
    let desk = Desk::open();
    let whole = navy();
    desk.send("half.jpg", whole[..whole.len() / 2].to_vec());
    desk.send("phone.heic", fixture("bad/phone.heic"));
    let good = desk.send("whole.jpg", whole);
    let photos = desk.settled();
    let why =
        |name: &str| photos.iter().find(|p| p["name"] == name).unwrap()["why"].as_str().unwrap_or_default().to_owned();
    assert!(why("half.jpg").contains("damaged"), "{}", why("half.jpg"));
    assert!(!why("phone.heic").is_empty() && !why("phone.heic").contains("--"), "{}", why("phone.heic"));
    assert!(photos.iter().any(|p| p["id"] == good.as_str() && p["stage"] == "measured"));
}

#[test]
fn names_with_markup_and_dots_are_names() {
    let desk = Desk::open();
    for (n, name) in ["../../x.jpg", "<script>alert(1)</script>.jpg", "..\\..\\y.jpg", "/etc/passwd", "\u{202e}gpj.exe"]
        .iter()
        .enumerate()
    {
        let mut bytes = navy();
        bytes.extend_from_slice(&n.to_le_bytes());
        desk.send(name, bytes);
    }
    let photos = desk.settled();
    assert_eq!(photos.len(), 5);
    assert_eq!(std::fs::read_dir(desk.folder.path().join("photos")).unwrap().count(), 5);
    for photo in &photos {
        let name = photo["name"].as_str().unwrap();
        assert!(!name.contains(['/', '\\', '<', '>', '\u{202e}']) && !name.starts_with('.'), "{name}");
    }
    for address in [
        "/sheets/marks/..%2F..%2Fmap.csv",
        "/sheets/marks/%2e%2e/map.csv",
        "/sheets/../map.csv",
        "/api/photos/..%2Fx/photo",
    ] {
        let (status, _) = desk.ask("GET", address, Body::empty());
        assert_eq!(status, StatusCode::NOT_FOUND, "{address}");
    }
}

#[test]
fn a_class_is_marked_as_photos_come() {
    let desk = Desk::open();
    let (status, answer) = desk.ask("PUT", "/api/class/roster", "sample,person\n=1+1,Ivo\n");
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer["error"].as_str().unwrap().contains("Row 2"), "{answer}");
    let (status, people) =
        desk.ask("PUT", "/api/class/roster", "sample\tperson\nnavy\tMarisk Tarn\nsinging\tIvo Candlebeck\n");
    assert_eq!((status, people), (StatusCode::OK, json!(2)));
    let target = json!({"title": "Week 3", "out_of": 20.0, "criteria": [
        {"figure": "plies", "value": 2, "weight": 1.0},
        {"figure": "twist_direction", "value": "Z", "weight": 1.0},
    ]});
    desk.change("PUT", "/api/class/target", &target);
    assert_eq!(desk.get("/api/class")["rows"].as_array().unwrap().len(), 2, "before any photo");
    let id = desk.send("a.jpg", navy());
    desk.settled();
    let astray = desk.get("/api/class");
    assert_eq!((astray["astray"].as_array().unwrap().len(), astray["marked"].as_u64()), (1, Some(0)));
    desk.change("PUT", "/api/samples", &json!({"photos": [id], "sample": "navy / Marisk Tarn"}));
    let class = desk.get("/api/class");
    // Worked by hand: both criteria are met, so 20 of 20 (a two-ply yarn twisted Z).
    assert_eq!(class["marked"], 1, "{class}");
    let row = class["rows"].as_array().unwrap().iter().find(|r| r["person"] == "Marisk Tarn").unwrap();
    assert!(row["mark"]["total"].as_str().unwrap().starts_with("20"), "{row}");
    let written = desk.change("POST", "/api/class/sheet", &json!(null));
    let request =
        Request::get(written["page"].as_str().unwrap()).header("host", &desk.host).body(Body::empty()).unwrap();
    let (status, page) = desk.body(desk.answer(request));
    assert!(status == StatusCode::OK && String::from_utf8(page).unwrap().contains("Marisk Tarn"));
    let pdf = Request::get("/cards.pdf?class=true").header("host", &desk.host).body(Body::empty()).unwrap();
    assert!(desk.body(desk.answer(pdf)).1.starts_with(b"%PDF"));
}

#[test]
fn samples_are_told_together_compared_planned_and_shown() {
    let desk = Desk::open();
    let (a, b) = (desk.send("a.jpg", navy()), desk.send("b.jpg", fixture("photos/p07-singles-s-white.jpg")));
    desk.settled();
    let (status, answer) = desk.ask("PUT", "/api/samples", json!({"photos": [a], "sample": "=cmd()"}).to_string());
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{answer}");
    desk.change("PUT", "/api/samples", &json!({"photos": [a], "sample": "moss & \"fern\""}));
    let told = desk.get(&format!("/api/samples?of={}", encoded("sample:moss & \"fern\"")));
    assert_eq!((told["photos"].as_u64(), told["name"].as_str()), (Some(1), Some("moss & \"fern\"")));
    let both = desk.get(&format!("/api/compare?first={}&second=photo:{b}", encoded("sample:moss & \"fern\"")));
    assert!(!both["sentences"].as_array().unwrap().is_empty());
    let plan = json!({"of": format!("photo:{b}"), "ply": 2, "ratios": [7.5]});
    let (status, plan) = desk.ask("POST", "/api/plan", plan.to_string());
    assert!(status == StatusCode::OK || plan["error"].is_string(), "{plan}");
    // Source: Tex = g/km (ISO 1144): 60 g on 232 m are 258.6 tex, worked by hand.
    let weighed =
        desk.change("POST", "/api/plan", &json!({"of": null, "ratios": [], "skein_m": 232.0, "skein_g": 60.0}));
    assert!(
        weighed["sentences"].to_string().contains("258.6") || weighed["sentences"].to_string().contains("259"),
        "{weighed}"
    );
    let written = desk.change("POST", "/api/portfolio", &json!({"title": "Book"}));
    let request =
        Request::get(written["page"].as_str().unwrap()).header("host", &desk.host).body(Body::empty()).unwrap();
    let page = String::from_utf8(desk.body(desk.answer(request)).1).unwrap();
    assert!(page.contains("moss &amp; &quot;fern&quot;"), "{}", &page[..400]);
}

#[test]
fn a_photo_is_stopped_begun_again_and_put_away() {
    let desk = Desk::open();
    let ids: Vec<String> = (0..6u8)
        .map(|n| {
            let mut bytes = navy();
            bytes.push(n);
            desk.send(&format!("{n}.jpg"), bytes)
        })
        .collect();
    let last = ids.last().unwrap();
    let stage = |id: &str| desk.settled().iter().find(|p| p["id"] == id).map(|p| p["stage"].clone());
    // One that waits, and one that is on a thread.
    let now = || desk.get("/api/desk")["photos"].as_array().unwrap().clone();
    let measuring = (0..2000).find_map(|_| {
        std::thread::sleep(std::time::Duration::from_millis(1));
        now().iter().find(|p| p["stage"] == "measuring" && p["id"] != last.as_str()).map(|p| p["id"].clone())
    });
    let measuring = measuring.expect("two seconds are enough to begin").as_str().unwrap().to_owned();
    for id in [&measuring, last] {
        assert_eq!(desk.change("POST", &format!("/api/photos/{id}/stop"), &json!(null)), json!(true));
    }
    for id in [&measuring, last] {
        assert_eq!(stage(id), Some(json!("stopped")));
        for made in ["records", "reports"] {
            assert!(!desk.folder.path().join(made).join(format!("{id}.json")).exists(), "{made} of {id}");
        }
    }
    assert_eq!(desk.change("POST", &format!("/api/photos/{last}/stop"), &json!(null)), json!(false));
    assert_eq!(now().iter().filter(|p| p["stage"] == "measured").count(), ids.len() - 2);
    desk.change("POST", &format!("/api/photos/{last}/again"), &json!(null));
    assert_eq!(stage(last), Some(json!("measured")));
    desk.change("DELETE", &format!("/api/photos/{last}"), &json!(null));
    assert_eq!(stage(last), None);
    let removed: Vec<_> = std::fs::read_dir(desk.folder.path().join("removed")).unwrap().collect();
    assert_eq!(removed.len(), 1);
    assert!(!desk.folder.path().join(format!("records/{last}.json")).exists());
}

#[test]
fn a_folder_is_on_one_desk_at_a_time() {
    let desk = Desk::open();
    let again = desk::open(Options { folder: desk.folder.path().to_owned(), ..Options::default() });
    assert!(again.unwrap_err().to_string().contains("another desk"));
}

/// A double click gives no arguments. No browser is found here: the search path is empty.
#[test]
fn without_arguments_the_program_is_the_desk() {
    let home = tempfile::tempdir().unwrap();
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_strandrule"));
    command.env("HOME", home.path()).env_remove("XDG_CONFIG_HOME").env("PATH", home.path());
    let mut desk = super::wire::Running::of(&mut command);
    assert!(desk.get("/").text().contains("Pick photos"));
    assert!(home.path().join("Pictures/strandrule/photos").is_dir());
    assert_eq!(desk.change("POST", "/api/close", b"").status, 200);
    assert!(desk.ended());
}
