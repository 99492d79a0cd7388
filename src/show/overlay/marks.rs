//! What the stages saw, accepted and refused alike, as marks with a meaning on the photo.

use super::palette::Meaning;
use crate::base::geometry::{Image, Point};
use crate::base::stats;
use crate::figures::Report;
use crate::measure::pipeline::{Evidence, Request};
use crate::measure::scale::{RulerSeen, RulerUnit, StatedScale, TickSeen};
use crate::measure::strand::{LeftOutWhy, Station, Strand};

/// The shape of a mark.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    /// An open line.
    Line(Vec<Point<Image>>),
    /// A closed line.
    Outline(Vec<Point<Image>>),
    /// Slanting strokes, each from one end to the other.
    Hatch(Vec<[Point<Image>; 2]>),
    /// A dot.
    Dot(Point<Image>),
    /// A ring with its radius in px of the photo.
    Ring(Point<Image>, f64),
    /// A number in a badge.
    Badge(Point<Image>, String),
    /// A word, beside this point.
    Word(Point<Image>, String),
}

/// A mark on the photo.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Mark {
    pub(super) meaning: Meaning,
    pub(super) shape: Shape,
}

/// All marks of one photo, in the order of painting. `fine_px`: how many px of the photo one px of the page covers.
pub(super) fn on_photo(request: &Request, report: &Report, evidence: &Evidence, fine_px: f64) -> Vec<Mark> {
    let mut marks = Marks { fine_px: fine_px.max(0.1), list: Vec::new() };
    marks.stated(request);
    if let Some(outline) = &evidence.scale.card_outline {
        marks.add(Meaning::Card, Shape::Outline(outline.clone()));
    }
    for card in &evidence.scale.cards {
        let meaning = if card.chosen { Meaning::Card } else { Meaning::OtherRuler };
        marks.add(meaning, Shape::Outline(card.outline.clone()));
        card.as_rulers().iter().filter(|scale| scale.chosen).for_each(|scale| marks.ruler(scale));
    }
    for ruler in &evidence.scale.rulers {
        marks.ruler(ruler);
    }
    for refused in &evidence.strands.refused {
        marks.add(Meaning::Refused, Shape::Outline(refused.outline.clone()));
        // Small things (numerals, knots of a board) are only outlined: their words would hide the yarn.
        if let Some(at) = topmost(&refused.outline).filter(|_| extent(&refused.outline) > 80.0 * marks.fine_px) {
            marks.add(Meaning::Refused, Shape::Word(at, refused.why.to_owned()));
        }
    }
    for strand in &evidence.strands.pieces {
        marks.strand(strand);
    }
    for strand in evidence.strands.pieces.iter().filter(|s| s.chosen) {
        marks.faults(strand, report, evidence);
    }
    if let Some(wraps) = &evidence.strands.wraps {
        for centre in &wraps.centres {
            marks.add(Meaning::Wrap, Shape::Dot(*centre));
        }
    }
    // Numbers last, so that nothing covers them.
    for card in &evidence.scale.cards {
        if let Some(at) = middle(&card.outline) {
            let meaning = if card.chosen { Meaning::Card } else { Meaning::OtherRuler };
            marks.add(meaning, Shape::Badge(at, format!("R{}", card.number)));
        }
    }
    for ruler in &evidence.scale.rulers {
        let first = ruler.ticks.iter().min_by(|a, b| (a.foot.x + a.foot.y).total_cmp(&(b.foot.x + b.foot.y)));
        if let Some(at) = first.map(|t| marks.beyond_foot(t, 26.0)).or_else(|| middle(&ruler.area)) {
            let meaning = if ruler.chosen { Meaning::Tick } else { Meaning::OtherRuler };
            marks.add(meaning, Shape::Badge(at, format!("R{}", ruler.number)));
        }
    }
    for strand in &evidence.strands.pieces {
        if let Some(at) = beside(strand, marks.fine_px * 26.0) {
            let meaning = if strand.chosen { Meaning::Edge } else { Meaning::OtherPiece };
            marks.add(meaning, Shape::Badge(at, strand.number.to_string()));
        }
    }
    marks.list
}

struct Marks {
    fine_px: f64,
    list: Vec<Mark>,
}

impl Marks {
    fn add(&mut self, meaning: Meaning, shape: Shape) {
        self.list.push(Mark { meaning, shape });
    }

