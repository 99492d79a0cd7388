//! Third stage: which parts of the picture are yarn; each piece's centre line, core edges and straightened picture.

mod band;
mod bare;
mod by_eye;
mod centre_line;
mod course;
mod edges;
mod eye;
mod hair;
mod kink;
mod leave_out;
mod mixture;
mod piece;
mod place;
mod skein;
mod strip;
mod wraps;

use crate::base::geometry::{Image, Point, Region};
use crate::base::units::Mm;
use crate::figures::words::Reason;

use super::photo::Photo;
use super::scale::ScaleFound;
use super::seen::paths;
use super::seen::scout::Map;

pub use eye::EyeSays;
pub(crate) use eye::TEMPERATURE;
pub use strip::Strip;

/// What the person says about the yarn.
#[derive(Debug, Clone, Copy, Default)]
pub struct StrandRequest {
    /// Measure only the piece with this number (as the overlay counts them, from 1).
    pub strand: Option<u32>,
    /// Look for yarn only here.
    pub region: Option<Region>,
}

impl StrandRequest {
    /// Whether the person says where the yarn is.
    pub(crate) fn points(&self) -> bool {
        self.strand.is_some() || self.region.is_some()
    }
}

/// How the yarn lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrangement {
    /// One or several pieces that do not touch.
    Separate,
    /// Wound side by side.
    Wraps,
    /// A skein: many strands that touch and cross; only clean stretches were taken.
    Skein,
}

/// Why a stretch of a piece was not measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOutWhy {
    /// It hangs off the card.
    OffCard,
    /// It lies within two diameters of a cut end.
    CutEnd,
    /// Near a closed loop or doubling.
    Kink,
    /// Near another strand.
    Crossing,
    /// Over the ruler's marks, where no edge can be told from a tick.
    OverMarks,
    /// At the picture's border.
    Border,
    /// Its edges could not be placed.
    EdgeUnclear,
}

impl LeftOutWhy {
    /// The fixed word in the report.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::OffCard => "off-card",
            Self::CutEnd => "cut-end",
            Self::Kink => "kink",
            Self::Crossing => "crossing",
            Self::OverMarks => "over-marks",
            Self::Border => "picture-border",
            Self::EdgeUnclear => "edge-unclear",
        }
    }
}

/// A core edge at one station.
#[derive(Debug, Clone, Copy, Default)]
pub struct Edge {
    /// Distance from the centre line along the normal, px: negative on the left (upper) edge, positive on the right.
    pub offset_px: f64,
    /// Its standard uncertainty from noise at this one station, px.
    pub u_px: f64,
}

/// One cross-section of a piece. Stations follow each other at equal steps along the centre line.
#[derive(Debug, Clone, Copy)]
pub struct Station {
    /// Centre of the strand.
    pub centre: Point<Image>,
    /// Unit normal to the centre line: the tangent turned a quarter turn clockwise on the screen, so that it points to
    /// the strand's right hand when one walks along it on the screen. Growing row numbers of the strip run along it.
    pub normal: Point<Image>,
    /// Edge at negative offset.
    pub left: Edge,
    /// Edge at positive offset.
    pub right: Edge,
    /// Cover of hairs outside both edges, integrated outwards, px; `None` where it could not be told.
    pub hair_cover_px: Option<f64>,
    /// Set where this station is not to be measured.
    pub left_out: Option<LeftOutWhy>,
}

impl Station {
    /// Width between the edges, px.
    #[must_use]
    pub fn width_px(&self) -> f64 {
        self.right.offset_px - self.left.offset_px
    }
}

/// One piece of yarn.
#[derive(Debug, Clone)]
pub struct Strand {
    /// Its number in the overlay, from 1.
    pub number: u32,
    /// Whether it is measured.
    pub chosen: bool,
    /// Distance between neighbouring stations along the centre line, px.
    pub step_px: f64,
    /// Its cross-sections.
    pub stations: Vec<Station>,
    /// The straightened picture: one column a station.
    pub strip: Strip,
    /// Standard uncertainty of the mean width that does not average out along the strand (blur, shadow, halo), px.
    pub edge_systematic_u_px: f64,
    /// Standard deviation of the picture's blur here, as a Gaussian, px.
    pub blur_px: f64,
    /// Middle of each closed loop or doubling; `None` where they could not be told (too few pixels, other strands around).
    pub kinks: Option<Vec<Point<Image>>>,
    /// Whether it lies beside the ruler, on what that lies on.
    pub beside: bool,
    /// What the learned eye says of it; `None` where it is too short to be looked at.
    pub eye: Option<EyeSays>,
}

impl Strand {
    /// Whether the eye is sure that this is yarn, so that its twist need not show by other means.
    pub(crate) fn sure_yarn(&self) -> bool {
        self.eye.is_some_and(|says| says.sure_yarn())
    }
}

/// Yarn wound side by side.
#[derive(Debug, Clone)]
pub struct Wraps {
    /// Centres of the wraps, in order, on one line across them.
    pub centres: Vec<Point<Image>>,
    /// Direction in which they run at the middle one.
    pub along: Point<Image>,
    /// Standard uncertainty of the distance from the first to the last, px.
    pub u_px: f64,
    /// Whether they hide the ticks of the ruler they are wound on: such are yarn, whatever shows of their twist.
    pub on_ruler: bool,
}

/// Something that was looked at and is no yarn.
#[derive(Debug, Clone)]
pub struct Refused {
    /// Its outline.
    pub outline: Vec<Point<Image>>,
    /// Why, a few words.
    pub why: &'static str,
}

