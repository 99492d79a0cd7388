//! Our own small renderer of yarn on a ruler card, with exact truth: for the demo, tests and benches.
//!
//! It shares no formula with the measuring code. A scene is plain data; [`shoot`] gives the photo and its truth:
//! the plies are tubes along helices, drawn facet by facet through a pinhole camera with a depth buffer; fibres,
//! grooves and hairs shade them; card, print and table are weighed by how much of each pixel they cover.
//!
//! [`training_scene`] draws scenes to learn from, [`shoot_labelled`] tells what each of their pixels shows.
//!
//! Not modelled: light scattered within the yarn, plies that flatten, glare, a card that is not flat.

mod camera;
mod chance;
mod edges;
mod expose;
mod fringe;
mod fuzz;
mod ground;
mod hair;
mod jpeg;
mod label;
mod lay;
mod mesh;
mod numerals;
mod packing;
mod path;
mod pattern;
mod picture;
mod plain;
mod printed;
mod random;
mod raster;
mod render;
mod scene;
mod shade;
mod shadow;
mod stack;
pub mod story;
mod strand;
mod thing;
mod thing_look;
mod training;
mod truth;
mod witness;

use crate::base::raster::Raster;

pub use camera::Camera;
pub use jpeg::{EncodeError, encode};
pub use label::{Labelled, RulerLabel, StationLabel, StrandLabel, shoot_labelled};
pub use packing::ply_centres;
pub use picture::{GroundPicture, PictureSpec};
pub use printed::PrintedCard;
pub use random::random_scene;
pub use scene::{
    Albedo, Arrangement, CameraSpec, CardSpec, Clutter, Face, FaultSpec, HairSpec, Laying, LightSpec, Pattern,
    PieceSpec, PlySpec, RulerSpec, RulerUnit, Scene, SensorSpec, TableSpec, Turning, YarnSpec,
};
pub use thing::{Kind, Thing, ThingKind};
pub use training::{Finish, Subsampling, TrainingScene, training_scene};
pub use truth::{
    CameraTruth, CardTruth, FaultTruth, KinkTruth, ProfileTruth, StrandTruth, Truth, WidthTruth, YarnTruth,
};

/// A rendered scene.
#[derive(Debug, Clone)]
pub struct Shot {
    /// The picture as displayed, sRGB code values.
    pub picture: Raster<[u8; 3]>,
    /// Its truth.
    pub truth: Truth,
}

/// Renders a scene. The same scene gives the same picture, whatever the number of threads.
///
/// A picture without width or height stays empty.
#[must_use]
pub fn shoot(scene: &Scene) -> Shot {
    let seen = render::see(scene);
    let truth = witness::tell(scene, &seen.strands, &seen.camera);
    if scene.camera.width_px == 0 || scene.camera.height_px == 0 {
        return Shot { picture: Raster::filled(0, 0, [0; 3]), truth };
    }
    let picture = expose::expose(seen.light, &scene.camera, &scene.light, &scene.sensor, scene.seed);
    Shot { picture, truth }
}

/// Renders a scene and encodes it as a camera would: the JPEG file's bytes, and the truth.
///
/// # Errors
/// Fails where a side of the picture is 0 or above 65535 px.
pub fn shoot_jpeg(scene: &Scene) -> Result<(Vec<u8>, Truth), EncodeError> {
    let shot = shoot(scene);
    Ok((encode(&shot.picture, &scene.sensor)?, shot.truth))
}
