//! The picture: track with what is known of it, trains with what they are about, and what happened last.

use signaller::{Advice, Aspect, Board, Tag};
use track::{Beyond, EndId, SectionId, SignalId, TrainId};

use super::canvas::{Canvas, Style};
use super::plan::{Place, Plan, Side};
use crate::run::pace::Pace;
use crate::run::shell::Phase;
use crate::run::words::{self, Line, Weight};

/// What the symbols mean.
const LEGEND: &str = "■ danger  ◆ caution  ○ clear   ─ free  ═ granted  ━ taken  ╍ in doubt  ▒ unexplained  ┄ unknown";

/// Everything that is shown.
pub(super) struct Scene<'a> {
    pub(super) board: &'a Board,
    pub(super) plan: &'a Plan,
    pub(super) phase: Phase,
    pub(super) pace: Pace,
    /// How many rules were seen broken.
    pub(super) broken_rules: u64,
    /// What the layout clock shows, once it was set or started.
    pub(super) clock: Option<&'a str>,
    /// What everybody must see first.
    pub(super) alarm: Option<&'a str>,
    /// What happened, the latest last.
    pub(super) lines: &'a [Line],
    /// What the lowest line says.
    pub(super) keys: &'a str,
}

/// Draws everything.
pub(super) fn draw(scene: &Scene<'_>, canvas: &mut Canvas) {
    heading(scene, canvas);
    let (top, bottom) = (2, canvas.height().saturating_sub(2));
    track(scene, canvas, top);
    let mut line = top + scene.plan.height + 1;
    for &train in scene.board.errands.keys() {
        if line < bottom {
            errand(scene, canvas, line, train);
            line += 1;
        }
    }
    let room = bottom.saturating_sub(line + 1);
    let shown = &scene.lines[scene.lines.len().saturating_sub(room)..];
    for (offset, said) in shown.iter().enumerate() {
        let style = match said.weight {
            Weight::Ordinary => Style::Faint,
            Weight::Notable => Style::Yellow,
            Weight::Grave => Style::Red,
        };
        canvas.write(line + 1 + offset, 1, &said.to_string(), usize::MAX, style);
    }
    for (offset, text) in [LEGEND, scene.keys].into_iter().enumerate() {
        clear_line(canvas, bottom + offset);
        canvas.write(bottom + offset, 1, text, usize::MAX, Style::Faint);
    }
}

fn clear_line(canvas: &mut Canvas, line: usize) {
    for column in 0..canvas.width() {
        canvas.put(line, column, ' ', Style::Plain);
    }
}

fn heading(scene: &Scene<'_>, canvas: &mut Canvas) {
    let layout = scene.board.layout();
    let column = canvas.write(0, 1, &layout.name, usize::MAX, Style::Strong);
    let column = canvas.write(0, column + 3, &words::clock(scene.board.now), usize::MAX, Style::Plain);
    let column = canvas.write(0, column + 3, &scene.pace.to_string(), usize::MAX, Style::Faint);
    let column = match scene.clock {
        Some(clock) => canvas.write(0, column + 3, &format!("it is {clock}"), usize::MAX, Style::Strong),
        None => column,
    };
    let column = match scene.phase {
        Phase::Running => column,
        Phase::Halted => canvas.write(0, column + 3, "ALL TRAINS STOPPED", usize::MAX, Style::Red),
        Phase::Ending => canvas.write(0, column + 3, "STOPPING ALL TRAINS, THEN LEAVING", usize::MAX, Style::Red),
    };
    let column = match scene.alarm {
        Some(alarm) => canvas.write(0, column + 3, alarm, usize::MAX, Style::Red),
        None => column,
    };
    if scene.broken_rules > 0 {
        canvas.write(0, column + 3, &format!("{} RULES BROKEN", scene.broken_rules), usize::MAX, Style::Red);
    }
}

fn track(scene: &Scene<'_>, canvas: &mut Canvas, top: usize) {
    for place in &scene.plan.places {
        rails(scene, canvas, place, top);
        name(scene, canvas, place, top);
    }
    for bend in &scene.plan.bends {
        let (corner, branch) = match bend.towards {
            Side::Right => ('╰', '├'),
            Side::Left => ('╯', '┤'),
        };
        canvas.put(top + bend.from_line, bend.column, '┬', Style::Plain);
        for line in bend.from_line + 1..bend.to_line {
            let passes = [corner, branch].contains(&canvas.at(top + line, bend.column));
            canvas.put(top + line, bend.column, if passes { branch } else { '│' }, Style::Plain);
        }
        canvas.put(top + bend.to_line, bend.column, corner, Style::Plain);
    }
    for &line in &scene.plan.folds {
        canvas.put(top + line, canvas.width().saturating_sub(2), '↴', Style::Faint);
        canvas.put(top + line, canvas.width().saturating_sub(1), ' ', Style::Plain);
    }
    for place in &scene.plan.places {
        signals(scene, canvas, place, top);
        train(scene, canvas, place, top);
    }
}

