//! A pinhole camera with radial distortion, pointed at the card.

use nalgebra::Vector3;

use super::scene::CameraSpec;

/// The camera, ready to project. Pixels as displayed; whole numbers are pixel centres.
#[derive(Debug, Clone)]
pub struct Camera {
    /// Position of the lens, mm.
    pub position: Vector3<f64>,
    /// Directions of the picture's x, y and of the view axis.
    pub axes: [Vector3<f64>; 3],
    /// Focal length, px.
    pub focal_px: f64,
    /// The middle of the picture, px.
    pub middle: [f64; 2],
    k1: f64,
    /// Undistorted over distorted radius, against the squared distorted radius, evenly spaced up to `reach`.
    undo: Vec<f64>,
    reach: f64,
}

impl Camera {
    /// The camera of a scene.
    #[must_use]
    pub fn new(spec: &CameraSpec) -> Self {
        let (tilt, azimuth, roll) =
            (spec.tilt_deg.to_radians(), spec.tilt_azimuth_deg.to_radians(), spec.roll_deg.to_radians());
        let towards = Vector3::new(tilt.sin() * azimuth.cos(), tilt.sin() * azimuth.sin(), tilt.cos());
        let position = Vector3::new(spec.target[0], spec.target[1], 0.0) + towards * spec.distance_mm;
        let forward = -towards;
        let level = forward.cross(&Vector3::y()).normalize();
        let down = forward.cross(&level);
        let right = level * roll.cos() + down * roll.sin();
        let axes = [right, forward.cross(&right), forward];
        let middle = [(spec.width_px as f64 - 1.0) / 2.0, (spec.height_px as f64 - 1.0) / 2.0];
        let corner = middle[0].hypot(middle[1]) / spec.focal_px;
        let reach = (corner * 1.1).powi(2);
        let undo =
            (0..=1024).map(|i| undistorted_over_distorted(spec.k1, (reach * f64::from(i) / 1024.0).sqrt())).collect();
        Self { position, axes, focal_px: spec.focal_px, middle, k1: spec.k1, undo, reach }
    }

    /// Where a point appears, px, and its depth along the view axis, mm; `None` behind the lens, and so far outside the
    /// picture that the distortion's polynomial would fold it back into it.
    #[must_use]
    pub fn project(&self, point: &Vector3<f64>) -> Option<[f64; 3]> {
        let seen = point - self.position;
        let depth = seen.dot(&self.axes[2]);
        if depth <= 1e-6 {
            return None;
        }
        let (x, y) = (seen.dot(&self.axes[0]) / depth, seen.dot(&self.axes[1]) / depth);
        if 1.0 + 3.0 * self.k1 * (x * x + y * y) < 0.05 {
            return None;
        }
        let bend = (1.0 + self.k1 * (x * x + y * y)) * self.focal_px;
        Some([self.middle[0] + x * bend, self.middle[1] + y * bend, depth])
    }

