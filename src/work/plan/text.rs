//! A plan in plain words.

use std::fmt::Write;

use super::{Plan, Range};

fn range(r: Range, digits: usize) -> String {
    let (low, high) = (format!("{:.digits$}", r.low), format!("{:.digits$}", r.high));
    if low == high { low } else { format!("{low} to {high}") }
}

/// The plan as a person reads it, one thing a line.
#[must_use]
pub fn text(plan: &Plan) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let mut line = |text: String| {
        let _ = writeln!(out, "{text}");
    };
    for step in &plan.steps {
        let way = step.direction.map(|d| format!(" {d:?}")).unwrap_or_default();
        line(format!("{}{way} with {} turns an inch", capital(&step.what), range(step.twists_per_inch, 1)));
        if let Some(d) = step.diameter_mm {
            line(format!("  thickness {} mm ({} wraps an inch touching)", range(d, 2), range(d.map(|d| 25.4 / d), 0)));
        }
        if let Some(angle) = step.twist_angle_deg {
            line(format!("  angle {}°", range(angle, 0)));
        }
        for w in &step.wheel {
            line(format!(
                "  wheel: {:.1} flyer turns a treadle ({}), {:.1} treadles for every {:.1} in ({:.0} mm) drafted",
                w.ratio,
                w.ratio_class,
                w.treadles,
                w.draft_inches,
                w.draft_inches * 25.4
            ));
        }
    }
    if let Some(p) = &plan.plied {
        line(format!("The {}-ply will be about", p.plies));
        if let (Some(width), Some(wraps)) = (p.diameter_mm, p.wraps_per_inch) {
            line(format!("  {} mm thick, {} wraps an inch touching", range(width, 2), range(wraps, 1)));
        }
        if let Some(take_up) = p.take_up_percent {
            line(format!("  {} % shorter than its singles", range(take_up, 1)));
        }
        if let Some(left) = p.residual_twists_per_inch {
            line(format!("  {} turns an inch left in the singles", range(left, 1)));
        }
    }
    if !plan.numbers.is_empty() {
        let all: Vec<String> = plan.numbers.iter().map(|n| format!("{} {}", figure(n.number), n.system)).collect();
        line(format!("Yarn number: {}", all.join(", ")));
    }
    if let Some(p) = plan.packing {
        line(format!("Fibre fills {:.0} % of the yarn's section", 100.0 * p));
    }
    for caution in &plan.cautions {
        line(format!("Beware: {}", caution.message));
    }
    out
}

/// Four significant digits, no more than three of them behind the point.
fn figure(number: f64) -> String {
    let digits = (3.0 - number.abs().max(1e-3).log10().floor()).clamp(0.0, 3.0) as usize;
    format!("{number:.digits$}")
}

fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map(|c| c.to_uppercase().collect::<String>() + letters.as_str()).unwrap_or_default()
}
