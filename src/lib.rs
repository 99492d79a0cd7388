//! Measures yarn from a photo: diameter, wraps per inch, twist direction and angle, twists per inch, plies and
//! evenness, each with its 95 % interval or the reason why the photo does not support an answer.
//!
//! The rooms, and the one direction in which they may use each other:
//! `base | card figures | measure | show | work | desk | cli`; `synth` sees `base` and `card` only. All but the last two
//! can stand in a browser (wasm32).
//!
//! # From a photo to figures
//!
//! [`measure::pipeline::measure`] runs all stages once and gives the report and what it rests on:
//!
//! ```
//! use strandrule::figures::report::TwistDirection;
//! use strandrule::measure::photo::{self, Limits};
//! use strandrule::measure::pipeline::{Params, Request, measure};
//!
//! let photo = photo::read("fixtures/photos/p06-two-ply-z-navy.jpg".as_ref(), &Limits::default())?;
//! let measured = measure(&photo, &Request::default(), &Params::default());
//! let sample = &measured.report.sample;
//! assert_eq!(sample.twist_direction.value(), Some(&TwistDirection::Z));
//! if let (Some(mm), Some([low, high])) = (sample.diameter_mm.value(), sample.diameter_mm.interval95()) {
//!     println!("{mm:.2} mm ({low:.2} to {high:.2})");
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # One stage at a time
//!
//! **Photo**: a file's bytes become a picture as displayed; what is damaged, truncated or too large is an error.
//!
//! ```
//! use strandrule::measure::photo::{self, Limits, PhotoError};
//!
//! let limits = Limits { max_megapixels: 50, ..Limits::default() };
//! let bytes = std::fs::read("fixtures/photos/p06-two-ply-z-navy.jpg")?;
//! let half = bytes[..bytes.len() / 2].to_vec();
//! let photo = photo::decode("yarn.jpg".as_ref(), bytes, &limits)?;
//! assert!(photo.rgb.width() > 1000);
//! let refused = photo::decode("yarn.jpg".as_ref(), half, &limits);
//! assert!(matches!(refused, Err(PhotoError::Damaged { .. })));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! **Scale**: from pixels to millimetres on the ruler's plane, or the reason why not.
//!
//! ```
//! # use strandrule::measure::photo::{self, Limits};
//! use strandrule::measure::scale::{Scale, ScaleParams, ScaleRequest, StatedScale, find_scale};
//!
//! # let photo = photo::read("fixtures/photos/p06-two-ply-z-navy.jpg".as_ref(), &Limits::default())?;
//! let found = find_scale(&photo, &ScaleRequest::default(), &ScaleParams::default());
//! match &found.scale {
//!     Scale::Known(known) => println!("from the {:?}", known.method),
//!     Scale::Unknown(reason) => println!("{}", reason.message()),
//! }
//! let scan = ScaleRequest { stated: Some(StatedScale::DotsPerInch(1200.0)), ..ScaleRequest::default() };
//! assert!(find_scale(&photo, &scan, &ScaleParams::default()).scale.known().is_some());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! **Strand**: every piece of yarn with its edges, station by station, and what was refused.
//!
//! ```
//! # use strandrule::measure::photo::{self, Limits};
//! # use strandrule::measure::scale::{ScaleParams, ScaleRequest, find_scale};
//! use strandrule::measure::strand::{StrandRequest, find_strands};
//!
//! # let photo = photo::read("fixtures/photos/p06-two-ply-z-navy.jpg".as_ref(), &Limits::default())?;
//! # let scale = find_scale(&photo, &ScaleRequest::default(), &ScaleParams::default());
//! let strands = find_strands(&photo, &scale, &StrandRequest::default());
//! for piece in strands.pieces.iter().filter(|p| p.chosen) {
//!     let measured = piece.stations.iter().filter(|s| s.left_out.is_none());
//!     let widths: Vec<f64> = measured.map(|s| s.width_px()).collect();
//!     assert!(widths.len() > 100 && widths.iter().all(|px| *px > 0.0));
//! }
//! assert!(!strands.pieces.is_empty());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! **Twist**: direction, plies, angle and turns from the straightened strands.
//!
//! ```
//! # use strandrule::measure::photo::{self, Limits};
//! # use strandrule::measure::scale::{ScaleParams, ScaleRequest, find_scale};
//! # use strandrule::measure::strand::{StrandRequest, find_strands};
//! use strandrule::measure::twist::{TwistRequest, read_twist};
//!
//! # let photo = photo::read("fixtures/photos/p06-two-ply-z-navy.jpg".as_ref(), &Limits::default())?;
//! # let scale = find_scale(&photo, &ScaleRequest::default(), &ScaleParams::default());
//! # let strands = find_strands(&photo, &scale, &StrandRequest::default());
//! let seen = read_twist(&strands, &TwistRequest::default());
//! let stated = read_twist(&strands, &TwistRequest { plies: Some(2) });
//! assert!(stated.plies_stated && !seen.plies_stated);
//! match seen.plies {
//!     Ok((plies, probability)) => println!("{plies} plies with probability {probability:.2}"),
//!     Err(reason) => println!("{}", reason.message()),
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! **Evenness**: how the width varies along a piece laid out in millimetres.
//!
//! ```
//! # use strandrule::base::units::Mm;
//! # use strandrule::measure::photo::{self, Limits};
//! # use strandrule::measure::scale::{ScaleParams, ScaleRequest, find_scale};
//! # use strandrule::measure::strand::{StrandRequest, find_strands};
//! use strandrule::base::stats::{mean, standard_deviation};
//! use strandrule::measure::evenness::lay_out;
//!
//! # let photo = photo::read("fixtures/photos/p06-two-ply-z-navy.jpg".as_ref(), &Limits::default())?;
//! # let scale = find_scale(&photo, &ScaleRequest::default(), &ScaleParams::default());
//! # let strands = find_strands(&photo, &scale, &StrandRequest::default());
//! for piece in strands.pieces.iter().filter(|p| p.chosen) {
//!     let laid_out = lay_out(piece, scale.scale.known(), Mm(0.0));
//!     let widths: Vec<f64> = laid_out.runs().concat().iter().map(|s| s.width).collect();
//!     if let (Some(mean), Some(s)) = (mean(&widths), standard_deviation(&widths)) {
//!         println!("varies by {:.1} %, the swelling of the plies included", 100.0 * s / mean);
//!     }
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! **Report**: the figures as people and programs read them.
//!
//! ```
//! # use strandrule::measure::photo::{self, Limits};
//! # use strandrule::measure::pipeline::{Params, Request, measure};
//! use strandrule::show::{csv, json, overlay, summary};
//!
//! # let photo = photo::read("fixtures/photos/p06-two-ply-z-navy.jpg".as_ref(), &Limits::default())?;
//! # let request = Request::default();
//! # let measured = measure(&photo, &request, &Params::default());
//! assert!(json::text(&measured.report)?.starts_with('{'));
//! println!("{}", summary::text(&measured.report));
//! assert_eq!(csv::table([&measured.report])?.iter().filter(|byte| **byte == b'\n').count(), 2);
//! let png = overlay::png(&photo, &request, &measured.report, &measured.evidence)?;
//! assert!(png.starts_with(b"\x89PNG"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod base;
pub mod card;
#[cfg(not(target_family = "wasm"))]
pub mod cli;
#[cfg(not(target_family = "wasm"))]
pub mod desk;
pub mod figures;
pub mod measure;
pub mod show;
pub mod synth;
pub mod work;
