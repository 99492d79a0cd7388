//! `plan`: figures in, wheel settings and a plying plan out.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::{Places, reads_reports};
use crate::base::units::MM_PER_INCH;
use crate::figures::report::TwistDirection;
use crate::show::json;
use crate::work::arithmetic::thickness::Fibre;
use crate::work::arithmetic::yarn_number::{GRAMS_PER_OUNCE, METRES_PER_YARD};
use crate::work::plan::{self, Goal, PlanRequest, PlyTwist, Range, WeighedSkein, WheelRequest, Yarn};
use crate::work::{pool, saved};

const EXAMPLES: &str = "\
Examples:
  strandrule plan singles.json --ply 2 --ratio 7.5
      how to ply these singles so that the yarn is balanced, and what comes out
  strandrule plan singles.json --ply 3 --ply-angle 30
      the ply twist for bands seen at 30 degrees
  strandrule plan wished.json --ratio 6 --ratio 9 --draft 3in
      what singles to spin for a yarn like this one, and the treadles for each whorl
  strandrule plan --plies 1 --tpi 6 --treadles 2 --draft 4in
      no photo: the ratio to look for
  strandrule plan --length 232m --weight 60g
      the numbers of a weighed skein: tex, Nm, Ne, worsted, yards per pound and others

Weight is never guessed from wraps: two yarns of one thickness may differ in weight by a third.";

/// `plan`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, arg_required_else_help = true)]
pub struct PlanArgs {
    /// Saved reports of the singles at hand or of the yarn wished for; several are pooled
    #[arg(value_name = "REPORT")]
    pub reports: Vec<PathBuf>,
    /// Ply so many of these singles together (without it, the plan is to spin a yarn like this one)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(2..=12), help_heading = "Goal")]
    pub ply: Option<u32>,
    /// Ply until the bands of the plies are seen at this angle, degrees (instead of: balanced)
    #[arg(long, value_name = "DEG", requires = "ply", conflicts_with = "ply_tpi", help_heading = "Goal")]
    pub ply_angle: Option<f64>,
    /// Ply with so many turns per inch (instead of: balanced)
    #[arg(long, value_name = "N", requires = "ply", help_heading = "Goal")]
    pub ply_tpi: Option<f64>,
    /// Ply in this direction (instead of: against the singles)
    #[arg(long, value_enum, requires = "ply", help_heading = "Goal")]
    pub ply_direction: Option<Direction>,
    /// Turns of the final twist per inch, where no report tells them
    #[arg(long, value_name = "N", help_heading = "The yarn, where no report tells")]
    pub tpi: Option<f64>,
    /// Diameter: 0.8, 0.8mm or 0.03in
    #[arg(long, value_name = "LENGTH", help_heading = "The yarn, where no report tells")]
    pub diameter: Option<String>,
    /// Angle of the visible lines, degrees
    #[arg(long, value_name = "DEG", help_heading = "The yarn, where no report tells")]
    pub angle: Option<f64>,
    /// Plies of the yarn, 1 for singles
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=12), help_heading = "The yarn, where no report tells")]
    pub plies: Option<u32>,
    /// Direction of its twist
    #[arg(long, value_enum, help_heading = "The yarn, where no report tells")]
    pub direction: Option<Direction>,
    /// Flyer turns for one treadle; once for each whorl
    #[arg(long, value_name = "N", help_heading = "The wheel")]
    pub ratio: Vec<f64>,
    /// Treadles for one draft
    #[arg(long, value_name = "N", help_heading = "The wheel")]
    pub treadles: Option<f64>,
    /// Yarn fed in for one draft: 3in, 75mm or 8cm
    #[arg(long, value_name = "LENGTH", help_heading = "The wheel")]
    pub draft: Option<String>,
    /// The fibre, for cautions and packing
    #[arg(long, value_enum, help_heading = "Fibre and weight")]
    pub fibre: Option<FibreName>,
    /// Its staple length: 75mm or 3in
    #[arg(long, value_name = "LENGTH", help_heading = "Fibre and weight")]
    pub staple: Option<String>,
    /// Length of a skein of this yarn: 232m or 254yd; with --weight
    #[arg(long, value_name = "LENGTH", requires = "weight", help_heading = "Fibre and weight")]
    pub length: Option<String>,
    /// Weight of that skein: 60g or 2.1oz
    #[arg(long, value_name = "WEIGHT", requires = "length", help_heading = "Fibre and weight")]
    pub weight: Option<String>,
    /// Print the plan in plain words instead of JSON
    #[arg(long, help_heading = "Output")]
    pub summary: bool,
}

/// A direction of twist.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[value(rename_all = "UPPER")]
pub enum Direction {
    /// Like the middle stroke of S
    S,
    /// Like the middle stroke of Z
    Z,
}

impl From<Direction> for TwistDirection {
    fn from(direction: Direction) -> Self {
        match direction {
            Direction::S => Self::S,
            Direction::Z => Self::Z,
        }
    }
}

