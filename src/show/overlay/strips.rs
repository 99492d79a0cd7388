//! A measured piece laid straight: three close-ups, the whole piece, its width and its twist along it.

use std::ops::Range;

use super::marks::{runs, usual_width};
use super::paint::{Canvas, Place};
use super::palette::{DARK, FAINT, Ink, Meaning, PAPER, TEXT};
use crate::base::colour::srgb_of_linear;
use crate::base::font::text_width;
use crate::base::raster::Raster;
use crate::base::stats;
use crate::base::units::Mm;
use crate::figures::Report;
use crate::figures::report::{FaultKind, TwistDirection};
use crate::measure::evenness::{RuledPiece, lay_out};
use crate::measure::pipeline::Evidence;
use crate::measure::strand::{Station, Strand};
use crate::measure::twist::StrandTwist;

/// Left of every row, for its name and numbers, px of the page.
const GUTTER: f64 = 116.0;
const HEADING: f64 = 34.0;
const CLOSE_UPS: usize = 3;
const CLOSE_UP_HEIGHT: f64 = 132.0;
/// Width of the yarn in a close-up: large enough to see fibres lie beside the drawn angle.
const YARN_IN_CLOSE_UP: f64 = 58.0;
const PLOT_HEIGHT: f64 = 96.0;
const GAP: f64 = 12.0;
/// Under the whole piece, for the letters of the close-ups.
const LETTERS: f64 = 24.0;
const SMALL: f64 = 13.5;
/// Most that a pixel of the photo is enlarged; beyond it only blocks can be seen.
const MOST_ENLARGED: f64 = 8.0;

/// A fault with the stations that it covers.
pub(super) struct FaultInStations {
    pub(super) stations: Range<usize>,
    pub(super) words: String,
}

/// The faults of one piece, in its stations.
pub(super) fn faults_in_stations(strand: &Strand, report: &Report, evidence: &Evidence) -> Vec<FaultInStations> {
    let Some(faults) = &report.sample.evenness.faults else { return Vec::new() };
    let ruled = ruled(strand, report, evidence);
    if !ruled.in_mm {
        return Vec::new();
    }
    let station_at = |mm: f64| ruled.stations.partition_point(|s| s.at < mm);
    faults
        .list
        .iter()
        .filter(|fault| fault.strand == strand.number)
        .map(|fault| {
            let kind = match fault.kind {
                FaultKind::Thick => "thick",
                FaultKind::Thin => "thin",
            };
            FaultInStations {
                stations: station_at(fault.start_mm)..station_at(fault.start_mm + fault.length_mm),
                words: format!("{kind} {:+.0} %", fault.deviation_percent),
            }
        })
        .collect()
}

/// The piece along the ruler, as the report's figures lie along it.
fn ruled(strand: &Strand, report: &Report, evidence: &Evidence) -> RuledPiece {
    let height = report.sample.envelope_diameter_mm.value().or(report.sample.diameter_mm.value());
    lay_out(strand, evidence.scale.scale.known(), Mm(height.copied().unwrap_or_default() / 2.0))
}

/// One piece's panel, ready to be drawn.
pub(super) struct Panel<'a> {
    strand: &'a Strand,
    twist: Option<&'a StrandTwist>,
    direction: Option<TwistDirection>,
    report: &'a Report,
    ruled: RuledPiece,
    faults: Vec<FaultInStations>,
    /// Median width, in columns of the strip.
    width_columns: f64,
}

impl<'a> Panel<'a> {
    /// The panel of a piece; `None` where nothing of it is measured.
    pub(super) fn new(strand: &'a Strand, report: &'a Report, evidence: &'a Evidence) -> Option<Self> {
        strand.stations.iter().any(|s| s.left_out.is_none()).then_some(())?;
        (strand.step_px > 0.0 && strand.stations.len() > 3).then_some(())?;
        Some(Self {
            strand,
            twist: evidence.twist.pieces.iter().find(|t| t.strand == strand.number),
            direction: report.sample.twist_direction.value().copied(),
            report,
            ruled: ruled(strand, report, evidence),
            faults: faults_in_stations(strand, report, evidence),
            width_columns: usual_width(strand) / strand.step_px,
        })
    }

