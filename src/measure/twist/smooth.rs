//! Averaging along the strand, with gaps.

/// Gaussian average of `values`; values that are not finite count as absent. Where nothing is near, the nearest
/// average. All absent: all zero.
pub(super) fn gaussian(values: &[f64], sigma: f64) -> Vec<f64> {
    let weights: Vec<f64> = values.iter().map(|v| if v.is_finite() { 1.0 } else { 0.0 }).collect();
    let filled: Vec<f64> = values.iter().map(|v| if v.is_finite() { *v } else { 0.0 }).collect();
    let (sums, norms) = (boxes(&filled, sigma), boxes(&weights, sigma));
    let mut out: Vec<f64> = sums.iter().zip(&norms).map(|(s, n)| if *n > 1e-6 { s / n } else { f64::NAN }).collect();
    fill_gaps(&mut out);
    out
}

/// Gaussian averages of several lists of one length, none of whose values is absent.
pub(super) fn gaussian_each<const LISTS: usize>(lists: [Vec<f64>; LISTS], sigma: f64) -> [Vec<f64>; LISTS] {
    let norms = boxes(&vec![1.0; lists.first().map_or(0, Vec::len)], sigma);
    lists.map(|list| {
        let sums = boxes(&list, sigma);
        sums.iter().zip(&norms).map(|(s, n)| s / n).collect()
    })
}

/// Gaussian average along each row of a picture; columns that are not usable count as absent.
pub(super) fn gaussian_rows(picture: &[f32], columns: usize, usable: &[bool], sigma: f64) -> Vec<f32> {
    let weights: Vec<f64> = usable.iter().map(|u| if *u { 1.0 } else { 0.0 }).collect();
    let norms = boxes(&weights, sigma);
    let mut out = Vec::with_capacity(picture.len());
    for row in picture.chunks_exact(columns.max(1)) {
        let masked: Vec<f64> = row.iter().zip(&weights).map(|(v, w)| f64::from(*v) * w).collect();
        let sums = boxes(&masked, sigma);
        out.extend(sums.iter().zip(&norms).map(|(s, n)| if *n > 1e-6 { (s / n) as f32 } else { 0.0 }));
    }
    out
}

/// Three running means in a row: their variances add up to `sigma` squared, and three are within 3 % of a Gaussian
/// (Wells 1986). Beyond the ends there is nothing (zero).
fn boxes(values: &[f64], sigma: f64) -> Vec<f64> {
    // A box of 2 r + 1 has variance ((2 r + 1)^2 - 1) / 12.
    let r = (((1.0 + 4.0 * sigma * sigma).sqrt() - 1.0) / 2.0).round().max(0.0) as usize;
    let mut out = values.to_vec();
    if r == 0 {
        return out;
    }
    let mut sums = vec![0.0; values.len() + 1];
    for _ in 0..3 {
        running_mean(&mut out, &mut sums, r);
    }
    out
}

/// `sums` is room for one value more.
fn running_mean(values: &mut [f64], sums: &mut [f64], r: usize) {
    let n = values.len();
    let mut sum = 0.0;
    for (after, v) in sums.iter_mut().skip(1).zip(&*values) {
        sum += v;
        *after = sum;
    }
    let size = (2 * r + 1) as f64;
    for (i, mean) in values.iter_mut().enumerate() {
        *mean = (sums[(i + r + 1).min(n)] - sums[i.saturating_sub(r)]) / size;
    }
}

fn fill_gaps(values: &mut [f64]) {
    let mut last = values.iter().copied().find(|v| v.is_finite()).unwrap_or(0.0);
    for v in values.iter_mut() {
        if v.is_finite() {
            last = *v;
        } else {
            *v = last;
        }
    }
}
