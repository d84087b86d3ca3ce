//! Every function of this room by its name, for `rigday calc`: text in, one value out.
//!
//! Inputs are `name=value`; a list is `a|b|c`, `inf` is infinity. Nothing is computed here.

mod field;
mod fits;
mod units;

use super::cannot::CannotSay;
use std::collections::BTreeMap;
use std::fmt;

/// One function.
pub struct Function {
    /// Its name.
    pub name: &'static str,
    /// What the value means, with its unit.
    pub meaning: &'static str,
    /// Names of its inputs; one that may be left out ends in `?`.
    pub inputs: &'static [&'static str],
    /// Inputs to try it with.
    pub example: &'static str,
    run: fn(&Inputs) -> Result<Value, Fault>,
}

/// What a function says.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A number, perhaps infinite.
    Number(f64),
    /// A whole number.
    Count(u64),
    /// A word.
    Word(String),
}

impl From<f64> for Value {
    fn from(own: f64) -> Self {
        Self::Number(own)
    }
}

impl From<u64> for Value {
    fn from(own: u64) -> Self {
        Self::Count(own)
    }
}

impl From<Option<u64>> for Value {
    fn from(own: Option<u64>) -> Self {
        own.map_or_else(|| Self::Word("none".to_owned()), Self::Count)
    }
}

impl From<char> for Value {
    fn from(own: char) -> Self {
        Self::Word(own.to_string())
    }
}

impl fmt::Display for Value {
    /// The shortest text that reads back as the same number; very large and small ones with an exponent.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(own) if *own == 0.0 => f.write_str("0"),
            Self::Number(own) if own.is_finite() && !(1e-5..1e16).contains(&own.abs()) => {
                write!(f, "{own:e}")
            }
            Self::Number(own) => write!(f, "{own}"),
            Self::Count(own) => write!(f, "{own}"),
            Self::Word(own) => f.write_str(own),
        }
    }
}

/// Why there is no value.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Fault {
    /// The arithmetic has no answer.
    #[error(transparent)]
    Cannot(#[from] CannotSay),
    /// No such function.
    #[error("there is no function {0}; `rigday calc` alone lists them")]
    NoFunction(String),
    /// An input that the function needs.
    #[error("{function} needs {name}; for example: {example}")]
    Missing {
        /// The function.
        function: &'static str,
        /// The input.
        name: String,
        /// How it is called.
        example: &'static str,
    },
    /// An input that the function does not have.
    #[error("{function} has no input {name}; it takes {takes}")]
    NoInput {
        /// The function.
        function: &'static str,
        /// What was given.
        name: String,
        /// What it takes.
        takes: String,
    },
    /// An input that is not of the form name=value, or is given twice.
    #[error("{0}: an input is name=value, each given once")]
    NotAnInput(String),
    /// Text where a number should stand.
    #[error("{name}={text}: a number is needed, or numbers between | signs")]
    NotANumber {
        /// The input.
        name: &'static str,
        /// What was given.
        text: String,
    },
}

impl Fault {
    /// The code that programs read.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Cannot(own) => own.code(),
            Self::NoFunction(_) => "no_function",
            Self::Missing { .. } => "missing_input",
            Self::NoInput { .. } | Self::NotAnInput(_) => "no_input",
            Self::NotANumber { .. } => "not_a_number",
        }
    }
}

/// Every function, in the order of the handbook's chapters.
pub fn functions() -> impl Iterator<Item = &'static Function> {
    units::TABLE.iter().chain(fits::TABLE).chain(field::TABLE)
}

/// The function of that name.
///
/// # Errors
/// Where there is none.
pub fn function(name: &str) -> Result<&'static Function, Fault> {
    let found = functions().find(|own| own.name == name);
    found.ok_or_else(|| Fault::NoFunction(name.to_owned()))
}

/// The value of a function for inputs `name=value`.
///
/// # Errors
/// Where an input is missing, unknown or no number, or the arithmetic has no answer.
pub fn value<'t>(
    function: &'static Function,
    inputs: impl Iterator<Item = &'t str>,
) -> Result<Value, Fault> {
    let mut own = Inputs {
        function,
        given: BTreeMap::new(),
    };
    for input in inputs {
        let bad = || Fault::NotAnInput(input.to_owned());
        let (name, text) = input.split_once('=').ok_or_else(bad)?;
        let (name, text) = (name.trim(), text.trim());
        let takes = |own: &str| own.trim_end_matches('?') == name;
        if !function.inputs.iter().any(|own| takes(own)) {
            return Err(Fault::NoInput {
                function: function.name,
                name: name.to_owned(),
                takes: function.inputs.join(", "),
            });
        }
        if own.given.insert(name, text).is_some() {
            return Err(bad());
        }
    }
    match (function.run)(&own)? {
        Value::Number(said) if said.is_nan() => Err(Fault::Cannot(CannotSay::OutOfRange {
            what: function.name,
            got: said,
            allowed: "its inputs are too large or too small beside each other",
        })),
        said => Ok(said),
    }
}

