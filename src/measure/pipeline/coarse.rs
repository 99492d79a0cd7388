//! How coarsely a file keeps shades, and what that costs: a picture of few levels or colours, or one that was compressed hard,
//! looks as sharp as any other, but where its edges lie is only known as far as its shades are.

use super::super::photo::Photo;
use super::super::strand::{Station, Strand, Strands};
use crate::base::geometry::{Image, Point};
use crate::base::stats;

/// Pixels looked at on one piece: some for every colour that counts.
const LOOKED_AT: f64 = 8_000.0;

/// Colours from which on their number says nothing: two thousandths of the width are far below what any edge is known to.
const MANY_COLOURS: usize = 1024;

/// Widens the edges of every piece by what the file's shades leave open, and notes it.
pub(super) fn widen(strands: &mut Strands, photo: &Photo) {
    let mut noted = Vec::new();
    for piece in &mut strands.pieces {
        let Some(width) = stats::mean(&piece.stations.iter().map(Station::width_px).collect::<Vec<_>>()) else {
            continue;
        };
        let unsure = of_colours(pixels(piece, photo, 1.2)).hypot(of_coding(photo, piece));
        piece.edge_systematic_u_px = piece.edge_systematic_u_px.hypot(unsure * width);
        if piece.chosen {
            noted.push((unsure, piece.stations.len() as f64 * piece.step_px));
        }
    }
    strands.coarse = stats::weighted_mean(noted).unwrap_or(0.0);
}

/// The pixels of a piece, over so many of its widths, some thousands spread along it.
fn pixels(piece: &Strand, photo: &Photo, widths: f64) -> Vec<[u8; 3]> {
    let measured = || piece.stations.iter().filter(|s| s.left_out.is_none());
    let area: f64 = measured().map(|s| s.width_px() * widths * piece.step_px).sum();
    let stride = (area / LOOKED_AT).sqrt().max(1.0);
    let along = (stride / piece.step_px).ceil().max(1.0) as usize;
    let at = |p: Point<Image>| {
        let inside = photo.rgb.holds(p.x, p.y);
        inside.then(|| photo.rgb.get(p.x.round() as usize, p.y.round() as usize)).flatten()
    };
    let mut out = Vec::new();
    for station in measured().step_by(along) {
        let half = station.width_px() * widths / 2.0;
        let from = (station.left.offset_px + station.right.offset_px) / 2.0 - half;
        let count = (2.0 * half / stride) as usize;
        out.extend((0..=count).filter_map(|k| at(station.centre + station.normal * (from + k as f64 * stride))));
    }
    out
}

/// Standard uncertainty of the width that comes from few colours, as a fraction of it.
///
/// Across a round body the shades go from one edge to the crest and down to the other. Of `n` shades that occur alike each takes
/// an `n`th of the width, and an edge, which lies somewhere between two of them, is off by as much: at both sides the same way.
/// Colours that lie one code apart are all that there are in their range, however few.
fn of_colours(mut pixels: Vec<[u8; 3]>) -> f64 {
    pixels.sort_unstable();
    let counted: Vec<([u8; 3], f64)> =
        pixels.chunk_by(|a, b| a == b).map(|same| (same[0], same.len() as f64 / pixels.len() as f64)).collect();
    if counted.len() > MANY_COLOURS {
        return 0.0;
    }
    // As many alike as have the same entropy (C. E. Shannon, Bell System Technical Journal 27 (1948) 379).
    let alike = counted.iter().map(|(_, part)| -part * part.ln()).sum::<f64>().exp();
    let square =
        |a: [u8; 3], b: [u8; 3]| -> u32 { a.iter().zip(b).map(|(a, b)| u32::from(a.abs_diff(b)).pow(2)).sum() };
    let nearest = counted.iter().filter_map(|(colour, part)| {
        let others = counted.iter().map(|(other, _)| square(*colour, *other));
        Some((f64::from(others.filter(|d| *d > 0).min()?), *part))
    });
    // Where all three channels step together a step of theirs is the distance over the root of three.
    let step = (stats::weighted_mean(nearest).unwrap_or(0.0) / 3.0).sqrt();
    (2.0 / alike * (1.0 - 1.0 / step.max(1.0))).min(1.0)
}

/// Standard uncertainty of the width that comes from lossy coding, as a fraction of it: a shade that is off by a part of the
/// contrast shifts an edge by that part of the half width over which a round body's shade goes from edge to crest, both
/// edges the same way. Taken twice, for what is below half a step is not rounded by chance but lost.
fn of_coding(photo: &Photo, piece: &Strand) -> f64 {
    if photo.camera.coding_u <= 0.0 {
        return 0.0;
    }
    (2.0 * photo.camera.coding_u / contrast(&pixels(piece, photo, 2.0)).max(1.0)).min(1.0)
}

/// Span of the codes in which nine tenths of the pixels lie, in the channel where it is largest.
fn contrast(pixels: &[[u8; 3]]) -> f64 {
    let span = |channel: usize| {
        let codes: Vec<f64> = pixels.iter().map(|p| f64::from(p[channel])).collect();
        Some(stats::quantile(&codes, 0.95)? - stats::quantile(&codes, 0.05)?)
    };
    (0..3).filter_map(span).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: ten greys 20 codes apart, equally often: two tenths, less a twentieth of that.
    #[test]
    fn few_colours_leave_the_width_open() {
        let greys = |step: usize| (0..200).step_by(step).map(|v| [v as u8; 3]).collect::<Vec<_>>();
        assert!((of_colours(greys(20)) - 0.19).abs() < 1e-9);
        assert!(of_colours(greys(1)).abs() < 1e-9, "a grey picture keeps every shade that it may have");
        // One that fills nearly everything leaves as good as one colour, whatever else there is.
        let mostly = [greys(20), vec![[7; 3]; 5000]].concat();
        assert!((of_colours(mostly) - 1.0).abs() < 1e-9);
        let photo: Vec<[u8; 3]> = (0..9000u32).map(|i| [i, i * 7, i * 31].map(|v| (v / 13 % 256) as u8)).collect();
        assert!(of_colours(photo) < 0.005, "a photo's colours are many");
    }

    #[test]
    fn contrast_is_that_of_the_clearest_channel() {
        let half = |i: u32| if i < 50 { [10, 100, 30] } else { [20, 180, 20] };
        assert!((contrast(&(0..100).map(half).collect::<Vec<_>>()) - 80.0).abs() < 1e-9);
    }
}
