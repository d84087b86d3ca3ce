//! Each rule with a plan that keeps it and one, a minute away, that the checker refuses by that rule alone.
//!
//! Minutes count from Monday 2027-03-01 08:00 UTC, where the crew's day of eight hours begins.

use crate::support::parts::{
    WORK_WEEK, crew, empty_lab, method, outage, request, rig, sequence, shift, step,
};
use rigday::checker::{Rule, check, check_figures};
use rigday::domain::facts::{FactVisit, Progress};
use rigday::domain::lab::{Length, Loading, Pin, Rest, Watch};
use rigday::domain::plan::Times;
use rigday::domain::time::Span;
use rigday::domain::{Facts, Lab, Minute, Minutes, RigId, UnitId};
use rigday::problem::{
    Figures, Left, Place, Plan, Problem, RequestIx, RigIx, UnitIx, Visit, compile,
};

const MONDAY: i64 = 30_064_320 + 480;

fn at(minute: i64) -> Minute {
    Minute::new(MONDAY + minute)
}

/// Rigs by their places in the lab below.
const BENCH: RigIx = RigIx(0);
const CHAMBER: RigIx = RigIx(1);
const OVEN: RigIx = RigIx(2);
const STAND: RigIx = RigIx(3);

/// Three people; a bench (5 min each way, 15 min changeover), a chamber (10, 60), an oven (5, 30), each
/// with two positions, and a stand of one position that takes no hands.
fn lab() -> Lab {
    let mut lab = empty_lab();
    lab.crews = vec![crew("crew", vec![shift(&WORK_WEEK, (8, 0), (16, 0), 3)])];
    let kinds = [
        ("bench", "look", Loading::Each, 5, 15),
        ("chamber", "heat", Loading::Together, 10, 60),
        ("oven", "bake", Loading::Held, 5, 30),
    ];
    for (id, does, loading, hands, changeover) in kinds {
        let mut own = rig(id, &[does], loading, 2);
        (own.load, own.unload) = (Minutes::new(hands), Minutes::new(hands));
        own.changeover = Minutes::new(changeover);
        lab.rigs.push(own);
    }
    lab.rigs.push(rig("stand", &["sit"], Loading::Each, 1));
    let hold = |minutes| Length::Hold(Minutes::new(minutes));
    let mut look = method("look", "look", hold(20));
    look.watch = Watch::Full;
    let mut trial = method("trial", "look", hold(600));
    (trial.watch, trial.pausable) = (Watch::Site, true);
    let mut sit = method("sit", "sit", hold(60));
    sit.watch = Watch::Site;
    let mut bake = method("bake-a", "bake", hold(60));
    bake.max_wait = Some(Minutes::new(60));
    let others = [
        method("heat-a", "heat", hold(120)),
        method("heat-b", "heat", hold(120)),
        method("bake-b", "bake", hold(60)),
    ];
    for own in others.into_iter().chain([look, trial, sit, bake]) {
        lab.methods.insert(own.id.clone(), own);
    }
    lab
}

/// Adds a request of its own product that walks these methods.
fn ask(lab: &mut Lab, id: &str, units: usize, methods: &[&str]) {
    let steps = methods.iter().map(|name| step(name)).collect();
    lab.sequences.push(sequence(id, steps));
    let mut own = request(id, id, units, at(0));
    id.clone_into(&mut own.product);
    lab.requests.push(own);
}

fn lab_of(requests: &[(&str, usize, &[&str])]) -> Lab {
    let mut lab = lab();
    for (id, units, methods) in requests {
        ask(&mut lab, id, *units, methods);
    }
    lab
}

/// A visit whose exposure is followed at once by its unload.
fn visit(unit: u32, step: usize, rig: RigIx, place: Place, load: i64) -> Visit {
    let (hands, exposure) = [(5, 20), (10, 120), (5, 60), (0, 60)][rig.ix()];
    let start = load + hands;
    let end = start + exposure;
    let times = Times {
        load: at(load),
        start: at(start),
        end: at(end),
        unload: at(end),
        out: at(end + hands),
    };
    Visit {
        unit: UnitIx(unit),
        step,
        rig,
        place,
        times,
    }
}

