//! What the stages found, laid out together: each chosen piece with its twist and its lengths.

use super::Evidence;
use crate::base::stats;
use crate::base::units::Mm;
use crate::figures::words::Reason;
use crate::measure::evenness::{AveragedWidth, RuledPiece, averaged_widths, lay_out, local_turns};
use crate::measure::scale::Scale;
use crate::measure::strand::Strand;
use crate::measure::twist::StrandTwist;

/// Width from which twist would be seen, px, and in blur radii: fibres are a thirtieth of a diameter or more apart, locks of
/// them a tenth, and a lock must be wider than the blur's sigma.
const TWIST_SHOWS_PX: f64 = 15.0;
const TWIST_SHOWS_BLURS: f64 = 10.0;

/// One chosen piece.
#[derive(Debug)]
pub(super) struct Piece<'a> {
    pub(super) strand: &'a Strand,
    pub(super) twist: Option<&'a StrandTwist>,
    pub(super) ruled: RuledPiece,
    /// Turns per unit of length at each station.
    pub(super) turns: Vec<Option<f64>>,
    /// Widths averaged over a turn or a diameter, under each reading of the plies.
    averaged: Vec<Vec<AveragedWidth>>,
}

/// A number of plies to reckon with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    /// Its place among the readings.
    index: usize,
    /// The number; `None` where nothing of the twist is known.
    pub(super) plies: Option<u32>,
    /// Its probability, 0 to 1.
    pub(super) share: f64,
}

impl Piece<'_> {
    /// Widths averaged over a turn or a diameter, as a reading of the plies has it.
    pub(super) fn averaged(&self, reading: &Reading) -> &[AveragedWidth] {
        self.averaged.get(reading.index).map_or(&[], Vec::as_slice)
    }

    /// Mean width and measured length, in the piece's unit.
    pub(super) fn mean_width_and_length(&self) -> Option<(f64, f64)> {
        let mut area = 0.0;
        let mut length = 0.0;
        for run in self.ruled.runs() {
            for pair in run.windows(2) {
                let step = pair[1].at - pair[0].at;
                area += step * (pair[0].width + pair[1].width) / 2.0;
                length += step;
            }
        }
        (length > 0.0).then(|| (area / length, length))
    }

    /// Mean width and measured length, px.
    pub(super) fn mean_width_and_length_px(&self) -> Option<(f64, f64)> {
        let widths: Vec<f64> =
            self.strand.stations.iter().filter(|s| s.left_out.is_none()).map(|s| s.width_px()).collect();
        Some((stats::mean(&widths)?, widths.len() as f64 * self.strand.step_px))
    }
}

/// All chosen pieces.
#[derive(Debug)]
pub(super) struct Gathered<'a> {
    pub(super) evidence: &'a Evidence,
    pub(super) pieces: Vec<Piece<'a>>,
    /// The ply count to work with; `None` where it is unknown.
    pub(super) plies: Option<u32>,
    /// The known number alone, or each that may be, likeliest first; never empty.
    pub(super) readings: Vec<Reading>,
    /// Height of the axis above the plane, mm; 0 without a scale.
    pub(super) axis_height: Mm,
}

/// How far a ruler's face lies above what it lies on: from paper tape to wooden rulers 0.3 to 3 mm, any of them as likely as the
/// others (rectangular distribution). Common practice, no source.
const RULER_THICKNESS: Mm = Mm(1.65);
const RULER_THICKNESS_U: Mm = Mm(0.78);

impl<'a> Gathered<'a> {
    /// Lays every chosen piece out twice: the first widths tell how high the axis lies, and so the scale there.
    pub(super) fn from_evidence(evidence: &'a Evidence) -> Self {
        let plies = evidence.twist.plies.as_ref().ok().map(|(n, _)| *n);
        let readings = readings(evidence);
        let pieces = laid_out(evidence, &readings, Mm(0.0));
        let flat = Self { evidence, pieces, plies, readings, axis_height: Mm(0.0) };
        if evidence.scale.scale.known().is_none() {
            return flat;
        }
        match flat.mean_envelope() {
            Some(envelope) => {
                let lowered = if flat.beside_ruler() { RULER_THICKNESS.0 } else { 0.0 };
                let axis_height = Mm(envelope / 2.0 - lowered);
                Self { pieces: laid_out(evidence, &flat.readings, axis_height), axis_height, ..flat }
            }
            None => flat,
        }
    }

    /// Whether the yarn lies beside the ruler, on what that lies on.
    fn beside_ruler(&self) -> bool {
        self.pieces.iter().any(|p| p.strand.beside)
    }

    /// Whether every piece is laid out in millimetres; else the reason.
    pub(super) fn in_mm(&self) -> Result<(), Reason> {
        self.any_piece()?;
        match &self.evidence.scale.scale {
            Scale::Unknown(reason) => Err(reason.clone()),
            Scale::Known(_) if self.pieces.iter().all(|p| p.ruled.in_mm) => Ok(()),
            Scale::Known(_) => Err(Reason::PoseUnclear),
        }
    }

    /// Whether there is any measured piece; else the reason.
    pub(super) fn any_piece(&self) -> Result<(), Reason> {
        if self.may_be_no_yarn() {
            return Err(Reason::NoYarnStructure);
        }
        if self.pieces.iter().any(|p| p.mean_width_and_length().is_some()) {
            return Ok(());
        }
        Err(self.evidence.strands.reason.clone().unwrap_or(Reason::NoStrand))
    }

