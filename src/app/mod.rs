//! State of the running program: actions, messages, update, effects.
//!
//! [`desk`] is what a person at the desk can do, with or without a terminal: the command line and
//! the screens both go through it. [`walk`] puts what they show in words, [`what_if`] plans a changed lab beside the real one, and
//! [`plan`] is what the Plan screen works with, [`morning`] what a day begins with, and
//! [`remedies`] looks for the smallest change that makes a late request on time. [`scenario`] plays the story of
//! the demo. [`papers`] gathers what goes out for people to read. The rest is the program on the screen: a key
//! becomes an [`Action`] by one table, an action becomes a change of [`App`] or an [`Effect`] in [`App::update`],
//! which does no IO; only `effects`, `jobs` and `keeping` call the desk, threads and files.

pub mod actions;
mod bench_deeds;
mod bench_state;
pub mod card;
mod choice;
pub mod config;
pub mod dates;
pub mod demo_files;
pub mod desk;
mod effects;
pub mod evidence;
pub mod field_use;
pub mod forecast;
mod handed_out;
mod jobs;
mod keeping;
pub mod keymap;
mod leave;
pub mod line_samples;
mod lists;
pub mod load_view;
pub mod morning;
pub mod offers;
pub mod papers;
pub mod plain_bench;
pub mod plan;
mod pointer;
mod recording;
pub mod remedies;
pub mod review;
pub mod rig_work;
pub mod scan;
pub mod scan_burst;
pub mod scenario;
mod selection;
pub mod settings;
mod size_form;
pub mod sizing;
mod state;
mod unit_sort;
mod update;
mod update_bench;
mod update_forecast;
mod update_hand;
mod update_load;
mod update_plan;
mod update_what_if;
mod update_when;
pub mod view;
pub mod walk;
pub mod what_if;
pub mod when;

pub use actions::{ACTIONS, Action, Entry, Kind, Where};
pub use bench_state::{Answer, Bench, BenchList, Mood};
pub use choice::{Choice, Chosen, Count, Reply};
pub use jobs::Jobs;
pub use keeping::recall;
pub use keymap::KeyMap;
pub use pointer::{Pointer, PointerKind};
pub use recording::{Recording, perform, try_again};
pub use settings::Settings;
pub use state::{
    App, Effect, Field, Key, Message, Overlay, Purpose, RigOffer, Screen, SizeForm, UnitList,
    Waiting, WhenFor,
};
pub use unit_sort::UnitSort;
