//! What a scene holds, as plain data: yarn, card, camera, light, table. Lengths in mm on the card, origin at the
//! card's middle, x to the right, y towards the printed top, z out of the face.

use std::sync::Arc;

use super::picture::PictureSpec;
use super::printed::PrintedCard;
use super::thing::Thing;

/// Reflectance in linear light, red, green, blue, 0 to 1.
pub type Albedo = [f64; 3];

/// Direction of the final twist. Source: ISO 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turning {
    /// Lines run like the middle stroke of S.
    S,
    /// Lines run like the middle stroke of Z.
    Z,
}

impl Turning {
    /// +1 for Z, -1 for S.
    #[must_use]
    pub fn sign(self) -> f64 {
        match self {
            Self::S => -1.0,
            Self::Z => 1.0,
        }
    }
    /// The letter.
    #[must_use]
    pub fn letter(self) -> &'static str {
        match self {
            Self::S => "S",
            Self::Z => "Z",
        }
    }
}

/// One ply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlySpec {
    /// Radius relative to its sisters.
    pub relative_radius: f64,
    /// Its colour.
    pub colour: Albedo,
}

/// Hairs that leave the body.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HairSpec {
    /// Hairs per centimetre of yarn.
    pub per_cm: f64,
    /// Length along the yarn, mm.
    pub length_mm: f64,
    /// Greatest distance from the body, mm (mean).
    pub height_mm: f64,
    /// Half thickness of a hair, mm.
    pub radius_mm: f64,
}

/// A thick or thin place: a raised cosine on the radius.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FaultSpec {
    /// Middle, as a fraction of the strand's length.
    pub at: f64,
    /// Full length of the raised cosine, mm.
    pub length_mm: f64,
    /// Radius at the middle against nominal, minus 1: 0.5 is half as thick again.
    pub amplitude: f64,
    /// Which ply; `None` for all.
    pub ply: Option<usize>,
}

/// The yarn.
#[derive(Debug, Clone, PartialEq)]
pub struct YarnSpec {
    /// One to four plies.
    pub plies: Vec<PlySpec>,
    /// A word for its colour.
    pub colour_name: String,
    /// Direction of the final twist.
    pub turning: Turning,
    /// Nominal mean apparent width, mm.
    pub diameter_mm: f64,
    /// Nominal angle, degrees: of the surface fibres in singles, of the ply bands in plied yarn.
    pub angle_deg: f64,
    /// Relative deviation of the thickness along the strand.
    pub thickness_cv: f64,
    /// Relative deviation of the twist beyond what follows the thickness.
    pub twist_cv: f64,
    /// Twist goes with thickness to the power of minus this (1: check value TW-8, thin places take the twist).
    pub twist_follows_thickness: f64,
    /// How far plies press into one another: distance of their axes against touching circles.
    pub compress: f64,
    /// Plied yarn: angle of the plies' bands plus that of the surface fibres to their ply's axis, degrees, positive in
    /// the sense of the final twist; 0 has the fibres along the yarn.
    pub fibre_lean_deg: f64,
    /// Thickness of a visible fibre or fine lock, mm.
    pub fibre_mm: f64,
    /// How deep below the ply's outline the fibres that are seen have their axes, mm: half a fibre's thickness where
    /// fibres have any, 0 for lines painted on the outline.
    pub fibre_depth_mm: f64,
    /// Scatter of the fibres' direction, degrees.
    pub fibre_scatter_deg: f64,
    /// Unevenness of a ply's surface around it (locks of fibres), relative deviation of its radius.
    pub relief: f64,
    /// Hairs.
    pub hair: HairSpec,
    /// Sheen along the fibres, 0 to 1.
    pub gloss: f64,
    /// Thick and thin places.
    pub faults: Vec<FaultSpec>,
}

/// How the yarn lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Laying {
    /// One strand across the card, leaving it on both sides.
    Across {
        /// Angle to the card's long edge, degrees.
        angle_deg: f64,
        /// Height above (positive) or below the card's middle, mm.
        offset_mm: f64,
        /// Sideways wander of the gentle curve, mm.
        bow_mm: f64,
        /// Places with a closed loop of the whole strand.
        kinks: usize,
    },
    /// Several pieces side by side, cut off; longer than the card, they are passes of one yarn.
    Pieces {
        /// How many.
        count: usize,
        /// Length of each, mm.
        length_mm: f64,
        /// Distance between neighbours, mm.
        spacing_mm: f64,
        /// Height of their middle above (positive) or below the card's, mm.
        offset_mm: f64,
        /// Angle to the card's long edge, degrees.
        angle_deg: f64,
        /// Sideways wander, mm.
        bow_mm: f64,
    },
    /// Wound side by side around the card.
    Wraps {
        /// How many.
        count: usize,
        /// Distance between neighbours, mm.
        pitch_mm: f64,
        /// Position of the first along the card, mm from its middle.
        first_mm: f64,
    },
}

