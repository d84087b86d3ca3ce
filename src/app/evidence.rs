//! The evidence of legs, in words.

use super::desk::Desk;
use crate::domain::text::counted;
use crate::evidence::coverage::{Coverage, NOMINAL, coverage};
use crate::evidence::leg::{Fate, Leg, Seen};
use crate::evidence::shown::{Evidence, Standing};
use crate::evidence::weibull::{End, Fit};

/// A leg with what its verdicts say.
#[derive(Clone, Debug)]
pub struct LegEvidence {
    /// The leg.
    pub leg: Leg,
    /// What it says.
    pub evidence: Evidence,
}

/// Of every request of the lab, in its order.
pub fn legs(desk: &Desk) -> Vec<LegEvidence> {
    let of = |request| {
        let leg = Leg::of(&desk.lab, &desk.walks, &desk.floor, request);
        let evidence = Evidence::of(&leg);
        LegEvidence { leg, evidence }
    };
    desk.lab.requests.iter().map(of).collect()
}

/// The word of a standing.
pub const fn standing_word(standing: Standing) -> &'static str {
    match standing {
        Standing::NoGoal => "no goal",
        Standing::Shown => "shown",
        Standing::Open => "open",
        Standing::CannotPass => "cannot pass",
    }
}

/// The word of a unit's fate.
pub const fn fate_word(fate: &Fate) -> &'static str {
    match fate {
        Fate::Open => "open",
        Fate::Whole => "whole",
        Fate::Failed { .. } => "failed",
        Fate::Left { .. } => "left",
    }
}

/// A figure with as many digits as mean something: four.
pub fn figure(x: f64) -> String {
    if !x.is_finite() || (x.fract() == 0.0 && x.abs() < 1e15) {
        return x.to_string();
    }
    let size = x.abs().log10().floor();
    if size >= 4.0 {
        return format!("{x:.0}");
    }
    // Between 1e-4 and 1e4 the number of decimals is small; what is smaller is told with an exponent.
    match (0..8_u8).find(|decimals| f64::from(*decimals) >= 3.0 - size) {
        Some(decimals) => format!("{x:.0$}", usize::from(decimals)),
        None => format!("{x:.3e}"),
    }
}

/// A fraction in percent, as it was meant: 0.1 is 10 although 1 − 0.9 is a little less.
pub fn percent(fraction: f64) -> String {
    ((fraction * 1e8).round() / 1e6).to_string()
}

/// A reliability: never rounded up to 1.
pub fn reliability(r: f64) -> String {
    format!("{:.4}", (r * 1e4).floor() / 1e4)
}

/// The fraction failed that a leg's B time is told for.
pub fn told_fraction(leg: &Leg) -> f64 {
    leg.request
        .show
        .as_ref()
        .map_or(0.1, |show| 1.0 - show.reliability)
}

impl LegEvidence {
    /// Everything in sentences, most important first.
    pub fn lines(&self) -> Vec<String> {
        let mut lines = vec![self.head()];
        lines.extend(self.shown_lines());
        lines.extend(self.goal_lines());
        lines.extend(self.fit_lines());
        lines.extend(self.turnbull_line());
        lines.extend(self.leg.units.iter().filter_map(left_line));
        lines
    }

    /// The four sentences that matter most: what is shown, against which goal, the B time of the fit or why there
    /// is none, and how honest its bounds are or what remains.
    pub fn brief(&self) -> Vec<String> {
        let shown = self.shown_lines().into_iter().last();
        let mut goal = self.goal_lines().into_iter();
        let mut brief: Vec<String> = shown.into_iter().chain(goal.next()).collect();
        match &self.evidence.fit {
            Ok(fit) => {
                brief.extend(self.fitted_lines(fit).into_iter().take(2));
                brief.extend(self.honesty());
            }
            Err(why) => {
                brief.push(why.to_string());
                brief.extend(goal.next());
            }
        }
        brief
    }

