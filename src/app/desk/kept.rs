//! The floor in a form that can be kept between two starts, so that a start reads only what is new.
//!
//! What is kept belongs to one user, is bound to the chain by the ledger, and is a shortening, never a source:
//! where it is missing, of another form or of another chain, every event is folded instead. A change of the
//! floor's meaning changes [`FORM`].

use crate::domain::event::Change;
use crate::domain::plan::{Finish, Times, Unplannable};
use crate::domain::roles::{Holder, Role};
use crate::domain::{
    Booking, MethodId, Minute, Minutes, PlanId, RequestId, RigId, Roles, Seq, UnitId, Verdict,
};
use crate::floor::{
    Down, Floor, Published, RigRecord, Said, Standing, UnitRecord, VerdictRecord, VisitRecord,
};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};

/// The form and the meaning of what is kept.
const FORM: u32 = 1;

/// The floor as bytes.
pub(super) fn bytes_of(floor: &Floor) -> Result<Vec<u8>, postcard::Error> {
    let mut words = Words::default();
    let stored = Stored::of(floor, &mut words);
    postcard::to_stdvec(&(FORM, words.list, stored))
}

/// The floor that bytes hold; `None` where they are of another form.
pub(super) fn floor_of(bytes: &[u8]) -> Option<Floor> {
    let (form, rest) = postcard::take_from_bytes::<u32>(bytes).ok()?;
    if form != FORM {
        return None;
    }
    let (words, stored): (Vec<String>, Stored) = postcard::from_bytes(rest).ok()?;
    stored.floor(&words)
}

/// Names that come again and again, each stored once.
#[derive(Default)]
struct Words {
    list: Vec<String>,
    places: HashMap<String, u32>,
}

impl Words {
    fn place(&mut self, word: &str) -> u32 {
        if let Some(place) = self.places.get(word) {
            return *place;
        }
        let place = u32::try_from(self.list.len()).expect("a lab has fewer names than this");
        self.list.push(word.to_owned());
        self.places.insert(word.to_owned(), place);
        place
    }
}

#[derive(Serialize, Deserialize)]
struct Stored {
    seen: u64,
    signed: u64,
    roles_seen: u64,
    roles: Vec<(Option<u32>, String, String)>,
    said: Vec<(u64, u64, StoredChange)>,
    requests: Vec<(String, u64)>,
    units: Vec<StoredUnit>,
    rigs: Vec<StoredRig>,
    published: Option<StoredPlan>,
}

#[derive(Serialize, Deserialize)]
enum StoredChange {
    Void,
    Restore,
    Field(String, String, String),
}

#[derive(Serialize, Deserialize)]
struct StoredUnit {
    unit: String,
    request: Option<u32>,
    visits: Vec<StoredVisit>,
    verdicts: Vec<StoredVerdict>,
    withdrawn: Option<(u64, i64, String)>,
}

#[derive(Serialize, Deserialize)]
struct StoredVisit {
    step: u32,
    rig: u32,
    position: Option<u32>,
    run: Option<u32>,
    loaded: i64,
    out: Option<i64>,
    started_by: u64,
    ended_by: Option<u64>,
}

#[derive(Serialize, Deserialize)]
struct StoredVerdict {
    step: u32,
    verdict: StoredWord,
    at: i64,
    person: u32,
    seq: u64,
}

#[derive(Serialize, Deserialize)]
enum StoredWord {
    Pass,
    Fail(String),
    Hold(String),
}

#[derive(Serialize, Deserialize)]
struct StoredRig {
    rig: String,
    down: Option<(i64, String, Option<i64>, u64)>,
    repairs: Vec<(i64, i64, String)>,
}

#[derive(Serialize, Deserialize)]
struct StoredPlan {
    plan: String,
    seq: u64,
    at: i64,
    cost: i64,
    bound: Option<i64>,
    bookings: Vec<StoredBooking>,
    finishes: Vec<(String, i64, i64, i64)>,
    unplannable: Vec<(String, u32, String)>,
}

#[derive(Serialize, Deserialize)]
struct StoredBooking {
    request: u32,
    unit: String,
    step: u32,
    method: u32,
    rig: u32,
    position: Option<u32>,
    run: Option<u32>,
    times: [i64; 5],
    because: String,
}

impl Stored {
    fn of(floor: &Floor, words: &mut Words) -> Self {
        let holder = |holder: &Holder| match holder {
            Holder::User(uid) => (Some(*uid), String::new()),
            Holder::Person(name) => (None, name.clone()),
        };
        let roles = floor.roles.iter().map(|(own, role)| {
            let (uid, name) = holder(own);
            (uid, name, role.word().to_owned())
        });
        let now = &floor.now;
        let requests = now.requests.iter();
        Self {
            seen: floor.seen().0,
            signed: floor.signed.0,
            roles_seen: floor.roles.seen().0,
            roles: roles.collect(),
            said: floor.said().map(said_words).collect(),
            requests: requests.map(|(id, seq)| (id.to_string(), seq.0)).collect(),
            units: now.units.iter().map(|own| unit_words(own, words)).collect(),
            rigs: now.rigs.iter().map(rig_words).collect(),
            published: now.published.as_ref().map(|own| plan_words(own, words)),
        }
    }

