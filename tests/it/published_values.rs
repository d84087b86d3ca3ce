//! Published test times and severities, each with its source: a program that plans chambers must come to
//! the same minutes as the standards.
//!
//! Times of chambers go through the real path: the built-in method, a lab with one rig, the compiled
//! problem. Figures are nominal; those that are not arithmetic were read in texts about the standard or
//! in adoptions of it, and a figure known from memory alone says so.

use crate::support::lab_from_files;
use rigday::domain::time::minutes_ceil;
use rigday::domain::{Facts, Minute, Minutes};
use rigday::lab::published;
use rigday::problem::compile;

/// Monday 2027-03-01 08:00 UTC.
const START: i64 = 30_064_320 + 480;

/// A chamber that reaches every temperature and rate of these tests, and takes units in as a run.
const CHAMBER: &str = r#"
loading = "together"
positions = 8
heat_k_per_min = 15.0
cool_k_per_min = 15.0
limits = { temperature_c = [-70, 200], humidity_rh = [10, 98], low_c = [-70, 0], high_c = [0, 200] }
"#;

/// One step of a built-in method on one rig.
struct Trial<'a> {
    does: &'a str,
    method: &'a str,
    /// Further fields of the step.
    step: &'a str,
    /// Further fields of the rig.
    rig: &'a str,
    ambient_c: f64,
}

impl Default for Trial<'_> {
    fn default() -> Self {
        Self {
            does: "",
            method: "",
            step: "",
            rig: CHAMBER,
            ambient_c: 23.0,
        }
    }
}

impl Trial<'_> {
    /// Minutes of exposure in the compiled problem.
    fn minutes(&self) -> i64 {
        self.minutes_with("")
    }

    /// The same with methods of the lab's own.
    fn minutes_with(&self, methods: &str) -> i64 {
        let Self {
            does,
            method,
            step,
            rig,
            ambient_c,
        } = self;
        let lab = lab_from_files(&[
            (
                "lab.toml",
                format!(
                    "format = 1\n[lab]\nname = \"trial\"\nzone = \"UTC\"\nambient_c = {ambient_c:?}\n\
                     [[crew]]\nid = \"bench\"\n[[rig]]\nid = \"rig\"\ndoes = [\"{does}\"]\n{rig}\n"
                ),
            ),
            ("methods.toml", methods.to_owned()),
            (
                "sequences.toml",
                format!(
                    "[[sequence]]\nid = \"s\"\n[[sequence.step]]\nmethod = \"{method}\"\n{step}\n"
                ),
            ),
            (
                "requests.toml",
                "[[request]]\nid = \"R\"\nproduct = \"p\"\nbuild = \"b\"\nsequence = \"s\"\n\
                 units = 1\nready = \"2027-03-01T08:00\"\n"
                    .to_owned(),
            ),
        ]);
        let problem = compile(&lab, &Facts::default(), Minute::new(START));
        let request = &problem.requests[0];
        assert_eq!(request.impossible, None, "the rig can do {method}");
        let [(_, exposure)] = problem.rigs_for(&request.steps[0]) else {
            panic!("one rig does {method}");
        };
        exposure.get()
    }
}

/// The chamber at another rate of its own, which is the rate of every way back to ambient.
fn chamber(k_per_min: f64) -> String {
    CHAMBER.replace("k_per_min = 15.0", &format!("k_per_min = {k_per_min:?}"))
}

/// A rig that counts cycles.
fn counter(per_minute: f64) -> String {
    format!("{CHAMBER}cycles_per_min = {per_minute:?}\n")
}

/// IEC 60068-2-1, test A, at most 1 K/min: 65 K down, 16 h, 65 K up (calc).
#[test]
fn cold_of_minus_40_for_16_h_takes_1090_min() {
    let trial = Trial {
        does: "cold",
        method: "cold-minus-40-16h",
        ambient_c: 25.0,
        rig: &chamber(1.0),
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 65 + 960 + 65);
    let fast = Trial {
        rig: CHAMBER,
        ..trial
    };
    assert_eq!(
        fast.minutes(),
        65 + 960 + 5,
        "the way back is at the rig's own rate"
    );
}

/// IEC 60068-2-2, test B, 1 K/min both ways: 62 K up, 96 h, 62 K down (calc).
#[test]
fn dry_heat_of_85_for_96_h_takes_5884_min() {
    let trial = Trial {
        does: "dry-heat",
        method: "dry-heat-85-96h",
        rig: &chamber(1.0),
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 62 + 5760 + 62);
}

