//! Where a strand's axis runs: gentle curves, closed loops, bends round the edge of a card.

use nalgebra::Vector3;

use super::chance::Chance;

/// A point of the axis and its frame: along the strand, to its left (seen from above), and up.
#[derive(Debug, Clone, Copy)]
pub(super) struct Frame {
    pub(super) at: Vector3<f64>,
    pub(super) along: Vector3<f64>,
    pub(super) left: Vector3<f64>,
    pub(super) up: Vector3<f64>,
}

impl Frame {
    /// From a point and a direction that is not vertical.
    fn level(at: Vector3<f64>, along: Vector3<f64>) -> Self {
        let left = Vector3::z().cross(&along).normalize();
        Self { at, along, left, up: along.cross(&left) }
    }
}

/// A closed loop of the whole strand: where it starts and ends along the axis, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Loop {
    pub(super) from: f64,
    pub(super) to: f64,
}

/// A gently curved axis in the card's plane (heights come later), with closed loops.
#[derive(Debug)]
pub(super) struct Lie {
    /// Length, mm.
    pub(super) length: f64,
    /// Middle of the strand.
    pub(super) middle: [f64; 2],
    /// Mean direction, degrees anticlockwise from the card's x axis.
    pub(super) angle_deg: f64,
    /// Sideways wander, mm.
    pub(super) bow: f64,
    /// Length of the wander's waves against the usual ones.
    pub(super) wave: f64,
    /// Loops, in order and apart from one another.
    pub(super) loops: Vec<Loop>,
    /// How far a loop's second crossing lies above its first, mm.
    pub(super) lift: f64,
}

impl Lie {
    /// The axis at equal steps of arc length, at height 0.
    ///
    /// The direction is the mean direction, plus two slow waves whose slopes give the wander, plus a whole turn over
    /// every loop; positions are its integral, so that the steps are true arc length.
    pub(super) fn frames(&self, step: f64, chance: &mut Chance) -> Vec<Frame> {
        let tau = std::f64::consts::TAU;
        let waves: Vec<(f64, f64, f64)> = [(0.75, 110.0, 190.0), (0.35, 55.0, 80.0)]
            .map(|(share, short, long)| {
                let length = self.wave * chance.between(short, long);
                (tau * self.bow * share / length, tau / length, chance.between(0.0, tau))
            })
            .to_vec();
        let count = (self.length / step).ceil().max(2.0) as usize + 1;
        let heading = |s: f64| {
            let wander: f64 = waves.iter().map(|(slope, rate, phase)| slope * (rate * s + phase).cos()).sum();
            let turned: f64 = self.loops.iter().map(|l| tau * turn_share((s - l.from) / (l.to - l.from))).sum();
            wander + turned
        };
        let mut points = Vec::with_capacity(count);
        let mut at = [0.0, 0.0];
        for i in 0..count {
            points.push(at);
            let direction = heading((i as f64 + 0.5) * step);
            at = [at[0] + step * direction.cos(), at[1] + step * direction.sin()];
        }
        // Turn the chord between the ends into the mean direction, and put the middle where it belongs.
        let (first, last) = (points[0], at);
        let chord = (last[1] - first[1]).atan2(last[0] - first[0]);
        let turn = self.angle_deg.to_radians() - chord;
        let (sine, cosine) = turn.sin_cos();
        let half = [(first[0] + last[0]) / 2.0, (first[1] + last[1]) / 2.0];
        points
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let s = i as f64 * step;
                let d = [p[0] - half[0], p[1] - half[1]];
                let x = self.middle[0] + d[0] * cosine - d[1] * sine;
                let y = self.middle[1] + d[0] * sine + d[1] * cosine;
                let direction = heading(s) + turn;
                Frame::level(Vector3::new(x, y, self.lift_at(s)), Vector3::new(direction.cos(), direction.sin(), 0.0))
            })
            .collect()
    }

    /// Height above the card that lets the second pass of a loop clear the first: a raised cosine about the crossing.
    fn lift_at(&self, s: f64) -> f64 {
        let lift = |l: &Loop| {
            let (middle, length) = (0.5 * (l.from + l.to), l.to - l.from);
            let crossing = CROSSING * length;
            let from_crossing = (s - middle - crossing) / (1.5 * crossing);
            if from_crossing.abs() < 1.0 {
                0.5 * self.lift * (1.0 + (std::f64::consts::PI * from_crossing).cos())
            } else {
                0.0
            }
        };
        self.loops.iter().map(lift).sum()
    }
}

