//! Attacks on the running program: what is refused, what is bounded, and that nothing received whole is ever lost.

use std::collections::BTreeMap;
use std::io::Write;
use std::net::TcpStream;
use std::path::Path;
use std::time::{Duration, Instant};

use super::wire::{Running, encoded, read, request};
use crate::batch::picture;

fn small(folder: &Path, seed: u32) -> Vec<u8> {
    let path = folder.join(format!("{seed}.png"));
    picture(&path, seed);
    std::fs::read(path).unwrap()
}

/// Every file of a folder whose name is not hidden.
fn files(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let entries = std::fs::read_dir(folder).unwrap().map(Result::unwrap);
    let shown = entries.filter(|e| !e.file_name().to_string_lossy().starts_with('.'));
    shown.map(|e| (e.file_name().to_string_lossy().into_owned(), std::fs::read(e.path()).unwrap())).collect()
}

#[test]
fn nobody_else_is_let_in() {
    let (folder, scratch) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let desk = Running::start(folder.path());
    let photo = small(scratch.path(), 1);
    let port = desk.port;
    let ours = format!("http://127.0.0.1:{port}");
    let mut refused = 0;
    let mut against = |method: &str, path: &str, headers: &[(&str, String)]| {
        let answer = request(port, method, path, headers, if method == "GET" { b"" } else { &photo }).unwrap();
        assert_eq!(answer.status, 403, "{method} {path} {headers:?}: {}", answer.text());
        refused += 1;
    };
    let token = || (strandrule::desk::TOKEN, desk.token.clone());
    // A name that leads here: rebinding.
    for host in [
        "evil.example",
        "evil.example:80",
        "127.0.0.1",
        "127.0.0.1:1",
        "localhost.evil.example",
        "0.0.0.0",
        "",
        "127.0.0.1:80@evil",
    ] {
        let host = if host == "0.0.0.0" { format!("0.0.0.0:{port}") } else { host.to_owned() };
        against("GET", "/", &[("Host", host.clone())]);
        against("GET", "/api/desk", &[("Host", host.clone())]);
        against(
            "POST",
            "/api/photos?name=a.png",
            &[("Host", host.clone()), ("Origin", format!("http://{host}")), token()],
        );
    }
    against("GET", "http://evil.example/api/desk", &[]);
    // Another page of the same browser.
    for origin in ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", "file://", ""] {
        against("POST", "/api/photos?name=a.png", &[("Origin", origin.to_owned()), token()]);
        against("POST", "/api/close", &[("Origin", origin.to_owned()), token()]);
    }
    against("POST", "/api/photos?name=a.png", &[token()]);
    against("POST", "/api/photos?name=a.png", &[("Origin", ours.clone())]);
    for wrong in ["", "0", &desk.token[1..], &format!("{}0", desk.token)] {
        against(
            "POST",
            "/api/photos?name=a.png",
            &[("Origin", ours.clone()), (strandrule::desk::TOKEN, wrong.to_owned())],
        );
        against("DELETE", "/api/phone", &[("Origin", ours.clone()), (strandrule::desk::TOKEN, wrong.to_owned())]);
    }
    against(
        "GET",
        "/api/desk",
        &[("Sec-Fetch-Site", "cross-site".to_owned()), ("Sec-Fetch-Mode", "no-cors".to_owned())],
    );
    assert!(refused > 40, "{refused}");
    eprintln!("{refused} requests of strangers refused");
    assert!(files(&folder.path().join("photos")).is_empty());
    // And the desk's own page is.
    assert_eq!(desk.send("a.png", &photo).status, 200);
    let page = request(port, "GET", "/", &[("Host", format!("localhost:{port}"))], b"").unwrap();
    assert_eq!(page.status, 200);
    // No script or style stands in the page itself (Content Security Policy forbids them).
    let page = page.text();
    assert!(!page.contains("style=") && !page.contains("onclick") && !page.contains("<script>"), "{page}");
}

