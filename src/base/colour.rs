//! sRGB code values and linear light.

use std::sync::LazyLock;

/// Linear light (0 to 1) of each 8-bit sRGB code value. Source: IEC 61966-2-1.
pub static LINEAR_OF_SRGB: LazyLock<[f32; 256]> = LazyLock::new(|| {
    std::array::from_fn(|code| {
        let v = code as f64 / 255.0;
        (if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }) as f32
    })
});

/// 8-bit sRGB code value of linear light, clamped to 0..=255. Source: IEC 61966-2-1.
#[must_use]
pub fn srgb_of_linear(linear: f32) -> u8 {
    let v = linear.clamp(0.0, 1.0);
    let coded = if v <= 0.003_130_8 { v * 12.92 } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    (coded * 255.0).round() as u8
}

/// Luminance of linear RGB. Source: ITU-R BT.709 weights.
#[must_use]
pub fn luminance(rgb: [f32; 3]) -> f32 {
    0.2126 * rgb[0] + 0.7152 * rgb[1] + 0.0722 * rgb[2]
}

/// Luma of 8-bit code values, 0 to 255, as JPEG counts it. Source: ITU-R BT.601 weights.
#[must_use]
pub fn luma(rgb: [u8; 3]) -> f32 {
    0.299 * f32::from(rgb[0]) + 0.587 * f32::from(rgb[1]) + 0.114 * f32::from(rgb[2])
}
