//! What a mission in the test is, from use in the field and from how much faster the test ages, with what is
//! assumed on the way.

use crate::evidence::calc::{self, Value};
use crate::evidence::duty::{cycle_target, usage_percentile};

/// Use in the field, from which a mission follows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldUse {
    /// Cycles or hours a day; the median where `p95` is given.
    pub per_day: f64,
    /// Years in the field.
    pub years: f64,
    /// Days of use a year.
    pub days_per_year: f64,
    /// Use a day that 95 of 100 users stay below.
    pub p95: Option<f64>,
    /// The user to design for, where `p95` is given: strictly between 0 and 1.
    pub percentile: f64,
    /// A margin that was agreed; it is not a confidence.
    pub margin: f64,
}

/// Why no mission follows.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoMission {
    /// The acceleration is none.
    #[error("{0}")]
    Acceleration(String),
    /// A number of the use in the field is out of range.
    #[error("{0}")]
    Field(String),
    /// An acceleration without anything that it applies to.
    #[error("an acceleration needs a mission or use in the field to apply to")]
    Nothing,
}

/// Acceleration above which nobody should believe a test without more.
const DOUBTFUL: f64 = 100.0;

/// How much faster the test ages by a function of `rigday calc` with its inputs, such as
/// `af_arrhenius ea=0.7 t_use=25 t_test=85`; what it assumes, and how much it hangs on its energy, become lines.
///
/// # Errors
/// Where the text is no acceleration factor, or its inputs are out of range.
pub fn acceleration(text: &str, lines: &mut Vec<String>) -> Result<f64, NoMission> {
    let wrong = |why: String| NoMission::Acceleration(why);
    let mut words = text.split_whitespace();
    let name = words.next().unwrap_or_default();
    let function = calc::function(name).map_err(|fault| wrong(fault.to_string()))?;
    if !name.starts_with("af_") {
        return Err(wrong(format!(
            "{name} is no acceleration factor; those begin with af_"
        )));
    }
    let inputs: Vec<&str> = words.collect();
    let factor = |inputs: &[&str]| match calc::value(function, inputs.iter().copied()) {
        Ok(Value::Number(own)) if own > 0.0 && own.is_finite() => Ok(own),
        Ok(other) => Err(wrong(format!("{other} is no factor"))),
        Err(fault) => Err(wrong(fault.to_string())),
    };
    let own = factor(&inputs)?;
    lines.push(format!(
        "acceleration {own:.4} by {name} {}: {}",
        inputs.join(" "),
        function.meaning
    ));
    lines.push("assumed: one mechanism in test and use; no glass transition, melting or condensation between".to_owned());
    let energy = inputs.iter().position(|input| input.starts_with("ea="));
    if let Some(at) = energy
        && let Ok(ea) = inputs[at][3..].parse::<f64>()
    {
        for other in [ea - 0.1, ea + 0.1] {
            let input = format!("ea={other}");
            let mut inputs = inputs.clone();
            inputs[at] = &input;
            lines.push(format!(
                "were Ea {other:.2} eV, it would be {:.4}",
                factor(&inputs)?
            ));
        }
    }
    if own > DOUBTFUL {
        lines.push(format!(
            "warning: a factor above {DOUBTFUL} is seldom true over the whole way"
        ));
    }
    if own < 1.0 {
        lines.push("warning: the test is gentler than use".to_owned());
    }
    Ok(own)
}