    fn stated(&mut self, request: &Request) {
        if let Some(region) = request.strand.region {
            let (a, b) = (region.min, region.max);
            let corners = vec![a, Point::new(b.x, a.y), b, Point::new(a.x, b.y)];
            self.add(Meaning::Stated, Shape::Outline(corners));
        }
        match request.scale.stated {
            Some(StatedScale::TwoPoints { from, to, distance_mm }) => {
                self.add(Meaning::Stated, Shape::Line(vec![from, to]));
                self.add(Meaning::Stated, Shape::Dot(from));
                self.add(Meaning::Stated, Shape::Dot(to));
                self.add(Meaning::Stated, Shape::Word(from.lerp(to, 0.5), format!("{distance_mm} mm, stated")));
            }
            Some(StatedScale::DotsPerInch(_)) | None => {}
        }
    }

    fn ruler(&mut self, ruler: &RulerSeen) {
        if !ruler.chosen {
            self.add(Meaning::OtherRuler, Shape::Outline(ruler.area.clone()));
            return;
        }
        for tick in &ruler.ticks {
            let meaning = if tick.place_mm.is_some() { Meaning::Tick } else { Meaning::OddTick };
            self.add(meaning, Shape::Line(vec![tick.foot, tick.tip]));
        }
        // Every tenth millimetre or whole inch from the first mark on is named, so that one can count along.
        let (step, unit) = match ruler.unit {
            Some(RulerUnit::Inch) => (crate::base::units::MM_PER_INCH, "in"),
            Some(RulerUnit::Mm) | None => (10.0, "cm"),
        };
        let placed = || ruler.ticks.iter().filter_map(|t| Some((t, t.place_mm?)));
        let low = placed().min_by(|a, b| a.1.total_cmp(&b.1));
        let high = placed().max_by(|a, b| a.1.total_cmp(&b.1));
        let (Some(low), Some(high)) = (low, high) else { return };
        // Counted from the left or the top, whichever way the ruler runs.
        let along = high.0.foot - low.0.foot;
        let from = if along.x + along.y < 0.0 { high.1 } else { low.1 };
        for (tick, place) in placed().map(|(t, place)| (t, (place - from).abs())) {
            let steps = place / step;
            // A twentieth of a step: nearer than any other mark of either ruler.
            if (steps - steps.round()).abs() < 0.02 && steps.round() > 0.0 {
                let past = self.beyond_foot(tick, 20.0);
                self.add(Meaning::Tick, Shape::Word(past, format!("+{} {unit}", steps.round())));
            }
        }
    }

    /// A place outside the ruler, beside a tick's foot, `page_px` of the page away from it.
    fn beyond_foot(&self, tick: &TickSeen, page_px: f64) -> Point<Image> {
        let out = (tick.foot - tick.tip).unit().unwrap_or(Point::new(0.0, 1.0));
        tick.foot + out * (page_px * self.fine_px)
    }

    fn strand(&mut self, strand: &Strand) {
        if !strand.chosen {
            for side in [Side::Left, Side::Right] {
                let line = strand.stations.iter().map(|s| edge(s, side)).collect::<Vec<_>>();
                self.add(Meaning::OtherPiece, Shape::Line(self.thinned(&line)));
            }
            return;
        }
        for run in runs(&strand.stations) {
            match run.first().and_then(|s| s.left_out) {
                None => {
                    for side in [Side::Left, Side::Right] {
                        let line = run.iter().map(|s| edge(s, side)).collect::<Vec<_>>();
                        self.add(Meaning::Edge, Shape::Line(self.thinned(&line)));
                    }
                    let line = run.iter().map(|s| s.centre).collect::<Vec<_>>();
                    self.add(Meaning::CentreLine, Shape::Line(self.thinned(&line)));
                }
                Some(why) => self.left_out(strand, run, why),
            }
        }
        for kink in strand.kinks.iter().flatten() {
            self.add(Meaning::Kink, Shape::Ring(*kink, 1.6 * usual_width(strand)));
        }
    }

