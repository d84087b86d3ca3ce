//! Heat cells and sparklines: figures that read without colour.

/// What a cell shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heat {
    /// Percent.
    Percent(i64),
    /// Nothing could be done.
    Closed,
    /// Nothing is known.
    NoData,
}

/// Two columns: `07`, `45`, `++` from 100 on, `--` where nothing could be done, `..` where nothing is known.
pub fn cell(heat: Heat) -> String {
    match heat {
        Heat::NoData => "..".to_owned(),
        Heat::Closed => "--".to_owned(),
        Heat::Percent(percent) if percent >= 100 => "++".to_owned(),
        Heat::Percent(percent) => format!("{:02}", percent.max(0)),
    }
}

/// Five steps from nothing to full, for shading.
pub fn step(heat: Heat) -> usize {
    match heat {
        Heat::NoData | Heat::Closed | Heat::Percent(..=0) => 0,
        Heat::Percent(1..=39) => 1,
        Heat::Percent(40..=69) => 2,
        Heat::Percent(70..=89) => 3,
        Heat::Percent(_) => 4,
    }
}

/// A line of one column a figure, of 0 to 100 percent: bars, or tenths in ASCII. Nothing (`_`, `0`) differs from
/// no data (`.`).
pub fn spark(figures: &[Option<i64>], unicode: bool) -> String {
    const BARS: [char; 9] = ['_', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    const TENTHS: [char; 10] = ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9'];
    let place = |percent: i64, steps: i64| {
        usize::try_from((percent.clamp(0, 99) * steps + 99) / 100).unwrap_or(0)
    };
    let one = |figure: &Option<i64>| match figure {
        None => '.',
        Some(percent) if unicode => BARS[place(*percent, 8)],
        Some(percent) => TENTHS[usize::try_from(percent.clamp(&0, &99) / 10).unwrap_or(0)],
    };
    figures.iter().map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_two_columns_and_tell_full_closed_and_unknown_apart() {
        let all = [
            Heat::Percent(7),
            Heat::Percent(100),
            Heat::Closed,
            Heat::NoData,
        ];
        assert_eq!(all.map(cell), ["07", "++", "--", ".."]);
        let steps = [Heat::Percent(0), Heat::Percent(50), Heat::Percent(100)];
        assert_eq!(steps.map(step), [0, 2, 4]);
    }

    #[test]
    fn a_sparkline_tells_nothing_from_no_data() {
        let figures = [Some(0), None, Some(1), Some(45), Some(99), Some(100)];
        assert_eq!(spark(&figures, true), "_.▁▄██");
        assert_eq!(spark(&figures, false), "0.0499");
    }
}