/// IEC 60068-2-30, test Db, clause 5: cycles of 24 h, six of them.
#[test]
fn damp_heat_cyclic_of_six_cycles_takes_144_h() {
    let trial = Trial {
        does: "damp-heat-cyclic",
        method: "damp-heat-cyclic-55",
        step: "hold = \"144h\"",
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 8640);
}

/// IEC 60068-2-30, test Db, clause 5 of the 2005 text: 40 °C with 2, 6, 12, 21 or 56 cycles, 55 °C
/// with 1, 2 or 6.
#[test]
fn damp_heat_cyclic_lists_its_counts_by_temperature() {
    let listed = |upper, count| published::damp_heat_cyclic_counts(upper).contains(&count);
    assert!(listed(40, 21) && listed(55, 6));
    assert!(!listed(55, 21) && !listed(40, 1) && !listed(50, 2));
}

/// IEC 60068-2-30, clause 6.3.1: 25 to 55 °C in 3 h ± 30 min, so 0.1667 K/min; the whole day as
/// a profile of that rate is 24 h.
#[test]
fn damp_heat_cyclic_rises_in_three_hours() {
    let allowed = |minutes| published::damp_heat_rise_allowed(Minutes::new(minutes));
    assert_eq!(
        [149, 150, 180, 210, 211].map(allowed),
        [false, true, true, true, false]
    );
    let rate = 30.0 / 180.0;
    let day = format!(
        "[[method]]\nid = \"db-day\"\ndoes = \"damp-heat-cyclic\"\nsource = \"IEC 60068-2-30\"\nprofile = [\n\
         {{ to_c = 55, to_rh = 93, rate_k_per_min = {rate:?}, hold = \"9h\" }},\n\
         {{ to_c = 25, to_rh = 95, rate_k_per_min = {rate:?}, hold = \"9h\" }} ]\n"
    );
    let trial = Trial {
        does: "damp-heat-cyclic",
        method: "db-day",
        ambient_c: 25.0,
        ..Trial::default()
    };
    assert_eq!(trial.minutes_with(&day), 24 * 60);
}

/// IEC 60068-2-30: the upper temperature is held until 12 h after the start of the cycle.
#[test]
fn damp_heat_cyclic_holds_nine_hours_after_a_nominal_rise() {
    let plateau = |rise| published::damp_heat_plateau(Minutes::new(rise)).get();
    assert_eq!([150, 180, 210].map(plateau), [570, 540, 510]);
}

/// IEC 60068-2-14, test Na: 5 cycles of 3 h at each end where the specification is silent;
/// transfer at most 3 min since the 2009 edition.
#[test]
fn rapid_change_of_temperature_by_default_takes_1830_min() {
    let cycle = published::rapid_change_cycle(Minutes::hours(3), Minutes::new(3));
    assert_eq!(cycle.get(), 366);
    let trial = Trial {
        does: "thermal-shock",
        method: "temperature-change-rapid",
        rig: &counter(1.0 / 366.0),
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 1830);
}

/// IEC 60068-2-14, test Na, 30 min at each end, transfer 3 min.
#[test]
fn rapid_change_of_half_hours_fits_21_times_into_a_day() {
    let cycle = published::rapid_change_cycle(Minutes::new(30), Minutes::new(3));
    assert_eq!(
        (cycle.get(), published::full_cycles(Minutes::DAY, cycle)),
        (66, 21)
    );
}

/// IEC 60068-2-14, test Nb: 3 K/min, 3 h at each end, 2 cycles where the specification is
/// silent; 2 × (2 × 125 / 3 + 360) min for any ambient between the ends.
#[test]
fn change_of_temperature_at_3_k_takes_887_min_from_any_ambient() {
    for ambient_c in [-40.0, 0.0, 23.0, 41.7, 85.0] {
        let trial = Trial {
            does: "thermal-cycling",
            method: "temperature-change-3k",
            rig: &chamber(3.0),
            ambient_c,
            ..Trial::default()
        };
        assert_eq!(trial.minutes(), 887, "from {ambient_c} °C");
    }
}

/// IEC 60068-2-14, test Nb: 5 K/min, 1 h at each end, 10 cycles of 50 + 120 min.
#[test]
fn change_of_temperature_at_5_k_takes_1700_min() {
    let trial = Trial {
        does: "thermal-cycling",
        method: "temperature-change-5k",
        rig: &chamber(5.0),
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 1700);
}

