//! A canvas that decides nothing: lines, areas, dots, text and pictures in pixels of the page.

use tiny_skia::{FillRule, LineCap, LineJoin, Mask, Paint, Path, PathBuilder, Pixmap, Stroke, StrokeDash, Transform};

use super::palette::{DARK, Ink, Look, WHITE};
use crate::base::font::{self, Stroke as Outline};
use crate::base::raster::Raster;

/// A place on the page, px; whole numbers are corners of pixels.
pub(super) type Place = (f64, f64);

/// Farther out than this nothing is drawn: it could not be seen, and dashing it would take long.
const FAR_PX: f64 = 1e5;

/// How much wider than its line a casing is, and how dark: enough to part the line from a ground of its own colour.
const CASING_PX: f64 = 1.8;
const CASING_COVER: f64 = 0.42;

/// The page while it is drawn.
pub(super) struct Canvas {
    pixels: Pixmap,
    window: Option<Mask>,
    /// Left, top, right, lower border of what can be seen.
    bounds: (f64, f64, f64, f64),
}

impl Canvas {
    /// A page of one colour; `None` if it has no area or does not fit into memory.
    pub(super) fn new(width: u32, height: u32, ground: Ink) -> Option<Self> {
        let mut pixels = Pixmap::new(width, height)?;
        pixels.fill(tiny_skia::Color::from_rgba8(ground.0, ground.1, ground.2, 255));
        Some(Self { pixels, window: None, bounds: (0.0, 0.0, f64::from(width), f64::from(height)) })
    }

    /// The page as PNG, without any metadata.
    pub(super) fn into_png(self) -> Result<Vec<u8>, image::ImageError> {
        let (width, height) = (self.pixels.width(), self.pixels.height());
        let mut out = Vec::new();
        let rgb: Vec<u8> = self.pixels.pixels().iter().flat_map(|p| [p.red(), p.green(), p.blue()]).collect();
        let encoder = image::codecs::png::PngEncoder::new_with_quality(
            &mut out,
            image::codecs::png::CompressionType::Fast,
            image::codecs::png::FilterType::Adaptive,
        );
        image::ImageEncoder::write_image(encoder, &rgb, width, height, image::ExtendedColorType::Rgb8)?;
        Ok(out)
    }

