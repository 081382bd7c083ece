//! The demo on a terminal: one panel a machine, below it the racks as they come.
//!
//! A panel shows the live temperatures, a scale on which the settled minimum of
//! the last rack stands against its limit, and the trace of the last minutes.
//! Verdicts are told by word and mark; colour comes on top.

use jiff::tz::TimeZone;
use ratatui::Frame;
use ratatui::layout::{Alignment, Constraint, Layout, Rect};
use ratatui::style::{Color, Modifier, Style};
use ratatui::symbols::Marker;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Axis, Block, BorderType, Chart, Dataset, GraphType, Padding, Paragraph, Wrap};

use super::scene::{MachineScene, ProbeScene, Scene, TRACE_SPAN};
use crate::core::cycle::plate::Sanitizing;
use crate::core::cycle::verdict::Verdict;
use crate::core::cycle::words::{advice, meaning, verdict as judged};
use crate::core::reader::Language;
use crate::core::time::Timestamp;
use crate::report::row::CycleRow;
use crate::report::{table, words};

/// How far the scale and the trace reach below and above the limit, °C, before rounding to tens.
const SCALE_AROUND_C: (f64, f64) = (25.0, 15.0);
/// Panels are stacked below this width.
const SIDE_BY_SIDE_WIDTH: u16 = 76;

/// Heights of a panel: at most on a low and on a high terminal, and what it needs without the trace.
const PANEL_HEIGHTS: (u16, u16) = (12, 16);
const PANEL_HEIGHT_MIN: u16 = 6;
/// What is left to the racks before a panel grows.
const RACKS_HEIGHT_MIN: u16 = 7;
/// Lines of the cautions.
const FOOT_HEIGHT: u16 = 2;
/// Most lines of open alerts.
const OPEN_MAX: usize = 3;
/// Most lines of the newest message: on 80 columns 230 characters, while the longest first line of one has some 160.
const NOTICE_LINES_MAX: usize = 3;
/// Before the folder in which everything is kept.
const KEPT_HEAD: &str = " kept in: ";

const RINSE: Color = Color::Cyan;
const WASH: Color = Color::Yellow;

/// What stands around the scene.
#[derive(Debug)]
pub(super) struct Setting {
    pub(super) zone: TimeZone,
    /// Speed, such as `60× real time`.
    pub(super) speed: String,
    pub(super) scenario: String,
    /// Where to log in at the pages, and as whom and with which secret as long as that can be used.
    pub(super) login: Option<String>,
    /// Where everything is kept: configuration, ledger, messages.
    pub(super) kept_in: String,
}

/// Draws everything.
pub(super) fn draw(frame: &mut Frame<'_>, scene: &Scene, setting: &Setting) {
    let area = frame.area();
    let width = usize::from(area.width);
    let panels = if area.width >= SIDE_BY_SIDE_WIDTH { 1 } else { scene.machines.len().max(1) };
    let (around, open) = (around_lines(scene, setting, width), open_lines(&scene.open, width));
    let (banner_height, open_height) = (length(around.len()).saturating_add(1), length(open.len()));
    let taken = banner_height.saturating_add(open_height).saturating_add(FOOT_HEIGHT + RACKS_HEIGHT_MIN);
    let most = if area.height >= 34 { PANEL_HEIGHTS.1 } else { PANEL_HEIGHTS.0 };
    let each = area.height.saturating_sub(taken) / length(panels);
    let stacked = length(panels).saturating_mul(each.clamp(PANEL_HEIGHT_MIN, most));
    let [banner, machines, alerts, racks, foot] = Layout::vertical([
        Constraint::Length(banner_height),
        Constraint::Max(stacked),
        Constraint::Length(open_height),
        Constraint::Min(4),
        Constraint::Length(FOOT_HEIGHT),
    ])
    .areas(area);
    draw_banner(frame, banner, scene, setting);
    let around_area =
        Rect { y: banner.y.saturating_add(1), height: banner.height.saturating_sub(1), ..banner };
    frame.render_widget(Paragraph::new(around), around_area);
    let shares = vec![Constraint::Fill(1); scene.machines.len()];
    let layout = if panels == 1 { Layout::horizontal(shares) } else { Layout::vertical(shares) };
    for (machine, area) in scene.machines.iter().zip(layout.split(machines).iter()) {
        draw_machine(frame, *area, machine, scene.now);
    }
    frame.render_widget(Paragraph::new(open), alerts);
    draw_racks(frame, racks, scene, &setting.zone);
    draw_foot(frame, foot);
}

