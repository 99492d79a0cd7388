//! Points and directions that say which space they live in. Whole numbers are pixel centres: the centre of the
//! top-left pixel is (0, 0), x points right and y points down, in the photo as displayed (EXIF orientation applied).

use std::marker::PhantomData;
use std::ops::{Add, Mul, Sub};

/// The photo as displayed, in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Image {}
/// The plane of the card or ruler, in millimetres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Card {}
/// A straightened strand, in pixels of the photo: x runs along the centre line, y across it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Strip {}

/// A point (or a difference of two) in the space `S`.
#[derive(Debug)]
pub struct Point<S> {
    /// To the right (strip: along the strand).
    pub x: f64,
    /// Down (strip: across the strand).
    pub y: f64,
    space: PhantomData<fn() -> S>,
}

impl<S> Clone for Point<S> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<S> Copy for Point<S> {}
impl<S> PartialEq for Point<S> {
    fn eq(&self, other: &Self) -> bool {
        self.x == other.x && self.y == other.y
    }
}

impl<S> Point<S> {
    /// The point (x, y).
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y, space: PhantomData }
    }
    /// Distance from the origin.
    #[must_use]
    pub fn length(self) -> f64 {
        self.x.hypot(self.y)
    }
    /// Distance to another point.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self - other).length()
    }
    /// Scalar product.
    #[must_use]
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y
    }
    /// z of the cross product: positive where `other` lies clockwise (on the screen) of `self`.
    #[must_use]
    pub fn cross(self, other: Self) -> f64 {
        self.x * other.y - self.y * other.x
    }
    /// The same direction with length 1; `None` for the zero vector.
    #[must_use]
    pub fn unit(self) -> Option<Self> {
        let length = self.length();
        (length > 0.0 && length.is_finite()).then(|| self * (1.0 / length))
    }
    /// Turned by a quarter turn clockwise on the screen: x becomes y.
    #[must_use]
    pub fn quarter_turn(self) -> Self {
        Self::new(-self.y, self.x)
    }
    /// The point a fraction `t` of the way to `other`.
    #[must_use]
    pub fn lerp(self, other: Self, t: f64) -> Self {
        self + (other - self) * t
    }
    /// Whether both coordinates are finite.
    #[must_use]
    pub fn is_finite(self) -> bool {
        self.x.is_finite() && self.y.is_finite()
    }
}

impl<S> Add for Point<S> {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y)
    }
}
impl<S> Sub for Point<S> {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y)
    }
}
impl<S> Mul<f64> for Point<S> {
    type Output = Self;
    fn mul(self, factor: f64) -> Self {
        Self::new(self.x * factor, self.y * factor)
    }
}

/// An upright rectangle in the photo, both corners included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Top-left corner.
    pub min: Point<Image>,
    /// Bottom-right corner.
    pub max: Point<Image>,
}

impl Region {
    /// Whether the point lies inside or on the border.
    #[must_use]
    pub fn contains(&self, p: Point<Image>) -> bool {
        p.x >= self.min.x && p.x <= self.max.x && p.y >= self.min.y && p.y <= self.max.y
    }
}

/// Whether a point lies inside a polygon, by the even-odd rule; `false` for fewer than three corners.
#[must_use]
pub fn inside_polygon<S>(polygon: &[Point<S>], p: Point<S>) -> bool {
    crossings(polygon, p.y).filter(|x| p.x < *x).count() % 2 == 1
}

/// Where the sides of a polygon cross the horizontal line at `y`: what lies left of an odd number of them lies inside.
pub fn crossings<S>(polygon: &[Point<S>], y: f64) -> impl Iterator<Item = f64> + use<'_, S> {
    let last = polygon.len().saturating_sub(1);
    let closing = polygon.get(last).zip(polygon.first());
    let sides = polygon.iter().zip(polygon.iter().skip(1)).chain(closing);
    sides.filter(move |(a, b)| (a.y > y) != (b.y > y)).map(move |(a, b)| a.x + (y - a.y) / (b.y - a.y) * (b.x - a.x))
}
