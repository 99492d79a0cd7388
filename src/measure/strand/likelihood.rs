//! How much likelier each pixel of a band is yarn than ground: learnt from the piece itself, from pixels that are surely
//! inside and surely outside. Outside means card, shadow and stray hairs alike.

use super::band::Band;
use crate::base::raster::Raster;

/// Bins of each feature: fine enough for a step of a twentieth of the range, coarse enough for tens of samples a bin.
const BINS: usize = 24;

/// What is looked at in each pixel.
#[derive(Debug, Clone)]
pub(super) struct Features {
    /// Logarithm of lightness relative to the ground.
    pub(super) light: Raster<f32>,
    /// Colour relative to the ground along the yarn's own colour axis; a shadow has none.
    pub(super) colour: Raster<f32>,
    /// Mean logarithm of the change along the strand (fibres), over a stretch of `window` columns.
    pub(super) texture: Raster<f32>,
}

/// Keeps the logarithm of black finite; about the darkest yarn's reflection against white paper's.
const BLACK: f32 = 0.02;

/// Lightness that a shadow on the ground can have, relative to the ground. Any value in between is as likely: lightness
/// alone must not make a shadow yarn where the first guess took some for yarn.
const SHADOW_LIGHT: [f32; 2] = [0.08, 0.94];

/// Log light of the brightest card: noise, and light thrown back by the yarn.
const CARD_LIGHT_MAX: f32 = 0.1;

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

/// Mean logarithm of second differences (samples `lag` apart), over `window` samples. A slope, such as the wavy border of
/// a plied yarn's shadow, has none; a single hair across a shadow hardly moves the mean of logarithms.
fn along_energy(line: &[f32], lag: usize, window: usize, out: &mut [f32]) {
    let n = line.len();
    let mut sums = Vec::with_capacity(n + 1);
    sums.push(0.0f64);
    let mut total = 0.0f64;
    for i in 0..n {
        if i >= lag && i + lag < n {
            let d = line[i - lag] + line[i + lag] - 2.0 * line[i];
            total += f64::from((d.abs() + QUIET).ln());
        }
        sums.push(total);
    }
    let half = window / 2;
    for (i, o) in out.iter_mut().enumerate() {
        let (a, b) = (i.saturating_sub(half), (i + half + 1).min(n));
        let inner = b.min(n.saturating_sub(lag)).saturating_sub(a.max(lag)).max(1);
        *o = ((sums[b] - sums[a]) / inner as f64) as f32;
    }
}

/// Change of log light that is too small to tell from rounding: about one code value of light paper.
const QUIET: f32 = 0.01;

/// The three things that a pixel may show.
const CLASSES: usize = 3;
const YARN: usize = 0;
const CARD: usize = 1;
const SHADOW: usize = 2;

/// Logarithm of the probability of the values of one or two features in each class, on a grid.
#[derive(Debug, Clone)]
struct Table {
    low: [f32; 2],
    scale: [f32; 2],
    log: Vec<[f32; CLASSES]>,
}

/// How fast relative noise grows as light falls, as a power: 0.5 for the noise of light itself (Poisson), 1 for noise that
/// stays the same (rounding, compression).
const SHADOW_NOISE: f32 = 0.6;

/// Part of the yarn that may look like anything: a white ply on white card is known by not being card.
const UNKNOWN_YARN: f32 = 0.3;

impl Table {
    /// `second` of `None`: one feature. `shadow_light`: the first feature is light, and a shadow's is even in this range.
    fn learn(
        first: &Raster<f32>,
        second: Option<&Raster<f32>>,
        samples: &[Vec<u32>; CLASSES],
        shadow_light: Option<(f32, f32)>,
    ) -> Self {
        let bins = if second.is_some() { (BINS, BINS) } else { (BINS, 1) };
        let mut table = Self { low: [0.0; 2], scale: [0.0; 2], log: vec![[0.0; CLASSES]; bins.0 * bins.1] };
        for (axis, plane) in [Some(first), second].into_iter().enumerate() {
            let Some(plane) = plane else { continue };
            let mut all: Vec<f32> = samples.iter().flatten().map(|i| plane.samples()[*i as usize]).collect();
            let n = all.len();
            if n < 200 {
                return table;
            }
            let low = *all.select_nth_unstable_by(n / 200, f32::total_cmp).1;
            let high = *all.select_nth_unstable_by(n - 1 - n / 200, f32::total_cmp).1;
            table.low[axis] = low;
            table.scale[axis] = BINS as f32 / (high - low).max(1e-6);
        }
        let cells = (bins.0 * bins.1) as f32;
        for (class, list) in samples.iter().enumerate() {
            let mut counts = vec![0.0f32; bins.0 * bins.1];
            for i in list {
                let at = *i as usize;
                let (p, q) = (table.bin(0, first.samples()[at]), second.map_or(0, |s| table.bin(1, s.samples()[at])));
                counts[q * BINS + p] += 1.0;
            }
            let total = list.len().max(1) as f32;
            if let (SHADOW, Some((dark, bright))) = (class, shadow_light) {
                // Even in light, and the darker the noisier.
                let (from, to) = (table.bin(0, dark), table.bin(0, bright));
                let (seen, rows) = (std::mem::replace(&mut counts, vec![0.0; bins.0 * bins.1]), bins.1);
                let light = |i: usize| table.low[0] + (i as f32 + 0.5) / table.scale[0].max(1e-6);
                for (q, row) in seen.chunks_exact(BINS).enumerate() {
                    for (k, n) in row.iter().enumerate().filter(|(_, n)| **n > 0.0) {
                        for i in from..=to {
                            let shift = SHADOW_NOISE * (light(k) - light(i)) * table.scale[1];
                            let place = (q as f32 + shift).round().clamp(0.0, (rows - 1) as f32) as usize;
                            counts[place * BINS + i] += n / (to - from + 1) as f32;
                        }
                    }
                }
            }
            let smooth = smoothed_counts(&counts, bins.1);
            for (out, v) in table.log.iter_mut().zip(&smooth) {
                let share = v / total;
                let share = if class == YARN { (1.0 - UNKNOWN_YARN) * share + UNKNOWN_YARN / cells } else { share };
                // A floor of a tenth of an even share: no single pixel decides.
                out[class] = (share + 0.1 / cells).ln();
            }
        }
        table
    }

