//! The live view: the layout as a picture of track on a terminal, with trains, aspects and doubts where they are.

mod canvas;
mod draw;
mod plan;
mod strand;

use std::io::{self, Write};

use crossterm::event::{self, Event, KeyCode, KeyEventKind, KeyModifiers};
use crossterm::{cursor, execute, terminal};
use signaller::Time;
use tokio::sync::mpsc::UnboundedSender;
use track::Layout;

use self::canvas::{Canvas, Colours};
use self::draw::{Scene, draw};
use self::plan::{Plan, plan};
use super::house::{Audience, Heard};
use super::pairing::{Ink, picture};
use super::shell::{Now, Stage};
use super::words::{Line, Teller, Weight};

/// How many of the last lines are kept.
const LINES: usize = 200;

/// What a person asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Key {
    /// Stop every train, then leave.
    Leave,
    /// Stop every train, or let them go on.
    Halt,
    /// Faster.
    Faster,
    /// Slower.
    Slower,
    /// The terminal changed.
    Redraw,
    /// Show the picture of a code, or put it away.
    Picture,
}

/// What the keys do for whoever sits before the view, in words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Keys {
    /// Who started the run.
    OfItsDriver,
    /// Who only looks on.
    OfOnlookers,
}

impl Keys {
    fn in_words(self) -> &'static str {
        match self {
            Self::OfItsDriver => {
                "q stop and leave   space stop all, go on   + - pace        emergency stop within reach?"
            }
            Self::OfOnlookers => "q leave   space stop all, go on        emergency stop within reach?",
        }
    }
}

/// The live view.
pub(crate) struct View {
    screen: Screen,
    keys: Keys,
    teller: Teller,
    lines: Vec<Line>,
    plan: Plan,
    /// The width that the plan is for.
    width: usize,
    colours: Colours,
    /// A picture for cameras, with what it is for; and whether it is shown now.
    picture: Option<(String, Vec<String>)>,
    is_picture_shown: bool,
}

impl View {
    /// Takes the terminal over, and sends what is pressed.
    ///
    /// # Errors
    /// When the terminal does not let itself be taken over.
    pub(crate) fn open(layout: &Layout, sender: UnboundedSender<Key>, keys: Keys) -> io::Result<Self> {
        let screen = Screen::open()?;
        // The thread ends with the program: nothing can end its waiting for a key.
        std::thread::spawn(move || {
            while let Ok(event) = event::read() {
                if let Some(key) = key(&event)
                    && sender.send(key).is_err()
                {
                    return;
                }
            }
        });
        let colours = if std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty()) {
            Colours::None
        } else {
            Colours::Some
        };
        let teller = Teller::new(layout);
        Ok(Self {
            screen,
            keys,
            teller,
            lines: Vec::new(),
            plan: Plan::default(),
            width: 0,
            colours,
            picture: None,
            is_picture_shown: false,
        })
    }

    /// Puts a line among those that are shown.
    pub(crate) fn say(&mut self, line: Line) {
        self.lines.push(line);
        if self.lines.len() > 2 * LINES {
            self.lines.drain(..self.lines.len() - LINES);
        }
    }

    /// Draws everything, with an alarm if there is cause for one.
    ///
    /// # Errors
    /// When the terminal does not take it.
    pub(crate) fn draw(&mut self, now: &Now<'_>, alarm: Option<&str>) -> io::Result<()> {
        let (width, height) = terminal::size().map(|(width, height)| (usize::from(width), usize::from(height)))?;
        if width != self.width {
            (self.plan, self.width) = (plan(now.board.layout(), width), width);
            self.screen.clear()?;
        }
        if let Some((words, picture)) = self.picture.as_ref().filter(|_| self.is_picture_shown) {
            return self.screen.show(picture_page(words, picture, (width, height)));
        }
        let mut canvas = Canvas::new(width, height);
        let Now { board, clock, .. } = now;
        let &Now { phase, pace, broken_rules, .. } = now;
        let (plan, lines, keys) = (&self.plan, self.lines.as_slice(), self.keys.in_words());
        draw(
            &Scene { board, plan, phase, pace, broken_rules, clock: clock.as_deref(), alarm, lines, keys },
            &mut canvas,
        );
        self.screen.show(canvas.escape_codes(self.colours))
    }
}

