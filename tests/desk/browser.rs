//! The desk in a real browser: Debian's Chromium where it is installed, skipped aloud where it is not. Pictures of what was
//! seen go to `target/desk-seen`, for eyes.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::Value;

use super::driver::{Browser, ENTER, TAB};
use super::wire::Running;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn seen(name: &str) -> PathBuf {
    root().join("target/desk-seen").join(format!("{name}.png"))
}

/// The axe-core checker of accessibility, where `npm` can bring it into `target/`; never part of the project.
fn axe() -> Option<String> {
    let folder = root().join("target/axe");
    let script = folder.join("node_modules/axe-core/axe.min.js");
    if !script.is_file() {
        std::fs::create_dir_all(&folder).ok()?;
        let install = ["install", "--no-save", "--ignore-scripts", "--silent", "--prefix"];
        let _ = Command::new("npm").args(install).arg(&folder).arg("axe-core@4").output();
    }
    let script = std::fs::read_to_string(script).ok();
    if script.is_none() {
        eprintln!("skipped: axe-core could not be had from npm");
    }
    script
}

/// Serious and critical findings of the page as it stands.
fn findings(browser: &Browser, axe: Option<&str>, place: &str) -> Vec<String> {
    let Some(axe) = axe else { return Vec::new() };
    browser.run(axe);
    let found = browser.run(
        "return axe.run(document, {resultTypes: ['violations']}).then((r) => r.violations.filter((v) => ['serious', 'critical'].includes(v.impact)).map((v) => `${v.id}: ${v.nodes.map((n) => n.target.join(' ')).join(', ')}`))",
    );
    found.as_array().unwrap().iter().map(|f| format!("{place}: {}", f.as_str().unwrap())).collect()
}

/// Hosts that were asked anything, and what stands on the console.
fn traffic(browser: &Browser) -> (BTreeSet<String>, Vec<String>) {
    let mut hosts = BTreeSet::new();
    for entry in browser.log("performance") {
        let message: Value = serde_json::from_str(entry["message"].as_str().unwrap()).unwrap();
        if message["message"]["method"] == "Network.requestWillBeSent" {
            let url = message["message"]["params"]["request"]["url"].as_str().unwrap().to_owned();
            if !["data:", "blob:", "about:", "chrome"].iter().any(|own| url.starts_with(own)) {
                hosts.insert(url.split('/').nth(2).unwrap_or_default().to_owned());
            }
        }
    }
    let console = browser.log("browser");
    let errors = console.iter().filter(|e| e["level"] == "SEVERE").map(|e| e["message"].to_string()).collect();
    (hosts, errors)
}

/// Lets a photo go over the page, as a file from another window.
fn drop_on(browser: &Browser, name: &str, bytes: &[u8]) {
    let data = STANDARD.encode(bytes);
    browser.run(&format!(
        "const bytes = Uint8Array.from(atob('{data}'), (c) => c.charCodeAt(0)), held = new DataTransfer(); held.items.add(new File([bytes], '{name}', {{type: 'image/jpeg'}})); document.body.dispatchEvent(new DragEvent('drop', {{dataTransfer: held, bubbles: true, cancelable: true}}))"
    ));
}

/// Where a place of the photo is in the window.
fn on_stage(browser: &Browser, x: f64, y: f64) -> (f64, f64) {
    let at = browser.run(&format!(
        "const s = document.querySelector('.stage'), m = s.querySelector('svg > g').getScreenCTM(), p = new DOMPoint({x}, {y}).matrixTransform(m); return [p.x, p.y]"
    ));
    (at[0].as_f64().unwrap(), at[1].as_f64().unwrap())
}

fn fixture(name: &str) -> String {
    root().join(name).to_str().unwrap().to_owned()
}

/// The id of the only photo of that name, once it is measured.
fn measured(desk: &Running, name: &str) -> Value {
    let photos = desk.settled();
    photos.into_iter().find(|p| p["name"] == name).unwrap()
}