fn look(unit: u32, step: usize, position: u32, load: i64) -> Visit {
    visit(unit, step, BENCH, Place::Position(position), load)
}

fn heat(unit: u32, run: u32, load: i64) -> Visit {
    visit(unit, 0, CHAMBER, Place::Run(run), load)
}

fn bake(unit: u32, load: i64) -> Visit {
    visit(unit, 0, OVEN, Place::Held, load)
}

/// Later by some minutes from the end of the exposure on.
fn unloaded_later(mut visit: Visit, by: i64) -> Visit {
    visit.times.unload += Minutes::new(by);
    visit.times.out += Minutes::new(by);
    visit
}

fn problem(lab: &Lab) -> Problem {
    compile(lab, &Facts::default(), at(0))
}

fn accepted(problem: &Problem, visits: &[Visit]) {
    assert_eq!(judge(problem, visits), [], "the plan keeps every rule");
}

fn refused(problem: &Problem, visits: &[Visit], rule: Rule) {
    assert_eq!(
        judge(problem, visits),
        [rule],
        "the plan breaks that rule alone"
    );
}

/// The rules that the checker finds broken.
fn judge(problem: &Problem, visits: &[Visit]) -> Vec<Rule> {
    let plan = Plan {
        visits: visits.to_vec(),
        left: Vec::new(),
    };
    let mut rules: Vec<Rule> = check(problem, &plan)
        .iter()
        .map(|clash| clash.rule)
        .collect();
    rules.dedup();
    rules
}

fn two_looks(min: i64, max: Option<i64>) -> Problem {
    let mut lab = lab_of(&[("A", 1, &["look", "look"])]);
    lab.sequences[0].steps[1].rest = Rest {
        min: Minutes::new(min),
        max: max.map(Minutes::new),
    };
    problem(&lab)
}

#[test]
fn r01_a_step_keeps_the_smallest_rest() {
    let problem = two_looks(60, Some(120));
    accepted(&problem, &[look(0, 0, 1, 0), look(0, 1, 1, 90)]);
    refused(
        &problem,
        &[look(0, 0, 1, 0), look(0, 1, 1, 89)],
        Rule::Order,
    );
}

#[test]
fn r01_a_step_keeps_the_largest_rest() {
    let problem = two_looks(60, Some(120));
    accepted(&problem, &[look(0, 0, 1, 0), look(0, 1, 1, 150)]);
    refused(
        &problem,
        &[look(0, 0, 1, 0), look(0, 1, 1, 151)],
        Rule::Order,
    );
}

#[test]
fn r01_a_step_follows_the_one_before() {
    let problem = two_looks(0, None);
    accepted(&problem, &[look(0, 0, 1, 0), look(0, 1, 2, 30)]);
    refused(
        &problem,
        &[look(0, 0, 1, 0), look(0, 1, 2, 29)],
        Rule::Order,
    );
}

#[test]
fn r02_nothing_loads_before_ready() {
    let mut lab = lab_of(&[("A", 1, &["look"])]);
    lab.requests[0].ready = at(120);
    accepted(&problem(&lab), &[look(0, 0, 1, 120)]);
    refused(&problem(&lab), &[look(0, 0, 1, 119)], Rule::Ready);
}

#[test]
fn r02_nothing_loads_before_now() {
    let lab = lab_of(&[("A", 1, &["look"])]);
    let later = compile(&lab, &Facts::default(), at(120));
    accepted(&later, &[look(0, 0, 1, 120)]);
    refused(&later, &[look(0, 0, 1, 119)], Rule::Ready);
}

#[test]
fn r03_an_exposure_lasts_as_long_as_asked() {
    let problem = problem(&lab_of(&[("A", 1, &["look"])]));
    accepted(&problem, &[look(0, 0, 1, 0)]);
    for by in [-1, 1] {
        let mut other = unloaded_later(look(0, 0, 1, 0), by);
        other.times.end += Minutes::new(by);
        refused(&problem, &[other], Rule::Eligible);
    }
}

#[test]
fn r03_a_load_takes_as_long_as_its_rig_says() {
    let problem = problem(&lab_of(&[("A", 1, &["look"])]));
    let mut early = look(0, 0, 1, 10);
    accepted(&problem, &[early]);
    early.times.load += Minutes::new(1);
    refused(&problem, &[early], Rule::Eligible);
}