/// The value of one row: a function's name, and its inputs between `;`.
///
/// # Errors
/// As [`value`], and where there is no such function.
pub fn row(name: &str, inputs: &str) -> Result<Value, Fault> {
    let parts = inputs.split(';').map(str::trim);
    value(function(name)?, parts.filter(|part| !part.is_empty()))
}

/// What was given to a function.
struct Inputs<'t> {
    function: &'static Function,
    given: BTreeMap<&'t str, &'t str>,
}

impl Inputs<'_> {
    fn text(&self, name: &'static str) -> Result<&str, Fault> {
        self.given.get(name).copied().ok_or_else(|| Fault::Missing {
            function: self.function.name,
            name: name.to_owned(),
            example: self.function.example,
        })
    }

    fn number(&self, name: &'static str) -> Result<f64, Fault> {
        parsed(name, self.text(name)?)
    }

    fn count(&self, name: &'static str) -> Result<u64, Fault> {
        counted(name, self.number(name)?)
    }

    fn list(&self, name: &'static str) -> Result<Vec<f64>, Fault> {
        let text = self.text(name)?;
        let parts = text
            .split('|')
            .map(str::trim)
            .filter(|part| !part.is_empty());
        parts.map(|part| parsed(name, part)).collect()
    }

    /// Whole numbers, one for each of `as_many`; all 1 where they are not given.
    fn counts(&self, name: &'static str, as_many: usize) -> Result<Vec<u64>, Fault> {
        if !self.given.contains_key(name) {
            return Ok(vec![1; as_many]);
        }
        let list = self.list(name)?;
        list.into_iter().map(|own| counted(name, own)).collect()
    }

    /// 1 for failed, 0 for not.
    fn flags(&self, name: &'static str) -> Result<Vec<bool>, Fault> {
        let flag = |own: f64| match own {
            1.0 => Ok(true),
            0.0 => Ok(false),
            got => Err(Fault::Cannot(CannotSay::OutOfRange {
                what: name,
                got,
                allowed: "it must be 1 for failed or 0 for not",
            })),
        };
        self.list(name)?.into_iter().map(flag).collect()
    }

    /// One of a few words.
    fn word<T: Copy>(
        &self,
        name: &'static str,
        words: &[(&str, T)],
        allowed: &'static str,
    ) -> Result<T, Fault> {
        let text = self.text(name)?;
        let found = words.iter().find(|(own, _)| *own == text);
        let unknown = CannotSay::UnknownWord {
            what: name,
            allowed,
        };
        found.map(|(_, own)| *own).ok_or(Fault::Cannot(unknown))
    }
}

fn parsed(name: &'static str, text: &str) -> Result<f64, Fault> {
    let bad = |_| Fault::NotANumber {
        name,
        text: text.to_owned(),
    };
    text.parse().map_err(bad)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked to be whole, not negative and below 2^53"
)]
fn counted(name: &'static str, got: f64) -> Result<u64, Fault> {
    const MOST: f64 = 9_007_199_254_740_992.0;
    if (0.0..MOST).contains(&got) && got.fract() == 0.0 {
        Ok(got as u64)
    } else {
        Err(Fault::Cannot(CannotSay::OutOfRange {
            what: name,
            got,
            allowed: "it must be a whole number, 0 or more",
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_function_answers_its_own_example() {
        for function in functions() {
            let inputs = function.example.split_whitespace();
            let said = value(function, inputs);
            assert!(
                said.is_ok(),
                "{} {}: {said:?}",
                function.name,
                function.example
            );
        }
    }

    #[test]
    fn names_are_unique_and_every_input_of_an_example_is_listed() {
        let mut names: Vec<&str> = functions().map(|own| own.name).collect();
        let count = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), count);
    }

    #[test]
    fn a_misspelt_input_is_named_and_not_ignored() {
        let code = |inputs| row("binomial_n", inputs).map_err(|fault| fault.code());
        assert_eq!(code("r=0.9;c=0.9;k=0"), Ok(Value::Count(22)));
        assert_eq!(code("r=0.9;c=0.9;kk=0"), Err("no_input"));
        assert_eq!(code("r=0.9;c=0.9"), Err("missing_input"));
        assert_eq!(code("r=0.9;c=high;k=0"), Err("not_a_number"));
        assert_eq!(code("r=0.9;r=0.8;c=0.9;k=0"), Err("no_input"));
        assert_eq!(code("r=0.9;c=0.9;k=0.5"), Err("out_of_range"));
        assert_eq!(code("r=nan;c=0.9;k=0"), Err("out_of_range"));
        assert_eq!(
            row("binomial", "").map_err(|fault| fault.code()),
            Err("no_function")
        );
    }

    #[test]
    fn numbers_read_back_as_they_were() {
        for number in [0.1, 1e-9, 123_456.789, 1e300, 5e-324, 2302.0, f64::INFINITY] {
            let text = Value::Number(number).to_string();
            assert_eq!(text.parse::<f64>(), Ok(number), "{text}");
        }
        assert_eq!(Value::Number(-0.0).to_string(), "0");
    }
}
