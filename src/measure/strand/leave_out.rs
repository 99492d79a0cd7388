//! Stretches of a piece that are not measured, and why.

use super::{LeftOutWhy, Strand};
use crate::base::geometry::inside_polygon;
use crate::measure::photo::Photo;
use crate::measure::scale::ScaleFound;

/// Local width, as a part of the median, below which (or above whose inverse) the edges have lost the yarn: thick and thin
/// places of handspun stay well within.
const MIN_PART: f64 = 0.25;

/// Part of a strand that must lie on a card or ruler for it to be what is measured: one that only crosses its edge lies beside it.
const ON_IT: f64 = 0.2;

/// Marks the stations of a piece that are not to be measured.
pub(super) fn mark(piece: &mut Strand, photo: &Photo, scale: &ScaleFound) {
    let widths: Vec<f64> = piece.stations.iter().map(super::Station::width_px).collect();
    let Some(diameter) = crate::base::stats::median(&widths) else { return };
    let last = piece.stations.len().saturating_sub(1);
    let (right, bottom) = (photo.rgb.width() as f64 - 1.0, photo.rgb.height() as f64 - 1.0);
    let rim = |x: f64, y: f64| x.min(y).min(right - x).min(bottom - y);
    let (from_border, to_border) = {
        // The piece goes on beyond the picture.
        let at = |s: Option<&super::Station>| s.is_some_and(|s| rim(s.centre.x, s.centre.y) < 1.5 * diameter);
        (at(piece.stations.first()), at(piece.stations.last()))
    };
    // A strand that lies beside a ruler is no less in its plane; one that lies on it leaves the plane where it hangs off.
    let outline = scale.card_outline.as_ref().filter(|outline| {
        let on = piece.stations.iter().filter(|s| inside_polygon(outline, s.centre)).count();
        on as f64 > ON_IT * piece.stations.len() as f64
    });
    piece.beside = scale.card_outline.is_some() && outline.is_none();
    // Two diameters from a cut end; where the picture ends, only what the border cuts off.
    let margin = |border: bool| if border { 0.5 * diameter } else { 2.0 * diameter };
    for (i, station) in piece.stations.iter_mut().enumerate() {
        let p = station.centre;
        let (head, tail) = (i as f64 * piece.step_px, (last - i) as f64 * piece.step_px);
        let told = station.left_out;
        station.left_out = if outline.is_some_and(|outline| !inside_polygon(outline, p)) {
            Some(LeftOutWhy::OffCard)
        } else if head < margin(from_border) {
            Some(if from_border { LeftOutWhy::Border } else { LeftOutWhy::CutEnd })
        } else if tail < margin(to_border) {
            Some(if to_border { LeftOutWhy::Border } else { LeftOutWhy::CutEnd })
        } else if rim(p.x, p.y) < 0.7 * diameter {
            Some(LeftOutWhy::Border)
        } else if scale.on_print(p) {
            Some(LeftOutWhy::OverMarks)
        } else if !(MIN_PART..1.0 / MIN_PART).contains(&(station.width_px() / diameter)) {
            Some(LeftOutWhy::EdgeUnclear)
        } else {
            told
        };
    }
}
