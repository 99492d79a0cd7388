//! A straight axis of a plot: where a value stands, and round numbers along it.

/// An axis from values to places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axis {
    low: f64,
    high: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// Over the finite ones of `values`, a twentieth wider on both sides, from place `from` to place `to`. Without
    /// values, from 0 to 1; a single value stands in the middle.
    #[must_use]
    pub fn over(values: impl IntoIterator<Item = f64>, from: f64, to: f64) -> Self {
        let (low, high) = values
            .into_iter()
            .filter(|v| v.is_finite())
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        let (low, high) = if low > high { (0.0, 1.0) } else { (low, high) };
        let margin = if high > low { (high - low) / 20.0 } else { (high.abs() / 10.0).max(0.5) };
        Self { low: low - margin, high: high + margin, from, to }
    }

    /// Exactly from `low` to `high`.
    #[must_use]
    pub fn exactly(low: f64, high: f64, from: f64, to: f64) -> Self {
        Self { low, high: if high > low { high } else { low + 1.0 }, from, to }
    }

    /// Where a value stands.
    #[must_use]
    pub fn at(&self, value: f64) -> f64 {
        self.from + (value - self.low) / (self.high - self.low) * (self.to - self.from)
    }

    /// Round values within the axis, four to ten of them, as text, and where they stand. None where the axis is too short
    /// for numbers of its size to be told apart on it, or too long for numbers at all.
    #[must_use]
    pub fn ticks(&self) -> Vec<(String, f64)> {
        let span = self.high - self.low;
        let decade = 10f64.powf((span / 5.0).log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|m| m * decade).into_iter().find(|s| span / s <= 8.0).unwrap_or(span);
        let digits = (-step.log10().floor()).clamp(0.0, 9.0) as usize;
        let (first, last) = ((self.low / step).ceil(), (self.high / step).floor());
        // A double tells whole numbers apart up to 2^53, about 9e15.
        if !(first.abs() < 1e15 && last.abs() < 1e15) {
            return Vec::new();
        }
        let (first, last) = (first as i64, last as i64);
        (first..=last.min(first + 20))
            .map(|k| {
                let value = k as f64 * step;
                (format!("{value:.digits$}"), self.at(value))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let axis = Axis::exactly(0.3, 2.1, 100.0, 0.0);
        let ticks: Vec<String> = axis.ticks().into_iter().map(|t| t.0).collect();
        assert_eq!(ticks, ["0.5", "1.0", "1.5", "2.0"]);
        assert!((axis.at(0.3) - 100.0).abs() < 1e-9 && axis.at(2.1).abs() < 1e-9);
        assert!((4..=10).contains(&Axis::exactly(0.0, 1000.0, 0.0, 1.0).ticks().len()));
        assert_eq!(Axis::over([5.0], 0.0, 10.0).at(5.0), 5.0);
        assert!(!Axis::over([], 0.0, 1.0).ticks().is_empty());
        for extreme in
            [[-f64::MAX, f64::MAX], [1e300, 1e300 + 1.0], [1.0, 1.0 + f64::EPSILON], [0.0, f64::MIN_POSITIVE]]
        {
            assert!(Axis::exactly(extreme[0], extreme[1], 0.0, 1.0).ticks().len() < 21, "{extreme:?}");
            assert!(Axis::over(extreme, 0.0, 1.0).ticks().len() < 21, "{extreme:?}");
        }
    }
}
