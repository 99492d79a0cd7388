//! What is meant: complete and checked. Nothing below this knows the parser or its strings.

use super::args::{LimitArgs, LookArgs, Unit};
use super::exit::Failure;
use crate::base::geometry::{Point, Region};
use crate::base::units::MM_PER_INCH;
use crate::measure::photo::{Limits, Photo};
use crate::measure::pipeline::Request;
use crate::measure::scale::{RulerUnit, ScaleRequest, StatedScale};
use crate::measure::strand::StrandRequest;
use crate::measure::twist::TwistRequest;
use crate::show::columns::PX_PER_MM;

/// A stated scale, some of which only the photo completes.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Stated {
    Complete(StatedScale),
    /// The resolution that the file carries.
    AsWrittenInFile,
}

/// What a person stated about photos, checked.
#[derive(Debug, Clone)]
pub struct LookSettings {
    /// Bounds on memory and time.
    pub limits: Limits,
    stated: Option<Stated>,
    focal_35mm: FocalLength,
    request: Request,
}

/// What is known of the camera's focal length on 35 mm film beside the photo, mm.
#[derive(Debug, Clone, Copy)]
struct FocalLength {
    /// Believed more than the photo.
    stated: Option<f64>,
    /// Taken where the photo is silent.
    usual: Option<f64>,
}

impl LookSettings {
    /// Checks what was typed.
    ///
    /// # Errors
    /// [`Failure::Usage`] naming the option.
    pub fn new(args: &LookArgs) -> Result<Self, Failure> {
        let stated = match (&args.points, &args.distance, &args.dpi) {
            (Some(points), Some(distance), _) => Some(Stated::Complete(two_points(points, distance)?)),
            (_, _, Some(dpi)) if dpi.eq_ignore_ascii_case("file") => Some(Stated::AsWrittenInFile),
            (_, _, Some(dpi)) => Some(Stated::Complete(StatedScale::DotsPerInch(dots_per_inch(dpi)?))),
            _ => None,
        };
        let unit = args.unit.map(|unit| match unit {
            Unit::Mm => RulerUnit::Mm,
            Unit::Inch => RulerUnit::Inch,
        });
        let region = args.region.as_deref().map(region).transpose()?;
        Ok(Self {
            limits: limits(&args.limits)?,
            stated,
            focal_35mm: FocalLength {
                stated: args.focal_35mm.map(focal_35mm).transpose()?,
                usual: args.usual_focal_35mm,
            },
            request: Request {
                scale: ScaleRequest { stated: None, ruler: args.ruler, unit, print_factor: print_factor(args)? },
                strand: StrandRequest { strand: args.strand, region },
                twist: TwistRequest { plies: args.plies },
                label: args.label.clone(),
            },
        })
    }

    /// What is asked of one photo; what is known of the camera is put into the photo.
    ///
    /// # Errors
    /// [`Failure::Input`] where `--dpi file` was asked and the file carries no resolution, or `--region` lies outside.
    pub fn request_for(&self, photo: &mut Photo) -> Result<Request, Failure> {
        let focal = self.focal_35mm.stated.or(photo.camera.focal_35mm_mm).or(self.focal_35mm.usual);
        photo.camera.focal_35mm_mm = focal;
        let mut request = self.request.clone();
        request.scale.stated = match self.stated {
            Some(Stated::Complete(stated)) => Some(stated),
            Some(Stated::AsWrittenInFile) => {
                let dpi = photo.camera.written_dpi.ok_or_else(|| {
                    Failure::Input(format!("{}: carries no resolution; state it, as in --dpi 1200", photo.name))
                })?;
                Some(StatedScale::DotsPerInch(dpi))
            }
            None => None,
        };
        let (width, height) = (photo.rgb.width() as f64, photo.rgb.height() as f64);
        if request.strand.region.is_some_and(|r| r.min.x >= width || r.min.y >= height) {
            return Err(Failure::Input(format!(
                "{}: --region lies outside this picture of {width} x {height} px",
                photo.name
            )));
        }
        Ok(request)
    }
}

