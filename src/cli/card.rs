//! `card`: writes the ruler card for printing.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::console::Console;
use super::exit::{Failure, Outcome};
use super::outputs::Places;
use crate::card::label::Label;
use crate::card::layout::CardSize;
use crate::card::sheet::{Paper, cards_on, sheets};
use crate::card::{pdf, png_bytes, roster, svg};
use crate::show::file::Target;

/// Largest roster, bytes: a class is a few kilobytes.
const MAX_ROSTER_BYTES: u64 = 4 << 20;

const EXAMPLES: &str = "\
Examples:
  strandrule card --out card.pdf
      one card on A4; print it at 100 % (actual size) and measure its 100 mm line
  strandrule card --size small --paper letter --copies 8 --out small.pdf
      a sheet of bank-card-sized ones for close-ups of thin yarn
  strandrule card --sample \"Fleece 2, woollen\" --person Ada --out ada.pdf
      a card with a label that photos of it carry into the report
  strandrule card --roster class.csv --out class.pdf
      a labelled card for each row of a table with the columns sample and person

The ending of FILE says the format: .pdf, .svg or .png. Only PDF holds several sheets.";

/// `card`.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES)]
pub struct CardArgs {
    /// Write the card here
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Which card
    #[arg(long, value_enum, default_value_t = Size::Full)]
    pub size: Size,
    /// The paper that it is printed on [default: a4]
    #[arg(long, value_enum)]
    pub paper: Option<PaperName>,
    /// How many cards
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=500), conflicts_with = "roster")]
    pub copies: u16,
    /// The sample's name, printed as a code and in letters
    #[arg(long, value_name = "TEXT")]
    pub sample: Option<String>,
    /// Whose sample it is
    #[arg(long, value_name = "TEXT", requires = "sample")]
    pub person: Option<String>,
    /// A table (CSV in UTF-8) with the columns sample and person: a card for each row
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["sample", "person"])]
    pub roster: Option<PathBuf>,
    /// Resolution of a PNG, dots per inch
    #[arg(long, value_name = "DPI", default_value_t = 600, value_parser = clap::value_parser!(u16).range(72..=1200))]
    pub dpi: u16,
}

/// Which card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Size {
    /// 148 x 100 mm, about a postcard
    Full,
    /// 85.6 x 54 mm, a bank card, for close-ups
    Small,
}

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum PaperName {
    /// 210 x 297 mm
    A4,
    /// 8.5 x 11 inches
    Letter,
}

enum Format {
    Pdf,
    Svg,
    Png,
}

/// Writes the card or cards.
pub(super) fn run(args: &CardArgs, console: &Console) -> Result<Outcome, Failure> {
    let mut places = Places::of_program();
    places.may_read("the roster", args.roster.as_deref());
    places.writes("--out", &args.out);
    places.check()?;
    let format = format(&args.out)?;
    let size = match args.size {
        Size::Full => CardSize::Full,
        Size::Small => CardSize::Small,
    };
    let paper = match args.paper.unwrap_or(PaperName::A4) {
        PaperName::A4 => Paper::A4,
        PaperName::Letter => Paper::Letter,
    };
    let labels = labels(args)?;
    let (columns, rows) = cards_on(paper, size);
    if labels.len() > columns * rows && !matches!(format, Format::Pdf) {
        return Err(Failure::Usage(format!(
            "--out {}: {} cards take more than one sheet, and only a PDF holds several; end the name in .pdf",
            args.out.display(),
            labels.len()
        )));
    }
    let target = Target::open(&args.out)?;
    let sheets = sheets(paper, size, &labels);
    let unwritable = || Failure::Output(format!("{}: the sheet could not be laid out", args.out.display()));
    let sheet = sheets.first().ok_or_else(unwritable)?;
    let bytes = match format {
        Format::Pdf => pdf(&sheets, "Ruler card").ok_or_else(unwritable)?,
        Format::Svg => svg(sheet).into_bytes(),
        Format::Png => png_bytes(sheet, f64::from(args.dpi)).map_err(|e| Failure::Usage(format!("--dpi: {e}")))?,
    };
    target.write(&bytes)?;
    let count = if labels.len() == 1 { "1 card".to_owned() } else { format!("{} cards", labels.len()) };
    console
        .say(&format!("{}: {count}; print at 100 % (actual size), then measure the 100 mm line.", args.out.display()));
    Ok(Outcome::Answered)
}

fn format(out: &Path) -> Result<Format, Failure> {
    match out.extension().and_then(|e| e.to_str()).map(str::to_ascii_lowercase).as_deref() {
        Some("pdf") => Ok(Format::Pdf),
        Some("svg") => Ok(Format::Svg),
        Some("png") => Ok(Format::Png),
        _ => Err(Failure::Usage(format!("--out {}: end the name in .pdf, .svg or .png", out.display()))),
    }
}

fn labels(args: &CardArgs) -> Result<Vec<Option<Label>>, Failure> {
    if let Some(path) = &args.roster {
        let unreadable = |problem: String| Failure::Input(format!("{}: {problem}", path.display()));
        let about = std::fs::metadata(path).map_err(|e| unreadable(format!("cannot be read: {e}")))?;
        if about.len() > MAX_ROSTER_BYTES {
            return Err(unreadable("is larger than 4 MB, too large for a roster; split it".to_owned()));
        }
        let bytes = std::fs::read(path).map_err(|e| unreadable(format!("cannot be read: {e}")))?;
        let labels = roster::labels(&bytes).map_err(|e| unreadable(e.to_string()))?;
        return Ok(labels.into_iter().map(Some).collect());
    }
    let label = match &args.sample {
        None => None,
        Some(sample) => Some(
            Label::new(sample, args.person.as_deref())
                .map_err(|e| Failure::Usage(format!("--sample, --person: {e}")))?,
        ),
    };
    Ok(vec![label; usize::from(args.copies)])
}
