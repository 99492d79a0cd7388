//! Finds every ruler card in the picture: regular stretches, rows, clock tracks, their code, and one fit of all marks.

use super::card_found::{CardMark, CardSeen};
use super::card_label;
use super::card_marks::{Lie, MarkMeasured, measure};
use super::card_read::{Reading, bit_is_right, log10_chance, read};
use super::card_rows::{Row, rows};
use super::card_scan::runs;
use super::card_track::{ClockTrack, track};
use super::plane_map::PlaneMap;
use super::pose::{self, LensPrior, Place, Pose, PoseFit, Sighting};
use crate::base::geometry::{Card, Image, Point};
use crate::base::stats::{median, robust_deviation};
use crate::base::units::Mm;
use crate::card::Rect;
use crate::card::layout::{CardLayout, EdgeSide};
use crate::measure::photo::Photo;

/// Rows looked at, at most: two cards have four, and clutter may be more regular than they.
const MOST_ROWS: usize = 16;

/// Cards looked for, at most.
const MOST_CARDS: usize = 4;

/// Relative standard uncertainty of a print's own scale beyond what `--printed-length` states: half a tenth of a
/// millimetre in 100 mm is as well as a ruler laid along the line is read, and paper grows by as much from a dry room to
/// a damp one (common practice, no source).
pub const PRINT_RELATIVE_U: f64 = 0.0005;

/// A row whose code was read.
struct ReadRow {
    track: ClockTrack,
    reading: Reading,
}

/// All cards in the picture, the best supported first, none chosen. `print_factor`: printed length over nominal length.
#[must_use]
pub fn find_cards(photo: &Photo, print_factor: f64) -> Vec<CardSeen> {
    let picture = &photo.rgb;
    let found = rows(picture, runs(picture), MOST_ROWS);
    let mut read_rows: Vec<ReadRow> = Vec::new();
    let strongest = found.first().map_or(0.0, |row| row.weight);
    for row in &found {
        // Against a card's scale clutter has little; without one, what is left is soon looked through.
        if row.weight < 0.03 * strongest || read_rows.iter().any(|known| lies_on(row, known)) {
            continue;
        }
        let Some(track) = track(picture, row) else { continue };
        if let Some(reading) = read(picture, &track) {
            read_rows.push(ReadRow { track, reading });
        }
    }
    let mut cards: Vec<CardSeen> = Vec::new();
    while !read_rows.is_empty() && cards.len() < MOST_CARDS {
        let first = read_rows.remove(0);
        let partner = partner_of(&first, &read_rows).map(|i| read_rows.remove(i));
        let fitted = match &partner {
            Some(second) => fitted(photo, &[&first, second]).or_else(|| fitted(photo, &[&first])),
            None => fitted(photo, &[&first]),
        };
        let Some(fitted) = fitted else { continue };
        if let Some(card) = seen(photo, &fitted, print_factor) {
            // Rows left over that lie on this card belong to it.
            read_rows.retain(|row| !on_card(&fitted, row));
            cards.push(card);
        }
    }
    for (card, number) in cards.iter_mut().zip(1..) {
        card.number = number;
    }
    cards
}

/// Whether a row runs along a scale that was read already.
fn lies_on(row: &Row, known: &ReadRow) -> bool {
    let marks = &known.track.marks;
    let (Some(a), Some(b)) = (marks.first(), marks.last()) else { return false };
    let Some(direction) = (b.at - a.at).unit() else { return false };
    [row.from, row.to].iter().all(|p| {
        let (along, aside) = ((*p - a.at).dot(direction), (*p - a.at).cross(direction).abs());
        let pitch = a.pitch_px.max(b.pitch_px);
        aside < 5.0 * pitch && along > -5.0 * pitch && along < a.at.distance(b.at) + 5.0 * pitch
    })
}

/// The row that is the other edge of the same card, by its code and by where it lies.
fn partner_of(first: &ReadRow, others: &[ReadRow]) -> Option<usize> {
    let layout = CardLayout::of(first.reading.size);
    others.iter().position(|other| {
        let (a, b) = (&first.reading, &other.reading);
        if a.size != b.size || a.side == b.side || a.mirrored != b.mirrored {
            return false;
        }
        let (Some(here), Some(there)) = (middle(first), middle(other)) else { return false };
        let (along, other_along) = (first.track.direction * a.sense as f64, other.track.direction * b.sense as f64);
        let tracks = &layout.edges[0].tracks;
        let apart = layout.height - tracks.clock_from - tracks.clock_to;
        let away = there.0 - here.0;
        let pitch = (here.2 + there.2) / 2.0;
        let shift = (there.1 - here.1) * pitch;
        // Tilt of 30 degrees shortens by up to 0.87 and leans by 8 degrees; perspective adds as much again.
        along.dot(other_along) > 0.85
            && (0.6..1.5).contains(&(away.cross(along).abs() / (apart * pitch)))
            && (away.dot(along) - shift).abs() < 0.4 * apart * pitch
    })
}

