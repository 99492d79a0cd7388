//! Yarn-weight categories of the craft: which of them a number of wraps per inch agrees with, and under which meaning.
//!
//! "Wraps per inch" means two things about a factor of 1.4 to 2 apart: diameters side by side (25.4 mm over the
//! diameter), and wraps laid loosely beside each other, which is what the charts count. A category therefore never
//! stands without the meaning under which it was found, and all that agree are listed: the charts' ranges overlap and
//! leave gaps.

use super::quantity::{Interval, Quantity};
use super::report::WeightCategory;
use super::words::Method;

/// Ranges of wraps per inch of the craft industry body's categories, lower and upper end included; the upper end of
/// `lace` is open. Source: the body's published range table (numbered there from 0, lace, to 7, jumbo).
const RANGES: [(&str, f64, f64); 8] = [
    ("lace", 30.0, f64::INFINITY),
    ("super fine", 14.0, 30.0),
    ("fine", 12.0, 18.0),
    ("light", 11.0, 15.0),
    ("medium", 9.0, 12.0),
    ("bulky", 6.0, 9.0),
    ("super bulky", 5.0, 6.0),
    ("jumbo", 1.0, 4.0),
];

/// What part of the diameters that fit side by side a loosely wrapped ruler shows. Common practice, no authoritative
/// source: one spinner's rule takes half, a weaving teacher about 0.7. The optical diameter lies between the packed
/// and the loose one, so the whole range is kept.
const LOOSE_PER_TOUCHING: [f64; 2] = [0.5, 0.7];

/// The meaning of wraps counted on a photo of wound yarn.
pub const MEANING_COUNTED: &str = "wraps counted as they lie side by side";
/// The meaning of wraps taken from the diameter and read in the chart as they stand.
pub const MEANING_TOUCHING: &str = "diameters side by side: 25.4 mm over the measured diameter";
/// The meaning of wraps taken from the diameter and converted to loose wrapping, which charts mean.
pub const MEANING_LOOSE: &str =
    "wraps laid loosely, as charts count them: taken as 0.5 to 0.7 of the diameters that fit side by side";

/// All categories whose range meets `interval95`, for wraps of one `meaning`, from the finest to the thickest.
/// Empty in the charts' gap between 4 and 5 wraps, below 1, and for numbers that are not finite.
#[must_use]
pub fn categories_within(interval95: Interval, meaning: &str) -> Vec<WeightCategory> {
    let [low, high] = interval95;
    if !(low.is_finite() && high.is_finite()) {
        return Vec::new();
    }
    RANGES
        .iter()
        .filter(|(_, from, to)| high >= *from && low <= *to)
        .map(|(name, ..)| WeightCategory { name: (*name).to_owned(), meaning: meaning.to_owned() })
        .collect()
}

/// All categories that the report's wraps per inch agree with within their interval.
///
/// Counted wraps are read in the chart as they are. Wraps from the diameter are listed under both meanings, touching
/// and loose, because charts mean the loose one and the photo shows the diameter. Empty when unanswered.
#[must_use]
pub fn weight_categories(wraps_per_inch: &Quantity<f64>) -> Vec<WeightCategory> {
    let Quantity::Measured { value, interval95, method, .. } = wraps_per_inch else { return Vec::new() };
    let [low, high] = interval95.unwrap_or([*value, *value]);
    if *method == Method::WrapsCounted {
        return categories_within([low, high], MEANING_COUNTED);
    }
    let mut all = categories_within([low, high], MEANING_TOUCHING);
    all.extend(categories_within([low * LOOSE_PER_TOUCHING[0], high * LOOSE_PER_TOUCHING[1]], MEANING_LOOSE));
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figures::words::Reason;

    fn names(list: &[WeightCategory]) -> Vec<&str> {
        list.iter().map(|c| c.name.as_str()).collect()
    }

    // Source: the craft industry body's range table of wraps per inch, categories 0 to 7.
    #[test]
    fn charted_wraps_give_every_category_that_holds_them() {
        let of = |wraps: f64| {
            let list = categories_within([wraps, wraps], MEANING_COUNTED);
            names(&list).iter().map(|n| (*n).to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(of(13.0), ["fine", "light"]);
        assert_eq!(of(20.0), ["super fine"]);
        assert_eq!(of(10.0), ["medium"]);
        assert_eq!(of(7.0), ["bulky"]);
        assert_eq!(of(35.0), ["lace"]);
        assert_eq!(of(12.0), ["fine", "light", "medium"]);
        assert_eq!(of(15.0), ["super fine", "fine", "light"]);
        assert!(of(4.5).is_empty(), "the table leaves a gap there");
        assert_eq!(of(55.0), ["lace"], "its range is open above");
    }

    #[test]
    fn an_interval_across_a_border_lists_both_sides() {
        let q = Quantity::with_interval(8.8, [8.5, 9.1], Method::WrapsCounted, Vec::new());
        assert_eq!(names(&weight_categories(&q)), ["medium", "bulky"]);
    }

    #[test]
    fn wraps_from_a_diameter_are_listed_under_both_meanings() {
        // A 1.25 mm core: 20.3 diameters an inch; loosely wrapped 10 to 14.
        let q = Quantity::with_interval(20.32, [20.0, 20.6], Method::FromDiameter, Vec::new());
        let list = weight_categories(&q);
        let under =
            |meaning: &str| list.iter().filter(|c| c.meaning == meaning).map(|c| c.name.as_str()).collect::<Vec<_>>();
        assert_eq!(under(MEANING_TOUCHING), ["super fine"]);
        assert_eq!(under(MEANING_LOOSE), ["super fine", "fine", "light", "medium"]);
    }

    #[test]
    fn unanswered_wraps_have_no_category() {
        assert!(weight_categories(&Quantity::Unanswered(Reason::NoScale)).is_empty());
    }
}