/// IEC 60068-2-14, test Nb: the rate within ±20 %.
#[test]
fn a_rate_of_3_k_may_be_2_4_to_3_6() {
    let allowed = |measured| published::rate_allowed(3.0, measured);
    assert_eq!(
        [2.3, 2.4, 3.0, 3.6, 3.7].map(allowed),
        [false, true, true, true, false]
    );
}

/// IEC 60068-2-38, test Z/AD: 10 cycles of 24 h, the cold part in five of the first nine.
#[test]
fn composite_damp_heat_takes_240_h_with_five_cold_parts() {
    let trial = Trial {
        does: "damp-heat-composite",
        method: "damp-heat-composite",
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 240 * 60);
    assert_eq!(
        i64::from(published::COMPOSITE_CYCLES) * 24 * 60,
        trial.minutes()
    );
    assert_eq!(published::COMPOSITE_COLD_PARTS, 5);
}

/// IEC 60068-2-52 (2017), test methods 1 to 6.
#[test]
fn cyclic_salt_mist_takes_the_days_of_its_method() {
    let days: Vec<u32> = (1..=6).filter_map(published::salt_mist_days).collect();
    assert_eq!(days, [28, 3, 7, 14, 28, 56]);
    assert_eq!(
        (published::salt_mist_days(0), published::salt_mist_days(7)),
        (None, None)
    );
    let trial = Trial {
        does: "salt-mist",
        method: "salt-mist-cyclic-2",
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 3 * 1440);
}

/// IEC 60529, clause 13: category 1 takes 2 h at 40 to 60 volumes an hour (the joint at 40 from
/// memory), else until 80 volumes are drawn, at most 8 h; category 2 takes 8 h.
#[test]
fn dust_takes_its_time_from_the_extraction_rate() {
    let minutes = |rate| published::dust_category_1(rate).get();
    assert_eq!(
        [60.0, 40.0, 20.0, 10.0, 8.0].map(minutes),
        [120, 120, 240, 480, 480]
    );
    assert_eq!(minutes(0.0), 480, "with no extraction the cap holds");
    assert_eq!(published::DUST_CATEGORY_2, Minutes::hours(8));
}

/// IEC 60529, clause 13.4: 2 kg of talc for each cubic metre, used for at most 20 tests.
#[test]
fn talc_is_two_kilograms_a_cubic_metre() {
    assert!((published::talc_kg(0.9) - 1.8).abs() < 1e-12);
    assert_eq!(published::TALC_USES, 20);
}

/// IEC 60529, clause 14: jets 1 min for each square metre and at least 3 min, 100 l/min for IPX6;
/// nozzle at least 5 min; IPX2 four tilts of 2.5 min.
#[test]
fn water_takes_its_time_from_the_surface() {
    let jet = |surface: f64| {
        let minutes = published::jet_minutes(surface);
        (
            minutes,
            minutes_ceil(minutes).get(),
            published::jet_6_litres(minutes),
        )
    };
    assert_eq!(jet(2.0), (3.0, 3, 300.0));
    assert_eq!(jet(4.5), (4.5, 5, 450.0));
    let nozzle = |surface| minutes_ceil(published::nozzle_minutes(surface)).get();
    assert_eq!([2.0, 7.0].map(nozzle), [5, 7]);
    assert_eq!(published::DRIP_2.get(), 10);
    let trial = Trial {
        does: "drip",
        method: "drip-ipx2",
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), published::DRIP_2.get());
}

/// IEC 62262: IK10 is 20 J (5 kg from 0.40 m), IK07 is 2 J (0.5 kg from 0.40 m), g = 9.81 m/s².
#[test]
fn impact_energy_is_that_of_its_fall() {
    for (code, mass_kg, fall_j) in [(10, 5.0, 19.62), (7, 0.5, 1.962)] {
        let energy = published::fall_energy_j(mass_kg, 0.40);
        let nominal = published::impact_energy_j(code).expect("a listed code");
        assert!((energy - fall_j).abs() < 1e-9, "IK{code:02}: {energy}");
        assert!(
            (energy - nominal).abs() <= 0.02 * nominal,
            "IK{code:02}: {energy} J"
        );
    }
    assert_eq!(
        (
            published::impact_energy_j(0),
            published::impact_energy_j(12)
        ),
        (None, None)
    );
}

/// MIL-STD-810H, method 516.8, procedure IV: every face, edge and corner, shared by at most 5
/// units.
#[test]
fn transit_drops_are_shared_evenly() {
    assert_eq!(published::TRANSIT_DROPS, 26);
    let shared = |units| published::shared(published::TRANSIT_DROPS, units);
    assert_eq!(shared(5), [6, 5, 5, 5, 5]);
    assert_eq!(shared(2), [13, 13]);
    assert_eq!(shared(1), [26]);
}

