use super::*;

fn tubes() -> Sample {
    Sample::between(Intervals {
        lo: &[0.0, 1.0, 2.0, 3.0],
        hi: &[1.0, 2.0, 3.0, f64::INFINITY],
        n: &[1, 2, 2, 95],
    })
    .expect("heat-exchanger tubes have a fit")
}

#[test]
fn derivatives_are_those_of_the_value() {
    let data = Intervals {
        lo: &[150.0, 0.0, 100.0, 220.0, 200.0, 300.0],
        hi: &[150.0, 100.0, 200.0, 220.0, 300.0, f64::INFINITY],
        n: &[1, 1, 2, 1, 2, 5],
    };
    let own = Likelihood::of(data);
    let value = |beta, b| own.terms(Point { beta, b }).value;
    for (beta, b) in [(0.7, -0.5), (2.0, 0.3), (5.0, 1.0)] {
        let h = 1e-4;
        let terms = own.terms(Point { beta, b });
        let close = |got: f64, numeric: f64, what: &str| {
            assert!(
                (got - numeric).abs() < 1e-4 * (1.0 + numeric.abs()),
                "{what}: {got} {numeric}"
            );
        };
        close(
            terms.by_beta,
            (value(beta + h, b) - value(beta - h, b)) / (2.0 * h),
            "β",
        );
        close(
            terms.by_b,
            (value(beta, b + h) - value(beta, b - h)) / (2.0 * h),
            "b",
        );
        let second = |dx: f64, dy: f64| {
            (value(beta + dx, b + dy) - 2.0 * value(beta, b) + value(beta - dx, b - dy)) / (h * h)
        };
        close(terms.by_beta_beta, second(h, 0.0), "ββ");
        close(terms.by_b_b, second(0.0, h), "bb");
        let mixed = (second(h, h) - second(h, 0.0) - second(0.0, h)) / 2.0;
        close(terms.by_beta_b, mixed, "βb");
    }
}

#[test]
fn bounds_on_a_quantile_and_on_survival_are_duals() {
    let fit = tubes().fit().expect("it has a fit");
    let b = fit.b_lr(0.1, 0.9, End::Lower).expect("in range");
    let r = fit.r_lr(b, 0.9, End::Lower).expect("in range");
    assert!((r - 0.9).abs() < 1e-9, "{r}");
}

#[test]
fn bounds_contain_the_estimate_and_widen_with_confidence() {
    let fit = tubes().fit().expect("it has a fit");
    let ends = |c: f64| {
        let both = |low: Said<f64>, best: f64, high: Said<f64>| {
            let (low, high) = (low.expect("in range"), high.expect("in range"));
            // At a confidence of one half both ends are the estimate, but for the last digit.
            let close = 1e-12 * best.abs();
            assert!(
                low <= best + close && best - close <= high,
                "{low} {best} {high}"
            );
            [low, -high]
        };
        let b = fit.b(0.1).expect("in range");
        let r = fit.r(2.0).expect("in range");
        [
            both(
                fit.b_fm(0.1, c, End::Lower),
                b,
                fit.b_fm(0.1, c, End::Upper),
            ),
            both(
                fit.b_lr(0.1, c, End::Lower),
                b,
                fit.b_lr(0.1, c, End::Upper),
            ),
            both(
                fit.r_fm(2.0, c, End::Lower),
                r,
                fit.r_fm(2.0, c, End::Upper),
            ),
            both(
                fit.r_lr(2.0, c, End::Lower),
                r,
                fit.r_lr(2.0, c, End::Upper),
            ),
            both(
                fit.beta_fm(c, End::Lower),
                fit.beta(),
                fit.beta_fm(c, End::Upper),
            ),
            both(
                fit.beta_lr(c, End::Lower),
                fit.beta(),
                fit.beta_lr(c, End::Upper),
            ),
        ]
    };
    let all: Vec<_> = [0.5, 0.6, 0.8, 0.9, 0.95, 0.99].map(ends).into();
    for pair in all.windows(2) {
        for (wide, narrow) in pair[1].iter().flatten().zip(pair[0].iter().flatten()) {
            assert!(wide <= narrow, "{wide} {narrow}");
        }
    }
}

#[test]
fn mixed_schedules_with_early_failures_only_run_to_shape_zero_or_not_by_the_mean_of_the_logs() {
    let fit = |failed: f64, whole: f64| {
        Sample::between(Intervals {
            lo: &[0.0, 0.0, whole, 150.0],
            hi: &[failed, 120.0, f64::INFINITY, f64::INFINITY],
            n: &[2, 1, 4, 1],
        })
        .and_then(|own| own.fit())
    };
    assert_eq!(
        fit(80.0, 200.0).map_err(|e| e.code()).err(),
        Some("no_finite_mle")
    );
    let late = fit(400.0, 100.0).expect("failures found later than survivors were seen");
    assert!(late.beta() > 0.0);
}

#[test]
fn the_order_of_the_units_does_not_matter() {
    let one = Sample::timed(&[30.0, 10.0, 50.0], &[true, true, false], &[1, 2, 3]);
    let other = Sample::timed(&[50.0, 30.0, 10.0], &[false, true, true], &[3, 1, 2]);
    let beta = |own: Said<Sample>| own.and_then(|own| own.fit()).expect("a fit").beta();
    assert!((beta(one) - beta(other)).abs() < 1e-12);
}