/// A fibre.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
#[allow(missing_docs, reason = "the names say it all")]
pub enum FibreName {
    Wool,
    Cotton,
    Silk,
    Flax,
    Alpaca,
    Mohair,
    Nylon,
    Polyester,
    Acrylic,
    Viscose,
}

impl From<FibreName> for Fibre {
    fn from(name: FibreName) -> Self {
        match name {
            FibreName::Wool => Self::Wool,
            FibreName::Cotton => Self::Cotton,
            FibreName::Silk => Self::Silk,
            FibreName::Flax => Self::Flax,
            FibreName::Alpaca => Self::Alpaca,
            FibreName::Mohair => Self::Mohair,
            FibreName::Nylon => Self::Nylon,
            FibreName::Polyester => Self::Polyester,
            FibreName::Acrylic => Self::Acrylic,
            FibreName::Viscose => Self::Viscose,
        }
    }
}

/// A number with one of the units (suffix, factor); the first unit counts where none is given.
pub(super) fn with_unit(option: &str, given: &str, units: &[(&str, f64)]) -> Result<f64, Failure> {
    let text = given.trim();
    let named = units.iter().filter_map(|(suffix, factor)| {
        text.strip_suffix(suffix).and_then(|n| n.trim().parse::<f64>().ok()).map(|n| n * factor)
    });
    let plain = text.parse::<f64>().ok().zip(units.first()).map(|(n, (_, factor))| n * factor);
    plain.into_iter().chain(named).find(|n| n.is_finite() && *n > 0.0).ok_or_else(|| {
        let names: Vec<&str> = units.iter().map(|(suffix, _)| *suffix).collect();
        Failure::Usage(format!("{option} {given:?}: give a number above 0 with its unit ({})", names.join(", ")))
    })
}

const MILLIMETRES: [(&str, f64); 4] = [("mm", 1.0), ("cm", 10.0), ("inch", MM_PER_INCH), ("in", MM_PER_INCH)];
const INCHES: [(&str, f64); 4] = [("in", 1.0), ("inch", 1.0), ("mm", 1.0 / MM_PER_INCH), ("cm", 10.0 / MM_PER_INCH)];

/// Plans.
pub(super) fn run(args: &PlanArgs, console: &Console) -> Result<Outcome, Failure> {
    let mut places = Places::of_program();
    reads_reports(&mut places, &args.reports);
    places.check()?;
    let request = request(args)?;
    let made = plan::plan(&request).map_err(|error| Failure::Usage(error.to_string()))?;
    let words = plan::text(&made);
    if args.summary {
        console.result(words.as_bytes())?;
    } else {
        let written = json::text(&made).map_err(|error| Failure::Output(error.to_string()))?;
        console.result(written.as_bytes())?;
        if console.person_reads_stderr() {
            console.say(words.trim_end());
        }
    }
    Ok(Outcome::Answered)
}

fn request(args: &PlanArgs) -> Result<PlanRequest, Failure> {
    let mut reports = Vec::new();
    for place in &args.reports {
        reports.extend(saved::read_reports(place)?);
    }
    let measured = pool::pool_reports(&reports).map(|p| Yarn::from_sample(&p.sample)).unwrap_or_default();
    let length = |option: &str, given: &Option<String>, units: &[(&str, f64)]| {
        given.as_deref().map(|text| with_unit(option, text, units)).transpose()
    };
    let stated = Yarn {
        plies: args.plies,
        diameter_mm: length("--diameter", &args.diameter, &MILLIMETRES)?.map(Range::exactly),
        twists_per_inch: args.tpi.map(Range::exactly),
        twist_angle_deg: args.angle.map(Range::exactly),
        direction: args.direction.map(Into::into),
        kinks: None,
    };
    let skein_metres = length("--length", &args.length, &[("m", 1.0), ("yd", METRES_PER_YARD)])?;
    let skein_grams = length("--weight", &args.weight, &[("g", 1.0), ("oz", GRAMS_PER_OUNCE)])?;
    let yarn = measured.overridden_by(stated);
    let goal = match args.ply {
        Some(plies) => Some(Goal::PlySingles {
            plies,
            twist: match (args.ply_angle, args.ply_tpi) {
                (Some(angle), _) => PlyTwist::Angle(angle),
                (_, Some(tpi)) => PlyTwist::Stated(tpi),
                _ => PlyTwist::Balanced,
            },
            direction: args.ply_direction.map(Into::into),
        }),
        None if yarn == Yarn::default() && skein_metres.is_some() => None,
        None => Some(Goal::SpinLike),
    };
    Ok(PlanRequest {
        yarn,
        goal,
        wheel: WheelRequest {
            ratios: args.ratio.clone(),
            treadles: args.treadles,
            draft_inches: length("--draft", &args.draft, &INCHES)?,
        },
        skein: skein_metres.zip(skein_grams).map(|(metres, grams)| WeighedSkein { metres, grams }),
        fibre: args.fibre.map(Into::into),
        staple_mm: length("--staple", &args.staple, &MILLIMETRES)?,
    })
}
