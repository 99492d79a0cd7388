//! What was seen along each piece, thinned for the report.

use super::gathered::Piece;
use crate::base::units::MM_PER_INCH;
use crate::figures::report::{LeftOut, Profile, StrandFigures};

/// Profile points per mean diameter: enough to show each ply's swelling (a ply passes in about one diameter).
const POINTS_PER_DIAMETER: f64 = 8.0;

pub(super) fn strand_figures(piece: &Piece) -> StrandFigures {
    let in_mm = piece.ruled.in_mm;
    StrandFigures {
        number: piece.strand.number,
        length_mm: in_mm.then(|| piece.ruled.measured_length()),
        left_out: left_out(piece),
        profile: if in_mm { profile(piece) } else { Profile::default() },
    }
}

/// Neighbouring stations left out for the same reason, as stretches.
fn left_out(piece: &Piece) -> Vec<LeftOut> {
    let stations = &piece.ruled.stations;
    let place = |i: usize| stations.get(i).map(|s| s.at).filter(|_| piece.ruled.in_mm);
    let mut out = Vec::new();
    let mut i = 0;
    while i < stations.len() {
        let why = stations[i].left_out;
        let length = stations[i..].iter().take_while(|s| s.left_out == why).count();
        if let Some(why) = why {
            out.push(LeftOut { start_mm: place(i), end_mm: place(i + length - 1), why: why.word().to_owned() });
        }
        i += length;
    }
    out
}

fn profile(piece: &Piece) -> Profile {
    let mut out = Profile::default();
    let Some((mean, _)) = piece.mean_width_and_length() else { return out };
    let step = mean / POINTS_PER_DIAMETER;
    let mut next = f64::MIN;
    for (i, (station, seen)) in piece.ruled.stations.iter().zip(&piece.strand.stations).enumerate() {
        if station.left_out.is_some() || station.at < next {
            continue;
        }
        next = station.at + step;
        let angle = piece.twist.and_then(|t| *t.angle_rad.get(i)?);
        out.at_mm.push(station.at);
        out.width_mm.push(station.width);
        out.twist_angle_deg.push(angle.map(|a| (a.tan() * station.tan_factor).atan().to_degrees()));
        out.x_px.push(seen.centre.x);
        out.y_px.push(seen.centre.y);
        out.twists_per_inch.push(piece.turns.get(i).copied().flatten().map(|t| t * MM_PER_INCH));
    }
    out
}
