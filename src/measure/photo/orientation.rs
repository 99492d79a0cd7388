//! EXIF orientation: all eight. Four of them contain a mirror, which would swap S and Z if it were left out.

use crate::base::raster::Raster;

/// EXIF orientation 1 to 8 (tag 0x0112). Source: JEITA CP-3451 / TIFF 6.0, "Orientation".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Orientation(u8);

impl Orientation {
    /// The tag's value; anything outside 1 to 8 counts as 1, as it stands.
    #[must_use]
    pub fn from_tag(value: u32) -> Self {
        Self(u8::try_from(value).ok().filter(|v| (1..=8).contains(v)).unwrap_or(1))
    }

    /// The picture as displayed, from the picture as stored.
    #[must_use]
    pub fn apply(self, stored: Raster<[u8; 3]>) -> Raster<[u8; 3]> {
        match self.0 {
            2 => mirrored(stored),
            3 => turned_half(stored),
            4 => mirrored(turned_half(stored)),
            5 => transposed(&stored),
            6 => mirrored(transposed(&stored)),
            7 => turned_half(transposed(&stored)),
            8 => turned_half(mirrored(transposed(&stored))),
            _ => stored,
        }
    }
}

fn mirrored(mut raster: Raster<[u8; 3]>) -> Raster<[u8; 3]> {
    for y in 0..raster.height() {
        raster.row_mut(y).reverse();
    }
    raster
}

fn turned_half(mut raster: Raster<[u8; 3]>) -> Raster<[u8; 3]> {
    raster.samples_mut().reverse();
    raster
}

/// Rows become columns. Done in square tiles, so that both pictures stay in the processor's cache.
fn transposed(raster: &Raster<[u8; 3]>) -> Raster<[u8; 3]> {
    const TILE: usize = 64;
    let (width, height) = (raster.width(), raster.height());
    let mut out = Raster::filled(height, width, [0; 3]);
    let to = out.samples_mut();
    let from = raster.samples();
    for top in (0..height).step_by(TILE) {
        for left in (0..width).step_by(TILE) {
            for y in top..(top + TILE).min(height) {
                for x in left..(left + TILE).min(width) {
                    to[x * height + y] = from[y * width + x];
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The letter F, as stored for each orientation, must display upright.
    /// Source: the eight drawings in TIFF 6.0, section "Orientation".
    #[test]
    fn every_orientation_displays_upright() {
        let upright = ["###", "#..", "##.", "#..", "#.."];
        let stored: [(u32, &[&str]); 8] = [
            (1, &["###", "#..", "##.", "#..", "#.."]),
            (2, &["###", "..#", ".##", "..#", "..#"]),
            (3, &["..#", "..#", ".##", "..#", "###"]),
            (4, &["#..", "#..", "##.", "#..", "###"]),
            (5, &["#####", "#.#..", "#...."]),
            (6, &["#....", "#.#..", "#####"]),
            (7, &["....#", "..#.#", "#####"]),
            (8, &["#####", "..#.#", "....#"]),
        ];
        for (tag, rows) in stored {
            let shown = Orientation::from_tag(tag).apply(drawn(rows));
            assert_eq!(shown, drawn(&upright), "orientation {tag}");
        }
    }

    fn drawn(rows: &[&str]) -> Raster<[u8; 3]> {
        let samples = rows.iter().flat_map(|r| r.bytes().map(|b| [b; 3])).collect();
        Raster::from_samples(rows[0].len(), rows.len(), samples).expect("rows of equal length")
    }
}