    fn floor(self, words: &[String]) -> Option<Floor> {
        let holder = |uid: Option<u32>, name| uid.map_or(Holder::Person(name), Holder::User);
        let held: Option<BTreeMap<Holder, Role>> = self
            .roles
            .into_iter()
            .map(|(uid, name, role)| Some((holder(uid, name), Role::of_word(&role)?)))
            .collect();
        let mut now = Standing::default();
        for (id, seq) in self.requests {
            now.requests.insert(RequestId::new(&id), Seq(seq));
        }
        let names = Names::of(words);
        for own in self.units {
            let (unit, record) = names.unit(own)?;
            if record.running().is_some() {
                now.running.insert(unit.clone());
            }
            now.units.insert(unit, record);
        }
        now.rigs = self.rigs.into_iter().map(rig_record).collect();
        now.published = match self.published {
            Some(plan) => Some(names.plan(plan)?),
            None => None,
        };
        let roles = Roles::stored(held?, Seq(self.roles_seen));
        let said = self.said.into_iter().map(said).collect();
        let (seen, signed) = (Seq(self.seen), Seq(self.signed));
        Some(Floor::stored(seen, signed, roles, now, said))
    }
}

fn said_words(own: &Said) -> (u64, u64, StoredChange) {
    let change = match &own.change {
        Change::Void => StoredChange::Void,
        Change::Restore => StoredChange::Restore,
        Change::Field { field, old, new } => {
            StoredChange::Field(field.clone(), old.clone(), new.clone())
        }
    };
    (own.seq.0, own.corrects.0, change)
}

fn said((seq, corrects, change): (u64, u64, StoredChange)) -> Said {
    let change = match change {
        StoredChange::Void => Change::Void,
        StoredChange::Restore => Change::Restore,
        StoredChange::Field(field, old, new) => Change::Field { field, old, new },
    };
    Said {
        seq: Seq(seq),
        corrects: Seq(corrects),
        change,
    }
}

fn unit_words((unit, own): (&UnitId, &UnitRecord), words: &mut Words) -> StoredUnit {
    let request = own.request.as_ref().map(|id| words.place(id.as_str()));
    let visits = own.visits.iter().map(|(step, own)| StoredVisit {
        step: *step,
        rig: words.place(own.rig.as_str()),
        position: own.position,
        run: own.run,
        loaded: own.loaded.get(),
        out: own.out.map(Minute::get),
        started_by: own.started_by.0,
        ended_by: own.ended_by.map(|seq| seq.0),
    });
    let visits = visits.collect();
    let verdicts = own.verdicts.iter().map(|(step, own)| StoredVerdict {
        step: *step,
        verdict: match &own.verdict {
            Verdict::Pass => StoredWord::Pass,
            Verdict::Fail { reason } => StoredWord::Fail(reason.clone()),
            Verdict::Hold { reason } => StoredWord::Hold(reason.clone()),
        },
        at: own.at.get(),
        person: words.place(&own.person),
        seq: own.seq.0,
    });
    let withdrawn = own.withdrawn.as_ref();
    StoredUnit {
        unit: unit.to_string(),
        request,
        visits,
        verdicts: verdicts.collect(),
        withdrawn: withdrawn.map(|(seq, at, why)| (seq.0, at.get(), why.clone())),
    }
}

fn rig_words((rig, own): (&RigId, &RigRecord)) -> StoredRig {
    let down = own.down.as_ref().map(|down| {
        let until = down.until.map(Minute::get);
        (down.since.get(), down.reason.clone(), until, down.seq.0)
    });
    let repairs = own.repairs.iter();
    StoredRig {
        rig: rig.to_string(),
        down,
        repairs: repairs
            .map(|(from, to, why)| (from.get(), to.get(), why.clone()))
            .collect(),
    }
}

fn rig_record(own: StoredRig) -> (RigId, RigRecord) {
    let down = own.down.map(|(since, reason, until, seq)| Down {
        since: Minute::new(since),
        reason,
        until: until.map(Minute::new),
        seq: Seq(seq),
    });
    let repairs = own.repairs.into_iter();
    let repairs = repairs.map(|(from, to, why)| (Minute::new(from), Minute::new(to), why));
    let record = RigRecord {
        down,
        repairs: repairs.collect(),
    };
    (RigId::new(&own.rig), record)
}