    fn head(&self) -> String {
        let request = &self.leg.request;
        let (mission, unit) = (self.leg.mission(), self.leg.axis.unit.word());
        let agreed = request
            .show
            .as_ref()
            .is_some_and(|show| show.mission.is_some());
        let counts = self.evidence.counts;
        format!(
            "{} {} {} {}, {}; a mission is {} {unit}{}: failed {}, survived {}, open {}, left {}",
            request.id,
            request.product,
            request.build,
            request.sequence,
            counted(request.units.len(), "unit", "units"),
            figure(mission),
            if agreed { "" } else { ", the whole walk" },
            counts.failed,
            counts.survived,
            counts.open,
            counts.left
        )
    }

    fn shown_lines(&self) -> Vec<String> {
        let own = &self.evidence;
        let at = percent(own.confidence);
        let mut lines = vec![match own.by_units {
            Some(shown) => format!(
                "shown by pass and fail: reliability {} at one-sided confidence {at} % ({} of {} failed, exact)",
                reliability(shown),
                own.counts.failed,
                own.counts.decided()
            ),
            None => "no unit has finished a mission or failed in it yet: nothing is shown by pass and fail".to_owned(),
        }];
        if let [(shape, shown), others @ ..] = &own.by_shape[..] {
            let others: Vec<String> = others
                .iter()
                .map(|(shape, shown)| format!("{} with {shape}", reliability(*shown)))
                .collect();
            lines.push(format!(
                "shown with the assumed shape {shape}: reliability {}; {}",
                reliability(*shown),
                others.join(", ")
            ));
        }
        lines
    }

    fn goal_lines(&self) -> Vec<String> {
        let own = &self.evidence;
        let Some(show) = &self.leg.request.show else {
            return vec!["no goal was agreed: give the request a `show`".to_owned()];
        };
        let mut goal = format!(
            "goal {} at {} %, {} allowed: {}",
            show.reliability,
            percent(show.confidence),
            counted(show.failures, "failure", "failures"),
            own.spares
                .map_or(standing_word(own.standing).to_owned(), |units| {
                    format!("not with these units, {units} spare wanted")
                })
        );
        if let Some(confidence) = own.confidence_in_goal {
            goal.push_str(&format!(
                "; confidence in it by pass and fail {:.1} %",
                confidence * 100.0
            ));
        }
        let mut lines = vec![goal];
        if own.standing == Standing::Open {
            if let Some(units) = own.remains.clean_units {
                lines.push(format!(
                    "remains: {} through a mission without a failure",
                    counted(units, "more unit", "more units")
                ));
            }
            if let Some(life) = own.remains.life_each {
                let unit = self.leg.axis.unit.word();
                lines.push(format!(
                    "or {} more {unit} on each unit that goes on, without a failure",
                    figure(life)
                ));
            }
        }
        if let Some(sequential) = own.sequential {
            lines.push(format!(
                "sequential rule: {}; it ends at {}, where {} (its risks then move a little)",
                sequential.decision.word(),
                counted(sequential.most_units, "unit", "units"),
                counted(sequential.accepts, "failure accepts", "failures accept")
            ));
        }
        lines
    }

    fn fit_lines(&self) -> Vec<String> {
        match &self.evidence.fit {
            Ok(fit) => self.fitted_lines(fit),
            Err(why) => vec![why.to_string()],
        }
    }