/// The limits that were stated, else the default ones.
///
/// # Errors
/// [`Failure::Usage`] where `--max-bytes` is no size.
pub fn limits(args: &LimitArgs) -> Result<Limits, Failure> {
    let default = Limits::default();
    Ok(Limits {
        max_megapixels: args.max_megapixels.unwrap_or(default.max_megapixels),
        max_bytes: args.max_bytes.as_deref().map(bytes).transpose()?.unwrap_or(default.max_bytes),
    })
}

fn usage(option: &str, given: &str, wanted: &str) -> Failure {
    Failure::Usage(format!("{option} {given:?}: {wanted}"))
}

fn bytes(given: &str) -> Result<u64, Failure> {
    let text = given.trim().to_ascii_uppercase();
    let (number, unit) = [("GB", 1u64 << 30), ("MB", 1 << 20), ("KB", 1 << 10), ("B", 1), ("", 1)]
        .into_iter()
        .find_map(|(suffix, unit)| text.strip_suffix(suffix).map(|n| (n.trim(), unit)))
        .unwrap_or((&text, 1));
    number
        .parse::<u64>()
        .ok()
        .and_then(|n| n.checked_mul(unit))
        .filter(|n| *n > 0)
        .ok_or_else(|| usage("--max-bytes", given, "give a size such as 512MB or 2GB"))
}

/// Four comma-separated finite numbers.
fn four(option: &str, given: &str, wanted: &str) -> Result<[f64; 4], Failure> {
    let numbers: Vec<f64> =
        given.split(',').map_while(|n| n.trim().parse().ok()).filter(|n: &f64| n.is_finite()).collect();
    let commas = given.matches(',').count();
    <[f64; 4]>::try_from(numbers).ok().filter(|_| commas == 3).ok_or_else(|| usage(option, given, wanted))
}

fn region(given: &str) -> Result<Region, Failure> {
    let wanted = "give left, top, width and height in pixels, as in --region 400,900,2400,600";
    let [x, y, w, h] = four("--region", given, wanted)?;
    // Narrower than this no edge of yarn has ground on both sides.
    if x < 0.0 || y < 0.0 || w < 8.0 || h < 8.0 {
        return Err(usage("--region", given, wanted));
    }
    Ok(Region { min: Point::new(x, y), max: Point::new(x + w - 1.0, y + h - 1.0) })
}

fn two_points(points: &str, distance: &str) -> Result<StatedScale, Failure> {
    let wanted = "give two different points in pixels, as in --points 312,410,2890,422";
    let [x1, y1, x2, y2] = four("--points", points, wanted)?;
    let (from, to) = (Point::new(x1, y1), Point::new(x2, y2));
    if from.distance(to) < 1.0 {
        return Err(usage("--points", points, wanted));
    }
    let distance_mm = length_mm(distance)?;
    let [low, high] = PX_PER_MM;
    let scale = from.distance(to) / distance_mm;
    if !(low..=high).contains(&scale) {
        let problem = format!("the points would lie {scale:.2e} px apart for a millimetre; look at both again");
        return Err(usage("--distance", distance, &problem));
    }
    Ok(StatedScale::TwoPoints { from, to, distance_mm })
}

/// A positive length with its unit, in mm.
fn length_mm(given: &str) -> Result<f64, Failure> {
    let text = given.trim();
    let (number, unit) =
        [("mm", 1.0), ("cm", 10.0), ("in", MM_PER_INCH), ("inch", MM_PER_INCH), ("\"", MM_PER_INCH), ("", 1.0)]
            .into_iter()
            .find_map(|(suffix, unit)| text.strip_suffix(suffix).map(|n| (n.trim(), unit)))
            .unwrap_or((text, 1.0));
    number
        .parse::<f64>()
        .ok()
        .map(|n| n * unit)
        .filter(|mm| mm.is_finite() && *mm > 0.0)
        .ok_or_else(|| usage("--distance", given, "give a length such as 50mm or 2in"))
}

