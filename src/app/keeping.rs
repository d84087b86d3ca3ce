//! The file that keeps a what-if between two starts: read when the screens open, written after each change of it,
//! so that no way to end the program can lose it.

use super::choice::Choice;
use super::plan::draft::Draft;
use super::plan::keep::Kept;
use super::state::App;
use std::io::Write as _;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::Path;

/// Largest file that is read, in bytes: a plan of tens of thousands of bookings is smaller.
const LARGEST: u64 = 64 << 20;

/// Reads what was kept; a what-if is offered, and at the first start of a day the morning sheet.
pub fn recall(app: &mut App, path: &Path) {
    let kept = match read(path) {
        Ok(kept) => kept,
        Err(why) => {
            let words = format!(
                "a what-if kept in {} cannot be read, and is left there: {why}",
                path.display()
            );
            app.said = Some((false, words));
            return;
        }
    };
    app.keep = Some(path.to_owned());
    app.sheet = kept.sheet;
    let today = app.desk.lab.zone.local(app.now).date();
    if app.sheet != Some(today) && !app.view.morning.is_empty() && app.said.is_none() {
        let count = app.view.morning.len();
        let entries = if count == 1 { "entry" } else { "entries" };
        let words = format!("the first start today: s shows the morning sheet, {count} {entries}");
        app.said = Some((true, words));
    }
    app.plan.offered = kept.draft;
    if let Some(draft) = &app.plan.offered {
        let about = offer_words(app, draft);
        app.choose_from(Choice::offered(about));
    }
}

/// What was kept, in words.
fn offer_words(app: &App, draft: &Draft) -> String {
    let published = app.desk.floor.now.published.as_ref();
    let count = draft.changes(published, app.now).len();
    let changes = if count == 1 { "change" } else { "changes" };
    let begun = app
        .asked()
        .dates
        .short(app.desk.lab.zone.local(draft.begun));
    let other = draft.from != published.map(|own| own.seq);
    let since = if other {
        "; another plan is in force since"
    } else {
        ""
    };
    format!("{count} {changes} to the plan, begun {begun}, not in force{since}")
}

fn read(path: &Path) -> Result<Kept, String> {
    match std::fs::metadata(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Kept::default()),
        Err(error) => return Err(error.to_string()),
        Ok(about) if about.len() > LARGEST => return Err("it is far too large".to_owned()),
        Ok(_) => {}
    }
    let text = std::fs::read_to_string(path).map_err(|error| error.to_string())?;
    Kept::from_text(&text)
}

/// Writes what there is to keep; where that fails it is said.
pub(super) fn keep(app: &mut App) {
    let Some(path) = app.keep.clone() else {
        return;
    };
    let draft = app.plan.draft.clone().filter(|_| app.changed() > 0);
    let kept = Kept {
        draft: draft.or_else(|| app.plan.offered.clone()),
        sheet: app.sheet,
    };
    if let Err(error) = write(&path, &kept.to_text()) {
        let words = format!(
            "the what-if could not be kept in {}: {error}",
            path.display()
        );
        app.said = Some((false, words));
        app.dirty = true;
    }
}

/// Writes beside the file and puts it in its place whole.
fn write(path: &Path, text: &str) -> std::io::Result<()> {
    if let Some(folder) = path.parent() {
        std::fs::DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(folder)?;
    }
    let beside = path.with_extension(format!("{}.new", std::process::id()));
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&beside)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    std::fs::rename(&beside, path)
}
