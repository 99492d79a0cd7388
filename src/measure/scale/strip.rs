//! A row of ticks straightened: X to the right, ticks upright. Here ticks are followed row by row.

use super::frame::Frame;
use super::luma::{depth, luma_at};
use crate::base::geometry::Point;
use crate::base::raster::Raster;

/// Straightened band of the photo's luma; NaN outside the photo.
#[derive(Debug, Clone)]
pub(super) struct Band {
    /// X of the first column; columns are 1 px apart.
    pub(super) first_x: f64,
    /// s of the first row.
    pub(super) first_s: f64,
    /// Distance of the rows, px.
    pub(super) step_s: f64,
    /// Code values.
    pub(super) luma: Raster<f32>,
}

impl Band {
    /// Samples the band between `from_s` and `to_s` as far along X as any of it lies in the photo, and within `span`.
    pub(super) fn of(
        rgb: &Raster<[u8; 3]>,
        frame: &Frame,
        (from_s, to_s): (f64, f64),
        step_s: f64,
        span: Option<(f64, f64)>,
    ) -> Self {
        let diagonal = (rgb.width() as f64).hypot(rgb.height() as f64);
        let inside = |x: f64| {
            [from_s, 0.0, to_s / 2.0, to_s].iter().any(|s| {
                let p = frame.image_from_frame(x, *s);
                rgb.holds(p.x, p.y)
            })
        };
        let stride = 8.0;
        let reach = |sign: f64| {
            let mut x = 0.0;
            let mut last = 0.0;
            while x < diagonal {
                if inside(sign * x) {
                    last = x;
                }
                x += stride;
            }
            sign * (last + stride)
        };
        let (low, high) = span.unwrap_or((-diagonal, diagonal));
        let first_x = reach(-1.0).max(low).floor();
        let last_x = reach(1.0).min(high).ceil().max(first_x);
        let width = (last_x - first_x) as usize + 1;
        let height = ((to_s - from_s) / step_s).ceil().max(0.0) as usize + 1;
        let mut luma = Raster::filled(width, height, f32::NAN);
        // Column by column the foot and the direction stay the same.
        let columns: Vec<(Point<_>, Point<_>)> = (0..width)
            .map(|i| {
                let x = first_x + i as f64;
                (frame.image_from_frame(x, 0.0), frame.tick_direction(x))
            })
            .collect();
        for row in 0..height {
            let s = from_s + row as f64 * step_s;
            for (value, (foot, direction)) in luma.row_mut(row).iter_mut().zip(&columns) {
                let p = *foot + *direction * s;
                *value = luma_at(rgb, p.x, p.y).unwrap_or(f32::NAN);
            }
        }
        Self { first_x, first_s: from_s, step_s, luma }
    }

    /// How much darker, in parts of the lighter ground, each place of a row is than the darker of its two sides at
    /// `reach` columns; 0 where it is lighter, NaN at the photo's edge.
    pub(super) fn contrast(&self, row: usize, reach: usize, dark: bool, out: &mut Vec<f32>) {
        let values = self.luma.row(row);
        out.clear();
        out.resize(values.len(), 0.0);
        if values.len() <= 2 * reach {
            return;
        }
        for i in reach..values.len() - reach {
            out[i] = relative_depth(values[i - reach], values[i], values[i + reach], dark);
        }
    }
}

/// How deep `middle` is against the darker of its sides (`dark` false: the lighter).
fn relative_depth(left: f32, middle: f32, right: f32, dark: bool) -> f32 {
    let depth = depth(dark, if dark { left.min(right) } else { left.max(right) }, middle);
    if depth.is_nan() { f32::NAN } else { depth.max(0.0) }
}

/// Something upright and thin, followed through the rows of a band.
#[derive(Debug, Clone)]
pub(super) struct Track {
    /// Rows and the place of its middle in them: (s, X).
    pub(super) points: Vec<(f64, f64)>,
    /// Mean width at half of its contrast, px.
    pub(super) width: f64,
}

impl Track {
    /// Lowest and highest s.
    pub(super) fn extent(&self) -> (f64, f64) {
        let first = self.points.first().map_or(0.0, |p| p.0);
        let last = self.points.last().map_or(0.0, |p| p.0);
        (first, last)
    }