/// The track of a section: what is known of it, in one kind of stroke.
fn rails(scene: &Scene<'_>, canvas: &mut Canvas, place: &Place, top: usize) {
    let (board, section) = (scene.board, place.piece.section);
    let (stroke, style) = match (&board.tags[section], board.granted[section]) {
        (None, _) => ('┄', Style::Faint),
        (Some(Tag::Free), None) => ('─', Style::Plain),
        (Some(Tag::Free), Some(_)) => ('═', Style::Strong),
        (Some(Tag::Sure(_)), _) => ('━', Style::Strong),
        (Some(Tag::Doubt(_)), _) => ('╍', Style::Doubt),
        (Some(Tag::Unexplained), _) => ('▒', Style::Red),
    };
    for column in place.columns.clone() {
        canvas.put(top + place.line, column, stroke, style);
    }
    let ends = [
        (Some(place.piece.left), place.columns.start, ['▐', '«']),
        (place.piece.right, place.columns.end - 1, ['▌', '»']),
    ];
    for (end, column, [buffer, off_layout]) in ends {
        match end.map(|end| board.layout().ends[end].beyond) {
            Some(Beyond::BufferStop) => canvas.put(top + place.line, column, buffer, Style::Strong),
            Some(Beyond::OffLayout) => canvas.put(top + place.line, column, off_layout, Style::Plain),
            Some(Beyond::Joint) | None => {}
        }
    }
}

/// The name of a section, and where its track goes on if that is not drawn beside it.
fn name(scene: &Scene<'_>, canvas: &mut Canvas, place: &Place, top: usize) {
    let layout = scene.board.layout();
    let section = &layout.sections[place.piece.section];
    let mut text = section.name.clone();
    if let Some(beyond) = elsewhere(scene, place) {
        text.push_str(&format!(" ›{beyond}"));
    }
    let column = place.columns.start;
    canvas.put(top + place.line - 1, column, '┊', Style::Faint);
    canvas.write(top + place.line - 1, column + 1, &text, place.columns.len() - 1, Style::Faint);
}

/// The section that the right end leads to, where it is neither drawn beside it nor joined by a bend.
fn elsewhere<'a>(scene: &'a Scene<'_>, place: &Place) -> Option<&'a str> {
    let layout = scene.board.layout();
    let met = layout.ends[place.piece.right?].meets.first()?;
    let there = layout.ends[*met].section;
    let is_end_of_strand = !scene.plan.places.iter().any(|next| next.piece.left == *met);
    let is_bent = scene.plan.bends.iter().any(|bend| {
        bend.to_line == place.line
            && place.columns.start.abs_diff(bend.column).min(place.columns.end.abs_diff(bend.column)) <= 1
    });
    (is_end_of_strand && !is_bent).then(|| layout.sections[there].name.as_str())
}

/// For which way the turnouts of a section lie, by the name of the end in which the ways differ.
fn lying(scene: &Scene<'_>, section: SectionId) -> String {
    let layout = scene.board.layout();
    let ways = &layout.sections[section].ways;
    let is_set = |way: &&track::WayId| {
        layout.ways[**way].needs.iter().all(|need| scene.board.lies[need.turnout] == Some(need.lie))
    };
    let Some(&way) = ways.iter().find(is_set) else { return "?".to_owned() };
    let is_everywhere = |end: &EndId| ways.iter().all(|&other| layout.ways[other].ends.contains(end));
    let own: Vec<&str> = layout.ways[way]
        .ends
        .iter()
        .filter(|end| !is_everywhere(end))
        .map(|&end| layout.ends[end].name.as_str())
        .collect();
    own.join("-")
}

fn signals(scene: &Scene<'_>, canvas: &mut Canvas, place: &Place, top: usize) {
    let board = scene.board;
    let ends = [(Some(place.piece.left), place.columns.start), (place.piece.right, place.columns.end - 1)];
    for (end, column) in ends {
        if let Some(signal) = end.and_then(|end| board.layout().ends[end].signal) {
            let (lamp, style) = lamp(scene, signal);
            canvas.put(top + place.line, column, lamp, style);
        }
    }
}

/// A signal's lamp. Its shape says what its colour says.
fn lamp(scene: &Scene<'_>, signal: SignalId) -> (char, Style) {
    let aspect = scene.board.aspects[signal];
    let book = scene.board.layout().book_of(signal);
    let best = book.aspects().map(|(aspect, _)| aspect).max();
    if aspect == Aspect::STOP {
        ('■', Style::Red)
    } else if Some(aspect) == best {
        ('○', Style::Green)
    } else {
        ('◆', Style::Yellow)
    }
}