/// The whole screen with a picture for cameras, or with why there is not.
fn picture_page(words: &str, picture: &[String], (width, height): (usize, usize)) -> String {
    const KEYS: &str = "p puts it away; q and space work as ever";
    // Each character is a module wide, and each line is as many of them as the picture has on a side.
    let (wide, high) = (2 * picture.len(), picture.len() + 2);
    let mut lines = vec![words.to_owned(), KEYS.to_owned()];
    if width < wide || height < high {
        lines = vec![format!("the picture needs {wide} by {high} characters"), KEYS.to_owned()];
    } else {
        lines.extend_from_slice(picture);
    }
    let cut = |line: &String| if line.starts_with('\x1b') { line.clone() } else { line.chars().take(width).collect() };
    let lines: Vec<String> = lines.iter().take(height.max(1)).map(cut).collect();
    format!("\x1b[2J\x1b[H{}", lines.join("\r\n"))
}

fn key(event: &Event) -> Option<Key> {
    match event {
        Event::Resize(..) => Some(Key::Redraw),
        Event::Key(key) if key.kind == KeyEventKind::Press => match key.code {
            KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => Some(Key::Leave),
            KeyCode::Char('q') => Some(Key::Leave),
            KeyCode::Char(' ') => Some(Key::Halt),
            KeyCode::Char('+' | '=') => Some(Key::Faster),
            KeyCode::Char('-') => Some(Key::Slower),
            KeyCode::Char('p') => Some(Key::Picture),
            _ => None,
        },
        _ => None,
    }
}

impl Audience for View {
    fn hear(&mut self, heard: &Heard<'_>) {
        for line in self.teller.lines(heard) {
            self.say(line);
        }
    }
}

impl Stage for View {
    fn announce(&mut self, text: &str) -> io::Result<()> {
        self.say(Line { at: Time::ZERO, weight: Weight::Ordinary, text: text.to_owned() });
        Ok(())
    }

    fn invite(&mut self, words: &str, address: &str) -> io::Result<()> {
        let ink = match self.colours {
            Colours::Some => Ink::Coloured,
            Colours::None => Ink::Plain,
        };
        self.picture = picture(address, ink).map(|lines| (format!("{words}: {address}"), lines));
        self.announce("the key p shows the picture of a code to the camera of a phone or tablet")
    }

    fn turn_picture(&mut self) {
        self.is_picture_shown = !self.is_picture_shown && self.picture.is_some();
    }

    fn beat(&mut self, now: &Now<'_>) -> io::Result<()> {
        self.draw(now, None)
    }

    fn relay(&mut self, layout: &Layout) {
        self.teller = Teller::new(layout);
        // The plan is drawn anew with the next picture.
        self.width = 0;
    }

    fn end(&mut self, summary: &str) -> io::Result<()> {
        self.screen.close();
        let mut output = io::stdout().lock();
        output.write_all(summary.as_bytes())?;
        output.flush()
    }
}

/// The terminal while it is ours. It is given back however the program ends, short of being killed.
struct Screen {
    is_open: bool,
    /// What is on it.
    shown: String,
}

impl Screen {
    fn open() -> io::Result<Self> {
        terminal::enable_raw_mode()?;
        let screen = Self { is_open: true, shown: String::new() };
        execute!(io::stdout(), terminal::EnterAlternateScreen, cursor::Hide)?;
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            give_back();
            usual(panic);
        }));
        Ok(screen)
    }

    fn show(&mut self, escape_codes: String) -> io::Result<()> {
        if escape_codes != self.shown {
            let mut output = io::stdout().lock();
            output.write_all(escape_codes.as_bytes())?;
            output.flush()?;
            self.shown = escape_codes;
        }
        Ok(())
    }

    /// What was drawn for another size would stay where nothing is drawn now.
    fn clear(&mut self) -> io::Result<()> {
        execute!(io::stdout(), terminal::Clear(terminal::ClearType::All))
    }

    fn close(&mut self) {
        if std::mem::replace(&mut self.is_open, false) {
            give_back();
        }
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        self.close();
    }
}