    /// X at s = `at` on the straight line through its points, the line's slope dX/ds, and the scatter about it.
    pub(super) fn line(&self, at: f64) -> (f64, f64, f64) {
        let n = self.points.len() as f64;
        let ms = self.points.iter().map(|p| p.0).sum::<f64>() / n;
        let mx = self.points.iter().map(|p| p.1).sum::<f64>() / n;
        let (mut ss, mut sx) = (0.0, 0.0);
        for (s, x) in &self.points {
            ss += (s - ms) * (s - ms);
            sx += (s - ms) * (x - mx);
        }
        let slope = if ss > 0.0 { sx / ss } else { 0.0 };
        let scatter = self.points.iter().map(|(s, x)| (x - mx - slope * (s - ms)).powi(2)).sum::<f64>() / n.max(1.0);
        (mx + slope * (at - ms), slope, scatter.sqrt())
    }
}

struct Growing {
    track: Track,
    last_row: usize,
    sum_width: f64,
}

/// Follows everything thin and upright whose contrast is above `threshold`.
pub(super) fn follow(band: &Band, reach: usize, threshold: f32, dark: bool) -> Vec<Track> {
    let mut done = Vec::new();
    let mut growing: Vec<Growing> = Vec::new();
    let mut contrast = Vec::new();
    for row in 0..band.luma.height() {
        band.contrast(row, reach, dark, &mut contrast);
        let s = band.first_s + row as f64 * band.step_s;
        let peaks = peaks_of(&contrast, threshold, reach);
        // Both lists are sorted by X; each peak continues the nearest growing track within a pixel and a half.
        let mut next: Vec<Growing> = Vec::new();
        let mut taken = vec![false; growing.len()];
        let mut from = 0;
        for (at, width) in peaks {
            let x = band.first_x + at;
            while from < growing.len() && last_x(&growing[from]) < x - 1.5 {
                from += 1;
            }
            let best = (from..growing.len())
                .take_while(|i| last_x(&growing[*i]) <= x + 1.5)
                .filter(|i| !taken[*i])
                .min_by(|a, b| (last_x(&growing[*a]) - x).abs().total_cmp(&(last_x(&growing[*b]) - x).abs()));
            match best {
                Some(i) => {
                    taken[i] = true;
                    let g = &mut growing[i];
                    g.track.points.push((s, x));
                    g.last_row = row;
                    g.sum_width += width;
                }
                None => next.push(Growing {
                    track: Track { points: vec![(s, x)], width: 0.0 },
                    last_row: row,
                    sum_width: width,
                }),
            }
        }
        // A hair or a speck may hide two rows.
        let (on, off): (Vec<_>, Vec<_>) = growing.into_iter().partition(|g| g.last_row + 2 >= row);
        done.extend(off);
        growing = on;
        growing.extend(next);
        growing.sort_by(|a, b| last_x(a).total_cmp(&last_x(b)));
    }
    done.extend(growing);
    let mut tracks: Vec<Track> = done
        .into_iter()
        .filter(|g| g.track.points.len() >= 3)
        .map(|g| {
            let n = g.track.points.len() as f64;
            Track { width: g.sum_width / n, ..g.track }
        })
        .collect();
    tracks.sort_by(|a, b| a.line(0.0).0.total_cmp(&b.line(0.0).0).then(a.extent().0.total_cmp(&b.extent().0)));
    tracks
}

fn last_x(g: &Growing) -> f64 {
    g.track.points.last().map_or(0.0, |p| p.1)
}

/// Peaks above the threshold: place of the centroid (columns), width at half height.
fn peaks_of(contrast: &[f32], threshold: f32, reach: usize) -> Vec<(f64, f64)> {
    let mut peaks = Vec::new();
    let mut i = 0;
    while i < contrast.len() {
        if contrast[i] > threshold {
            let start = i;
            while i < contrast.len() && contrast[i] > threshold {
                i += 1;
            }
            let run = &contrast[start..i];
            let height = run.iter().copied().fold(0.0, f32::max);
            let (mut sum, mut moment) = (0.0, 0.0);
            for (k, c) in run.iter().enumerate() {
                // Above the threshold only: then nothing jumps where a pixel comes in or drops out.
                let w = f64::from(c - threshold);
                sum += w;
                moment += w * (start + k) as f64;
            }
            let width = run.iter().filter(|c| **c > height / 2.0).count() as f64;
            if run.len() <= 2 * reach && sum > 0.0 {
                peaks.push((moment / sum, width));
            }
        } else {
            i += 1;
        }
    }
    peaks
}