/// Middle mark of a row: where, its number on the card, its pitch.
fn middle(row: &ReadRow) -> Option<(Point<Image>, f64, f64)> {
    let mark = row.track.marks.get(row.track.marks.len() / 2)?;
    Some((mark.at, row.reading.mark(mark.index) as f64, mark.pitch_px))
}

/// A fit and what it rests on.
struct Fitted {
    lie: Lie,
    fit: PoseFit,
    map: PlaneMap,
    marks: Vec<MarkMeasured>,
    sightings: Vec<(usize, Sighting)>,
    bits: (usize, usize),
}

/// Rounds of measuring marks where the map expects them, and mapping anew.
const MOST_ROUNDS: usize = 6;

/// Chance below which the codes are taken as read.
const LOG10_CERTAIN: f64 = -7.0;

/// The pose from one or two read rows, then from every mark of the card; `None` unless code and marks bear it out.
fn fitted(photo: &Photo, rows: &[&ReadRow]) -> Option<Fitted> {
    let picture = &photo.rgb;
    let first = rows.first()?;
    let lie = Lie { layout: CardLayout::of(first.reading.size), mirrored: first.reading.mirrored };
    let lens = LensPrior::of_photo(picture.width(), picture.height(), photo.camera.focal_35mm_mm);
    let start = first_pose(first, &lie, &lens)?;
    let rough: Vec<Sighting> = rows.iter().flat_map(|row| rough_sightings(row, &lie)).collect();
    let mut fit = pose::fit(&rough, &[], &start, &lens)?;
    let mut sides: Vec<EdgeSide> = rows.iter().map(|r| r.reading.side).collect();
    let mut marks: Vec<MarkMeasured> = Vec::new();
    let mut sightings = Vec::new();
    let mut map = fit.map(PRINT_RELATIVE_U)?;
    for round in 0..MOST_ROUNDS {
        let before = marks.len();
        if round > 0 {
            // The other edge, now that the map reaches there: its code says whether it does.
            for side in [EdgeSide::Top, EdgeSide::Bottom] {
                if !sides.contains(&side) && edge_fits(photo, &map, &lie, side) {
                    sides.push(side);
                }
            }
        }
        let visible: usize = sides.iter().map(|s| visible_marks(photo, &map, &lie, *s)).sum();
        // 60 marks of each edge fix a pose to far less than the print is true to; more would only cost time.
        let every = visible.div_ceil(if round == 0 { 60 } else { 120 }).max(1);
        marks = sides.iter().flat_map(|side| measure(picture, &map, &lie, *side, every)).collect();
        for side in &sides {
            let bits = bits_of(photo, &map, &lie, *side);
            marks.retain(|mark| mark.side != *side || stands_among_its_code(&bits, mark.number));
        }
        sightings = fine_sightings(&marks, &lie, &fit);
        let only: Vec<Sighting> = sightings.iter().map(|(_, s)| *s).collect();
        fit = pose::fit(&only, &[], &fit.pose, &lens)?;
        map = fit.map(PRINT_RELATIVE_U)?;
        // From one edge alone the first map goes astray far from where it was read: marks come in from round to round.
        if round > 0 && 20 * marks.len() <= 21 * before {
            break;
        }
    }
    let mut bits = (0, 0);
    for side in &sides {
        let (read, wrong) = tally(&bits_of(photo, &map, &lie, *side));
        bits = (bits.0 + read, bits.1 + wrong);
    }
    let used = fit.weights.iter().filter(|w| **w > 0.2).count();
    let spread = residual_mm(&fit, &sightings, &lens);
    let tilt = fit.pose.tilt_rad().to_degrees();
    // The place on the scale was chosen among all places before, so that many tries are charged for here.
    let certain = log10_chance(bits.0, bits.1, 2000.0) < LOG10_CERTAIN;
    // A bent card scatters by a quarter of a millimetre at most before it no longer counts as a plane; a wrongly read edge is
    // off by a millimetre.
    let sound = marks.len() >= 16 && used * 10 >= fit.weights.len() * 6 && spread < 0.25 && tilt < 60.0;
    (certain && sound).then_some(Fitted { lie, fit, map, marks, sightings, bits })
}

