//! The picture of what was measured: so that the eye can agree or object.
//!
//! Above, the photo, reduced, with everything that the stages saw: the marks of every ruler, every piece of yarn with
//! its number, what was left out and why. Below, each measured piece laid straight, with its edges, the angle of twist,
//! its width and its twist along it. The picture carries no metadata of the photo.

mod marks;
mod paint;
pub mod palette;
mod sketch;
mod strips;
#[cfg(test)]
mod tests;

use fast_image_resize as resize;

pub use self::sketch::{At, MarkShown, PieceShown, RulerShown, Sketch, sketch};

use self::marks::{Mark, Shape};
use self::paint::{Canvas, Place};
use self::palette::{FAINT, Look, Meaning, PAPER, Sign, TEXT};
use self::strips::Panel;
use super::escape;
use super::summary;
use crate::base::font::text_width;
use crate::base::geometry::{Image, Point};
use crate::base::raster::Raster;
use crate::figures::Report;
use crate::measure::photo::Photo;
use crate::measure::pipeline::{Evidence, Request};
use crate::measure::strand::Arrangement;

/// Width of the page, px.
const PAGE_WIDTH: u32 = 1600;
const MARGIN: f64 = 20.0;
const HEADER: f64 = 92.0;
/// Highest photo on the page, px: a portrait stays as large as a landscape.
const PHOTO_HEIGHT: f64 = 1300.0;
/// Most that a small picture is enlarged.
const MOST_ENLARGED: f64 = 3.0;
const LEGEND_LINE: f64 = 24.0;
const LEGEND_COLUMN: f64 = 390.0;
/// Pieces that get a panel, and wraps or strands of a skein; more would make the page endless, and the photo shows all.
const PANELS: usize = 4;
const PANELS_OF_MANY: usize = 2;
const SMALL: f64 = 14.0;
/// Width of a number's badge.
const BADGE: f64 = 30.0;

/// Why the picture could not be made.
#[derive(Debug, thiserror::Error)]
pub enum OverlayError {
    /// The photo is empty or the page does not fit into memory.
    #[error("{file}: no overlay can be drawn of a picture of this size")]
    Size {
        /// The photo.
        file: String,
    },
    /// The picture could not be encoded.
    #[error("{file}: the overlay could not be encoded: {source}")]
    Encoding {
        /// The photo.
        file: String,
        /// What the encoder says.
        source: image::ImageError,
    },
}

/// Draws what was measured, as PNG.
///
/// # Errors
/// [`OverlayError`] for a photo without pixels or a page that does not fit into memory.
pub fn png(photo: &Photo, request: &Request, report: &Report, evidence: &Evidence) -> Result<Vec<u8>, OverlayError> {
    let too_large = || OverlayError::Size { file: escape::one_line(&photo.name) };
    let page = Page::laid_out(photo, request, report, evidence).ok_or_else(too_large)?;
    let canvas = page.drawn(photo, report).ok_or_else(too_large)?;
    canvas.into_png().map_err(|source| OverlayError::Encoding { file: escape::one_line(&photo.name), source })
}

/// Where everything goes.
struct Page<'a> {
    /// px of the page per px of the photo.
    scale: f64,
    /// Size of the photo on the page.
    photo: (u32, u32),
    marks: Vec<Mark>,
    panels: Vec<Panel<'a>>,
    legend: Vec<Meaning>,
    legend_at: Place,
    legend_columns: usize,
    panels_top: f64,
    height: u32,
}

