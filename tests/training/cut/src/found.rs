//! Lines as the scout finds them, right and wrong: what the strip net is shown in use.

use strandrule::base::geometry::{Image, Point};
use strandrule::measure::seen::paths::{self, Path};
use strandrule::measure::seen::scout::Map;

use super::scene::{Scene, Strand};

/// Most paths of one photo.
const MOST: usize = 6;

/// What lies along a path.
pub enum What<'a> {
    /// This strand, most of the way.
    Strand(&'a Strand),
    /// No yarn at all.
    Nothing,
    /// Yarn in part, or several strands.
    Unclear,
}

/// The longest paths over the scout's map.
pub fn paths(scene: &Scene) -> Vec<Path> {
    let Some(map) = Map::of(&scene.photo) else { return Vec::new() };
    let mut paths = paths::find(&map, &|_| true);
    paths.sort_by(|a, b| b.length_px().total_cmp(&a.length_px()));
    paths.truncate(MOST);
    paths
}

/// What lies along a line of this width.
pub fn what<'a>(scene: &'a Scene, line: &[Point<Image>], width_px: f64) -> What<'a> {
    let places: Vec<Point<Image>> = line.iter().step_by((line.len() / 60).max(1)).copied().collect();
    let share = |strand: &Strand| {
        let Some(width) = strand.width_px() else { return 0.0 };
        let near = |p: &&Point<Image>| strand.centre.iter().any(|c| c.distance(**p) < 0.4 * width);
        places.iter().filter(near).count() as f64 / places.len() as f64
    };
    let best = scene.strands.iter().map(|s| (s, share(s))).max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((strand, _)) = best.filter(|(_, share)| *share > 0.7) {
        return What::Strand(strand);
    }
    // Bodies are looked for to a whole width on either side.
    let n = 9;
    let touched = places.iter().zip(places.iter().skip(1)).any(|(a, b)| {
        let normal = (*b - *a).unit().map_or(Point::new(0.0, 0.0), Point::quarter_turn);
        (-n..=n).any(|k| {
            let p = *a + normal * (width_px * f64::from(k) / f64::from(n));
            scene.labels.get(p.x.max(0.0) as usize, p.y.max(0.0) as usize).is_some_and(|l| l[0] > 100)
        })
    });
    if touched { What::Unclear } else { What::Nothing }
}
