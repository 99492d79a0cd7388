//! Lens, sensor and the camera's own processing: light becomes code values.

use rayon::prelude::*;

use super::chance::hash;
use super::scene::{CameraSpec, LightSpec, SensorSpec};
use crate::base::colour::srgb_of_linear;
use crate::base::raster::Raster;

/// From light to the picture as displayed.
pub(super) fn expose(
    mut light: Raster<[f32; 3]>,
    camera: &CameraSpec,
    lamp: &LightSpec,
    sensor: &SensorSpec,
    seed: u64,
) -> Raster<[u8; 3]> {
    if sensor.defocus_px > 1.0 {
        light = disc(&light, sensor.defocus_px / 2.0);
    }
    let sigma = sensor.lens_sigma_px.hypot(sensor.extra_blur_px);
    light = blurred(&light, sigma);
    shade_and_add_noise(&mut light, camera, lamp, sensor, seed);
    if sensor.noise > 0.0 || sensor.sharpening > 0.0 {
        // Colour interpolation blurs signal and noise alike, sharpening lifts both.
        light = blurred(&light, 0.45);
        let soft = blurred(&light, 1.1);
        let share = sensor.sharpening as f32;
        light.samples_mut().par_iter_mut().zip(soft.samples()).for_each(|(p, s)| {
            for c in 0..3 {
                p[c] += share * (p[c] - s[c]);
            }
        });
    }
    let samples = light.samples().par_iter().map(|p| p.map(coded)).collect();
    Raster::from_samples(light.width(), light.height(), samples).unwrap_or_else(|| Raster::filled(0, 0, [0; 3]))
}

/// sRGB code value by table: the exact curve costs as much as the rest of the sensor.
fn coded(v: f32) -> u8 {
    static TABLE: std::sync::LazyLock<Vec<u8>> =
        std::sync::LazyLock::new(|| (0..=8192).map(|i| srgb_of_linear((i as f32 + 0.5) / 8192.0)).collect());
    TABLE.get((v.clamp(0.0, 1.0) * 8192.0) as usize).copied().unwrap_or(255)
}

fn shade_and_add_noise(
    light: &mut Raster<[f32; 3]>,
    camera: &CameraSpec,
    lamp: &LightSpec,
    sensor: &SensorSpec,
    seed: u64,
) {
    let width = light.width();
    let (cx, cy) = ((camera.width_px as f64 - 1.0) / 2.0, (camera.height_px as f64 - 1.0) / 2.0);
    let corner = cx * cx + cy * cy;
    // Shot and read noise: variance k^2 (signal + 0.01). The slope of the sRGB curve at 18 % grey is 304.8 codes per
    // unit of light (IEC 61966-2-1), which turns the wished deviation there into k. The later blur by 0.45 px leaves
    // about 0.55 of the deviation, which sharpening about restores.
    let k = (sensor.noise / (304.8 * 0.19f64.sqrt()) / 0.75) as f32;
    let (fx, fy) = lamp.azimuth_deg.to_radians().sin_cos();
    light.samples_mut().par_chunks_mut(width.max(1)).enumerate().for_each(|(y, row)| {
        let dy = y as f64 - cy;
        for (x, pixel) in row.iter_mut().enumerate() {
            let dx = x as f64 - cx;
            let dark = 1.0 - sensor.vignette * (dx * dx + dy * dy) / corner;
            let side = 1.0 + lamp.falloff * (dx * fy - dy * fx) / corner.sqrt();
            let gain = (sensor.exposure * dark * side) as f32;
            for (c, v) in pixel.iter_mut().enumerate() {
                let bits = hash(seed ^ ((y * width + x) * 3 + c) as u64);
                // Sum of four uniform numbers: close to normal, deviation 1/sqrt 3 before the factor.
                let sum: f32 = (0..4).map(|i| ((bits >> (16 * i)) & 0xffff) as f32 / 65536.0).sum::<f32>() - 2.0;
                let level = *v * gain;
                *v = level + k * (level.max(0.0) + 0.01).sqrt() * sum * 1.732;
            }
        }
    });
}