#[test]
fn r04_visits_at_one_position_do_not_overlap() {
    let problem = problem(&lab_of(&[("A", 2, &["look"])]));
    accepted(&problem, &[look(0, 0, 1, 0), look(1, 0, 1, 30)]);
    refused(
        &problem,
        &[look(0, 0, 1, 0), look(1, 0, 1, 29)],
        Rule::Capacity,
    );
}

#[test]
fn r04_other_fixtures_at_one_position_need_changeover() {
    let problem = problem(&lab_of(&[("A", 1, &["look"]), ("B", 1, &["look"])]));
    accepted(&problem, &[look(0, 0, 1, 0), look(1, 0, 1, 45)]);
    refused(
        &problem,
        &[look(0, 0, 1, 0), look(1, 0, 1, 44)],
        Rule::Capacity,
    );
}

#[test]
fn r04_positions_are_those_of_the_rig() {
    let problem = problem(&lab_of(&[("A", 1, &["look"])]));
    accepted(&problem, &[look(0, 0, 2, 0)]);
    refused(&problem, &[look(0, 0, 3, 0)], Rule::Capacity);
    refused(&problem, &[look(0, 0, 0, 0)], Rule::Capacity);
}

#[test]
fn r04_together_runs_need_changeover() {
    let problem = problem(&lab_of(&[("A", 1, &["heat-a"]), ("B", 1, &["heat-b"])]));
    accepted(&problem, &[heat(0, 1, 0), heat(1, 2, 200)]);
    refused(&problem, &[heat(0, 1, 0), heat(1, 2, 199)], Rule::Capacity);
}

#[test]
fn r04_together_runs_do_not_overlap() {
    let problem = problem(&lab_of(&[("A", 2, &["heat-a"])]));
    accepted(&problem, &[heat(0, 1, 0), heat(1, 2, 140)]);
    refused(&problem, &[heat(0, 1, 0), heat(1, 2, 139)], Rule::Capacity);
}

#[test]
fn r04_together_one_run_has_one_set_of_times() {
    let problem = problem(&lab_of(&[("A", 2, &["heat-a"])]));
    accepted(&problem, &[heat(0, 1, 0), heat(1, 1, 0)]);
    let later = unloaded_later(heat(1, 1, 0), 1);
    refused(&problem, &[heat(0, 1, 0), later], Rule::Capacity);
}

#[test]
fn r04_together_a_run_has_no_more_units_than_positions() {
    let problem = problem(&lab_of(&[("A", 3, &["heat-a"])]));
    accepted(&problem, &[heat(0, 1, 0), heat(1, 1, 0), heat(2, 2, 140)]);
    refused(
        &problem,
        &[heat(0, 1, 0), heat(1, 1, 0), heat(2, 1, 0)],
        Rule::Capacity,
    );
}

#[test]
fn r04_held_other_conditions_need_changeover() {
    let problem = problem(&lab_of(&[("A", 1, &["bake-a"]), ("B", 1, &["bake-b"])]));
    accepted(&problem, &[bake(0, 0), bake(1, 100)]);
    refused(&problem, &[bake(0, 0), bake(1, 99)], Rule::Capacity);
}

#[test]
fn r04_held_no_more_units_inside_than_positions() {
    let problem = problem(&lab_of(&[("A", 3, &["bake-a"])]));
    accepted(&problem, &[bake(0, 0), bake(1, 1), bake(2, 70)]);
    refused(
        &problem,
        &[bake(0, 0), bake(1, 1), bake(2, 69)],
        Rule::Capacity,
    );
}

#[test]
fn r05_no_visit_overlaps_an_outage() {
    let mut lab = lab_of(&[("A", 1, &["look"])]);
    lab.outages = vec![outage("bench", Span::new(at(30), at(60)))];
    accepted(&problem(&lab), &[look(0, 0, 1, 0)]);
    refused(&problem(&lab), &[look(0, 0, 1, 1)], Rule::Outage);
    accepted(&problem(&lab), &[look(0, 0, 1, 60)]);
    refused(&problem(&lab), &[look(0, 0, 1, 59)], Rule::Outage);
}

