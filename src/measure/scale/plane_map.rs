//! The mapping between the photo and a plane in millimetres, at any height above that plane.

use nalgebra::{Matrix3, Vector3};

use super::StatedScale;
use super::pose::PoseFit;
use crate::base::geometry::{Card, Image, Point};
use crate::base::units::Mm;

/// A camera looking at a plane: homography from plane (mm) to undistorted pixels, radial distortion, and where the
/// camera stands, so that things above the plane are mapped too.
///
/// Distortion: `x_d = x_u (1 + k1 r_u^2)` about `centre_px`, with `r_u` in units of `radius_px`.
#[derive(Debug, Clone)]
pub struct PlaneMap {
    /// Undistorted pixel (homogeneous) from plane point (mm).
    pub image_from_plane: Matrix3<f64>,
    /// Its inverse.
    pub plane_from_image: Matrix3<f64>,
    /// Centre of the distortion, px.
    pub centre_px: (f64, f64),
    /// Unit of the distortion's radius, px.
    pub radius_px: f64,
    /// Radial distortion.
    pub k1: f64,
    /// The camera in plane coordinates (x, y, height above the plane), mm; `None`: infinitely far (a scan).
    pub camera_mm: Option<Vector3<f64>>,
    /// Relative standard uncertainty of the camera's height.
    pub camera_height_relative_u: f64,
    /// Points of the plane at which the relative standard uncertainty of the scale is known: (photo point, uncertainty).
    /// Between and beyond them the nearest counts. Not used where there is a covariance.
    pub uncertainty: Vec<(Point<Image>, f64)>,
    /// What the fit of the pose left open.
    pub covariance: Option<Covariance>,
}

/// The uncertainty of a fitted pose.
#[derive(Debug, Clone)]
pub struct Covariance {
    /// The fit.
    pub fit: Box<PoseFit>,
    /// Relative standard uncertainty of the marks' own places, which no number of sightings averages out.
    pub floor: f64,
}

impl PlaneMap {
    /// A scale stated by the person, the same everywhere; `None` unless it is positive and finite.
    #[must_use]
    pub fn stated(stated: StatedScale, middle_px: (f64, f64)) -> Option<Self> {
        let (px_per_mm, u) = match stated {
            StatedScale::DotsPerInch(dpi) => (dpi / crate::base::units::MM_PER_INCH, 0.001),
            // Two points set by hand: half a pixel each at best, a pixel at the usual.
            StatedScale::TwoPoints { from, to, distance_mm } => {
                let px = from.distance(to);
                (px / distance_mm, (2.0f64.sqrt() / px).max(0.001))
            }
        };
        if !(px_per_mm.is_finite() && px_per_mm > 0.0) {
            return None;
        }
        let image_from_plane = Matrix3::new(px_per_mm, 0.0, 0.0, 0.0, px_per_mm, 0.0, 0.0, 0.0, 1.0);
        Some(Self {
            plane_from_image: image_from_plane.try_inverse()?,
            image_from_plane,
            centre_px: middle_px,
            radius_px: 1000.0,
            k1: 0.0,
            camera_mm: None,
            camera_height_relative_u: 0.0,
            uncertainty: vec![(Point::new(middle_px.0, middle_px.1), u)],
            covariance: None,
        })
    }

    /// The same plane in millimetres that are `factor` of what they were: a card printed at 98 % has 0.98. `None` unless the
    /// factor is positive and finite.
    #[must_use]
    pub fn printed_at(&self, factor: f64) -> Option<Self> {
        if !(factor.is_finite() && factor > 0.0) {
            return None;
        }
        let shrink = Matrix3::from_diagonal(&Vector3::new(1.0 / factor, 1.0 / factor, 1.0));
        let image_from_plane = self.image_from_plane * shrink;
        Some(Self {
            plane_from_image: image_from_plane.try_inverse()?,
            image_from_plane,
            camera_mm: self.camera_mm.map(|c| c * factor),
            ..self.clone()
        })
    }

    /// Plane coordinates (mm) of what is seen at `p` if it lies `height` above the plane; `None` at the horizon or
    /// beyond it.
    #[must_use]
    pub fn card_from_image(&self, p: Point<Image>, height: Mm) -> Option<Point<Card>> {
        let (x, y) = self.undistorted(p);
        let v = self.plane_from_image * Vector3::new(x, y, 1.0);
        // The sign of the third coordinate says on which side of the horizon the point lies; the picture's middle is below it.
        let middle = self.plane_from_image * Vector3::new(self.centre_px.0, self.centre_px.1, 1.0);
        if v.z * middle.z <= 0.0 {
            return None;
        }
        let flat = Point::new(v.x / v.z, v.y / v.z);
        match self.camera_mm {
            Some(camera) => {
                let foot = Point::new(camera.x, camera.y);
                Some(foot + (flat - foot) * (1.0 - height.0 / camera.z))
            }
            None => Some(flat),
        }
    }