/// Gaussian blur. Kernel out to four deviations; above 6 px three passes of a running mean stand in for it, chosen so
/// that their variances (n^2 - 1) / 12 sum to the wished one.
pub(super) fn blurred(light: &Raster<[f32; 3]>, sigma: f64) -> Raster<[f32; 3]> {
    if sigma < 0.05 {
        return light.clone();
    }
    if sigma <= 6.0 {
        let reach = (4.0 * sigma).ceil() as i64;
        let weights: Vec<f64> = (-reach..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
        let sum: f64 = weights.iter().sum();
        let kernel: Vec<f32> = weights.iter().map(|w| (w / sum) as f32).collect();
        return columns_blurred(&rows_blurred(light, &kernel, false), &kernel, false);
    }
    // Odd lengths n and n + 2, as many of each as bring the sum of variances nearest to sigma^2.
    let short = (((4.0 * sigma * sigma + 1.0).sqrt() as usize - 1) / 2) * 2 + 1;
    let missing = 12.0 * sigma * sigma - 3.0 * ((short * short) as f64 - 1.0);
    let longer = (missing / (4.0 * short as f64 + 4.0)).round().clamp(0.0, 3.0) as usize;
    (0..3).fold(light.clone(), |out, pass| {
        let n = if pass < longer { short + 2 } else { short };
        let kernel = vec![1.0 / n as f32; n];
        columns_blurred(&rows_blurred(&out, &kernel, true), &kernel, true)
    })
}

fn rows_blurred(from: &Raster<[f32; 3]>, kernel: &[f32], running: bool) -> Raster<[f32; 3]> {
    let (width, height) = (from.width(), from.height());
    let reach = kernel.len() / 2;
    let mut out = Raster::filled(width, height, [0.0f32; 3]);
    out.samples_mut().par_chunks_mut(width.max(1)).zip(from.samples().par_chunks(width.max(1))).for_each(
        |(to, row)| {
            // Borders repeat the outermost pixel.
            let mut padded = Vec::with_capacity(width + 2 * reach);
            padded.extend(std::iter::repeat_n(row[0], reach));
            padded.extend_from_slice(row);
            padded.extend(std::iter::repeat_n(row[width - 1], reach));
            if running {
                let mut sum = [0.0f64; 3];
                for p in &padded[..kernel.len()] {
                    (0..3).for_each(|c| sum[c] += f64::from(p[c]));
                }
                for (x, pixel) in to.iter_mut().enumerate() {
                    *pixel = std::array::from_fn(|c| (sum[c] / kernel.len() as f64) as f32);
                    if let (Some(old), Some(new)) = (padded.get(x), padded.get(x + kernel.len())) {
                        (0..3).for_each(|c| sum[c] += f64::from(new[c]) - f64::from(old[c]));
                    }
                }
            } else {
                for (pixel, window) in to.iter_mut().zip(padded.windows(kernel.len())) {
                    let mut sum = [0.0f32; 3];
                    for (p, w) in window.iter().zip(kernel) {
                        for c in 0..3 {
                            sum[c] += p[c] * w;
                        }
                    }
                    *pixel = sum;
                }
            }
        },
    );
    out
}

fn columns_blurred(from: &Raster<[f32; 3]>, kernel: &[f32], running: bool) -> Raster<[f32; 3]> {
    if running {
        return transposed(&rows_blurred(&transposed(from), kernel, true));
    }
    let (width, height) = (from.width(), from.height());
    let reach = kernel.len() / 2;
    let mut out = Raster::filled(width, height, [0.0f32; 3]);
    out.samples_mut().par_chunks_mut(width.max(1)).enumerate().for_each(|(y, to)| {
        for (i, w) in kernel.iter().enumerate() {
            let source = (y + i).saturating_sub(reach).min(height - 1);
            for (pixel, p) in to.iter_mut().zip(from.row(source)) {
                for c in 0..3 {
                    pixel[c] += p[c] * w;
                }
            }
        }
    });
    out
}

fn transposed(from: &Raster<[f32; 3]>) -> Raster<[f32; 3]> {
    let (width, height) = (from.width(), from.height());
    let mut out = Raster::filled(height, width, [0.0f32; 3]);
    let source = from.samples();
    out.samples_mut().par_chunks_mut(height.max(1)).enumerate().for_each(|(x, to)| {
        for (y, pixel) in to.iter_mut().enumerate() {
            *pixel = source[y * width + x];
        }
    });
    out
}

/// Mean over a disc of the given radius, as an open aperture out of focus gives; its rim is weighed by cover.
fn disc(from: &Raster<[f32; 3]>, radius: f64) -> Raster<[f32; 3]> {
    let (width, height) = (from.width(), from.height());
    let reach = radius.ceil() as i64 + 1;
    // The disc as runs of pixels with soft ends, several lines to a row where it is small: (row, half length).
    let lines = if radius < 2.0 { 4 } else { 2 };
    let halves: Vec<(i64, f64)> = (-reach..=reach)
        .flat_map(|dy| (0..lines).map(move |i| (dy, dy as f64 + (f64::from(i) + 0.5) / f64::from(lines) - 0.5)))
        .filter_map(|(dy, y)| {
            let chord = radius * radius - y * y;
            (chord > 0.0).then(|| (dy, chord.sqrt()))
        })
        .collect();
    let area: f64 = halves.iter().map(|(_, h)| 2.0 * h).sum();
    let mut out = Raster::filled(width, height, [0.0f32; 3]);
    let block = 64;
    out.samples_mut().par_chunks_mut((width * block).max(1)).enumerate().for_each(|(number, lines)| {
        // Running sums of every source row of the block, once.
        let first = (number * block) as i64 - reach;
        let rows = lines.len() / width + 2 * reach as usize;
        let source = |i: usize| from.row((first + i as i64).clamp(0, height as i64 - 1) as usize);
        let mut sums = vec![[0.0f64; 3]; rows * (width + 1)];
        for (i, line) in sums.chunks_exact_mut(width + 1).enumerate() {
            let mut sum = [0.0f64; 3];
            for (to, pixel) in line.iter_mut().skip(1).zip(source(i)) {
                sum = [sum[0] + f64::from(pixel[0]), sum[1] + f64::from(pixel[1]), sum[2] + f64::from(pixel[2])];
                *to = sum;
            }
        }
        for (y, to) in lines.chunks_exact_mut(width).enumerate() {
            for (dy, half) in &halves {
                let i = (y as i64 + dy + reach) as usize;
                let row = source(i);
                let line = &sums[i * (width + 1)..(i + 1) * (width + 1)];
                // The integral of the row, its pixels as steps, up to a place between them.
                let upto = |at: f64| {
                    let inside = at.clamp(0.0, width as f64);
                    let i = (inside as usize).min(width - 1);
                    let (part, before, after) = (inside - i as f64, (at - inside).min(0.0), (at - inside).max(0.0));
                    let value = |c: usize| {
                        line[i][c]
                            + f64::from(row[i][c]) * part
                            + f64::from(row[0][c]) * before
                            + f64::from(row[width - 1][c]) * after
                    };
                    [value(0), value(1), value(2)]
                };
                for (x, pixel) in to.iter_mut().enumerate() {
                    let middle = x as f64 + 0.5;
                    let (a, b) = (upto(middle - half), upto(middle + half));
                    *pixel = std::array::from_fn(|c| pixel[c] + ((b[c] - a[c]) / area) as f32);
                }
            }
        }
    });
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn second_moment(blur: impl Fn(&Raster<[f32; 3]>) -> Raster<[f32; 3]>) -> f64 {
        let mut spot = Raster::filled(201, 201, [0.0f32; 3]);
        spot.set(100, 100, [1.0; 3]);
        let out = blur(&spot);
        let mut sum = (0.0, 0.0);
        for y in 0..201 {
            for (x, p) in out.row(y).iter().enumerate() {
                sum.0 += f64::from(p[0]);
                sum.1 += f64::from(p[0]) * (x as f64 - 100.0).powi(2);
            }
        }
        assert!((sum.0 - 1.0).abs() < 1e-3, "light is kept: {}", sum.0);
        (sum.1 / sum.0).sqrt()
    }

    #[test]
    fn gaussian_has_the_deviation_that_it_claims() {
        for sigma in [0.7, 2.0, 5.0, 8.0, 16.0] {
            let got = second_moment(|r| blurred(r, sigma));
            assert!((got / sigma - 1.0).abs() < 0.03, "{sigma}: {got}");
        }
    }

    /// A disc of diameter d has the deviation d / 4 along any axis (second moment of a circle's area, r^2 / 4); pixels
    /// add 1/12 on average (Sheppard), more or less in a disc of only a few.
    #[test]
    fn defocus_is_a_disc() {
        for (diameter, tolerance) in [(3.0, 0.06), (8.0, 0.02), (14.3, 0.01)] {
            let got = second_moment(|r| disc(r, diameter / 2.0));
            let want = (diameter * diameter / 16.0 + 1.0 / 12.0f64).sqrt();
            assert!((got / want - 1.0).abs() < tolerance, "{diameter}: {got} against {want}");
        }
    }
}