    /// From now on lines, areas and text are seen only within this box (a label keeps within it).
    pub(super) fn look_through(&mut self, (x, y): Place, width: f64, height: f64) {
        self.window = Mask::new(self.pixels.width(), self.pixels.height()).and_then(|mut mask| {
            let corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)];
            mask.fill_path(&path(&corners, true)?, FillRule::Winding, false, Transform::identity());
            Some(mask)
        });
        self.bounds = (x, y, x + width, y + height);
    }

    /// From now on everything is seen again.
    pub(super) fn look_at_all(&mut self) {
        self.window = None;
        self.bounds = (0.0, 0.0, f64::from(self.pixels.width()), f64::from(self.pixels.height()));
    }

    /// A picture with its top-left corner at a whole pixel.
    pub(super) fn picture(&mut self, left: u32, top: u32, picture: &Raster<[u8; 3]>) {
        let (page_width, page_height) = (self.pixels.width() as usize, self.pixels.height() as usize);
        let (left, top) = (left as usize, top as usize);
        let page = self.pixels.pixels_mut();
        for y in 0..picture.height().min(page_height.saturating_sub(top)) {
            let start = (top + y) * page_width + left;
            let Some(line) = page.get_mut(start..(top + y + 1) * page_width) else { continue };
            for (to, [r, g, b]) in line.iter_mut().zip(picture.row(y)) {
                *to = tiny_skia::ColorU8::from_rgba(*r, *g, *b, 255).premultiply();
            }
        }
    }

    /// A line in a meaning's look, with a dark casing.
    pub(super) fn line(&mut self, points: &[Place], look: &Look) {
        if let Some(path) = path(points, false) {
            self.stroke(&path, DARK, CASING_COVER, look.width + CASING_PX, None);
            self.stroke(&path, look.ink, 1.0, look.width, look.dash);
        }
    }

    /// The same around an area.
    pub(super) fn outline(&mut self, points: &[Place], look: &Look) {
        if let Some(path) = path(points, true) {
            self.stroke(&path, DARK, CASING_COVER, look.width + CASING_PX, None);
            self.stroke(&path, look.ink, 1.0, look.width, look.dash);
        }
    }

    /// A plain line of a plot or frame.
    pub(super) fn plain_line(&mut self, points: &[Place], ink: Ink, width: f64) {
        if let Some(path) = path(points, false) {
            self.stroke(&path, ink, 1.0, width, None);
        }
    }

    /// An area in one colour; `cover` from 0 (nothing) to 1.
    pub(super) fn area(&mut self, points: &[Place], ink: Ink, cover: f64) {
        if let Some(path) = path(points, true) {
            self.pixels.fill_path(
                &path,
                &paint(ink, cover),
                FillRule::Winding,
                Transform::identity(),
                self.window.as_ref(),
            );
        }
    }

    /// An upright box in one colour.
    pub(super) fn block(&mut self, (x, y): Place, width: f64, height: f64, ink: Ink, cover: f64) {
        self.area(&[(x, y), (x + width, y), (x + width, y + height), (x, y + height)], ink, cover);
    }

    /// A dot with a dark rim.
    pub(super) fn dot(&mut self, at: Place, radius: f64, ink: Ink) {
        self.disc(at, radius + 1.0, DARK);
        self.disc(at, radius, ink);
    }

    /// A ring with a dark casing.
    pub(super) fn ring(&mut self, (x, y): Place, radius: f64, look: &Look) {
        if let Some(path) = PathBuilder::from_circle(x as f32, y as f32, radius as f32) {
            self.stroke(&path, DARK, CASING_COVER, look.width + CASING_PX, None);
            self.stroke(&path, look.ink, 1.0, look.width, look.dash);
        }
    }

    /// A line of text that begins at `x`, its base line at `y`.
    pub(super) fn text(&mut self, (x, y): Place, size: f64, ink: Ink, text: &str) {
        let mut builder = PathBuilder::new();
        let f = |dx: f64, dy: f64| ((x + dx) as f32, (y + dy) as f32);
        for stroke in font::text_outline(text, size) {
            match stroke {
                Outline::Move(px, py) => {
                    let (a, b) = f(px, py);
                    builder.move_to(a, b);
                }
                Outline::Line(px, py) => {
                    let (a, b) = f(px, py);
                    builder.line_to(a, b);
                }
                Outline::Quad(cx, cy, px, py) => {
                    let ((a, b), (c, d)) = (f(cx, cy), f(px, py));
                    builder.quad_to(a, b, c, d);
                }
                Outline::Cubic(cx, cy, dx, dy, px, py) => {
                    let ((a, b), (c, d), (e, g)) = (f(cx, cy), f(dx, dy), f(px, py));
                    builder.cubic_to(a, b, c, d, e, g);
                }
            }
        }
        if let Some(path) = builder.finish() {
            self.pixels.fill_path(
                &path,
                &paint(ink, 1.0),
                FillRule::Winding,
                Transform::identity(),
                self.window.as_ref(),
            );
        }
    }

    /// Text on a dark label with a bar of the meaning's colour, its middle left at `at`, moved to stay on the page.
    pub(super) fn label(&mut self, at: Place, size: f64, ink: Ink, text: &str) {
        let (width, height) = (font::text_width(text, size) + size * 1.1, size * 1.55);
        let (left, top, right, bottom) = self.bounds;
        let x = at.0.min(right - width - 2.0).max(left + 2.0);
        let y = (at.1 - height / 2.0).min(bottom - height - 2.0).max(top + 2.0);
        self.block((x, y), width, height, DARK, 0.82);
        self.block((x, y), size * 0.28, height, ink, 1.0);
        self.text((x + size * 0.62, y + height * 0.5 + size * 0.36), size, WHITE, text);
    }

    /// A round badge with a number, moved to stay within what can be seen.
    pub(super) fn badge(&mut self, at: Place, size: f64, ink: Ink, text: &str) {
        let width = font::text_width(text, size);
        let radius = (width / 2.0 + size * 0.35).max(size * 0.8);
        let (left, top, right, bottom) = self.bounds;
        let reach = radius + 3.0;
        let at = (at.0.min(right - reach).max(left + reach), at.1.min(bottom - reach).max(top + reach));
        self.disc(at, radius + 1.5, WHITE);
        self.disc(at, radius, DARK);
        self.disc(at, radius - 1.0, ink);
        self.text((at.0 - width / 2.0, at.1 + size * 0.36), size, DARK, text);
    }

    fn disc(&mut self, (x, y): Place, radius: f64, ink: Ink) {
        if let Some(path) = PathBuilder::from_circle(x as f32, y as f32, radius.max(0.1) as f32) {
            self.pixels.fill_path(
                &path,
                &paint(ink, 1.0),
                FillRule::Winding,
                Transform::identity(),
                self.window.as_ref(),
            );
        }
    }

    fn stroke(&mut self, path: &Path, ink: Ink, cover: f64, width: f64, dash: Option<[f64; 2]>) {
        let stroke = Stroke {
            width: width as f32,
            line_cap: LineCap::Butt,
            line_join: LineJoin::Round,
            dash: dash.and_then(|d| StrokeDash::new(d.map(|v| v as f32).to_vec(), 0.0)),
            ..Stroke::default()
        };
        self.pixels.stroke_path(path, &paint(ink, cover), &stroke, Transform::identity(), self.window.as_ref());
    }
}

fn paint(ink: Ink, cover: f64) -> Paint<'static> {
    let mut paint = Paint { anti_alias: true, ..Paint::default() };
    paint.set_color_rgba8(ink.0, ink.1, ink.2, (cover.clamp(0.0, 1.0) * 255.0).round() as u8);
    paint
}

/// The points as one path; what is not finite or far outside is skipped.
fn path(points: &[Place], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let near = |(x, y): &&Place| x.abs() < FAR_PX && y.abs() < FAR_PX;
    for (i, (x, y)) in points.iter().filter(near).enumerate() {
        if i == 0 {
            builder.move_to(*x as f32, *y as f32);
        } else {
            builder.line_to(*x as f32, *y as f32);
        }
    }
    if closed {
        builder.close();
    }
    builder.finish()
}
