//! Sampling a lot: accept where the sample of n has at most c failures.

use super::cannot::{CannotSay, Said, check, countable, fraction, of_units, some};
use super::demonstration::{fewer_failures, units_needed, whole};
use super::mtbf::risks;
use super::special::{Chances, Share, bad_where_at_most, ln_at_most};

/// Chance to accept from a process or a large lot with fraction bad `p`: Σ_{i≤c} C(n,i) p^i (1−p)^(n−i).
///
/// `n ≥ 1`, `0 ≤ p ≤ 1`. Where the sample is more than a tenth of its lot, [`oc_hypergeometric`] is right.
///
/// # Errors
/// `out_of_range`.
pub fn oc_binomial(n: u64, c: u64, p: f64) -> Said<f64> {
    some("n", n)?;
    countable("n", n)?;
    check((0.0..=1.0).contains(&p), "p", p, "it must lie from 0 to 1")?;
    Ok(if c >= n || p == 0.0 {
        1.0
    } else if p == 1.0 {
        0.0
    } else {
        ln_at_most(c, n as f64, Chances::of_bad(p)).exp()
    })
}

/// Chance to accept a single lot of `lot` units with `d` bad ones: Σ_{i≤c} C(d,i) C(lot−d,n−i) / C(lot,n).
///
/// `1 ≤ n ≤ lot`, `d ≤ lot`.
///
/// # Errors
/// `out_of_range`.
pub fn oc_hypergeometric(lot: u64, n: u64, c: u64, d: u64) -> Said<f64> {
    some("lot", lot)?;
    countable("lot", lot)?;
    some("n", n)?;
    check(n <= lot, "n", n as f64, "it must not be more than the lot")?;
    check(d <= lot, "d", d as f64, "it must not be more than the lot")?;
    let (first, chances) = hypergeometric(lot, d, n);
    let below = (first..).zip(&chances).filter(|(bad, _)| *bad <= c);
    Ok(below.map(|(_, chance)| chance).sum::<f64>().min(1.0))
}

/// Chances of each number of bad ones in a sample of `n` from `lot` with `d` bad, from the smallest number
/// on that has any. Formed from ratios of neighbours outwards from the likeliest number and divided by
/// their sum: no factorials.
pub(super) fn hypergeometric(lot: u64, d: u64, n: u64) -> (u64, Vec<f64>) {
    let first = (n + d).saturating_sub(lot);
    let last = n.min(d);
    // The chance of x + 1 over that of x.
    let ratio = |x: u64| {
        let up = (d - x) as f64 * (n - x) as f64;
        up / ((x + 1) as f64 * (lot + x + 1 - d - n) as f64)
    };
    let likeliest = (n as f64 + 1.0) * (d as f64 + 1.0) / (lot as f64 + 2.0);
    let likeliest = whole(likeliest).clamp(first, last);
    // Beyond where a chance is too small for a number there is nothing to add.
    let mut up = vec![1.0_f64];
    for x in likeliest..last {
        up.push(up[up.len() - 1] * ratio(x));
        if up[up.len() - 1] == 0.0 {
            break;
        }
    }
    let mut down = vec![1.0_f64];
    for x in (first..likeliest).rev() {
        down.push(down[down.len() - 1] / ratio(x));
        if down[down.len() - 1] == 0.0 {
            break;
        }
    }
    let sum: f64 = up.iter().sum::<f64>() + down[1..].iter().sum::<f64>();
    let least = likeliest + 1 - down.len() as u64;
    let all = down[1..].iter().rev().chain(&up);
    (least, all.map(|weight| weight / sum).collect())
}

/// Fraction bad that is accepted with chance `pa`: BetaInv(1−pa; c+1, n−c).
///
/// With pa = 0.95 about the AQL, with pa = 0.10 the LTPD. `0 ≤ c < n`, `0 < pa < 1`.
///
/// # Errors
/// `out_of_range`.
pub fn quality_at_pa(n: u64, c: u64, pa: f64) -> Said<f64> {
    fewer_failures(c, n).map_err(|_| CannotSay::OutOfRange {
        what: "c",
        got: c as f64,
        allowed: "it must be less than n, and n at least 1",
    })?;
    fraction("pa", pa)?;
    Ok(bad_where_at_most(c, n, Share::of(pa)))
}

/// Two points of an operating characteristic.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoPoints {
    /// Fraction bad that should pass.
    pub p1: f64,
    /// Risk to reject at `p1`.
    pub alpha: f64,
    /// Fraction bad that should not pass, above `p1`.
    pub p2: f64,
    /// Risk to accept at `p2`.
    pub beta: f64,
}

