//! How rigs are used: a heat map of rigs by days or weeks, and what a manager asks next: what the selected rig
//! does with its time, the trend, what is booked against what there is, the bottleneck, what is late.

use super::theme::Theme;
use super::{clock, line};
use crate::app::App;
use crate::app::load_view::{Column, LoadKnown};
use crate::domain::Minutes;
use crate::usage::State;
use crate::usage::table::{Grain, GroupLoad, Interval, LoadTable, RigLoad, Share, Trend};
use crate::widgets::heat::{self, Heat};
use crate::widgets::text::fit;
use chrono::{Datelike, Days};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::fmt::Write;

/// Columns before the heat cells.
const NAME: u16 = 10;
/// Columns after the heat cells: least, most and last of the trend, and the backlog.
const SUMS: u16 = 22;
/// From this width on the sums are shown.
const ROOM_FOR_SUMS: u16 = 60;
/// Lines of header.
const HEAD: u16 = 2;
/// Columns that are shown also where nothing is known of them.
const LEAST_COLUMNS: usize = 15;
/// Rigs that are shown before the lines below them get more room.
const LEAST_RIGS: u16 = 12;

pub(super) fn draw(app: &App, theme: &Theme, area: Rect, buffer: &mut Buffer) -> usize {
    for at in 0..area.height {
        line(buffer, area, at, "", Style::new());
    }
    let sheet = Sheet::of(app, theme, area);
    let below = sheet.below(app);
    let rigs = u16::try_from(sheet.order.len()).unwrap_or(u16::MAX);
    let room = area.height.saturating_sub(HEAD);
    let need = u16::try_from(below.len()).unwrap_or(u16::MAX);
    let rows = rigs.min(room.saturating_sub(need).max(LEAST_RIGS.min(room)));
    sheet.head(app, buffer);
    let first = app
        .load
        .row
        .saturating_sub(usize::from(rows).saturating_sub(1));
    for (at, ix) in sheet.order.iter().enumerate().skip(first).take(rows.into()) {
        let y = HEAD + u16::try_from(at - first).unwrap_or(0);
        sheet.rig(*ix, at == app.load.row, y, buffer);
    }
    for ((text, style), at) in below.iter().zip(HEAD + rows..) {
        line(buffer, area, at, text, *style);
    }
    rows.max(1).into()
}

/// What one drawing of the screen needs.
struct Sheet<'a> {
    known: &'a LoadKnown,
    theme: &'a Theme,
    area: Rect,
    /// Columns after the heat cells, and where they begin.
    sums: u16,
    sums_at: u16,
    /// Columns of one heat cell with the gap before it.
    pitch: u16,
    table: LoadTable,
    trend: LoadTable,
    order: Vec<usize>,
    measure: crate::usage::table::Measure,
}

impl<'a> Sheet<'a> {
    fn of(app: &'a App, theme: &'a Theme, area: Rect) -> Self {
        let sums = if area.width >= ROOM_FOR_SUMS { SUMS } else { 0 };
        let pitch = match app.load.grain {
            Grain::Day => 3,
            Grain::Week => 4,
        };
        let columns = area.width.saturating_sub(NAME + sums + 1) / pitch;
        let trend = app.load.trend(&app.desk, app.now);
        let mut table = app
            .load
            .table(&app.desk, app.now, columns.clamp(1, 60).into());
        leave_out_unknown(&mut table);
        let columns = u16::try_from(table.intervals.len()).unwrap_or(columns);
        let after = (NAME + pitch * columns + 3).min(area.width.saturating_sub(sums));
        Self {
            known: app.load.known(&app.desk, app.now),
            theme,
            area,
            sums,
            sums_at: area.x + after,
            pitch,
            table,
            order: app.load.order(&trend),
            trend,
            measure: app.load.measure,
        }
    }

    /// Where the cell of a column begins.
    fn column(&self, at: usize) -> u16 {
        self.area.x + NAME + self.pitch * u16::try_from(at).unwrap_or(0)
    }

