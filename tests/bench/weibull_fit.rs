//! How long a fit takes: `cargo bench --bench weibull_fit`. In `cargo test` it runs once, small.

use rigday::clock::{Clock, SystemClock};
use rigday::evidence::turnbull::{Intervals, Turnbull};
use rigday::evidence::weibull::{End, Sample};

/// Lives of shape 2 and scale 1 at even fractions, in random-looking order: no two alike.
fn lives(units: u32) -> Vec<f64> {
    let place = |unit: u32| f64::from((unit * 7919) % units) + 0.5;
    (0..units)
        .map(|unit| (-(place(unit) / f64::from(units)).ln()).sqrt())
        .collect()
}

#[expect(clippy::print_stdout, reason = "a bench tells what it measured")]
fn measure(name: &str, times: u32, mut work: impl FnMut() -> f64) {
    let clock = SystemClock::default();
    let begun = clock.elapsed();
    let mut last = 0.0;
    for _ in 0..times {
        last = work();
    }
    let each = clock.elapsed().saturating_sub(begun).as_secs_f64() * 1e3 / f64::from(times);
    println!("{name}: {each:.3} ms, answer {last:.6}");
}

fn main() {
    let times = if cfg!(debug_assertions) { 1 } else { 100 };
    let units = 1000;
    let lives = lives(units);
    let failed: Vec<bool> = lives.iter().map(|life| *life < 1.2).collect();
    let seen: Vec<f64> = lives.iter().map(|life| life.min(1.2)).collect();
    let n = vec![1; lives.len()];
    let exact = || {
        Sample::timed(&seen, &failed, &n)
            .and_then(|own| own.fit())
            .expect("it has a fit")
    };
    measure("fit of 1000 exact times", times, || exact().beta());
    let fit = exact();
    measure("likelihood-ratio bound of it", times, || {
        fit.b_lr(0.1, 0.9, End::Lower).expect("in range")
    });
    // Everybody has checks of their own: no two intervals are alike.
    let lo: Vec<f64> = lives.iter().map(|life| life * 0.9).collect();
    let hi: Vec<f64> = lives
        .iter()
        .zip(&failed)
        .map(|(life, failed)| if *failed { life * 1.1 } else { f64::INFINITY })
        .collect();
    let data = Intervals {
        lo: &lo,
        hi: &hi,
        n: &n,
    };
    let between = || {
        Sample::between(data)
            .and_then(|own| own.fit())
            .expect("it has a fit")
    };
    measure("fit of 1000 different intervals", times, || {
        between().beta()
    });
    let fit = between();
    measure("likelihood-ratio bound of it", times, || {
        fit.b_lr(0.1, 0.9, End::Lower).expect("in range")
    });
    measure(
        "Turnbull's estimate of 1000 different intervals",
        times.min(3),
        || Turnbull::fit(data).expect("it settles").survival(0.5).1,
    );
}