#[test]
fn by_hand_from_the_photo_to_the_figure() {
    let Some(browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let desk = Running::start(folder.path());
    let axe = axe();
    let mut wrong = Vec::new();
    browser.size(1280, 900);
    browser.go(&format!("http://127.0.0.1:{}/", desk.port));
    browser.until("document.querySelector('#files') && document.querySelector('#list')");
    wrong.extend(findings(&browser, axe.as_deref(), "empty"));
    browser.picture(&seen("empty-1280"));

    // Dropped: figures come by themselves.
    let name = "p06-two-ply-z-navy.jpg";
    drop_on(&browser, name, &std::fs::read(fixture(&format!("fixtures/photos/{name}"))).unwrap());
    browser.until("document.querySelector('.words .spoken')?.textContent.includes('two-ply')");
    browser.until("document.querySelector('.stage img').complete && document.querySelector('.stage svg path')");
    browser.picture(&seen("photo-1280"));
    wrong.extend(findings(&browser, axe.as_deref(), "photo"));

    // Touched: the piece is measured alone, said so, and taken back.
    let navy = measured(&desk, name);
    let photo = desk.get(&format!("/api/photos/{}", navy["id"].as_str().unwrap())).json();
    let piece = &photo["sketch"]["pieces"][0];
    let line = piece["line"].as_array().unwrap();
    let middle = &line[line.len() / 2];
    let at = on_stage(&browser, middle[0].as_f64().unwrap(), middle[1].as_f64().unwrap());
    browser.drag(at, at);
    browser.until("document.querySelector('.chips')?.textContent.includes('piece 1 alone')");
    desk.settled();
    browser.click("#back-strand");
    browser.until("!document.querySelector('.chips')");
    desk.settled();

    // A frame, drawn.
    browser.click("[data-tool=frame]");
    let size = photo["size_px"].as_array().unwrap();
    let (w, h) = (size[0].as_f64().unwrap(), size[1].as_f64().unwrap());
    browser.drag(on_stage(&browser, 0.02 * w, 0.02 * h), on_stage(&browser, 0.98 * w, 0.9 * h));
    browser.until("document.querySelector('.chips')?.textContent.includes('only inside')");
    desk.settled();

    // Two points and their distance.
    browser.click("[data-tool=points]");
    let (a, b) = (on_stage(&browser, 0.3 * w, 0.5 * h), on_stage(&browser, 0.6 * w, 0.5 * h));
    browser.drag(a, a);
    browser.drag(b, b);
    browser.write("#distance", "40");
    browser.keys(&[ENTER]);
    browser.until("document.querySelector('.chips')?.textContent.includes('40 mm apart')");
    desk.settled();
    browser.until("document.querySelector('.words').textContent.includes('what you stated')");
    browser.picture(&seen("stated-1280"));

    // Enlarged until single pixels show.
    browser.run("document.querySelector('[data-tool=touch]').click()");
    for _ in 0..12 {
        browser.run("document.querySelector('[aria-label=Enlarge]').click()");
    }
    browser.until("document.querySelector('.stage img').classList.contains('squares')");
    browser.picture(&seen("pixels-1280"));

    // Every place, in both schemes and at three widths.
    for scheme in ["dark", "light"] {
        browser.scheme(scheme);
        for place in ["photos", "samples", "class", "wheel", "cards"] {
            browser.run(&format!("location.hash = '#{place}'"));
            browser.until(&format!("!document.getElementById('{place}').hidden"));
            std::thread::sleep(Duration::from_millis(300));
            wrong.extend(findings(&browser, axe.as_deref(), &format!("{place}, {scheme}")));
            browser.picture(&seen(&format!("{place}-{scheme}-1280")));
        }
    }
    browser.run(&format!("location.hash = '#photo/{}'", navy["id"].as_str().unwrap()));
    browser.until("document.querySelector('.words .spoken')");
    for (width, height) in [(390, 844), (360, 740), (2560, 1300)] {
        browser.size(width, height);
        for scheme in ["light", "dark"] {
            browser.scheme(scheme);
            std::thread::sleep(Duration::from_millis(300));
            wrong.extend(findings(&browser, axe.as_deref(), &format!("photo, {width}, {scheme}")));
            browser.picture(&seen(&format!("photo-{scheme}-{width}")));
        }
        for place in ["photos", "samples", "class", "wheel", "cards"] {
            browser.run(&format!("location.hash = '#{place}'"));
            std::thread::sleep(Duration::from_millis(150));
            let wide = browser.run("return document.documentElement.scrollWidth - innerWidth").as_f64().unwrap();
            assert!(wide <= 0.0, "{place} is {wide} px too wide at {width}");
            browser.picture(&seen(&format!("{place}-{width}")));
        }
        browser.run("history.go(-5)");
        std::thread::sleep(Duration::from_millis(300));
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    let (hosts, errors) = traffic(&browser);
    assert_eq!(hosts.into_iter().collect::<Vec<_>>(), [format!("127.0.0.1:{}", desk.port)]);
    assert!(errors.is_empty(), "{errors:?}");
}

/// A class of six, by hand: roster, target, whose photo is whose, marks, and the sheet.
#[test]
fn a_class_of_six_to_a_printed_sheet() {
    let Some(browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let desk = Running::start(folder.path());
    browser.size(1280, 900);
    browser.go(&format!("http://127.0.0.1:{}/#class", desk.port));
    browser.until("document.querySelectorAll('.asked').length === 2");
    let people =
        ["Anneth Quillfold", "Borrin Saltmarsh", "Cassimer Dray", "Delwyn Ashholt", "Ebba Thornquist", "Fenn Larkrise"];
    let roster: String = people.iter().enumerate().map(|(n, person)| format!("yarn {},{person}\n", n + 1)).collect();
    browser.write("#roster-text", &format!("sample,person\n{roster}"));
    browser.click("#roster button[type=submit]");
    browser.until("document.querySelector('#roster-told').textContent.includes('6 on the roster')");
    browser.run("document.querySelector('.asked .figure').value = 'plies'; document.querySelector('.asked .figure').dispatchEvent(new Event('change'))");
    browser.write(".asked:nth-child(1) .value", "2");
    browser.write(".asked:nth-child(2) .value", "1.2");
    browser.write(".asked:nth-child(2) .within", "0.3");
    browser.click("#target button[type=submit]");
    browser.until("document.querySelector('#target-told').textContent === 'Kept.'");
    let photos = [
        "p03-singles-z-brown",
        "p05-three-ply-s-cream",
        "p06-two-ply-z-navy",
        "p07-singles-s-white",
        "p16-four-ply-s-cream",
        "r03",
    ];
    let paths: Vec<String> = photos.iter().map(|p| fixture(&format!("fixtures/photos/{p}.jpg"))).collect();
    browser.write("#files", &paths.join("\n"));
    browser.until(
        "document.querySelector('#counted').textContent.startsWith('6 photos') || location.hash.startsWith('#photo/')",
    );
    desk.settled();
    for (n, name) in photos.iter().enumerate() {
        let id = measured(&desk, &format!("{name}.jpg"))["id"].as_str().unwrap().to_owned();
        browser.run(&format!("location.hash = '#photo/{id}'"));
        browser.until(&format!(
            "document.querySelector('#n-sample') && document.querySelector('#seen-h').textContent === '{name}.jpg'"
        ));
        browser.write("#n-sample", &format!("yarn {} / {}", n + 1, people[n]));
        browser.keys(&[ENTER]);
        browser.until(&format!("document.querySelector('#seen-h').textContent.includes('{}')", people[n]));
    }
    browser.run("location.hash = '#class'");
    browser.until("document.querySelectorAll('#marks-table tbody tr').length === 6 && !document.querySelector('#marks-table').textContent.includes('no photo')");
    browser.picture(&seen("class-of-six-1280"));
    browser.click("#sheet-write");
    let page = browser.until("document.querySelector('#sheet-open')?.href");
    browser.go(page.as_str().unwrap());
    for person in people {
        browser.until(&format!("document.body.textContent.includes('{person}')"));
    }
    let printed = browser.own("Page.printToPDF", serde_json::json!({}));
    assert!(printed["data"].as_str().unwrap().len() > 10_000);
    browser.picture(&seen("sheet"));
    let (_, errors) = traffic(&browser);
    assert!(errors.is_empty(), "{errors:?}");
}

/// Nothing but keys, from the page's top to a figure that was mended.
#[test]
fn the_keyboard_alone_is_enough() {
    let Some(browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let desk = Running::start(folder.path());
    desk.send("navy.jpg", &std::fs::read(fixture("fixtures/photos/p06-two-ply-z-navy.jpg")).unwrap());
    desk.settled();
    browser.size(1280, 900);
    browser.go(&format!("http://127.0.0.1:{}/", desk.port));
    browser.until("document.querySelector('#list a')");
    let focus_on = |css: &str| {
        for _ in 0..120 {
            if browser.run(&format!("return document.activeElement.matches('{css}')")) == Value::Bool(true) {
                return;
            }
            browser.keys(&[TAB]);
        }
        panic!("the Tab key never reaches {css}");
    };
    // The field for files is reached, and shows that it is.
    focus_on("#files");
    assert_eq!(browser.run("return getComputedStyle(document.querySelector('.take .button')).outlineStyle"), "solid");
    focus_on("#list a");
    browser.keys(&[ENTER]);
    browser.until("document.querySelector('.words .spoken')");
    focus_on(".stage");
    assert_eq!(browser.run("return getComputedStyle(document.querySelector('.cross')).visibility"), "visible");
    // Two points by the cross: where it stands, and forty steps to the right.
    browser.run("document.querySelector('[data-tool=points]').focus()");
    browser.keys(&[ENTER]);
    focus_on(".stage");
    browser.keys(&["+", ENTER]);
    browser.keys(&["\u{e014}"; 4]);
    browser.keys(&[ENTER]);
    browser.until("document.activeElement.id === 'distance'");
    browser.keys(&["2", "0", ENTER]);
    browser.until("document.querySelector('.chips')?.textContent.includes('20 mm apart')");
    desk.settled();
    focus_on("#back-points");
    browser.keys(&[ENTER]);
    browser.until("!document.querySelector('.chips')");
    // A dialog holds the focus, and Escape leaves it.
    focus_on("#close-ask");
    browser.keys(&[ENTER]);
    browser.until("document.querySelector('#close').open");
    browser.keys(&["\u{e00c}"]);
    browser.until("!document.querySelector('#close').open");
}

#[test]
fn the_phones_page_takes_a_photo_and_both_show_its_figures() {
    let Some(browser) = Browser::start() else { return };
    let folder = tempfile::tempdir().unwrap();
    let desk = Running::start(folder.path());
    browser.size(1280, 900);
    browser.go(&format!("http://127.0.0.1:{}/", desk.port));
    browser.until("document.querySelector('#list')");
    browser.click("#phone-ask");
    browser
        .until("document.querySelector('#phone-url').textContent || document.querySelector('#phone-told').textContent");
    let url = browser.run("return document.querySelector('#phone-url').textContent");
    let url = url.as_str().unwrap();
    let axe = axe();
    let mut wrong = findings(&browser, axe.as_deref(), "phone dialog");
    browser.picture(&seen("phone-dialog"));
    browser.size(390, 844);
    browser.go(url);
    browser.until("document.querySelector('#camera')");
    assert_eq!(browser.run("return document.querySelector('#camera').getAttribute('capture')"), "environment");
    browser.write("#files", &fixture("fixtures/photos/p06-two-ply-z-navy.jpg"));
    browser.until("document.querySelector('.told .spoken')?.textContent.includes('two-ply')");
    for scheme in ["light", "dark"] {
        browser.scheme(scheme);
        std::thread::sleep(Duration::from_millis(200));
        wrong.extend(findings(&browser, axe.as_deref(), &format!("phone, {scheme}")));
        browser.picture(&seen(&format!("phone-{scheme}-390")));
    }
    assert!(browser.run("return document.documentElement.scrollWidth - innerWidth").as_f64().unwrap() <= 0.0);
    // The whole paragraph is seen, however long.
    let cut = browser.run("const l = document.querySelector('#list'); return l.scrollHeight - l.clientHeight");
    assert!(cut.as_f64().unwrap() <= 1.0, "{cut} px are cut off");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert_eq!(measured(&desk, "p06-two-ply-z-navy.jpg")["stage"], "measured");
    let (_, errors) = traffic(&browser);
    assert!(errors.is_empty(), "{errors:?}");
}

/// How long the page takes, and a photo from its drop to its figures. Told, and held to bounds so wide that only a fault
/// breaks them: the machine of a check is busy, and its build is no release.
#[test]
fn times_are_told() {
    let Some(browser) = Browser::start() else { return };
    let (folder, scenes) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let drawn = Command::new(env!("CARGO_BIN_EXE_strandrule"))
        .args(["demo", "--scenes", "1", "--seed", "7", "--width", "4000"])
        .arg(scenes.path())
        .output()
        .unwrap();
    assert!(drawn.status.success(), "{}", String::from_utf8_lossy(&drawn.stderr));
    let photo = scenes.path().join("s00007.jpg");
    let desk = Running::start(folder.path());
    browser.go(&format!("http://127.0.0.1:{}/", desk.port));
    browser.until("document.querySelector('#list')");
    let load =
        browser.run("const t = performance.getEntriesByType('navigation')[0]; return t.domContentLoadedEventEnd");
    let began = Instant::now();
    browser.write("#files", photo.to_str().unwrap());
    browser.until("document.querySelector('.words .spoken')");
    let took = began.elapsed();
    let seen = desk.get(&format!("/api/photos/{}", measured(&desk, "s00007.jpg")["id"].as_str().unwrap())).json();
    assert_eq!(seen["size_px"].as_array().unwrap().iter().filter_map(Value::as_u64).product::<u64>(), 12_000_000);
    eprintln!("page: {load} ms; 12 megapixels from the drop to the figures: {took:?}");
    assert!(load.as_f64().unwrap() < 5000.0 && took < Duration::from_secs(60));
}