    fn left_out(&mut self, strand: &Strand, run: &[Station], why: LeftOutWhy) {
        let half = 0.7 * usual_width(strand);
        let every = ((7.0 * self.fine_px / strand.step_px.max(1e-3)).round() as usize).max(1);
        let slant = half.min(12.0 * self.fine_px);
        let strokes = run
            .iter()
            .step_by(every)
            .map(|s| {
                let along = Point::new(s.normal.y, -s.normal.x) * slant;
                [s.centre - s.normal * half - along, s.centre + s.normal * half + along]
            })
            .collect();
        self.add(Meaning::LeftOut, Shape::Hatch(strokes));
        if let Some(s) = run.get(run.len() / 2) {
            let at = s.centre + s.normal * (half + 16.0 * self.fine_px);
            self.add(Meaning::LeftOut, Shape::Word(at, why.word().to_owned()));
        }
    }

    fn faults(&mut self, strand: &Strand, report: &Report, evidence: &Evidence) {
        for fault in super::strips::faults_in_stations(strand, report, evidence) {
            let Some(run) = strand.stations.get(fault.stations.clone()) else { continue };
            let half = 0.9 * usual_width(strand);
            let mut around: Vec<_> = run.iter().map(|s| s.centre - s.normal * half).collect();
            around.extend(run.iter().rev().map(|s| s.centre + s.normal * half));
            self.add(Meaning::Fault, Shape::Outline(self.thinned(&around)));
            if let Some(s) = run.get(run.len() / 2) {
                let at = s.centre - s.normal * (half + 16.0 * self.fine_px);
                self.add(Meaning::Fault, Shape::Word(at, fault.words));
            }
        }
    }

    /// The line with points about two px of the page apart.
    fn thinned(&self, line: &[Point<Image>]) -> Vec<Point<Image>> {
        let mut out: Vec<Point<Image>> = Vec::new();
        for (i, p) in line.iter().enumerate() {
            let far = out.last().is_none_or(|last| last.distance(*p) >= 2.0 * self.fine_px);
            if far || i + 1 == line.len() {
                out.push(*p);
            }
        }
        out
    }
}

#[derive(Clone, Copy)]
enum Side {
    Left,
    Right,
}

fn edge(station: &Station, side: Side) -> Point<Image> {
    let offset = match side {
        Side::Left => station.left.offset_px,
        Side::Right => station.right.offset_px,
    };
    station.centre + station.normal * offset
}

/// Neighbouring stations that are measured, or left out for the same reason.
pub(super) fn runs(stations: &[Station]) -> impl Iterator<Item = &[Station]> {
    stations.chunk_by(|a, b| a.left_out == b.left_out)
}

/// Median width of a piece where it is measured, px of the photo; 8 where nothing is.
pub(super) fn usual_width(strand: &Strand) -> f64 {
    let widths: Vec<f64> = strand.stations.iter().filter(|s| s.left_out.is_none()).map(Station::width_px).collect();
    let all = || stats::median(&strand.stations.iter().map(Station::width_px).collect::<Vec<_>>());
    stats::median(&widths).or_else(all).filter(|w| *w > 0.0).unwrap_or(8.0)
}

/// A place beside a piece for its number: at its first measured station, `distance` px from the edge.
fn beside(strand: &Strand, distance: f64) -> Option<Point<Image>> {
    let station = strand.stations.iter().find(|s| s.left_out.is_none()).or_else(|| strand.stations.first())?;
    let offset = usual_width(strand) / 2.0 + distance;
    // Upwards or to the left, wherever the normal points: numbers of neighbouring pieces then stand alike.
    let up = if station.normal.x + station.normal.y > 0.0 { -1.0 } else { 1.0 };
    Some(station.centre + station.normal * (offset * up))
}

fn topmost(outline: &[Point<Image>]) -> Option<Point<Image>> {
    outline.iter().copied().min_by(|a, b| a.y.total_cmp(&b.y))
}

/// The longer side of the upright box around an outline, px of the photo.
fn extent(outline: &[Point<Image>]) -> f64 {
    let span = |of: fn(&Point<Image>) -> f64| {
        let values = outline.iter().map(of).filter(|v| v.is_finite());
        let (low, high) = values.fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
        (high - low).max(0.0)
    };
    span(|p| p.x).max(span(|p| p.y))
}

fn middle(outline: &[Point<Image>]) -> Option<Point<Image>> {
    let n = outline.len() as f64;
    let sum = outline.iter().fold(Point::new(0.0, 0.0), |sum, p| sum + *p);
    (n > 0.0).then(|| sum * (1.0 / n))
}
