//! The pose of a camera against a plane, from points whose plane coordinates are wholly or partly known: one robust
//! least-squares fit of rotation, translation, focal length and radial distortion, with its covariance.
//!
//! Levenberg-Marquardt on the six degrees of the pose (rotation updated on the group), ln(focal length), k1 and the
//! unknown plane coordinates ("levels") that several points share. Source of the camera model and of the idea of one joint
//! fit: Z. Zhang, "A flexible new technique for camera calibration", IEEE TPAMI 22 (2000) 1330-1334. Robust weights:
//! Tukey's biweight with c = 4.685 (95 % efficient for normal errors; Holland & Welsch 1977, from memory).

use nalgebra::{DMatrix, DVector, Matrix3, Rotation3, Vector3};

use super::plane_map::{Covariance, PlaneMap};
use crate::base::geometry::{Image, Point};
use crate::base::stats::robust_deviation;

/// What is known of a point's place on the plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// x, mm.
    X(f64),
    /// y, mm.
    Y(f64),
    /// x is the unknown number with this index, shared by all points that name it.
    XLevel(usize),
    /// y is the unknown number with this index, shared by all points that name it.
    YLevel(usize),
}

/// A point seen in the photo, part of whose place on the plane is known.
#[derive(Debug, Clone, Copy)]
pub struct Sighting {
    /// Where it is seen.
    pub at: Point<Image>,
    /// What is known of its place.
    pub place: Place,
    /// Expected standard deviation of the sighting in the direction that `place` speaks of, px.
    pub sigma_px: f64,
}

/// What is known of the lens before anything is measured.
#[derive(Debug, Clone, Copy)]
pub struct LensPrior {
    /// Where the lens's axis meets the picture, px.
    pub centre_px: (f64, f64),
    /// Most likely focal length, px.
    pub focal_px: f64,
    /// Standard deviation of its logarithm.
    pub focal_log_sd: f64,
    /// Standard deviation of the radial distortion about 0.
    pub k1_sd: f64,
}

impl LensPrior {
    /// The prior from the photo's size and its 35 mm figure.
    ///
    /// `FocalLengthIn35mmFilm` compares fields of view by the diagonal (43.27 mm) or by the width (36 mm): makers do not
    /// say which, and on 4:3 the two differ by 4 %. The diagonal is the rule of the camera makers' association (CIPA
    /// DCG-001, from memory), so it counts three to one: centre 1 % above the diagonal's figure, standard deviation
    /// 2.5 % together with the tag's rounding to whole millimetres. Without the tag: phones, compact cameras and crops
    /// see 25 to 75 degrees across the diagonal, so 40 mm and a factor of 1.5 either way.
    #[must_use]
    pub fn of_photo(width_px: usize, height_px: usize, focal_35mm_mm: Option<f64>) -> Self {
        const FILM_DIAGONAL_MM: f64 = 43.2666;
        let diagonal_px = (width_px as f64).hypot(height_px as f64);
        let centre_px = ((width_px as f64 - 1.0) / 2.0, (height_px as f64 - 1.0) / 2.0);
        let (film_mm, focal_log_sd) = match focal_35mm_mm {
            Some(mm) => (mm * 1.01, 0.025f64.hypot(0.5 / 3.0f64.sqrt() / mm)),
            None => (40.0, 1.5f64.ln()),
        };
        // Phones correct their lenses to about a per cent at the corner; k1 of 0.1 is 2 % at a radius of 0.45 f.
        Self { centre_px, focal_px: film_mm / FILM_DIAGONAL_MM * diagonal_px, focal_log_sd, k1_sd: 0.1 }
    }
}

/// A camera before the plane: `p_camera = rotation * (x, y, 0) + translation`, x right and y down on both, z away from
/// the camera.
#[derive(Debug, Clone, Copy)]
pub struct Pose {
    /// From plane axes to camera axes.
    pub rotation: Rotation3<f64>,
    /// The plane's origin in camera axes, mm.
    pub translation: Vector3<f64>,
    /// Focal length, px.
    pub focal_px: f64,
    /// Radial distortion, `x_d = x_u (1 + k1 r_u^2)`, radius in focal lengths.
    pub k1: f64,
}

/// Number of parameters of a pose: rotation, translation, ln(focal length), k1.
pub const POSE_PARAMETERS: usize = 8;

