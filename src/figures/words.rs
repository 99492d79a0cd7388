//! The fixed words of the report: methods, reasons, warnings. Word, sentence and advice stand beside the variant, once.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How a figure was obtained.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Scale from the printed ruler card.
    RulerCard,
    /// Scale from a ruler in millimetres.
    RulerMm,
    /// Scale from a ruler in inches.
    RulerInch,
    /// Stated by the person.
    Stated,
    /// From the camera's pose against the card.
    CardPose,
    /// Distance between the two edges of the yarn's body.
    CoreEdge,
    /// The greatest extent that the turning plies fill.
    Envelope,
    /// From the mean diameter.
    FromDiameter,
    /// Wraps counted side by side.
    WrapsCounted,
    /// Along the centre line.
    CentreLine,
    /// The angle of the visible lines.
    LineAngle,
    /// The angle of the lines and the local width.
    AngleAndWidth,
    /// Counting what passes along the strand.
    Counting,
    /// Several kinds of evidence that agree.
    Combined,
    /// Statistics along the strand.
    AlongStrand,
    /// Cover outside the core.
    HaloCover,
}

macro_rules! reasons {
    ($($(#[$doc:meta])* $variant:ident => $code:literal, $message:literal;)*) => {
        /// Why a figure has no value.
        #[derive(Debug, Clone, PartialEq, Eq)]
        pub enum Reason {
            $($(#[$doc])* $variant,)*
            /// A reason read back from a saved report of another version, kept as it stands.
            Other {
                /// Its word.
                code: String,
                /// Its sentence.
                message: String,
            },
        }

        impl Reason {
            /// Every reason that this version gives.
            pub const ALL: &'static [Reason] = &[$(Reason::$variant,)*];

            /// The fixed short word.
            #[must_use]
            pub fn code(&self) -> &str {
                match self {
                    $(Self::$variant => $code,)*
                    Self::Other { code, .. } => code,
                }
            }

            /// One sentence, and what to do.
            #[must_use]
            pub fn message(&self) -> String {
                match self {
                    $(Self::$variant => $message.to_owned(),)*
                    Self::Other { message, .. } => message.clone(),
                }
            }

            /// The reason that a saved report names; an unknown word is kept as it stands.
            #[must_use]
            pub fn from_written(code: &str, message: &str) -> Self {
                match code {
                    $($code => Self::$variant,)*
                    _ => Self::Other { code: code.to_owned(), message: message.to_owned() },
                }
            }
        }
    };
}

reasons! {
    /// No ruler, card or stated scale.
    NoScale => "no-scale", "No ruler or ruler card was found, so lengths are unknown; lay one beside the yarn, or state --dpi or two points and their distance.";
    /// A ruler was found, its unit could not be told.
    UnitUnclear => "unit-unclear", "A ruler was found, but whether it shows millimetres or parts of an inch could not be told; state it with --unit.";
    /// Rulers were found, none of the number that was asked for.
    NoSuchRuler => "no-such-ruler", "The photo shows no ruler of that number; the overlay numbers those that were found.";
    /// A ruler was found, its marks do not divide the unit that was stated.
    UnitMismatch => "unit-mismatch", "The ruler that was found does not divide the unit stated with --unit; leave --unit out to see what its marks show.";
    /// Yarn was found, no piece of the number that was asked for.
    NoSuchStrand => "no-such-strand", "No piece of yarn has that number; the overlay numbers those that were found.";
    /// No yarn.
    NoStrand => "no-strand", "No yarn was found; lay it on a plain card of another colour, or point to it with --region.";
    /// Yarn, but no clean stretch of it.
    NoCleanStretch => "no-clean-stretch", "Yarn was found, but no stretch lies clear of crossings and neighbours for long enough; lay one strand by itself.";
    /// Too few pixels across.
    TooFewPixels => "too-few-pixels", "The yarn is too few pixels across for this figure; move closer or use the small card.";
    /// Out of focus or shaken.
    TooBlurred => "too-blurred", "The picture is too blurred for this figure; focus on the yarn and hold still.";
    /// A thing without leaning fibres or plies.
    NoYarnStructure => "no-yarn-structure", "What was found shows neither leaning fibres nor plies, so it may be no yarn; if it is, light it from the side, move closer, or point to it with --strand or --region.";
    /// The lines of twist cannot be seen.
    TwistNotVisible => "twist-not-visible", "No lines of twist could be seen; light the yarn from the side and move closer.";
    /// Two kinds of evidence that ought to agree do not.
    RoutesDisagree => "routes-disagree", "Two ways of measuring this do not agree; look at the overlay, and state what you know (--plies, --strand).";
    /// How many plies cannot be told.
    PliesUnclear => "plies-unclear", "How many plies the yarn has could not be told; state it with --plies.";
    /// More plies than the method knows.
    TooManyPlies => "too-many-plies", "Twist is counted in yarn of up to four plies; of this one only direction and thickness are measured.";
    /// Needs a ply count above one.
    Singles => "singles", "Singles have no plies, so this figure does not apply.";
    /// Too short a piece.
    TooShort => "too-short", "Too little yarn was measured for this figure; lay a longer piece, or several.";
    /// Only one piece.
    OnePiece => "one-piece", "Only one piece of yarn was measured; lay several for this figure.";
    /// Photos of one sample contradict each other.
    PhotosDisagree => "photos-disagree", "The photos of this sample contradict each other here; look at their overlays, and leave out the one that shows something else.";
    /// A figure that belongs to a single photo.
    SeveralPhotos => "several-photos", "This figure belongs to one photo at its distance; look at the photos one by one.";
    /// Only one photo.
    OnePhoto => "one-photo", "Only one photo answers this; photograph more of the same yarn.";
    /// The edge between yarn and ground cannot be seen.
    EdgeUnclear => "edge-unclear", "The edge between yarn and ground could not be placed; lay a card of another shade under the yarn.";
    /// The file keeps too few shades to place an edge.
    TooFewShades => "too-few-shades", "The file keeps too few shades to place the yarn's edges, because it has few colours or was compressed hard; measure the camera's own file.";
    /// The fibres' own direction cannot be seen.
    FibresNotVisible => "fibres-not-visible", "Single fibres could not be seen on the surface; move closer and focus.";
    /// The camera's pose cannot be told from what is seen.
    PoseUnclear => "pose-unclear", "The camera's tilt could not be told from what is seen of the ruler.";
    /// Not computed for this arrangement of yarn.
    NotForArrangement => "not-for-this-arrangement", "This figure is not measured on yarn laid like this; lay a single strand by itself.";
    /// A figure that this version does not measure.
    NotYet => "not-measured-yet", "This version does not measure this figure yet; nothing about the photo is wrong.";
    /// A computation did not end in a number.
    NotFinite => "not-finite", "The measurement did not come out as a number; please report this photo.";
}

/// A remark on the whole report.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Warning {
    /// A fixed short word.
    pub code: String,
    /// One sentence, and what to do.
    pub message: String,
}