fn draw_banner(frame: &mut Frame<'_>, area: Rect, scene: &Scene, setting: &Setting) {
    let clock = scene.now.map_or_else(
        || "waiting for the first readings".to_owned(),
        |now| table::time_of_day(now, &setting.zone),
    );
    let banner = Line::from(vec![
        Span::styled(" SIMULATED – demo ", bold().add_modifier(Modifier::REVERSED)),
        Span::styled("  rinseward  ", bold()),
        Span::raw(format!("{clock}   {}", setting.speed)),
    ]);
    let keys = Line::from(format!("  {}   q quits ", setting.scenario));
    let room = usize::from(area.width);
    let keys = if banner.width() + keys.width() <= room { keys } else { Line::from("  q quits ") };
    let banner = fitting(banner, room.saturating_sub(keys.width()));
    let keys = keys.alignment(Alignment::Right);
    frame.render_widget(Paragraph::new(banner), area);
    frame.render_widget(Paragraph::new(keys), Rect { height: 1, ..area });
}

/// What stands below the head: racks by verdict, what happened last in full, where to look.
fn around_lines(scene: &Scene, setting: &Setting, width: usize) -> Vec<Line<'static>> {
    let mut counts: Vec<Span<'static>> = vec![Span::raw(" racks: ")];
    for (verdict, count) in Verdict::ALL.into_iter().zip(scene.counts).filter(|(_, count)| *count > 0) {
        counts.push(Span::styled(
            format!("{} {count} {}  ", words::mark(verdict), judged(verdict, Language::English)),
            style_of(verdict),
        ));
    }
    let mut lines = vec![Line::from(counts)];
    lines.extend(scene.notice.iter().flat_map(|notice| notice_lines(notice, width)));
    let login = setting.login.iter().map(|login| format!("pages: {login}"));
    let login: Vec<String> =
        login.flat_map(|login| login.lines().map(str::to_owned).collect::<Vec<_>>()).collect();
    lines.extend(login.into_iter().map(|login| Line::from(format!(" {login}"))));
    let (kept, room) = (&setting.kept_in, width.saturating_sub(KEPT_HEAD.len()).max(1));
    lines.push(Line::from(format!("{KEPT_HEAD}{}", table::cut_front(kept, room))));
    lines.into_iter().map(|line| fitting(line, width)).collect()
}

/// The newest message in as many lines as it takes, [`NOTICE_LINES_MAX`] at most.
fn notice_lines(notice: &str, width: usize) -> Vec<Line<'static>> {
    let mut told = table::wrapped(notice, width.saturating_sub(4).max(10));
    if told.len() > NOTICE_LINES_MAX {
        told.truncate(NOTICE_LINES_MAX);
        told.iter_mut().skip(NOTICE_LINES_MAX - 1).for_each(|line| line.push('…'));
    }
    let marks = [" ! "].into_iter().chain(std::iter::repeat("   "));
    marks.zip(told).map(|(mark, line)| Line::styled(format!("{mark}{line}"), bold())).collect()
}

/// The open alerts, [`OPEN_MAX`] lines at most; of more it is said how many.
fn open_lines(open: &[String], width: usize) -> Vec<Line<'static>> {
    let shown = if open.len() > OPEN_MAX { OPEN_MAX - 1 } else { open.len() };
    let more = (shown < open.len()).then(|| format!("… and {} more open", open.len() - shown));
    let lines = open.iter().take(shown).cloned().chain(more);
    lines.map(|line| fitting(Line::styled(format!(" ! {line}"), bold()), width)).collect()
}

