//! What is it? What the eye says of a strand laid straight.

use std::ops::Range;
use std::sync::LazyLock;

use super::net::{Net, logistic};
use super::strip::{EyeStrip, ROWS};
use crate::base::raster::Raster;

static NET: LazyLock<Option<Net>> = LazyLock::new(|| Net::of(include_bytes!("weights/strip.onnx")));

/// Columns for which the net tells once what it sees along the strand.
pub const STRIDE: usize = 4;

/// Columns that are looked at in one go, four times the stretches that the net was taught on, and those around them that count for
/// what is seen in them: it sees 504 far along the strand.
const PART: usize = 2048;
const AROUND: usize = 512;

/// What covers a cell of the strip: shares, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cover {
    /// The strand's own body.
    pub own: f32,
    /// Another strand's body.
    pub other: f32,
    /// Hairs.
    pub hair: f32,
    /// Light lost to the yarn's shadow.
    pub shadow: f32,
}

/// What is seen at `STRIDE` columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glance {
    /// Cosine and sine of plies times turn: short where the net is unsure.
    pub phase: [f32; 2],
    /// Tangent of the visible lines' angle, positive for Z, and its mean absolute error as the net expects it.
    pub tangent: f32,
    /// See `tangent`.
    pub tangent_u: f32,
    /// Natural log of the odds of Z over S.
    pub z_over_s: f32,
    /// Natural log of the odds that this is yarn at all.
    pub yarn: f32,
    /// Natural log of the probability of 1, 2, 3 and 4 plies, but for a common term.
    pub plies: [f32; 4],
}

/// What the eye says of a strip.
#[derive(Debug, Clone)]
pub struct Look {
    /// Cell by cell, as the strip.
    pub cover: Raster<Cover>,
    /// Along the strand.
    pub glances: Vec<Glance>,
}

impl Look {
    /// Looks at a strip twice, as it is and in a mirror, and takes the mean: what is chance in one look is seldom the same in the
    /// other. `None` where the net cannot run.
    #[must_use]
    pub fn at(strip: &EyeStrip) -> Option<Self> {
        let mut look = Self::once(strip)?;
        let mirrored = Self::through(strip, |row| ROWS - 1 - row)?;
        for row in 0..ROWS {
            for (cell, other) in look.cover.row_mut(row).iter_mut().zip(mirrored.cover.row(ROWS - 1 - row)) {
                let mean = |a: f32, b: f32| 0.5 * (a + b);
                *cell = Cover {
                    own: mean(cell.own, other.own),
                    other: mean(cell.other, other.other),
                    hair: mean(cell.hair, other.hair),
                    shadow: mean(cell.shadow, other.shadow),
                };
            }
        }
        for (glance, other) in look.glances.iter_mut().zip(&mirrored.glances) {
            // In a mirror S is Z, and turning goes the other way.
            *glance = Glance {
                phase: [0.5 * (glance.phase[0] + other.phase[0]), 0.5 * (glance.phase[1] - other.phase[1])],
                tangent: 0.5 * (glance.tangent - other.tangent),
                tangent_u: 0.5 * (glance.tangent_u + other.tangent_u),
                z_over_s: 0.5 * (glance.z_over_s - other.z_over_s),
                yarn: 0.5 * (glance.yarn + other.yarn),
                plies: std::array::from_fn(|k| 0.5 * (glance.plies[k] + other.plies[k])),
            };
        }
        Some(look)
    }

    /// Looks once at a strip as it is.
    #[must_use]
    pub fn once(strip: &EyeStrip) -> Option<Self> {
        Self::through(strip, |row| row)
    }

    /// One look at a strip whose rows come in the order that `row` says, part by part: a long one would take as much memory as many
    /// photos do.
    fn through(strip: &EyeStrip, row: impl Fn(usize) -> usize) -> Option<Self> {
        let columns = strip.rgb.width();
        let mut look = Self { cover: Raster::filled(columns, ROWS, Cover::default()), glances: Vec::new() };
        for start in (0..columns).step_by(PART) {
            let end = (start + PART).min(columns);
            let (from, to) = (start.saturating_sub(AROUND), (end + AROUND).min(columns));
            look.take(strip, &row, start..end, from..to)?;
        }
        Some(look)
    }

    /// Fills in the columns `wanted` from a look at the columns `seen`, which hold them.
    fn take(
        &mut self,
        strip: &EyeStrip,
        row: &impl Fn(usize) -> usize,
        wanted: Range<usize>,
        seen: Range<usize>,
    ) -> Option<()> {
        let columns = seen.len();
        let mut samples = Vec::with_capacity(4 * ROWS * columns);
        for channel in 0..3 {
            for r in 0..ROWS {
                samples.extend(strip.rgb.row(row(r))[seen.clone()].iter().map(|p| f32::from(p[channel]) / 255.0));
            }
        }
        for row in 0..ROWS {
            let place = 2.0 * row as f32 / (ROWS - 1) as f32 - 1.0;
            samples.extend(std::iter::repeat_n(place, columns));
        }
        let mut out = NET.as_ref()?.run([4, ROWS, columns], samples)?.into_iter();
        let (cover, along) = (out.next()?, out.next()?);
        for row in 0..ROWS {
            for column in wanted.clone() {
                let i = row * columns + column - seen.start;
                let at = |k: usize| cover.get(k * ROWS * columns + i).copied().map_or(0.0, logistic);
                self.cover.row_mut(row)[column] = Cover { own: at(0), other: at(1), hair: at(2), shadow: at(3) };
            }
        }
        let count = columns / STRIDE;
        let at = |k: usize, i: usize| along.get(k * count + i).copied().unwrap_or(0.0);
        let inner = (wanted.start - seen.start) / STRIDE..(wanted.end - seen.start) / STRIDE;
        self.glances.extend(inner.map(|i| Glance {
            phase: [at(0, i), at(1, i)],
            tangent: at(2, i),
            tangent_u: at(3, i).clamp(-5.0, 2.0).exp(),
            z_over_s: at(4, i),
            yarn: at(5, i),
            plies: [6, 7, 8, 9].map(|k| at(k, i)),
        }));
        Some(())
    }

    /// Edges of the strand's own body in a column, rows, fractions allowed: as far from its middle as its cover reaches to
    /// either side; `None` where it covers nothing.
    #[must_use]
    pub fn edges(&self, column: usize) -> Option<[f64; 2]> {
        let own = |row: usize| f64::from(self.cover.row(row)[column].own);
        let (mut sum, mut moment) = (0.0, 0.0);
        for row in 0..ROWS {
            sum += own(row);
            moment += own(row) * row as f64;
        }
        (sum > 1.0).then(|| {
            let middle = moment / sum;
            // Half of each share to its side of the middle, so that a faint rim counts where it is.
            let (mut above, mut below) = (0.0, 0.0);
            for row in 0..ROWS {
                let part = (row as f64 + 0.5 - middle).clamp(0.0, 1.0);
                below += own(row) * part;
                above += own(row) * (1.0 - part);
            }
            [middle - above, middle + below]
        })
    }
}