    /// Two lines: what the cells show and the days, and which of them.
    fn head(&self, app: &App, buffer: &mut Buffer) {
        let style = self.theme.title();
        let (area, grain) = (self.area, app.load.grain);
        line(
            buffer,
            area,
            0,
            &fit(self.measure.words(), NAME.into()),
            style,
        );
        let arrow = if app.load.descending { 'v' } else { '^' };
        let mark = |column: Column| {
            if app.load.column == column {
                arrow
            } else {
                ' '
            }
        };
        let rig = format!(" rig {}", mark(Column::Rig));
        let first = self.table.intervals.first();
        let first = first.filter(|_| grain == Grain::Day);
        let first = first.map_or(String::new(), month);
        line(buffer, area, 1, &format!("{} {first}", fit(&rig, 6)), style);
        let mut last_month = 0;
        for (at, own) in self.table.intervals.iter().enumerate() {
            let (upper, lower) = match grain {
                // The name of a month takes the place of two weekdays.
                Grain::Day if at > 0 && own.first.day() == 1 => (month(own), day(own)),
                Grain::Day if at > 1 && own.first.day() == 2 => (String::new(), day(own)),
                Grain::Day => (weekday(own), day(own)),
                Grain::Week if own.first.month() == last_month => (String::new(), week(own)),
                Grain::Week => (month(own), week(own)),
            };
            last_month = own.first.month();
            // The gap before the column that holds now bears the mark of now.
            let gap = if own.span.contains(app.now) { '|' } else { ' ' };
            let (x, y) = (self.column(at), area.y);
            if !upper.is_empty() || gap == '|' {
                buffer.set_string(x, y, format!("{gap}{upper}"), style);
            }
            if area.height > 1 {
                buffer.set_string(x, y + 1, format!("{gap}{lower}"), style);
            }
        }
        if self.sums > 0 {
            let unit = if grain == Grain::Day { 'd' } else { 'w' };
            let x = self.sums_at;
            let upper = format!("trend 12 {unit}     backlog");
            let marks = [Column::Min, Column::Max, Column::Last, Column::Backlog].map(mark);
            let [min, max, last, backlog] = marks;
            let lower = format!("min{min} max{max} last{last} rig-d{backlog}");
            buffer.set_string(x, area.y, fit(&upper, self.sums.into()), style);
            if area.height > 1 {
                buffer.set_string(x, area.y + 1, fit(&lower, self.sums.into()), style);
            }
        }
    }

    fn rig(&self, ix: usize, is_selected: bool, at: u16, buffer: &mut Buffer) {
        let (row, area) = (&self.table.rows[ix], self.area);
        let y = area.y + at;
        if at >= area.height {
            return;
        }
        let cursor = if is_selected { '>' } else { ' ' };
        let name = format!("{cursor}{}", fit(row.rig.as_str(), usize::from(NAME) - 2));
        let style = if is_selected {
            self.theme.selected()
        } else {
            Style::new()
        };
        buffer.set_string(area.x, y, fit(&name, usize::from(NAME)), style);
        for (at, own) in row.cells.iter().enumerate() {
            let heat = heat_of(own.share(self.measure));
            let x = self.column(at) + 1;
            buffer.set_string(x, y, heat::cell(heat), self.theme.heat(heat::step(heat)));
        }
        if self.sums > 0 {
            let text = self.sums_of(ix, row);
            buffer.set_string(self.sums_at, y, fit(&text, self.sums.into()), Style::new());
        }
    }

    /// The trend's figures and the backlog of a rig.
    fn sums_of(&self, ix: usize, row: &RigLoad) -> String {
        let backlog = in_days(row.backlog);
        match self.trend.rows[ix].trend(self.measure) {
            Some(Trend { min, max, last }) => format!("{min:>3} {max:>4} {last:>5} {backlog:>6}"),
            None => format!("{:>3} {:>4} {:>5} {backlog:>6}", "..", "..", ".."),
        }
    }

