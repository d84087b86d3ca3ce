//! Line samples: the legs of one product and build that walk one sequence, month by month.

use super::evidence::{LegEvidence, figure, percent};
use crate::domain::{Minute, RequestId};
use crate::evidence::series::{Month, Series, WORSE_BELOW, Watched};

/// Fractions failing that are watched for where no goal says otherwise: in control, and to catch.
const USUAL: Watched = Watched {
    in_control: 0.02,
    to_catch: 0.10,
};

/// A line with its samples.
#[derive(Clone, Debug)]
pub struct LineSamples {
    /// Product, build and sequence.
    pub name: String,
    /// The samples' requests, by the time they were ready.
    pub requests: Vec<RequestId>,
    /// Their units and failures.
    pub months: Vec<Month>,
    /// What is watched for.
    pub watched: Watched,
    /// What the samples say.
    pub series: Series,
}

/// Every line that has more than one sample, in the order of the lab.
pub fn line_samples(legs: &[LegEvidence]) -> Vec<LineSamples> {
    let key = |own: &LegEvidence| {
        let request = &own.leg.request;
        format!("{} {} {}", request.product, request.build, request.sequence)
    };
    let mut names: Vec<String> = Vec::new();
    for own in legs {
        let name = key(own);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let line = |name: String| {
        let mut own: Vec<&LegEvidence> = legs.iter().filter(|own| key(own) == name).collect();
        own.sort_by_key(|own| -> Minute { own.leg.request.ready });
        (own.len() > 1).then(|| of_line(name, &own))
    };
    names.into_iter().filter_map(line).collect()
}

fn of_line(name: String, legs: &[&LegEvidence]) -> LineSamples {
    let month = |own: &&LegEvidence| Month {
        units: own.evidence.counts.decided(),
        failed: own.evidence.counts.failed,
    };
    let months: Vec<Month> = legs.iter().map(month).collect();
    let agreed = legs
        .iter()
        .rev()
        .find_map(|own| own.leg.request.show.as_ref());
    let watched = agreed.and_then(|show| {
        Some(Watched {
            in_control: 1.0 - show.sequential?.good,
            to_catch: 1.0 - show.reliability,
        })
    });
    let watched = watched.unwrap_or(USUAL);
    LineSamples {
        name,
        requests: legs.iter().map(|own| own.leg.request.id.clone()).collect(),
        series: Series::of(&months, watched),
        months,
        watched,
    }
}

impl LineSamples {
    /// The alarm in a sentence, where there is one.
    pub fn alarm(&self) -> Option<String> {
        let newest = self.requests.last()?;
        self.series.alarm().then(|| {
            format!(
                "the line has changed for the worse: {}, newest sample {newest}",
                self.name
            )
        })
    }

    /// Everything in sentences.
    pub fn lines(&self) -> Vec<String> {
        let months: Vec<String> = self
            .requests
            .iter()
            .zip(&self.months)
            .map(|(request, month)| format!("{request} {} of {}", month.failed, month.units))
            .collect();
        let mut lines = vec![format!("line {}: failed {}", self.name, months.join(", "))];
        if let Some(p) = self.series.newest_p {
            let worse = if p < WORSE_BELOW {
                "worse"
            } else {
                "not worse"
            };
            lines.push(format!(
                "newest against all earlier, exact test, one-sided: p = {} ({worse} at {WORSE_BELOW})",
                figure(p)
            ));
        }
        lines.push(match &self.series.cusum {
            Ok(cusum) => format!(
                "CUSUM for {} % failing in control, {} % to catch: now {} of {}; a false alarm each {} months, a bad line caught in {}{}",
                percent(self.watched.in_control),
                percent(self.watched.to_catch),
                cusum.sums.last().map_or("nothing yet".to_owned(), |sum| figure(*sum)),
                figure(cusum.limit),
                figure(cusum.false_alarm_months),
                figure(cusum.catch_months),
                cusum.signal.map_or(String::new(), |at| format!("; it signalled at sample {at}"))
            ),
            Err(why) => format!("no CUSUM: {why}"),
        });
        if let Some(trend) = self.series.trend {
            lines.push(format!(
                "trend over the units tested: exponent {} (below 1 failures grow rarer; p of so much growth {}), Laplace {}",
                figure(trend.beta),
                figure(trend.growth_p),
                figure(trend.laplace)
            ));
        }
        lines
    }
}
