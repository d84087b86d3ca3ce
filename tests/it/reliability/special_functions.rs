//! How good the special functions are, measured against 40-digit arithmetic.

use rigday::evidence::special::{self, Share};

fn said(function: &str, inputs: &[f64]) -> f64 {
    let whole = |x: f64| x.to_string().parse().expect("a whole number");
    match (function, inputs) {
        ("normal_quantile", [c]) => special::normal_quantile(*c),
        ("ln_gamma", [x]) => special::ln_gamma(*x),
        ("beta_quantile", [c, a, b]) => special::beta_quantile(*c, *a, *b),
        ("poisson_mean", [k, p]) => special::poisson_mean(whole(*k), Share::of(*p)),
        ("good_where_at_most", [k, n, p]) => {
            special::good_where_at_most(whole(*k), whole(*n), Share::of(*p))
        }
        _ => panic!("no function {function} of {inputs:?}"),
    }
}

#[test]
fn special_functions_are_good_to_eleven_digits() {
    let text = include_str!("../../data/reliability/special-functions.csv");
    let mut wrong = Vec::new();
    let mut rows = 0;
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let mut parts = line.split(',');
        let mut next = || parts.next().expect("three columns");
        let (function, inputs, value) = (next(), next(), next());
        let inputs: Vec<f64> = inputs
            .split(';')
            .map(|own| own.parse().expect("a number"))
            .collect();
        let value: f64 = value.parse().expect("a number");
        let got = said(function, &inputs);
        let off = (got - value).abs() / value.abs().max(1e-300);
        if off > 1e-11 && (got - value).abs() > 1e-15 {
            wrong.push(format!(
                "{function} {inputs:?}: {got}, {value} is right, off by {off:e}"
            ));
        }
        rows += 1;
    }
    assert!(rows > 40);
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
