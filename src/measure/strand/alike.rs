//! Which of the slender things are yarn: one sample has one thickness, and a printed line is thinner than any yarn that
//! could be measured.

use super::{Refused, Strand};
use crate::base::stats::median;

/// Thinnest strand that is kept, px: below it a core edge of one pixel's blur on either side leaves no body.
const MIN_WIDTH_PX: f64 = 8.0;

/// Pieces of one sample: no piece is thinner than this part of the main piece, or thicker than its inverse. The thickness of
/// even very uneven handspun (30 % CV) has a mean over a hand's breadth within a quarter of the whole's.
const SAME_SAMPLE: f64 = 0.6;

/// Part of the main piece's fibrousness below which a thing beside it is smooth.
const SMOOTH: f64 = 0.5;

/// Fibrousness above which more does not tell yarn from other things any better.
const MOST_FIBROUS: f64 = 3.0;

/// How much lightness changes along the piece within its body, over the same on the ground beside it (noise and paper
/// grain): about 1 for a smooth thing, several for fibres and plies.
fn fibrousness(piece: &Strand) -> f64 {
    let strip = &piece.strip;
    let half =
        median(&piece.stations.iter().map(|s| s.width_px()).collect::<Vec<_>>()).unwrap_or(0.0) / 2.0 / strip.step_px;
    let change = |from: f64, to: f64| {
        let rows = (strip.middle_row + from).max(0.0) as usize..=(strip.middle_row + to).max(0.0) as usize;
        let changes: Vec<f64> = rows
            .filter(|row| *row < strip.rgb.height())
            .flat_map(|row| {
                let line = strip.rgb.row(row);
                (2..line.len().saturating_sub(2)).step_by(5).map(move |i| {
                    let [a, b, c] = [i - 2, i, i + 2].map(|k| f64::from(crate::base::colour::luminance(line[k])));
                    (a + c - 2.0 * b).abs() / (a + b + c + 0.05)
                })
            })
            .collect();
        median(&changes).unwrap_or(0.0)
    };
    let ground = change(-2.0 * half - 4.0, -1.6 * half - 4.0).min(change(1.6 * half + 4.0, 2.0 * half + 4.0));
    change(-0.5 * half, 0.5 * half) / ground.max(1e-4)
}

/// Moves what is no yarn of this sample from `pieces` to `refused`.
pub(super) fn keep(pieces: &mut Vec<Strand>, refused: &mut Vec<Refused>) {
    let width =
        |piece: &Strand| median(&piece.stations.iter().map(|s| s.width_px()).collect::<Vec<_>>()).unwrap_or(0.0);
    // The main piece is long and shows fibres: a pencil may be as long, but it is smooth.
    let likeness = |piece: &Strand| piece.stations.len() as f64 * piece.step_px * fibrousness(piece).min(MOST_FIBROUS);
    let main = pieces
        .iter()
        .filter(|piece| width(piece) >= MIN_WIDTH_PX)
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
        .map(|piece| (width(piece), fibrousness(piece).min(MOST_FIBROUS)));
    let all = std::mem::take(pieces);
    for piece in all {
        let own = width(&piece);
        let why = match main {
            _ if own < MIN_WIDTH_PX => "too thin to measure, or a printed line",
            Some((main, _)) if own < SAME_SAMPLE * main || own * SAME_SAMPLE > main => {
                "of another thickness than the main piece"
            }
            Some((_, main)) if fibrousness(&piece) < SMOOTH * main => "smooth beside the main piece",
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
