//! Orders of networks: whatever is found keeps every rule, costs no less than the bound, and is the same again.

#[path = "../bench/public_bench/check.rs"]
mod check;

use crate::support::random::Random;
use rigday::planner::sequencing;
use rigday::problem::network::{Group, Mode, NEVER, Network, Place, Supply, Task, Tick, Use};

fn pick(random: &mut Random, below: usize) -> Tick {
    Tick::try_from(random.below(below)).expect("small numbers")
}

fn few(random: &mut Random, most: usize) -> u32 {
    u32::try_from(1 + random.below(most)).expect("small numbers")
}

/// A small network with a bit of everything: chains, choices of rig, runs, setups, supplies, due dates.
fn random_network(random: &mut Random) -> Network {
    let mut net = Network::default();
    let families = 1 + random.below(3);
    net.rigs = (0..=random.below(3))
        .map(|_| match random.below(3) {
            0 => Place::Each(few(random, 2)),
            1 => Place::Together(few(random, 3)),
            _ => Place::Each(1),
        })
        .collect();
    net.crews = vec![Supply {
        steps: vec![(0, 2), (pick(random, 20), 3)],
    }];
    if random.below(2) == 0 {
        net.setup = (0..families)
            .map(|_| (0..families).map(|_| pick(random, 4)).collect())
            .collect();
    }
    let with_supply = random.below(2) == 0;
    let mut links = Vec::new();
    for job in 0..2 + random.below(5) {
        net.groups.push(Group {
            ready: 0,
            due: if random.below(3) == 0 {
                NEVER
            } else {
                pick(random, 40)
            },
            late: i64::from(pick(random, 5)),
            flow: i64::from(pick(random, 3)),
        });
        let group = u32::try_from(job).expect("few jobs");
        for step in 0..=random.below(4) {
            let family = u32::try_from(random.below(families)).expect("few families");
            // Tasks of a family have the same ways to be done.
            let modes: Vec<Mode> = (0..net.rigs.len())
                .filter(|rig| *rig == 0 || (rig + family as usize).is_multiple_of(2))
                .map(|rig| {
                    let rig = u32::try_from(rig).expect("few rigs");
                    Mode::plain(
                        rig,
                        1 + Tick::try_from((family + rig) % 5).expect("small numbers"),
                    )
                })
                .collect();
            let uses = [Use { crew: 0, number: 1 }];
            let uses = if with_supply { &uses[..] } else { &[] };
            let task = net.add_task(Task::new(group, pick(random, 9), family), &modes, uses);
            if step > 0 {
                links.push((task - 1, task, true, pick(random, 3), NEVER));
            }
        }
    }
    net.link(&links);
    net
}

#[test]
fn every_order_found_keeps_all_rules_and_costs_no_less_than_the_bound() {
    let labs = if std::env::var_os("TEST_FULL").is_some() {
        3000
    } else {
        300
    };
    for seed in 0..labs {
        let net = random_network(&mut Random::new(seed));
        let share = |rounds: u64| rounds as f64 / 6.0;
        let found = sequencing::search(&net, seed, 2, &share)
            .expect("without largest gaps there is an order");
        let cost =
            check::cost(&net, &found.placed).unwrap_or_else(|why| panic!("seed {seed}: {why}"));
        assert_eq!(cost, found.cost, "seed {seed}");
        assert!(sequencing::lower_bound(&net) <= cost, "seed {seed}");
    }
}

#[test]
fn the_same_rounds_give_the_same_order_however_the_threads_run() {
    for seed in 0..20 {
        let net = random_network(&mut Random::new(seed));
        let share = |rounds: u64| rounds as f64 / 40.0;
        let one = sequencing::search(&net, seed, 2, &share).expect("there is an order");
        let other = sequencing::search(&net, seed, 2, &share).expect("there is an order");
        assert_eq!(one.placed, other.placed, "seed {seed}");
    }
}

/// Fisher and Thompson's 6 x 6 job shop (in Muth and Thompson, Industrial Scheduling, 1963): the optimum is 55.
#[test]
fn the_six_by_six_job_shop_is_solved() {
    let jobs: [[(u32, Tick); 6]; 6] = [
        [(2, 1), (0, 3), (1, 6), (3, 7), (5, 3), (4, 6)],
        [(1, 8), (2, 5), (4, 10), (5, 10), (0, 10), (3, 4)],
        [(2, 5), (3, 4), (5, 8), (0, 9), (1, 1), (4, 7)],
        [(1, 5), (0, 5), (2, 5), (3, 3), (4, 8), (5, 9)],
        [(2, 9), (1, 3), (4, 5), (5, 4), (0, 3), (3, 1)],
        [(1, 3), (3, 3), (5, 9), (0, 10), (4, 4), (2, 1)],
    ];
    let mut net = Network::default();
    net.rigs = vec![Place::Each(1); 6];
    net.groups = vec![Group {
        ready: 0,
        due: NEVER,
        late: 0,
        flow: 1,
    }];
    let mut links = Vec::new();
    for job in jobs {
        for (step, (rig, length)) in job.into_iter().enumerate() {
            let task = net.add_task(Task::new(0, 0, 0), &[Mode::plain(rig, length)], &[]);
            if step > 0 {
                links.push((task - 1, task, true, 0, NEVER));
            }
        }
    }
    net.link(&links);
    let found =
        sequencing::search(&net, 1, 2, &|rounds| rounds as f64 / 400.0).expect("there is an order");
    assert_eq!(check::cost(&net, &found.placed), Ok(55));
}

#[test]
fn a_largest_gap_is_kept_by_moving_what_comes_before() {
    // The second task must start within 1 of the first's end, but its rig is taken until 10.
    let mut net = Network::default();
    net.rigs = vec![Place::Each(1), Place::Each(1)];
    net.groups = vec![Group {
        ready: 0,
        due: NEVER,
        late: 0,
        flow: 1,
    }];
    let first = net.add_task(Task::new(0, 0, 0), &[Mode::plain(0, 2)], &[]);
    let second = net.add_task(Task::new(0, 0, 0), &[Mode::plain(1, 2)], &[]);
    let other = net.add_task(Task::new(0, 0, 0), &[Mode::plain(1, 10)], &[]);
    let last = net.add_task(Task::new(0, 0, 0), &[Mode::plain(0, 20)], &[]);
    net.link(&[(first, second, true, 0, 1), (other, last, true, 0, NEVER)]);
    let found =
        sequencing::search(&net, 1, 1, &|rounds| rounds as f64 / 20.0).expect("there is an order");
    assert_eq!(check::cost(&net, &found.placed), Ok(found.cost));
    let gap = found.placed[second as usize].start - found.placed[first as usize].end;
    assert!((0..=1).contains(&gap), "a gap of {gap}");
    assert!(!sequencing::contradicts_itself(&net));
}

#[test]
fn gaps_that_cannot_all_be_kept_are_seen() {
    let mut net = Network::default();
    net.rigs = vec![Place::Open];
    net.groups = vec![Group {
        ready: 0,
        due: NEVER,
        late: 0,
        flow: 1,
    }];
    let first = net.add_task(Task::new(0, 0, 0), &[Mode::plain(0, 2)], &[]);
    let second = net.add_task(Task::new(0, 0, 0), &[Mode::plain(0, 2)], &[]);
    net.link(&[(first, second, false, 5, 4)]);
    assert!(sequencing::contradicts_itself(&net));
}