/// Share of a loop's turn that is done after the share `x` of its length; curvature starts and ends at zero.
fn turn_share(x: f64) -> f64 {
    let x = x.clamp(0.0, 1.0);
    x - (std::f64::consts::TAU * x).sin() / std::f64::consts::TAU
}

/// Where such a loop crosses itself, as a share of its length from its middle: by symmetry both passes lie equally far
/// from the middle, where the integral of cos(pi + 2 pi (x + sin(2 pi x) / 2 pi)) from 0 vanishes (solved numerically).
const CROSSING: f64 = 0.277_134;

/// One wrap round a flat card: flat over the face, a quarter turn down at either edge.
#[derive(Debug)]
pub(super) struct WrapLie {
    /// Position along the card at the middle of the face, mm.
    pub(super) x: f64,
    /// How far the wrap moves along the card over the face, mm.
    pub(super) slant: f64,
    /// Half the card's height, mm.
    pub(super) half: f64,
    /// Radius of the bend, mm.
    pub(super) bend: f64,
}

impl WrapLie {
    /// The axis at equal steps, heights relative to the flat part.
    pub(super) fn frames(&self, step: f64) -> Vec<Frame> {
        let quarter = std::f64::consts::FRAC_PI_2 * self.bend;
        let length = 2.0 * (self.half + quarter);
        let count = (length / step).ceil() as usize + 1;
        (0..count)
            .map(|i| {
                let s = i as f64 * step - length / 2.0;
                let past = (s.abs() - self.half).max(0.0) / self.bend;
                let (y, z, direction) = if past > 0.0 {
                    let side = s.signum();
                    (side * (self.half + self.bend * past.sin()), self.bend * (past.cos() - 1.0), -side * past)
                } else {
                    (s, 0.0, 0.0)
                };
                let x = self.x + self.slant * (y / (2.0 * self.half));
                let along = Vector3::new(self.slant / (2.0 * self.half), direction.cos(), direction.sin()).normalize();
                // The bend leaves the sideways direction as it is.
                let left = -Vector3::x();
                let left = (left - along * along.dot(&left)).normalize();
                Frame { at: Vector3::new(x, y, z), along, left, up: along.cross(&left) }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loop_crosses_itself_where_its_symmetry_says() {
        let heading = |x: f64| {
            std::f64::consts::PI
                + std::f64::consts::TAU * (x + (std::f64::consts::TAU * x).sin() / std::f64::consts::TAU)
        };
        let n = 20_000;
        let integral: f64 =
            (0..n).map(|i| heading(CROSSING * (f64::from(i) + 0.5) / f64::from(n)).cos()).sum::<f64>() / f64::from(n);
        assert!(integral.abs() < 2e-3, "{integral}");
    }

    #[test]
    fn steps_are_true_arc_length_and_the_chord_points_as_stated() {
        let lie =
            Lie { length: 100.0, middle: [3.0, 4.0], angle_deg: 30.0, bow: 2.0, wave: 1.0, loops: vec![], lift: 0.0 };
        let frames = lie.frames(0.1, &mut Chance::new(5, 5));
        let mut length = 0.0;
        for pair in frames.windows(2) {
            length += (pair[1].at - pair[0].at).norm();
        }
        assert!((length - 0.1 * (frames.len() - 1) as f64).abs() < 1e-3);
        let chord = frames[frames.len() - 1].at - frames[0].at;
        assert!((chord.y.atan2(chord.x).to_degrees() - 30.0).abs() < 0.2);
    }
}
