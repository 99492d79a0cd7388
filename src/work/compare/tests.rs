use approx::assert_relative_eq;

use super::*;
use crate::figures::Method;
use crate::figures::report::TwistDirection;
use crate::work::testing::{measured, report};

fn sample(name: &str, change: impl Fn(&mut Sample)) -> (String, Vec<Report>) {
    let mut r = report(name);
    change(&mut r.sample);
    (name.to_owned(), vec![r])
}

fn of(comparison: &Comparison, figure: Figure) -> &Difference {
    comparison.differences.iter().find(|d| d.figure == figure).unwrap()
}

#[test]
fn a_difference_beyond_its_uncertainty_is_real_and_one_within_is_not() {
    let made = compare(&[
        sample("A", |s| s.diameter_mm = measured(2.0, 0.02)),
        sample("B", |s| {
            s.diameter_mm = measured(2.2, 0.02);
            s.hairiness = measured(0.12, 0.02);
        }),
    ]);
    let d = of(&made, Figure::DiameterMm);
    assert_eq!(d.verdict, Verdict::Different);
    // Two standard uncertainties of 0.02 in squares: 1.96 x 0.0283 = 0.055.
    assert_relative_eq!(d.interval95[0], 0.2 - 0.0554, epsilon = 1e-4);
    assert_relative_eq!(d.percent.unwrap(), 10.0, epsilon = 1e-9);
    assert_eq!(of(&made, Figure::Hairiness).verdict, Verdict::NotTold);
    assert!(made.sentences.iter().any(|s| s.starts_with("B is thicker than A by 0.20")), "{:?}", made.sentences);
}

// Source: Holm, Scandinavian Journal of Statistics 6 (1979) 65: of eight questions a probability of 0.03 is no finding; 2.2
// standard uncertainties are one of 0.028.
#[test]
fn of_many_questions_one_difference_may_be_chance_and_the_words_say_so() {
    let made = compare(&[
        sample("A", |s| {
            s.diameter_mm = measured(2.0, 0.02);
            s.hairiness = measured(0.10, 0.02);
        }),
        sample("B", |s| {
            s.diameter_mm = measured(2.0 + 2.2 * 0.02 * 2f64.sqrt(), 0.02);
            s.hairiness = measured(0.10, 0.02);
        }),
    ]);
    let d = of(&made, Figure::DiameterMm);
    assert!(d.interval95[0] > 0.0 && d.verdict == Verdict::NotTold, "{d:?}");
    let told = made.sentences.iter().find(|s| s.contains("in diameter")).unwrap();
    let questions = format!("of {} differences looked at, one such may be chance", made.differences.len());
    assert!(told.contains("taken alone") && told.contains(&questions), "{told}");
    let plain = made.sentences.iter().find(|s| s.contains("in hairiness")).unwrap();
    assert!(!plain.contains("taken alone"), "{plain}");
}

// Source: normal theory of the mean (readings needed = (1.96 CV / x)^2): nine passes that vary by 15 % know their mean
// to 10 %, so means 5 % apart must not be called different, however sure each photo is of what it saw.
#[test]
fn passes_that_vary_do_not_make_a_difference() {
    let varied = |d: f64| {
        move |s: &mut Sample| {
            s.diameter_mm = measured(d, 0.001);
            s.strands = 9;
            s.evenness.between_strands_cv_percent = measured(15.0, 1.0);
        }
    };
    let made = compare(&[sample("A", varied(2.0)), sample("B", varied(2.1))]);
    assert_eq!(of(&made, Figure::DiameterMm).verdict, Verdict::NotTold);
    let far = compare(&[sample("A", varied(2.0)), sample("B", varied(2.8))]);
    assert_eq!(of(&far, Figure::DiameterMm).verdict, Verdict::Different);
}

// Source: Holm's step-down procedure worked by hand: p = 0.01, 0.02, 0.04 of three become 0.03, 0.04, 0.04.
#[test]
fn many_questions_make_each_answer_more_careful() {
    let with = |p: f64| Difference {
        first: "A".to_owned(),
        second: "B".to_owned(),
        figure: Figure::DiameterMm,
        difference: 1.0,
        interval95: [0.0, 2.0],
        percent: None,
        p_corrected: p,
        verdict: Verdict::NotTold,
    };
    let mut three = [with(0.04), with(0.01), with(0.02)];
    correct(&mut three);
    let p: Vec<f64> = three.iter().map(|d| d.p_corrected).collect();
    for (p, expected) in p.iter().zip([0.04, 0.03, 0.04]) {
        assert_relative_eq!(*p, expected, epsilon = 1e-12);
    }
}

#[test]
fn equal_yarns_are_called_different_less_than_once_in_twenty_comparisons() {
    // Two hundred comparisons of two measurements of the same yarn, errors drawn as their intervals say.
    let mut state = 1u64;
    let mut draw = || {
        // Sum of twelve uniform numbers: mean 6, standard deviation 1 (Lehmer generator, fixed seed).
        (0..12)
            .map(|_| {
                state = state * 48_271 % 2_147_483_647;
                state as f64 / 2_147_483_647.0
            })
            .sum::<f64>()
            - 6.0
    };
    let mut false_alarms = 0;
    for _ in 0..200 {
        let mut one = |name: &str| {
            let (d, t, a, f) = (draw(), draw(), draw(), draw());
            sample(name, |s| {
                s.diameter_mm = measured(2.0 + 0.05 * d, 0.05);
                s.twists_per_inch = measured(4.0 + 0.3 * t, 0.3);
                s.twist_angle_deg = measured(26.0 + a, 1.0);
                s.fibre_angle_deg = measured(2.0 * f, 2.0);
            })
        };
        let made = compare(&[one("A"), one("B")]);
        if made.differences.iter().any(|d| d.verdict == Verdict::Different) {
            false_alarms += 1;
        }
    }
    // 5 % of 200 is 10; 18 is beyond its 99th percentile.
    assert!(false_alarms < 18, "{false_alarms} of 200");
}

