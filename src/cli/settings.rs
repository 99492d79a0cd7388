//! What is meant: complete and checked. Nothing below this knows the parser or its strings.

use super::args::{self, LimitArgs, LookArgs};
use super::exit::Failure;
use crate::base::units::MM_PER_INCH;
use crate::measure::photo::{Limits, Photo};
use crate::measure::pipeline::Request;
use crate::show::columns::PX_PER_MM;
use crate::work::stated::{
    DOTS_PER_INCH, Dpi, FOCAL_35MM_MM, LEAST_DISTANCE_PX, LEAST_REGION_PX, PRINT_FACTOR, Stated, TwoPoints, Unit,
};

impl From<args::Unit> for Unit {
    fn from(unit: args::Unit) -> Self {
        match unit {
            args::Unit::Mm => Self::Mm,
            args::Unit::Inch => Self::Inch,
        }
    }
}

/// What a person stated about photos, checked.
#[derive(Debug, Clone)]
pub struct LookSettings {
    /// Bounds on memory and time.
    pub limits: Limits,
    /// About the photos.
    pub stated: Stated,
}

impl LookSettings {
    /// Checks what was typed.
    ///
    /// # Errors
    /// [`Failure::Usage`] naming the option.
    pub fn new(args: &LookArgs) -> Result<Self, Failure> {
        let (points, dpi) = match (&args.points, &args.distance, &args.dpi) {
            (Some(points), Some(distance), _) => (Some(two_points(points, distance)?), None),
            (_, _, Some(dpi)) if dpi.eq_ignore_ascii_case("file") => (None, Some(Dpi::AsWrittenInFile)),
            (_, _, Some(dpi)) => (None, Some(Dpi::Is(dots_per_inch(dpi)?))),
            _ => (None, None),
        };
        Ok(Self {
            limits: limits(&args.limits)?,
            stated: Stated {
                strand: args.strand,
                region: args.region.as_deref().map(region).transpose()?,
                plies: args.plies,
                ruler: args.ruler,
                unit: args.unit.map(Unit::from),
                points,
                dpi,
                print_factor: print_factor(args)?,
                focal_35mm_mm: args.focal_35mm.map(focal_35mm).transpose()?,
                usual_focal_35mm_mm: args.usual_focal_35mm,
                label: args.label.clone(),
            },
        })
    }

    /// What is asked of one photo; what is known of the camera is put into the photo.
    ///
    /// # Errors
    /// [`Failure::Input`] where `--dpi file` was asked and the file carries no resolution, or `--region` lies outside.
    pub fn request_for(&self, photo: &mut Photo) -> Result<Request, Failure> {
        self.stated.request_for(photo).map_err(Failure::Input)
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

fn region(given: &str) -> Result<[f64; 4], Failure> {
    let wanted = "give left, top, width and height in pixels, as in --region 400,900,2400,600";
    let [x, y, w, h] = four("--region", given, wanted)?;
    if x < 0.0 || y < 0.0 || w < LEAST_REGION_PX || h < LEAST_REGION_PX {
        return Err(usage("--region", given, wanted));
    }
    Ok([x, y, w, h])
}

fn two_points(points: &str, distance: &str) -> Result<TwoPoints, Failure> {
    let wanted = "give two different points in pixels, as in --points 312,410,2890,422";
    let [x1, y1, x2, y2] = four("--points", points, wanted)?;
    let stated = TwoPoints { from: [x1, y1], to: [x2, y2], distance_mm: length_mm(distance)? };
    if stated.apart_px() < LEAST_DISTANCE_PX {
        return Err(usage("--points", points, wanted));
    }
    let [low, high] = PX_PER_MM;
    let scale = stated.apart_px() / stated.distance_mm;
    if !(low..=high).contains(&scale) {
        let problem = format!("the points would lie {scale:.2e} px apart for a millimetre; look at both again");
        return Err(usage("--distance", distance, &problem));
    }
    Ok(stated)
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

fn print_factor(args: &LookArgs) -> Result<Option<f64>, Failure> {
    let sane = |factor: &f64| PRINT_FACTOR.contains(factor);
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

fn focal_35mm(mm: f64) -> Result<f64, Failure> {
    let wanted = "give millimetres on 35 mm film, 1 to 2000, as phones' data sheets say it: 26";
    Some(mm).filter(|mm| FOCAL_35MM_MM.contains(mm)).ok_or_else(|| usage("--focal-35mm", &mm.to_string(), wanted))
}

fn dots_per_inch(given: &str) -> Result<f64, Failure> {
    given
        .trim()
        .parse::<f64>()
        .ok()
        .filter(|dpi| DOTS_PER_INCH.contains(dpi))
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
        assert_eq!(r, [400.0, 900.0, 2400.0, 600.0]);
        for text in ["", "1,2,3", "1,2,300,400,5", "a,b,c,d", "-1,0,100,100", "0,0,7,100", "0,0,nan,100", "1,,20,30,40"]
        {
            assert!(region(text).is_err(), "{text}");
        }
    }
}
