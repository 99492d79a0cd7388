//! How far each pixel of the reduced picture stands out from the ground.

use super::ground::Ground;
use crate::base::raster::Raster;

/// How far each pixel stands out, and from where on it does.
pub(super) struct Standing {
    /// Deviations of the ground's noise, squared.
    score: Raster<f32>,
    /// Where a thing may go on, and where it must be somewhere.
    doubtful: f32,
    clear: f32,
}

impl Standing {
    pub(super) fn mask(&self) -> Raster<bool> {
        grown(&self.score, self.doubtful, self.clear)
    }

    /// Takes out of a thing what does not stand out by `times` as much as the least of it: out of its mask and of the pixels
    /// that are `left` of it.
    pub(super) fn strip(&self, mask: &mut Raster<bool>, left: &mut Vec<usize>, times: f32) {
        left.retain(|i| {
            let stays = self.score.samples()[*i] >= times * times * self.doubtful;
            mask.samples_mut()[*i] = stays;
            stays
        });
    }
}

/// How far pixels differ from the ground, on a 3 x 3 mean.
pub(super) fn standing(ground: &Ground) -> Standing {
    let (width, height) = (ground.difference.width(), ground.difference.height());
    let smooth = box3(&ground.difference);
    // The 3 x 3 mean lowers white noise to a third; paper grain and JPEG blocks are correlated, hence half. Below half a
    // code value of light paper (0.5 per cent of linear light) differences are rounding.
    let mut scale = ground.noise.map(|n| 1.0 / (0.5 * n).max(0.005));
    if ground.by_colour {
        // Stains and light thrown back by the yarn are patches, which no mean over 3 x 3 pixels lowers.
        scale = ground.noise.map(|n| 1.0 / n.max(0.005));
        scale[0] = 0.0;
    }
    let mut score = Raster::filled(width, height, 0.0f32);
    for y in 0..height {
        for (x, (out, d)) in score.row_mut(y).iter_mut().zip(smooth.row(y)).enumerate() {
            if ground.holds(x, y) {
                *out = d.iter().zip(&scale).map(|(v, s)| (v * s) * (v * s)).sum::<f32>();
            }
        }
    }
    Standing { score, doubtful: 4.0 * 4.0, clear: 8.0 * 8.0 }
}

/// Pixels above `doubtful` that are joined to one above `clear`.
fn grown(score: &Raster<f32>, doubtful: f32, clear: f32) -> Raster<bool> {
    let (width, height) = (score.width(), score.height());
    let mut mask = Raster::filled(width, height, false);
    let mut stack: Vec<usize> = Vec::new();
    for start in 0..width * height {
        if score.samples()[start] >= clear && !mask.samples()[start] {
            mask.samples_mut()[start] = true;
            stack.push(start);
            while let Some(i) = stack.pop() {
                for j in around(i, width, height) {
                    if !mask.samples()[j] && score.samples()[j] >= doubtful {
                        mask.samples_mut()[j] = true;
                        stack.push(j);
                    }
                }
            }
        }
    }
    mask
}

/// On a textured ground (cloth, wood) single pixels say little: what stands out is where the picture strays from the
/// ground's mean more than the ground itself does, on the whole, over a window.
///
/// Statistics: over 7 x 7 pixels, of which about a quarter are independent, the mean square of the ground's own
/// deviations scatters by about 40 % of itself; 2.2 is three deviations off, 4 is seven.
pub(super) fn textured_standing(ground: &Ground, with_darkness: bool) -> Standing {
    const HALF_WINDOW: usize = 3;
    let (doubtful, clear) = (2.2f32, 4.0f32);
    let scale = ground.noise.map(|n| 1.0 / n);
    let energy = ground.difference.map(|d| {
        let d = if with_darkness { d } else { [d[0].max(0.0), d[1], d[2]] };
        // No single glint decides: each pixel counts for four deviations squared at most in each component.
        d.iter().zip(&scale).map(|(v, s)| ((v * s) * (v * s)).min(16.0)).sum::<f32>() / 3.0
    });
    let height = energy.height();
    let mut score = box_mean(&energy, HALF_WINDOW);
    for y in 0..height {
        for (x, value) in score.row_mut(y).iter_mut().enumerate() {
            if !ground.holds(x, y) {
                *value = 0.0;
            }
        }
    }
    Standing { score, doubtful, clear }
}

/// Mean over squares of `2 half + 1` pixels a side, borders cut.
fn box_mean(field: &Raster<f32>, half: usize) -> Raster<f32> {
    let (width, height) = (field.width(), field.height());
    let mut across = Raster::filled(width, height, 0.0f32);
    for y in 0..height {
        let row = field.row(y);
        for (x, out) in across.row_mut(y).iter_mut().enumerate() {
            let part = &row[x.saturating_sub(half)..(x + half + 1).min(width)];
            *out = part.iter().sum::<f32>() / part.len() as f32;
        }
    }
    let mut out = Raster::filled(width, height, 0.0f32);
    for y in 0..height {
        let (from, to) = (y.saturating_sub(half), (y + half + 1).min(height));
        for (x, o) in out.row_mut(y).iter_mut().enumerate() {
            *o = (from..to).map(|v| across.row(v)[x]).sum::<f32>() / (to - from) as f32;
        }
    }
    out
}

fn box3(field: &Raster<[f32; 3]>) -> Raster<[f32; 3]> {
    let (width, height) = (field.width(), field.height());
    let mut across = field.clone();
    if width < 2 || height < 2 {
        return across;
    }
    for y in 0..height {
        let (row, out) = (field.row(y).as_flattened(), across.row_mut(y).as_flattened_mut());
        let inner = out[3..3 * (width - 1)].iter_mut();
        for (((out, before), here), after) in inner.zip(row).zip(&row[3..]).zip(&row[6..]) {
            *out = before + here + after;
        }
        for c in 0..3 {
            out[c] = 2.0 * row[c] + row[3 + c];
            let last = 3 * (width - 1) + c;
            out[last] = 2.0 * row[last] + row[last - 3];
        }
    }
    let mut out = Raster::filled(width, height, [0.0f32; 3]);
    for y in 0..height {
        let [above, here, below] =
            [y.saturating_sub(1), y, (y + 1).min(height - 1)].map(|row| across.row(row).as_flattened());
        for (((o, a), b), c) in out.row_mut(y).as_flattened_mut().iter_mut().zip(above).zip(here).zip(below) {
            *o = (a + b + c) * (1.0 / 9.0);
        }
    }
    out
}

/// The up to eight neighbours of a pixel.
pub(super) fn around(i: usize, width: usize, height: usize) -> impl Iterator<Item = usize> {
    let (x, y) = ((i % width) as isize, (i / width) as isize);
    (-1..=1isize).flat_map(move |dy| (-1..=1isize).map(move |dx| (dx, dy))).filter_map(move |(dx, dy)| {
        let (u, v) = (x + dx, y + dy);
        ((dx, dy) != (0, 0) && u >= 0 && v >= 0 && (u as usize) < width && (v as usize) < height)
            .then(|| v as usize * width + u as usize)
    })
}