#[test]
fn singles_beside_their_ply_tell_the_balance() {
    let made = compare(&[
        sample("singles", |s| {
            s.plies = Quantity::likely(1, 0.99, Method::Combined);
            s.twist_direction = Quantity::likely(TwistDirection::Z, 0.99, Method::LineAngle);
            s.twists_per_inch = measured(9.0, 0.1);
        }),
        sample("plied", |s| s.twists_per_inch = measured(6.0, 0.1)),
    ]);
    assert!(
        made.sentences.iter().any(|s| s.contains("67 % of the singles'") && s.ends_with(": balanced.")),
        "{:?}",
        made.sentences
    );
    assert!(made.sentences.iter().any(|s| s.contains("singles is twisted Z, plied S")));
}

/// The sentence on balance for singles of 9 turns beside a ply of `turns` +- 1.96 `u` whose fibres lie at `fibres` degrees.
fn balance_of(turns: f64, u: f64, fibres: f64) -> String {
    let singles = sample("singles", |s| {
        s.plies = Quantity::likely(1, 0.99, Method::Combined);
        s.twist_direction = Quantity::likely(TwistDirection::Z, 0.99, Method::LineAngle);
        s.twists_per_inch = measured(9.0, 0.1);
    });
    let plied = sample("plied", |s| {
        s.twists_per_inch = measured(turns, u);
        s.fibre_angle_deg = measured(fibres, 2.0);
    });
    compare(&[singles, plied]).sentences.into_iter().find(|s| s.contains("was plied from")).expect("a sentence")
}

#[test]
fn a_ply_is_called_balanced_only_where_its_intervals_support_it() {
    assert!(balance_of(6.0, 0.5, 0.0).contains("too wide a range"), "56 to 79 % reaches beyond 73 %");
    assert!(balance_of(8.5, 0.1, 20.0).ends_with(": overplied."));
    // The surface fibres of an overplied yarn lean the way it is plied; these lie along it.
    let both = balance_of(8.5, 0.1, 0.0);
    assert!(both.contains("overplied by that, but its surface fibres look balanced"), "{both}");
}

// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals chart of ten flow rates: mean 50.81, mean
// moving range 1.8778, limits 45.8 and 55.8 (the handbook rounds the range and uses 3/1.128).
#[test]
fn control_limits_of_single_values() {
    let lots: Vec<(String, Vec<Report>)> = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
        .into_iter()
        .enumerate()
        .map(|(i, v)| sample(&format!("lot {i}"), |s| s.twist_angle_deg = measured(v, 0.1)))
        .collect();
    let chart = control(&compare(&lots), Figure::TwistAngleDeg);
    let limits = chart.limits.unwrap();
    assert_relative_eq!(limits.centre, 50.81, epsilon = 1e-9);
    assert_relative_eq!(limits.high, 55.8041, epsilon = 0.01);
    assert_relative_eq!(limits.low, 45.8159, epsilon = 0.01);
    assert!(chart.beyond.is_empty());
    let drawn = svg(&chart);
    assert!(drawn.contains("<title") && drawn.matches("<circle").count() == 10);
}

#[test]
fn a_lot_beyond_the_limits_and_a_run_on_one_side_are_told() {
    let lots = |values: &[f64]| -> Vec<(String, Vec<Report>)> {
        values
            .iter()
            .enumerate()
            .map(|(i, v)| sample(&format!("lot {i}"), |s| s.diameter_mm = measured(*v, 0.001)))
            .collect()
    };
    let spike = control(&compare(&lots(&[2.0, 2.01, 2.0, 2.01, 2.0, 2.01, 2.0, 2.01, 2.0, 2.5])), Figure::DiameterMm);
    assert_eq!(spike.beyond, [9]);
    let mut step = vec![2.0, 2.01, 2.0, 2.01, 2.0, 2.01, 2.0, 2.01];
    step.extend(step.clone().iter().map(|v| v + 0.02));
    assert_eq!(control(&compare(&lots(&step)), Figure::DiameterMm).shift, Some(0));
    assert!(control(&compare(&lots(&[2.0, 2.1])), Figure::DiameterMm).limits.is_none());
}

#[test]
fn names_are_escaped_in_the_chart() {
    let lots: Vec<_> = (0..3).map(|i| sample(&format!("<b>{i}\u{1b}\u{0}"), |_| {})).collect();
    let drawn = svg(&control(&compare(&lots), Figure::DiameterMm));
    assert!(!drawn.contains("<b>") && drawn.contains("&lt;b&gt;0"));
    // Source: XML 1.0, 2.2: control characters but tab and line ends are no characters of a document.
    assert!(!drawn.contains(|c: char| c < ' ' && !matches!(c, '\t' | '\n' | '\r')));
}

// JCGM 100: a result without an uncertainty supports no comparison.
#[test]
fn a_figure_without_uncertainty_decides_nothing() {
    let none = |v| Quantity::with_interval(v, [v, v], Method::AlongStrand, Vec::new());
    let made = compare(&[
        sample("A", |s| s.evenness.diameter_cv_percent = none(0.0)),
        sample("B", |s| s.evenness.diameter_cv_percent = measured(3.0, 0.1)),
    ]);
    assert!(made.differences.iter().all(|d| d.figure != Figure::DiameterCvPercent));
}
