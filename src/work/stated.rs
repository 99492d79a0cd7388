//! What a person states about photos, as it is kept: about all photos of a batch, or about one of them, in a file beside
//! its report. Both are put together here, and become what is asked of one photo.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::base::geometry::{Point, Region};
use crate::measure::photo::Photo;
use crate::measure::pipeline::Request;
use crate::measure::scale::{RulerUnit, ScaleRequest, StatedScale};
use crate::measure::strand::StrandRequest;
use crate::measure::twist::TwistRequest;
use crate::show::columns::PX_PER_MM;
use crate::show::file;
use crate::show::json;
use crate::work::saved;

/// Focal lengths on 35 mm film, mm: what lenses have; the same bounds as for what a photo says.
pub const FOCAL_35MM_MM: RangeInclusive<f64> = 1.0..=2000.0;

/// A picture coarser or finer than this shows no yarn, dots per inch.
pub const DOTS_PER_INCH: RangeInclusive<f64> = 10.0..=100_000.0;

/// Print scales that a printer's driver makes by mistake lie between 0.7 (two pages on one sheet, A4 to A5: 1/sqrt 2, ISO
/// 216) and 1.42 (A5 to A4: sqrt 2); anything beyond is a slip of the pen.
pub const PRINT_FACTOR: RangeInclusive<f64> = 0.70..=1.42;

/// Narrower than this no edge of yarn has ground on both sides, px.
pub const LEAST_REGION_PX: f64 = 8.0;

/// Two points nearer than this are one, px.
pub const LEAST_DISTANCE_PX: f64 = 1.0;

/// Most plies that a yarn is said to have; cords of more are laid, not plied.
pub const MOST_PLIES: u32 = 12;

/// A ruler's unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    /// Millimetres.
    Mm,
    /// Inches and parts of an inch.
    Inch,
}

/// A resolution.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Dpi {
    /// Dots per inch.
    Is(f64),
    /// What the file says of itself.
    AsWrittenInFile,
}

/// Two points of the photo and their distance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TwoPoints {
    /// x and y, px of the photo as displayed.
    pub from: [f64; 2],
    /// The other.
    pub to: [f64; 2],
    /// Their distance, mm.
    pub distance_mm: f64,
}

impl TwoPoints {
    /// How far they lie apart, px.
    #[must_use]
    pub fn apart_px(&self) -> f64 {
        (self.to[0] - self.from[0]).hypot(self.to[1] - self.from[1])
    }
}

/// Everything that a person may state; what is `None` is not stated.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Stated {
    /// Measure only the piece of yarn with this number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strand: Option<u32>,
    /// Look for yarn only here: left, top, width, height, px of the photo as displayed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub region: Option<[f64; 4]>,
    /// How many plies the yarn has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub plies: Option<u32>,
    /// Take the scale from the ruler with this number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ruler: Option<u32>,
    /// The ruler's unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
    /// Two points whose distance is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub points: Option<TwoPoints>,
    /// Resolution of a scan.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dpi: Option<Dpi>,
    /// What the ruler card's print measures over what it ought to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub print_factor: Option<f64>,
    /// The camera's focal length on 35 mm film, mm; believed more than the photo.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub focal_35mm_mm: Option<f64>,
    /// The same, taken where the photo is silent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usual_focal_35mm_mm: Option<f64>,
    /// The sample's name.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub label: Option<String>,
}

/// Why a statement cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{what} {wanted}")]
pub struct Impossible {
    /// Which statement.
    pub what: &'static str,
    /// What it must be.
    pub wanted: &'static str,
}