/// A line of this width at most; what is cut off is told by «…».
fn fitting(line: Line<'static>, width: usize) -> Line<'static> {
    if line.width() <= width {
        return line;
    }
    let mut room = width.saturating_sub(1);
    let mut spans = Vec::new();
    for span in line.spans {
        let kept: String = span.content.chars().take(room).collect();
        room -= kept.chars().count();
        spans.push(Span::styled(kept, span.style));
    }
    spans.push(Span::raw("…"));
    Line::from(spans).style(line.style)
}

fn length(lines: usize) -> u16 {
    u16::try_from(lines).unwrap_or(u16::MAX)
}

fn draw_machine(frame: &mut Frame<'_>, area: Rect, machine: &MachineScene, now: Option<Timestamp>) {
    let border = match machine.last.as_ref().map(|row| row.verdict) {
        Some(Verdict::Cold | Verdict::Brief | Verdict::Weak) => BorderType::Thick,
        Some(Verdict::Unproven | Verdict::Narrow | Verdict::Pass) | None => BorderType::Rounded,
    };
    let running = match machine.running {
        Some(true) => " · running",
        Some(false) => " · idle",
        None => "",
    };
    let on_file = machine.last.as_ref().and_then(|row| row.concentration_mg_per_l);
    let on_file = on_file
        .map(|mg_per_l| format!(", {} mg/L", crate::core::sanitizer::shown(mg_per_l)))
        .unwrap_or_default();
    let title = format!(" {} · {}{on_file}{running} ", machine.name, sanitizing_words(machine.sanitizing));
    let block = Block::bordered()
        .border_type(border)
        .title(Span::styled(title, bold()))
        .padding(Padding::horizontal(1));
    let inside = block.inner(area);
    frame.render_widget(block, area);
    let [live, verdict, scale, trace] = Layout::vertical([
        Constraint::Length(1),
        Constraint::Length(1),
        Constraint::Length(2),
        Constraint::Min(0),
    ])
    .areas(inside);
    let mut line = live_spans("final rinse", &machine.rinse, RINSE);
    line.push(Span::raw("   "));
    line.extend(live_spans("wash", &machine.wash, WASH));
    let width = usize::from(inside.width);
    frame.render_widget(Paragraph::new(fitting(Line::from(line), width)), live);
    frame.render_widget(Paragraph::new(fitting(last_line(machine.last.as_ref()), width)), verdict);
    draw_scale(frame, scale, machine);
    if trace.height >= 4 {
        draw_trace(frame, trace, machine, now);
    }
}

fn live_spans(name: &'static str, probe: &ProbeScene, colour: Color) -> Vec<Span<'static>> {
    let value = match (probe.fault, probe.celsius()) {
        (Some(fault), _) => format!("{fault}"),
        (None, Some(celsius)) => format!("{celsius:5.1} °C"),
        (None, None) => "  –".to_owned(),
    };
    vec![Span::raw(format!("{name} ")), Span::styled(value, bold().fg(colour))]
}

fn last_line(last: Option<&CycleRow>) -> Line<'static> {
    let Some(row) = last else {
        return Line::from("last: no rack yet");
    };
    let measured = row.rinse_min_c.map_or_else(|| "–".to_owned(), |celsius| format!("{celsius:.1}"));
    Line::from(vec![
        Span::raw("last: "),
        Span::styled(
            format!(" {} ", table::verdict_word(row.verdict).to_uppercase()),
            style_of(row.verdict).add_modifier(Modifier::REVERSED),
        ),
        Span::raw(format!(" {measured} / {:.1} °C", row.limit_c)),
    ])
}

/// Ends of a machine's scale, °C.
fn scale_of(machine: &MachineScene) -> (f64, f64) {
    let limit_c = machine.rinse.limit.0;
    let tens = |celsius: f64, round: fn(f64) -> f64| round(celsius / 10.0) * 10.0;
    (tens(limit_c - SCALE_AROUND_C.0, f64::floor), tens(limit_c + SCALE_AROUND_C.1, f64::ceil))
}

/// A scale around the limit: the limit as a bar, the settled minimum of the last rack as a mark.
fn draw_scale(frame: &mut Frame<'_>, area: Rect, machine: &MachineScene) {
    let width = usize::from(area.width);
    if width < 20 {
        return;
    }
    let (low_c, high_c) = scale_of(machine);
    let place = |celsius: f64| {
        let share = ((celsius - low_c) / (high_c - low_c)).clamp(0.0, 1.0);
        #[expect(clippy::cast_possible_truncation, reason = "at most the width of a terminal")]
        #[expect(clippy::cast_sign_loss, reason = "clamped to 0 and above")]
        let column = (share * (width - 1) as f64).round() as usize;
        column
    };
    let limit_c = machine.last.as_ref().map_or(machine.rinse.limit.0, |row| row.limit_c);
    let limit = place(limit_c);
    let mark = machine
        .last
        .as_ref()
        .and_then(|row| Some((place(row.rinse_min_c?), words::mark(row.verdict), style_of(row.verdict))));
    let spans: Vec<Span<'_>> = (0..width)
        .map(|column| match mark {
            Some((at, mark, style)) if at == column => Span::styled(mark.to_string(), style),
            _ if column == limit => Span::styled("┃", bold()),
            _ if column < limit => Span::styled("╌", Style::new().add_modifier(Modifier::DIM)),
            _ => Span::raw("═"),
        })
        .collect();
    let caption = format!("limit {limit_c:.1} °C");
    let start = limit.saturating_sub(caption.chars().count() / 2).min(width - caption.chars().count());
    let caption = Line::from(format!("{}{caption}", " ".repeat(start)));
    frame.render_widget(Paragraph::new(vec![Line::from(spans), caption]), area);
}

fn draw_trace(frame: &mut Frame<'_>, area: Rect, machine: &MachineScene, now: Option<Timestamp>) {
    let Some(now) = now else {
        return;
    };
    let points = |probe: &ProbeScene| -> Vec<(f64, f64)> {
        probe.trace.iter().map(|(at, celsius)| (at.seconds_since(now), *celsius)).collect()
    };
    let (rinse, wash) = (points(&machine.rinse), points(&machine.wash));
    let span = -TRACE_SPAN.as_secs_f64();
    let (low_c, high_c) = scale_of(machine);
    let limit = [(span, machine.rinse.limit.0), (0.0, machine.rinse.limit.0)];
    let line = |name: &'static str, points, colour| {
        Dataset::default()
            .name(name)
            .marker(Marker::Braille)
            .graph_type(GraphType::Line)
            .style(Style::new().fg(colour))
            .data(points)
    };
    let chart = Chart::new(vec![
        line("limit", &limit, Color::DarkGray),
        line("wash", &wash, WASH),
        line("final rinse", &rinse, RINSE),
    ])
    .legend_position(None)
    .x_axis(Axis::default().bounds([span, 0.0]).labels([
        format!("−{} min", TRACE_SPAN.as_secs() / 60),
        String::new(),
        "now".to_owned(),
    ]))
    .y_axis(Axis::default().bounds([low_c, high_c]).labels([
        format!("{low_c:.0}"),
        format!("{:.0}", f64::midpoint(low_c, high_c)),
        format!("{high_c:.0} °C"),
    ]));
    frame.render_widget(chart, area);
}