/// A camera looking straight down, from one row.
fn first_pose(row: &ReadRow, lie: &Lie, lens: &LensPrior) -> Option<Pose> {
    let (at, number, _) = middle(row)?;
    let marks = &row.track.marks;
    let (a, b) = (marks.first()?, marks.last()?);
    let px_per_mm = a.at.distance(b.at) / (b.index - a.index).max(1) as f64;
    let edge = lie.layout.edge(row.reading.side);
    let clock = (edge.tracks.clock_from + edge.tracks.clock_to) / 2.0;
    let on_plane = lie.plane(edge.point(number, clock));
    let sense = row.reading.sense as f64 * if lie.mirrored { -1.0 } else { 1.0 };
    let direction = row.track.direction * sense;
    let origin = at - direction * (on_plane.x * px_per_mm) - direction.quarter_turn() * (on_plane.y * px_per_mm);
    Some(Pose::straight_down(origin, direction, px_per_mm, lens))
}

/// What a read row says before anything is measured finely.
fn rough_sightings(row: &ReadRow, lie: &Lie) -> Vec<Sighting> {
    let edge = lie.layout.edge(row.reading.side);
    let clock = (edge.tracks.clock_from + edge.tracks.clock_to) / 2.0;
    let every = row.track.marks.len().div_ceil(16);
    let mut out = Vec::new();
    for mark in row.track.marks.iter().step_by(every) {
        let Ok(k) = usize::try_from(row.reading.mark(mark.index)) else { continue };
        if k >= edge.marks() {
            continue;
        }
        let p = lie.plane(edge.point(k as f64, clock));
        // Marks are placed to a seventh of a pitch, the track to a third.
        out.push(Sighting { at: mark.at, place: Place::X(p.x), sigma_px: 0.1 * mark.pitch_px });
        out.push(Sighting { at: mark.at, place: Place::Y(p.y), sigma_px: 0.3 * mark.pitch_px });
        // The marks' own direction: their ends as far as the code track goes, rightly turned to a few degrees. The plane's
        // y grows along `along` whichever way the row was followed, up to its sign.
        let x_grows = row.reading.sense as f64 * if lie.mirrored { -1.0 } else { 1.0 };
        for v in [-2.5, 2.5] {
            let at = mark.at + mark.along * (v * mark.pitch_px);
            out.push(Sighting { at, place: Place::X(p.x), sigma_px: 0.2 * mark.pitch_px });
            out.push(Sighting { at, place: Place::Y(p.y + v * x_grows), sigma_px: 0.6 * mark.pitch_px });
        }
    }
    out
}

/// Sightings of measured marks, each with the index of its mark. Their sigmas are about right relative to each other; the
/// fit finds the common factor.
fn fine_sightings(marks: &[MarkMeasured], lie: &Lie, _fit: &PoseFit) -> Vec<(usize, Sighting)> {
    let mut out = Vec::new();
    for (i, mark) in marks.iter().enumerate() {
        let edge = lie.layout.edge(mark.side);
        let on_plane = |depth: f64| lie.plane(edge.point(mark.number as f64, depth));
        for at in &mark.on_middle_line {
            out.push((i, Sighting { at: *at, place: Place::X(on_plane(0.0).x), sigma_px: 0.05 }));
        }
        if let Some((at, depth)) = mark.between_ends {
            out.push((i, Sighting { at, place: Place::Y(on_plane(depth).y), sigma_px: 0.1 }));
        }
    }
    out
}

/// Robust spread of the residuals on the plane, mm.
fn residual_mm(fit: &PoseFit, sightings: &[(usize, Sighting)], lens: &LensPrior) -> f64 {
    let off: Vec<f64> = sightings
        .iter()
        .zip(&fit.residuals)
        .filter_map(|((_, s), r)| {
            let (_, _, px_per_mm) = fit.pose.plane_from_image(s.at, lens.centre_px)?;
            Some(r * s.sigma_px / px_per_mm)
        })
        .collect();
    robust_deviation(&off).unwrap_or(f64::INFINITY)
}

fn visible_marks(photo: &Photo, map: &PlaneMap, lie: &Lie, side: EdgeSide) -> usize {
    let edge = lie.layout.edge(side);
    (0..edge.marks())
        .filter(|k| {
            let p = lie.place(map, side, *k as f64, edge.tracks.clock_from);
            photo.rgb.holds(p.x, p.y)
        })
        .count()
}

