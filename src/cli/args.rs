//! What was typed, before any of it is checked against the rest.

use std::path::PathBuf;

use clap::{Args as ClapArgs, Parser, Subcommand, ValueEnum};

const EXAMPLES: &str = "\
Examples:
  strandrule
      the desk: a page on this computer that does it all by hand
  strandrule measure yarn.jpg --summary
      the figures in plain words
  strandrule measure yarn.jpg --overlay seen.png > yarn.json
      the report as JSON, and a picture of what was measured
  strandrule measure yarn.jpg --overlay seen.png --strand 2
      the overlay showed that piece 2 is the yarn

Exit codes: 0 at least one figure answered; 1 none (the report says why); 2 wrong usage; 3 a photo
or another file cannot be read or is wrong; 4 an output cannot be written; 5 a batch finished, some
photos failed.";

/// Measures yarn from a photo: how thick, how many wraps and twists to the inch, S or Z, at what angle, how many plies,
/// how even. Every figure comes with its 95 % interval, or with the reason why the photo does not support one.
#[derive(Debug, Parser)]
#[command(name = "strandrule", version, after_help = EXAMPLES, max_term_width = 100)]
pub struct Args {
    /// What to do; without any, the desk is opened.
    #[command(subcommand)]
    pub command: Option<Command>,
    /// Say nothing on standard error but failures
    #[arg(long, short, global = true)]
    pub quiet: bool,
}

/// The subcommands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Open the desk: photos to figures in the browser, without a command line
    Desk(super::desk::DeskArgs),
    /// Measure the yarn in a photo
    Measure(Box<MeasureArgs>),
    /// Measure many photos: a class, a fleece
    Batch(Box<super::batch::BatchArgs>),
    /// Write the ruler card for printing
    Card(super::card::CardArgs),
    /// Mark a class against a target
    Grade(Box<super::grade::GradeArgs>),
    /// Show samples on pages of their own, with an index
    Portfolio(Box<super::portfolio::PortfolioArgs>),
    /// Tell whether samples differ by more than the measurement can tell
    Compare(super::compare::CompareArgs),
    /// Tell whether a skein is even, from several passes and photos
    Skein(super::skein::SkeinArgs),
    /// Turn figures into wheel settings and a plying plan
    Plan(Box<super::plan::PlanArgs>),
    /// Show where your habits are kept, and what is set
    Config(super::config::ConfigArgs),
    /// Print the JSON Schema of the report
    Schema(super::schema::SchemaArgs),
    /// Print a completion script for a shell
    Completions(super::shell::CompletionsArgs),
    /// Write manual pages
    Man(super::shell::ManArgs),
    /// Write demo photos and measure them
    Demo(super::demo::DemoArgs),
}

const MEASURE_EXAMPLES: &str = "\
Examples:
  strandrule measure yarn.jpg
      the report as JSON on standard output
  strandrule measure yarn.jpg --summary --overlay seen.png
      a few lines of text, and a picture of what was measured: look at it first
  strandrule measure yarn.jpg --ruler 2 --unit inch
      the overlay showed that the wrong ruler was taken, or its unit could not be told
  strandrule measure yarn.jpg --region 400,900,2400,600
      look for yarn only in this part: left, top, width and height in pixels of the photo as displayed
  strandrule measure scan.png --dpi 1200
      a scan; no ruler needed
  strandrule measure yarn.jpg --points 312,410,2890,422 --distance 50mm
      two points whose distance is known; no ruler needed
  strandrule measure monday-1.jpg monday-2.jpg monday-3.jpg --summary
      three photos of one sample, pooled";