    /// Where a point `height` above the plane is seen.
    #[must_use]
    pub fn image_from_card(&self, p: Point<Card>, height: Mm) -> Point<Image> {
        let flat = match self.camera_mm {
            Some(camera) => {
                let foot = Point::new(camera.x, camera.y);
                foot + (p - foot) * (1.0 / (1.0 - height.0 / camera.z))
            }
            None => p,
        };
        let v = self.image_from_plane * Vector3::new(flat.x, flat.y, 1.0);
        self.distorted(v.x / v.z, v.y / v.z)
    }

    /// Local scale at `p` along `direction` (a vector in the photo), `height` above the plane, px/mm; `None` at or
    /// beyond the horizon.
    #[must_use]
    pub fn px_per_mm(&self, p: Point<Image>, direction: Point<Image>, height: Mm) -> Option<f64> {
        let half = direction.unit()? * 0.5;
        let (a, b) = (self.card_from_image(p - half, height)?, self.card_from_image(p + half, height)?);
        let mm = a.distance(b);
        (mm > 0.0 && mm.is_finite()).then(|| 1.0 / mm)
    }

    /// Pixels of the photo that one millimetre square to a strand takes up, `height` above the plane. `along` is the strand's
    /// direction in the photo. Square means on the plane: under tilt the two are not square to each other in the photo,
    /// which makes a difference of up to half a per cent at 15 degrees. `None` at or beyond the horizon.
    #[must_use]
    pub fn px_per_mm_across(&self, p: Point<Image>, along: Point<Image>, height: Mm) -> Option<f64> {
        let step = along.unit()? * 0.5;
        let middle = self.card_from_image(p, height)?;
        let tangent = self.card_from_image(p + step, height)? - self.card_from_image(p - step, height)?;
        let half = tangent.unit()?.quarter_turn() * (0.5 * tangent.length());
        let (a, b) = (self.image_from_card(middle - half, height), self.image_from_card(middle + half, height));
        let scale = a.distance(b) / tangent.length();
        (scale.is_finite() && scale > 0.0).then_some(scale)
    }

    /// Width in millimetres, square to the strand, of a strand whose edges are `width_px` apart square to `along` in the
    /// photo, `height` above the plane. The edges are two lines along the strand, so only their distance on the plane
    /// counts, not where on them it was taken. `None` at or beyond the horizon.
    #[must_use]
    pub fn width_mm(&self, p: Point<Image>, along: Point<Image>, width_px: f64, height: Mm) -> Option<f64> {
        let along = along.unit()?;
        let across = along.quarter_turn() * 0.5;
        let tangent = self.card_from_image(p + along * 0.5, height)? - self.card_from_image(p - along * 0.5, height)?;
        let span = self.card_from_image(p + across, height)? - self.card_from_image(p - across, height)?;
        let width = width_px * span.cross(tangent.unit()?).abs();
        width.is_finite().then_some(width)
    }

    /// Relative standard uncertainty of the local scale on the plane at `p`, in the direction in which it is greatest.
    #[must_use]
    pub fn relative_u(&self, p: Point<Image>) -> f64 {
        if self.covariance.is_some() {
            // The variance is a smooth function of twice the angle: eight directions find its greatest value to 4 %.
            let turns = (0..8).map(|i| f64::from(i) * std::f64::consts::PI / 8.0);
            return turns.map(|a| self.relative_u_along(p, Point::new(a.cos(), a.sin()))).fold(0.0, f64::max);
        }
        self.uncertainty.iter().min_by(|a, b| a.0.distance(p).total_cmp(&b.0.distance(p))).map_or(1.0, |(_, u)| *u)
    }

    /// Relative standard uncertainty of the local scale on the plane at `p` along `direction` (a vector in the photo).
    #[must_use]
    pub fn relative_u_along(&self, p: Point<Image>, direction: Point<Image>) -> f64 {
        match &self.covariance {
            Some(Covariance { fit, floor }) => fit.relative_u(p, direction).map_or(1.0, |u| u.hypot(*floor)),
            None => self.relative_u(p),
        }
    }

    fn distorted(&self, x: f64, y: f64) -> Point<Image> {
        let (dx, dy) = ((x - self.centre_px.0) / self.radius_px, (y - self.centre_px.1) / self.radius_px);
        let stretch = 1.0 + self.k1 * (dx * dx + dy * dy);
        Point::new(self.centre_px.0 + dx * stretch * self.radius_px, self.centre_px.1 + dy * stretch * self.radius_px)
    }

    /// Inverse of [`Self::distorted`] by fixed-point iteration: for |k1 r^2| below 0.1 each step gains a digit.
    fn undistorted(&self, p: Point<Image>) -> (f64, f64) {
        let (dx, dy) = ((p.x - self.centre_px.0) / self.radius_px, (p.y - self.centre_px.1) / self.radius_px);
        let (mut x, mut y) = (dx, dy);
        for _ in 0..12 {
            let stretch = 1.0 + self.k1 * (x * x + y * y);
            (x, y) = (dx / stretch, dy / stretch);
        }
        (self.centre_px.0 + x * self.radius_px, self.centre_px.1 + y * self.radius_px)
    }
}