    fn whole_scale(&self, width: f64) -> f64 {
        // The whole piece in one row, but never with the yarn larger than in a close-up.
        ((width - GUTTER) / self.strand.stations.len() as f64).min(YARN_IN_CLOSE_UP / self.width_columns)
    }

    fn whole_height(&self, width: f64) -> f64 {
        (self.whole_scale(width) * self.width_columns * 2.6).max(16.0).ceil()
    }

    /// Its height when drawn `width` px wide.
    pub(super) fn height(&self, width: f64) -> f64 {
        let plots = if self.twist_seen() { 2.0 } else { 1.0 };
        HEADING + CLOSE_UP_HEIGHT + 2.0 * GAP + self.whole_height(width) + LETTERS + plots * (PLOT_HEIGHT + GAP) + GAP
    }

    /// The meanings that it uses.
    pub(super) fn meanings(&self) -> Vec<Meaning> {
        let mut used = vec![Meaning::Edge];
        if self.twist.is_some_and(|t| t.angle_rad.iter().any(Option::is_some)) && self.direction.is_some() {
            used.push(Meaning::TwistLine);
        }
        if self.twist.is_some_and(|t| !t.bumps.is_empty()) {
            used.push(Meaning::Crest);
        }
        used
    }

    /// Draws it with its top-left corner at `at`.
    pub(super) fn draw(&self, canvas: &mut Canvas, at: Place, width: f64) {
        let (left, top) = at;
        let unit = if self.ruled.in_mm { "mm" } else { "px" };
        let heading =
            format!("Piece {}, laid straight: {:.0} {unit} measured", self.strand.number, self.ruled.measured_length());
        canvas.plain_line(&[(left, top + 2.0), (left + width, top + 2.0)], FAINT, 1.0);
        canvas.text((left, top + 24.0), 17.0, TEXT, &heading);
        let mut y = top + HEADING;
        let windows = self.close_ups(canvas, (left, y), width);
        y += CLOSE_UP_HEIGHT + 2.0 * GAP;
        self.whole(canvas, (left, y), width, &windows);
        y += self.whole_height(width) + LETTERS;
        self.width_plot(canvas, (left, y), width);
        y += PLOT_HEIGHT + GAP;
        if self.twist_seen() {
            self.twist_plot(canvas, (left, y), width);
        }
    }

    fn twist_seen(&self) -> bool {
        self.twist.is_some_and(|t| t.angle_rad.iter().chain(&t.turns).any(Option::is_some))
    }

    /// Three close-ups from the first, middle and last third of what is measured. Returns the columns that they show.
    fn close_ups(&self, canvas: &mut Canvas, (left, top): Place, width: f64) -> Vec<Range<f64>> {
        let stations = &self.strand.stations;
        let measured: Vec<usize> = (0..stations.len()).filter(|i| stations[*i].left_out.is_none()).collect();
        let scale = (YARN_IN_CLOSE_UP / self.width_columns).min(MOST_ENLARGED);
        let box_width = ((width - GUTTER - GAP * (CLOSE_UPS as f64 - 1.0)) / CLOSE_UPS as f64).floor();
        let columns = box_width / scale;
        let mut windows = Vec::new();
        self.name(canvas, (left, top), &["close-up", &magnification(scale / self.strand.step_px)]);
        for i in 0..CLOSE_UPS {
            let middle =
                measured.get(measured.len() * (2 * i + 1) / (2 * CLOSE_UPS)).copied().unwrap_or_default() as f64;
            // A short piece fits into one close-up; the others would repeat it.
            let last = (stations.len() as f64 - columns).max(0.0);
            let start = (middle - columns / 2.0).clamp(0.0, last);
            if windows.last().is_some_and(|w: &Range<f64>| start < w.start + columns / 2.0) {
                continue;
            }
            let x = left + GUTTER + windows.len() as f64 * (box_width + GAP);
            let view = View { origin: (x, top), scale, start, size: (box_width, CLOSE_UP_HEIGHT) };
            self.close_up(canvas, &view);
            windows.push(start..start + columns);
            canvas.label((x + 2.0, top + 12.0), SMALL, Meaning::Edge.look().ink, &letter(windows.len()));
        }
        windows
    }

