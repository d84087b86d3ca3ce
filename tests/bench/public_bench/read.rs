//! From the files of each family to the engine's network.

use rigday::problem::network::{Group, Mode, NEVER, Network, Place, Supply, Tick, Use};
use std::path::Path;

/// A family of instances.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Family {
    JobShop,
    Flexible,
    Rcpsp,
    RcpspMax,
    WeightedTardiness,
    Batch,
    ComplexJobShop,
}

impl Family {
    pub(crate) const ALL: &[Self] = &[
        Self::JobShop,
        Self::Flexible,
        Self::Rcpsp,
        Self::RcpspMax,
        Self::WeightedTardiness,
        Self::Batch,
        Self::ComplexJobShop,
    ];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::JobShop => "jobshop",
            Self::Flexible => "flexible",
            Self::Rcpsp => "rcpsp",
            Self::RcpspMax => "rcpsp-max",
            Self::WeightedTardiness => "weighted-tardiness",
            Self::Batch => "batch",
            Self::ComplexJobShop => "complex-jobshop",
        }
    }

    pub(crate) fn of_name(name: &str) -> Result<Self, String> {
        let all = Self::ALL.iter().copied();
        all.clone()
            .find(|family| family.name() == name)
            .ok_or_else(|| {
                let names: Vec<&str> = all.map(Self::name).collect();
                format!("no family {name:?}; there are {}", names.join(", "))
            })
    }
}

/// An instance as the engine sees it.
pub(crate) struct Instance {
    pub(crate) name: String,
    pub(crate) net: Network,
    /// Costs are this many times the objective, so that they are whole numbers.
    pub(crate) scale: f64,
    /// Job and operation of each task.
    pub(crate) labels: Vec<(usize, usize)>,
}

/// Reads an instance.
pub(crate) fn read(family: Family, file: &Path, factor: Option<f64>) -> Result<Instance, String> {
    let stem = file
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    let name = match stem.split_once(".txt").or_else(|| stem.split_once(".fjs")) {
        Some((name, "")) => name.to_owned(),
        _ => stem
            .trim_end_matches(".sm")
            .trim_end_matches(".sch")
            .trim_end_matches(".cjs.input")
            .to_owned(),
    };
    let instance = match family {
        Family::WeightedTardiness => weighted_tardiness(file, &name, factor),
        Family::JobShop => numbers(file).and_then(|all| job_shop(&all)),
        Family::Flexible => numbers(file).and_then(|all| flexible(&all)),
        Family::Rcpsp => text(file).and_then(|text| rcpsp(&text)),
        Family::RcpspMax => text(file).and_then(|text| rcpsp_max(&text)),
        Family::Batch => text(file).and_then(|text| batch(&text)),
        Family::ComplexJobShop => text(file).and_then(|text| complex(&text)),
    };
    let (net, scale, labels) = instance.map_err(|why| format!("{}: {why}", file.display()))?;
    Ok(Instance {
        name,
        net,
        scale,
        labels,
    })
}

type Parts = (Network, f64, Vec<(usize, usize)>);

fn text(file: &Path) -> Result<String, String> {
    std::fs::read_to_string(file).map_err(|why| why.to_string())
}

/// All numbers of a file; lines that begin with `#` are comments.
fn numbers(file: &Path) -> Result<Vec<i32>, String> {
    let text = text(file)?;
    let lines = text
        .lines()
        .filter(|line| !line.trim_start().starts_with('#'));
    lines.flat_map(str::split_whitespace).map(number).collect()
}

fn number<T: std::str::FromStr>(word: &str) -> Result<T, String> {
    word.parse()
        .map_err(|_| format!("{word:?} is not a number of the kind expected"))
}

/// Numbers one after the other.
struct Numbers<'a>(std::slice::Iter<'a, i32>);

impl<'a> Numbers<'a> {
    fn new(all: &'a [i32]) -> Self {
        Self(all.iter())
    }

    fn next(&mut self) -> Result<i32, String> {
        self.0
            .next()
            .copied()
            .ok_or_else(|| "ends too early".to_owned())
    }

    fn count(&mut self) -> Result<usize, String> {
        usize::try_from(self.next()?).map_err(|_| "a count is negative".to_owned())
    }
}

