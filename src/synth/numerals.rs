//! Plain numerals and a few letters, drawn with a round pen.

/// Strokes of one sign: lines through points; x to the right from its left edge, y up from its foot, height 1.
type Strokes = &'static [&'static [(f64, f64)]];

/// Half the pen's thickness, against the height.
const PEN: f64 = 0.055;
/// Distance from one sign to the next.
const ADVANCE: f64 = 0.72;

fn strokes(sign: char) -> Strokes {
    match sign {
        '0' => &[&[
            (0.25, 0.0),
            (0.08, 0.18),
            (0.0, 0.5),
            (0.08, 0.82),
            (0.25, 1.0),
            (0.42, 0.82),
            (0.5, 0.5),
            (0.42, 0.18),
            (0.25, 0.0),
        ]],
        '1' => &[&[(0.06, 0.78), (0.28, 1.0), (0.28, 0.0)]],
        '2' => {
            &[&[(0.02, 0.78), (0.1, 0.94), (0.27, 1.0), (0.44, 0.9), (0.47, 0.7), (0.36, 0.46), (0.0, 0.0), (0.5, 0.0)]]
        }
        '3' => &[&[
            (0.03, 0.9),
            (0.22, 1.0),
            (0.42, 0.9),
            (0.44, 0.68),
            (0.2, 0.53),
            (0.45, 0.38),
            (0.47, 0.14),
            (0.25, 0.0),
            (0.0, 0.1),
        ]],
        '4' => &[&[(0.38, 0.0), (0.38, 1.0), (0.0, 0.32), (0.52, 0.32)]],
        '5' => &[&[
            (0.45, 1.0),
            (0.08, 1.0),
            (0.04, 0.56),
            (0.28, 0.62),
            (0.47, 0.46),
            (0.48, 0.2),
            (0.26, 0.0),
            (0.0, 0.08),
        ]],
        '6' => &[&[
            (0.42, 0.98),
            (0.18, 0.8),
            (0.02, 0.4),
            (0.08, 0.1),
            (0.26, 0.0),
            (0.45, 0.1),
            (0.49, 0.34),
            (0.4, 0.54),
            (0.22, 0.56),
            (0.04, 0.38),
        ]],
        '7' => &[&[(0.0, 1.0), (0.5, 1.0), (0.2, 0.0)]],
        '8' => &[&[
            (0.25, 0.54),
            (0.06, 0.72),
            (0.08, 0.92),
            (0.25, 1.0),
            (0.42, 0.92),
            (0.44, 0.72),
            (0.25, 0.54),
            (0.02, 0.34),
            (0.04, 0.1),
            (0.25, 0.0),
            (0.46, 0.1),
            (0.48, 0.34),
            (0.25, 0.54),
        ]],
        '9' => &[&[
            (0.08, 0.02),
            (0.32, 0.2),
            (0.48, 0.6),
            (0.42, 0.9),
            (0.24, 1.0),
            (0.05, 0.9),
            (0.01, 0.66),
            (0.1, 0.46),
            (0.28, 0.44),
            (0.46, 0.62),
        ]],
        'c' => &[&[(0.42, 0.52), (0.25, 0.62), (0.06, 0.5), (0.02, 0.3), (0.08, 0.08), (0.25, 0.0), (0.42, 0.1)]],
        'm' => &[
            &[(0.0, 0.0), (0.0, 0.6)],
            &[(0.0, 0.45), (0.14, 0.6), (0.26, 0.48), (0.26, 0.0)],
            &[(0.26, 0.45), (0.4, 0.6), (0.52, 0.48), (0.52, 0.0)],
        ],
        'i' => &[&[(0.2, 0.0), (0.2, 0.6)], &[(0.2, 0.8), (0.2, 0.83)]],
        'n' => &[&[(0.05, 0.0), (0.05, 0.6)], &[(0.05, 0.42), (0.22, 0.6), (0.42, 0.48), (0.42, 0.0)]],
        'h' => &[&[(0.05, 0.0), (0.05, 1.0)], &[(0.05, 0.42), (0.22, 0.6), (0.42, 0.48), (0.42, 0.0)]],
        _ => &[],
    }
}

/// Share of a pixel inked by a word whose first sign is centred on x = 0 and stands on y = 0. `at` and the pixel's
/// `size` are in heights of a numeral; letters are half as high. Whole numbers are centred as a whole.
pub(super) fn ink(word: &str, at: [f64; 2], size: f64) -> f64 {
    let digits = word.chars().take_while(char::is_ascii_digit).count();
    let mut left = -0.5 * (digits as f64 * ADVANCE) + 0.5 * (ADVANCE - 0.5);
    let mut nearest = f64::MAX;
    for sign in word.chars() {
        let scale = if sign.is_ascii_digit() { 1.0 } else { 0.6 };
        let local = [(at[0] - left) / scale, at[1] / scale];
        if local[0] > -0.4 && local[0] < 1.0 {
            for line in strokes(sign) {
                for pair in line.windows(2) {
                    if let [a, b] = pair {
                        nearest = nearest.min(distance(local, *a, *b) * scale - PEN * scale);
                    }
                }
            }
        }
        left += scale * if sign == ' ' { 0.3 } else { ADVANCE };
    }
    (0.5 - nearest / size).clamp(0.0, 1.0)
}

fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

fn distance(p: [f64; 2], a: (f64, f64), b: (f64, f64)) -> f64 {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let t = (((p[0] - a.0) * dx + (p[1] - a.1) * dy) / (dx * dx + dy * dy).max(1e-12)).clamp(0.0, 1.0);
    length(p[0] - a.0 - t * dx, p[1] - a.1 - t * dy)
}
