//! `lab.toml`: the lab, its crews, rigs and outages.

use super::names::Names;
use super::value::{Faulty, Table, Value};
use crate::clock;
use crate::domain::lab::{BenchRules, Crew, Limit, Loading, Outage, Rig, Settle, Shift};
use crate::domain::{CrewId, Lab, Minutes, RigId, Span, Zone};
use chrono::{NaiveDate, Weekday};
use std::collections::{BTreeMap, BTreeSet};

/// The names in `lab.toml` that other files refer to.
#[derive(Default)]
pub(super) struct LabNames {
    pub(super) crews: Names,
    pub(super) rigs: Names,
}

/// Reads the file; what has a fault is left at its default.
pub(super) fn read(root: &Table<'_>) -> (Lab, LabNames) {
    root.only(&["format", "lab", "bench", "crew", "rig", "outage"]);
    if let Some(format) = root.need("format")
        && format
            .whole(0..=1_000_000)
            .is_some_and(|number| number != 1)
    {
        format.fault("this program reads format 1");
    }
    let mut lab = head(root);
    let mut names = LabNames::default();
    lab.crews = crews(root, &mut names.crews);
    lab.rigs = rigs(root, &mut names.rigs);
    lab.outages = outages(root, &lab.zone, &names.rigs);
    (lab, names)
}

fn head(root: &Table<'_>) -> Lab {
    let table = root.need("lab").and_then(|value| value.table("lab"));
    let get = |key| table.as_ref().and_then(|table| table.get(key));
    let need = |key| table.as_ref().and_then(|table| table.need(key));
    if let Some(table) = &table {
        table.only(&[
            "name",
            "zone",
            "ambient_c",
            "freeze",
            "horizon",
            "closed",
            "fail_reasons",
        ]);
    }
    let horizon = get("horizon").and_then(|value| value.length());
    Lab {
        name: need("name")
            .and_then(|value| value.name())
            .unwrap_or_default(),
        zone: need("zone")
            .and_then(|value| zone(&value))
            .unwrap_or_else(Zone::utc),
        ambient_c: get("ambient_c")
            .and_then(|value| temperature(&value))
            .unwrap_or(23.0),
        freeze: get("freeze")
            .and_then(|value| value.duration())
            .unwrap_or(Minutes::ZERO),
        horizon: horizon.unwrap_or(Minutes::DAY * 120),
        closed: get("closed").map(|value| dates(&value)).unwrap_or_default(),
        crews: Vec::new(),
        rigs: Vec::new(),
        outages: Vec::new(),
        methods: BTreeMap::new(),
        standards: BTreeMap::new(),
        sequences: Vec::new(),
        requests: Vec::new(),
        pins: Vec::new(),
        fail_reasons: get("fail_reasons")
            .map(|value| lines(&value))
            .unwrap_or_default(),
        bench: bench(root),
    }
}

/// What the lab says about its bench; what it leaves out is as usual.
fn bench(root: &Table<'_>) -> BenchRules {
    let usual = BenchRules::default();
    let Some(table) = root.get("bench").and_then(|value| value.table("bench")) else {
        return usual;
    };
    table.only(&["scan_prefix", "scan_suffix", "idle"]);
    let text = |key| {
        let text = table.get(key).and_then(|value| value.text());
        text.unwrap_or_default().to_owned()
    };
    BenchRules {
        scan_prefix: text("scan_prefix"),
        scan_suffix: text("scan_suffix"),
        idle: table
            .get("idle")
            .and_then(|value| value.length())
            .unwrap_or(usual.idle),
    }
}

fn zone(value: &Value<'_>) -> Option<Zone> {
    let name = value.text()?;
    let zone = clock::zone(name);
    if zone.is_none() {
        value.unknown("time zone", name, clock::zone_names());
    }
    zone
}

/// A temperature that a lab can mean, in °C.
pub(super) fn temperature(value: &Value<'_>) -> Option<f64> {
    let celsius = value.number()?;
    if (-273.15..=3000.0).contains(&celsius) {
        return Some(celsius);
    }
    value.fault("-273.15 to 3000 °C is allowed");
    None
}

fn dates(value: &Value<'_>) -> BTreeSet<NaiveDate> {
    let values = value.list().unwrap_or_default();
    values.iter().filter_map(Value::date).collect()
}