/// Who is there, with an arrow where the nose is; on free track with several ways, for which of them the turnouts lie.
fn train(scene: &Scene<'_>, canvas: &mut Canvas, place: &Place, top: usize) {
    let board = scene.board;
    let layout = board.layout();
    let (text, style) = match &board.tags[place.piece.section] {
        Some(Tag::Sure(id)) => {
            let name = words::train(layout, *id);
            let text = match nose(scene, *id, place) {
                Some(Side::Right) => format!("{name}▶"),
                Some(Side::Left) => format!("◀{name}"),
                None => name.to_owned(),
            };
            (text, Style::Train)
        }
        Some(Tag::Doubt(trains)) => {
            let names: Vec<&str> = trains.iter().map(|&id| words::train(layout, id)).collect();
            (format!("?{}?", names.join("/")), Style::Doubt)
        }
        Some(Tag::Unexplained) => ("???".to_owned(), Style::Red),
        Some(Tag::Free) | None if layout.sections[place.piece.section].ways.len() > 1 => {
            (lying(scene, place.piece.section), Style::Faint)
        }
        Some(Tag::Free) | None => return,
    };
    let room = place.columns.len().saturating_sub(2);
    let length = text.chars().count().min(room);
    let column = place.columns.start + 1 + (room - length) / 2;
    canvas.write(top + place.line, column, &text, length, style);
}

/// Which way the nose of a train points, if it is in this section.
fn nose(scene: &Scene<'_>, train: TrainId, place: &Place) -> Option<Side> {
    let (section, entered) = scene.board.nose(train)?;
    let layout = scene.board.layout();
    let entered = entered.filter(|_| section == place.piece.section)?;
    let right = place.piece.right?;
    let comes_from_left =
        entered == place.piece.left || (entered != right && layout.way_between(entered, right).is_some());
    Some(if comes_from_left { Side::Right } else { Side::Left })
}

/// One train: where it is going, what keeps it.
fn errand(scene: &Scene<'_>, canvas: &mut Canvas, line: usize, train: TrainId) {
    let board = scene.board;
    let layout = board.layout();
    let Some(errand) = board.errands.get(&train) else { return };
    let name_width = layout.trains.values().map(|train| train.name.chars().count()).max().unwrap_or(0).min(20);
    canvas.write(line, 1, words::train(layout, train), name_width, Style::Strong);
    let (text, style) = if let Some(reason) = &errand.held {
        (format!("held: {reason}"), Style::Red)
    } else if let Some(reason) = &errand.waits {
        (format!("waits: {reason}"), Style::Yellow)
    } else if let Some(advice) = &errand.advice {
        (advised(scene, advice), Style::Plain)
    } else if let Some(to) = errand.to {
        (format!("to {}", words::place(layout, to)), Style::Plain)
    } else if let Some(at) = errand.at {
        (format!("at {}", words::place(layout, at)), Style::Faint)
    } else if layout.trains.get(train).is_some_and(|train| train.start.is_some()) {
        ("stands".to_owned(), Style::Faint)
    } else {
        ("not on the track".to_owned(), Style::Faint)
    };
    let highest = layout.trains.get(train).map_or(126, |train| usize::from(train.speed_steps.highest()));
    let column = bar(canvas, line, name_width + 3, usize::from(errand.step), highest);
    let trips = format!("{} trip{}", errand.trips, if errand.trips == 1 { "" } else { "s" });
    canvas.write(line, column + 2, &trips, 10, Style::Faint);
    canvas.write(line, column + 13, &text, usize::MAX, style);
}

/// How whoever drives a train should drive it.
fn advised(scene: &Scene<'_>, advice: &Advice) -> String {
    let layout = scene.board.layout();
    let signal = advice.signal.map(|(signal, aspect)| {
        let shows = layout.book_of(signal).name(aspect).unwrap_or_default();
        format!("{} is {shows}, ", layout.signals[signal].name)
    });
    let stand = advice.to_stand.map(|far| format!("stand in {:.0} mm, ", far.mm()));
    format!("by hand: {}{}step {} at most", signal.unwrap_or_default(), stand.unwrap_or_default(), advice.step)
}

/// How fast a train is driven, as a bar and a number.
fn bar(canvas: &mut Canvas, line: usize, column: usize, step: usize, highest: usize) -> usize {
    const LENGTH: usize = 10;
    let filled = (step * LENGTH).div_ceil(highest.max(1)).min(LENGTH);
    for offset in 0..LENGTH {
        let (character, style) = if offset < filled { ('▰', Style::Plain) } else { ('▱', Style::Faint) };
        canvas.put(line, column + offset, character, style);
    }
    canvas.write(line, column + LENGTH + 1, &format!("{step:>3}"), 3, Style::Plain)
}