fn draw_racks(frame: &mut Frame<'_>, area: Rect, scene: &Scene, zone: &TimeZone) {
    let block = Block::bordered().border_type(BorderType::Rounded).title(Span::styled(
        " racks, newest first: lowest settled rinse / limit, what to do, and why ",
        bold(),
    ));
    let inside = block.inner(area);
    frame.render_widget(block, area);
    let (width, height) = (usize::from(inside.width), usize::from(inside.height));
    let mut lines = Vec::new();
    let mut shown = 0;
    for row in &scene.cycles {
        // A rack counts as shown where its verdict and what to do are.
        if lines.len() + 2 > height {
            break;
        }
        shown += 1;
        lines.extend(rack_lines(row, zone, width));
    }
    let held = scene.cycles.iter().skip(shown).find(|row| row.verdict.is_urgent());
    if let Some(row) = held.filter(|_| !scene.cycles.iter().take(shown).any(|row| row.verdict.is_urgent())) {
        let pinned = held_lines(row, zone, width);
        cut_below(&mut lines, height.saturating_sub(pinned.len()), width);
        lines.extend(pinned);
    }
    cut_below(&mut lines, height, width);
    frame.render_widget(Paragraph::new(lines), inside);
}

/// Leaves so many lines; that more stood below is told by «…» at the end of the last.
fn cut_below(lines: &mut Vec<Line<'static>>, height: usize, width: usize) {
    if lines.len() <= height {
        return;
    }
    lines.truncate(height);
    if let Some(last) = lines.pop() {
        let mut last = fitting(last, width.saturating_sub(2));
        last.push_span(" …");
        lines.push(last);
    }
}