#[test]
fn what_is_too_large_is_refused_before_it_comes() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Running::start(folder.path());
    let began = Instant::now();
    let mut headers = desk.own();
    headers.push(("Content-Length", "10000000000".to_owned()));
    let answer = request(desk.port, "POST", "/api/photos?name=huge.jpg", &headers, &[7; 1000]);
    assert!(answer.is_none_or(|a| a.status == 413));
    // A small question has a small limit.
    let roster = vec![b'x'; 3 << 20];
    let answer = request(desk.port, "PUT", "/api/class/roster", &desk.own(), &roster);
    assert!(answer.is_none_or(|a| a.status == 413));
    // Headers without end.
    let many: Vec<(&str, String)> = (0..40).map(|_| ("X-Filler", "y".repeat(4096))).collect();
    let answer = request(desk.port, "GET", "/", &many, b"");
    assert!(answer.is_none_or(|a| a.status == 431));
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());
    assert!(files(&folder.path().join("photos")).is_empty());
    assert_eq!(desk.get("/").status, 200);
}

/// The times are the desk's own: ten seconds for the lines before a body, twenty without any piece of it.
#[test]
fn who_says_nothing_loses_the_place() {
    let folder = tempfile::tempdir().unwrap();
    let desk = Running::start(folder.path());
    let began = Instant::now();
    let mut silent = TcpStream::connect(("127.0.0.1", desk.port)).unwrap();
    silent.write_all(b"GET / HTTP/1.1\r\nHost: 127.").unwrap();
    let own: String = desk.own().iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
    let slow: Vec<TcpStream> = (0..20)
        .map(|n| {
            let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).unwrap();
            let head = format!("POST /api/photos?name=slow{n}.jpg HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n{own}Content-Length: 100000\r\n\r\n", desk.port);
            stream.write_all(head.as_bytes()).unwrap();
            stream.write_all(&[1; 1000]).unwrap();
            stream
        })
        .collect();
    // More than there are places for, and the page answers all the same.
    assert_eq!(desk.get("/api/desk").status, 200);
    assert!(read(silent).is_none_or(|a| a.status == 408 || a.status == 400));
    assert!(began.elapsed() < Duration::from_secs(20), "{:?}", began.elapsed());
    for stream in slow {
        stream.set_read_timeout(Some(Duration::from_secs(90))).unwrap();
        assert!(read(stream).is_none_or(|a| a.status == 408));
    }
    assert!(files(&folder.path().join("photos")).is_empty());
    let left: Vec<_> = std::fs::read_dir(folder.path().join("photos")).unwrap().collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn two_hundred_at_once_all_arrive() {
    let (folder, scratch) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let desk = Running::start(folder.path());
    let photos: Vec<Vec<u8>> = (0..8).map(|seed| small(scratch.path(), seed)).collect();
    let taken = std::thread::scope(|scope| {
        let hands: Vec<_> = (0..200u32)
            .map(|n| {
                let (desk, photos) = (&desk, &photos);
                // Whatever follows a PNG's end makes another file of the same picture.
                scope.spawn(move || {
                    let photo = [photos[n as usize % 8].as_slice(), &n.to_le_bytes()].concat();
                    desk.send("same name.png", &photo).status
                })
            })
            .collect();
        hands.into_iter().map(|h| h.join().unwrap()).filter(|status| *status == 200).count()
    });
    assert_eq!(taken, 200);
    assert_eq!(files(&folder.path().join("photos")).len(), 200);
    assert_eq!(desk.get("/api/desk").json()["photos"].as_array().unwrap().len(), 200);
}

