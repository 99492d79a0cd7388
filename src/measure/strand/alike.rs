//! Which of the slender things are yarn: one sample has one thickness, and a printed line is thinner than any yarn that
//! could be measured.

use super::{Refused, Strand};
use crate::base::stats::median;

/// Thinnest strand that is kept, px: below it a core edge of one pixel's blur on either side leaves no body.
const MIN_WIDTH_PX: f64 = 8.0;

/// Pieces of one sample: no piece is thinner than this part of the main piece, or thicker than its inverse.
const SAME_SAMPLE: f64 = 0.5;

/// Moves what is no yarn of this sample from `pieces` to `refused`.
pub(super) fn keep(pieces: &mut Vec<Strand>, refused: &mut Vec<Refused>) {
    let width =
        |piece: &Strand| median(&piece.stations.iter().map(|s| s.width_px()).collect::<Vec<_>>()).unwrap_or(0.0);
    // The main piece is the longest: a pencil or the table's pattern may be wider, but yarn is laid right across.
    let length = |piece: &Strand| piece.stations.len() as f64 * piece.step_px;
    let main = pieces
        .iter()
        .filter(|piece| width(piece) >= MIN_WIDTH_PX)
        .max_by(|a, b| length(a).total_cmp(&length(b)))
        .map(width);
    let all = std::mem::take(pieces);
    for piece in all {
        let own = width(&piece);
        let why = match main {
            _ if own < MIN_WIDTH_PX => "too thin to measure, or a printed line",
            Some(main) if own < SAME_SAMPLE * main || own * SAME_SAMPLE > main => {
                "of another thickness than the main piece"
            }
            _ => {
                pieces.push(piece);
                continue;
            }
        };
        let side = |sign: f64| {
            piece
                .stations
                .iter()
                .step_by(16)
                .map(move |s| s.centre + s.normal * (sign * (0.5 * own + 2.0)))
                .collect::<Vec<_>>()
        };
        let mut outline = side(-1.0);
        outline.extend(side(1.0).into_iter().rev());
        refused.push(Refused { outline, why });
    }
}
