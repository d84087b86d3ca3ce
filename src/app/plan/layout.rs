//! How the body of the Plan screen is divided, and which row is the first.

/// Rows and columns of the Plan screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlanLayout {
    /// Columns of a rig's name and mark, before its track.
    pub name: u16,
    /// Rows of rigs.
    pub rigs: u16,
    /// Rows of crews.
    pub crews: u16,
    /// Rows about what is selected.
    pub detail: u16,
    /// Columns of a track.
    pub track: u16,
}

/// What has to find room.
#[derive(Clone, Copy, Debug)]
pub struct Wanted {
    /// Rigs of the lab.
    pub rigs: usize,
    /// Crews of the lab.
    pub crews: usize,
    /// Columns of the longest name of a rig.
    pub name: usize,
    /// Columns of the longest name of a crew; it counts where there is much room.
    pub crew: usize,
}

impl PlanLayout {
    /// Divides a body of `width` by `height`: an axis, rigs, crews, detail. Rigs come first; all crews are shown
    /// where no rig loses its row by it, else one row stands for them, and none where it is low.
    pub fn of(width: u16, height: u16, wanted: Wanted) -> Self {
        let names = if width < 110 {
            wanted.name
        } else {
            wanted.name.max(wanted.crew)
        };
        let longest = match width {
            ..60 => 6,
            60..100 => 8,
            _ => 14,
        };
        let name = u16::try_from(names.clamp(6, longest)).unwrap_or(6) + 6;
        let room = height.saturating_sub(1);
        let least = match height {
            18.. => 4,
            13.. => 3,
            _ => 1,
        };
        let least = least.min(room);
        let rows = |count: usize| u16::try_from(count).unwrap_or(u16::MAX);
        let (rigs, crews) = (rows(wanted.rigs), rows(wanted.crews));
        let crews = match (room - least).checked_sub(rigs) {
            Some(spare) if spare >= crews => crews,
            _ if height >= 18 => crews.min(1),
            _ => 0,
        };
        let rigs = rigs.min(room - least - crews);
        Self {
            name: name.min(width),
            rigs,
            crews,
            detail: (room - rigs - crews).min(9),
            track: width.saturating_sub(name),
        }
    }

    /// The first row shown so that `row` is among them, moving as little as possible.
    pub fn first(&self, first: usize, row: usize, count: usize) -> usize {
        let rows = usize::from(self.rigs).max(1);
        let last = count.saturating_sub(rows);
        first.min(last).clamp((row + 1).saturating_sub(rows), row)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(width: u16, height: u16) -> PlanLayout {
        let wanted = Wanted {
            rigs: 18,
            crews: 4,
            name: 5,
            crew: 5,
        };
        PlanLayout::of(width, height, wanted)
    }

    #[test]
    fn rigs_come_first_and_nothing_is_lost() {
        let own = of(80, 21);
        assert_eq!((own.rigs, own.crews, own.detail, own.track), (15, 1, 4, 68));
        let own = of(120, 37);
        assert_eq!((own.rigs, own.crews, own.detail), (18, 4, 9));
        for height in 1..60 {
            let own = of(80, height);
            assert!(1 + own.rigs + own.crews + own.detail <= height, "{own:?}");
        }
    }

    #[test]
    fn the_selected_row_is_always_among_those_shown() {
        let own = of(80, 21);
        assert_eq!(own.first(0, 14, 18), 0);
        assert_eq!(own.first(0, 15, 18), 1);
        assert_eq!(own.first(3, 1, 18), 1);
        assert_eq!(own.first(9, 17, 18), 3);
        assert_eq!(of(80, 60).first(5, 3, 18), 0);
    }
}
