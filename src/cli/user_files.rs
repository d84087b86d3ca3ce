//! The files of the user's configuration folder: keys, colours, and the rest.

use crate::app::Settings;
use crate::app::config::Fault;
use crate::screens::looks::Looks;
use std::io::Read;
use std::path::Path;

/// Largest file that is read, in bytes.
const LARGEST: u64 = 1 << 20;

/// What the files say, with what is built in where they say nothing.
#[derive(Clone)]
pub(crate) struct UserFiles {
    pub(crate) settings: Settings,
    pub(crate) looks: Looks,
}

/// Reads them; without a folder or a file, what is built in counts.
pub(crate) fn read(folder: Option<&Path>) -> UserFiles {
    let mut faults = Vec::new();
    let mut text = |name: &str| -> Option<(String, String)> {
        let path = folder?.join(name);
        let shown = path.display().to_string();
        match contents(&path) {
            Ok(text) => text.map(|text| (shown, text)),
            Err(error) => {
                faults.push(Fault {
                    file: shown,
                    line: 1,
                    name: String::new(),
                    why: format!("{error}; what is built in counts"),
                });
                None
            }
        }
    };
    let (keys, theme, rest) = (text("keys.toml"), text("theme.toml"), text("settings.toml"));
    let mut settings = Settings::default();
    let mut looks = Looks::built_in();
    if let Some((name, text)) = keys {
        let (keys, more) = settings.keys.with(&name, &text);
        settings.keys = keys;
        faults.extend(more);
    }
    if let Some((name, text)) = theme {
        let (own, more) = looks.with(&name, &text);
        looks = own;
        faults.extend(more);
    }
    if let Some((name, text)) = rest {
        faults.extend(settings.read(&name, &text));
    }
    settings.faults = faults;
    UserFiles { settings, looks }
}

/// The text of a file; nothing where there is none.
fn contents(path: &Path) -> std::io::Result<Option<String>> {
    let file = match std::fs::File::open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    let mut text = String::new();
    let read = file.take(LARGEST + 1).read_to_string(&mut text)?;
    if u64::try_from(read).is_ok_and(|bytes| bytes > LARGEST) {
        let words = format!("it is larger than {LARGEST} bytes");
        return Err(std::io::Error::new(std::io::ErrorKind::FileTooLarge, words));
    }
    Ok(Some(text))
}