impl Stated {
    /// Refuses numbers that cannot be, and two scales at once.
    ///
    /// # Errors
    /// [`Impossible`] for the first of them.
    pub fn check(&self) -> Result<(), Impossible> {
        let must = |good: bool, what, wanted| if good { Ok(()) } else { Err(Impossible { what, wanted }) };
        must(self.strand != Some(0), "the number of the piece", "must be 1 or more")?;
        must(self.ruler != Some(0), "the number of the ruler", "must be 1 or more")?;
        must(self.plies.is_none_or(|n| (1..=MOST_PLIES).contains(&n)), "the number of plies", "must be 1 to 12")?;
        must(
            self.region.is_none_or(|[x, y, w, h]| {
                [x, y, w, h].iter().all(|v| v.is_finite())
                    && x >= 0.0
                    && y >= 0.0
                    && w >= LEAST_REGION_PX
                    && h >= LEAST_REGION_PX
            }),
            "the region",
            "must lie in the picture and be at least 8 pixels wide and high",
        )?;
        must(
            self.points.is_none_or(|p| p.apart_px().is_finite() && p.apart_px() >= LEAST_DISTANCE_PX),
            "the two points",
            "must be different points of the picture",
        )?;
        let [low, high] = PX_PER_MM;
        must(
            self.points.is_none_or(|p| p.distance_mm > 0.0 && (low..=high).contains(&(p.apart_px() / p.distance_mm))),
            "the distance of the two points",
            "must be a length above 0 that a photo can show so",
        )?;
        let dpi = self.dpi.is_none_or(|dpi| match dpi {
            Dpi::Is(dpi) => DOTS_PER_INCH.contains(&dpi),
            Dpi::AsWrittenInFile => true,
        });
        must(dpi, "the resolution", "must be 10 to 100000 dots per inch")?;
        must(
            self.print_factor.is_none_or(|f| PRINT_FACTOR.contains(&f)),
            "what the card's 100 mm line measures",
            "must be 70 to 142 mm",
        )?;
        must(
            self.focal_35mm_mm.is_none_or(|f| FOCAL_35MM_MM.contains(&f)),
            "the focal length",
            "must be 1 to 2000 mm on 35 mm film",
        )?;
        let scales = [self.points.is_some(), self.dpi.is_some(), self.ruler.is_some() || self.unit.is_some()];
        must(
            scales.iter().filter(|stated| **stated).count() <= 1,
            "the scale",
            "can be stated in one way only: a ruler and its unit, two points and their distance, or a resolution",
        )
    }

    /// What is stated of one photo, put over what is stated of all.
    #[must_use]
    pub fn over(&self, all: &Self) -> Self {
        // Who states one photo's scale in one way does not want the ways stated for all beside it.
        let another_scale = self.points.is_some() || self.dpi.is_some();
        let ruler = self.ruler.is_some() || self.unit.is_some();
        Self {
            strand: self.strand.or(all.strand),
            region: self.region.or(all.region),
            plies: self.plies.or(all.plies),
            ruler: self.ruler.or(all.ruler.filter(|_| !another_scale)),
            unit: self.unit.or(all.unit.filter(|_| !another_scale)),
            points: self.points.or(all.points.filter(|_| !another_scale && !ruler)),
            dpi: self.dpi.or(all.dpi.filter(|_| !another_scale && !ruler)),
            print_factor: self.print_factor.or(all.print_factor),
            focal_35mm_mm: self.focal_35mm_mm.or(all.focal_35mm_mm),
            usual_focal_35mm_mm: self.usual_focal_35mm_mm.or(all.usual_focal_35mm_mm),
            label: self.label.clone().or_else(|| all.label.clone()),
        }
    }

    /// What is asked of one photo; what is known of the camera is put into the photo.
    ///
    /// # Errors
    /// A sentence where the resolution of the file was to be believed and the file carries none, or the region lies outside.
    pub fn request_for(&self, photo: &mut Photo) -> Result<Request, String> {
        photo.camera.focal_35mm_mm = self.focal_35mm_mm.or(photo.camera.focal_35mm_mm).or(self.usual_focal_35mm_mm);
        let from_file = || {
            photo
                .camera
                .written_dpi
                .ok_or_else(|| format!("{}: carries no resolution; state it, as in --dpi 1200", photo.name))
        };
        let stated = match (self.points, self.dpi) {
            (Some(TwoPoints { from, to, distance_mm }), _) => Some(StatedScale::TwoPoints {
                from: Point::new(from[0], from[1]),
                to: Point::new(to[0], to[1]),
                distance_mm,
            }),
            (None, Some(Dpi::Is(dpi))) => Some(StatedScale::DotsPerInch(dpi)),
            (None, Some(Dpi::AsWrittenInFile)) => Some(StatedScale::DotsPerInch(from_file()?)),
            (None, None) => None,
        };
        let (width, height) = (photo.rgb.width() as f64, photo.rgb.height() as f64);
        let region =
            self.region.map(|[x, y, w, h]| Region { min: Point::new(x, y), max: Point::new(x + w - 1.0, y + h - 1.0) });
        if region.is_some_and(|r| r.min.x >= width || r.min.y >= height) {
            return Err(format!("{}: --region lies outside this picture of {width} x {height} px", photo.name));
        }
        let unit = self.unit.map(|unit| match unit {
            Unit::Mm => RulerUnit::Mm,
            Unit::Inch => RulerUnit::Inch,
        });
        Ok(Request {
            scale: ScaleRequest { stated, ruler: self.ruler, unit, print_factor: self.print_factor },
            strand: StrandRequest { strand: self.strand, region },
            twist: TwistRequest { plies: self.plies },
            label: self.label.clone(),
        })
    }

    /// As one line of text, the same for the same statements.
    #[must_use]
    pub fn line(&self) -> String {
        // Numbers and texts alone: nothing in here can fail to be written.
        json::line(self).unwrap_or_default()
    }

