//! A paper: what goes out for people to read, as plain data.
//!
//! [`super::html`] writes it for a browser and a printer, [`super::plain`] for a terminal and mail. Both clean
//! every text on its way out, so that whoever gathers a paper need not.

/// A whole paper.
#[derive(Clone, Debug)]
pub struct Paper {
    /// Its title.
    pub title: String,
    /// One sentence below the title; may be empty.
    pub about: String,
    /// Where it comes from.
    pub stamp: Stamp,
    /// Its sections, in order.
    pub sections: Vec<Section>,
}

/// Where a paper comes from.
#[derive(Clone, Debug)]
pub struct Stamp {
    /// The lab.
    pub lab: String,
    /// Its time zone, in which every time of the paper stands.
    pub zone: String,
    /// The moment that the paper tells of.
    pub as_of: String,
    /// When it was made, by the host's clock.
    pub made: String,
    /// Who made it.
    pub by: String,
    /// Program and version.
    pub program: String,
    /// The end of the ledger's chain, in one line; `None` where there is no event.
    pub head: Option<String>,
    /// It tells of the demo's lab.
    pub sample: bool,
}

/// A titled part of a paper.
#[derive(Clone, Debug, Default)]
pub struct Section {
    /// Its title.
    pub title: String,
    /// It begins a new page in print.
    pub new_page: bool,
    /// What is in it, in order.
    pub parts: Vec<Part>,
}

/// What a section is made of.
#[derive(Clone, Debug)]
pub enum Part {
    /// A paragraph.
    Text(String),
    /// A paragraph that must not be missed.
    Caution(String),
    /// Sentences, one a line.
    List(Vec<String>),
    /// Names with their values.
    Facts(Vec<(&'static str, String)>),
    /// A table.
    Grid(Grid),
    /// A picture.
    Figure(Figure),
    /// Room to sign, a line for each of these.
    Sign(Vec<&'static str>),
}

/// A picture with its caption.
#[derive(Clone, Debug)]
pub struct Figure {
    /// An SVG element, every text in it cleaned and escaped by whoever drew it.
    pub svg: String,
    /// What it shows, in words.
    pub caption: String,
    /// What its marks mean.
    pub legend: Vec<(Look, &'static str)>,
}

/// How a bar looks; the style sheet has a colour for each, and the shape differs too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Work that is over.
    Done,
    /// Work that runs.
    Running,
    /// Work ahead.
    Booked,
    /// Work that should have begun.
    Late,
    /// Out of use.
    Down,
    /// People or rigs at hand.
    Ready,
    /// Held up.
    Held,
    /// Getting ready.
    Between,
}

impl Look {
    /// Its class in the style sheet.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Running => "running",
            Self::Booked => "booked",
            Self::Late => "late",
            Self::Down => "down",
            Self::Ready => "ready",
            Self::Held => "held",
            Self::Between => "between",
        }
    }
}

/// A table.
#[derive(Clone, Debug, Default)]
pub struct Grid {
    /// What it holds.
    pub caption: String,
    /// Names of the columns.
    pub head: Vec<&'static str>,
    /// Rows of as many cells; the first cell names its row.
    pub rows: Vec<Vec<Cell>>,
    /// In plain text: how many columns stand on the first line of a row, the others below it by name. Zero
    /// keeps a row on one line.
    pub lead: usize,
}

/// A cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// Its text.
    pub text: String,
    /// How it is meant.
    pub tone: Tone,
}

/// How a cell is meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// A text.
    #[default]
    Plain,
    /// A number: to the right.
    Number,
    /// Good.
    Good,
    /// Bad.
    Bad,
    /// Worth a look.
    Look,
    /// Was said, and does not count any more.
    Void,
    /// Boxes to tick, one before each word.
    Tick,
}

impl Cell {
    /// A cell of that tone.
    #[expect(
        clippy::needless_pass_by_value,
        reason = "callers hand over what they have: a text, an id, a number"
    )]
    pub fn of(tone: Tone, text: impl ToString) -> Self {
        Self {
            text: text.to_string(),
            tone,
        }
    }

    /// A text.
    pub fn text(text: impl ToString) -> Self {
        Self::of(Tone::Plain, text)
    }

    /// A number.
    pub fn number(number: impl ToString) -> Self {
        Self::of(Tone::Number, number)
    }
}

impl Section {
    /// A section with its parts.
    #[expect(
        clippy::needless_pass_by_value,
        reason = "callers hand over what they have: a text, an id, a number"
    )]
    pub fn new(title: impl ToString, parts: Vec<Part>) -> Self {
        Self {
            title: title.to_string(),
            new_page: false,
            parts,
        }
    }
}

impl Part {
    /// The table, or where it has no row the sentence instead.
    pub fn grid_or(grid: Grid, nothing: &str) -> Self {
        if grid.rows.is_empty() {
            Self::Text(nothing.to_owned())
        } else {
            Self::Grid(grid)
        }
    }
}

impl Stamp {
    /// Everything it says, for the foot of a paper.
    pub fn facts(&self) -> Vec<(&'static str, String)> {
        let head = self.head.clone();
        let mut facts = vec![
            ("Lab", self.lab.clone()),
            ("As of", format!("{}, {}", self.as_of, self.zone)),
            ("Made", format!("{} by {}", self.made, self.by)),
            ("Program", self.program.clone()),
        ];
        if self.sample {
            facts.push(("Sample", "made-up lab of the demo".to_owned()));
        }
        // The longest stands last, on a line of its own.
        let nothing = || "no event is recorded".to_owned();
        facts.push(("Ledger", head.unwrap_or_else(nothing)));
        facts
    }
}
