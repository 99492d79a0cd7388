use strandrule::base::geometry::{Image, Point};
use strandrule::figures::report::TwistDirection;
use strandrule::figures::*;
use strandrule::measure::scale::*;
use strandrule::measure::strand::*;
use strandrule::measure::twist::*;
use strandrule::measure::*;
fn main() {
    let name = std::env::args().nth(1).unwrap();
    let path = std::path::PathBuf::from(&name);
    let ph = photo::read(&path, &photo::Limits::default()).unwrap();
    let t: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(path.with_extension("json")).unwrap()).unwrap();
    let f = |v: &serde_json::Value| v.as_f64().unwrap_or(0.0);
    let plies = t["yarn"]["plies"].as_u64().unwrap() as u32;
    let mut pieces = vec![];
    let mut tw = vec![];
    let strands = t["strands"].as_array().unwrap();
    let px = f(&strands[0]["px_per_mm_across_at_axis"]);
    for (k, s) in strands.iter().enumerate() {
        let p = &s["profile"];
        let g = |n: &str| p[n].as_array().unwrap().iter().map(f).collect::<Vec<_>>();
        let (xs, ys, w, tpi) = (g("px_display_x"), g("px_display_y"), g("width_mm"), g("tpi"));
        let on: Vec<bool> = p["used_in_means"].as_array().unwrap().iter().map(|b| b.as_bool().unwrap()).collect();
        let oncard: Vec<bool> = p["on_card"].as_array().unwrap().iter().map(|b| b.as_bool().unwrap()).collect();
        // resample at 1 px
        let mut st = vec![];
        let mut angles = vec![];
        let mut turns = vec![];
        let mut turn = 0.0;
        let mut bumps = vec![];
        for i in 0..xs.len() - 1 {
            let a: Point<Image> = Point::new(xs[i], ys[i]);
            let b = Point::new(xs[i + 1], ys[i + 1]);
            let n = a.distance(b).round().max(1.0) as usize;
            for j in 0..n {
                let c = a.lerp(b, j as f64 / n as f64);
                let tan = (b - a).unit().unwrap();
                let half = w[i] * px / 2.0;
                st.push(Station {
                    centre: c,
                    normal: tan.quarter_turn(),
                    left: Edge { offset_px: -half, u_px: 0.3 },
                    right: Edge { offset_px: half, u_px: 0.3 },
                    hair_cover_px: 0.5,
                    left_out: if on[i] {
                        None
                    } else if !oncard[i] {
                        Some(LeftOutWhy::OffCard)
                    } else {
                        Some(LeftOutWhy::Kink)
                    },
                });
                let per_px = tpi[i].abs() / 25.4 / px;
                angles.push(Some(
                    (2.0 * std::f64::consts::PI * (half / if plies > 1 { 2.0 } else { 1.0 }) * per_px).atan(),
                ));
                let before: f64 = turn;
                turn += per_px;
                turns.push(Some(turn));
                if plies > 1 && (turn * plies as f64).floor() > (before * plies as f64).floor() {
                    bumps.push(Point::new(st.len() as f64 - 1.0, 60.0 - half));
                }
            }
        }
        let w0 = f(&t["yarn"]["width_mm"]["mean"]) * px;
        let strip = Strip::straighten(&ph.rgb, &st, 1.0, (w0 * 1.5).max(20.0));
        for b in &mut bumps {
            *b = Point::new(b.x, strip.middle_row + (b.y - 60.0));
        }
        let chosen = k != 1;
        pieces.push(Strand {
            number: k as u32 + 1,
            chosen,
            step_px: 1.0,
            stations: st,
            strip,
            edge_systematic_u_px: 0.3,
            blur_px: 0.8,
            kinks: vec![],
        });
        if chosen {
            tw.push(StrandTwist {
                strand: k as u32 + 1,
                angle_rad: angles,
                turns: if plies > 1 { turns } else { vec![] },
                mean_angle_rad: Some(Estimate { value: 0.5, u: 0.02 }),
                turns_relative_u: 0.01,
                bumps,
                fibre_angle_rad: Err(Reason::FibresNotVisible),
                ply_angles_rad: None,
            });
        }
    }
    let corners: Vec<Point<Image>> =
        t["card"]["corners_px_display"].as_array().unwrap().iter().map(|c| Point::new(f(&c[0]), f(&c[1]))).collect();
    let mid = ph.middle();
    let map = PlaneMap::stated(StatedScale::DotsPerInch(px * 25.4), mid).unwrap();
    let ticks = (0..60)
        .map(|i| {
            let q = corners[0].lerp(corners[1], 0.1 + i as f64 * 0.012);
            let n = (corners[3] - corners[0]).unit().unwrap();
            TickSeen {
                foot: q + n * 12.0,
                tip: q + n * (12.0 + if i % 10 == 0 { 60.0 } else { 30.0 }),
                place_mm: if i % 17 == 5 { None } else { Some(i as f64) },
            }
        })
        .collect();
    let ev = pipeline::Evidence {
        scale: ScaleFound {
            scale: Scale::Known(Box::new(KnownScale { method: Method::RulerMm, map, tilt_deg: Some((3.0, 1.0)) })),
            rulers: vec![
                RulerSeen { number: 1, chosen: true, unit: Some(RulerUnit::Mm), ticks, area: vec![] },
                RulerSeen {
                    number: 2,
                    chosen: false,
                    unit: None,
                    ticks: vec![],
                    area: vec![
                        corners[3],
                        corners[2],
                        corners[2] + Point::new(0.0, -90.0),
                        corners[3] + Point::new(0.0, -90.0),
                    ],
                },
            ],
            card_outline: Some(corners),
        },
        strands: Strands {
            arrangement: Arrangement::Separate,
            pieces,
            wraps: None,
            refused: vec![Refused {
                outline: vec![Point::new(200.0, 200.0), Point::new(500.0, 250.0), Point::new(450.0, 400.0)],
                why: "too straight and stiff",
            }],
            reason: None,
        },
        twist: Twist {
            direction: Ok((if t["yarn"]["direction"] == "S" { TwistDirection::S } else { TwistDirection::Z }, 0.99)),
            plies: Ok((plies, 0.98)),
            plies_stated: false,
            angle_reason: Reason::TwistNotVisible,
            turns_reason: Reason::TwistNotVisible,
            pieces: tw,
        },
    };
    let rq = pipeline::Request::default();
    let rep = pipeline::report(&ph, &rq, &ev);
    print!("{}", strandrule::show::summary::text(&rep));
    let t0 = std::time::Instant::now();
    let png = strandrule::show::overlay::png(&ph, &rq, &rep, &ev).unwrap();
    eprintln!("{:?} {} bytes", t0.elapsed(), png.len());
    std::fs::write(std::env::args().nth(2).unwrap(), png).unwrap();
}
