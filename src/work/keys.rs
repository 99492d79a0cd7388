//! Keys of small TOML files: each documented, a misspelt one an error that names the nearest.

/// A key that a file may have.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// Its name.
    pub name: &'static str,
    /// What it means, for the documentation.
    pub meaning: &'static str,
}

/// Fewest single-letter changes (insert, delete, replace, swap neighbours) that turn one word into the other.
/// Source: optimal string alignment distance (Damerau 1964).
fn changes(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows: Vec<Vec<usize>> = vec![(0..=b.len()).collect()];
    let at =
        |rows: &[Vec<usize>], i: usize, j: usize| rows.get(i).and_then(|r| r.get(j)).copied().unwrap_or(usize::MAX / 2);
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let mut best = (at(&rows, i, j) + usize::from(x != y))
                .min(at(&rows, i, j + 1) + 1)
                .min(row.last().copied().unwrap_or(0) + 1);
            if i > 0 && j > 0 && Some(x) == b.get(j - 1) && Some(y) == a.get(i - 1) {
                best = best.min(at(&rows, i - 1, j - 1) + 1);
            }
            row.push(best);
        }
        rows.push(row);
    }
    at(&rows, a.len(), b.len())
}

/// The known word that is nearest to a misspelt one, whatever the case and the dashes; `None` where none comes near
/// (more than half of its letters would have to change).
#[must_use]
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let plain = |w: &str| w.to_lowercase().replace(['-', ' '], "_");
    let word = plain(word);
    known
        .into_iter()
        .map(|k| (changes(&word, &plain(k)), k))
        .min()
        .filter(|(n, k)| *n <= k.chars().count().max(2) / 2)
        .map(|(_, k)| k)
}

/// The sentence for a key that is not known.
#[must_use]
pub fn unknown(key: &str, known: &[Key]) -> String {
    match nearest(key, known.iter().map(|k| k.name)) {
        Some(near) => format!("there is no key \"{key}\"; did you mean \"{near}\"?"),
        None => {
            let all: Vec<&str> = known.iter().map(|k| k.name).collect();
            format!("there is no key \"{key}\"; the keys are {}", all.join(", "))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_found() {
        let known = ["weight", "tolerance", "figure", "twists_per_inch"];
        assert_eq!(nearest("wieght", known), Some("weight"));
        assert_eq!(nearest("Tolerence", known), Some("tolerance"));
        assert_eq!(nearest("twists-per-inch", known), Some("twists_per_inch"));
        assert_eq!(nearest("zzz", known), None);
        // Worked by hand: kitten to sitting takes three, a swap of neighbours one.
        assert_eq!((changes("kitten", "sitting"), changes("ab", "ba"), changes("", "abc")), (3, 1, 3));
    }
}