/// A rack: verdict, what to do with it, and why.
fn rack_lines(row: &CycleRow, zone: &TimeZone, width: usize) -> Vec<Line<'static>> {
    let mut lines = vec![fitting(rack_head(row, zone), width)];
    lines.extend(advice_lines(row, width));
    let why = row.reasons.iter().chain(&row.findings).map(String::as_str).collect::<Vec<_>>().join(" ");
    if !why.is_empty() {
        lines.extend(indented(&why, "", width).map(Line::from));
    }
    lines
}

/// The last rack to be held, which must not scroll away with the good ones after it.
fn held_lines(row: &CycleRow, zone: &TimeZone, width: usize) -> Vec<Line<'static>> {
    let rule = Line::styled(
        format!("{:─<width$}", "── last rack to hold "),
        Style::new().add_modifier(Modifier::DIM),
    );
    let mut lines = vec![rule, fitting(rack_head(row, zone), width)];
    lines.extend(advice_lines(row, width));
    lines
}

fn rack_head(row: &CycleRow, zone: &TimeZone) -> Line<'static> {
    let measured = row.rinse_min_c.map_or_else(|| "    –".to_owned(), |celsius| format!("{celsius:5.1}"));
    let meaning = if row.verdict == Verdict::Pass { "" } else { meaning(row.verdict, Language::English) };
    Line::from(vec![
        Span::raw(format!(" {}  {:<8} ", table::time_of_day(row.rinse_started, zone), row.machine)),
        Span::styled(format!("{:<11} ", table::verdict_word(row.verdict)), style_of(row.verdict)),
        Span::raw(format!("{measured} /{:5.1} °C  {meaning}", row.limit_c)),
    ])
}

fn advice_lines(row: &CycleRow, width: usize) -> Vec<Line<'static>> {
    match advice(row.verdict, Language::English) {
        "" => Vec::new(),
        told => indented(told, "→ ", width).map(|line| Line::styled(line, bold())).collect(),
    }
}

/// A text in lines below the head of its rack, `mark` before the first.
fn indented(text: &str, mark: &str, width: usize) -> impl Iterator<Item = String> {
    const INDENT: usize = 12;
    let mark = mark.to_owned();
    let room = width.saturating_sub(INDENT + 1 + mark.chars().count()).max(20);
    table::wrapped(text, room).into_iter().enumerate().map(move |(place, line)| {
        let mark = if place == 0 { mark.clone() } else { " ".repeat(mark.chars().count()) };
        format!("{:INDENT$}{mark}{line}", "")
    })
}

fn draw_foot(frame: &mut Frame<'_>, area: Rect) {
    let foot = Paragraph::new(words::CAUTION)
        .wrap(Wrap { trim: true })
        .style(Style::new().add_modifier(Modifier::DIM));
    frame.render_widget(foot, area);
}

fn style_of(verdict: Verdict) -> Style {
    match verdict {
        Verdict::Cold | Verdict::Brief | Verdict::Weak => bold().fg(Color::Red),
        Verdict::Unproven => bold().fg(Color::Magenta),
        Verdict::Narrow => Style::new().fg(Color::Yellow),
        Verdict::Pass => Style::new().fg(Color::Green),
    }
}

fn bold() -> Style {
    Style::new().add_modifier(Modifier::BOLD)
}

const fn sanitizing_words(sanitizing: Sanitizing) -> &'static str {
    match sanitizing {
        Sanitizing::HotWater => "hot water",
        Sanitizing::Chlorine => "chlorine",
        Sanitizing::Iodine => "iodine",
        Sanitizing::Quat => "quat",
    }
}

#[cfg(test)]
mod tests;
