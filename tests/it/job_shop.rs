//! Two published job-shop instances as labs of one-position rigs, through the ordinary planner.
//!
//! A job is a request of one unit, a machine a rig that alone does its capability. Every job is due at the
//! published optimum, so that lateness drives the planner towards it; the excess is printed. Sources of
//! the instances and of their optima: `tests/data/jobshop/SOURCE.md`.

use crate::support::{check_clean, lab_from_files};
use rigday::domain::{Facts, Minute};
use rigday::planner::{Rounds, solve};
use rigday::problem::compile;
use std::fmt::Write;

/// Monday 2027-03-01 00:00 UTC.
const START: i64 = 30_064_320;

struct Instance {
    machines: usize,
    jobs: Vec<Vec<(usize, u32)>>,
}

fn read(text: &str) -> Instance {
    let mut lines = text
        .lines()
        .filter(|line| !line.starts_with('#') && !line.trim().is_empty());
    let numbers = |line: &str| -> Vec<usize> {
        line.split_whitespace()
            .map(|word| word.parse().expect("a number"))
            .collect()
    };
    let head = numbers(lines.next().expect("a line with the size"));
    let jobs = lines
        .take(head[0])
        .map(|line| {
            let pair = |pair: &[usize]| (pair[0], u32::try_from(pair[1]).expect("short"));
            numbers(line).chunks_exact(2).map(pair).collect()
        })
        .collect();
    Instance {
        machines: head[1],
        jobs,
    }
}

fn lab_files(instance: &Instance, optimum: i64) -> [(&'static str, String); 4] {
    let due = rigday::domain::zone::utc_text(Minute::new(START + optimum));
    let (mut lab, mut methods) = (String::new(), String::new());
    let (mut sequences, mut requests) = (String::new(), String::new());
    lab.push_str("format = 1\n[lab]\nname = \"job shop\"\nzone = \"UTC\"\nhorizon = \"60d\"\n");
    lab.push_str("[[crew]]\nid = \"nobody\"\n");
    for machine in 0..instance.machines {
        writeln!(lab, "[[rig]]\nid = \"m{machine}\"\ndoes = [\"m{machine}\"]")
            .expect("a string takes it");
        writeln!(
            methods,
            "[[method]]\nid = \"on-m{machine}\"\ndoes = \"m{machine}\"\nhold = \"1m\""
        )
        .expect("a string takes it");
        writeln!(methods, "source = \"published instance\"").expect("a string takes it");
    }
    for (job, steps) in instance.jobs.iter().enumerate() {
        writeln!(sequences, "[[sequence]]\nid = \"s{job}\"").expect("a string takes it");
        for (machine, minutes) in steps {
            writeln!(
                sequences,
                "[[sequence.step]]\nmethod = \"on-m{machine}\"\nhold = \"{minutes}m\""
            )
            .expect("a string takes it");
        }
        writeln!(
            requests,
            "[[request]]\nid = \"J{job}\"\nproduct = \"p\"\nbuild = \"b\""
        )
        .expect("a string takes it");
        writeln!(
            requests,
            "sequence = \"s{job}\"\nunits = 1\nready = \"2027-03-01T00:00\""
        )
        .expect("a string takes it");
        writeln!(requests, "due = \"{due}\"").expect("a string takes it");
    }
    [
        ("lab.toml", lab),
        ("methods.toml", methods),
        ("sequences.toml", sequences),
        ("requests.toml", requests),
    ]
}

/// Plans the instance; its makespan.
fn makespan(text: &str, optimum: i64, rounds: u64) -> i64 {
    let instance = read(text);
    let lab = lab_from_files(&lab_files(&instance, optimum));
    let problem = compile(&lab, &Facts::default(), Minute::new(START));
    let solved = solve(&problem, 1, &Rounds(rounds), &mut |_| {});
    check_clean(&problem, &solved.plan);
    assert_eq!(
        solved.plan.visits.len(),
        instance.jobs.iter().map(Vec::len).sum::<usize>()
    );
    let last = solved
        .plan
        .visits
        .iter()
        .map(|visit| visit.times.out)
        .max()
        .expect("visits");
    (last - Minute::new(START)).get()
}

#[expect(clippy::print_stdout, reason = "the excess is for people to see")]
fn reported(name: &str, text: &str, optimum: i64) {
    let found = makespan(text, optimum, 20_000);
    let excess = 100.0 * (found - optimum) as f64 / optimum as f64;
    println!("{name}: makespan {found}, proven optimum {optimum}, excess {excess:.1} %");
    assert!(found >= optimum, "no valid plan beats a proven optimum");
    assert!(
        excess <= 25.0,
        "a first form of the planner stays within a quarter of the optimum"
    );
}

#[test]
fn ft06_whose_optimum_is_55() {
    reported("ft06", include_str!("../data/jobshop/ft06.txt"), 55);
}

#[test]
fn la01_whose_optimum_is_666() {
    reported("la01", include_str!("../data/jobshop/la01.txt"), 666);
}