    fn close_up(&self, canvas: &mut Canvas, view: &View) {
        self.picture(canvas, view);
        canvas.look_through(view.origin, view.size.0, view.size.1);
        let edge = Meaning::Edge.look();
        for (first, run) in self.runs_within(view) {
            if run.first().is_some_and(|s| s.left_out.is_some()) {
                self.hatched(canvas, view, first, run.len());
                continue;
            }
            for side in [|s: &Station| s.left.offset_px, |s: &Station| s.right.offset_px] {
                let line: Vec<Place> =
                    run.iter().enumerate().map(|(i, s)| self.place(view, (first + i) as f64, side(s))).collect();
                canvas.line(&line, &edge);
            }
        }
        self.twist_lines(canvas, view);
        self.crests(canvas, view, 3.4);
        canvas.look_at_all();
    }

    /// At every width along the piece, the helix that has the measured angle at the middle of the face. Between them
    /// the fibres stay visible, so that the eye can compare.
    fn twist_lines(&self, canvas: &mut Canvas, view: &View) {
        let (Some(twist), Some(direction)) = (self.twist, self.direction) else { return };
        let every = (self.width_columns * 1.5).round().max(1.0) as usize;
        let look = Meaning::TwistLine.look();
        for i in (every / 2..self.strand.stations.len()).step_by(every) {
            let (Some(Some(angle)), Some(station)) = (twist.angle_rad.get(i), self.strand.stations.get(i)) else {
                continue;
            };
            let x = i as f64;
            if station.left_out.is_some() || !view.shows(x) {
                continue;
            }
            let radius = station.width_px() / 2.0;
            let middle = (station.left.offset_px + station.right.offset_px) / 2.0;
            let line: Vec<Place> = helix(direction, *angle, radius)
                .into_iter()
                .map(|(along, across)| self.place(view, x + along / self.strand.step_px, middle + across))
                .filter(|p| view.holds(*p))
                .collect();
            canvas.line(&line, &look);
        }
    }

    fn crests(&self, canvas: &mut Canvas, view: &View, radius: f64) {
        let Some(twist) = self.twist else { return };
        let ink = Meaning::Crest.look().ink;
        for crest in twist.bumps.iter().filter(|p| view.shows(p.x)) {
            let offset = (crest.y - self.strand.strip.middle_row) * self.strand.strip.step_px;
            let at = self.place(view, crest.x, offset);
            if view.holds(at) {
                canvas.dot(at, radius, ink);
            }
        }
    }

    fn whole(&self, canvas: &mut Canvas, (left, top): Place, width: f64, windows: &[Range<f64>]) {
        let scale = self.whole_scale(width);
        let size = (scale * self.strand.stations.len() as f64, self.whole_height(width));
        let view = View { origin: (left + GUTTER, top), scale, start: 0.0, size };
        self.name(canvas, (left, top - 4.0), &["whole piece"]);
        self.picture(canvas, &view);
        for (first, run) in self.runs_within(&view) {
            if let Some(why) = run.first().and_then(|s| s.left_out) {
                self.hatched(canvas, &view, first, run.len());
                let (x, room) = (view.x(first as f64), run.len() as f64 * scale);
                if room > text_width(why.word(), SMALL) + 20.0 {
                    canvas.label((x + 4.0, top + size.1 / 2.0), SMALL, Meaning::LeftOut.look().ink, why.word());
                }
            }
        }
        let look = Meaning::Fault.look();
        for fault in &self.faults {
            let (a, b) = (view.x(fault.stations.start as f64), view.x(fault.stations.end as f64));
            canvas.outline(&[(a, top + 1.0), (b, top + 1.0), (b, top + size.1 - 1.0), (a, top + size.1 - 1.0)], &look);
            canvas.label((a, top - 6.0), SMALL, look.ink, &fault.words);
        }
        for (i, window) in windows.iter().enumerate() {
            let (a, b) = (view.x(window.start), view.x(window.end.min(self.strand.stations.len() as f64)));
            let y = top + size.1 + 3.0;
            canvas.plain_line(&[(a, y - 4.0), (a, y), (b, y), (b, y - 4.0)], TEXT, 1.5);
            canvas.text(((a + b) / 2.0 - 4.0, y + 12.0), SMALL, TEXT, &letter(i + 1));
        }
    }