impl Pose {
    /// A camera looking straight down at `at`, which shows the plane's point (0, 0) and where the plane's x runs along
    /// `direction` with `px_per_mm`.
    #[must_use]
    pub fn straight_down(at: Point<Image>, direction: Point<Image>, px_per_mm: f64, lens: &LensPrior) -> Self {
        let height = lens.focal_px / px_per_mm;
        let x = (at.x - lens.centre_px.0) / px_per_mm;
        let y = (at.y - lens.centre_px.1) / px_per_mm;
        Self {
            rotation: Rotation3::from_axis_angle(&Vector3::z_axis(), direction.y.atan2(direction.x)),
            translation: Vector3::new(x, y, height),
            focal_px: lens.focal_px,
            k1: 0.0,
        }
    }

    /// Changed by small parameters: rotation vector, translation, ln(focal length), k1.
    #[must_use]
    pub fn moved(&self, step: &[f64; POSE_PARAMETERS]) -> Self {
        let [a, b, c, x, y, z, f, k] = *step;
        Self {
            rotation: Rotation3::new(Vector3::new(a, b, c)) * self.rotation,
            translation: self.translation + Vector3::new(x, y, z),
            focal_px: self.focal_px * f.exp(),
            k1: self.k1 + k,
        }
    }

    /// Plane coordinates (mm) seen at `p`, and the scale there across the line of sight, px/mm; `None` at or beyond the
    /// horizon.
    #[must_use]
    pub fn plane_from_image(&self, p: Point<Image>, centre_px: (f64, f64)) -> Option<(f64, f64, f64)> {
        let (dx, dy) = ((p.x - centre_px.0) / self.focal_px, (p.y - centre_px.1) / self.focal_px);
        let (ux, uy) = undistorted(dx, dy, self.k1);
        let ray = Vector3::new(ux, uy, 1.0);
        let m = self.rotation.matrix();
        let normal = Vector3::new(m[(0, 2)], m[(1, 2)], m[(2, 2)]);
        let slope = normal.dot(&ray);
        let depth = normal.dot(&self.translation) / slope;
        if !(depth.is_finite() && depth > 0.0) {
            return None;
        }
        let on_plane = self.rotation.inverse_transform_vector(&(ray * depth - self.translation));
        Some((on_plane.x, on_plane.y, self.focal_px / depth))
    }

    /// Angle between the camera's axis and the plane's normal, radians.
    #[must_use]
    pub fn tilt_rad(&self) -> f64 {
        let m = self.rotation.matrix();
        m[(0, 2)].hypot(m[(1, 2)]).atan2(m[(2, 2)].abs())
    }

    /// The map of this pose, without any uncertainty yet; `None` where it degenerates.
    #[must_use]
    pub fn map(&self, centre_px: (f64, f64)) -> Option<PlaneMap> {
        let (f, (cx, cy)) = (self.focal_px, centre_px);
        let camera = Matrix3::new(f, 0.0, cx, 0.0, f, cy, 0.0, 0.0, 1.0);
        let m = self.rotation.matrix();
        let columns = Matrix3::from_columns(&[m.column(0).into_owned(), m.column(1).into_owned(), self.translation]);
        let image_from_plane = camera * columns;
        let position = -self.rotation.inverse_transform_vector(&self.translation);
        Some(PlaneMap {
            plane_from_image: image_from_plane.try_inverse()?,
            image_from_plane,
            centre_px,
            radius_px: f,
            k1: self.k1,
            camera_mm: Some(Vector3::new(position.x, position.y, -position.z)),
            camera_height_relative_u: 0.0,
            uncertainty: Vec::new(),
            covariance: None,
        })
    }
}

/// Inverse of the radial distortion by Newton's method on the radius; radii in focal lengths.
fn undistorted(dx: f64, dy: f64, k1: f64) -> (f64, f64) {
    let rd = dx.hypot(dy);
    if rd < 1e-12 || k1 == 0.0 {
        return (dx, dy);
    }
    let mut r = rd;
    for _ in 0..4 {
        r -= (r * (1.0 + k1 * r * r) - rd) / (1.0 + 3.0 * k1 * r * r).max(0.1);
    }
    (dx * r / rd, dy * r / rd)
}