/// Print scales that a printer's driver makes by mistake lie between 0.7 (two pages on one sheet, A4 to A5: 1/sqrt 2, ISO
/// 216) and 1.42 (A5 to A4: sqrt 2); anything beyond is a slip of the pen.
fn print_factor(args: &LookArgs) -> Result<Option<f64>, Failure> {
    let sane = |factor: &f64| (0.70..=1.42).contains(factor);
    if let Some(mm) = args.printed_length {
        let factor = Some(mm / 100.0).filter(sane);
        let problem =
            "give what the 100 mm line measures, 70 to 142 mm (a print that was fitted to its page: 90 to 106)";
        return factor.map(Some).ok_or_else(|| usage("--printed-length", &mm.to_string(), problem));
    }
    let Some(given) = &args.print_scale else { return Ok(None) };
    let factor = match given.trim().strip_suffix('%') {
        Some(percent) => percent.trim().parse::<f64>().ok().map(|p| p / 100.0),
        None => given.trim().parse::<f64>().ok(),
    };
    let problem = "give a factor or per cent, as in 0.973 or 97.3%, 70 to 142 %";
    factor.filter(sane).map(Some).ok_or_else(|| usage("--print-scale", given, problem))
}

/// What lenses have; the same bounds as for what a photo says.
fn focal_35mm(mm: f64) -> Result<f64, Failure> {
    let wanted = "give millimetres on 35 mm film, 1 to 2000, as phones' data sheets say it: 26";
    Some(mm).filter(|mm| (1.0..=2000.0).contains(mm)).ok_or_else(|| usage("--focal-35mm", &mm.to_string(), wanted))
}

fn dots_per_inch(given: &str) -> Result<f64, Failure> {
    given
        .trim()
        .parse::<f64>()
        .ok()
        // A picture coarser than 10 or finer than 100 000 dots per inch shows no yarn.
        .filter(|dpi| (10.0..=100_000.0).contains(dpi))
        .ok_or_else(|| usage("--dpi", given, "give dots per inch, 10 to 100000, or `file`"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_carry_their_unit() {
        // Source: international inch of 1959, 25.4 mm exactly.
        for (text, mm) in [("50", 50.0), ("50mm", 50.0), ("5 cm", 50.0), ("2in", 50.8), ("2 inch", 50.8), ("2\"", 50.8)]
        {
            assert!((length_mm(text).unwrap() - mm).abs() < 1e-12, "{text}");
        }
        for text in ["", "mm", "-1", "0", "nan", "inf", "5 ells", "1e400"] {
            assert!(length_mm(text).is_err(), "{text}");
        }
    }

    #[test]
    fn points_a_world_apart_are_a_slip() {
        assert!(two_points("0,0,1000,0", "50mm").is_ok());
        for distance in ["1e9mm", "1e-9mm", "1e300cm"] {
            assert!(two_points("0,0,1000,0", distance).is_err(), "{distance}");
        }
    }

    #[test]
    fn sizes_carry_their_unit() {
        for (text, n) in [("1", 1), ("2kb", 2048), ("512MB", 512 << 20), ("2 GB", 2 << 30), ("7B", 7)] {
            assert_eq!(bytes(text).unwrap(), n, "{text}");
        }
        for text in ["", "0", "-1", "MB", "99999999999999999999", "18446744073709551615GB", "1.5GB"] {
            assert!(bytes(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_region_is_left_top_width_height() {
        let r = region("400, 900,2400,600").unwrap();
        assert_eq!((r.min.x, r.min.y, r.max.x, r.max.y), (400.0, 900.0, 2799.0, 1499.0));
        for text in ["", "1,2,3", "1,2,300,400,5", "a,b,c,d", "-1,0,100,100", "0,0,7,100", "0,0,nan,100", "1,,20,30,40"]
        {
            assert!(region(text).is_err(), "{text}");
        }
    }
}