impl<'a> Page<'a> {
    fn laid_out(photo: &Photo, request: &Request, report: &'a Report, evidence: &'a Evidence) -> Option<Self> {
        let (width, height) = (photo.rgb.width() as f64, photo.rgb.height() as f64);
        let room = f64::from(PAGE_WIDTH) - 2.0 * MARGIN;
        let scale = (room / width).min(PHOTO_HEIGHT / height).min(MOST_ENLARGED);
        (width > 0.0 && height > 0.0 && scale > 0.0).then_some(())?;
        let shown = ((width * scale).round().max(1.0), (height * scale).round().max(1.0));
        let marks = marks::on_photo(request, report, evidence, 1.0 / scale);
        let panels: Vec<Panel> = evidence
            .strands
            .pieces
            .iter()
            .filter(|s| s.chosen)
            .filter_map(|s| Panel::new(s, report, evidence))
            .take(if evidence.strands.arrangement == Arrangement::Separate { PANELS } else { PANELS_OF_MANY })
            .collect();
        let mut legend: Vec<Meaning> = marks.iter().map(|m| m.meaning).collect();
        legend.extend(panels.iter().flat_map(Panel::meanings));
        legend.sort_unstable();
        legend.dedup();
        // Beside a portrait the legend stands to its right.
        let beside = room - shown.0 >= LEGEND_COLUMN + MARGIN;
        let legend_columns = if beside { 1 } else { (room / LEGEND_COLUMN).floor().max(1.0) as usize };
        let legend_height = legend.len().div_ceil(legend_columns) as f64 * LEGEND_LINE + 8.0;
        let below = HEADER + shown.1 + 8.0;
        let legend_at = if beside { (MARGIN + shown.0 + MARGIN, HEADER) } else { (MARGIN, below) };
        let panels_top = if beside { below.max(HEADER + legend_height) } else { below + legend_height } + 8.0;
        let page_height = panels.iter().map(|p| p.height(room)).sum::<f64>() + panels_top + MARGIN;
        Some(Self {
            scale,
            photo: (shown.0 as u32, shown.1 as u32),
            marks,
            panels,
            legend,
            legend_at,
            legend_columns,
            panels_top,
            height: page_height.ceil() as u32,
        })
    }

    fn drawn(&self, photo: &Photo, report: &Report) -> Option<Canvas> {
        let mut canvas = Canvas::new(PAGE_WIDTH, self.height, PAPER)?;
        self.header(&mut canvas, report);
        let shown = reduced(&photo.rgb, self.photo)?;
        canvas.picture(MARGIN as u32, HEADER as u32, &shown);
        canvas.look_through((MARGIN, HEADER), f64::from(self.photo.0), f64::from(self.photo.1));
        let mut placed = [Words::default(), Words::default()];
        for mark in &self.marks {
            self.mark(&mut canvas, mark, &mut placed);
        }
        canvas.look_at_all();
        self.draw_legend(&mut canvas);
        let room = f64::from(PAGE_WIDTH) - 2.0 * MARGIN;
        let mut top = self.panels_top;
        for panel in &self.panels {
            panel.draw(&mut canvas, (MARGIN, top), room);
            top += panel.height(room);
        }
        Some(canvas)
    }

    fn header(&self, canvas: &mut Canvas, report: &Report) {
        let room = f64::from(PAGE_WIDTH) - 2.0 * MARGIN;
        let named = match &report.sample.label {
            Some(label) => format!("{} ({})", label, report.photo.file),
            None => report.photo.file.clone(),
        };
        let headline = format!("{}: {}", shortened(&escape::one_line(&named), 60), summary::headline(&report.sample));
        canvas.text((MARGIN, 36.0), fitting(&headline, 25.0, room), TEXT, &headline);
        let figures = summary::brief(&report.sample);
        canvas.text((MARGIN, 68.0), fitting(&figures, 17.0, room), TEXT, &figures);
    }

    fn place(&self, p: Point<Image>) -> Place {
        (MARGIN + (p.x + 0.5) * self.scale, HEADER + (p.y + 0.5) * self.scale)
    }

    fn mark(&self, canvas: &mut Canvas, mark: &Mark, [words, numbers]: &mut [Words; 2]) {
        let look = mark.meaning.look();
        let places = |points: &[Point<Image>]| points.iter().map(|p| self.place(*p)).collect::<Vec<_>>();
        match &mark.shape {
            Shape::Line(points) => canvas.line(&places(points), &look),
            Shape::Outline(points) => canvas.outline(&places(points), &look),
            Shape::Hatch(strokes) => {
                for ends in strokes {
                    canvas.line(&places(ends), &look);
                }
            }
            Shape::Dot(at) => canvas.dot(self.place(*at), 4.0, look.ink),
            Shape::Ring(at, radius) => canvas.ring(self.place(*at), (radius * self.scale).max(7.0), &look),
            Shape::Badge(at, text) => {
                // Wraps lie closer than their numbers are wide: every second or third is shown, counting on goes by eye.
                let at = self.place(*at);
                if numbers.has_room(at, BADGE) {
                    canvas.badge(at, 16.0, look.ink, text);
                }
            }
            Shape::Word(at, text) => {
                let at = self.place(*at);
                // Many neighbours may be left out or refused alike: one word tells it of those beside it too.
                let often = matches!(mark.meaning, Meaning::Refused | Meaning::LeftOut);
                if !often || words.has_room(at, text_width(text, SMALL) + 1.1 * SMALL) {
                    canvas.label(at, SMALL, look.ink, text);
                }
            }
        }
    }