/// One mission in the test: as given, or from use in the field, divided by the acceleration; nothing where the
/// whole walk is one. What it rests on becomes lines.
///
/// # Errors
/// Where a number is out of range, or an acceleration has nothing to apply to.
pub fn mission(
    given: Option<f64>,
    field: Option<&FieldUse>,
    accelerated: Option<&str>,
    lines: &mut Vec<String>,
) -> Result<Option<f64>, NoMission> {
    let factor = match accelerated {
        Some(text) => acceleration(text, lines)?,
        None => 1.0,
    };
    let Some(field) = field else {
        if accelerated.is_some() && given.is_none() {
            return Err(NoMission::Nothing);
        }
        return Ok(given.map(|own| own / factor));
    };
    let cannot = |why: crate::evidence::CannotSay| NoMission::Field(why.to_string());
    let severe = match field.p95 {
        Some(p95) => {
            let own = usage_percentile(field.per_day, p95, field.percentile).map_err(cannot)?;
            lines.push(format!(
                "the user at percentile {}: {own:.2} a day (median {}, 95th {p95}, lognormal)",
                field.percentile, field.per_day
            ));
            own
        }
        None => field.per_day,
    };
    let target = cycle_target(severe, field.days_per_year, field.years, field.margin);
    let target = target.map_err(cannot)?;
    let in_test = (target as f64 / factor).ceil();
    lines.push(format!(
        "{severe:.2} a day, {} days a year, {} years, margin {}: {target} in the field, {in_test:.0} in the test",
        field.days_per_year, field.years, field.margin,
    ));
    Ok(Some(in_test))
}

#[cfg(test)]
mod tests {
    use super::*;

    const BUTTON: FieldUse = FieldUse {
        per_day: 40.0,
        years: 5.0,
        days_per_year: 250.0,
        p95: None,
        percentile: 0.95,
        margin: 1.0,
    };

    fn found(
        given: Option<f64>,
        field: Option<&FieldUse>,
        text: Option<&str>,
    ) -> (Option<f64>, String) {
        let mut lines = Vec::new();
        let own = mission(given, field, text, &mut lines).expect("in range");
        (own, lines.join("\n"))
    }

    #[test]
    fn presses_a_day_over_years_make_a_mission_for_the_user_who_presses_most() {
        assert_eq!(found(None, Some(&BUTTON), None).0, Some(50_000.0));
        let severe = FieldUse {
            p95: Some(90.0),
            ..BUTTON
        };
        let (own, words) = found(None, Some(&severe), None);
        assert_eq!(own, Some(112_500.0));
        assert!(
            words.contains("percentile 0.95: 90.00 a day (median 40"),
            "{words}"
        );
    }

    #[test]
    fn every_model_divides_the_mission_and_says_what_it_assumes() {
        // Values of the worked vectors' own formulas, in a few figures.
        for (text, factor) in [
            ("af_power n=3 s_use=10 s_test=20", 8.0),
            ("af_coffin_manson n=2 dt_use=50 dt_test=100", 4.0),
            (
                "af_peck n=3 ea=0 t_use=40 t_test=85 rh_use=40 rh_test=80",
                8.0,
            ),
            ("af_arrhenius ea=0.7 t_use=55 t_test=55", 1.0),
            (
                "af_norris_landzberg n=2 m=0 e_k=0 dt_use=50 dt_test=100 f_use=2 f_test=20 tmax_use=60 tmax_test=100",
                4.0,
            ),
        ] {
            let (own, words) = found(Some(8000.0), None, Some(text));
            assert!(
                (own.expect("a mission") - 8000.0 / factor).abs() < 1e-6,
                "{text}: {own:?}"
            );
            assert!(
                words.contains("assumed: one mechanism in test and use"),
                "{words}"
            );
        }
        let (_, words) = found(
            None,
            Some(&BUTTON),
            Some("af_arrhenius ea=0.7 t_use=25 t_test=85"),
        );
        assert!(
            words.contains("were Ea 0.60 eV") && words.contains("were Ea 0.80 eV"),
            "{words}"
        );
    }

    #[test]
    fn what_is_no_acceleration_or_applies_to_nothing_is_said() {
        let fault = |given, text| mission(given, None, Some(text), &mut Vec::new());
        assert_eq!(
            fault(None, "af_power n=2 s_use=1 s_test=2"),
            Err(NoMission::Nothing)
        );
        for text in [
            "",
            "warm",
            "chi2_quantile p=0.9 df=2",
            "af_power n=2 s_use=0 s_test=2",
            "af_power n=2",
        ] {
            assert!(
                matches!(fault(Some(5.0), text), Err(NoMission::Acceleration(_))),
                "{text}"
            );
        }
    }
}