    fn width_plot(&self, canvas: &mut Canvas, at: Place, width: f64) {
        let unit = if self.ruled.in_mm { "mm" } else { "px" };
        let lines: Vec<Vec<(f64, f64)>> = runs(&self.strand.stations)
            .scan(0, |first, run| {
                let start = *first;
                *first += run.len();
                Some((start, run))
            })
            .filter(|(_, run)| run.first().is_some_and(|s| s.left_out.is_none()))
            .map(|(start, run)| {
                let ruled = self.ruled.stations.get(start..start + run.len()).unwrap_or_default();
                ruled.iter().enumerate().map(|(i, s)| ((start + i) as f64, s.width)).collect()
            })
            .collect();
        // 30 % is where a place is called thick or thin.
        self.plot(
            canvas,
            at,
            width,
            &Plotted { name: "width", unit, spread: 0.3, ink: Meaning::Edge.look().ink, lines },
        );
    }

    fn twist_plot(&self, canvas: &mut Canvas, at: Place, width: f64) {
        let profile = self.report.strands.iter().find(|s| s.number == self.strand.number).map(|s| &s.profile);
        let turns: Vec<Vec<(f64, f64)>> = profile
            .map(|profile| {
                let places = profile.at_mm.iter().zip(&profile.twists_per_inch).map(|(mm, turns)| {
                    let column = self.ruled.stations.partition_point(|s| s.at < *mm) as f64;
                    (*turns).map(|t| (column, t))
                });
                unbroken(places)
            })
            .unwrap_or_default();
        let ink = Meaning::TwistLine.look().ink;
        if !turns.is_empty() {
            let plotted = Plotted { name: "twists per inch", unit: "", spread: 0.25, ink, lines: turns };
            return self.plot(canvas, at, width, &plotted);
        }
        let angles = self.twist.map(|t| {
            let places = t.angle_rad.iter().enumerate().map(|(i, a)| a.map(|a| (i as f64, a.to_degrees())));
            unbroken(places)
        });
        let lines = angles.unwrap_or_default();
        self.plot(canvas, at, width, &Plotted { name: "twist angle", unit: "°", spread: 0.25, ink, lines });
    }

    fn plot(&self, canvas: &mut Canvas, (left, top): Place, width: f64, plotted: &Plotted) {
        let scale = self.whole_scale(width);
        let (x0, x1) = (left + GUTTER, left + GUTTER + scale * self.strand.stations.len() as f64);
        let values: Vec<f64> = plotted.lines.iter().flatten().map(|(_, v)| *v).collect();
        let Some(middle) = stats::median(&values).filter(|m| *m > 0.0) else {
            self.name(canvas, (left, top), &[plotted.name]);
            canvas.text((x0 + 6.0, top + PLOT_HEIGHT / 2.0), SMALL, FAINT, "not seen on this piece");
            return;
        };
        canvas.block((x0, top), x1 - x0, PLOT_HEIGHT, Ink(0xff, 0xff, 0xff), 1.0);
        // Twice the spread to either side of the median fills the plot; what lies beyond runs along its rim.
        let y = |v: f64| top + PLOT_HEIGHT * (0.5 - (v / middle - 1.0) / (4.0 * plotted.spread)).clamp(0.01, 0.99);
        self.name(canvas, (left, top - 10.0), &[plotted.name]);
        for (factor, ink) in [(1.0 + plotted.spread, FAINT), (1.0, TEXT), (1.0 - plotted.spread, FAINT)] {
            let value = middle * factor;
            canvas.plain_line(&[(x0, y(value)), (x1, y(value))], ink, if factor == 1.0 { 1.0 } else { 0.6 });
            let text = format!(
                "{}{}",
                digits(value),
                if factor == 1.0 { format!(" {}", plotted.unit) } else { String::new() }
            );
            let text = text.trim_end();
            canvas.text((x0 - text_width(text, SMALL) - 8.0, y(value) + 5.0), SMALL, ink, text);
        }
        for line in &plotted.lines {
            let points: Vec<Place> = averaged(line, 1.5 / scale).iter().map(|(c, v)| (x0 + c * scale, y(*v))).collect();
            canvas.plain_line(&points, DARK, 2.6);
            canvas.plain_line(&points, plotted.ink, 1.6);
        }
    }