    /// What stands below the rigs, what matters most first.
    fn below(&self, app: &App) -> Vec<(String, Style)> {
        let plain = Style::new();
        let mut lines = vec![
            (self.selected(app), plain),
            (self.all_rigs(), self.theme.title()),
        ];
        lines.push((self.bottleneck(app), self.theme.title()));
        let mut late = self.late(app);
        let room = usize::from(self.area.height.saturating_sub(HEAD));
        let left = room.saturating_sub(self.order.len().min(LEAST_RIGS.into()) + lines.len());
        let groups = self.groups(left);
        // Where there is little room the first of what is late stands beside the busiest group.
        let most = left.saturating_sub(groups.len().min(2)).max(1);
        if late.len() > most {
            let hidden = late.len() + 1 - most;
            late.truncate(most.saturating_sub(1));
            late.push((
                format!("late: {hidden} more; rigday load lists them"),
                self.theme.warning(),
            ));
        }
        lines.extend(late);
        lines.extend(self.offers());
        lines.extend(groups.into_iter().map(|line| (line, plain)));
        lines
    }

    /// What the selected rig does with the time in view, as far as something is known of it, in percent.
    fn selected(&self, app: &App) -> String {
        let Some(row) = self.order.get(app.load.row).map(|ix| &self.table.rows[*ix]) else {
            return "no rig: add one to lab.toml".to_owned();
        };
        let cells = row.cells.iter().filter(|cell| cell.is_known);
        let none = crate::usage::RigMinutes::default();
        let total = cells.fold(none, |sum, cell| sum.and(&cell.minutes));
        if total.calendar() == Minutes::ZERO {
            return format!("{}: nothing is known of these days", row.rig);
        }
        let parts = State::ALL.into_iter().filter_map(|state| {
            let percent = total.states[state].get() as f64 * 100.0 / total.calendar().get() as f64;
            let word = state.word().replace('_', " ");
            (percent >= 0.5).then(|| format!("{word} {percent:.0} %"))
        });
        let parts: Vec<String> = parts.collect();
        format!("{}, {}: {}", row.rig, self.period(app), parts.join(", "))
    }

    /// The days in view of which something is known.
    fn period(&self, app: &App) -> String {
        let cells = self.table.rows.first().map_or(&[][..], |row| &row.cells);
        let known = self.table.intervals.iter().zip(cells);
        let known: Vec<&Interval> = known
            .filter_map(|(own, cell)| cell.is_known.then_some(own))
            .collect();
        let Some((first, last)) = known.first().zip(known.last()) else {
            return String::new();
        };
        let last = last.first + Days::new(app.load.grain.days() - 1);
        let dates = &app.settings.dates;
        format!("{} to {}", dates.day(first.first), dates.day(last))
    }

    fn all_rigs(&self) -> String {
        let figures: Vec<Option<i64>> = (0..self.trend.intervals.len())
            .map(|ix| self.trend.all_rigs(ix, self.measure))
            .collect();
        let backlog = in_days(self.table.backlog());
        let spark = heat::spark(&figures, self.theme.unicode);
        let name = self.measure.words();
        let trend = match Trend::of(figures.into_iter().flatten()) {
            Some(Trend { min, max, last }) => format!("min {min} max {max} last {last}"),
            None => "nothing recorded yet".to_owned(),
        };
        format!("all rigs {name} {spark} {trend}  backlog {backlog} rig-days")
    }

    fn bottleneck(&self, app: &App) -> String {
        match &self.known.bottleneck {
            Some(own) => format!("bottleneck of the next 7 days: {}", own.words()),
            None if app.desk.floor.now.published.is_none() => {
                "no plan in force: go to Plan (1), p plans, c publishes".to_owned()
            }
            None => "no bottleneck: nothing is booked in the next 7 days".to_owned(),
        }
    }