/// Counts the latest finish only.
fn makespan() -> Group {
    Group {
        ready: 0,
        due: NEVER,
        late: 0,
        flow: 1,
    }
}

fn ix(at: usize) -> u32 {
    u32::try_from(at).expect("instances are small")
}

/// A chain of tasks; links them, and labels them.
struct Chains {
    net: Network,
    links: Vec<(u32, u32, bool, Tick, Tick)>,
    labels: Vec<(usize, usize)>,
}

impl Chains {
    fn new(net: Network) -> Self {
        Self {
            net,
            links: Vec::new(),
            labels: Vec::new(),
        }
    }

    fn add(
        &mut self,
        job: usize,
        operation: usize,
        group: u32,
        ready: Tick,
        family: u32,
        modes: &[Mode],
    ) {
        let task = self.net.add_task(group, ready, family, modes, &[]);
        if operation > 0 {
            self.links.push((task - 1, task, true, 0, NEVER));
        }
        self.labels.push((job, operation));
    }

    fn finish(mut self, scale: f64) -> Parts {
        self.net.link(&self.links);
        (self.net, scale, self.labels)
    }
}

fn job_shop(all: &[i32]) -> Result<Parts, String> {
    shop(all, None)
}

/// Machine and duration pairs; `groups` holds due date and weight of each job, or one makespan counts.
fn shop(all: &[i32], groups: Option<&[(Tick, i64)]>) -> Result<Parts, String> {
    let mut all = Numbers::new(all);
    let (jobs, machines) = (all.count()?, all.count()?);
    let jobs = groups.map_or(jobs, |groups| groups.len().min(jobs));
    let mut net = Network::default();
    net.rigs = vec![Place::Each(1); machines];
    net.groups = match groups {
        None => vec![makespan()],
        Some(groups) => groups
            .iter()
            .map(|(due, weight)| Group {
                ready: 0,
                due: *due,
                late: *weight,
                flow: 0,
            })
            .collect(),
    };
    let mut chains = Chains::new(net);
    for job in 0..jobs {
        let group = if groups.is_some() { ix(job) } else { 0 };
        for operation in 0..machines {
            let rig = ix(all.count()?);
            let mode = Mode {
                rig,
                length: all.next()?,
            };
            chains.add(job, operation, group, 0, 0, &[mode]);
        }
    }
    Ok(chains.finish(1.0))
}

fn weighted_tardiness(file: &Path, name: &str, factor: Option<f64>) -> Result<Parts, String> {
    let (shop_file, factor) = match (factor, name.rsplit_once("_f")) {
        (Some(factor), _) => (file.to_path_buf(), factor),
        (None, Some((shop, factor))) => {
            let folder = file.parent().unwrap_or(Path::new("."));
            let places = [
                folder.join("../jobshop"),
                folder.to_path_buf(),
                folder.join("jobshop"),
            ];
            let files = places.iter().map(|place| place.join(format!("{shop}.txt")));
            let found = files.clone().find(|file| file.is_file());
            (
                found.ok_or_else(|| format!("no {shop}.txt in ../jobshop or beside it"))?,
                number(factor)?,
            )
        }
        (None, None) => return Err("name a case such as ft10_f1.3, or give --factor".to_owned()),
    };
    let all = numbers(&shop_file)?;
    let machines =
        usize::try_from(*all.get(1).ok_or("ends too early")?).map_err(|_| "no machines")?;
    let groups: Vec<(Tick, i64)> = (0..10)
        .map(|job| {
            let row = all.iter().skip(2 + job * 2 * machines).take(2 * machines);
            let sum: i32 = row.skip(1).step_by(2).sum();
            // The smallest excess keeps 1.3 x 1000 from becoming 1299.999.
            let due = (factor * f64::from(sum) + 1e-6).floor() as Tick;
            (
                due,
                match job {
                    0 | 1 => 4,
                    8 | 9 => 1,
                    _ => 2,
                },
            )
        })
        .collect();
    shop(&all, Some(&groups))
}