/// A fitted pose.
#[derive(Debug, Clone)]
pub struct PoseFit {
    /// The pose.
    pub pose: Pose,
    /// The unknown plane coordinates, mm.
    pub levels: Vec<f64>,
    /// Covariance of the pose's parameters, as [`Pose::moved`] takes them.
    pub covariance: DMatrix<f64>,
    /// Residual of every sighting, in units of its sigma.
    pub residuals: Vec<f64>,
    /// Robust weight of every sighting, 0 (refused) to 1.
    pub weights: Vec<f64>,
    /// Robust standard deviation of the residuals, in units of the stated sigmas.
    pub noise: f64,
    /// Where the lens's axis meets the picture, px.
    pub centre_px: (f64, f64),
}

/// Fits the pose. `start` must be near: scale within a quarter, direction within 20 degrees.
///
/// `None`: fewer sightings than parameters, or the fit degenerates.
#[must_use]
pub fn fit(sightings: &[Sighting], levels: &[f64], start: &Pose, lens: &LensPrior) -> Option<PoseFit> {
    if sightings.len() < POSE_PARAMETERS {
        return None;
    }
    let mut state = State { pose: *start, levels: levels.to_vec() };
    let mut weights = vec![1.0; sightings.len()];
    let mut noise = 1.0;
    // Five rounds of reweighting: the weights settle to a few per cent after three.
    for round in 0..5 {
        // Only the last rounds need the last digits.
        let enough = if round < 3 { 1e-3 } else { 1e-6 };
        descend(&mut state, sightings, &weights, noise, lens, enough)?;
        let residuals = state.residuals(sightings, lens)?;
        noise = robust_deviation(&residuals)?.max(0.05);
        // The first rounds forgive more, so that a poor start refuses nothing that is good.
        let cut = 4.685 * noise * if round < 2 { 3.0 } else { 1.0 };
        for (w, r) in weights.iter_mut().zip(&residuals) {
            let t = (r / cut).abs();
            *w = if t < 1.0 { (1.0 - t * t).powi(2) } else { 0.0 };
        }
    }
    let residuals = state.residuals(sightings, lens)?;
    let (normal, _) = normal_equations(&state, sightings, &weights, noise, lens)?;
    let all = normal.try_inverse()?;
    let covariance = all.view((0, 0), (POSE_PARAMETERS, POSE_PARAMETERS)).into_owned();
    Some(PoseFit {
        pose: state.pose,
        levels: state.levels,
        covariance,
        residuals,
        weights,
        noise,
        centre_px: lens.centre_px,
    })
}

/// How much neighbouring residuals go together: variance of the means of blocks of sixteen, against what independent
/// ones would give. They share blur, JPEG blocks and what the lens does beyond k1. At least 2: a fit of eight numbers takes
/// up part of what goes together.
fn company(residuals: &[f64], weights: &[f64]) -> f64 {
    const BLOCK: usize = 16;
    let kept: Vec<f64> = residuals.iter().zip(weights).filter(|(_, w)| **w > 0.3).map(|(r, _)| *r).collect();
    if kept.len() < 4 * BLOCK {
        return 2.0;
    }
    let single = kept.iter().map(|r| r * r).sum::<f64>() / kept.len() as f64;
    let means: Vec<f64> = kept.chunks_exact(BLOCK).map(|b| b.iter().sum::<f64>() / BLOCK as f64).collect();
    let block = means.iter().map(|m| m * m).sum::<f64>() / means.len() as f64;
    if single > 0.0 { (BLOCK as f64 * block / single).max(2.0) } else { 2.0 }
}

#[derive(Debug, Clone)]
struct State {
    pose: Pose,
    levels: Vec<f64>,
}

impl State {
    fn residual(&self, s: &Sighting, lens: &LensPrior) -> Option<f64> {
        let (x, y, px_per_mm) = self.pose.plane_from_image(s.at, lens.centre_px)?;
        let off = match s.place {
            Place::X(mm) => x - mm,
            Place::Y(mm) => y - mm,
            Place::XLevel(i) => x - self.levels.get(i)?,
            Place::YLevel(i) => y - self.levels.get(i)?,
        };
        Some(off * px_per_mm / s.sigma_px)
    }

    fn residuals(&self, sightings: &[Sighting], lens: &LensPrior) -> Option<Vec<f64>> {
        sightings.iter().map(|s| self.residual(s, lens)).collect()
    }

