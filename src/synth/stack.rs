//! Pieces of yarn lie on one another: each is raised where it crosses those laid before it, and itself.

use std::collections::BTreeMap;

use nalgebra::Vector3;

use super::strand::Strand;

/// A place of an axis that is laid already: where, and half the envelope there, mm.
#[derive(Debug, Clone, Copy)]
struct Node {
    at: Vector3<f64>,
    radius: f64,
    strand: usize,
    /// Arc length, mm.
    s: f64,
}

/// Raises every strand over those before it.
pub(super) fn settle(strands: &mut [Strand]) {
    let widest = strands.iter().flat_map(|s| &s.stations).map(|s| s.envelope).fold(1e-3, f64::max);
    let cell = |v: f64| (v / widest).floor() as i64;
    let mut laid: BTreeMap<(i64, i64), Vec<Node>> = BTreeMap::new();
    for (number, strand) in strands.iter_mut().enumerate() {
        let count = strand.stations.len();
        let Some(middle) = strand.stations.get(count / 2) else { continue };
        let envelope = middle.envelope;
        // Nodes a third of a diameter apart: between them a round body's top falls by 1.4 % of its radius.
        let stride = ((envelope / 3.0 / strand.step) as usize).max(1);
        let mut wishes = Vec::new();
        for (i, station) in strand.stations.iter().enumerate().step_by(stride) {
            let node = Node {
                at: station.frame.at,
                radius: station.envelope / 2.0,
                strand: number,
                s: i as f64 * strand.step,
            };
            let (x, y) = (cell(node.at.x), cell(node.at.y));
            let mut lift: f64 = 0.0;
            for key in (x - 1..=x + 1).flat_map(|x| (y - 1..=y + 1).map(move |y| (x, y))) {
                for below in laid.get(&key).into_iter().flatten() {
                    let touch = node.radius + below.radius;
                    if below.strand == number && (node.s - below.s).abs() < 4.0 * touch {
                        continue;
                    }
                    let away = (below.at.x - node.at.x).hypot(below.at.y - node.at.y) / touch;
                    if away < 1.0 {
                        lift = lift.max(below.at.z + touch * (1.0 - away * away).sqrt() - node.at.z);
                    }
                }
            }
            wishes.push((node, lift));
            laid.entry((x, y)).or_default().push(node);
        }
        if wishes.iter().all(|(_, lift)| *lift <= 0.0) {
            continue;
        }
        let lifts = eased(
            &wishes.iter().map(|w| w.1).collect::<Vec<_>>(),
            (6.0 * envelope / strand.step / stride as f64).ceil() as usize,
        );
        for (i, station) in strand.stations.iter_mut().enumerate() {
            let (k, t) = (i / stride, (i % stride) as f64 / stride as f64);
            let here = lifts.get(k).copied().unwrap_or(0.0);
            let raised = here + (lifts.get(k + 1).copied().unwrap_or(here) - here) * t;
            station.frame.at.z += raised;
            for ply in &mut station.plies {
                ply.centre.z += raised;
            }
        }
        for (k, (node, _)) in wishes.iter().enumerate() {
            let key = (cell(node.at.x), cell(node.at.y));
            let same = |n: &&mut Node| n.strand == number && (n.s - node.s).abs() < 1e-9;
            if let Some(kept) = laid.get_mut(&key).and_then(|list| list.iter_mut().find(same)) {
                kept.at.z += lifts.get(k).copied().unwrap_or(0.0);
            }
        }
    }
}

/// Wished heights with flanks of a raised cosine `reach` nodes long, and rounded tops.
fn eased(wishes: &[f64], reach: usize) -> Vec<f64> {
    let reach = reach.max(2);
    let flank = |k: usize| 0.5 * (1.0 + (std::f64::consts::PI * k as f64 / reach as f64).cos());
    let mut raised = vec![0.0f64; wishes.len()];
    for (i, wish) in wishes.iter().enumerate().filter(|(_, w)| **w > 0.0) {
        for (j, to) in raised.iter_mut().enumerate().take((i + reach).min(wishes.len())).skip(i.saturating_sub(reach)) {
            *to = to.max(wish * flank(i.abs_diff(j)));
        }
    }
    let round = 2usize;
    (0..raised.len())
        .map(|i| {
            let near = &raised[i.saturating_sub(round)..(i + round + 1).min(raised.len())];
            near.iter().sum::<f64>() / near.len() as f64
        })
        .collect()
}