fn flexible(all: &[i32]) -> Result<Parts, String> {
    let mut all = Numbers::new(all);
    let (jobs, machines) = (all.count()?, all.count()?);
    let mut net = Network::default();
    net.rigs = vec![Place::Each(1); machines];
    net.groups = vec![makespan()];
    let mut chains = Chains::new(net);
    for job in 0..jobs {
        for operation in 0..all.count()? {
            let mut modes = Vec::new();
            for _ in 0..all.count()? {
                let rig = ix(all.count()?);
                modes.push(Mode {
                    rig,
                    length: all.next()?,
                });
            }
            chains.add(job, operation, 0, 0, 0, &modes);
        }
    }
    Ok(chains.finish(1.0))
}

/// A project: activities that take supplies, all on one open place.
struct Project {
    durations: Vec<Tick>,
    demands: Vec<Vec<i32>>,
    capacities: Vec<i32>,
    links: Vec<(u32, u32, bool, Tick, Tick)>,
}

impl Project {
    fn network(self) -> Parts {
        let mut net = Network::default();
        net.rigs = vec![Place::Open];
        net.groups = vec![makespan()];
        net.crews = self
            .capacities
            .iter()
            .map(|all| Supply {
                steps: vec![(0, *all)],
            })
            .collect();
        for (length, demands) in self.durations.iter().zip(&self.demands) {
            let uses: Vec<Use> = demands
                .iter()
                .enumerate()
                .filter(|(_, number)| **number > 0)
                .map(|(crew, number)| Use {
                    crew: ix(crew),
                    number: *number,
                })
                .collect();
            net.add_task(
                0,
                0,
                0,
                &[Mode {
                    rig: 0,
                    length: *length,
                }],
                &uses,
            );
        }
        net.link(&self.links);
        let labels = (0..self.durations.len())
            .map(|activity| (activity, 0))
            .collect();
        (net, 1.0, labels)
    }
}

fn rcpsp(text: &str) -> Result<Parts, String> {
    let section = |name: &'static str| {
        let lines = text
            .lines()
            .skip_while(move |line| !line.starts_with(name))
            .skip(1);
        lines.take_while(|line| !line.starts_with('*'))
    };
    let row = |line: &str| {
        line.split_whitespace()
            .map(number::<i32>)
            .collect::<Result<Vec<_>, _>>()
    };
    let mut links = Vec::new();
    for line in section("PRECEDENCE RELATIONS").skip(1) {
        let cells = row(line)?;
        for other in cells.iter().skip(3) {
            links.push((ix_of(cells[0] - 1)?, ix_of(other - 1)?, true, 0, NEVER));
        }
    }
    let mut durations = Vec::new();
    let mut demands = Vec::new();
    for line in section("REQUESTS/DURATIONS")
        .skip(1)
        .filter(|line| !line.starts_with('-'))
    {
        let cells = row(line)?;
        durations.push(*cells.get(2).ok_or("an activity without a duration")?);
        demands.push(cells[3..].to_vec());
    }
    let capacities = section("RESOURCEAVAILABILITIES")
        .nth(1)
        .ok_or("no availabilities")?;
    let project = Project {
        durations,
        demands,
        capacities: row(capacities)?,
        links,
    };
    Ok(project.network())
}

fn ix_of(at: i32) -> Result<u32, String> {
    u32::try_from(at).map_err(|_| format!("{at} is no place in a list"))
}

fn rcpsp_max(text: &str) -> Result<Parts, String> {
    let text = text.replace(['[', ']'], " ");
    let row = |line: &str| {
        line.split_whitespace()
            .map(number::<i32>)
            .collect::<Result<Vec<_>, _>>()
    };
    let rows: Vec<Vec<i32>> = text
        .lines()
        .filter(|line| !line.trim().is_empty())
        .map(row)
        .collect::<Result<_, _>>()?;
    let first = rows.first().and_then(|row| row.first()).ok_or("is empty")?;
    let activities = usize::try_from(*first).map_err(|_| "a negative count")? + 2;
    if rows.len() < 2 + 2 * activities {
        return Err("ends too early".to_owned());
    }
    let mut gaps = std::collections::BTreeMap::new();
    for row in &rows[1..=activities] {
        let count = usize::try_from(row[2]).map_err(|_| "a negative count")?;
        for at in 0..count {
            let (other, lag) = (row[3 + at], row[3 + count + at]);
            // A negative lag from the later to the earlier is a largest gap the other way round.
            if lag >= 0 {
                gaps.entry((row[0], other)).or_insert((-NEVER, NEVER)).0 = lag;
            } else {
                gaps.entry((other, row[0])).or_insert((-NEVER, NEVER)).1 = -lag;
            }
        }
    }
    let mut links = Vec::new();
    for ((from, to), (least, most)) in gaps {
        links.push((ix_of(from)?, ix_of(to)?, false, least, most));
    }
    let own = &rows[1 + activities..1 + 2 * activities];
    let project = Project {
        durations: own.iter().map(|row| row[2]).collect(),
        demands: own.iter().map(|row| row[3..].to_vec()).collect(),
        capacities: rows[1 + 2 * activities].clone(),
        links,
    };
    Ok(project.network())
}