    /// Where the statements about one photo are kept.
    #[must_use]
    pub fn place(out: &Path, id: &str) -> PathBuf {
        out.join("stated").join(format!("{id}.json"))
    }

    /// What is stated about one photo in an output folder; nothing where there is no file.
    ///
    /// # Errors
    /// A sentence naming the file.
    pub fn read(out: &Path, id: &str) -> Result<Self, String> {
        let path = Self::place(out, id);
        if !path.is_file() {
            return Ok(Self::default());
        }
        let wrong = |e: &dyn std::fmt::Display| {
            format!("{}: is no list of statements ({e}); mend it, or remove it", path.display())
        };
        let text = saved::read_text(&path, 1 << 16).map_err(|e| wrong(&e))?;
        let stated: Self = serde_json::from_str(&text).map_err(|e| wrong(&e))?;
        stated.check().map_err(|e| wrong(&e))?;
        Ok(stated)
    }

    /// Keeps what is stated about one photo; a file that would say nothing is removed.
    ///
    /// # Errors
    /// A sentence naming the file.
    pub fn keep(&self, out: &Path, id: &str) -> Result<(), String> {
        let path = Self::place(out, id);
        let refused = |e: std::io::Error| format!("{}: cannot be written: {e}", path.display());
        if *self == Self::default() {
            return match std::fs::remove_file(&path) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(refused(error)),
                _ => Ok(()),
            };
        }
        std::fs::create_dir_all(out.join("stated")).map_err(refused)?;
        let text = json::text(self).map_err(|e| refused(std::io::Error::other(e)))?;
        file::write(&path, text.as_bytes()).map_err(|e| e.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points() -> Option<TwoPoints> {
        Some(TwoPoints { from: [10.0, 10.0], to: [110.0, 10.0], distance_mm: 50.0 })
    }

    #[test]
    fn what_is_stated_of_one_photo_goes_before_what_is_stated_of_all() {
        let all = Stated { unit: Some(Unit::Inch), plies: Some(2), ..Stated::default() };
        let one = Stated { points: points(), plies: Some(3), ..Stated::default() };
        let both = one.over(&all);
        assert_eq!((both.plies, both.unit, both.points), (Some(3), None, points()));
        both.check().unwrap();
        let ruler = Stated { ruler: Some(2), ..Stated::default() };
        let both = ruler.over(&Stated { points: points(), ..Stated::default() });
        assert_eq!((both.ruler, both.points), (Some(2), None));
        both.check().unwrap();
        assert_eq!(ruler.over(&all).unit, Some(Unit::Inch));
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let with = |change: &dyn Fn(&mut Stated)| {
            let mut stated = Stated::default();
            change(&mut stated);
            stated.check().map_err(|e| e.what)
        };
        assert_eq!(with(&|_| ()), Ok(()));
        assert_eq!(with(&|s| s.region = Some([0.0, 0.0, 7.0, 100.0])), Err("the region"));
        assert_eq!(with(&|s| s.region = Some([f64::NAN, 0.0, 70.0, 100.0])), Err("the region"));
        assert_eq!(with(&|s| s.plies = Some(13)), Err("the number of plies"));
        assert_eq!(with(&|s| s.strand = Some(0)), Err("the number of the piece"));
        for distance_mm in [1e9, 1e-9] {
            let far = points().map(|p| TwoPoints { distance_mm, ..p });
            assert_eq!(with(&|s| s.points = far), Err("the distance of the two points"));
        }
        assert_eq!(with(&|s| s.dpi = Some(Dpi::Is(1.0))), Err("the resolution"));
        assert_eq!(with(&|s| s.print_factor = Some(0.5)), Err("what the card's 100 mm line measures"));
        assert_eq!(
            with(&|s| {
                s.points = points();
                s.unit = Some(Unit::Mm);
            }),
            Err("the scale")
        );
    }

    #[test]
    fn statements_are_kept_and_read_back() {
        let folder = tempfile::tempdir().unwrap();
        let stated = Stated { region: Some([1.0, 2.0, 30.5, 40.0]), points: points(), ..Stated::default() };
        assert_eq!(Stated::read(folder.path(), "a").unwrap(), Stated::default());
        stated.keep(folder.path(), "a").unwrap();
        assert_eq!(Stated::read(folder.path(), "a").unwrap(), stated);
        Stated::default().keep(folder.path(), "a").unwrap();
        assert!(!Stated::place(folder.path(), "a").exists());
        std::fs::write(Stated::place(folder.path(), "b"), "{\"plys\":2}").unwrap();
        assert!(Stated::read(folder.path(), "b").unwrap_err().contains("plys"));
    }
}