    fn draw_legend(&self, canvas: &mut Canvas) {
        let rows = self.legend.len().div_ceil(self.legend_columns).max(1);
        for (i, meaning) in self.legend.iter().enumerate() {
            let (column, row) = ((i / rows) as f64, (i % rows) as f64);
            let x = self.legend_at.0 + column * LEGEND_COLUMN;
            let y = self.legend_at.1 + (row + 0.5) * LEGEND_LINE;
            let look = meaning.look();
            sign(canvas, (x, y), &look);
            canvas.text((x + 50.0, y + 5.0), fitting(look.words, SMALL, LEGEND_COLUMN - 56.0), TEXT, look.words);
        }
    }
}

/// Where words already stand.
#[derive(Default)]
struct Words {
    boxes: Vec<(Place, f64)>,
}

impl Words {
    /// Whether a word this wide can stand here without touching another; then it does.
    fn has_room(&mut self, at: Place, width: f64) -> bool {
        let clear = |(other, other_width): &(Place, f64)| {
            (at.1 - other.1).abs() > 2.5 * SMALL
                || at.0 > other.0 + other_width + SMALL
                || other.0 > at.0 + width + SMALL
        };
        let room = self.boxes.iter().all(clear);
        if room {
            self.boxes.push((at, width));
        }
        room
    }
}

/// A meaning's sign for the legend, 42 px wide, on a ground on which pale signs show too.
fn sign(canvas: &mut Canvas, (x, y): Place, look: &Look) {
    canvas.block((x, y - 9.0), 42.0, 18.0, FAINT, 1.0);
    match look.sign {
        Sign::Line => canvas.line(&[(x + 3.0, y), (x + 39.0, y)], look),
        Sign::Dot => canvas.dot((x + 21.0, y), 4.0, look.ink),
        Sign::Ring => canvas.ring((x + 21.0, y), 6.0, look),
        Sign::Frame => {
            canvas.outline(&[(x + 5.0, y - 5.0), (x + 37.0, y - 5.0), (x + 37.0, y + 5.0), (x + 5.0, y + 5.0)], look)
        }
        Sign::Hatch => {
            for i in 0..5 {
                let at = x + 5.0 + 8.0 * f64::from(i);
                canvas.line(&[(at, y + 6.0), (at + 5.0, y - 6.0)], look);
            }
        }
        Sign::Ticks => {
            for i in 0..6 {
                let at = x + 6.0 + 6.0 * f64::from(i);
                canvas.line(&[(at, y + 5.0), (at, y - 5.0)], look);
            }
        }
    }
}

/// The size at which `text` fits into `room`, at most `size`.
fn fitting(text: &str, size: f64, room: f64) -> f64 {
    let width = text_width(text, size);
    if width > room { (size * room / width).max(6.0) } else { size }
}

/// At most `most` characters, the middle left out.
fn shortened(text: &str, most: usize) -> String {
    let letters: Vec<char> = text.chars().collect();
    if letters.len() <= most {
        return text.to_owned();
    }
    let half = most / 2;
    let (head, tail) = (letters.iter().take(half), letters.iter().skip(letters.len() - half));
    head.chain(['\u{2026}'].iter()).chain(tail).collect()
}

/// The photo at the size it has on the page.
fn reduced(picture: &Raster<[u8; 3]>, (width, height): (u32, u32)) -> Option<Raster<[u8; 3]>> {
    let bytes = picture.samples().as_flattened();
    let (from_width, from_height) = (u32::try_from(picture.width()).ok()?, u32::try_from(picture.height()).ok()?);
    let from = resize::images::ImageRef::new(from_width, from_height, bytes, resize::PixelType::U8x3).ok()?;
    let mut to = resize::images::Image::new(width, height, resize::PixelType::U8x3);
    let how = resize::ResizeOptions::new().resize_alg(resize::ResizeAlg::Convolution(resize::FilterType::Bilinear));
    resize::Resizer::new().resize(&from, &mut to, &how).ok()?;
    let (pixels, _) = to.buffer().as_chunks::<3>();
    Raster::from_samples(width as usize, height as usize, pixels.to_vec())
}
