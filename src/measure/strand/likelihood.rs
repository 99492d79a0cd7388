//! How much likelier each pixel of a band is yarn than ground: learnt from the piece itself, from pixels that are surely
//! inside and surely outside. Outside means card, shadow and stray hairs alike.

use super::band::Band;
use crate::base::raster::Raster;

/// Bins of each histogram: fine enough for a step of a twentieth of the range, coarse enough for hundreds of samples a bin.
const BINS: usize = 40;

/// What is looked at in each pixel.
#[derive(Debug, Clone)]
pub(super) struct Features {
    /// Logarithm of lightness relative to the ground.
    pub(super) light: Raster<f32>,
    /// Colour relative to the ground along the yarn's own colour axis; a shadow has none.
    pub(super) colour: Raster<f32>,
    /// Logarithm of the mean squared change along the strand (fibres), a stretch of `window` columns long.
    pub(super) texture: Raster<f32>,
}

/// Keeps the logarithm of black finite; about the darkest yarn's reflection against white paper's.
const BLACK: f32 = 0.02;

impl Features {
    /// Features of a band. `inside` gives the rows surely yarn per column; `lag` and `window` in columns.
    pub(super) fn of(band: &Band, inside: &[(f64, f64)], lag: usize, window: usize) -> Self {
        let (columns, rows) = (band.columns(), band.rows());
        let light = band.planes[0].map(|v| (v.max(0.0) + BLACK).ln());
        let axis = colour_axis(band, inside);
        let mut colour = Raster::filled(columns, rows, 0.0f32);
        for row in 0..rows {
            let (l, r, b) = (band.planes[0].row(row), band.planes[1].row(row), band.planes[2].row(row));
            for (i, out) in colour.row_mut(row).iter_mut().enumerate() {
                // Relative to the pixel's own light: a coloured thing keeps its colour in the shade. The offset keeps
                // noise in the dark from counting as colour.
                *out = (axis[0] * r[i] + axis[1] * b[i]) / (l[i].max(0.0) + 0.15);
            }
        }
        let mut texture = Raster::filled(columns, rows, 0.0f32);
        for row in 0..rows {
            along_energy(light.row(row), lag, window, texture.row_mut(row));
        }
        Self { light, colour, texture }
    }
}

/// Direction of the yarn's colour against the ground's, unit vector in (red - green, blue - green).
fn colour_axis(band: &Band, inside: &[(f64, f64)]) -> [f32; 2] {
    // The principal axis of colour about grey: two plies of opposite colours do not cancel.
    let (mut rr, mut rb, mut bb) = (0.0f64, 0.0f64, 0.0f64);
    let columns = band.columns();
    for (column, (top, bottom)) in inside.iter().enumerate() {
        for row in (top.max(0.0) as usize)..=(bottom.max(0.0) as usize).min(band.rows() - 1) {
            let at = row * columns + column;
            let (r, b) = (f64::from(band.planes[1].samples()[at]), f64::from(band.planes[2].samples()[at]));
            rr += r * r;
            rb += r * b;
            bb += b * b;
        }
    }
    let angle = 0.5 * (2.0 * rb).atan2(rr - bb);
    [angle.cos() as f32, angle.sin() as f32]
}

/// Logarithm of the mean of squared differences between samples `lag` apart, over `window` samples.
fn along_energy(line: &[f32], lag: usize, window: usize, out: &mut [f32]) {
    let n = line.len();
    let mut sums = Vec::with_capacity(n + 1);
    sums.push(0.0f64);
    let mut total = 0.0f64;
    for i in 0..n {
        let j = if i + lag < n { i + lag } else { i.saturating_sub(lag) };
        let d = f64::from(line[i] - line[j]);
        total += d * d;
        sums.push(total);
    }
    let half = window / 2;
    for (i, o) in out.iter_mut().enumerate() {
        // The difference of samples i and i + lag belongs to their middle.
        let middle = i.saturating_sub(lag / 2);
        let (a, b) = (middle.saturating_sub(half), (middle + half + 1).min(n));
        let mean = (sums[b] - sums[a]) / (b - a).max(1) as f64;
        *o = (mean as f32 + 1e-6).ln();
    }
}

#[derive(Debug, Clone)]
struct Histogram {
    low: f32,
    scale: f32,
    ratio: [f32; BINS],
}

impl Histogram {
    fn learn(plane: &Raster<f32>, inside: &[(f64, f64)], outside: &[(f64, f64)], margin: f64, reach: f64) -> Self {
        let (columns, rows) = (plane.width(), plane.height() as isize);
        let stride = (columns / 1500).max(1);
        let mut body: Vec<f32> = Vec::new();
        let mut ground: Vec<f32> = Vec::new();
        for column in (0..columns).step_by(stride) {
            let take = |from: f64, to: f64, list: &mut Vec<f32>| {
                for row in (from.round() as isize).max(0)..=(to.round() as isize).min(rows - 1) {
                    list.push(plane.samples()[row as usize * columns + column]);
                }
            };
            let ((a, b), (c, d)) = (inside[column], outside[column]);
            take(a, b, &mut body);
            take(c - margin - reach, c - margin, &mut ground);
            take(d + margin, d + margin + reach, &mut ground);
        }
        let mut all: Vec<f32> = body.iter().chain(&ground).copied().collect();
        all.sort_unstable_by(f32::total_cmp);
        let n = all.len();
        if n < 200 {
            return Self { low: 0.0, scale: 0.0, ratio: [0.0; BINS] };
        }
        let (low, high) = (all[n / 200], all[n - 1 - n / 200]);
        let scale = BINS as f32 / (high - low).max(1e-6);
        let mut histogram = Self { low, scale, ratio: [0.0; BINS] };
        let count = |list: &[f32]| {
            let mut bins = [0.0f32; BINS];
            for v in list {
                bins[histogram.bin(*v)] += 1.0;
            }
            // One bin of smoothing, and a floor of half a per cent: no single pixel decides.
            let total = list.len().max(1) as f32;
            std::array::from_fn::<f32, BINS, _>(|i| {
                let (a, b) = (bins[i.saturating_sub(1)], bins[(i + 1).min(BINS - 1)]);
                (0.25 * a + 0.5 * bins[i] + 0.25 * b) / total + 0.005
            })
        };
        let (p, q) = (count(&body), count(&ground));
        for (out, (a, b)) in histogram.ratio.iter_mut().zip(p.iter().zip(&q)) {
            *out = (a / b).ln();
        }
        histogram
    }

    fn bin(&self, v: f32) -> usize {
        (((v - self.low) * self.scale).max(0.0) as usize).min(BINS - 1)
    }
}

/// Log likelihood ratio, yarn over ground, of every pixel: the features taken as independent.
///
/// `inside`: rows surely yarn; `outside`: rows of the edges as far as known; pixels from `margin` to `margin + reach`
/// rows beyond them are taken as ground.
pub(super) fn ratio(
    features: &Features,
    inside: &[(f64, f64)],
    outside: &[(f64, f64)],
    margin: f64,
    reach: f64,
) -> Raster<f32> {
    let planes = [&features.light, &features.colour, &features.texture];
    let tables = planes.map(|plane| Histogram::learn(plane, inside, outside, margin, reach));
    let mut out = Raster::filled(features.light.width(), features.light.height(), 0.0f32);
    for (plane, table) in planes.iter().zip(&tables) {
        for (o, v) in out.samples_mut().iter_mut().zip(plane.samples()) {
            *o += table.ratio[table.bin(*v)];
        }
    }
    out
}