#[test]
fn r05_a_visit_ends_on_the_last_calibrated_day() {
    let mut lab = lab_of(&[("A", 1, &["sit"])]);
    lab.crews[0].shifts = vec![shift(&WORK_WEEK, (0, 0), (0, 0), 1)];
    lab.rigs[3].calibration_due = chrono::NaiveDate::from_ymd_opt(2027, 3, 1);
    let on_stand = |load| visit(0, 0, STAND, Place::Position(1), load);
    accepted(&problem(&lab), &[on_stand(16 * 60 - 60)]);
    refused(&problem(&lab), &[on_stand(16 * 60 - 59)], Rule::Outage);
}

#[test]
fn r06_one_person_serves_one_visit_at_a_time() {
    let mut lab = lab_of(&[("A", 2, &["look"])]);
    lab.crews[0].shifts[0].people = 1;
    let problem = problem(&lab);
    accepted(&problem, &[look(0, 0, 1, 0), look(1, 0, 2, 30)]);
    refused(
        &problem,
        &[look(0, 0, 1, 0), look(1, 0, 2, 29)],
        Rule::People,
    );
}

#[test]
fn r06_an_unload_ends_with_the_shift() {
    let problem = problem(&lab_of(&[("A", 1, &["look"])]));
    accepted(&problem, &[look(0, 0, 1, 450)]);
    refused(&problem, &[look(0, 0, 1, 451)], Rule::People);
}

#[test]
fn r06_a_run_takes_one_person_however_many_units() {
    let mut lab = lab_of(&[("A", 2, &["heat-a"]), ("B", 1, &["bake-a"])]);
    lab.crews[0].shifts[0].people = 1;
    let problem = problem(&lab);
    accepted(&problem, &[heat(0, 1, 0), heat(1, 1, 0), bake(2, 10)]);
    refused(
        &problem,
        &[heat(0, 1, 0), heat(1, 1, 0), bake(2, 9)],
        Rule::People,
    );
}

#[test]
fn r07_somebody_is_on_site_throughout() {
    let problem = problem(&lab_of(&[("A", 1, &["sit"])]));
    let on_stand = |load| visit(0, 0, STAND, Place::Position(1), load);
    accepted(&problem, &[on_stand(420)]);
    refused(&problem, &[on_stand(421)], Rule::Watch);
}

#[test]
fn r07_a_pausing_exposure_ends_when_its_watch_has_given_it_all() {
    let problem = problem(&lab_of(&[("A", 1, &["trial"])]));
    // 475 minutes on Monday, 125 on Tuesday.
    let trial = |end| {
        let mut own = look(0, 0, 1, 0);
        own.times.end = at(end);
        own.times.unload = at(end);
        own.times.out = at(end + 5);
        own
    };
    accepted(&problem, &[trial(1440 + 125)]);
    refused(&problem, &[trial(1440 + 124)], Rule::Eligible);
    refused(&problem, &[trial(1440 + 126)], Rule::Eligible);
}

#[test]
fn r08_no_longer_in_the_rig_than_allowed() {
    let problem = problem(&lab_of(&[("A", 1, &["bake-a"])]));
    accepted(&problem, &[unloaded_later(bake(0, 0), 60)]);
    refused(&problem, &[unloaded_later(bake(0, 0), 61)], Rule::Wait);
}

#[test]
fn r09_units_that_keep_together_share_their_run() {
    let mut lab = lab_of(&[("A", 2, &["heat-a"])]);
    let mut twin = lab.rigs[1].clone();
    twin.id = RigId::new("chamber-twin");
    lab.rigs.push(twin);
    let mut apart = heat(1, 1, 1);
    apart.rig = RigIx(4);
    accepted(&problem(&lab), &[heat(0, 1, 0), apart]);
    lab.requests[0].keep_together = true;
    accepted(&problem(&lab), &[heat(0, 1, 0), heat(1, 1, 0)]);
    refused(&problem(&lab), &[heat(0, 1, 0), apart], Rule::Together);
}

