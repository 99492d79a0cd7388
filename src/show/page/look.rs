//! What a page shows of the yarn itself: the strand laid straight, an enlarged part of it, and its colour.

use image::{ImageEncoder, RgbImage};
use serde::{Deserialize, Serialize};

use crate::base::colour::{LINEAR_OF_SRGB, luminance, srgb_of_linear};
use crate::base::geometry::Point;
use crate::base::raster::Raster;
use crate::base::stats;
use crate::base::units::Mm;
use crate::card::layout::{CardLayout, CardSize};
use crate::figures::Method;
use crate::measure::photo::Photo;
use crate::measure::pipeline::Measured;
use crate::measure::strand::Strand;

/// Widest picture of a strand, px: wider than any screen shows it only makes the page heavy.
const STRIP_WIDTH: u32 = 1800;
/// Width of the enlarged part on the page, px.
const INSET_WIDTH: u32 = 900;
/// Most that a pixel of the photo is enlarged; beyond, only blurred blocks are seen.
const MOST_ENLARGED: f64 = 6.0;

/// The pictures of one photo's yarn.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// The piece with most measured stations laid straight, PNG.
    pub strip_png: Vec<u8>,
    /// A part of it enlarged, PNG.
    pub inset_png: Vec<u8>,
    /// What is known of them.
    pub facts: LookFacts,
}

/// What is known of the pictures of the yarn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LookFacts {
    /// Number of the piece shown.
    pub strand: u32,
    /// Length of the part enlarged, mm; null without a scale.
    pub inset_mm: Option<f64>,
    /// The yarn's colour; null where too little of its body is seen.
    pub colour: Option<Colour>,
}

/// The colour of the yarn's body, as photographed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Colour {
    /// CIELAB under D65, mean along the strand.
    pub lab: [f64; 3],
    /// The same as sRGB code values.
    pub srgb: [u8; 3],
    /// Root mean square distance (CIE 1976) of parts a diameter long from the mean: how much the colour changes along
    /// the strand.
    pub spread: f64,
    /// Whether the card's grey steps balanced it; without, it carries the colour of the light.
    pub balanced: bool,
}

/// CIELAB under D65 of linear sRGB. Source: IEC 61966-2-1 primaries, CIE 15 formulae.
fn lab(rgb: [f64; 3]) -> [f64; 3] {
    let [r, g, b] = rgb;
    let x = (0.412_456_4 * r + 0.357_576_1 * g + 0.180_437_5 * b) / 0.950_47;
    let y = 0.212_672_9 * r + 0.715_152_2 * g + 0.072_175_0 * b;
    let z = (0.019_333_9 * r + 0.119_192_0 * g + 0.950_304_1 * b) / 1.088_83;
    let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
    [116.0 * f(y) - 16.0, 500.0 * (f(x) - f(y)), 200.0 * (f(y) - f(z))]
}

/// The pictures of what was measured; `None` where no piece was.
#[must_use]
pub fn look(photo: &Photo, measured: &Measured) -> Option<Look> {
    let pieces = measured.evidence.strands.pieces.iter().filter(|p| p.chosen);
    let clean = |p: &Strand| p.stations.iter().filter(|s| s.left_out.is_none()).count();
    // Of equals the first: `max_by_key` takes the last.
    let strand = pieces.rev().max_by_key(|p| clean(p))?;
    let picture = near_rows(&coded(&strand.strip.rgb)?, strand)?;
    let (strip_png, _) = sized(&picture, STRIP_WIDTH, 1.0)?;
    let px_per_mm = measured.report.scale.px_per_mm.value().copied();
    let columns_per_mm = px_per_mm.map(|s| s / strand.step_px).filter(|c| c.is_finite() && *c > 0.0);
    let inset = inset(&picture, strand)?;
    let inset_mm = columns_per_mm.map(|c| f64::from(inset.width()) / c);
    let (inset_png, _) = sized(&inset, INSET_WIDTH, MOST_ENLARGED)?;
    let gains = balance(photo, measured);
    let facts = LookFacts { strand: strand.number, inset_mm, colour: colour(strand, gains) };
    Some(Look { strip_png, inset_png, facts })
}

/// Linear light as sRGB code values.
fn coded(strip: &Raster<[f32; 3]>) -> Option<RgbImage> {
    let bytes: Vec<u8> = strip.samples().iter().flatten().map(|v| srgb_of_linear(*v)).collect();
    RgbImage::from_raw(u32::try_from(strip.width()).ok()?, u32::try_from(strip.height()).ok()?, bytes)
        .filter(|p| p.width() > 0 && p.height() > 0)
}