fn give_back() {
    // Where the terminal is gone there is nothing to give back.
    let _ = execute!(io::stdout(), cursor::Show, terminal::LeaveAlternateScreen);
    let _ = terminal::disable_raw_mode();
}

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::sync::Arc;

    use super::*;
    use crate::run::house::House;
    use crate::run::pace::Pace;
    use crate::run::shell::Phase;

    /// Low Staithe after a minute, as the live view shows it.
    fn picture(width: usize, height: usize) -> String {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
        let layout = crate::folder::load(&folder).unwrap().layout;
        let scripts = crate::run::scripts(&folder.join("scripts")).unwrap();
        picture_of(layout, scripts, width, height)
    }

    fn picture_of(layout: Layout, scripts: Vec<(String, String)>, width: usize, height: usize) -> String {
        let layout = Arc::new(layout);
        let (mut house, errors) =
            House::new(Arc::clone(&layout), scripts, 1, &testtrack::swarm::FaultSet::None).unwrap();
        assert!(errors.is_empty(), "{errors:?}");
        let mut deaf = Deaf(Teller::new(&layout), Vec::new());
        house.pass(Time::from_millis(60_000), &mut deaf);
        let plan = plan(&layout, width);
        let mut canvas = Canvas::new(width, height);
        house.look();
        let (phase, pace) = (Phase::Running, Pace::Times(1.0));
        let scene = Scene {
            board: house.board(),
            plan: &plan,
            phase,
            pace,
            broken_rules: 0,
            clock: Some("18:30"),
            alarm: None,
            lines: &deaf.1,
            keys: "",
        };
        draw(&scene, &mut canvas);
        canvas.text()
    }

    struct Deaf(Teller, Vec<Line>);

    impl Audience for Deaf {
        fn hear(&mut self, heard: &Heard<'_>) {
            self.1.extend(self.0.lines(heard));
        }
    }

    #[test]
    fn a_minute_into_the_day_every_train_is_on_the_picture() {
        let shown = picture(120, 40);
        println!("{shown}");
        for train in ["Heron", "Plover", "Dunlin", "Curlew"] {
            assert!(shown.matches(train).count() >= 2, "{train} is not where it should be:\n{shown}");
        }
        assert!(shown.lines().next().unwrap().contains("it is 18:30"), "{shown}");
        for section in ["quay-1", "loop-2", "yard-5", "hill-2", "tunnel-1"] {
            assert!(shown.contains(section), "{section} is missing:\n{shown}");
        }
    }

    #[test]
    fn a_train_that_nobody_put_down_is_not_on_the_track() {
        let mut siding = track::Builder::new("Siding", track::Scale::UNKNOWN);
        siding.plain_section("quay-1", None);
        siding.train(track::Train::stranger("Heron"));
        let shown = picture_of(siding.build(), Vec::new(), 80, 24);
        let heron = shown.lines().find(|line| line.contains("Heron")).unwrap();
        assert!(heron.contains("0 trips") && heron.contains("not on the track"), "{heron}");
    }

    #[test]
    fn a_picture_for_cameras_is_shown_whole_or_not_at_all() {
        let lines = crate::run::pairing::picture("http://192.168.7.23:4460/#pair/1234-5678", Ink::Plain).unwrap();
        let page = picture_page("let in", &lines, (80, 40));
        assert!(lines.iter().all(|line| page.contains(line.as_str())), "{page}");
        for size in [(20, 40), (80, 10), (1, 1)] {
            let page = picture_page("let in", &lines, size);
            assert!(!page.contains('█') && page.contains('t'), "{size:?}: {page}");
        }
    }

    #[test]
    fn a_terminal_of_any_size_is_drawn_on() {
        for (width, height) in [(1, 1), (20, 5), (80, 24), (300, 100)] {
            assert_eq!(picture(width, height).lines().count(), height, "at {width} by {height}");
        }
    }
}