/// The strand stage's result, with its evidence.
#[derive(Debug, Clone)]
pub struct Strands {
    /// How the yarn lies.
    pub arrangement: Arrangement,
    /// Every piece found, chosen or not.
    pub pieces: Vec<Strand>,
    /// Wraps, where the arrangement is that.
    pub wraps: Option<Wraps>,
    /// What was taken for no yarn.
    pub refused: Vec<Refused>,
    /// Whether the person pointed at the yarn (its number, a region).
    pub pointed_at: bool,
    /// Standard uncertainty of the widths that comes from the file's few shades, as a fraction of them: already in the pieces'.
    pub coarse: f64,
    /// Set where no piece can be measured.
    pub reason: Option<Reason>,
    /// What the scout said of the photo, where it was asked.
    pub map: Option<Map>,
}

/// Finds the yarn and measures its edges.
#[must_use]
pub fn find_strands(photo: &Photo, scale: &ScaleFound, request: &StrandRequest) -> Strands {
    let lying = skein::lying(&photo.rgb, scale, request);
    // Strands that touch are what the eye was taught least: of skeins' plies it is wrong more often than right.
    if let skein::Lying::Found(strands) = lying {
        return strands;
    }
    let tangled = matches!(lying, skein::Lying::Tangled);
    let nothing = if tangled { Reason::NoCleanStretch } else { Reason::NoStrand };
    let map = Map::of(&photo.rgb);
    let (mut pieces, refused) = map.as_ref().map(|map| by_scout(photo, map, scale, request)).unwrap_or_default();
    for (i, piece) in pieces.iter_mut().enumerate() {
        piece.number = i as u32 + 1;
        piece.chosen = request.strand.is_none_or(|number| number == piece.number);
    }
    let reason = (!pieces.iter().any(|p| p.chosen)).then(|| none_chosen(&pieces, nothing));
    Strands {
        arrangement: if tangled && pieces.is_empty() { Arrangement::Skein } else { Arrangement::Separate },
        pieces,
        wraps: None,
        refused,
        pointed_at: request.points(),
        coarse: 0.0,
        reason,
        map,
    }
}

/// Most of the scout's paths that are looked at closely, altogether, diameters: a class's sixteen samples side by side, a hundred each.
const MOST_DIAMETERS: f64 = 1600.0;

/// Strands along the scout's paths, and the paths that are none.
fn by_scout(photo: &Photo, map: &Map, scale: &ScaleFound, request: &StrandRequest) -> (Vec<Strand>, Vec<Refused>) {
    let asked = |p: Point<Image>| request.region.is_none_or(|region| region.contains(p));
    let mut paths = paths::find(map, &asked);
    paths.sort_by(|a, b| (b.length_px() * b.body).total_cmp(&(a.length_px() * a.body)));
    let mut left = MOST_DIAMETERS;
    paths.retain(|path| {
        let diameters = path.length_px() / path.width_px;
        // A hair across the picture has more than all strands in it, and must not keep these out.
        let fits = diameters <= left;
        left -= if fits { diameters } else { 0.0 };
        fits
    });
    let bare = |p: Point<Image>| !scale.on_print(p) && map.at(p).is_none_or(|cell| cell.body < 0.5);
    // Where the person points, or one thing fills a picture without a ruler, what looks like yarn may be it if its twist shows, too.
    let vouched = request.points() || (scale.rulers.is_empty() && scale.cards.is_empty());
    let looked: Vec<_> = paths.iter().map(|path| by_eye::measure(&photo.rgb, path, vouched)).collect();
    let sure = looked.iter().flatten().any(Strand::sure_yarn);
    let (mut pieces, mut refused) = (Vec::new(), Vec::new());
    for (path, measured) in paths.iter().zip(looked) {
        match measured.and_then(|piece| if sure && !piece.sure_yarn() { Err("no yarn") } else { Ok(piece) }) {
            Ok(mut piece) => {
                leave_out::mark(&mut piece, photo, scale);
                kink::mark(&mut piece, &photo.rgb);
                let mm = mm_px(&piece, scale);
                hair::measure(&mut piece, &photo.rgb, mm, &bare);
                pieces.push(piece);
            }
            Err(why) => refused.push(Refused { outline: around(&path.line, path.width_px), why }),
        }
    }
    (pieces, refused)
}

/// The outline of a line, half a width to either side.
fn around(line: &[Point<Image>], width_px: f64) -> Vec<Point<Image>> {
    let normal = |i: usize| {
        let (a, b) = (i.saturating_sub(1), (i + 1).min(line.len() - 1));
        (line[b] - line[a]).unit().map_or(Point::new(0.0, 0.0), Point::quarter_turn)
    };
    let side = |sign: f64| (0..line.len()).map(move |i| line[i] + normal(i) * (sign * width_px / 2.0));
    let back: Vec<Point<Image>> = side(-1.0).collect();
    side(1.0).chain(back.into_iter().rev()).collect()
}

/// Why none of these pieces is measured: there are none for the reason given, or the number asked for is none of theirs.
fn none_chosen(pieces: &[Strand], nothing: Reason) -> Reason {
    if pieces.is_empty() { nothing } else { Reason::NoSuchStrand }
}

/// Length of a millimetre at the middle of a piece, px, where the scale is known.
fn mm_px(piece: &Strand, scale: &ScaleFound) -> Option<f64> {
    let middle = piece.stations.get(piece.stations.len() / 2)?;
    scale.scale.known()?.map.px_per_mm(middle.centre, middle.normal, Mm(0.0))
}
