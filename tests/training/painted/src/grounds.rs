//! A folder of pictures that may become tables.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use strandrule::base::raster::Raster;
use strandrule::synth::GroundPicture;
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

/// Pictures of a folder, read when first wanted; one that cannot be read is left out.
pub struct Grounds {
    paths: Vec<PathBuf>,
    read: Vec<Option<Option<Arc<GroundPicture>>>>,
    /// Which are held, the oldest first.
    held: Vec<usize>,
}

/// Pictures held at once: 24 of two megapixels take 200 MB.
const MOST: usize = 24;

impl Grounds {
    pub fn of(folder: &Path) -> io::Result<Self> {
        let mut paths: Vec<PathBuf> = fs::read_dir(folder)?.filter_map(|e| Some(e.ok()?.path())).collect();
        let jpeg = |p: &PathBuf| {
            p.extension().is_some_and(|e| e.eq_ignore_ascii_case("jpg") || e.eq_ignore_ascii_case("jpeg"))
        };
        paths.retain(jpeg);
        paths.sort();
        if paths.is_empty() {
            return Err(io::Error::other(format!("no JPEGs in {}", folder.display())));
        }
        let read = paths.iter().map(|_| None).collect();
        Ok(Self { paths, read, held: Vec::new() })
    }

    /// The picture of a seed.
    pub fn pick(&mut self, seed: u64) -> Option<Arc<GroundPicture>> {
        // Multiplying by an odd number near 2^64 over the golden ratio spreads seeds over the top bits (Knuth, "The art
        // of computer programming" 3, 6.4).
        let spread = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let at = ((u128::from(spread) * self.paths.len() as u128) >> 64) as usize;
        if self.read[at].is_none() {
            if self.held.len() == MOST {
                let oldest = self.held.remove(0);
                self.read[oldest] = None;
            }
            self.held.push(at);
            let picture = read(&self.paths[at]);
            if picture.is_none() {
                eprintln!("painted: {} cannot be read", self.paths[at].display());
            }
            self.read[at] = Some(picture.map(Arc::new));
        }
        self.read[at].clone().flatten()
    }
}

fn read(path: &Path) -> Option<GroundPicture> {
    let bytes = fs::read(path).ok()?;
    let options = DecoderOptions::default().jpeg_set_out_colorspace(ColorSpace::RGB);
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
    let pixels = decoder.decode().ok()?;
    let (width, height) = decoder.dimensions()?;
    let pixels = pixels.chunks_exact(3).map(|p| [p[0], p[1], p[2]]).collect();
    GroundPicture::new(Raster::from_samples(width, height, pixels)?)
}