    /// Whether what was found may be anything long and narrow: nothing of yarn is seen in it, though it would be, and nobody
    /// says that it is yarn. Beside a ruler a strand too fine or too soft to show its twist is taken for yarn all the same.
    fn may_be_no_yarn(&self) -> bool {
        let strands = &self.evidence.strands;
        let vouched = strands.pointed_at || self.evidence.twist.plies_stated;
        if self.evidence.twist.seen || vouched || self.pieces.is_empty() {
            return false;
        }
        let blur = stats::mean(&self.pieces.iter().map(|p| p.strand.blur_px).collect::<Vec<_>>()).unwrap_or(0.0);
        // Side by side like wraps lie the fibres of one thick strand, too.
        let side_by_side = strands.wraps.is_some();
        let would_show = self.mean_width_px().is_some_and(|w| w >= TWIST_SHOWS_PX && w >= TWIST_SHOWS_BLURS * blur);
        would_show || side_by_side || self.evidence.scale.scale.known().is_none()
    }

    /// Mean extent that the turning plies fill, in the pieces' unit; the mean width where turns are unknown.
    pub(super) fn mean_envelope(&self) -> Option<f64> {
        self.envelope_under(self.readings.first()?)
    }

    /// The same, as a reading of the plies has it.
    pub(super) fn envelope_under(&self, reading: &Reading) -> Option<f64> {
        let plied = reading.plies.is_some_and(|n| n > 1);
        stats::weighted_mean(self.pieces.iter().filter_map(|piece| {
            let (width, length) = piece.mean_width_and_length()?;
            let envelopes: Vec<f64> = piece.averaged(reading).iter().map(|a| a.envelope).collect();
            Some((stats::mean(&envelopes).filter(|_| plied).unwrap_or(width), length))
        }))
    }

    /// Mean width over all pieces, weighted by length, in the pieces' unit.
    pub(super) fn mean_width(&self) -> Option<f64> {
        stats::weighted_mean(self.pieces.iter().filter_map(Piece::mean_width_and_length))
    }

    /// Mean width over all pieces, weighted by length, px.
    pub(super) fn mean_width_px(&self) -> Option<f64> {
        stats::weighted_mean(self.pieces.iter().filter_map(Piece::mean_width_and_length_px))
    }

    /// Relative standard uncertainty of lengths that comes from the scale, at the strands' own height.
    pub(super) fn scale_relative_u(&self) -> f64 {
        let Some(known) = self.evidence.scale.scale.known() else { return 0.0 };
        let on_plane = stats::weighted_mean(self.pieces.iter().flat_map(|p| {
            let every = (p.strand.stations.len() / 16).max(1);
            p.strand.stations.iter().step_by(every).map(|s| (known.map.relative_u(s.centre), 1.0))
        }))
        .unwrap_or(1.0);
        // The height of the axis is known to about a fifth: plies flatten, yarn does not lie close everywhere.
        const AXIS_HEIGHT_RELATIVE_U: f64 = 0.2;
        let raised = known.map.camera_mm.map_or(0.0, |camera| {
            let thickness = if self.beside_ruler() { RULER_THICKNESS_U.0 / camera.z } else { 0.0 };
            let height = self.axis_height.0 / camera.z;
            thickness.hypot(height * known.map.camera_height_relative_u.hypot(AXIS_HEIGHT_RELATIVE_U))
        });
        on_plane.hypot(raised)
    }
}

fn readings(evidence: &Evidence) -> Vec<Reading> {
    let open = &evidence.twist.readings;
    if open.is_empty() {
        let plies = evidence.twist.plies.as_ref().ok().map(|(n, _)| *n);
        return vec![Reading { index: 0, plies, share: 1.0 }];
    }
    open.iter().enumerate().map(|(index, r)| Reading { index, plies: Some(r.plies), share: r.share }).collect()
}

fn laid_out<'a>(evidence: &'a Evidence, readings: &[Reading], height: Mm) -> Vec<Piece<'a>> {
    let known = evidence.scale.scale.known();
    let plies_known = evidence.twist.readings.is_empty();
    evidence
        .strands
        .pieces
        .iter()
        .filter(|strand| strand.chosen)
        .map(|strand| {
            let of_this = |twists: &'a [StrandTwist]| twists.iter().find(|t| t.strand == strand.number);
            let ruled = lay_out(strand, known, height);
            let unknown = vec![None; ruled.stations.len()];
            let turns_under = |reading: &Reading| {
                let twists = evidence.twist.readings.get(reading.index).map_or(&evidence.twist.pieces, |r| &r.pieces);
                match (of_this(twists), reading.plies) {
                    (Some(twist), Some(n)) => local_turns(&ruled, twist, n),
                    _ => unknown.clone(),
                }
            };
            let under: Vec<Vec<Option<f64>>> = readings.iter().map(turns_under).collect();
            let averaged = under
                .iter()
                .zip(readings)
                .map(|(turns, r)| averaged_widths(&ruled, turns, r.plies.unwrap_or(1)))
                .collect();
            let turns = under.into_iter().next().filter(|_| plies_known).unwrap_or(unknown);
            Piece { strand, twist: of_this(&evidence.twist.pieces), ruled, turns, averaged }
        })
        .collect()
}