/// A list of lines for people.
pub(super) fn lines(value: &Value<'_>) -> Vec<String> {
    value
        .list()
        .unwrap_or_default()
        .iter()
        .filter_map(Value::name)
        .collect()
}

fn crews(root: &Table<'_>, names: &mut Names) -> Vec<Crew> {
    let mut crews = Vec::new();
    let tables = root.tables("crew");
    if tables.is_empty() {
        root.site
            .fault("lab.toml", "at least one `[[crew]]` is needed");
    }
    for mut table in tables {
        let id = table.identify("crew", names);
        table.only(&["id", "name", "shift"]);
        table.get("name").and_then(|value| value.name());
        let shifts = table.tables("shift");
        let shifts = shifts
            .iter()
            .filter_map(|shift| self::shift(shift, &table.what))
            .collect();
        if let Some(id) = id {
            crews.push(Crew {
                id: CrewId::new(&id),
                shifts,
            });
        }
    }
    crews
}

fn shift(table: &Table<'_>, crew: &str) -> Option<Shift> {
    let mut table = table.clone();
    table.what = format!("{crew} shift");
    table.only(&["days", "dates", "from", "to", "people"]);
    // A shift on single dates needs no weekday.
    let single = table.get("dates");
    let dates = single.as_ref().map_or(Some(Vec::new()), shift_dates);
    let weekly = match &single {
        Some(_) => table.get("days"),
        None => table.need("days"),
    };
    let days = match &weekly {
        None if single.is_some() => Some(Vec::new()),
        weekly => weekly.as_ref().and_then(days),
    };
    let from = table.need("from").and_then(|value| value.clock());
    let to = table.need("to").and_then(|value| value.clock());
    let people = table
        .need("people")
        .and_then(|value| value.whole(0..=10_000));
    Some(Shift {
        days: days?,
        dates: dates?,
        from: from?,
        to: to?,
        people: u32::try_from(people?).ok()?,
    })
}

fn shift_dates(value: &Value<'_>) -> Option<Vec<NaiveDate>> {
    let dates: Option<Vec<NaiveDate>> = value.list()?.iter().map(Value::date).collect();
    let mut dates = dates?;
    dates.sort_unstable();
    if dates.is_empty() {
        value.fault("at least one date is needed");
        return None;
    }
    if dates.windows(2).any(|pair| pair[0] == pair[1]) {
        value.fault("a date is named twice");
        return None;
    }
    Some(dates)
}

fn days(value: &Value<'_>) -> Option<Vec<Weekday>> {
    const WORDS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];
    let words: Option<Vec<&str>> = value.list()?.iter().map(|day| day.word(&WORDS)).collect();
    let words = words?;
    if words.is_empty() {
        value.fault("at least one day is needed");
        return None;
    }
    let mut days: Vec<Weekday> = words.iter().filter_map(|word| word.parse().ok()).collect();
    days.sort_by_key(Weekday::num_days_from_monday);
    if days.windows(2).any(|pair| pair[0] == pair[1]) {
        value.fault("a day is named twice");
        return None;
    }
    Some(days)
}

fn rigs(root: &Table<'_>, names: &mut Names) -> Vec<Rig> {
    let mut rigs = Vec::new();
    for mut table in root.tables("rig") {
        let id = table.identify("rig", names);
        let rig = rig(&table, id.as_deref().unwrap_or_default());
        rigs.extend(rig.filter(|_| id.is_some()));
    }
    rigs
}

