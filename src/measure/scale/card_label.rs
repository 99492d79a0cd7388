//! Reads a card's label: the QR code's modules are sampled where the fitted card says they are.

use rqrr::{Grid, SimpleGrid};

use super::card_found::LabelRead;
use super::card_marks::Lie;
use super::card_track::green;
use super::plane_map::PlaneMap;
use crate::base::geometry::{Image, Point};
use crate::base::units::Mm;
use crate::card::label::{Label, QR_MODULES, QR_QUIET};
use crate::measure::photo::Photo;

/// Modules of the grid with its quiet zone.
const ALL: usize = QR_MODULES + 2 * QR_QUIET;

/// Reads the label.
pub(super) fn read(photo: &Photo, map: &PlaneMap, lie: &Lie) -> LabelRead {
    let mut unread = false;
    // Small shifts, in modules: the pose is good to a tenth of one; a bent card is not.
    for (dx, dy) in [(0.0, 0.0), (0.25, 0.0), (-0.25, 0.0), (0.0, 0.25), (0.0, -0.25)] {
        let Some(grey) = modules(photo, map, lie, dx, dy) else { return LabelRead::None };
        match contrast(&grey) {
            Some((dark, light)) if light - dark > 25.0 => {}
            _ => return LabelRead::None,
        }
        if known_modules_agree(&grey) < 0.75 {
            continue;
        }
        unread = true;
        for window in [usize::MAX, 6] {
            let bits = binarised(&grey, window);
            let grid = SimpleGrid::from_func(QR_MODULES, |x, y| bits[(y + QR_QUIET) * ALL + x + QR_QUIET]);
            if let Ok((_, text)) = Grid::new(grid).decode()
                && let Some(label) = Label::from_payload(&text)
            {
                return LabelRead::Read(label);
            }
        }
    }
    if unread { LabelRead::Unread } else { LabelRead::None }
}

/// Mean brightness of every module, quiet zone included; `None` where the code is not wholly in the picture.
fn modules(photo: &Photo, map: &PlaneMap, lie: &Lie, dx: f64, dy: f64) -> Option<Vec<f64>> {
    let area = lie.layout.qr;
    let side = area.width / ALL as f64;
    let place = |x: f64, y: f64| -> Point<Image> {
        map.image_from_card(lie.plane(Point::new(area.x + x * side, area.y + y * side)), Mm(0.0))
    };
    let mut grey = vec![0.0; ALL * ALL];
    for y in 0..ALL {
        for x in 0..ALL {
            let (cx, cy) = (x as f64 + 0.5 + dx, y as f64 + 0.5 + dy);
            let mut sum = 0.0;
            for (ox, oy) in [(0.0, 0.0), (-0.2, -0.2), (0.2, -0.2), (-0.2, 0.2), (0.2, 0.2)] {
                sum += green(&photo.rgb, place(cx + ox, cy + oy))?;
            }
            grey[y * ALL + x] = sum / 5.0;
        }
    }
    Some(grey)
}

/// The modules that every code has alike: `Some(dark)` in the quiet zone and the three finder patterns.
fn known(x: usize, y: usize) -> Option<bool> {
    let inside = |v: usize| (QR_QUIET..QR_QUIET + QR_MODULES).contains(&v);
    if !inside(x) || !inside(y) {
        return Some(false);
    }
    let (x, y) = (x - QR_QUIET, y - QR_QUIET);
    let far = QR_MODULES - 8;
    // Finder pattern of 7 modules with a light border towards the inside. Source: ISO/IEC 18004, 6.3.3 and 6.3.4.
    let corner = |x: usize, y: usize| {
        let ring = x.abs_diff(3).max(y.abs_diff(3));
        Some(matches!(ring, 0 | 1 | 3))
    };
    match (x < 8, y < 8, x >= far, y >= far) {
        (true, true, _, _) => corner(x, y),
        (_, true, true, _) => corner(QR_MODULES - 1 - x, y),
        (true, _, _, true) => corner(x, QR_MODULES - 1 - y),
        _ => None,
    }
}

fn contrast(grey: &[f64]) -> Option<(f64, f64)> {
    Some((crate::base::stats::quantile(grey, 0.1)?, crate::base::stats::quantile(grey, 0.9)?))
}

fn known_modules_agree(grey: &[f64]) -> f64 {
    let bits = binarised(grey, usize::MAX);
    let (mut right, mut all) = (0.0, 0.0);
    for y in QR_QUIET..ALL - QR_QUIET {
        for x in QR_QUIET..ALL - QR_QUIET {
            if let Some(dark) = known(x, y) {
                all += 1.0;
                right += f64::from(u8::from(bits[y * ALL + x] == dark));
            }
        }
    }
    right / all
}

/// Dark modules: darker than halfway between dark and light in the window of modules about each (or of all).
fn binarised(grey: &[f64], window: usize) -> Vec<bool> {
    if window >= ALL {
        let (dark, light) = contrast(grey).unwrap_or((0.0, 255.0));
        return grey.iter().map(|g| *g < (dark + light) / 2.0).collect();
    }
    let mut bits = vec![false; ALL * ALL];
    for y in 0..ALL {
        for x in 0..ALL {
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for v in y.saturating_sub(window)..(y + window + 1).min(ALL) {
                for u in x.saturating_sub(window)..(x + window + 1).min(ALL) {
                    low = low.min(grey[v * ALL + u]);
                    high = high.max(grey[v * ALL + u]);
                }
            }
            bits[y * ALL + x] = grey[y * ALL + x] < (low + high) / 2.0;
        }
    }
    bits
}
