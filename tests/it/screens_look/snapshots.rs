//! Every screen of the demo's Monday at five sizes, with marks of Unicode and of ASCII, and what lies in front.

use crate::support::stage::{THEMES, demo, overlays, shot, shown};
use rigday::app::{Overlay, Screen};

const SIZES: [(u16, u16); 5] = [(80, 24), (120, 40), (200, 60), (60, 18), (40, 12)];

#[test]
fn screens_look_as_they_were_read() {
    let mut app = demo();
    for screen in Screen::ALL {
        app.screen = screen;
        for (width, height) in SIZES {
            for (theme, set) in THEMES.iter().zip(["unicode", "ascii"]) {
                let name = format!("{}_{width}x{height}_{set}", screen.name().to_lowercase());
                insta::assert_snapshot!(name, shot(&shown(&app, theme, (width, height))));
            }
        }
    }
}

#[test]
fn what_lies_in_front_looks_as_it_was_read() {
    let mut app = demo();
    for (at, overlay) in overlays(&app).into_iter().enumerate() {
        // Figures of a search depend on its rounds, and its reasons are read elsewhere.
        if matches!(
            overlay,
            Overlay::Difference { .. } | Overlay::Beside { .. } | Overlay::Size(_)
        ) {
            continue;
        }
        app.overlays = vec![overlay];
        let name = format!("front_{at:02}_80x24");
        insta::assert_snapshot!(name, shot(&shown(&app, &THEMES[0], (80, 24))));
    }
}
