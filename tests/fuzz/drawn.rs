//! Pictures from bytes: a few bytes paint a ruler or a strand, so that a fuzzer comes to the stages behind the first.

use strandrule::base::raster::Raster;

/// The byte as a share of `of`.
fn share(byte: u8, of: usize) -> usize {
    usize::from(byte) * of / 255
}

/// The picture that the bytes paint; `None` for too few. Four bytes of head (width, height, ground, enlargement), then
/// eight a stroke: kind, shade, left, top, width, height, pitch, extra.
pub(crate) fn picture(bytes: &[u8]) -> Option<Raster<[u8; 3]>> {
    let (head, strokes) = bytes.split_first_chunk::<4>()?;
    let grown = 1 + usize::from(head[3] % 3);
    let (width, height) = ((1 + usize::from(head[0])) * grown, (1 + usize::from(head[1])) * grown);
    let mut rgb = Raster::filled(width, height, [head[2]; 3]);
    for stroke in strokes.as_chunks::<8>().0.iter().take(24) {
        paint(&mut rgb, stroke);
    }
    Some(rgb)
}

fn paint(rgb: &mut Raster<[u8; 3]>, stroke: &[u8; 8]) {
    let [kind, shade, left, top, across, down, pitch, extra] = *stroke;
    let (width, height) = (rgb.width(), rgb.height());
    let (x0, y0) = (share(left, width), share(top, height));
    let (x1, y1) = ((x0 + share(across, width)).min(width), (y0 + share(down, height)).min(height));
    let pitch = 1.0 + f64::from(pitch) / 8.0;
    let every = 2 + usize::from(extra % 10);
    for y in y0..y1 {
        for x in x0..x1 {
            let (dx, dy) = ((x - x0) as f64, (y - y0) as f64);
            let tooth = |along: f64, deep: usize, length: usize| {
                let long = ((along / pitch) as usize).is_multiple_of(every);
                along % pitch < pitch * 0.4 && (long || 2 * deep < length)
            };
            let level = match kind % 6 {
                0 => Some(shade),
                // A ruler's marks, upright and lying.
                1 => tooth(dx, y - y0, y1 - y0).then_some(shade),
                2 => tooth(dy, x - x0, x1 - x0).then_some(shade),
                // A strand: a wavy band with slanting lines over it.
                3 => {
                    let half = (y1 - y0) as f64 / 2.0;
                    let middle = half + 0.3 * half * (dx / (4.0 * pitch)).sin();
                    let line = (dx + dy * f64::from(extra) / 64.0) % pitch < pitch / 2.0;
                    ((dy - middle).abs() < 0.6 * half).then(|| if line { shade } else { shade.wrapping_add(40) })
                }
                4 => {
                    let noise = (x * 7919) ^ (y * 104_729) ^ (usize::from(extra) * 31);
                    Some(shade.wrapping_add((noise.wrapping_mul(2_654_435_761) >> 13) as u8 & 63))
                }
                _ => Some((usize::from(shade) + share(extra, (x - x0) + (y - y0)) % 256) as u8),
            };
            if let Some(level) = level {
                rgb.set(x, y, [level, level, level.saturating_add(extra / 8)]);
            }
        }
    }
}