/// Killed twenty times while photos come: each that was acknowledged is there whole, nothing half is there, and what was
/// not measured is measured when the desk is opened again.
#[test]
fn killed_while_receiving_nothing_whole_is_lost() {
    let (folder, scratch) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let place = folder.path().join("photos");
    let mut acknowledged = BTreeMap::new();
    let mut whole = Vec::new();
    let mut cut = 0;
    for round in 0..20u32 {
        let mut desk = Running::start(folder.path());
        let quick = small(scratch.path(), round);
        let slow: Vec<u8> = [small(scratch.path(), 100 + round), vec![round as u8; 200_000]].concat();
        whole.extend([quick.clone(), slow.clone()]);
        let own: String = desk.own().iter().map(|(name, value)| format!("{name}: {value}\r\n")).collect();
        let mut stream = TcpStream::connect(("127.0.0.1", desk.port)).unwrap();
        let head = format!(
            "POST /api/photos?name=slow{round}.png HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n{own}Content-Length: {}\r\n\r\n",
            desk.port,
            slow.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        // The kill comes after another part of it each time, at the end after all of it.
        let part = slow.len() * (round as usize + 1) / 20;
        stream.write_all(&slow[..part]).unwrap();
        if desk.send(&format!("quick{round}.png"), &quick).status == 200 {
            acknowledged.insert(format!("quick{round}.png"), quick);
        }
        std::thread::sleep(Duration::from_millis(u64::from(round) * 3));
        desk.kill();
        if read(stream).is_some_and(|a| a.status == 200) {
            acknowledged.insert(format!("slow{round}.png"), slow);
        } else {
            cut += 1;
        }
        let there = files(&place);
        for (name, bytes) in &acknowledged {
            assert_eq!(there.get(name), Some(bytes), "{name} after kill {round}");
        }
        for (name, bytes) in &there {
            assert!(whole.contains(bytes), "{name} is half after kill {round}");
        }
    }
    eprintln!("killed 20 times: {} photos acknowledged and there, {cut} cut off and not", acknowledged.len());
    assert!(acknowledged.len() >= 20 && cut >= 15, "{} acknowledged, {cut} cut", acknowledged.len());
    let desk = Running::start(folder.path());
    let photos = desk.settled();
    assert_eq!(photos.len(), files(&place).len());
    assert!(photos.iter().all(|p| p["stage"] == "measured"), "{photos:?}");
    let hidden = std::fs::read_dir(&place)
        .unwrap()
        .filter(|e| e.as_ref().unwrap().file_name().to_string_lossy().starts_with('.'));
    assert_eq!(hidden.count(), 0);
}

#[test]
fn the_phones_door_is_shut_until_asked_for_and_needs_its_secret() {
    let folder = tempfile::tempdir().unwrap();
    let mut desk = Running::start(folder.path());
    assert_eq!(desk.get("/api/desk").json()["phone"], serde_json::Value::Null);
    let on = desk.change("POST", "/api/phone", b"");
    let url = on.json()["url"].as_str().unwrap().to_owned();
    let (host, secret) = url.trim_start_matches("http://").trim_end_matches('/').split_once('/').unwrap();
    let ask = |path: &str, host_header: &str| {
        let mut stream = TcpStream::connect(host).ok()?;
        let head = format!("GET {path} HTTP/1.1\r\nHost: {host_header}\r\nConnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).ok()?;
        read(stream)
    };
    assert_eq!(ask(&format!("/{secret}/"), host).unwrap().status, 200);
    assert_eq!(ask(&format!("/{secret}/"), "evil.example").unwrap().status, 403);
    for path in ["/", "/api/desk", &format!("/{}/", "0".repeat(secret.len())), &format!("/{}/", &secret[..31])] {
        assert_eq!(ask(path, host).unwrap().status, 403, "{path}");
    }
    // What the desk can do, the phone's door cannot.
    for path in [
        format!("/{secret}/api/desk"),
        format!("/{secret}/../api/desk"),
        format!("/{secret}/photos/{}/overlay", encoded("x")),
    ] {
        assert_eq!(ask(&path, host).unwrap().status, 404, "{path}");
    }
    assert_eq!(desk.change("DELETE", "/api/phone", b"").status, 200);
    assert!(ask(&format!("/{secret}/"), host).is_none());
    // It ends with the desk too.
    desk.change("POST", "/api/phone", b"");
    assert_eq!(desk.change("POST", "/api/close", b"").status, 200);
    assert!(desk.ended());
}