    fn name(&self, canvas: &mut Canvas, (left, top): Place, lines: &[&str]) {
        for (i, line) in lines.iter().enumerate() {
            canvas.text((left, top + 14.0 + i as f64 * 17.0), SMALL, TEXT, line);
        }
    }

    fn place(&self, view: &View, column: f64, offset_px: f64) -> Place {
        (view.x(column), view.origin.1 + view.size.1 / 2.0 + offset_px / self.strand.step_px * view.scale)
    }

    /// The runs of stations that the view shows, each with its first station's number.
    fn runs_within(&self, view: &View) -> Vec<(usize, &[Station])> {
        let stations = &self.strand.stations;
        let first = (view.start.floor().max(0.0) as usize).min(stations.len());
        let end = ((view.start + view.size.0 / view.scale).ceil() as usize).clamp(first, stations.len());
        let shown = stations.get(first..end).unwrap_or_default();
        runs(shown)
            .scan(first, |next, run| {
                let start = *next;
                *next += run.len();
                Some((start, run))
            })
            .collect()
    }

    fn hatched(&self, canvas: &mut Canvas, view: &View, first: usize, length: usize) {
        let (a, b) = (view.x(first as f64), view.x((first + length) as f64).min(view.origin.0 + view.size.0));
        let (top, bottom) = (view.origin.1, view.origin.1 + view.size.1);
        let slant = view.size.1.min(14.0) * 0.6;
        let look = Meaning::LeftOut.look();
        let mut x = a + slant;
        while x < b {
            canvas.line(&[(x - slant, bottom), (x, top)], &look);
            x += 9.0;
        }
    }

    /// The straightened picture, averaged where it is reduced.
    fn picture(&self, canvas: &mut Canvas, view: &View) {
        let strip = &self.strand.strip;
        let (width, height) = (view.size.0.floor().max(1.0) as usize, view.size.1.floor().max(1.0) as usize);
        let mut shown = Raster::filled(width, height, [PAPER.0, PAPER.1, PAPER.2]);
        let each = (1.0 / view.scale).ceil().clamp(1.0, 5.0) as usize;
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0.0f32; 3];
                let mut n = 0.0f32;
                for sub in 0..each * each {
                    let (dx, dy) = ((sub % each) as f64, (sub / each) as f64);
                    let along = |pixel: usize, d: f64| (pixel as f64 + (d + 0.5) / each as f64) / view.scale;
                    let column = view.start + along(x, dx);
                    let row = strip.middle_row + along(y, dy) - view.size.1 / 2.0 / view.scale;
                    if let Some(light) = sampled(&strip.rgb, column, row) {
                        sum.iter_mut().zip(light).for_each(|(s, l)| *s += l);
                        n += 1.0;
                    }
                }
                if n > 0.0 {
                    shown.set(x, y, sum.map(|s| srgb_of_linear(s / n)));
                }
            }
        }
        canvas.picture(view.origin.0.max(0.0) as u32, view.origin.1.max(0.0) as u32, &shown);
    }
}

/// The middle of one turn of a helix on a strand of this radius, as (along, across) in the unit of `radius`, with the
/// angle (radians) to the axis at the middle of the face. Along grows to the right and across downwards, as in the strip.
///
/// Held upright, the lines of Z rise to the right; laid along the page, they fall to the right.
fn helix(direction: TwistDirection, angle: f64, radius: f64) -> Vec<(f64, f64)> {
    let sense = match direction {
        TwistDirection::Z => 1.0,
        TwistDirection::S => -1.0,
    };
    // Beyond 0.9 rad the face turns away so far that no fibre can be seen there.
    (-9..=9)
        .map(|step| {
            let turned = f64::from(step) / 10.0;
            (sense * radius * turned / angle.tan().max(0.02), radius * turned.sin())
        })
        .collect()
}

/// A part of the strip on the page.
struct View {
    origin: Place,
    /// px of the page per column of the strip.
    scale: f64,
    /// The column at its left border.
    start: f64,
    size: (f64, f64),
}