/// What a piece of yarn lies like, as a word for its truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrangement {
    /// Alone.
    Single,
    /// Against a neighbour.
    Touching,
    /// Over or under another.
    Crossing,
    /// Wound side by side.
    Wraps,
    /// One of many that run along together.
    Skein,
    /// With closed loops.
    Kinked,
    /// Wandering as it fell.
    Loose,
}

impl Arrangement {
    /// The word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Touching => "touching",
            Self::Crossing => "crossing",
            Self::Wraps => "wraps",
            Self::Skein => "skein",
            Self::Kinked => "kinked",
            Self::Loose => "loose",
        }
    }
}

/// A piece of yarn of its own. Later pieces lie on earlier ones.
#[derive(Debug, Clone, PartialEq)]
pub struct PieceSpec {
    /// The yarn.
    pub yarn: YarnSpec,
    /// How it lies.
    pub arrangement: Arrangement,
    /// Its middle.
    pub middle: [f64; 2],
    /// Length, mm.
    pub length_mm: f64,
    /// Mean direction, degrees anticlockwise from the card's x axis.
    pub angle_deg: f64,
    /// Sideways wander, mm.
    pub bow_mm: f64,
    /// Length of the wander's waves against those of [`Laying`]'s, 110 to 190 mm and about half of that.
    pub wave: f64,
    /// Seed of the wander: pieces with one seed run alike.
    pub course: u64,
    /// Closed loops of the whole strand.
    pub kinks: usize,
    /// Whether its ends are cut within the scene.
    pub cut: bool,
}

/// The unit of a ruler.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RulerUnit {
    /// Millimetres, numbered in centimetres.
    Mm,
    /// Parts of an inch, numbered in inches.
    Inch,
}

/// A ruler printed along one edge.
#[derive(Debug, Clone, PartialEq)]
pub struct RulerSpec {
    /// Unit.
    pub unit: RulerUnit,
    /// Ranks of ticks, the longest first: (ticks per numbered unit, length in mm, thickness in mm).
    pub ranks: Vec<(u32, f64, f64)>,
    /// Distance of the first tick from the card's left edge, mm.
    pub start_mm: f64,
    /// Last tick, mm after the first.
    pub length_mm: f64,
    /// Distance of the ticks' feet from the card's edge, mm.
    pub inset_mm: f64,
    /// Height of the numerals, mm.
    pub numeral_mm: f64,
    /// Whether the numerals count millimetres (10, 20) instead of the larger unit (1, 2).
    pub counts_mm: bool,
    /// Along the top edge, read from there, instead of the bottom one.
    pub at_top: bool,
}

/// What is printed on the card.
#[derive(Debug, Clone, PartialEq)]
pub enum Face {
    /// Nothing.
    Blank,
    /// A ruler.
    Ruler(RulerSpec),
    /// The project's own ruler card.
    RulerCard(Arc<PrintedCard>),
}

/// The card under the yarn.
#[derive(Debug, Clone, PartialEq)]
pub struct CardSpec {
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Its colour.
    pub colour: Albedo,
    /// What is printed on it.
    pub face: Face,
}

/// The table around the card.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pattern {
    /// One colour, slightly cloudy.
    Plain,
    /// Boards with grain.
    Wood,
    /// Checked cloth.
    Gingham,
    /// Woven cloth.
    Linen,
    /// Stone with veins.
    Marble,
    /// Stripes of several widths.
    Stripes,
    /// Round dots.
    Dots,
    /// Bands crossing one another in several widths.
    Plaid,
    /// Threads over and under, seen one by one.
    Weave,
    /// Diagonal ribs, as of denim.
    Twill,
    /// Straight ribs, rounded.
    Ribs,
    /// Lines of print.
    Print,
    /// From one colour to the other.
    Gradient,
    /// Coarse grains.
    Grain,
    /// Tiles with joints.
    Tiles,
    /// Pebbles or cells.
    Cells,
}

