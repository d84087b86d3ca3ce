//! Heat cells: two digits of percent that read without colour.

/// `07`, `45`, `++` from 100 on, `--` where nothing could be done.
pub fn cell(percent: Option<i64>) -> String {
    match percent {
        None => "--".to_owned(),
        Some(percent) if percent >= 100 => "++".to_owned(),
        Some(percent) => format!("{:02}", percent.max(0)),
    }
}

/// Five steps from nothing to full, for shading.
pub fn step(percent: Option<i64>) -> usize {
    match percent {
        None | Some(..=0) => 0,
        Some(1..=39) => 1,
        Some(40..=69) => 2,
        Some(70..=89) => 3,
        Some(_) => 4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_two_columns_and_tell_full_from_closed() {
        assert_eq!(
            [cell(Some(7)), cell(Some(100)), cell(None)],
            ["07", "++", "--"]
        );
        assert_eq!([step(Some(0)), step(Some(50)), step(Some(100))], [0, 2, 4]);
    }
}