/// Whether each bit of an edge's code shows rightly.
fn bits_of(photo: &Photo, map: &PlaneMap, lie: &Lie, side: EdgeSide) -> Vec<Option<bool>> {
    let edge = lie.layout.edge(side);
    (0..edge.marks()).map(|k| bit_is_right(&photo.rgb, edge, k, &|k, depth| lie.place(map, side, k, depth))).collect()
}

/// How many bits were read, and how many of them wrongly.
fn tally(bits: &[Option<bool>]) -> (usize, usize) {
    let read = bits.iter().flatten();
    (read.clone().count(), read.filter(|right| !**right).count())
}

/// Marks to either side whose code must bear a mark out.
const CODE_REACH: usize = 5;

/// Whether the code about a mark is the one that belongs there: a map that has gone astray by a pitch finds marks just as
/// well, but of the bits about them it finds every other one wrong.
fn stands_among_its_code(bits: &[Option<bool>], number: usize) -> bool {
    let part = number.saturating_sub(CODE_REACH)..(number + CODE_REACH + 1).min(bits.len());
    let (read, wrong) = tally(bits.get(part).unwrap_or(&[]));
    4 * wrong <= read
}

/// Whether an edge's code shows where the map expects it.
fn edge_fits(photo: &Photo, map: &PlaneMap, lie: &Lie, side: EdgeSide) -> bool {
    let (read, wrong) = tally(&bits_of(photo, map, lie, side));
    log10_chance(read, wrong, 1.0) < -3.0
}

fn on_card(fitted: &Fitted, row: &ReadRow) -> bool {
    let layout = &fitted.lie.layout;
    let inside = row.track.marks.iter().filter(|m| {
        fitted
            .map
            .card_from_image(m.at, Mm(0.0))
            .is_some_and(|p| (-3.0..=layout.width + 3.0).contains(&p.x) && (-3.0..=layout.height + 3.0).contains(&p.y))
    });
    inside.count() * 2 > row.track.marks.len()
}

fn seen(photo: &Photo, fitted: &Fitted, print_factor: f64) -> Option<CardSeen> {
    let Fitted { lie, fit, map, marks, sightings, bits } = fitted;
    let card_marks = card_marks(lie, map, marks, sightings, fit);
    let bent_mm = bend(fitted);
    // A lie of `b` mm over a quarter of the scale's length stretches the scale there by about as much over 35 mm.
    let map = &match bent_mm {
        Some(mm) => fit.map(PRINT_RELATIVE_U.hypot(mm / 35.0))?,
        None => map.clone(),
    };
    // Neighbouring marks share their errors (the same blur, the same light), so that fewer count than were measured: over
    // drawn views the height scatters two and a half times as far as independent errors would let it.
    let map = &PlaneMap {
        camera_height_relative_u: (2.5 * map.camera_height_relative_u).hypot(PRINT_RELATIVE_U),
        ..map.clone()
    };
    let label = card_label::read(photo, map, lie);
    let tilt_u = fit.tilt_u_rad().unwrap_or(std::f64::consts::FRAC_PI_2);
    let outline = clipped(photo, map, lie, &Rect::new(0.0, 0.0, lie.layout.width, lie.layout.height));
    let part = |area: &Rect| clipped(photo, map, lie, area);
    let shown = |areas: Vec<Rect>| areas.iter().map(part).filter(|a| a.len() > 2).collect();
    let scale_areas = lie.layout.edges.iter().map(|e| (e.side, part(&e.area()))).filter(|(_, a)| a.len() > 2).collect();
    Some(CardSeen {
        number: 0,
        chosen: false,
        size: lie.layout.size,
        mirrored: lie.mirrored,
        map: map.printed_at(print_factor)?,
        tilt_deg: (fit.pose.tilt_rad().to_degrees(), tilt_u.to_degrees()),
        marks: card_marks,
        bits: *bits,
        bent_mm,
        label,
        outline,
        scale_areas,
        printed_areas: shown(lie.layout.printed_areas()),
        fields: [part(&lie.layout.light_field), part(&lie.layout.dark_field)],
    })
}