/// The table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TableSpec {
    /// Pattern.
    pub pattern: Pattern,
    /// Ground colour.
    pub colour: Albedo,
    /// Second colour of the pattern.
    pub accent: Albedo,
    /// Turn of the pattern, degrees.
    pub turn_deg: f64,
    /// Size of the pattern against its usual one.
    pub scale: f64,
}

/// Things that are no yarn. Positions in mm from the card's middle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Clutter {
    /// A pencil: two ends, thickness.
    Pencil {
        /// One end.
        from: [f64; 2],
        /// The other end.
        to: [f64; 2],
        /// Thickness, mm.
        thickness_mm: f64,
        /// Colour.
        colour: Albedo,
    },
    /// A bead.
    Bead {
        /// Middle.
        at: [f64; 2],
        /// Radius, mm.
        radius_mm: f64,
        /// Colour.
        colour: Albedo,
    },
    /// A square of coloured paper.
    Square {
        /// Middle.
        at: [f64; 2],
        /// Half the side, mm.
        half_mm: f64,
        /// Turn, degrees.
        turn_deg: f64,
        /// Colour.
        colour: Albedo,
    },
}

/// The light: one soft source from a side and the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightSpec {
    /// Where it comes from, degrees anticlockwise from the card's x axis.
    pub azimuth_deg: f64,
    /// Height over the card, degrees.
    pub elevation_deg: f64,
    /// Share of the light on the card that comes from the source; the rest comes from everywhere.
    pub direct: f64,
    /// Angular radius of the source, degrees: how soft the shadow's edge is.
    pub softness_deg: f64,
    /// Colour of the light.
    pub colour: Albedo,
    /// Change of brightness from one side of the picture to the other, relative.
    pub falloff: f64,
}

/// The camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraSpec {
    /// Width as displayed, px.
    pub width_px: usize,
    /// Height as displayed, px.
    pub height_px: usize,
    /// Focal length, px.
    pub focal_px: f64,
    /// Point of the card in the middle of the picture, mm.
    pub target: [f64; 2],
    /// Distance from lens to that point, mm.
    pub distance_mm: f64,
    /// Angle between the view axis and the card's normal, degrees.
    pub tilt_deg: f64,
    /// Direction of the tilt, degrees anticlockwise from the card's x axis.
    pub tilt_azimuth_deg: f64,
    /// Turn about the view axis, degrees.
    pub roll_deg: f64,
    /// Radial distortion: distorted = undistorted (1 + k1 r^2), r in focal lengths.
    pub k1: f64,
}

/// From light to file.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorSpec {
    /// Gaussian blur of lens and sensor in focus, px.
    pub lens_sigma_px: f64,
    /// Diameter of the circle of defocus, px.
    pub defocus_px: f64,
    /// Further Gaussian blur (shake), px.
    pub extra_blur_px: f64,
    /// Darkening in the corners, relative.
    pub vignette: f64,
    /// Noise at middle grey, code values.
    pub noise: f64,
    /// Sharpening by the camera: share of the difference from a blurred copy that is added.
    pub sharpening: f64,
    /// Code value (0 to 1, linear) of a white card in full light.
    pub exposure: f64,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
    /// Colour at half resolution.
    pub half_colour: bool,
    /// EXIF orientation, 1 to 8.
    pub orientation: u8,
    /// EXIF `FocalLengthIn35mmFilm`, mm.
    pub focal_35mm: Option<u16>,
    /// EXIF time, `YYYY:MM:DD hh:mm:ss`.
    pub taken: Option<String>,
    /// Samples per pixel and axis where yarn is.
    pub samples: usize,
}

/// One scene.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Its name.
    pub name: String,
    /// Words on its kind.
    pub kind: String,
    /// Seed of everything left to chance.
    pub seed: u64,
    /// `None` where lengths may be measured, else why they may not.
    pub refuse: Option<String>,
    /// The yarn, and how it lies.
    pub yarn: Option<(YarnSpec, Laying)>,
    /// Further pieces of yarn.
    pub pieces: Vec<PieceSpec>,
    /// The card.
    pub card: CardSpec,
    /// The table.
    pub table: TableSpec,
    /// A picture in place of the table's pattern.
    pub picture: Option<PictureSpec>,
    /// Other things.
    pub clutter: Vec<Clutter>,
    /// Things of many kinds; later ones lie on earlier ones.
    pub things: Vec<Thing>,
    /// The light.
    pub light: LightSpec,
    /// The camera.
    pub camera: CameraSpec,
    /// Sensor and file.
    pub sensor: SensorSpec,
}
