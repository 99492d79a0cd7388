//! What a mark on the overlay means, and the one look of each meaning.
//!
//! No meaning rests on colour alone: each has its own shape, dash or word. The colours stay apart for people who
//! confuse red and green (tested), and every line has a dark casing, so that it shows on white and on black yarn.

/// A colour, sRGB.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ink(pub u8, pub u8, pub u8);

/// The page.
pub const PAPER: Ink = Ink(0xf6, 0xf4, 0xef);
/// Text.
pub const TEXT: Ink = Ink(0x1d, 0x21, 0x26);
/// Text of less weight, and frames.
pub const FAINT: Ink = Ink(0x6a, 0x70, 0x78);
/// The casing of lines, and the ground of labels.
pub const DARK: Ink = Ink(0x14, 0x16, 0x1a);
/// White.
pub const WHITE: Ink = Ink(0xff, 0xff, 0xff);

/// The edges of the yarn: azure.
const AZURE: Ink = Ink(0x1a, 0xb8, 0xff);
/// Twist: amber.
const AMBER: Ink = Ink(0xff, 0xc4, 0x1f);
/// Rulers: rose.
const ROSE: Ink = Ink(0xff, 0x4d, 0xa6);
/// Faults: a deep red-orange, darker than all others.
const EMBER: Ink = Ink(0xd9, 0x3a, 0x00);
/// What was looked at and left: pale grey.
const PALE: Ink = Ink(0xe8, 0xe9, 0xeb);

/// What a mark means, in the order of the legend.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meaning {
    /// An edge of the body of a measured piece.
    Edge,
    /// The centre line of a measured piece.
    CentreLine,
    /// The angle of twist, drawn where it was measured.
    TwistLine,
    /// A ply's crest that was counted.
    Crest,
    /// A wrap that was counted.
    Wrap,
    /// A thick or thin place.
    Fault,
    /// A closed loop or doubling.
    Kink,
    /// A stretch that was not measured.
    LeftOut,
    /// A piece of yarn that is not measured.
    OtherPiece,
    /// Something taken for no yarn.
    Refused,
    /// A mark of the ruler from which the scale comes.
    Tick,
    /// A mark of that ruler which does not fit the others.
    OddTick,
    /// A ruler from which the scale does not come.
    OtherRuler,
    /// The outline of the card or ruler.
    Card,
    /// What the person stated: a region, two points.
    Stated,
}

/// How a meaning is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Its colour.
    pub ink: Ink,
    /// Width of its lines, px of the page.
    pub width: f64,
    /// Lengths of dash and gap, px of the page.
    pub dash: Option<[f64; 2]>,
    /// What the legend says.
    pub words: &'static str,
    /// How the legend shows it.
    pub sign: Sign,
}

/// The shape of a meaning's sign in the legend.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sign {
    /// A line.
    Line,
    /// Slanting strokes.
    Hatch,
    /// A dot.
    Dot,
    /// A ring.
    Ring,
    /// Short parallel strokes across.
    Ticks,
    /// A frame.
    Frame,
}

impl Meaning {
    /// All of them.
    pub const ALL: [Self; 15] = [
        Self::Edge,
        Self::CentreLine,
        Self::TwistLine,
        Self::Crest,
        Self::Wrap,
        Self::Fault,
        Self::Kink,
        Self::LeftOut,
        Self::OtherPiece,
        Self::Refused,
        Self::Tick,
        Self::OddTick,
        Self::OtherRuler,
        Self::Card,
        Self::Stated,
    ];

