//! How many units, for how long: a leg planned from what it is to show.

use super::cannot::{CannotSay, Said};
use super::demonstration::{binomial_n, cp_lower};
use super::weibayes::{weibayes_l, weibayes_n, weibayes_r};

/// What a leg is to show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Goal {
    /// Reliability over one mission.
    pub reliability: f64,
    /// One-sided confidence.
    pub confidence: f64,
    /// Failures allowed.
    pub failures: u64,
}

/// What is given beside the goal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    /// Missions that the walk gives each unit: its life over that of one mission.
    pub missions: f64,
    /// Assumed Weibull shape.
    pub shape: Option<f64>,
    /// Units there are.
    pub units: Option<u64>,
}

/// A leg that shows its goal when no more fail than allowed.
#[derive(Clone, Debug, PartialEq)]
pub struct Sizing {
    /// Units.
    pub units: u64,
    /// Missions that each must run.
    pub missions: f64,
    /// Reliability shown when as many fail as allowed.
    pub shown: f64,
    /// The units for none, one and two failures allowed.
    pub by_failures: [Said<u64>; 3],
    /// The same question with shapes half a unit apart: the assumed shape is the whole argument.
    pub by_shape: Vec<(f64, Said<Answer>)>,
}

/// The part of a sizing that depends on the shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// Units, where the missions are given.
    Units(u64),
    /// Missions, where the units are given.
    Missions(f64),
}

/// Why a leg cannot be sized.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoSize {
    /// The arithmetic has no answer.
    #[error(transparent)]
    Cannot(#[from] CannotSay),
    /// Less than a mission, and nothing says what a part of one is worth.
    #[error(
        "the walk gives {missions:.3} of a mission; take a longer one, or assume a Weibull shape to say what a part is worth"
    )]
    TooShort {
        /// Missions of the walk.
        missions: f64,
    },
    /// The units there are do not show it in one mission each.
    #[error(
        "so many units show {shown:.4}; {needed} are needed for one mission each, or assume a Weibull shape to run fewer for longer"
    )]
    TooFew {
        /// What they show.
        shown: f64,
        /// How many would do.
        needed: u64,
    },
}

/// Sizes a leg: units for the missions of its walk, or missions for the units there are.
///
/// Without an assumed shape a walk of more than one mission counts as one, which is on the safe side.
///
/// # Errors
/// Where a number is out of range, or units or missions do not suffice.
pub fn size(goal: Goal, given: Given) -> Result<Sizing, NoSize> {
    let Goal {
        reliability: r,
        confidence: c,
        failures: k,
    } = goal;
    let (units, missions) = match (given.units, given.shape) {
        (Some(units), Some(shape)) => (units, weibayes_l(r, c, shape, units, k)?),
        (None, Some(shape)) => (weibayes_n(r, c, shape, given.missions, k)?, given.missions),
        (units, None) => {
            if given.missions < 1.0 - 1e-9 {
                let missions = given.missions;
                return Err(NoSize::TooShort { missions });
            }
            let needed = binomial_n(r, c, k)?;
            if let Some(units) = units.filter(|units| *units < needed) {
                let shown = cp_lower(units, k.min(units), c)?;
                return Err(NoSize::TooFew { shown, needed });
            }
            (units.unwrap_or(needed), 1.0)
        }
    };
    let needed = |k| match given.shape {
        Some(shape) => weibayes_n(r, c, shape, missions, k),
        None => binomial_n(r, c, k),
    };
    let other = |shape: f64| match given.units {
        Some(units) => weibayes_l(r, c, shape, units, k).map(Answer::Missions),
        None => weibayes_n(r, c, shape, given.missions, k).map(Answer::Units),
    };
    let shapes = given
        .shape
        .iter()
        .flat_map(|shape| [shape - 0.5, shape + 0.5]);
    Ok(Sizing {
        units,
        missions,
        shown: weibayes_r(units, k, c, given.shape.unwrap_or(1.0), missions)?,
        by_failures: [needed(0), needed(1), needed(2)],
        by_shape: shapes
            .filter(|own| *own > 0.0)
            .map(|own| (own, other(own)))
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOAL: Goal = Goal {
        reliability: 0.95,
        confidence: 0.90,
        failures: 0,
    };

    fn given(missions: f64, shape: Option<f64>, units: Option<u64>) -> Given {
        Given {
            missions,
            shape,
            units,
        }
    }

    #[test]
    fn longer_needs_fewer_and_fewer_need_longer() {
        let units = |missions, shape| size(GOAL, given(missions, shape, None)).map(|own| own.units);
        assert_eq!(units(1.0, None), Ok(45));
        assert_eq!(units(7.0, None), Ok(45));
        assert_eq!(units(2.0, Some(2.0)), Ok(12));
        let six = size(GOAL, given(1.0, Some(2.0), Some(6))).expect("it can be sized");
        assert!((six.missions - 2.735_280_835_07).abs() < 1e-9);
        assert!((six.shown - 0.95).abs() < 1e-12);
        assert_eq!(six.by_shape.len(), 2);
    }

    #[test]
    fn what_does_not_suffice_says_what_would() {
        let short = size(GOAL, given(0.5, None, None));
        assert_eq!(short, Err(NoSize::TooShort { missions: 0.5 }));
        let few = size(GOAL, given(1.0, None, Some(6)));
        assert!(
            matches!(few, Err(NoSize::TooFew { needed: 45, .. })),
            "{few:?}"
        );
    }
}