/// The rows of a straightened strand within 1.3 widths of its middle: enough ground to see its edge and its hairs.
fn near_rows(picture: &RgbImage, strand: &Strand) -> Option<RgbImage> {
    let widths: Vec<f64> = strand.stations.iter().map(crate::measure::strand::Station::width_px).collect();
    let reach = (1.3 * stats::median(&widths)? / strand.step_px).max(2.0);
    let top = (strand.strip.middle_row - reach).floor().max(0.0) as u32;
    let bottom = ((strand.strip.middle_row + reach).ceil() as u32).min(picture.height().saturating_sub(1));
    let rows = bottom.checked_sub(top)? + 1;
    Some(image::imageops::crop_imm(picture, 0, top, picture.width(), rows).to_image())
}

/// A picture brought to a width, but not enlarged more than `most`, as PNG, with the factor.
fn sized(picture: &RgbImage, width: u32, most: f64) -> Option<(Vec<u8>, f64)> {
    let factor = (f64::from(width) / f64::from(picture.width())).min(most);
    let size = |n: u32| (f64::from(n) * factor).round().max(1.0) as u32;
    let (w, h) = (size(picture.width()), size(picture.height()));
    let filter =
        if factor < 1.0 { image::imageops::FilterType::Triangle } else { image::imageops::FilterType::CatmullRom };
    let scaled = if factor == 1.0 { picture.clone() } else { image::imageops::resize(picture, w, h, filter) };
    Some((encoded(scaled.as_raw(), scaled.width(), scaled.height())?, factor))
}

/// A whole photo as PNG, for browsers that do not read its format; without any metadata.
#[must_use]
pub fn png(picture: &Raster<[u8; 3]>) -> Option<Vec<u8>> {
    let (width, height) = (u32::try_from(picture.width()).ok()?, u32::try_from(picture.height()).ok()?);
    encoded(picture.samples().as_flattened(), width, height)
}

fn encoded(rgb: &[u8], width: u32, height: u32) -> Option<Vec<u8>> {
    let mut png = Vec::new();
    image::codecs::png::PngEncoder::new(&mut png)
        .write_image(rgb, width, height, image::ExtendedColorType::Rgb8)
        .ok()?;
    Some(png)
}

/// The middle of the longest clean stretch, about five diameters long: enough to count turns, near enough to see fibres.
fn inset(picture: &RgbImage, strand: &Strand) -> Option<RgbImage> {
    let clean: Vec<bool> = strand.stations.iter().map(|s| s.left_out.is_none()).collect();
    let (mut best, mut start) = (0..0, None);
    for (i, ok) in clean.iter().copied().chain([false]).enumerate() {
        match (ok, start) {
            (true, None) => start = Some(i),
            (false, Some(from)) => {
                if i - from > best.len() {
                    best = from..i;
                }
                start = None;
            }
            _ => {}
        }
    }
    let widths: Vec<f64> =
        strand.stations.get(best.clone())?.iter().map(crate::measure::strand::Station::width_px).collect();
    let wide = (stats::median(&widths)? / strand.step_px * 5.0).round().max(16.0) as u32;
    let wide = wide.min(u32::try_from(best.len()).ok()?).max(1);
    let middle = u32::try_from((best.start + best.end) / 2).ok()?;
    let left = middle.saturating_sub(wide / 2).min(picture.width().saturating_sub(wide));
    Some(image::imageops::crop_imm(picture, left, 0, wide.min(picture.width()), picture.height()).to_image())
}

/// Mean colour of the strand's body: the middle half of its face, where neither edge nor ground mixes in.
fn colour(strand: &Strand, gains: Option<[f64; 3]>) -> Option<Colour> {
    let strip = &strand.strip;
    let mut means: Vec<[f64; 3]> = Vec::new();
    for (column, station) in strand.stations.iter().enumerate().filter(|(_, s)| s.left_out.is_none()) {
        let half = station.width_px() / 4.0 / strip.step_px;
        let middle = strip.middle_row + (station.left.offset_px + station.right.offset_px) / 2.0 / strip.step_px;
        let rows = (middle - half).ceil().max(0.0) as usize..=(middle + half).floor().max(0.0) as usize;
        let samples: Vec<[f32; 3]> = rows.filter_map(|row| strip.rgb.get(column, row)).collect();
        if !samples.is_empty() {
            let n = samples.len() as f64;
            means.push(
                [0, 1, 2].map(|c| samples.iter().filter_map(|s| s.get(c)).map(|v| f64::from(*v)).sum::<f64>() / n),
            );
        }
    }
    let balanced = |rgb: [f64; 3]| {
        let g = gains.unwrap_or([1.0; 3]);
        [rgb[0] * g[0], rgb[1] * g[1], rgb[2] * g[2]]
    };
    let average =
        |part: &[[f64; 3]]| [0, 1, 2].map(|c| part.iter().filter_map(|s| s.get(c)).sum::<f64>() / part.len() as f64);
    let widths: Vec<f64> = strand.stations.iter().map(|s| s.width_px() / strip.step_px).collect();
    let size = stats::median(&widths)?.round().max(1.0) as usize;
    if means.len() < 4 * size {
        return None;
    }
    let mean = lab(balanced(average(&means)));
    let distances: Vec<f64> = means
        .chunks_exact(size)
        .map(|part| {
            let l = lab(balanced(average(part)));
            l.iter().zip(&mean).map(|(a, b)| (a - b).powi(2)).sum::<f64>()
        })
        .collect();
    let rgb = balanced(average(&means));
    Some(Colour {
        lab: mean,
        srgb: rgb.map(|v| srgb_of_linear(v as f32)),
        spread: stats::mean(&distances)?.sqrt(),
        balanced: gains.is_some(),
    })
}