fn card_marks(
    lie: &Lie,
    map: &PlaneMap,
    marks: &[MarkMeasured],
    sightings: &[(usize, Sighting)],
    fit: &PoseFit,
) -> Vec<CardMark> {
    let mut out: Vec<CardMark> = marks
        .iter()
        .filter_map(|m| {
            let at = *m.on_middle_line.first()?;
            let (outer, inner) = lie.layout.edge(m.side).extent(m.number);
            let end = |depth: f64| lie.place(map, m.side, m.number as f64, depth);
            Some(CardMark {
                at,
                foot: end(outer),
                tip: end(inner),
                side: m.side,
                number: m.number,
                residual_px: 0.0,
                used: false,
            })
        })
        .collect();
    let mut filled = vec![false; marks.len()];
    for (((i, s), r), w) in sightings.iter().zip(&fit.residuals).zip(&fit.weights) {
        if !filled[*i] && matches!(s.place, Place::X(_)) {
            filled[*i] = true;
            if let Some(mark) = out.get_mut(*i) {
                mark.residual_px = r * s.sigma_px;
                mark.used = *w > 0.0;
            }
        }
    }
    out
}

/// Radial distortion beyond which it is not the lens's: two standard deviations of what lenses have (see `LensPrior`).
const MOST_K1: f64 = 0.2;

/// Greatest mean displacement of eight neighbouring marks, mm, along the scale or across it, where the card is not flat: on a
/// flat one it stays within the noise and within what a printer misplaces, a dot of 600 to the inch (0.04 mm). An even arch
/// seen from straight above leaves none: it looks like a lens's distortion, and is known by being more of it than lenses have.
fn bend(fitted: &Fitted) -> Option<f64> {
    const GROUP: usize = 8;
    let pose = &fitted.fit.pose;
    let mut most = (pose.k1.abs() > MOST_K1).then(|| {
        let out = |s: &Sighting| {
            let (x, y) = fitted.fit.centre_px;
            (s.at.x - x).hypot(s.at.y - y) / pose.focal_px
        };
        let outermost = fitted.sightings.iter().map(|(_, s)| out(s)).fold(0.0, f64::max);
        pose.k1.abs() * outermost.powi(3) * pose.translation.z
    });
    for side in [EdgeSide::Top, EdgeSide::Bottom] {
        for along in [true, false] {
            let off: Vec<f64> = fitted
                .sightings
                .iter()
                .zip(&fitted.fit.residuals)
                .filter(|((i, s), _)| fitted.marks[*i].side == side && matches!(s.place, Place::X(_)) == along)
                .filter_map(|((_, s), r)| {
                    let (_, _, px_per_mm) = fitted.fit.pose.plane_from_image(s.at, fitted.fit.centre_px)?;
                    Some(r * s.sigma_px / px_per_mm)
                })
                .collect();
            let means = off.chunks_exact(GROUP).filter_map(median).map(f64::abs).fold(0.0, f64::max);
            let single: Vec<f64> = off.windows(2).filter_map(|pair| Some(pair.last()? - pair.first()?)).collect();
            let Some(noise) = robust_deviation(&single) else { continue };
            let noise = noise / 2f64.sqrt();
            if means > 0.04 && means > 5.0 * noise / (GROUP as f64).sqrt() {
                most = Some(most.map_or(means, |m: f64| m.max(means)));
            }
        }
    }
    most
}

/// The outline of a part of the card in the picture, cut at the picture's borders; empty where it lies outside.
fn clipped(photo: &Photo, map: &PlaneMap, lie: &Lie, part: &Rect) -> Vec<Point<Image>> {
    let corners: [Point<Card>; 4] = part.corners().map(|c| lie.plane(c));
    // Straight sides bend a little under distortion: eight pieces each.
    let mut polygon: Vec<Point<Image>> = Vec::new();
    for (i, a) in corners.iter().enumerate() {
        let b = corners[(i + 1) % 4];
        polygon.extend((0..8).map(|j| map.image_from_card(a.lerp(b, f64::from(j) / 8.0), Mm(0.0))));
    }
    let (right, bottom) = (photo.rgb.width() as f64 - 1.0, photo.rgb.height() as f64 - 1.0);
    // Sutherland & Hodgman 1974, one border after another.
    let borders: [(f64, f64, f64); 4] = [(1.0, 0.0, 0.0), (-1.0, 0.0, right), (0.0, 1.0, 0.0), (0.0, -1.0, bottom)];
    for (nx, ny, c) in borders {
        let inside = |p: Point<Image>| p.x * nx + p.y * ny + c;
        let mut kept = Vec::new();
        for (i, a) in polygon.iter().enumerate() {
            let b = polygon[(i + 1) % polygon.len()];
            let (da, db) = (inside(*a), inside(b));
            if da >= 0.0 {
                kept.push(*a);
            }
            if (da >= 0.0) != (db >= 0.0) {
                kept.push(a.lerp(b, da / (da - db)));
            }
        }
        polygon = kept;
        if polygon.is_empty() {
            break;
        }
    }
    polygon
}