fn plan_words(own: &Published, words: &mut Words) -> StoredPlan {
    let bookings = own.bookings.iter().map(|own| {
        let times = &own.times;
        StoredBooking {
            request: words.place(own.request.as_str()),
            unit: own.unit.to_string(),
            step: own.step,
            method: words.place(own.method.as_str()),
            rig: words.place(own.rig.as_str()),
            position: own.position,
            run: own.run,
            times: [times.load, times.start, times.end, times.unload, times.out].map(Minute::get),
            because: own.because.clone(),
        }
    });
    let bookings = bookings.collect();
    let finishes = own.finishes.iter().map(|own| {
        let id = own.request.to_string();
        (id, own.finish.get(), own.late.get(), own.flow.get())
    });
    let left = own.unplannable.iter();
    StoredPlan {
        plan: own.plan.to_string(),
        seq: own.seq.0,
        at: own.at.get(),
        cost: own.cost,
        bound: own.bound,
        bookings,
        finishes: finishes.collect(),
        unplannable: left
            .map(|own| (own.request.to_string(), own.step, own.reason.clone()))
            .collect(),
    }
}

/// The stored names as the ids that they may stand for, so that all who share one share its text.
struct Names<'w> {
    words: &'w [String],
    rigs: Vec<RigId>,
    requests: Vec<RequestId>,
    methods: Vec<MethodId>,
}

impl<'w> Names<'w> {
    fn of(words: &'w [String]) -> Self {
        Self {
            words,
            rigs: words.iter().map(|word| RigId::new(word)).collect(),
            requests: words.iter().map(|word| RequestId::new(word)).collect(),
            methods: words.iter().map(|word| MethodId::new(word)).collect(),
        }
    }

    fn unit(&self, own: StoredUnit) -> Option<(UnitId, UnitRecord)> {
        let request = match own.request {
            Some(place) => Some(at(&self.requests, place)?),
            None => None,
        };
        let visits = own.visits.into_iter().map(|own| {
            let record = VisitRecord {
                rig: at(&self.rigs, own.rig)?,
                position: own.position,
                run: own.run,
                loaded: Minute::new(own.loaded),
                out: own.out.map(Minute::new),
                started_by: Seq(own.started_by),
                ended_by: own.ended_by.map(Seq),
            };
            Some((own.step, record))
        });
        let verdicts = own.verdicts.into_iter().map(|own| {
            let record = VerdictRecord {
                verdict: match own.verdict {
                    StoredWord::Pass => Verdict::Pass,
                    StoredWord::Fail(reason) => Verdict::Fail { reason },
                    StoredWord::Hold(reason) => Verdict::Hold { reason },
                },
                at: Minute::new(own.at),
                person: at(self.words, own.person)?,
                seq: Seq(own.seq),
            };
            Some((own.step, record))
        });
        let withdrawn = own.withdrawn;
        let record = UnitRecord {
            request,
            visits: visits.collect::<Option<_>>()?,
            verdicts: verdicts.collect::<Option<_>>()?,
            withdrawn: withdrawn.map(|(seq, at, why)| (Seq(seq), Minute::new(at), why)),
        };
        Some((UnitId::new(&own.unit), record))
    }

    fn plan(&self, own: StoredPlan) -> Option<Published> {
        let bookings = own.bookings.into_iter().map(|own| {
            let [load, start, end, unload, out] = own.times.map(Minute::new);
            Some(Booking {
                request: at(&self.requests, own.request)?,
                unit: UnitId::new(&own.unit),
                step: own.step,
                method: at(&self.methods, own.method)?,
                rig: at(&self.rigs, own.rig)?,
                position: own.position,
                run: own.run,
                times: Times {
                    load,
                    start,
                    end,
                    unload,
                    out,
                },
                because: own.because,
            })
        });
        let bookings: Vec<Booking> = bookings.collect::<Option<_>>()?;
        let by_step = bookings.iter().enumerate();
        let by_step = by_step.map(|(ix, own)| ((own.unit.clone(), own.step), ix));
        let finishes = own.finishes.into_iter();
        let left = own.unplannable.into_iter();
        Some(Published {
            plan: PlanId::new(&own.plan),
            seq: Seq(own.seq),
            at: Minute::new(own.at),
            cost: own.cost,
            bound: own.bound,
            by_step: by_step.collect(),
            bookings,
            finishes: finishes
                .map(|(id, finish, late, flow)| Finish {
                    request: RequestId::new(&id),
                    finish: Minute::new(finish),
                    late: Minutes::new(late),
                    flow: Minutes::new(flow),
                })
                .collect(),
            unplannable: left
                .map(|(id, step, reason)| Unplannable {
                    request: RequestId::new(&id),
                    step,
                    reason,
                })
                .collect(),
        })
    }
}

fn at<T: Clone>(list: &[T], place: u32) -> Option<T> {
    list.get(usize::try_from(place).ok()?).cloned()
}