    /// Its name on pages, in lower case with hyphens.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Edge => "edge",
            Self::CentreLine => "centre-line",
            Self::TwistLine => "twist-line",
            Self::Crest => "crest",
            Self::Wrap => "wrap",
            Self::Fault => "fault",
            Self::Kink => "kink",
            Self::LeftOut => "left-out",
            Self::OtherPiece => "other-piece",
            Self::Refused => "refused",
            Self::Tick => "tick",
            Self::OddTick => "odd-tick",
            Self::OtherRuler => "other-ruler",
            Self::Card => "card",
            Self::Stated => "stated",
        }
    }

    /// Its look.
    #[must_use]
    pub fn look(self) -> Look {
        let look = |ink, width, dash, sign, words| Look { ink, width, dash, words, sign };
        match self {
            Self::Edge => look(AZURE, 1.9, None, Sign::Line, "edge of the yarn's body, measured"),
            Self::CentreLine => look(WHITE, 1.0, Some([7.0, 5.0]), Sign::Line, "centre line"),
            Self::TwistLine => look(AMBER, 2.0, None, Sign::Line, "measured angle of twist"),
            Self::Crest => look(AMBER, 1.2, None, Sign::Dot, "crest of a ply, counted"),
            Self::Wrap => look(AMBER, 1.2, None, Sign::Dot, "wrap, counted"),
            Self::Fault => look(EMBER, 2.2, None, Sign::Frame, "thick or thin place"),
            Self::Kink => look(EMBER, 2.2, None, Sign::Ring, "loop or doubling"),
            Self::LeftOut => look(WHITE, 1.4, None, Sign::Hatch, "not measured, and why"),
            Self::OtherPiece => {
                look(PALE, 1.4, Some([9.0, 5.0]), Sign::Line, "other piece, not measured (choose with --strand)")
            }
            Self::Refused => look(PALE, 1.0, Some([2.0, 4.0]), Sign::Frame, "taken for no yarn, and why"),
            Self::Tick => look(ROSE, 1.8, None, Sign::Ticks, "mark of the ruler used"),
            Self::OddTick => look(WHITE, 1.8, None, Sign::Ticks, "mark that did not fit, left out"),
            Self::OtherRuler => {
                look(ROSE, 1.4, Some([9.0, 5.0]), Sign::Frame, "other ruler, not used (choose with --ruler)")
            }
            Self::Card => look(ROSE, 1.2, Some([14.0, 5.0]), Sign::Frame, "edge of the card or ruler"),
            Self::Stated => look(WHITE, 1.8, Some([4.0, 4.0]), Sign::Frame, "stated by you"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::colour::LINEAR_OF_SRGB;

    /// What a dichromat sees, in linear RGB. Source: Vienot, Brettel and Mollon, "Digital video colourmaps for checking
    /// the legibility of displays by dichromats", Color Research & Application 24 (1999); matrices from memory.
    const PROTANOPE: [[f64; 3]; 3] = [[0.112, 0.888, 0.0], [0.112, 0.888, 0.0], [0.004, -0.004, 1.0]];
    const DEUTERANOPE: [[f64; 3]; 3] = [[0.293, 0.707, 0.0], [0.293, 0.707, 0.0], [-0.022, 0.022, 1.0]];

    /// CIELAB of linear RGB, D65. Source: CIE 15:2004; sRGB primaries of IEC 61966-2-1.
    fn lab([r, g, b]: [f64; 3]) -> [f64; 3] {
        let f = |t: f64| if t > 0.008_856 { t.max(0.0).cbrt() } else { 7.787 * t + 16.0 / 116.0 };
        let x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
        let y = f(0.2126 * r + 0.7152 * g + 0.0722 * b);
        let z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    fn seen(ink: Ink, eye: &[[f64; 3]; 3]) -> [f64; 3] {
        let linear = [ink.0, ink.1, ink.2].map(|c| f64::from(LINEAR_OF_SRGB[usize::from(c)]));
        lab(eye.map(|row| row.iter().zip(linear).map(|(k, v)| k * v).sum()))
    }

    /// A difference of 20 in CIELAB is seen at a glance, ten times what is just noticed side by side (common practice).
    #[test]
    fn colours_stay_apart_for_dichromats() {
        let inks = [AZURE, AMBER, ROSE, EMBER, PALE];
        for eye in [PROTANOPE, DEUTERANOPE] {
            for (i, a) in inks.iter().enumerate() {
                for b in &inks[i + 1..] {
                    let (p, q) = (seen(*a, &eye), seen(*b, &eye));
                    let apart = p.iter().zip(q).map(|(u, v)| (u - v).powi(2)).sum::<f64>().sqrt();
                    assert!(apart > 20.0, "{a:?} and {b:?}: {apart}");
                }
            }
        }
    }

    #[test]
    fn meanings_stand_in_the_order_of_the_legend() {
        assert!(Meaning::ALL.windows(2).all(|pair| pair[0] < pair[1]));
    }
}