    /// Sum of squares, with the priors.
    fn cost(&self, sightings: &[Sighting], weights: &[f64], noise: f64, lens: &LensPrior) -> Option<f64> {
        let mut sum = 0.0;
        for (s, w) in sightings.iter().zip(weights) {
            if *w > 0.0 {
                sum += w * (self.residual(s, lens)? / noise).powi(2);
            }
        }
        let [f, k] = self.prior_residuals(lens);
        Some(sum + f * f + k * k)
    }

    fn prior_residuals(&self, lens: &LensPrior) -> [f64; 2] {
        [(self.pose.focal_px / lens.focal_px).ln() / lens.focal_log_sd, self.pose.k1 / lens.k1_sd]
    }

    fn moved(&self, step: &DVector<f64>) -> Self {
        let mut pose_step = [0.0; POSE_PARAMETERS];
        pose_step.copy_from_slice(&step.as_slice()[..POSE_PARAMETERS]);
        let levels = self.levels.iter().zip(step.iter().skip(POSE_PARAMETERS)).map(|(l, d)| l + d).collect();
        Self { pose: self.pose.moved(&pose_step), levels }
    }
}

/// J'WJ and J'Wr, with the priors; the derivatives by forward differences.
fn normal_equations(
    state: &State,
    sightings: &[Sighting],
    weights: &[f64],
    noise: f64,
    lens: &LensPrior,
) -> Option<(DMatrix<f64>, DVector<f64>)> {
    let n = POSE_PARAMETERS + state.levels.len();
    let mut normal = DMatrix::zeros(n, n);
    let mut gradient = DVector::zeros(n);
    // Steps far below the noise and far above the rounding of f64.
    let scale = state.pose.translation.z.abs().max(1.0);
    let steps = [1e-6, 1e-6, 1e-6, 1e-6 * scale, 1e-6 * scale, 1e-6 * scale, 1e-6, 1e-6];
    let shifted: Vec<State> = (0..POSE_PARAMETERS)
        .map(|i| {
            let mut step = [0.0; POSE_PARAMETERS];
            step[i] = steps[i];
            State { pose: state.pose.moved(&step), levels: state.levels.clone() }
        })
        .collect();
    let mut row = vec![0.0; n];
    for (s, w) in sightings.iter().zip(weights) {
        if *w <= 0.0 {
            continue;
        }
        let r = state.residual(s, lens)? / noise;
        for (i, up) in shifted.iter().enumerate() {
            row[i] = (up.residual(s, lens)? / noise - r) / steps[i];
        }
        let level = match s.place {
            Place::XLevel(i) | Place::YLevel(i) => Some(POSE_PARAMETERS + i),
            Place::X(_) | Place::Y(_) => None,
        };
        let used: Vec<usize> = (0..POSE_PARAMETERS).chain(level).collect();
        if let Some(j) = level {
            let (_, _, px_per_mm) = state.pose.plane_from_image(s.at, lens.centre_px)?;
            row[j] = -px_per_mm / s.sigma_px / noise;
        }
        for &a in &used {
            gradient[a] += w * row[a] * r;
            for &b in &used {
                normal[(a, b)] += w * row[a] * row[b];
            }
        }
    }
    let [f, k] = state.prior_residuals(lens);
    normal[(6, 6)] += lens.focal_log_sd.powi(-2);
    gradient[6] += f / lens.focal_log_sd;
    normal[(7, 7)] += lens.k1_sd.powi(-2);
    gradient[7] += k / lens.k1_sd;
    // A level that nothing weighs would make the matrix singular.
    for i in POSE_PARAMETERS..n {
        normal[(i, i)] += 1e-9;
    }
    Some((normal, gradient))
}

