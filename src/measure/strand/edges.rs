//! One core edge of a strand.

/// One edge of the body in each column.
#[derive(Debug, Clone)]
pub(super) struct EdgeLine {
    /// Row of the edge, fractions allowed.
    pub(super) rows: Vec<f64>,
    /// Standard uncertainty of each row against its neighbours, rows.
    pub(super) u: Vec<f64>,
    /// Standard uncertainty that all rows share, rows.
    pub(super) shared_u: f64,
    /// Blur that the edge shows, as the standard deviation of a Gaussian, rows; `None` where it was not placed.
    pub(super) blur: Option<f64>,
}

/// Which side of the strand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    /// Towards row 0.
    Left,
    /// Towards the last row.
    Right,
}

impl Side {
    /// Which way along a column is away from the body.
    pub(super) fn outward(self) -> f64 {
        if self == Self::Left { -1.0 } else { 1.0 }
    }
}