/// Factors for red, green and blue that make the ruler card's grey steps grey at their nominal lightness; `None` without
/// a ruler card whose steps are in the picture, rise in order and are not burnt out.
///
/// A printer does not keep nominal lightness, so L* may be off by several units; hue is as neutral as its black ink.
fn balance(photo: &Photo, measured: &Measured) -> Option<[f64; 3]> {
    let known = measured.evidence.scale.scale.known().filter(|k| k.method == Method::RulerCard)?;
    [CardSize::Full, CardSize::Small].into_iter().find_map(|size| {
        let steps: Vec<([f64; 3], f64)> = CardLayout::of(size)
            .greys
            .iter()
            .map(|(place, code)| {
                let seen = patch(photo, |u, v| {
                    let p = Point::new(place.x + place.width * u, place.y + place.height * v);
                    known.map.image_from_card(p, Mm(0.0))
                })?;
                Some((seen, f64::from(*LINEAR_OF_SRGB.get(usize::from(*code))?)))
            })
            .collect::<Option<_>>()?;
        let light = |rgb: &[f64; 3]| f64::from(luminance(rgb.map(|v| v as f32)));
        let rises = steps.windows(2).all(|w| matches!(w, [a, b] if light(&b.0) > light(&a.0) + 0.01));
        let burnt = steps.iter().any(|(seen, _)| seen.iter().any(|v| *v > 0.97));
        if !rises || burnt {
            return None;
        }
        // The two lightest steps: noise and stray light weigh least there.
        let bright: Vec<_> = steps.iter().rev().take(2).collect();
        let gain = |c: usize| {
            stats::mean(&bright.iter().filter_map(|(seen, nominal)| Some(nominal / seen.get(c)?)).collect::<Vec<_>>())
        };
        Some([gain(0)?, gain(1)?, gain(2)?])
    })
}

/// Mean linear light of the middle of a patch; `None` where any of it lies outside the photo.
fn patch<S>(photo: &Photo, place: impl Fn(f64, f64) -> Point<S>) -> Option<[f64; 3]> {
    let mut sum = [0.0; 3];
    let mut n = 0.0;
    for i in 0..9 {
        for j in 0..9 {
            let p = place(0.3 + 0.05 * f64::from(i), 0.3 + 0.05 * f64::from(j));
            if !photo.rgb.holds(p.x, p.y) {
                return None;
            }
            let rgb = photo.rgb.bilinear_through(p.x, p.y, &LINEAR_OF_SRGB);
            for (s, v) in sum.iter_mut().zip(rgb) {
                *s += f64::from(v);
            }
            n += 1.0;
        }
    }
    Some(sum.map(|s| s / n))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Source: published sRGB to CIELAB (D65) conversions: white 100, 0, 0; red 53.24, 80.09, 67.20; mid grey 119 is
    // 50.0, 0, 0.
    #[test]
    fn colours_convert_as_published() {
        let linear = |code: usize| f64::from(LINEAR_OF_SRGB[code]);
        let close = |got: [f64; 3], expected: [f64; 3]| {
            for (a, b) in got.iter().zip(expected) {
                assert!((a - b).abs() < 0.06, "{got:?} is not {expected:?}");
            }
        };
        close(lab([1.0, 1.0, 1.0]), [100.0, 0.0, 0.0]);
        close(lab([1.0, 0.0, 0.0]), [53.24, 80.09, 67.20]);
        close(lab([linear(119); 3]), [50.03, 0.0, 0.0]);
    }
}
