//! Evenness against shapes whose statistics are known in closed form.

use strandrule::figures::report::FaultKind;
use strandrule::measure::evenness::{
    AveragedWidth, FaultParams, RuledPiece, RuledStation, averaged_widths, between_pieces, find_faults, local_turns,
    twist_windows, width_spread,
};
use strandrule::measure::twist::StrandTwist;

const STEP_MM: f64 = 0.02;

fn piece(width_mm: impl Fn(f64) -> f64, length_mm: f64) -> RuledPiece {
    let stations = (0..(length_mm / STEP_MM) as usize)
        .map(|i| {
            let at = i as f64 * STEP_MM;
            let width = width_mm(at);
            RuledStation {
                at,
                width,
                left: -width / 2.0,
                right: width / 2.0,
                px_across: 1.0 / STEP_MM,
                tan_factor: 1.0,
                left_out: None,
            }
        })
        .collect();
    RuledPiece { number: 1, in_mm: true, stations }
}

fn twist(angle_rad: Vec<Option<f64>>, turns: Vec<Option<f64>>) -> StrandTwist {
    StrandTwist {
        strand: 1,
        angle_rad,
        turns,
        mean_angle_rad: None,
        turns_relative_u: 0.0,
        bumps: Vec::new(),
        fibre_angle_rad: Err(strandrule::figures::Reason::FibresNotVisible),
        ply_angles_rad: None,
    }
}

/// Width of two round plies of radius 1 turning about each other, in units of the ply's radius.
/// Source: circle packing (radii of n round plies in one ring); seen width from 2 to 4 radii.
fn two_ply_width(turns: f64) -> f64 {
    2.0 + 2.0 * (std::f64::consts::TAU * turns).cos().abs()
}

// Source: circle packing, worked by hand: the raw width of a perfect 2-ply has a CV of 18.8 % and a mean of 0.818 of the
// envelope; averaged over one turn it is perfectly even.
#[test]
fn a_perfect_two_ply_is_even() {
    let turns_per_mm = 0.2;
    let piece = piece(|at| two_ply_width(at * turns_per_mm) * 0.5, 60.0);
    let raw: Vec<f64> = piece.stations.iter().map(|s| s.width).collect();
    let raw_cv = 100.0 * strandrule::base::stats::standard_deviation(&raw).unwrap()
        / strandrule::base::stats::mean(&raw).unwrap();
    approx::assert_relative_eq!(raw_cv, 18.8, epsilon = 0.1);
    let turns = vec![Some(turns_per_mm); piece.stations.len()];
    let averaged = averaged_widths(&piece, &turns, 2);
    assert!(averaged.len() > 2000, "windows of one turn: {}", averaged.len());
    let spread = width_spread(&[(averaged.clone(), 60.0)], 0.0, 0.0).unwrap();
    assert!(spread.cv_percent < 0.2, "CV {}", spread.cv_percent);
    let mean = strandrule::base::stats::mean(&averaged.iter().map(|a| a.width).collect::<Vec<_>>()).unwrap();
    let envelope = strandrule::base::stats::mean(&averaged.iter().map(|a| a.envelope).collect::<Vec<_>>()).unwrap();
    approx::assert_relative_eq!(mean / envelope, 0.818, epsilon = 0.002);
}

// Source: the integral of a sine over a window: averaging over length L leaves sinc(L / wavelength) of a wave.
#[test]
fn singles_are_averaged_over_one_diameter() {
    let (wavelength, mean, amplitude) = (10.0, 2.0, 0.2);
    let piece = piece(|at| mean + amplitude * (std::f64::consts::TAU * at / wavelength).sin(), 100.0);
    let averaged = averaged_widths(&piece, &vec![None; piece.stations.len()], 1);
    let spread = width_spread(&[(averaged, 100.0)], 0.0, 0.0).unwrap();
    let x = std::f64::consts::PI * mean / wavelength;
    let expected = 100.0 * amplitude / mean / 2.0f64.sqrt() * x.sin() / x;
    approx::assert_relative_eq!(spread.cv_percent, expected, max_relative = 0.01);
}

#[test]
fn windows_never_bridge_a_gap() {
    let mut piece = piece(|_| 1.0, 20.0);
    for station in &mut piece.stations[480..520] {
        station.left_out = Some(strandrule::measure::strand::LeftOutWhy::Kink);
    }
    let averaged = averaged_widths(&piece, &vec![None; piece.stations.len()], 1);
    let near = |i: usize| averaged.iter().any(|a| a.station.abs_diff(i) < 24);
    assert!(near(300) && near(700));
    assert!(!averaged.iter().any(|a| (457..543).contains(&a.station)));
    approx::assert_relative_eq!(piece.measured_length(), 20.0 - 42.0 * STEP_MM, epsilon = 3.0 * STEP_MM);
}

