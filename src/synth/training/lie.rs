//! How training yarn lies: alone, in pieces, touching, crossing, wound, in skeins, kinked, loose, or not at all.

use super::super::chance::Chance;
use super::super::scene::{Albedo, Arrangement, CardSpec, Laying, PieceSpec, YarnSpec};
use super::{View, yarn};

/// How a scene's yarn lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    None,
    One,
    Cut,
    Apart,
    Touching,
    Crossing,
    Wraps,
    Skein,
    Kinked,
    Loose,
}

impl Style {
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::None => "no yarn",
            Self::One => "one strand",
            Self::Cut => "cut piece",
            Self::Apart => "pieces",
            Self::Touching => "touching",
            Self::Crossing => "crossing",
            Self::Wraps => "wraps",
            Self::Skein => "skein",
            Self::Kinked => "kinked",
            Self::Loose => "loose",
        }
    }
}

/// A straight line that yarn runs about: middle, direction in degrees, half length, half width, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub(super) middle: [f64; 2],
    pub(super) angle_deg: f64,
    pub(super) half_length: f64,
    pub(super) half_width: f64,
}

/// Yarn as laid.
#[derive(Debug)]
pub(super) struct Laid {
    pub(super) yarn: Option<(YarnSpec, Laying)>,
    pub(super) pieces: Vec<PieceSpec>,
    pub(super) lines: Vec<Line>,
    /// Colour of its first ply.
    pub(super) colour: Option<Albedo>,
}

/// Hairs in one scene at most: what costs more time than it teaches.
const MOST_HAIRS: f64 = 12_000.0;

pub(super) fn style(chance: &mut Chance) -> Style {
    let weights = [
        (Style::None, 12.0),
        (Style::One, 28.0),
        (Style::Cut, 10.0),
        (Style::Apart, 11.0),
        (Style::Touching, 9.0),
        (Style::Crossing, 9.0),
        (Style::Wraps, 7.0),
        (Style::Skein, 5.0),
        (Style::Kinked, 5.0),
        (Style::Loose, 4.0),
    ];
    let mut at = chance.unit() * weights.iter().map(|w| w.1).sum::<f64>();
    for (style, weight) in weights {
        at -= weight;
        if at < 0.0 {
            return style;
        }
    }
    Style::One
}

pub(super) fn draw(chance: &mut Chance, style: Style, yarn: YarnSpec, view: &View, card: &CardSpec) -> Laid {
    let colour = yarn.plies.first().map(|p| p.colour).filter(|_| style != Style::None);
    let mut laid = Laid { yarn: None, pieces: Vec::new(), lines: Vec::new(), colour };
    if style == Style::Wraps {
        let mut yarn = yarn;
        let pitch_mm = yarn.diameter_mm * chance.between(0.98, 1.5);
        let room = (card.width_mm - 6.0).min(2.2 * view.reach());
        let count = (room / pitch_mm * chance.between(0.3, 1.0)).clamp(3.0, 60.0) as usize;
        let first_mm = -0.5 * pitch_mm * (count as f64 - 1.0) * chance.between(0.4, 1.0);
        yarn.faults.clear();
        spare_hairs(&mut yarn, count as f64 * card.height_mm);
        laid.yarn = Some((yarn, Laying::Wraps { count, pitch_mm, first_mm }));
        laid.lines.push(Line {
            middle: [first_mm + 0.5 * count as f64 * pitch_mm, 0.0],
            angle_deg: 0.0,
            half_length: 0.5 * count as f64 * pitch_mm,
            half_width: card.height_mm / 2.0,
        });
        return laid;
    }
    laid.pieces = pieces(chance, style, &yarn, view);
    let total: f64 = laid.pieces.iter().map(|p| p.length_mm).sum();
    for piece in &mut laid.pieces {
        spare_hairs(&mut piece.yarn, total);
    }
    laid.lines = laid
        .pieces
        .iter()
        .map(|p| Line {
            middle: p.middle,
            angle_deg: p.angle_deg,
            half_length: p.length_mm / 2.0,
            half_width: 0.7 * p.yarn.diameter_mm + p.bow_mm,
        })
        .collect();
    laid
}

fn spare_hairs(yarn: &mut YarnSpec, length_mm: f64) {
    let wanted = yarn.hair.per_cm * length_mm / 10.0;
    yarn.hair.per_cm *= (MOST_HAIRS / wanted.max(1.0)).min(1.0);
}

