//! The yarn's colour, balanced by the grey steps of the ruler card, against the colour that the yarn was given.

use std::path::Path;

use strandrule::measure::photo::{Limits, decode};
use strandrule::measure::pipeline::{Params, Request, measure};
use strandrule::show::page::look::{Colour, look};
use strandrule::synth::{PlySpec, shoot_jpeg, story};

/// CIELAB under D65 of linear sRGB. Source: IEC 61966-2-1 (matrix to four digits), CIE 15.
fn lab(rgb: [f64; 3]) -> [f64; 3] {
    let row = |m: [f64; 3]| m[0] * rgb[0] + m[1] * rgb[1] + m[2] * rgb[2];
    let f = |t: f64| if t > 0.008_856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
    let x = f(row([0.4124, 0.3576, 0.1805]) / 0.9505);
    let y = f(row([0.2126, 0.7152, 0.0722]));
    let z = f(row([0.0193, 0.1192, 0.9505]) / 1.0890);
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// CIE 1976 colour difference.
fn difference(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
}

/// The colour given to the yarn, darkened as a whole to the lightness seen: grooves and the turned-away sides of the
/// strand lie in its own shade, which takes light, not hue.
fn as_dark_as(albedo: [f64; 3], lightness: f64) -> [f64; 3] {
    let (mut low, mut high) = (0.0, 4.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if lab(albedo.map(|v| v * middle))[0] < lightness { low = middle } else { high = middle }
    }
    lab(albedo.map(|v| v * low))
}

/// Singles of this colour on the small card's dark field, photographed under this light.
fn photographed(albedo: [f64; 3], light: [f64; 3]) -> Colour {
    let mut scene = story::story().into_iter().next().unwrap().scene.reduced(2000);
    let (mut yarn, laying) = scene.yarn.take().unwrap();
    yarn.plies = vec![PlySpec { relative_radius: 1.0, colour: albedo }];
    yarn.gloss = 0.0;
    scene.yarn = Some((yarn, laying));
    scene.light.colour = light;
    let (bytes, _) = shoot_jpeg(&scene).unwrap();
    let photo = decode(Path::new("yarn.jpg"), bytes, &Limits::default()).unwrap();
    let measured = measure(&photo, &Request::default(), &Params::default());
    look(&photo, &measured).unwrap().facts.colour.unwrap()
}

// A difference of 2.3 (CIE 1976) is just noticed (Mahy, Van Eycken & Oosterlinck, Color Research & Application 19 (1994)
// 105, from memory). Asked here: less, where the lamp alone shifts the colour by four to ten of them.
#[test]
fn the_grey_steps_take_the_colour_of_the_light_away() {
    let lamp = [1.0, 0.74, 0.45];
    for (name, albedo) in [("cream", [0.70, 0.61, 0.44]), ("madder", [0.42, 0.10, 0.05]), ("woad", [0.10, 0.24, 0.45])]
    {
        let cast = difference(lab(albedo), lab([0, 1, 2].map(|c: usize| albedo[c] * lamp[c])));
        assert!(cast > 9.2, "{name}: the light itself shifts it by {cast}");
        let day = photographed(albedo, [1.0; 3]);
        let lit = photographed(albedo, lamp);
        assert!(day.balanced && lit.balanced);
        let between = difference(day.lab, lit.lab);
        assert!(between < 1.5, "{name}: daylight and lamp differ by {between}");
        let from_truth = difference(lit.lab, as_dark_as(albedo, lit.lab[0]));
        assert!(from_truth < 1.5, "{name}: {from_truth} from the colour given");
    }
}

// Without a ruler card there is no grey to balance by, and the page says so.
#[test]
fn without_a_card_the_colour_keeps_the_light() {
    let scene = story::story().swap_remove(1).scene.reduced(1600);
    let (bytes, _) = shoot_jpeg(&scene).unwrap();
    let photo = decode(Path::new("yarn.jpg"), bytes, &Limits::default()).unwrap();
    let measured = measure(&photo, &Request::default(), &Params::default());
    let colour = look(&photo, &measured).unwrap().facts.colour.unwrap();
    assert!(!colour.balanced);
    assert!(strandrule::show::page::swatch(&colour).into_string().contains("Not white-balanced"));
}