// Source: idealised helix, tan(angle) = pi d T; worked by hand: 30 degrees on a 1 mm strand is 4.668 turns per inch.
#[test]
fn singles_turns_come_from_angle_and_width() {
    let piece = piece(|_| 1.0, 20.0);
    let angle = vec![Some(30.0f64.to_radians()); piece.stations.len()];
    let turns = local_turns(&piece, &twist(angle, Vec::new()), 1);
    approx::assert_relative_eq!(turns[500].unwrap() * 25.4, 4.668, epsilon = 5e-4);
}

// Source: the same identity: the mean of local turns of an uneven strand is not the ratio of means.
#[test]
fn singles_turns_are_a_mean_of_local_ratios() {
    let piece = piece(|at| if at < 10.0 { 1.0 } else { 2.0 }, 20.0);
    let angle = vec![Some(30.0f64.to_radians()); piece.stations.len()];
    let turns = local_turns(&piece, &twist(angle, Vec::new()), 1);
    let known: Vec<f64> = turns.into_iter().flatten().collect();
    let mean = strandrule::base::stats::mean(&known).unwrap() * 25.4;
    approx::assert_relative_eq!(mean, (4.668 + 4.668 / 2.0) / 2.0, max_relative = 0.01);
}

// Source: counting rule of plied yarn (common practice): turns are counted per length of twisted yarn, no take-up.
#[test]
fn plied_turns_are_the_slope_of_the_count() {
    let piece = piece(|_| 1.0, 40.0);
    let counted = piece.stations.iter().map(|s| Some(s.at * 4.0 / 25.4)).collect();
    let turns = local_turns(&piece, &twist(Vec::new(), counted), 2);
    approx::assert_relative_eq!(turns[1000].unwrap() * 25.4, 4.0, epsilon = 1e-9);
    assert_eq!(twist_windows(&piece, &turns, 2, 1.0).len(), 3, "40 mm at 4 turns an inch holds 6.3 turns");
}

fn flat_with(bump: impl Fn(f64) -> f64) -> Vec<AveragedWidth> {
    (0..5000)
        .map(|station| {
            let at = f64::from(station) * STEP_MM;
            let width = 1.0 + bump(at);
            AveragedWidth { station: station as usize, at, width, envelope: width }
        })
        .collect()
}

/// Raised cosine of full length `length` about `middle`.
fn raised(at: f64, middle: f64, length: f64, height: f64) -> f64 {
    let t = (at - middle) / length;
    if t.abs() < 0.5 { height * (1.0 + (std::f64::consts::TAU * t).cos()) / 2.0 } else { 0.0 }
}

// Source: closed form: a raised cosine is beyond half its height over half its length, and its mean there is
// (1/2 + 1/pi) of the height.
#[test]
fn planted_places_are_found_where_they_are() {
    let averaged = flat_with(|at| raised(at, 30.0, 12.0, 0.6) + raised(at, 70.0, 10.0, -0.5));
    let found = find_faults(&averaged, 1.0, &FaultParams::default());
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].kind, FaultKind::Thick);
    approx::assert_relative_eq!(found[0].start, 27.0, epsilon = 0.05);
    approx::assert_relative_eq!(found[0].length, 6.0, epsilon = 0.1);
    let share = 0.5 + 1.0 / std::f64::consts::PI;
    approx::assert_relative_eq!(found[0].deviation, 0.6 * share, epsilon = 0.005);
    assert_eq!(found[1].kind, FaultKind::Thin);
    approx::assert_relative_eq!(found[1].deviation, -0.5 * share, epsilon = 0.005);
}

#[test]
fn short_or_slight_places_are_no_faults() {
    let short = flat_with(|at| raised(at, 30.0, 3.0, 0.6));
    assert!(find_faults(&short, 1.0, &FaultParams::default()).is_empty());
    let slight = flat_with(|at| raised(at, 30.0, 12.0, 0.3));
    assert!(find_faults(&slight, 1.0, &FaultParams::default()).is_empty());
}

#[test]
fn pooled_spread_is_the_root_of_the_weighted_mean_square() {
    let even = flat_with(|_| 0.0);
    let wavy = flat_with(|at| 0.1 * (std::f64::consts::TAU * at / 20.0).sin());
    let one = width_spread(&[(wavy.clone(), 100.0)], 0.0, 0.0).unwrap().cv_percent;
    let both = width_spread(&[(wavy, 100.0), (even, 100.0)], 0.0, 0.0).unwrap().cv_percent;
    approx::assert_relative_eq!(both, one / 2.0f64.sqrt(), max_relative = 1e-6);
    // Source: population of 1.0 and 1.2, divisor n - 1: s = 0.1414, mean 1.1, CV 12.86 %.
    approx::assert_relative_eq!(between_pieces(&[1.0, 1.2]).unwrap().cv_percent, 12.856, epsilon = 1e-3);
    assert!(between_pieces(&[1.0]).is_none());
}