fn rig(table: &Table<'_>, id: &str) -> Option<Rig> {
    table.only(&[
        "id",
        "name",
        "does",
        "positions",
        "loading",
        "load",
        "unload",
        "changeover",
        "limits",
        "heat_k_per_min",
        "cool_k_per_min",
        "cycles_per_min",
        "calibration_due",
        "settle",
        "time_constant",
        "transfer_s",
    ]);
    let duration = |key| {
        table
            .get(key)
            .map_or(Some(Minutes::ZERO), |value| value.duration())
    };
    let rate = |key: &str| table.get(key).map(|value| value.rate());
    let loading = table.get("loading").map_or(Some("each"), |value| {
        value.word(&["each", "together", "held"])
    });
    let positions = table
        .get("positions")
        .map_or(Some(1), |value| value.whole(1..=100_000));
    let name = table
        .get("name")
        .map_or(Some(id.to_owned()), |value| value.name());
    let does = table.need("does").and_then(|value| capabilities(&value));
    let limits = table
        .get("limits")
        .map_or(Some(BTreeMap::new()), |value| limits(&value));
    let (load, unload, changeover) = (duration("load"), duration("unload"), duration("changeover"));
    let (heat, cool) = (rate("heat_k_per_min"), rate("cool_k_per_min"));
    let cycles = rate("cycles_per_min");
    let calibration = table.get("calibration_due").map(|value| value.date());
    let (settle, transfer) = (settle(table), rate("transfer_s"));
    Some(Rig {
        id: RigId::new(id),
        name: name?,
        does: does?,
        positions: u32::try_from(positions?).ok()?,
        loading: match loading? {
            "together" => Loading::Together,
            "held" => Loading::Held,
            _ => Loading::Each,
        },
        load: load?,
        unload: unload?,
        changeover: changeover?,
        limits: limits?,
        heat_k_per_min: heat.map_or(Some(None), |rate| rate.map(Some))?,
        cool_k_per_min: cool.map_or(Some(None), |rate| rate.map(Some))?,
        cycles_per_min: cycles.map_or(Some(None), |rate| rate.map(Some))?,
        calibration_due: calibration.map_or(Some(None), |date| date.map(Some))?,
        settle: settle.ok()?,
        transfer_s: transfer.map_or(Some(None), |seconds| seconds.map(Some))?,
    })
}

/// How a load settles, as a rig or a method says it: by an allowance or by a time constant.
pub(super) fn settle(table: &Table<'_>) -> Result<Option<Settle>, Faulty> {
    let (allowance, constant) = (table.get("settle"), table.get("time_constant"));
    match (allowance, constant) {
        (None, None) => Ok(None),
        (Some(value), None) => {
            let time = value.duration().ok_or(Faulty)?;
            Ok(Some(Settle::Allowance(time)))
        }
        (None, Some(value)) => {
            let time = value.length().ok_or(Faulty)?;
            Ok(Some(Settle::TimeConstant(time)))
        }
        (Some(_), Some(both)) => {
            both.fault("only one of `settle` and `time_constant` may stand here");
            Err(Faulty)
        }
    }
}

fn capabilities(value: &Value<'_>) -> Option<BTreeSet<String>> {
    let words: Option<BTreeSet<String>> = value.list()?.iter().map(Value::id).collect();
    let words = words?;
    if words.is_empty() {
        value.fault("at least one capability word is needed");
        return None;
    }
    Some(words)
}

fn limits(value: &Value<'_>) -> Option<BTreeMap<String, Limit>> {
    let mut limits = BTreeMap::new();
    let mut good = true;
    for (name, value) in value.inner_table()?.entries() {
        match limit(&value) {
            Some(limit) => {
                limits.insert(name, limit);
            }
            None => good = false,
        }
    }
    good.then_some(limits)
}

fn limit(value: &Value<'_>) -> Option<Limit> {
    let ends: Option<Vec<f64>> = value.list()?.iter().map(Value::number).collect();
    match ends?[..] {
        [min, max] if min <= max => Some(Limit { min, max }),
        [min, max] => {
            value.fault(&format!(
                "the lowest value {min} lies above the highest {max}"
            ));
            None
        }
        _ => {
            value.fault("a limit has two numbers: [lowest, highest]");
            None
        }
    }
}

fn outages(root: &Table<'_>, zone: &Zone, rigs: &Names) -> Vec<Outage> {
    let tables = root.tables("outage");
    tables
        .iter()
        .filter_map(|table| outage(table, zone, rigs))
        .collect()
}

fn outage(table: &Table<'_>, zone: &Zone, rigs: &Names) -> Option<Outage> {
    table.only(&["rig", "from", "to", "reason"]);
    let rig = table
        .need("rig")
        .and_then(|value| value.reference("rig", Some(rigs)));
    let from = table
        .need("from")
        .and_then(|value| value.instant(Some(zone)));
    let to_value = table.need("to");
    let to = to_value
        .as_ref()
        .and_then(|value| value.instant(Some(zone)));
    let reason = table
        .get("reason")
        .map_or(Some(String::new()), |value| value.name());
    let (from, to) = (from?, to?);
    if to <= from {
        to_value?.fault("an outage ends after it begins");
        return None;
    }
    Some(Outage {
        rig: RigId::new(&rig?),
        span: Span::new(from, to),
        reason: reason?,
    })
}