    fn fitted_lines(&self, fit: &Fit) -> Vec<String> {
        let (c, p) = (self.evidence.confidence, told_fraction(&self.leg));
        let unit = self.leg.axis.unit.word();
        // Arguments that come from a fit and a checked goal are always in range.
        let told = |x: Result<f64, _>| {
            x.map_or_else(|_: crate::evidence::CannotSay| "-".to_owned(), figure)
        };
        let at = percent(c);
        let b = format!(
            "B{} {} {unit}; lower {at} % {} by likelihood ratio, {} by Fisher",
            percent(p),
            told(fit.b(p)),
            told(fit.b_lr(p, c, End::Lower)),
            told(fit.b_fm(p, c, End::Lower))
        );
        // Who failed after the mission has survived it, and is a failure to the fit all the same.
        let after = match fit.failures.saturating_sub(self.evidence.counts.failed) {
            0 => String::new(),
            after if after == fit.failures => " after the mission".to_owned(),
            after => format!(" ({after} after the mission)"),
        };
        let shape = format!(
            "Weibull fit of {}, {} failed{after}: shape {} ({} to {}), scale {} {unit}",
            counted(fit.units, "unit", "units"),
            fit.failures,
            figure(fit.beta()),
            told(fit.beta_lr(c, End::Lower)),
            told(fit.beta_lr(c, End::Upper)),
            figure(fit.eta())
        );
        let mission = self.leg.mission();
        let rounded = |x: Result<f64, _>| {
            x.map_or_else(|_: crate::evidence::CannotSay| "-".to_owned(), reliability)
        };
        let r = format!(
            "by the fit {} survive a mission; lower {at} % {} by likelihood ratio, {} by Fisher",
            rounded(fit.r(mission)),
            rounded(fit.r_lr(mission, c, End::Lower)),
            rounded(fit.r_fm(mission, c, End::Lower))
        );
        let mut lines = vec![shape, b, r];
        lines.extend(self.honesty());
        lines
    }

    /// How often bounds on B10 held in simulated legs like this one, where there is a fit and one of them held
    /// less often than it says.
    pub fn short_coverage(&self) -> Option<Coverage> {
        self.evidence.fit.as_ref().ok()?;
        let checks = self
            .leg
            .axis
            .checkpoints()
            .filter(|(_, life)| *life > 0.0)
            .count() as u64;
        let cell = coverage(self.leg.units.len() as u64, checks);
        (cell.likelihood_ratio.min(cell.fisher) < NOMINAL).then_some(cell)
    }

    /// The same in words.
    fn honesty(&self) -> Option<String> {
        let cell = self.short_coverage()?;
        Some(format!(
            "small sample: {NOMINAL} % bounds on B10 held {} (likelihood ratio), {} (Fisher) times of 100 in simulated legs of {} units at {} checks; the bound by pass and fail is exact",
            cell.likelihood_ratio, cell.fisher, cell.units, cell.checks
        ))
    }

    /// The fraction surviving at each check by Turnbull's estimate; a range where only ends are known.
    fn turnbull_line(&self) -> Option<String> {
        let fit = self.evidence.turnbull.as_ref()?;
        let unit = self.leg.axis.unit.word();
        let steps: Vec<String> = self
            .leg
            .inspections()
            .into_iter()
            .map(|life| {
                let (least, most) = fit.survival(life);
                let told = if most - least > 1e-9 {
                    format!("{least:.3} to {most:.3}")
                } else {
                    format!("{most:.3}")
                };
                format!("{told} at {}", figure(life))
            })
            .collect();
        (!steps.is_empty()).then(|| {
            format!(
                "surviving without a distribution: {} {unit}",
                steps.join(", ")
            )
        })
    }
}

fn left_line(own: &Seen) -> Option<String> {
    match &own.fate {
        Fate::Left { why } => Some(format!(
            "{} counts up to {}: {why}",
            own.unit,
            figure(own.good_at)
        )),
        Fate::Failed { by, reason } => Some(format!(
            "{} failed between {} and {}: {reason}",
            own.unit,
            figure(own.good_at),
            figure(*by)
        )),
        Fate::Open | Fate::Whole => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_have_four_digits_that_mean_something() {
        for (x, text) in [
            (180_057.84, "180058"),
            (2.674_216, "2.674"),
            (15.757_7, "15.76"),
            (0.095, "0.09500"),
            (0.0, "0"),
            (1234.5, "1234"),
            (f64::INFINITY, "inf"),
            (1e-9, "1.000e-9"),
        ] {
            assert_eq!(figure(x), text);
        }
        assert_eq!(reliability(0.999_99), "0.9999");
        assert_eq!(
            (percent(1.0 - 0.9), percent(0.025)),
            ("10".to_owned(), "2.5".to_owned())
        );
        assert_eq!(figure(300.0), "300");
    }
}