    /// The direction in which a pixel looks (its component along the view axis is 1).
    #[must_use]
    pub fn ray(&self, px: f64, py: f64) -> Vector3<f64> {
        let (x, y) = ((px - self.middle[0]) / self.focal_px, (py - self.middle[1]) / self.focal_px);
        let at = ((x * x + y * y) / self.reach * 1024.0).min(1023.0);
        let i = at as usize;
        let undo = match (self.undo.get(i), self.undo.get(i + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (at - i as f64),
            _ => 1.0,
        };
        self.axes[2] + self.axes[0] * (x * undo) + self.axes[1] * (y * undo)
    }

    /// The point of the plane `z = height` that a pixel shows; `None` at its horizon or beyond.
    #[must_use]
    pub fn on_plane(&self, px: f64, py: f64, height: f64) -> Option<[f64; 2]> {
        let ray = self.ray(px, py);
        let along = (height - self.position.z) / ray.z;
        (ray.z.abs() > 1e-9 && along > 0.0).then(|| [self.position.x + ray.x * along, self.position.y + ray.y * along])
    }

    /// Pixels per millimetre at `point` in the direction `along` (a unit vector).
    #[must_use]
    pub fn px_per_mm(&self, point: &Vector3<f64>, along: &Vector3<f64>) -> Option<f64> {
        let step = 0.05;
        let a = self.project(&(point - along * step))?;
        let b = self.project(&(point + along * step))?;
        Some((a[0] - b[0]).hypot(a[1] - b[1]) / (2.0 * step))
    }
}

/// Solves `distorted = u (1 + k1 u^2)` for u by Newton's method and returns u / distorted.
fn undistorted_over_distorted(k1: f64, distorted: f64) -> f64 {
    if distorted == 0.0 {
        return 1.0;
    }
    let mut u = distorted;
    for _ in 0..20 {
        u -= (u * (1.0 + k1 * u * u) - distorted) / (1.0 + 3.0 * k1 * u * u);
    }
    u / distorted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ray_undoes_projection() {
        let spec = CameraSpec {
            width_px: 1600,
            height_px: 1200,
            focal_px: 1300.0,
            target: [5.0, -3.0],
            distance_mm: 150.0,
            tilt_deg: 17.0,
            tilt_azimuth_deg: 200.0,
            roll_deg: 33.0,
            k1: -0.08,
        };
        let camera = Camera::new(&spec);
        for point in [Vector3::new(40.0, 20.0, 0.0), Vector3::new(-30.0, 25.0, 0.0), Vector3::new(0.0, 0.0, 0.0)] {
            let [x, y, _] = camera.project(&point).expect("in front");
            let back = camera.on_plane(x, y, 0.0).expect("hits the card");
            assert!((back[0] - point.x).hypot(back[1] - point.y) < 1e-4, "{point:?} {back:?}");
        }
        // The target is in the middle of the picture.
        let [x, y, depth] = camera.project(&Vector3::new(5.0, -3.0, 0.0)).expect("in front");
        assert!((x - 799.5).abs() < 1e-9 && (y - 599.5).abs() < 1e-9 && (depth - 150.0).abs() < 1e-9);
    }

    /// Source: x (1 + k1 x^2) has its greatest value at x = 1 / sqrt(-3 k1); beyond it pictures would fold.
    #[test]
    fn nothing_far_outside_folds_back_into_the_picture() {
        let spec = CameraSpec {
            width_px: 1600,
            height_px: 1200,
            focal_px: 2000.0,
            target: [0.0, 0.0],
            distance_mm: 100.0,
            tilt_deg: 0.0,
            tilt_azimuth_deg: 0.0,
            roll_deg: 0.0,
            k1: -0.09,
        };
        let camera = Camera::new(&spec);
        for x in 60..1000 {
            let inside =
                camera.project(&Vector3::new(f64::from(x), 0.0, 0.0)).is_some_and(|p| (0.0..1600.0).contains(&p[0]));
            assert!(!inside, "{x} mm");
        }
    }

    /// Seen from above, the card's right is on the right and its top at the top: no mirror.
    #[test]
    fn picture_is_not_mirrored() {
        let spec = CameraSpec {
            width_px: 100,
            height_px: 100,
            focal_px: 100.0,
            target: [0.0, 0.0],
            distance_mm: 100.0,
            tilt_deg: 0.0,
            tilt_azimuth_deg: 0.0,
            roll_deg: 0.0,
            k1: 0.0,
        };
        let camera = Camera::new(&spec);
        let right = camera.project(&Vector3::new(10.0, 0.0, 0.0)).expect("in front");
        let top = camera.project(&Vector3::new(0.0, 10.0, 0.0)).expect("in front");
        assert!(right[0] > 55.0 && (right[1] - 49.5).abs() < 1e-9);
        assert!(top[1] < 45.0 && (top[0] - 49.5).abs() < 1e-9);
    }
}
