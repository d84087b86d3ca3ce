//! The forecast of a plan: how it is made from the desk, and its rows in words.

use super::desk::Planning;
use crate::domain::{Minute, Plan, Zone};
use crate::problem;
use crate::usage::forecast::{
    Decides, Draws, Forecast, Gate, History, Outlook, Rates, Setting, forecast,
};

/// Samples that a forecast draws unless somebody asks for others.
pub const SAMPLES: usize = 1000;
/// Threads that draw; the forecast does not depend on them.
pub const THREADS: usize = 2;

/// A forecast with what it rests on.
#[derive(Clone, Debug)]
pub struct Told {
    /// What the samples say.
    pub forecast: Forecast,
    /// The seed they were drawn from.
    pub seed: u64,
    /// What the rates rest on, in lines.
    pub basis: Vec<String>,
}

impl Told {
    /// How many lines it has at least, for scrolling.
    pub fn lines(&self) -> usize {
        let dated = self.forecast.requests.len() + self.forecast.gates.len();
        dated + self.forecast.requests.len() + 2 * self.basis.len()
    }
}

/// Forecasts a plan of a lab that has this history. `going` is told how many samples are done and answers whether
/// to go on; what is done by then is counted. Nothing where there is none.
pub fn tell(
    planning: &Planning,
    plan: &Plan,
    history: &History,
    draws: Draws,
    going: &(dyn Fn(usize) -> bool + Sync),
) -> Option<Told> {
    let problem = planning.problem();
    let (visits, _) = problem.resolve(&plan.bookings);
    let (left, _) = problem.resolve_left(&plan.unplannable);
    let plan = problem::Plan { visits, left };
    let set = Setting::new(planning.lab(), history, &problem, &plan);
    let rates = Rates::learn(&problem, &set.keys, history);
    let forecast = forecast(planning.lab(), &set, &rates, draws, going)?;
    Some(Told {
        forecast,
        seed: draws.seed,
        basis: rates.words(),
    })
}

/// A line of the table, in words; dates are written by whoever shows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// The request, or the gate.
    pub name: String,
    /// Its due date.
    pub due: Option<Minute>,
    /// When it finishes by the plan.
    pub planned: Option<Minute>,
    /// Dates that are 50, 80 and 95 % sure; nothing beyond the horizon.
    pub by: [Option<Minute>; 3],
    /// Its chance to be in time.
    pub chance: Option<f64>,
    /// What decides it most often.
    pub decided: String,
}

impl Row {
    fn of<Name>(own: &Outlook<Name>, name: String) -> Self {
        let first = own.decided.first();
        let decided = first.map_or(String::new(), |(what, share)| decided(what, *share));
        Self {
            name,
            due: own.due,
            planned: own.planned,
            by: own.by,
            chance: own.chance,
            decided,
        }
    }
}

fn decided(what: &Decides, share: f64) -> String {
    format!("{} {}", what.words(), percent(share))
}

/// Requests, then gates.
pub fn rows(forecast: &Forecast) -> Vec<Row> {
    let requests = forecast.requests.iter();
    let requests = requests.map(|own| Row::of(own, own.name.to_string()));
    let gates = forecast
        .gates
        .iter()
        .map(|own| Row::of(own, gate(&own.name)));
    requests.chain(gates).collect()
}

/// A gate's name, the build first: where there is little room the product is cut.
pub fn gate(own: &Gate) -> String {
    format!("{} {}", own.build, own.product)
}

/// A share in whole percent; what is not quite all or nothing does not read as if it were.
pub fn percent(share: f64) -> String {
    let whole = (share * 100.0).round();
    if whole >= 100.0 && share < 1.0 {
        ">99 %".to_owned()
    } else if whole <= 0.0 && share > 0.0 {
        "<1 %".to_owned()
    } else {
        format!("{whole:.0} %")
    }
}

/// The forecast in sentences: the date that is 80 % sure, for each request that may be late, most unsure first.
pub fn sentences(forecast: &Forecast, zone: &Zone) -> Vec<String> {
    let mut unsure: Vec<&Outlook<_>> = forecast
        .requests
        .iter()
        .filter(|own| own.chance.is_some_and(|chance| chance < 0.8))
        .collect();
    unsure.sort_by(|a, b| {
        a.chance
            .partial_cmp(&b.chance)
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    let sentence = |own: &&Outlook<crate::domain::RequestId>| {
        let when = own.by[1].map_or("not within the horizon".to_owned(), |at| {
            format!(
                "80 % sure by {}",
                zone.local(at).format("%a %Y-%m-%d %H:%M")
            )
        });
        let chance = percent(own.chance.unwrap_or_default());
        format!("{}: {when}; {chance} to be in time", own.name)
    };
    let left = forecast.left.iter();
    let left = left.map(|own| format!("{own} is left out of the plan, and so of its gate here"));
    unsure.iter().map(sentence).chain(left).collect()
}

#[cfg(test)]
mod tests {
    use super::percent;

    #[test]
    fn what_is_not_quite_certain_does_not_read_as_certain() {
        let words = [0.0, 0.0004, 0.004, 0.996, 0.9996, 1.0, 0.125].map(percent);
        assert_eq!(
            words,
            ["0 %", "<1 %", "<1 %", ">99 %", ">99 %", "100 %", "13 %"]
        );
    }
}