    fn bin(&self, axis: usize, v: f32) -> usize {
        (((v - self.low[axis]) * self.scale[axis]).max(0.0) as usize).min(BINS - 1)
    }
}

/// Counts smoothed by 1-2-1 along both axes.
fn smoothed_counts(counts: &[f32], rows: usize) -> Vec<f32> {
    let pass = |from: &[f32], stride: usize, length: usize| -> Vec<f32> {
        (0..from.len())
            .map(|i| {
                let k = i / stride % length;
                let before = if k > 0 { from[i - stride] } else { from[i] };
                let after = if k + 1 < length { from[i + stride] } else { from[i] };
                0.25 * before + 0.5 * from[i] + 0.25 * after
            })
            .collect()
    };
    let across = pass(counts, 1, BINS);
    if rows > 1 { pass(&across, BINS, rows) } else { across }
}

/// Log likelihood ratio, yarn over the likelier of card and shadow, of every pixel: the features taken as independent.
///
/// `inside`: rows surely yarn; `edges`: rows of the edges as far as known; pixels from `margin` to `margin + reach`
/// rows beyond them are taken as ground: those clearly darker than the card as shadow, the others as card.
pub(super) fn ratio(
    features: &Features,
    inside: &[(f64, f64)],
    edges: &[(f64, f64)],
    margin: f64,
    reach: f64,
) -> Raster<f32> {
    let (columns, rows) = (features.light.width(), features.light.height() as isize);
    let range = SHADOW_LIGHT.map(|v| (v + BLACK).ln());
    let mut samples: [Vec<u32>; CLASSES] = std::array::from_fn(|_| Vec::new());
    let stride = (columns / 1500).max(1);
    for column in (0..columns).step_by(stride) {
        let ((a, b), (c, d)) = (inside[column], edges[column]);
        // Shadow lies close by, but not so close that it may be yarn that the first guess missed; card farther out.
        let far = margin + 0.5 * reach;
        let spans = [
            (YARN, a, b),
            (SHADOW, c - 0.3 * reach - reach, c - 0.3 * reach),
            (SHADOW, d + 0.3 * reach, d + 0.3 * reach + reach),
            (CARD, c - far - 1.5 * reach, c - far),
            (CARD, d + far, d + far + 1.5 * reach),
        ];
        for (class, from, to) in spans {
            for row in (from.round() as isize).max(0)..=(to.round() as isize).min(rows - 1) {
                let at = row as usize * columns + column;
                let light = features.light.samples()[at];
                let fits = match class {
                    YARN => true,
                    CARD => light > range[1] && light < CARD_LIGHT_MAX,
                    _ => light > range[0] && light <= range[1],
                };
                if fits {
                    samples[class].push(at as u32);
                }
            }
        }
    }
    // A shadow is also card with less light, seen or not.
    let copies = samples[CARD].clone();
    let wanted = samples[SHADOW].len().max(200);
    samples[SHADOW].extend(copies.iter().cycle().take(if copies.is_empty() { 0 } else { wanted }));
    let look = Table::learn(&features.light, Some(&features.texture), &samples, Some((range[0], range[1])));
    let colour = Table::learn(&features.colour, None, &samples, None);
    let mut out = Raster::filled(columns, features.light.height(), 0.0f32);
    let pixels = features.light.samples().iter().zip(features.texture.samples()).zip(features.colour.samples());
    for (o, ((l, t), c)) in out.samples_mut().iter_mut().zip(pixels) {
        let (a, b) = (look.log[look.bin(1, *t) * BINS + look.bin(0, *l)], colour.log[colour.bin(0, *c)]);
        *o = a[YARN] + b[YARN] - (a[CARD] + b[CARD]).max(a[SHADOW] + b[SHADOW]);
    }
    out
}
