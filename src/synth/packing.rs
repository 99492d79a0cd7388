//! How plies lie against one another in the yarn's cross-section.

/// Centres of touching circles of the given radii, in order around the yarn's axis, which passes through the middle of
/// their areas; `compress` scales all distances (1: just touching, less: pressed into one another).
///
/// One circle lies on the axis. Two lie on either side of it; three touch one another; more form a closed ring in which
/// each touches its two neighbours, all at one distance from the ring's middle. For equal circles of radius r the
/// distance is r / sin(pi / n) (circle packing). Radii must be positive.
#[must_use]
pub fn ply_centres(radii: &[f64], compress: f64) -> Vec<[f64; 2]> {
    let n = radii.len();
    let raw = match n {
        0 => return Vec::new(),
        1 => vec![[0.0, 0.0]],
        2 => vec![[0.0, 0.0], [radii[0] + radii[1], 0.0]],
        3 => triangle(radii[0], radii[1], radii[2]).to_vec(),
        _ => ring(radii),
    };
    let area: f64 = radii.iter().map(|r| r * r).sum();
    let middle = raw.iter().zip(radii).fold([0.0, 0.0], |m, (c, r)| {
        let w = r * r / area;
        [m[0] + c[0] * w, m[1] + c[1] * w]
    });
    raw.iter().map(|c| [(c[0] - middle[0]) * compress, (c[1] - middle[1]) * compress]).collect()
}

/// Three circles that touch one another, anticlockwise (law of cosines).
fn triangle(a: f64, b: f64, c: f64) -> [[f64; 2]; 3] {
    let (ab, bc, ca) = (a + b, b + c, c + a);
    let cosine = ((ab * ab + ca * ca - bc * bc) / (2.0 * ab * ca)).clamp(-1.0, 1.0);
    [[0.0, 0.0], [ab, 0.0], [ca * cosine, ca * (1.0 - cosine * cosine).sqrt()]]
}

/// A closed ring: the angles between neighbours at the common distance sum to a whole turn.
fn ring(radii: &[f64]) -> Vec<[f64; 2]> {
    let n = radii.len();
    let chord = |i: usize| radii[i] + radii[(i + 1) % n];
    let longest = (0..n).map(chord).fold(0.0, f64::max);
    let angle = |distance: f64, i: usize| 2.0 * (chord(i) / (2.0 * distance)).min(1.0).asin();
    let sum = |distance: f64| (0..n).map(|i| angle(distance, i)).sum::<f64>();
    let (mut low, mut high) = (longest / 2.0, longest * n as f64);
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        if sum(middle) > std::f64::consts::TAU {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mut turned = 0.0f64;
    (0..n)
        .map(|i| {
            let at = [high * turned.cos(), high * turned.sin()];
            turned += angle(high, i);
            at
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Source: circle packing, distance r / sin(pi / n): 1, 2/sqrt 3 and sqrt 2 radii for two, three and four circles.
    #[test]
    fn equal_plies_lie_as_circle_packing_says() {
        for (n, distance) in [(1, 0.0), (2, 1.0), (3, 1.154_700_5), (4, std::f64::consts::SQRT_2)] {
            for centre in ply_centres(&vec![0.5; n], 1.0) {
                assert_relative_eq!(centre[0].hypot(centre[1]), distance * 0.5, epsilon = 1e-6);
            }
        }
    }

    #[test]
    fn unequal_plies_touch_and_balance() {
        for radii in [vec![0.2, 0.7], vec![0.2, 0.3, 0.6], vec![0.3, 0.35, 0.3, 0.4]] {
            let c = ply_centres(&radii, 1.0);
            for i in 0..radii.len() {
                let j = (i + 1) % radii.len();
                let gap = (c[i][0] - c[j][0]).hypot(c[i][1] - c[j][1]) - radii[i] - radii[j];
                assert!(gap.abs() < 1e-9, "{radii:?}: gap {gap}");
            }
            let moment: f64 = c.iter().zip(&radii).map(|(c, r)| c[0] * r * r).sum();
            assert!(moment.abs() < 1e-12);
        }
    }
}