fn batch(text: &str) -> Result<Parts, String> {
    let mut lines = text.lines();
    let mut head = |what: &str| {
        let line = lines.next().ok_or_else(|| format!("no line of {what}"))?;
        line.split_whitespace()
            .map(number::<i32>)
            .collect::<Result<Vec<_>, _>>()
    };
    let (shape, families) = (head("sizes")?, head("families")?);
    let [machines, per_family, room] = shape[..] else {
        return Err("the first line is not `machines jobs batch`".to_owned());
    };
    let mut net = Network::default();
    let rigs = 0..ix_of(machines)?;
    net.rigs = rigs
        .clone()
        .map(|_| Place::Together(room.unsigned_abs()))
        .collect();
    let mut labels = Vec::new();
    let jobs = text.lines().skip(2).filter(|line| !line.trim().is_empty());
    for (job, line) in jobs.enumerate() {
        let cells: Vec<&str> = line.split_whitespace().collect();
        let [ready, due, weight] = cells[..] else {
            return Err(format!("{line:?} is not `release due weight`"));
        };
        let family = job / usize::try_from(per_family).map_err(|_| "a negative count")?;
        let length = *families
            .get(family + 1)
            .ok_or("more jobs than families have")?;
        let weight: f64 = number(weight)?;
        net.groups.push(Group {
            ready: 0,
            due: number(due)?,
            late: (weight * 100.0).round() as i64,
            flow: 0,
        });
        let modes: Vec<Mode> = rigs.clone().map(|rig| Mode { rig, length }).collect();
        net.add_task(ix(job), number(ready)?, ix(family), &modes, &[]);
        labels.push((job, 0));
    }
    net.link(&[]);
    Ok((net, 100.0, labels))
}

fn complex(text: &str) -> Result<Parts, String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let total = *words.get(3).ok_or("ends too early")? == "TWC";
    let all: Vec<i32> = words
        .iter()
        .enumerate()
        .filter(|(at, _)| *at != 3)
        .map(|(_, word)| number(word))
        .collect::<Result<_, _>>()?;
    let mut all = Numbers::new(&all);
    let (jobs, machines, families) = (all.count()?, all.count()?, all.count()?);
    let mut net = Network::default();
    let mut walks = Vec::new();
    for _ in 0..jobs {
        let (ready, due, weight) = (all.next()?, all.next()?, i64::from(all.next()?));
        net.groups.push(Group {
            ready: 0,
            due: if total { NEVER } else { due },
            late: if total { 0 } else { weight },
            flow: if total { weight } else { 0 },
        });
        let walk: Vec<usize> = (0..all.count()?)
            .map(|_| all.count())
            .collect::<Result<_, _>>()?;
        walks.push((ready, walk));
    }
    for _ in 0..machines {
        net.rigs.push(Place::Together(all.next()?.unsigned_abs()));
    }
    let mut modes = Vec::new();
    for _ in 0..families {
        let mut own = Vec::new();
        for _ in 0..all.count()? {
            let rig = ix(all.count()?);
            own.push(Mode {
                rig,
                length: all.next()?,
            });
        }
        modes.push(own);
    }
    for _ in 0..families {
        net.setup.push(
            (0..families)
                .map(|_| all.next())
                .collect::<Result<_, _>>()?,
        );
    }
    let mut chains = Chains::new(net);
    for (job, (ready, walk)) in walks.iter().enumerate() {
        for (operation, family) in walk.iter().enumerate() {
            let own = modes.get(*family).ok_or("a family that is not there")?;
            chains.add(job, operation, ix(job), *ready, ix(*family), own);
        }
    }
    Ok(chains.finish(1.0))
}