#[test]
fn r10_a_pinned_visit_loads_where_and_when_its_pin_says() {
    let mut lab = lab_of(&[("A", 1, &["look"])]);
    lab.pins.push(Pin {
        unit: UnitId::new("A/1"),
        step: 1,
        rig: RigId::new("bench"),
        start: at(10),
    });
    accepted(&problem(&lab), &[look(0, 0, 1, 10)]);
    refused(&problem(&lab), &[look(0, 0, 1, 11)], Rule::Fixed);
    refused(&problem(&lab), &[look(0, 0, 1, 9)], Rule::Fixed);
}

#[test]
fn r10_what_has_started_stays_as_it_happened() {
    let lab = lab_of(&[("A", 1, &["look"])]);
    let started = FactVisit {
        unit: UnitId::new("A/1"),
        step: 1,
        rig: RigId::new("bench"),
        position: Some(1),
        run: None,
        progress: Progress::Running { load: at(0) },
    };
    let facts = Facts {
        visits: vec![started],
        ..Facts::default()
    };
    let problem = compile(&lab, &facts, at(10));
    accepted(&problem, &[look(0, 0, 1, 0)]);
    refused(
        &problem,
        &[unloaded_later(look(0, 0, 1, 0), 1)],
        Rule::Fixed,
    );
}

#[test]
fn r10_a_booking_that_starts_within_freeze_stays() {
    let mut lab = lab_of(&[("A", 1, &["look"])]);
    lab.freeze = Minutes::new(60);
    let published = |load| {
        let before = problem(&lab);
        let facts = Facts {
            published: before.words(&[look(0, 0, 1, load)], &[]),
            ..Facts::default()
        };
        compile(&lab, &facts, at(0))
    };
    accepted(&published(59), &[look(0, 0, 1, 59)]);
    refused(&published(59), &[look(0, 0, 1, 58)], Rule::Fixed);
    accepted(&published(60), &[look(0, 0, 1, 58)]);
}

#[test]
fn r11_everything_ends_within_the_horizon() {
    let mut lab = lab_of(&[("A", 1, &["heat-a"])]);
    lab.horizon = Minutes::new(200);
    accepted(&problem(&lab), &[heat(0, 1, 60)]);
    refused(&problem(&lab), &[heat(0, 1, 61)], Rule::Horizon);
}

#[test]
fn complete_no_step_is_missing_and_none_planned_twice() {
    let problem = two_looks(0, None);
    let both = [look(0, 0, 1, 0), look(0, 1, 1, 30)];
    accepted(&problem, &both);
    refused(&problem, &both[..1], Rule::Complete);
    let again = [both[0], both[1], look(0, 1, 2, 60)];
    refused(&problem, &again, Rule::Complete);
}

#[test]
fn complete_only_who_cannot_be_planned_is_left_out() {
    let mut lab = lab_of(&[("A", 1, &["heat-a"])]);
    let plan = Plan {
        visits: Vec::new(),
        left: vec![Left {
            request: RequestIx(0),
            step: 0,
            reason: "the horizon is too near".to_owned(),
        }],
    };
    lab.horizon = Minutes::new(139);
    assert_eq!(check(&problem(&lab), &plan), []);
    lab.horizon = Minutes::new(140);
    let clashes = check(&problem(&lab), &plan);
    assert_eq!(
        clashes.iter().map(|clash| clash.rule).collect::<Vec<_>>(),
        [Rule::Complete]
    );
}

#[test]
fn figures_are_those_of_the_visits() {
    let problem = problem(&lab_of(&[("A", 1, &["look"])]));
    let plan = Plan {
        visits: vec![look(0, 0, 1, 0)],
        left: Vec::new(),
    };
    let figures = Figures {
        bound: Some(150),
        milliseconds: 0,
        seed: 1,
    };
    let mut said = problem.plan_in_words(&plan, &[], &figures);
    assert_eq!(said.cost, 150, "priority 5 times 30 minutes of flow");
    assert_eq!(check_figures(&problem, &plan, &said), []);
    said.bound = Some(151);
    assert_eq!(check_figures(&problem, &plan, &said).len(), 1);
    said.bound = None;
    said.requests[0].finish += Minutes::new(1);
    assert_eq!(check_figures(&problem, &plan, &said).len(), 1);
}