/// EIA-364-09 revision C, clause 4.2: 500 cycles an hour on a machine, at most 300 by hand;
/// 10000 matings of a reversible connector.
#[test]
fn ten_thousand_matings_take_20_h_on_a_machine() {
    for (an_hour, minutes) in [(500.0, 1200), (300.0, 2000)] {
        let trial = Trial {
            does: "insert",
            method: "connector-mating",
            rig: &counter(an_hour / 60.0),
            ..Trial::default()
        };
        assert_eq!(trial.minutes(), minutes, "at {an_hour} cycles an hour");
    }
}

/// JESD22-A110, conditions B and A, table 1: 264 h and 96 h; JESD22-A101: 1000 h at 85 °C and
/// 85 % RH, here in an oven that stands at its condition.
#[test]
fn pressure_humidity_and_85_85_take_their_hours() {
    let minutes = |does, method, rig| {
        Trial {
            does,
            method,
            rig,
            ..Trial::default()
        }
        .minutes()
    };
    let held = CHAMBER.replace("together", "held");
    assert_eq!(
        minutes("pressure-humidity", "pressure-humidity-110", CHAMBER),
        11 * 1440
    );
    assert_eq!(
        minutes("pressure-humidity", "pressure-humidity-130", CHAMBER),
        4 * 1440
    );
    assert_eq!(
        minutes("damp-heat", "damp-heat-85-85", &held),
        41 * 1440 + 16 * 60
    );
    let ramps = minutes("damp-heat", "damp-heat-85-85", CHAMBER) - 60_000;
    assert_eq!(
        ramps, 9,
        "a run adds 62 K at 15 K/min each way, rounded up once"
    );
}

/// Arithmetic on figures from memory or of common practice: counts at a rate, through the real path.
#[test]
fn counts_take_their_time_at_the_rate_of_the_rig() {
    for (does, method, count, rate, minutes) in [
        ("slide", "slide-actuations", 300_000, 30.0, 10_000),
        ("micro-drop", "micro-drop", 20_000, 15.0, 1334),
        ("tumble", "repeated-free-fall", 200, 10.0, 20),
        ("press", "button-presses", 300_000, 40.0, 7500),
        ("abrade", "abrasion-martindale", 50_000, 47.5, 1053),
        ("abrade-wheel", "abrasion-wheel-1000", 1000, 60.0, 17),
    ] {
        let rig = counter(rate).replace(
            "limits = {",
            "limits = { force_n = [0, 99], height_mm = [0, 9999], load_g = [0, 9999], ",
        );
        let trial = Trial {
            does,
            method,
            step: &format!("cycles = {count}"),
            rig: &rig,
            ..Trial::default()
        };
        assert_eq!(trial.minutes(), minutes, "{method}: {count} at {rate}");
    }
}

/// Half-sine pulses and falls, g = 9.81 m/s².
#[test]
fn pulses_and_falls_have_the_speed_of_physics() {
    let near = |value: f64, expected: f64| (value - expected).abs() < 0.005;
    assert!(near(published::half_sine_m_per_s(50.0, 11.0), 3.43));
    assert!(near(published::half_sine_m_per_s(15.0, 11.0), 1.03));
    assert!(near(published::fall_m_per_s(1.0), 4.43));
    assert!(near(published::fall_m_per_s(1.5), 5.42));
}

/// IEC 60068-1, clause 4.8, from memory: stable within 3 K. A load of 20 min put into an oven 65 K hotter
/// is stable after 61.5 min.
#[test]
fn a_load_of_twenty_minutes_is_stable_after_62_min() {
    let oven =
        "loading = \"held\"\ntime_constant = \"20m\"\nlimits = { temperature_c = [30, 200] }\n";
    let trial = Trial {
        does: "dry-heat",
        method: "dry-heat-85-16h",
        rig: oven,
        ambient_c: 20.0,
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 960 + 62);
}

/// IEC 60068-2-30, test Db, as a profile: an hour of humidifying at 25 °C, then six cycles of 24 h.
#[test]
fn damp_heat_cyclic_in_a_chamber_adds_its_first_hour() {
    let trial = Trial {
        does: "damp-heat-cyclic",
        method: "damp-heat-cyclic-55-6x-chamber",
        ambient_c: 25.0,
        ..Trial::default()
    };
    assert_eq!(trial.minutes(), 60 + 8640);
}
