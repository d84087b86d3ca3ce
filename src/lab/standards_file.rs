//! What standards say: the built-in `standards.toml`, and `[[standard]]` tables of a lab's `methods.toml`.

use super::lab_file::lines;
use super::names::Names;
use super::value::{Faulty, Table, Value};
use crate::domain::StandardId;
use crate::domain::standard::{Figure, Known, Listed, Recovery, Standard};
use std::collections::BTreeMap;

/// Standards without a fault, the names of all, and the orders that they fix.
#[derive(Default)]
pub(super) struct Standards {
    pub(super) good: BTreeMap<StandardId, Standard>,
    pub(super) names: Names,
    pub(super) orders: Vec<Order>,
}

/// An order of exposures on one unit that a standard fixes: where all of them are in a sequence, each
/// comes for the first time after the one before it.
#[derive(Clone, Debug)]
pub(super) struct Order {
    /// Who fixes it.
    pub(super) name: String,
    /// How it is known.
    pub(super) known: Known,
    /// What comes after what.
    pub(super) standards: Vec<StandardId>,
}

impl Standards {
    /// The built-in ones added; one of the lab's own replaces the whole of one, faulty or not.
    pub(super) fn with(mut self, built_in: Self) -> Self {
        for (id, standard) in built_in.good {
            if !self.names.has(id.as_str()) {
                self.names.note(id.as_str());
                self.good.insert(id, standard);
            }
        }
        self.orders.extend(built_in.orders);
        self
    }
}

/// Reads standards and orders.
pub(super) fn read(root: &Table<'_>) -> Standards {
    let mut standards = Standards::default();
    for mut table in root.tables("standard") {
        let id = table.identify("standard", &mut standards.names);
        let standard = standard(&table, id.as_deref().unwrap_or_default());
        if let (Some(id), Ok(standard)) = (id, standard) {
            standards.good.insert(StandardId::new(&id), standard);
        }
    }
    let orders = root.tables("order");
    standards.orders = orders.iter().filter_map(order).collect();
    standards
}

fn standard(table: &Table<'_>, id: &str) -> Result<Standard, Faulty> {
    table.only(&[
        "id",
        "name",
        "listed",
        "figure",
        "recovery",
        "recovery_known",
        "spoils",
        "units_max",
        "cycles_per_unit_max",
        "caution",
    ]);
    let name = table.need("name").and_then(|value| value.name());
    let listed = table.maybe("listed", |value| all(value, listed));
    let figures = table.maybe("figure", |value| all(value, figure));
    let recovery = recovery(table);
    let spoils = table.maybe("spoils", known);
    let units_max = table.maybe("units_max", |value| value.whole(1..=100_000));
    let cycles_max = table.maybe("cycles_per_unit_max", |value| {
        value.whole(1..=10_000_000_000)
    });
    let cautions = table.get("caution").map(|value| lines(&value));
    Ok(Standard {
        id: StandardId::new(id),
        name: name.ok_or(Faulty)?,
        listed: listed?.unwrap_or_default(),
        figures: figures?.unwrap_or_default(),
        recovery: recovery?,
        spoils: spoils?,
        units_max: units_max?.and_then(|most| u32::try_from(most).ok()),
        cycles_per_unit_max: cycles_max?.map(i64::unsigned_abs),
        cautions: cautions.unwrap_or_default(),
    })
}

/// Every entry of a list, where all are good.
fn all<T>(value: &Value<'_>, read: impl Fn(&Value<'_>) -> Option<T>) -> Option<Vec<T>> {
    let read: Vec<Option<T>> = value.list()?.iter().map(read).collect();
    read.into_iter().collect()
}

fn known(value: &Value<'_>) -> Option<Known> {
    let word = value.word(&Known::ALL.map(Known::word))?;
    Known::ALL.into_iter().find(|known| known.word() == word)
}

fn recovery(table: &Table<'_>) -> Result<Option<Recovery>, Faulty> {
    let rest = table.maybe("recovery", Value::rest)?;
    let known = table.maybe("recovery_known", known)?;
    match (rest, known) {
        (None, None) => Ok(None),
        (Some(rest), Some(known)) => Ok(Some(Recovery { rest, known })),
        _ => {
            let why = "`recovery` and `recovery_known` come together";
            table.site.fault(&table.what, why);
            Err(Faulty)
        }
    }
}

fn figure(value: &Value<'_>) -> Option<Figure> {
    let table = value.inner_table()?;
    table.only(&["what", "is", "known"]);
    let text = |key| table.need(key).and_then(|value| value.name());
    let (what, is) = (text("what"), text("is"));
    let known = table.need("known").and_then(|value| known(&value));
    Some(Figure {
        what: what?,
        value: is?,
        known: known?,
    })
}

fn listed(value: &Value<'_>) -> Option<Listed> {
    let table = value.inner_table()?;
    let known = table.need("known").and_then(|value| known(&value));
    let mut lists = table.entries();
    lists.retain(|(name, _)| name != "known");
    if lists.is_empty() {
        value.fault("at least one list of values is needed");
        return None;
    }
    let mut values = BTreeMap::new();
    let mut good = true;
    for (name, value) in lists {
        let number = |value: &Value<'_>| {
            if Listed::is_time(&name) {
                value.length().map(|time| time.get() as f64)
            } else {
                value.number()
            }
        };
        match all(&value, number) {
            Some(list) if list.is_empty() => {
                value.fault("at least one value is needed");
                good = false;
            }
            Some(list) => {
                values.insert(name, list);
            }
            None => good = false,
        }
    }
    known.filter(|_| good).map(|known| Listed { values, known })
}

fn order(table: &Table<'_>) -> Option<Order> {
    table.only(&["name", "known", "standards"]);
    let name = table.need("name").and_then(|value| value.name());
    let known = table.need("known").and_then(|value| known(&value));
    let standards = table.need("standards").and_then(|value| {
        let id = |value: &super::value::Value<'_>| value.id();
        all(&value, id)
    });
    Some(Order {
        name: name?,
        known: known?,
        standards: standards?.iter().map(|id| StandardId::new(id)).collect(),
    })
}