fn pieces(chance: &mut Chance, style: Style, yarn: &YarnSpec, view: &View) -> Vec<PieceSpec> {
    let across = 2.0 * view.reach();
    let d = yarn.diameter_mm;
    let base = one(chance, yarn, view, style);
    let shifted = |piece: &PieceSpec, aside: f64, on: f64| {
        let (sine, cosine) = piece.angle_deg.to_radians().sin_cos();
        let [x, y] = piece.middle;
        PieceSpec { middle: [x - aside * sine + on * cosine, y + aside * cosine + on * sine], ..piece.clone() }
    };
    match style {
        Style::None | Style::Wraps => Vec::new(),
        Style::One | Style::Cut => vec![base],
        Style::Apart => {
            let count = 2 + (chance.unit() * 4.0) as usize;
            let alike = chance.happens(0.7);
            let spacing = (d * chance.log_between(1.8, 12.0)).min(across / count as f64);
            let cut = chance.happens(0.5);
            let one_course = chance.happens(0.3);
            (0..count)
                .map(|i| {
                    let aside = (i as f64 - 0.5 * (count as f64 - 1.0)) * spacing;
                    let mut piece = shifted(&base, aside, across * 0.05 * chance.normal());
                    piece.angle_deg += chance.normal() * (20.0 * spacing / across).min(2.0);
                    piece.bow_mm = piece.bow_mm.min(0.3 * spacing);
                    if !one_course {
                        piece.course = chance.bits();
                    }
                    piece.cut = cut;
                    if cut {
                        piece.length_mm = across * chance.between(0.25, 0.8);
                    }
                    if !alike && chance.happens(0.6) {
                        piece.yarn = other(chance, d, 0.6, 1.6);
                    }
                    piece
                })
                .collect()
        }
        Style::Touching => {
            let count = 2 + (chance.unit() * 3.0) as usize;
            let alike = chance.happens(0.65);
            let mut aside = 0.0;
            let mut last = d;
            (0..count)
                .map(|_| {
                    let mut piece = base.clone();
                    if !alike {
                        piece.yarn = other(chance, d, 0.7, 1.4);
                    }
                    aside += 0.5 * (last + piece.yarn.diameter_mm) * chance.between(0.98, 1.2);
                    last = piece.yarn.diameter_mm;
                    piece.angle_deg += 0.3 * chance.normal();
                    let on = if piece.cut { across * 0.04 * chance.normal() } else { 0.0 };
                    shifted(&piece, aside - 0.5 * d * (count as f64 + 1.0), on)
                })
                .collect()
        }
        Style::Crossing => {
            let count = 2 + usize::from(chance.happens(0.35));
            let alike = chance.happens(0.6);
            (0..count)
                .map(|i| {
                    let mut piece = base.clone();
                    if i > 0 {
                        piece.angle_deg += chance.between(15.0, 165.0);
                        piece.middle = view.somewhere(chance, 0.4);
                        piece.course = chance.bits();
                        if !alike {
                            piece.yarn = other(chance, d, 0.6, 1.6);
                        }
                    }
                    piece
                })
                .collect()
        }
        Style::Skein => {
            let count = (across * chance.between(0.1, 0.4) / d).clamp(5.0, 22.0) as usize;
            let spacing = d * chance.between(0.8, 1.15);
            let (scatter, shared) = (chance.between(0.1, 1.6), chance.happens(0.5));
            (0..count)
                .map(|i| {
                    let mut piece = shifted(&base, (i as f64 - 0.5 * count as f64) * spacing, 0.0);
                    piece.angle_deg += scatter * chance.normal();
                    if !shared {
                        piece.course = chance.bits();
                        piece.bow_mm = piece.bow_mm.min(2.0 * d);
                    }
                    piece
                })
                .collect()
        }
        Style::Kinked => vec![PieceSpec { kinks: 1 + (chance.unit() * 3.0) as usize, ..base }],
        Style::Loose => {
            // The shorter waves, half as long, still bend no tighter than a dozen diameters.
            let wave = (across * chance.between(0.15, 0.5)).max(24.0 * d) / 150.0;
            let count = 1 + usize::from(chance.happens(0.3));
            (0..count)
                .map(|_| PieceSpec {
                    wave,
                    bow_mm: 150.0 * wave * chance.between(0.15, 0.4),
                    course: chance.bits(),
                    length_mm: across * chance.between(0.8, 1.8),
                    cut: chance.happens(0.6),
                    middle: view.somewhere(chance, 0.3),
                    ..base.clone()
                })
                .collect()
        }
    }
}

/// Yarn of another kind, its diameter between two multiples of `d`.
fn other(chance: &mut Chance, d: f64, low: f64, high: f64) -> YarnSpec {
    let diameter_mm = d * chance.log_between(low, high);
    yarn::draw(chance, diameter_mm)
}

/// A piece right across the picture, or one cut within it.
fn one(chance: &mut Chance, yarn: &YarnSpec, view: &View, style: Style) -> PieceSpec {
    let across = 2.0 * view.reach();
    let cut = style == Style::Cut || (!matches!(style, Style::One | Style::Skein) && chance.happens(0.25));
    let middle = view.somewhere(chance, if cut { 0.5 } else { 0.45 });
    let off = (middle[0] - view.target[0]).hypot(middle[1] - view.target[1]);
    let length_mm = if cut { across * chance.between(0.2, 0.9) } else { 2.2 * view.far + 2.0 * off };
    PieceSpec {
        yarn: yarn.clone(),
        arrangement: match style {
            Style::Touching => Arrangement::Touching,
            Style::Crossing => Arrangement::Crossing,
            Style::Skein => Arrangement::Skein,
            Style::Kinked => Arrangement::Kinked,
            Style::Loose => Arrangement::Loose,
            _ => Arrangement::Single,
        },
        middle,
        length_mm,
        angle_deg: chance.between(0.0, 360.0),
        // Waves of the axis as long as half the picture to two of it; their height stays a gentle slope.
        bow_mm: across * chance.log_between(0.001, 0.06),
        wave: across * chance.between(0.6, 2.0) / 150.0,
        course: chance.bits(),
        kinks: 0,
        cut,
    }
}
