//! Choices that are made with the arrows and Enter, or by a letter: the harmless answer stands first and is
//! selected, so that Enter alone loses nothing. What many objects hang on asks for their count.

use super::actions::Action;
use super::lists::select;
use super::state::{App, Effect, Field, Overlay, Purpose};
use super::update::edit;
use super::walk::{event_words, verdict_word};
use crate::domain::text::{counted, shown};
use crate::domain::{Event, Verdict};
use tui_input::Input;

/// More objects than this are confirmed by typing how many they are.
const MANY: usize = 20;

/// What an answer does.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Chosen {
    /// Nothing: what lies behind is there again.
    Back,
    /// The plan that is shown comes into force.
    PutInForce,
    /// The plan of the what-if that is shown comes into force.
    PutWhatIfInForce,
    /// The plan that is shown goes onto the timeline, not in force.
    OntoTimeline,
    /// What is shown is dropped.
    Drop,
    /// The changes that were kept are taken up.
    TakeUp,
    /// The changes that were kept are thrown away.
    ThrowAway,
    /// The program ends, and the changes are kept.
    Leave,
    /// The program ends, and the changes are thrown away.
    LeaveWithout,
    /// What was refused is given up: what is there now is looked at.
    Reload,
    /// What was refused is recorded all the same.
    Overrule,
}

/// An answer to choose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reply {
    /// Its letter.
    pub key: &'static str,
    /// What it does.
    pub does: Chosen,
    /// That in words.
    pub words: String,
}

/// A few answers to choose from.
#[derive(Clone, Debug)]
pub struct Choice {
    /// The question.
    pub title: String,
    /// What there is to know first.
    pub lines: Vec<String>,
    /// The answers, the harmless one first.
    pub replies: Vec<Reply>,
    /// The selected one.
    pub selected: usize,
    /// The deed that was refused, where one was.
    pub refused: Option<Effect>,
}