/// The smallest plan, sample size and acceptance number, with Pa(p1) ≥ 1−α and Pa(p2) ≤ β.
///
/// # Errors
/// `out_of_range`.
pub fn two_point_plan(points: TwoPoints) -> Said<(u64, u64)> {
    const MOST_ACCEPTED: u64 = 200_000;
    fraction("p1", points.p1)?;
    fraction("p2", points.p2)?;
    check(
        points.p1 < points.p2,
        "p2",
        points.p2,
        "it must be above p1",
    )?;
    risks(points.alpha, points.beta)?;
    let ln_good = (-points.p2).ln_1p();
    // For each c the sample that is just large enough for p2; it grows with c, so the first that also
    // serves p1 is the smallest.
    let needed = |c: u64| units_needed(ln_good, 1.0 - points.beta, c);
    let serves = |n: u64, c: u64| -> Said<bool> {
        Ok(oc_binomial(n.max(1), c, points.p1)? >= 1.0 - points.alpha - 1e-12)
    };
    // The largest sample, not whole, that serves p1 outgrows the least for p2 once and for all; that samples are
    // whole blurs it by one. So where even a sample of one less does not serve, no smaller c does.
    let not_yet = |c: u64| -> Said<bool> { Ok(!serves(needed(c)?.saturating_sub(1), c)?) };
    let (mut low, mut high) = (0, 1);
    while not_yet(high)? {
        check(
            high < MOST_ACCEPTED,
            "p2",
            points.p2,
            "it is too close to p1",
        )?;
        (low, high) = (high, high * 2);
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if not_yet(middle)? {
            low = middle;
        } else {
            high = middle;
        }
    }
    let mut c = low;
    loop {
        let n = needed(c)?;
        if serves(n, c)? {
            return Ok((n, c));
        }
        c += 1;
    }
}

/// Upper ends of the lot sizes of ISO 2859-1 table 1, with the letters of levels S-1 S-2 S-3 S-4 I II III.
const LETTERS: [(u64, &str); 15] = [
    (8, "AAAAAAB"),
    (15, "AAAAABC"),
    (25, "AABBBCD"),
    (50, "ABBCCDE"),
    (90, "BBCCCEF"),
    (150, "BBCDDFG"),
    (280, "BCDEEGH"),
    (500, "BCDEFHJ"),
    (1_200, "CCEFGJK"),
    (3_200, "CDEGHKL"),
    (10_000, "CDFGJLM"),
    (35_000, "CDFHKMN"),
    (150_000, "DEGJLNP"),
    (500_000, "DEGJMPQ"),
    (u64::MAX, "DEHKNQR"),
];

/// Levels in the order of [`LETTERS`].
const LEVELS: [&str; 7] = ["S-1", "S-2", "S-3", "S-4", "I", "II", "III"];

/// Code letters with their sample sizes, in order (ISO 2859-1 table 2-A).
const SIZES: [(char, u64); 16] = [
    ('A', 2),
    ('B', 3),
    ('C', 5),
    ('D', 8),
    ('E', 13),
    ('F', 20),
    ('G', 32),
    ('H', 50),
    ('J', 80),
    ('K', 125),
    ('L', 200),
    ('M', 315),
    ('N', 500),
    ('P', 800),
    ('Q', 1_250),
    ('R', 2_000),
];

/// Acceptance quality limits in their preferred steps.
const AQLS: [f64; 20] = [
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0,
    15.0, 25.0, 40.0, 65.0,
];

/// Code letter of a lot size and inspection level (ISO 2859-1 table 1); lots of 2 or more.
///
/// # Errors
/// `out_of_range`.
pub fn iso2859_letter(lot: u64, level: &str) -> Said<char> {
    check(lot >= 2, "lot", lot as f64, "it must be 2 or more")?;
    let column = LEVELS.iter().position(|own| *own == level);
    let row = LETTERS.iter().find(|(upto, _)| lot <= *upto);
    let letter = column
        .zip(row)
        .and_then(|(at, (_, letters))| letters.chars().nth(at));
    letter.ok_or(CannotSay::UnknownWord {
        what: "level",
        allowed: "it must be one of S-1 S-2 S-3 S-4 I II III",
    })
}

fn letter_place(letter: &str) -> Said<usize> {
    let named = |(own, _): &(char, u64)| letter.chars().eq([*own]);
    SIZES.iter().position(named).ok_or(CannotSay::UnknownWord {
        what: "letter",
        allowed: "it must be one of A to R without I and O",
    })
}

/// Sample size of a code letter (ISO 2859-1 table 2-A).
///
/// # Errors
/// `out_of_range` for a letter that the standard does not have.
pub fn iso2859_n(letter: &str) -> Said<u64> {
    Ok(SIZES[letter_place(letter)?].1)
}

/// Acceptance number of a normal single plan (ISO 2859-1 table 2-A); one more rejects.
///
/// The table runs along diagonals: a letter has at each limit what the letter before has at the next higher
/// limit. Where it shows an arrow, another letter *and its sample size* must be used, so there is no answer.
///
/// # Errors
/// `out_of_range` for an unknown letter or limit, and for an arrow.
pub fn iso2859_ac(letter: &str, aql: f64) -> Said<u64> {
    let row = letter_place(letter)?;
    let same = |own: &f64| (own - aql).abs() <= 1e-9 * own;
    let column = AQLS.iter().position(same).ok_or(CannotSay::OutOfRange {
        what: "aql",
        got: aql,
        allowed: "it must be a preferred limit such as 0.65, 1.0, 1.5, 2.5",
    })?;
    let number = match row + column {
        14 => Some(0),
        17 => Some(1),
        18 => Some(2),
        19 => Some(3),
        20 => Some(5),
        21 => Some(7),
        22 => Some(10),
        23 => Some(14),
        24 => Some(21),
        _ => None,
    };
    number.ok_or(CannotSay::OutOfRange {
        what: "aql",
        got: aql,
        allowed: "the table has an arrow there: another letter and its sample size",
    })
}

/// `k` of `n` in two samples, checked.
pub(super) fn two_samples(k1: u64, n1: u64, k2: u64, n2: u64) -> Said<()> {
    of_units(k1, n1)?;
    of_units(k2, n2)
}
