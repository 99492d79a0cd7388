//! The exact truth of a photo, written beside it as JSON. Names and meanings are those of `fixtures/photos`.

use serde::{Deserialize, Serialize};

/// The truth of one photo. Pixels: the centre of the top-left pixel is (0, 0); fields with `display` are after EXIF
/// orientation, other pixels as stored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Truth {
    /// Name of the photo, without its ending.
    pub name: String,
    /// `measure`, or `refuse` where no length of the yarn may be given.
    pub expected: String,
    /// Why `refuse`.
    pub expected_reason: Option<String>,
    /// Words on the kind of scene.
    pub kind: String,
    /// Seed of the scene.
    pub seed: u64,
    /// The card.
    pub card: CardTruth,
    /// The camera.
    pub camera: CameraTruth,
    /// The yarn, pooled over all strands; `None` where there is none.
    pub yarn: Option<YarnTruth>,
    /// The strands.
    pub strands: Vec<StrandTruth>,
}

/// The card.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CardTruth {
    /// Words on what is printed.
    pub design: String,
    /// `mm`, `inch` or `none`.
    pub unit: String,
    /// Width, mm.
    pub width_mm: f64,
    /// Height, mm.
    pub height_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Corners as stored: top-left, top-right, bottom-right, bottom-left of the printed card.
    pub corners_px: Vec<[f64; 2]>,
    /// The same as displayed.
    pub corners_px_display: Vec<[f64; 2]>,
}

/// The camera.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CameraTruth {
    /// Width as stored, px.
    pub stored_width: usize,
    /// Height as stored, px.
    pub stored_height: usize,
    /// Width as displayed, px.
    pub display_width: usize,
    /// Height as displayed, px.
    pub display_height: usize,
    /// EXIF orientation.
    pub exif_orientation: u8,
    /// Focal length, px.
    pub focal_px: f64,
    /// Radial distortion: distorted = undistorted (1 + k1 r^2), r in focal lengths.
    pub k1: f64,
    /// Lens to target, mm.
    pub distance_mm: f64,
    /// Angle between view axis and the card's normal, degrees.
    pub tilt_deg: f64,
    /// Direction of the tilt, degrees.
    pub tilt_azimuth_deg: f64,
    /// Turn about the view axis, degrees.
    pub roll_deg: f64,
    /// Lens against the card's middle, mm: right, towards the printed top, above.
    pub position_world_mm: [f64; 3],
    /// Further Gaussian blur, px.
    #[serde(default)]
    pub extra_blur_px: f64,
    /// Diameter of the circle of defocus, px.
    #[serde(default)]
    pub defocus_circle_diameter_px_at_target: f64,
}

/// Mean and spread of a width, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WidthTruth {
    /// Mean.
    pub mean: f64,
    /// Standard deviation, divisor n - 1.
    pub sd: f64,
    /// `100 sd / mean`.
    pub cv_pct: f64,
    /// Least.
    pub min: f64,
    /// Greatest.
    pub max: f64,
    /// Stations.
    pub n: usize,
}

/// The yarn, over the stations used in the means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct YarnTruth {
    /// Plies.
    pub plies: usize,
    /// `S` or `Z`.
    pub direction: String,
    /// Turns per inch.
    pub tpi_mean: f64,
    /// Turns per metre.
    pub tpm_mean: f64,
    /// Standard deviation of the local twist.
    pub tpi_sd_along: f64,
    /// Turns per inch, with yarn beyond the card.
    pub tpi_mean_in_image: f64,
    /// Positive for Z.
    pub twist_signed_tpi: f64,
    /// Length of a turn, mm.
    pub pitch_mm: f64,
    /// Plies times turns per inch.
    pub surface_bumps_per_inch: f64,
    /// Apparent width.
    pub width_mm: WidthTruth,
    /// Mean apparent width, with yarn beyond the card, mm.
    pub width_mm_mean_in_image: f64,
    /// Diameter that the turning plies fill, mm.
    pub envelope_diameter_mm_mean: f64,
    /// Radius of each ply, mm.
    pub ply_radius_mm_mean: Vec<f64>,
    /// Distance of each ply's axis from the yarn's, mm.
    pub ply_axis_offset_mm_mean: Vec<f64>,
    /// Whether all plies have one nominal radius.
    pub equal_plies: bool,
    /// 25.4 / mean width.
    pub wpi_from_width: f64,
    /// A word for the colour.
    pub colour: String,
    /// Distance of ply axes against touching circles.
    pub compress: f64,
    /// Singles: angle of the surface fibres, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub surface_fibre_angle_deg: Option<f64>,
    /// Plied: angle of each ply's band, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub ply_band_angle_deg: Option<Vec<f64>>,
    /// Plied: angle of the outermost surface, degrees.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub outer_surface_angle_deg: Option<f64>,
    /// Plied: angle of the plies' bands plus that of the surface fibres to their ply's axis, degrees, positive in the
    /// sense of the final twist.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub surface_fibre_angle_to_yarn_axis_deg_approx: Option<f64>,
    /// Wraps: distance between neighbours, mm.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wrap_pitch_mm: Option<f64>,
    /// Wraps: wraps per inch.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wraps_per_inch_true: Option<f64>,
    /// Wraps: how many.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub wrap_count: Option<usize>,
}