    fn late(&self, app: &App) -> Vec<(String, Style)> {
        if app.desk.floor.now.published.is_none() {
            return Vec::new();
        }
        let late = &self.known.late;
        if late.is_empty() {
            let words = "no request is late by the plan in force";
            return vec![(words.to_owned(), Style::new())];
        }
        let words = |own: &crate::usage::LateRequest| {
            let finish = clock(app, own.finish);
            format!(
                "late: {} by {}, {finish}; {}",
                own.request,
                own.late,
                own.cause()
            )
        };
        late.iter()
            .map(|own| (words(own), self.theme.warning()))
            .collect()
    }

    /// Rates that fit better than those of the lab folder.
    fn offers(&self) -> Vec<(String, Style)> {
        let count = self.known.offers().count();
        let Some(first) = self.known.offers().next() else {
            return Vec::new();
        };
        let Some(offer) = &first.offer else {
            return Vec::new();
        };
        let (rig, method) = (&first.rig, &first.method);
        let more = if count > 1 {
            format!("; {} more", count - 1)
        } else {
            String::new()
        };
        let text = format!(
            "rates: {rig} {method} took {:.2} of plan in {} visits ({:.2} to {:.2}): {}{more}",
            first.median,
            first.visits,
            first.lower,
            first.upper,
            offer.words()
        );
        vec![(text, Style::new())]
    }

    /// Booked work against capacity by group, the busiest first, in at most `most` lines.
    fn groups(&self, most: usize) -> Vec<String> {
        let is_ahead =
            |group: &&GroupLoad| group.weeks.iter().any(|own| own.booked > Minutes::ZERO);
        let mut groups: Vec<&GroupLoad> = self.known.groups.iter().filter(is_ahead).collect();
        if groups.is_empty() || most < 2 {
            return Vec::new();
        }
        let peak = |group: &GroupLoad| {
            group
                .weeks
                .iter()
                .filter_map(crate::usage::table::Demand::percent)
                .max()
        };
        groups.sort_by_key(|group| std::cmp::Reverse(peak(group)));
        let mut head = fit("booked of rig-days", 22);
        for week_ahead in &self.known.coming {
            write!(head, "{:>14}", week(week_ahead)).expect("a string takes it");
        }
        let group = |own: &&GroupLoad| {
            let mut text = fit(&format!("{} x{}", own.name, own.rigs.len()), 22);
            for demand in &own.weeks {
                let (booked, all) = (in_days(demand.booked), in_days(demand.capacity));
                let percent = demand
                    .percent()
                    .map_or("--".to_owned(), |own| format!("{own}%"));
                write!(text, "{:>14}", format!("{booked}/{all} {percent}"))
                    .expect("a string takes it");
            }
            text
        };
        std::iter::once(head)
            .chain(groups.iter().map(group))
            .take(most)
            .collect()
    }
}

/// Columns at the end of which nothing is known are left out, but for as many as there are at the least.
fn leave_out_unknown(table: &mut LoadTable) {
    let known = table.rows.iter().filter_map(|row| {
        let last = row.cells.iter().rposition(|cell| cell.is_known);
        last.map(|at| at + 1)
    });
    let keep = known.max().unwrap_or(0).max(LEAST_COLUMNS);
    table.intervals.truncate(keep);
    for row in &mut table.rows {
        row.cells.truncate(keep);
    }
}

fn heat_of(share: Share) -> Heat {
    match share {
        Share::Percent(percent) => Heat::Percent(percent),
        Share::Closed => Heat::Closed,
        Share::NoData => Heat::NoData,
    }
}

fn weekday(own: &Interval) -> String {
    own.first.format("%a").to_string().chars().take(2).collect()
}

fn day(own: &Interval) -> String {
    own.first.format("%d").to_string()
}

fn month(own: &Interval) -> String {
    own.first.format("%b").to_string()
}

fn week(own: &Interval) -> String {
    format!("w{:02}", own.first.iso_week().week())
}

fn in_days(length: Minutes) -> String {
    format!("{:.1}", length.get() as f64 / 1440.0)
}
