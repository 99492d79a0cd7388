//! Small statistics. Every function says what it does with an empty list; none panics.

/// Arithmetic mean; `None` when empty.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Sample standard deviation, divisor n - 1; `None` for fewer than two.
#[must_use]
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let m = mean(values)?;
    (values.len() > 1).then(|| (values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt())
}

/// Quantile by linear interpolation between order statistics (type 7 of Hyndman & Fan 1996); `None` when empty.
/// NaN sorts last.
#[must_use]
pub fn quantile(values: &[f64], p: f64) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mut parted: Vec<i64> = values.iter().map(|v| order_f64(v.to_bits() as i64)).collect();
    let at = p.clamp(0.0, 1.0) * (parted.len() - 1) as f64;
    let low = at as usize;
    let (_, here, above) = parted.select_nth_unstable(low);
    let number = |key: i64| f64::from_bits(order_f64(key) as u64);
    let (here, part) = (number(*here), at - low as f64);
    // The next one has no say where nothing of it is taken, also if it is no number.
    let next = above.iter().copied().min().filter(|_| part > 0.0).map_or(here, number);
    Some(here + (next - here) * part)
}

/// A number's bits as a whole number of the same order, and back: whole numbers are compared faster (as `f64::total_cmp` does).
fn order_f64(bits: i64) -> i64 {
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// Median; `None` when empty.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Median of values in ascending order; `None` when empty.
#[must_use]
pub fn median_of_sorted(values: &[f64]) -> Option<f64> {
    let (below, above) = (values.get(values.len().checked_sub(1)? / 2)?, values.get(values.len() / 2)?);
    Some(*below + (*above - *below) * 0.5)
}

/// Probabilities whose natural logarithms are these but for a common term.
#[must_use]
pub fn softmax<const N: usize>(logs: [f64; N]) -> [f64; N] {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights = logs.map(|l| (l - top).exp());
    let sum: f64 = weights.iter().sum();
    weights.map(|w| w / sum)
}

/// Upper median of samples; `None` when empty.
#[must_use]
pub fn upper_median(samples: impl IntoIterator<Item = f32>) -> Option<f32> {
    // As whole numbers of the same order (as `f32::total_cmp` does): they are compared faster.
    let order = |bits: i32| bits ^ (((bits >> 31) as u32) >> 1) as i32;
    let mut keys: Vec<i32> = samples.into_iter().map(|v| order(v.to_bits() as i32)).collect();
    let half = keys.len() / 2;
    (!keys.is_empty()).then(|| f32::from_bits(order(*keys.select_nth_unstable(half).1) as u32))
}

/// Standard deviation estimated from the median absolute deviation, `1.4826 MAD` (consistent for a normal
/// distribution: 1 / quantile(3/4)); `None` when empty.
#[must_use]
pub fn robust_deviation(values: &[f64]) -> Option<f64> {
    let m = median(values)?;
    median(&values.iter().map(|v| (v - m).abs()).collect::<Vec<_>>()).map(|mad| 1.4826 * mad)
}

/// Mean weighted by `weights` (pairs of value, weight); `None` unless the weights sum to something positive.
#[must_use]
pub fn weighted_mean(pairs: impl IntoIterator<Item = (f64, f64)>) -> Option<f64> {
    let (sum, weight) = pairs.into_iter().fold((0.0, 0.0), |(s, w), (v, k)| (s + v * k, w + k));
    (weight > 0.0).then(|| sum / weight)
}

/// Straight line by least squares through points (x, y, weight): value at 0 and slope; `None` where all lie at one x,
/// to within some 30 millionths of x itself.
#[must_use]
pub fn weighted_line(points: impl IntoIterator<Item = (f64, f64, f64)>) -> Option<(f64, f64)> {
    let (mut n, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (x, y, w) in points {
        n += w;
        sx += w * x;
        sy += w * y;
        sxx += w * x * x;
        sxy += w * x * y;
    }
    let spread = n * sxx - sx * sx;
    let slope = (n * sxy - sx * sy) / spread;
    (spread > 1e-9 * n * sxx).then(|| ((sy - slope * sx) / n, slope))
}

/// Mean over `half` values to either side, by running sums; the ends average what there is.
#[must_use]
pub fn running_mean(values: impl IntoIterator<Item = f64>, half: usize) -> Vec<f64> {
    let mut sums = vec![0.0];
    let mut sum = 0.0;
    sums.extend(values.into_iter().map(|v| {
        sum += v;
        sum
    }));
    let count = sums.len() - 1;
    (0..count)
        .map(|i| {
            let (from, to) = (i.saturating_sub(half), (i + half + 1).min(count));
            (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

/// Where the parabola through three values one apart has its extremum, from the middle one.
#[must_use]
pub fn vertex(before: f64, middle: f64, after: f64) -> f64 {
    0.5 * (before - after) / (before - 2.0 * middle + after)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Truth: the order of IEEE 754-2019, 5.10 (totalOrder), as the standard library has it.
    #[test]
    fn medians_and_quantiles_order_as_the_standard_does() {
        let numbers = [3.5, -0.0, f64::INFINITY, 0.0, -7.25, f64::NEG_INFINITY, 1e-310, -1e300, 2.0];
        let mut sorted = numbers.to_vec();
        sorted.sort_by(f64::total_cmp);
        for (i, wanted) in sorted.iter().enumerate().filter(|(_, v)| v.is_finite()) {
            let got = quantile(&numbers, i as f64 / (numbers.len() - 1) as f64).unwrap();
            assert!(got == *wanted, "{got} for {wanted}");
        }
        assert_eq!(quantile(&[1.0, f64::NAN, 0.0], 0.5), Some(1.0));
        assert_eq!(upper_median([2.0f32, -1.0, f32::NAN, 0.5]), Some(2.0));
        assert_eq!(upper_median([-2.0f32, -1.0, -3.0]), Some(-2.0));
        assert_eq!(upper_median(std::iter::empty::<f32>()), None);
    }

    /// Truth: the line that the points lie on.
    #[test]
    fn a_weighted_line_goes_through_its_points_and_needs_two_places() {
        let points = [(-2.0, 7.0, 1.0), (1.0, 1.0, 3.0), (4.0, -5.0, 0.5)];
        let (at_zero, slope) = weighted_line(points).unwrap();
        approx::assert_relative_eq!(at_zero, 3.0, epsilon = 1e-12);
        approx::assert_relative_eq!(slope, -2.0, epsilon = 1e-12);
        assert!(weighted_line([(0.3, 1.0, 1.0), (0.3, 2.0, 2.0)]).is_none());
        assert!(weighted_line([]).is_none());
    }

    /// By hand: whole windows inside, what there is at the ends; and y = (x - 0.25)^2 at -1, 0 and 1.
    #[test]
    fn running_means_and_vertices_are_those_by_hand() {
        assert_eq!(running_mean([1.0, 2.0, 6.0, 3.0], 1), [1.5, 3.0, 11.0 / 3.0, 4.5]);
        assert!(running_mean([], 2).is_empty());
        assert!((vertex(1.5625, 0.0625, 0.5625) - 0.25).abs() < 1e-12);
    }
}