/// One piece of yarn.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StrandTruth {
    /// Number.
    pub index: usize,
    /// Whether any of it is in the picture.
    pub visible: bool,
    /// How it ends.
    pub ends: String,
    /// Length in the picture, mm.
    pub visible_length_mm: f64,
    /// Length in the picture and over the card, mm.
    pub on_card_length_mm: f64,
    /// Turns per inch.
    pub tpi_mean: f64,
    /// Apparent width.
    pub width_mm: WidthTruth,
    /// Mean height of the axis above the card, mm.
    pub axis_height_mm: f64,
    /// Scale across the strand at its axis, px/mm.
    pub px_per_mm_across_at_axis: f64,
    /// Scale along the strand at its axis, px/mm.
    pub px_per_mm_along_at_axis: f64,
    /// Scale across the strand on the card's face, px/mm.
    pub px_per_mm_across_on_card: f64,
    /// Thick and thin places.
    pub planted_faults: Vec<FaultTruth>,
    /// Closed loops.
    pub kinks: Vec<KinkTruth>,
    /// Stations along the strand.
    pub profile: ProfileTruth,
}

/// A planted thick or thin place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FaultTruth {
    /// `thick` or `thin`.
    pub kind: String,
    /// Middle, mm along the strand.
    pub s_mm: f64,
    /// Full length of the raised cosine, mm.
    pub length_mm_base: f64,
    /// Length at half its height, mm.
    pub length_mm_half_height: f64,
    /// The ply; `None` for all.
    pub ply: Option<usize>,
    /// Radius at the middle against nominal, minus 1.
    pub radius_amplitude_rel: f64,
    /// Mean width over its middle half against the strand's mean, minus 1.
    pub width_rel_measured_mid_half: f64,
    /// Place as stored, px.
    pub px: [f64; 2],
    /// Whether it is in the picture.
    pub in_image: bool,
    /// Whether it is over the card.
    pub on_card: bool,
}

/// A closed loop of the whole strand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KinkTruth {
    /// Start, mm along the strand.
    pub s_from_mm: f64,
    /// End.
    pub s_to_mm: f64,
    /// Middle as stored, px.
    pub px: [f64; 2],
}

/// Stations along a strand; all lists are equally long.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ProfileTruth {
    /// Arc length from the first station in the picture, mm.
    pub s_mm: Vec<f64>,
    /// Turns per inch.
    pub tpi: Vec<f64>,
    /// Apparent width, mm.
    pub width_mm: Vec<f64>,
    /// Envelope diameter, mm.
    pub envelope_mm: Vec<f64>,
    /// Height of the axis above the card, mm.
    pub axis_height_mm: Vec<f64>,
    /// Place on the card, mm from its top-left corner, to the right.
    pub card_x_mm: Vec<f64>,
    /// Downwards.
    pub card_y_mm: Vec<f64>,
    /// Place as stored, px.
    pub px_x: Vec<f64>,
    /// Place as stored, px.
    pub px_y: Vec<f64>,
    /// Place as displayed, px.
    pub px_display_x: Vec<f64>,
    /// Place as displayed, px.
    pub px_display_y: Vec<f64>,
    /// Scale across the strand, px/mm.
    pub px_per_mm_across: Vec<f64>,
    /// Over the card.
    pub on_card: Vec<bool>,
    /// Used in the means: over the card (the ruler card: over its fields), in the picture, no kink, no cut end, no bend.
    pub used_in_means: Vec<bool>,
}