impl Choice {
    fn new(title: &str, lines: Vec<String>, replies: &[(&'static str, Chosen, &str)]) -> Self {
        let reply = |(key, does, words): &(&'static str, Chosen, &str)| Reply {
            key,
            does: does.clone(),
            words: (*words).to_owned(),
        };
        Self {
            title: title.to_owned(),
            lines,
            replies: replies.iter().map(reply).collect(),
            selected: 0,
            refused: None,
        }
    }

    /// What to do with a plan that is shown.
    pub fn about_plan() -> Self {
        let replies = [
            ("", Chosen::Back, "back to the difference"),
            ("c", Chosen::PutInForce, "put it in force"),
            (
                "t",
                Chosen::OntoTimeline,
                "show it on the timeline, not in force",
            ),
            ("", Chosen::Drop, "drop it: the plan in force stands"),
        ];
        Self::new("This plan is not in force yet", Vec::new(), &replies)
    }

    /// What to do with the plan of a what-if.
    pub fn about_what_if() -> Self {
        let replies = [
            ("", Chosen::Back, "back to the difference"),
            ("c", Chosen::PutWhatIfInForce, "put it in force"),
            ("", Chosen::Drop, "drop it: the plan in force stands"),
        ];
        Self::new("This plan is not in force yet", Vec::new(), &replies)
    }

    /// Changes were kept when the program ended.
    pub fn offered(about: String) -> Self {
        let replies = [
            ("", Chosen::TakeUp, "take it up again"),
            ("", Chosen::Back, "leave it for the next start"),
            ("x", Chosen::ThrowAway, "throw it away"),
        ];
        Self::new("A what-if was kept", vec![about], &replies)
    }

    /// The program is to end, and changes are not in force.
    pub fn parting(count: usize, keeps: bool) -> Self {
        let leave = if keeps {
            "leave; it is kept and offered at the next start"
        } else {
            "leave; nothing of it is kept"
        };
        let replies = [
            ("", Chosen::Leave, leave),
            ("", Chosen::Back, "stay"),
            ("x", Chosen::LeaveWithout, "throw it away and leave"),
        ];
        let title = format!(
            "WHAT-IF {} not in force",
            counted(count, "change", "changes")
        );
        Self::new(&title, Vec::new(), &replies)
    }
}

/// A deed about many objects: their count is typed before it is done.
#[derive(Clone, Debug)]
pub struct Count {
    /// What is done to what.
    pub lines: Vec<String>,
    /// How many objects.
    pub count: usize,
    /// What is typed.
    pub input: Input,
    /// What follows.
    pub does: Chosen,
}

impl Count {
    /// Counts on or back by one or ten from what is typed, for whoever has no digits at hand.
    fn turn(&mut self, key: &str) {
        let typed: usize = self.input.value().trim().parse().unwrap_or(0);
        let turned = match key {
            "Up" => typed.saturating_add(1),
            "Down" => typed.saturating_sub(1),
            "PgUp" => typed.saturating_add(10),
            "PgDn" => typed.saturating_sub(10),
            _ => 0,
        };
        self.input = turned.to_string().into();
    }
}

impl App {
    /// Puts a choice in front.
    pub(super) fn choose_from(&mut self, choice: Choice) {
        self.overlays.push(Overlay::Choice(Box::new(choice)));
    }

    /// Keys in a choice.
    pub(super) fn key_in_choice(&mut self, key: &str) -> Vec<Effect> {
        let action = self.settings.keys.action(key, self.screen);
        let Some(Overlay::Choice(choice)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        let by_letter = choice.replies.iter().position(|own| own.key == key);
        let at = match key {
            "Enter" => Some(choice.selected),
            "Esc" => None,
            _ if by_letter.is_some() => by_letter,
            _ if matches!(action, Some(Action::Back | Action::Quit)) => None,
            _ => {
                let count = choice.replies.len();
                let key = match action {
                    Some(Action::Up) => "Up",
                    Some(Action::Down) => "Down",
                    _ => key,
                };
                select(&mut choice.selected, count, count, key);
                return Vec::new();
            }
        };
        let does = at.and_then(|at| choice.replies.get(at).map(|own| own.does.clone()));
        let refused = choice.refused.take();
        self.overlays.pop();
        let esc = if refused.is_some() {
            Chosen::Reload
        } else {
            Chosen::Back
        };
        self.chosen(does.unwrap_or(esc), refused)
    }

    fn chosen(&mut self, does: Chosen, refused: Option<Effect>) -> Vec<Effect> {
        match does {
            Chosen::Back => Vec::new(),
            Chosen::Drop => {
                self.overlays.pop();
                Vec::new()
            }
            Chosen::OntoTimeline => self.onto_timeline(),
            Chosen::TakeUp => self.take_up(),
            Chosen::Leave => vec![Effect::Quit],
            Chosen::PutInForce | Chosen::PutWhatIfInForce => self.confirmed(&does),
            Chosen::ThrowAway | Chosen::LeaveWithout => self.throw_away(does),
            Chosen::Reload => {
                self.ask_again(refused);
                Vec::new()
            }
            Chosen::Overrule => refused.map(overruling).into_iter().collect(),
        }
    }

    /// Throws changes away that are not in force.
    fn throw_away(&mut self, does: Chosen) -> Vec<Effect> {
        let published = self.desk.floor.now.published.as_ref();
        let draft = match does {
            Chosen::ThrowAway => self.plan.offered.as_ref(),
            _ => self.plan.draft.as_ref(),
        };
        let count = draft.map_or(0, |own| own.changes(published, self.now).len());
        let line = format!("{count} changes to the plan are thrown away for good.");
        self.counted(count, vec![line], does)
    }

    /// Does it at once where few objects are meant, else asks for their count.
    fn counted(&mut self, count: usize, lines: Vec<String>, does: Chosen) -> Vec<Effect> {
        if count <= MANY {
            return self.confirmed(&does);
        }
        self.overlays.push(Overlay::Count(Box::new(Count {
            lines,
            count,
            input: Input::default(),
            does,
        })));
        Vec::new()
    }

    /// Keys where a count is asked for: Enter alone goes back.
    pub(super) fn key_in_count(&mut self, key: &str) -> Vec<Effect> {
        let Some(Overlay::Count(own)) = self.overlays.last_mut() else {
            return Vec::new();
        };
        let typed = own.input.value().trim().to_owned();
        match key {
            "Enter" if typed == own.count.to_string() => {
                let does = own.does.clone();
                self.overlays.pop();
                return self.confirmed(&does);
            }
            "Enter" if !typed.is_empty() => {
                let words = format!("it is {} and not {}", own.count, shown(&typed));
                own.input.reset();
                self.said = Some((false, words));
            }
            "Enter" | "Esc" => {
                self.overlays.pop();
            }
            "Up" | "Down" | "PgUp" | "PgDn" | "Home" | "End" => own.turn(key),
            _ => edit(&mut own.input, key),
        }
        Vec::new()
    }

    fn confirmed(&mut self, does: &Chosen) -> Vec<Effect> {
        match does {
            Chosen::PutInForce => vec![Effect::Publish],
            Chosen::PutWhatIfInForce => vec![Effect::PublishWhatIf],
            Chosen::LeaveWithout => {
                self.plan.draft = None;
                self.renew_timeline();
                vec![Effect::Keep, Effect::Quit]
            }
            _ => {
                self.plan.offered = None;
                self.said = Some((true, "the what-if is thrown away".to_owned()));
                vec![Effect::Keep]
            }
        }
    }

    fn take_up(&mut self) -> Vec<Effect> {
        let Some(draft) = self.plan.offered.take() else {
            return Vec::new();
        };
        self.plan.draft = Some(draft);
        self.screen = super::Screen::Plan;
        self.said = None;
        self.follow_published();
        self.after_change()
    }

    /// Shows what another session did beside the deed that is refused for it.
    pub(super) fn show_conflict(&mut self, refused: Effect, by: &Event) {
        let Some(mine) = mine_words(&refused) else {
            return;
        };
        let when = self
            .asked()
            .dates
            .long(self.desk.lab.zone.local(by.happened));
        let lines = vec![
            format!(
                "theirs: {}, by {}, {when} (event {})",
                event_words(by),
                shown(&by.actor.person),
                by.seq.0
            ),
            format!("mine: {mine}; not recorded"),
        ];
        let overrule = match refused {
            Effect::Pass(_) | Effect::Record(Purpose::Fail(_) | Purpose::Hold(_), _) => {
                "overrule: mine stands, theirs stays in the history"
            }
            _ => "overrule: record mine too",
        };
        let replies = [
            ("r", Chosen::Reload, "reload: look at what is there now"),
            ("o", Chosen::Overrule, overrule),
        ];
        let mut choice = Choice::new("Somebody else was here first", lines, &replies);
        choice.refused = Some(refused);
        self.choose_from(choice);
    }

    /// The question of a deed that was refused, with what was typed.
    fn ask_again(&mut self, refused: Option<Effect>) {
        self.said = None;
        if let Some(Effect::Record(purpose, text)) = refused {
            let field = Field {
                input: text.into(),
                selected: 0,
            };
            self.shown = Some(self.desk.floor.seen());
            self.overlays.push(Overlay::Ask(purpose, field));
        }
    }
}

/// The deed said once more by somebody who has seen what the other did.
fn overruling(refused: Effect) -> Effect {
    match refused {
        Effect::Pass(unit) => Effect::Overrule(unit, Verdict::Pass),
        Effect::Record(Purpose::Fail(unit), reason) => {
            Effect::Overrule(unit, Verdict::Fail { reason })
        }
        Effect::Record(Purpose::Hold(unit), reason) => {
            Effect::Overrule(unit, Verdict::Hold { reason })
        }
        other => other,
    }
}

/// What was to be recorded, in words; nothing where it is no deed about a unit or a rig.
fn mine_words(effect: &Effect) -> Option<String> {
    let words = match effect {
        Effect::Pass(unit) => format!("{unit} pass"),
        Effect::LoadUnit(unit) => format!("{unit} loaded"),
        Effect::UnloadUnit(unit) => format!("{unit} unloaded"),
        Effect::Record(Purpose::Fail(unit), why) => format!("{unit} fail: {why}"),
        Effect::Record(Purpose::Hold(unit), why) if why.is_empty() => format!("{unit} hold"),
        Effect::Record(Purpose::Hold(unit), why) => format!("{unit} hold: {why}"),
        Effect::Record(Purpose::Note(unit), text) => format!("note on {unit}: {text}"),
        Effect::Record(Purpose::Withdraw(unit), why) => format!("{unit} withdrawn: {why}"),
        Effect::RigDown(rig, why, _) => format!("{rig} down: {why}"),
        Effect::RigUp(rig) => format!("{rig} back"),
        Effect::Overrule(unit, verdict) => format!("{unit} {}", verdict_word(verdict)),
        _ => return None,
    };
    Some(words)
}
