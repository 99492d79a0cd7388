//! A grid of samples. Whole coordinates are sample centres.

/// `width` x `height` samples, row by row from the top.
#[derive(Debug, Clone, PartialEq)]
pub struct Raster<T> {
    width: usize,
    height: usize,
    samples: Vec<T>,
}

impl<T: Copy> Raster<T> {
    /// A raster filled with one value.
    #[must_use]
    pub fn filled(width: usize, height: usize, value: T) -> Self {
        Self { width, height, samples: vec![value; width * height] }
    }
    /// A raster over existing samples; `None` unless there are `width * height` of them.
    #[must_use]
    pub fn from_samples(width: usize, height: usize, samples: Vec<T>) -> Option<Self> {
        (width.checked_mul(height) == Some(samples.len())).then_some(Self { width, height, samples })
    }
    /// Number of columns.
    #[must_use]
    pub fn width(&self) -> usize {
        self.width
    }
    /// Number of rows.
    #[must_use]
    pub fn height(&self) -> usize {
        self.height
    }
    /// All samples, row by row.
    #[must_use]
    pub fn samples(&self) -> &[T] {
        &self.samples
    }
    /// All samples, for writing.
    pub fn samples_mut(&mut self) -> &mut [T] {
        &mut self.samples
    }
    /// One row.
    #[must_use]
    pub fn row(&self, y: usize) -> &[T] {
        &self.samples[y * self.width..(y + 1) * self.width]
    }
    /// One row, for writing.
    pub fn row_mut(&mut self, y: usize) -> &mut [T] {
        &mut self.samples[y * self.width..(y + 1) * self.width]
    }
    /// One sample; `None` outside.
    #[must_use]
    pub fn get(&self, x: usize, y: usize) -> Option<T> {
        (x < self.width && y < self.height).then(|| self.samples[y * self.width + x])
    }
    /// One sample, coordinates clamped to the border. The raster must not be empty.
    #[must_use]
    pub fn clamped(&self, x: isize, y: isize) -> T {
        let x = x.clamp(0, self.width as isize - 1) as usize;
        let y = y.clamp(0, self.height as isize - 1) as usize;
        self.samples[y * self.width + x]
    }
    /// Sets one sample; outside the raster nothing happens.
    pub fn set(&mut self, x: usize, y: usize, value: T) {
        if x < self.width && y < self.height {
            self.samples[y * self.width + x] = value;
        }
    }
    /// Whether the point lies on or between sample centres.
    #[must_use]
    pub fn holds(&self, x: f64, y: f64) -> bool {
        x >= 0.0 && y >= 0.0 && x <= self.width as f64 - 1.0 && y <= self.height as f64 - 1.0
    }
    /// The same raster with every sample converted.
    #[must_use]
    pub fn map<U: Copy>(&self, convert: impl Fn(T) -> U) -> Raster<U> {
        Raster { width: self.width, height: self.height, samples: self.samples.iter().map(|s| convert(*s)).collect() }
    }
}

/// The four neighbours and the two weights of a bilinear sample, clamped to the border.
fn neighbours(width: usize, height: usize, x: f64, y: f64) -> ([usize; 4], f64, f64) {
    let x = x.clamp(0.0, (width - 1) as f64);
    let y = y.clamp(0.0, (height - 1) as f64);
    // Not negative: cutting off is rounding down. No side has 2^32 samples, and fewer bits are converted faster.
    let (x0, y0) = (x as u32 as usize, y as u32 as usize);
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    ([y0 * width + x0, y0 * width + x1, y1 * width + x0, y1 * width + x1], x - x0 as f64, y - y0 as f64)
}

impl Raster<f32> {
    /// Bilinear sample, clamped to the border. The raster must not be empty.
    #[must_use]
    pub fn bilinear(&self, x: f64, y: f64) -> f32 {
        let (at, fx, fy) = neighbours(self.width, self.height, x, y);
        let [a, b, c, d] = at.map(|i| f64::from(self.samples[i]));
        let (top, bottom) = (a + (b - a) * fx, c + (d - c) * fx);
        (top + (bottom - top) * fy) as f32
    }
}

impl Raster<[u8; 3]> {
    /// Bilinear sample of the three code values, each through `table` first (linear light, for example).
    #[must_use]
    pub fn bilinear_through(&self, x: f64, y: f64, table: &[f32; 256]) -> [f32; 3] {
        let (at, fx, fy) = neighbours(self.width, self.height, x, y);
        let (fx, fy) = (fx as f32, fy as f32);
        let [p, q, r, s] = at.map(|i| self.samples[i].map(|code| table[usize::from(code)]));
        std::array::from_fn(|c| {
            let (top, bottom) = (p[c] + (q[c] - p[c]) * fx, r[c] + (s[c] - r[c]) * fx);
            top + (bottom - top) * fy
        })
    }
}