/// Levenberg-Marquardt until a step gains less than the part `enough` of the sum of squares.
fn descend(
    state: &mut State,
    sightings: &[Sighting],
    weights: &[f64],
    noise: f64,
    lens: &LensPrior,
    enough: f64,
) -> Option<()> {
    let mut damping = 1e-3;
    let mut cost = state.cost(sightings, weights, noise, lens)?;
    for _ in 0..30 {
        let (normal, gradient) = normal_equations(state, sightings, weights, noise, lens)?;
        let mut gained = None;
        for _ in 0..8 {
            let mut damped = normal.clone();
            for i in 0..damped.nrows() {
                damped[(i, i)] *= 1.0 + damping;
            }
            let step = damped.cholesky().map(|c| -c.solve(&gradient));
            let tried = step.map(|s| state.moved(&s)).filter(|s| s.pose.translation.z > 0.0);
            if let Some(tried) = tried
                && let Some(new) = tried.cost(sightings, weights, noise, lens)
                && new <= cost
            {
                gained = Some((tried, new));
                damping = (damping * 0.2).max(1e-12);
                break;
            }
            damping *= 8.0;
        }
        let Some((better, new)) = gained else { break };
        let drop = cost - new;
        *state = better;
        cost = new;
        if drop <= enough * cost.max(1e-9) {
            break;
        }
    }
    cost.is_finite().then_some(())
}

impl PoseFit {
    /// The same with its covariance widened by what neighbouring sightings share.
    #[must_use]
    pub fn widened(mut self) -> Self {
        self.covariance *= company(&self.residuals, &self.weights);
        self
    }

    /// The map with its uncertainty. `floor` is a relative standard uncertainty of the marks' own places (printing,
    /// making) that no number of sightings averages out.
    #[must_use]
    pub fn map(&self, floor: f64) -> Option<PlaneMap> {
        let mut map = self.pose.map(self.centre_px)?;
        let height_gradient = self.gradient(|pose| {
            let m = pose.rotation.matrix();
            let h = m.column(2).dot(&pose.translation);
            Some(h.abs().ln())
        })?;
        map.camera_height_relative_u = self.deviation(&height_gradient);
        map.covariance = Some(Covariance { fit: Box::new(self.clone()), floor });
        Some(map)
    }

    /// Standard uncertainty of the tilt, radians. Near 0 the tilt cannot be less than 0, so the square of the uncertainty
    /// of its two components is what counts.
    #[must_use]
    pub fn tilt_u_rad(&self) -> Option<f64> {
        let component = |i: usize| {
            let gradient = self.gradient(|pose| Some(pose.rotation.matrix()[(i, 2)].asin()))?;
            Some(self.deviation(&gradient))
        };
        let m = self.pose.rotation.matrix();
        let (x, y) = (m[(0, 2)], m[(1, 2)]);
        let (ux, uy) = (component(0)?, component(1)?);
        let length = x.hypot(y);
        if length < 1e-9 {
            return Some(ux.hypot(uy));
        }
        let both = self.gradient(|pose| Some(pose.tilt_rad()))?;
        Some(self.deviation(&both).max(ux.min(uy)))
    }

    /// Relative standard uncertainty of the scale at `p` along a direction of the photo, `height_mm` above the plane.
    #[must_use]
    pub fn relative_u(&self, p: Point<Image>, direction: Point<Image>) -> Option<f64> {
        let half = direction.unit()? * 0.5;
        let gradient = self.gradient(|pose| {
            let (ax, ay, _) = pose.plane_from_image(p - half, self.centre_px)?;
            let (bx, by, _) = pose.plane_from_image(p + half, self.centre_px)?;
            Some((ax - bx).hypot(ay - by).ln())
        })?;
        Some(self.deviation(&gradient))
    }

    fn gradient(&self, of: impl Fn(&Pose) -> Option<f64>) -> Option<[f64; POSE_PARAMETERS]> {
        let scale = self.pose.translation.z.abs().max(1.0);
        let mut gradient = [0.0; POSE_PARAMETERS];
        for (i, g) in gradient.iter_mut().enumerate() {
            let h = if (3..6).contains(&i) { 1e-5 * scale } else { 1e-5 };
            let mut step = [0.0; POSE_PARAMETERS];
            step[i] = h;
            let up = of(&self.pose.moved(&step))?;
            step[i] = -h;
            *g = (up - of(&self.pose.moved(&step))?) / (2.0 * h);
        }
        Some(gradient)
    }

    fn deviation(&self, gradient: &[f64; POSE_PARAMETERS]) -> f64 {
        let mut variance = 0.0;
        for (i, a) in gradient.iter().enumerate() {
            for (j, b) in gradient.iter().enumerate() {
                variance += a * b * self.covariance[(i, j)];
            }
        }
        variance.max(0.0).sqrt()
    }
}
