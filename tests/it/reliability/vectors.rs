//! Every worked value of the table, each within its own tolerance. The source of each stands in its row.

use rigday::evidence::calc::{self, Value};

/// A line of comma-separated values, with text in double quotes kept whole.
fn cells(line: &str) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => cells.push(String::new()),
            _ => cells.last_mut().expect("never empty").push(letter),
        }
    }
    cells
}

/// True where `got` is what is expected, within the tolerance.
fn agrees(got: &str, expected: &str, tolerance: &str) -> bool {
    let (Ok(number), Ok(right)) = (got.parse::<f64>(), expected.parse::<f64>()) else {
        return got == expected;
    };
    let off = (number - right).abs();
    match tolerance
        .split_once(':')
        .map(|(kind, size)| (kind, size.parse::<f64>()))
    {
        _ if got == expected || off == 0.0 => true,
        _ if number.is_infinite() || right.is_infinite() => false,
        Some(("rel", Ok(size))) if right != 0.0 => off <= size * right.abs(),
        Some(("rel", Ok(_))) => off <= 1e-12,
        Some(("abs", Ok(size))) => off <= size,
        _ => false,
    }
}

#[test]
fn every_worked_value_is_met() {
    let text = include_str!("../../data/reliability/vectors.csv");
    let mut wrong = Vec::new();
    let mut rows = 0;
    for line in text.lines().skip(1) {
        let cells = cells(line);
        let [function, inputs, expected, tolerance, source, _] = &cells[..] else {
            panic!("six columns: {line}");
        };
        let got = match calc::row(function, inputs) {
            Ok(value) => value.to_string(),
            Err(fault) => format!("error:{}", fault.code()),
        };
        rows += 1;
        if !agrees(&got, expected, tolerance) {
            wrong.push(format!("{function} {inputs}\n  got {got}, expected {expected} ({tolerance})\n  source: {source}"));
        }
    }
    // Those of the handbook, and more at the ends of the ranges.
    assert_eq!(rows, 484 + 31);
    assert!(
        wrong.is_empty(),
        "{} of {rows} are off:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

#[test]
fn a_value_that_is_off_would_be_found() {
    assert!(agrees("22", "22", "exact") && !agrees("23", "22", "exact"));
    assert!(agrees("1.0000000001", "1", "rel:1e-9") && !agrees("1.00000001", "1", "rel:1e-9"));
    assert!(agrees("1e-13", "0", "rel:1e-9") && !agrees("1e-6", "0", "rel:1e-9"));
    assert!(agrees("inf", "inf", "rel:1e-9") && !agrees("5", "inf", "rel:1e-9"));
    assert!(!agrees("error:no_failures", "error:no_finite_mle", "exact"));
}

/// The value of a function, as a number.
fn number(function: &str, inputs: &str) -> f64 {
    match calc::row(function, inputs) {
        Ok(Value::Number(own)) => own,
        other => panic!("{function} {inputs}: {other:?}"),
    }
}

#[test]
fn closed_forms_that_no_row_has() {
    // One parameter more than the rows: a plan's own points, a mean of a shape of 1, two checks.
    let close =
        |got: f64, right: f64| assert!((got - right).abs() < 1e-9 * right.abs(), "{got} {right}");
    let n = 40;
    for k in 0..6 {
        let p = number("quality_at_pa", &format!("n={n};c={k};pa=0.3"));
        close(
            number("oc_binomial", &format!("n={n};c={k};p={p:.17}")),
            0.3,
        );
        let r = number("cp_lower", &format!("n={n};k={k};c=0.8"));
        close(
            number("demonstrated_confidence", &format!("n={n};k={k};r={r:.17}")),
            0.8,
        );
        let l = number("weibayes_l", &format!("r=0.95;c=0.8;beta=1.7;n={n};k={k}"));
        close(
            number(
                "weibayes_r",
                &format!("n={n};k={k};c=0.8;beta=1.7;l={l:.17}"),
            ),
            0.95,
        );
        let time = number("mtbf_test_time", &format!("mtbf=70;r={k};c=0.8"));
        close(
            number("mtbf_lower", &format!("t={time:.17};r={k};c=0.8;end=time")),
            70.0,
        );
    }
    for (first, second) in [(0.1_f64, 0.3_f64), (0.4, 0.9), (0.02, 0.04)] {
        let counts = [
            first * 100.0,
            (second - first) * 100.0,
            (1.0 - second) * 100.0,
        ]
        .map(f64::round);
        let data = format!(
            "lo=0|50|80;hi=50|80|inf;n={}|{}|{}",
            counts[0], counts[1], counts[2]
        );
        let beta = ((-second).ln_1p() / (-first).ln_1p()).ln() / (80.0_f64 / 50.0).ln();
        close(number("weibull_int_beta", &data), beta);
    }
}