/// `measure`.
#[derive(Debug, ClapArgs)]
#[command(after_help = MEASURE_EXAMPLES)]
pub struct MeasureArgs {
    /// A photo (JPEG, PNG, TIFF or WebP). Several photos of one sample are measured each and pooled: the JSON then has the
    /// pooled figures first and each photo's report under `reports`
    #[arg(required = true, value_name = "PHOTO")]
    pub photos: Vec<PathBuf>,
    /// What is stated about the photos.
    #[command(flatten)]
    pub look: LookArgs,
    /// Write a picture of what was measured; for several photos a folder
    #[arg(long, value_name = "FILE.png", help_heading = "Output")]
    pub overlay: Option<PathBuf>,
    /// Write the report as a page that opens in a browser and prints; for several photos a folder
    #[arg(long, value_name = "FILE.html", help_heading = "Output")]
    pub html: Option<PathBuf>,
    /// Write the figures as a table, one row a photo
    #[arg(long, value_name = "FILE.csv", help_heading = "Output")]
    pub csv: Option<PathBuf>,
    /// Print a short text in plain words instead of JSON
    #[arg(long, help_heading = "Output")]
    pub summary: bool,
}

/// What a person may state about a photo; `batch` and others flatten it too.
#[derive(Debug, Clone, ClapArgs)]
pub struct LookArgs {
    /// Measure only the piece of yarn with this number in the overlay
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..), help_heading = "Mending a wrong look")]
    pub strand: Option<u32>,
    /// Look for yarn only here, in pixels of the photo as displayed
    #[arg(long, value_name = "X,Y,W,H", help_heading = "Mending a wrong look")]
    pub region: Option<String>,
    /// State how many plies the yarn has (1 = singles)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=12), help_heading = "Mending a wrong look")]
    pub plies: Option<u32>,
    /// Take the scale from the ruler with this number in the overlay
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..), help_heading = "Mending a wrong look")]
    pub ruler: Option<u32>,
    /// State the ruler's unit
    #[arg(long, value_enum, help_heading = "Mending a wrong look")]
    pub unit: Option<Unit>,
    /// Two points of the photo whose distance is known; with --distance
    #[arg(long, value_name = "X1,Y1,X2,Y2", requires = "distance", conflicts_with_all = ["ruler", "unit", "dpi"], help_heading = "Stating the scale")]
    pub points: Option<String>,
    /// Their distance: 50, 50mm, 5cm or 2in (mm without a unit)
    #[arg(long, value_name = "LENGTH", requires = "points", help_heading = "Stating the scale")]
    pub distance: Option<String>,
    /// Resolution of a scan in dots per inch, or `file` to believe what the file says of itself
    #[arg(long, value_name = "DPI", conflicts_with_all = ["ruler", "unit"], help_heading = "Stating the scale")]
    pub dpi: Option<String>,
    /// What the ruler card's 100 mm line measures on the print, in mm
    #[arg(long, value_name = "MM", conflicts_with = "print_scale", help_heading = "Stating the scale")]
    pub printed_length: Option<f64>,
    /// The same as a factor or in per cent: 0.973 or 97.3%
    #[arg(long, value_name = "FACTOR", help_heading = "Stating the scale")]
    pub print_scale: Option<String>,
    /// The camera's focal length on 35 mm film, in mm, instead of what the photo says of it
    #[arg(long, value_name = "MM", help_heading = "About the photo")]
    pub focal_35mm: Option<f64>,
    /// The same from the habits, for photos that do not say it.
    #[arg(skip)]
    pub usual_focal_35mm: Option<f64>,
    /// The sample's name, for the report
    #[arg(long, value_name = "TEXT", help_heading = "About the photo")]
    pub label: Option<String>,
    /// What is read at most.
    #[command(flatten)]
    pub limits: LimitArgs,
}

/// Bounds on memory and time.
#[derive(Debug, Clone, ClapArgs)]
pub struct LimitArgs {
    /// Refuse pictures larger than this many millions of pixels [default: 200]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..), help_heading = "Limits")]
    pub max_megapixels: Option<u32>,
    /// Refuse files larger than this; 512MB, 2GB or a plain number of bytes [default: 512MB]
    #[arg(long, value_name = "BYTES", help_heading = "Limits")]
    pub max_bytes: Option<String>,
}

/// A ruler's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Unit {
    /// Millimetres
    Mm,
    /// Inches and parts of an inch
    Inch,
}
