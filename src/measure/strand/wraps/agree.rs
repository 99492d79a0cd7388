//! Which lines across a block tell the same wraps. Flanks are often unclear by a wrap (a shadow, yarn as pale as the ground), so
//! that lines are compared crease by crease, and what they must not do is slip by one on the way.

/// How far a crease may lie from the same one on another line, pitches: from half a pitch on it would be the next.
const SAME: f64 = 0.35;

/// Part of two lines' creases that must be the same: plies hide one here and there; where a line slips, all beyond differ.
const MATCHING: f64 = 0.9;

/// Most wraps by which the flanks of two lines may differ.
const MOST_SHIFT: isize = 3;

/// A line that agrees: its crease `i` is crease `i + shift` of the block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Agreeing {
    pub(super) line: usize,
    pub(super) shift: isize,
}

/// The longest chain of lines of which each tells the same wraps as the one before it. `lines` are the places of their creases,
/// as they would be were all lines in one place.
pub(super) fn longest_chain(lines: &[Vec<f64>], pitch_px: f64) -> Vec<Agreeing> {
    // Per line: how many there are in the chain that ends with it, the line before it and the shift against that.
    let mut chains: Vec<(usize, Option<(usize, isize)>)> = Vec::with_capacity(lines.len());
    for (i, line) in lines.iter().enumerate() {
        let before = (0..i).rev().filter_map(|j| Some((chains[j].0 + 1, Some((j, shift(&lines[j], line, pitch_px)?)))));
        // Of equally long ones that with the nearest line, which comes first.
        chains.push(before.fold((1, None), |best, next| if next.0 > best.0 { next } else { best }));
    }
    let Some(mut at) = (0..lines.len()).max_by_key(|i| chains[*i].0) else { return Vec::new() };
    let (mut out, mut shift) = (vec![Agreeing { line: at, shift: 0 }], 0);
    while let Some((before, by)) = chains[at].1 {
        // The one before is shifted the other way against this one.
        (at, shift) = (before, shift - by);
        out.push(Agreeing { line: at, shift });
    }
    out.reverse();
    out
}

/// By how much the numbers of `b` are to be shifted to be those of `a`; `None` where the two do not tell the same wraps.
fn shift(a: &[f64], b: &[f64], pitch_px: f64) -> Option<isize> {
    let spread = |shift: isize| -> Option<f64> {
        let apart: Vec<f64> = b
            .iter()
            .enumerate()
            .filter_map(|(i, place)| Some((place - a.get(usize::try_from(i as isize + shift).ok()?)?).abs()))
            .collect();
        let same = apart.iter().filter(|d| **d < SAME * pitch_px).count();
        let enough = apart.len() + MOST_SHIFT as usize >= a.len().min(b.len())
            && same > 2
            && same as f64 >= MATCHING * apart.len() as f64;
        enough.then(|| apart.iter().sum::<f64>() / apart.len() as f64)
    };
    let found = (-MOST_SHIFT..=MOST_SHIFT).filter_map(|shift| Some((shift, spread(shift)?)));
    found.min_by(|x, y| x.1.total_cmp(&y.1)).map(|(shift, _)| shift)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Creases at every ten, from the first to the last number.
    fn creases(numbers: std::ops::Range<i32>) -> Vec<f64> {
        numbers.map(|i| 10.0 * f64::from(i)).collect()
    }

    #[test]
    fn lines_that_differ_at_their_flanks_agree() {
        let lines = [creases(1..12), creases(0..12), creases(2..13)];
        let chain = longest_chain(&lines, 10.0);
        let places: Vec<f64> = chain.iter().map(|a| lines[a.line][(5 - a.shift) as usize]).collect();
        assert_eq!(chain.len(), 3);
        assert!(places.iter().all(|place| *place == places[0]), "{places:?}");
    }

    #[test]
    fn a_line_that_slips_is_left_out() {
        let slipped: Vec<f64> =
            creases(1..12).into_iter().map(|u| if u > 50.0 { u * 11.0 / 10.0 } else { u }).collect();
        let lines = [creases(1..12), slipped, creases(1..12)];
        let chain = longest_chain(&lines, 10.0);
        assert_eq!(chain.iter().map(|a| a.line).collect::<Vec<_>>(), [0, 2]);
    }
}