impl View {
    fn x(&self, column: f64) -> f64 {
        self.origin.0 + (column - self.start + 0.5) * self.scale
    }
    fn shows(&self, column: f64) -> bool {
        let x = self.x(column);
        x >= self.origin.0 && x <= self.origin.0 + self.size.0
    }
    fn holds(&self, (x, y): Place) -> bool {
        (self.origin.0..=self.origin.0 + self.size.0).contains(&x)
            && (self.origin.1..=self.origin.1 + self.size.1).contains(&y)
    }
}

struct Plotted {
    name: &'static str,
    unit: &'static str,
    /// Where the two outer lines are, relative to the median.
    spread: f64,
    ink: Ink,
    /// Unbroken lines of (column, value).
    lines: Vec<Vec<(f64, f64)>>,
}

/// Splits where a value is missing.
fn unbroken(places: impl Iterator<Item = Option<(f64, f64)>>) -> Vec<Vec<(f64, f64)>> {
    let mut lines = vec![Vec::new()];
    for place in places {
        match (place, lines.last_mut()) {
            (Some(place), Some(line)) => line.push(place),
            (None, Some(line)) if !line.is_empty() => lines.push(Vec::new()),
            _ => {}
        }
    }
    lines.retain(|line| !line.is_empty());
    lines
}

/// Means over stretches of `step` columns.
fn averaged(line: &[(f64, f64)], step: f64) -> Vec<(f64, f64)> {
    line.chunk_by(|a, b| (a.0 / step).floor() == (b.0 / step).floor())
        .filter_map(|part| {
            let n = part.len() as f64;
            let (c, v) = part.iter().fold((0.0, 0.0), |(c, v), p| (c + p.0, v + p.1));
            (n > 0.0).then(|| (c / n, v / n))
        })
        .collect()
}

fn sampled(strip: &Raster<[f32; 3]>, column: f64, row: f64) -> Option<[f32; 3]> {
    if !strip.holds(column, row) {
        return None;
    }
    let (x, y) = (column.floor() as usize, row.floor() as usize);
    let (fx, fy) = ((column - x as f64) as f32, (row - y as f64) as f32);
    let at = |dx: usize, dy: usize| strip.get(x + dx, y + dy).or_else(|| strip.get(x, y));
    let (a, b, c, d) = (at(0, 0)?, at(1, 0)?, at(0, 1)?, at(1, 1)?);
    Some(std::array::from_fn(|i| {
        let (top, bottom) = (a[i] + (b[i] - a[i]) * fx, c[i] + (d[i] - c[i]) * fx);
        top + (bottom - top) * fy
    }))
}

fn letter(number: usize) -> String {
    ["a", "b", "c"].get(number.saturating_sub(1)).copied().unwrap_or("?").to_owned()
}

fn magnification(scale: f64) -> String {
    if scale >= 1.0 { format!("photo x {scale:.1}") } else { format!("photo / {:.1}", 1.0 / scale) }
}

/// A number for the side of a plot, three digits.
fn digits(value: f64) -> String {
    let decimals = (2.0 - value.abs().max(1e-6).log10().floor()).clamp(0.0, 4.0) as usize;
    format!("{value:.decimals$}")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: ISO 2, the letters themselves: the middle stroke of an upright Z rises to the right. Turned a quarter turn
    /// clockwise, up becomes right and right becomes down.
    #[test]
    fn the_lines_of_z_fall_to_the_right_along_the_page() {
        let slope = |direction| {
            let line = helix(direction, 0.5, 10.0);
            let (a, b) = (line[8], line[10]);
            (b.1 - a.1) / (b.0 - a.0)
        };
        // Near the middle of the face the slope is the angle's tangent; a tenth of a radian off it, 0.2 % less.
        assert!((slope(TwistDirection::Z) - 0.5f64.tan()).abs() < 0.002);
        assert!((slope(TwistDirection::S) + 0.5f64.tan()).abs() < 0.002);
    }

    #[test]
    fn lines_break_where_values_are_missing() {
        let places = [Some((0.0, 1.0)), None, None, Some((3.0, 2.0)), Some((4.0, 3.0)), None];
        assert_eq!(unbroken(places.into_iter()), [vec![(0.0, 1.0)], vec![(3.0, 2.0), (4.0, 3.0)]]);
        assert!(unbroken(std::iter::empty()).is_empty());
    }
}
