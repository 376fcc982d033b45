//! The layout clock: the time of day on the layout, which may run faster than layout time, and stand.

use std::fmt;

use signaller::Time;

const MINUTE: i64 = 60_000_000_000;
const DAY: i64 = 24 * 60 * MINUTE;

/// How fast a layout clock may run.
const PACES: std::ops::RangeInclusive<f64> = 0.1..=240.0;

/// A time that a layout clock can show: nanoseconds since the midnight before the first day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct ClockTime(i64);

impl ClockTime {
    /// Reads `18:30` or `6:05:30`.
    ///
    /// # Errors
    /// In words, where that is no time of day.
    pub fn read(written: &str) -> Result<Self, String> {
        let shown: String = written.chars().take(20).collect();
        let wrong = || format!("`{shown}` is no time of day; hint: write it as `18:30`");
        let parts: Vec<&str> = written.split(':').collect();
        let (2 | 3, true) = (parts.len(), parts.iter().skip(1).all(|part| part.len() == 2)) else {
            return Err(wrong());
        };
        let mut nanos = 0;
        for (part, (most, unit)) in parts.iter().zip([(23, 60 * MINUTE), (59, MINUTE), (59, 1_000_000_000)]) {
            let digits = part.bytes().all(|letter| letter.is_ascii_digit()) && part.len() <= 2;
            let number: i64 = part.parse().ok().filter(|number| digits && *number <= most).ok_or_else(wrong)?;
            nanos += number * unit;
        }
        Ok(Self(nanos))
    }

    /// The time so many nanoseconds after the midnight before the first day.
    pub fn from_nanos(nanos: i64) -> Self {
        Self(nanos)
    }

    /// How many nanoseconds after the midnight before the first day it is.
    pub fn nanos(self) -> i64 {
        self.0
    }

    /// How many midnights lie before it.
    pub fn day(self) -> i64 {
        self.0.div_euclid(DAY)
    }

    /// The hour, 0 to 23.
    pub fn hour(self) -> u8 {
        (self.0.rem_euclid(DAY) / (60 * MINUTE)) as u8
    }

    /// The minute, 0 to 59.
    pub fn minute(self) -> u8 {
        (self.0 / MINUTE % 60) as u8
    }

    /// The second, 0 to 59.
    pub fn second(self) -> u8 {
        (self.0 % MINUTE / 1_000_000_000) as u8
    }

    /// The full minute it is in.
    pub(crate) fn full_minute(self) -> Self {
        Self(self.0 - self.0.rem_euclid(MINUTE))
    }

    pub(crate) fn next_minute(self) -> Self {
        Self(self.full_minute().0 + MINUTE)
    }
}

impl fmt::Display for ClockTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{:02}", self.hour(), self.minute())
    }
}

/// The layout clock. It stands at midnight until somebody sets or starts it.
#[derive(Clone, Debug, PartialEq)]
pub struct LayoutClock {
    /// What it showed at `since`.
    showed: ClockTime,
    since: Time,
    pace: f64,
    is_running: bool,
    /// It goes on from where it stood before these scripts began.
    goes_on: bool,
}

impl Default for LayoutClock {
    fn default() -> Self {
        Self { showed: ClockTime(0), since: Time::ZERO, pace: 1.0, is_running: false, goes_on: false }
    }
}

impl LayoutClock {
    /// One that goes on from what it showed when a run before this one ended. It stands until it is started.
    pub fn going_on(showed: ClockTime, pace: f64) -> Self {
        Self { showed, pace: Self::check_pace(pace).unwrap_or(1.0), goes_on: true, ..Self::default() }
    }

    /// The same clock, for scripts that take the place of others within a run.
    #[must_use]
    pub fn handed_on(self) -> Self {
        Self { goes_on: self.is_used(), ..self }
    }

    /// Whether it goes on from where it stood before these scripts began: in a run before this one, or on the layout before.
    pub fn goes_on(&self) -> bool {
        self.goes_on
    }

    /// What it shows.
    pub fn shows(&self, now: Time) -> ClockTime {
        if !self.is_running {
            return self.showed;
        }
        let passed = (now.since(self.since).as_nanos() as f64 * self.pace).min(i64::MAX as f64 / 2.0);
        ClockTime(self.showed.0.saturating_add(passed as i64))
    }

    /// How many times faster than layout time it runs, or will when it is started.
    pub fn pace(&self) -> f64 {
        self.pace
    }

    /// Whether it runs.
    pub fn is_running(&self) -> bool {
        self.is_running
    }

    /// Whether anybody ever set or started it.
    pub fn is_used(&self) -> bool {
        *self != Self::default()
    }

    /// Whether it can run so fast.
    ///
    /// # Errors
    /// In words, where it cannot.
    pub fn check_pace(pace: f64) -> Result<f64, String> {
        let [slowest, fastest] = [PACES.start(), PACES.end()];
        let can = PACES.contains(&pace);
        can.then_some(pace)
            .ok_or_else(|| format!("a layout clock runs {slowest} to {fastest} times as fast, not {pace}"))
    }

    /// Sets it to a time of its day.
    pub fn set(&mut self, now: Time, time: ClockTime) {
        let day = self.shows(now).day();
        (self.showed, self.since) = (ClockTime(day * DAY + time.0.rem_euclid(DAY)), now);
    }

    /// Lets it run, at a pace that [`LayoutClock::check_pace`] found right.
    pub fn start(&mut self, now: Time, pace: f64) {
        (self.showed, self.since) = (self.shows(now), now);
        (self.pace, self.is_running) = (pace, true);
    }

    /// Lets it stand.
    pub fn pause(&mut self, now: Time) {
        (self.showed, self.since, self.is_running) = (self.shows(now), now, false);
    }

    /// When it next shows that time of day, after now.
    pub(crate) fn next(&self, now: Time, time: ClockTime) -> ClockTime {
        let shows = self.shows(now);
        let today = ClockTime(shows.day() * DAY + time.0.rem_euclid(DAY));
        if today > shows { today } else { ClockTime(today.0 + DAY) }
    }

    /// When it will show that, if nobody touches it; nothing while it stands. Never before `now`.
    pub(crate) fn when(&self, now: Time, time: ClockTime) -> Option<Time> {
        if self.shows(now) >= time {
            return Some(now);
        }
        let ahead = (time.0 - self.showed.0) as f64 / self.pace;
        // Rounded up, and then some: when it is due it must be there.
        let due = self.since + std::time::Duration::from_nanos(ahead.max(0.0) as u64 + 1000);
        self.is_running.then_some(due.max(now))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_goes_on_from_where_it_stood() {
        let mut before = LayoutClock::default();
        before.set(Time::ZERO, time("18:00"));
        before.start(Time::ZERO, 12.0);
        let showed = before.shows(Time::from_millis(150_000));
        let mut clock = LayoutClock::going_on(ClockTime::from_nanos(showed.nanos()), before.pace());
        assert!(clock.is_used() && clock.goes_on() && !clock.is_running());
        clock.start(Time::ZERO, clock.pace());
        assert_eq!((clock.shows(Time::ZERO), clock.shows(Time::from_millis(5_000))), (time("18:30"), time("18:31")));
        assert_eq!(LayoutClock::going_on(showed, f64::NAN).pace(), 1.0, "what was written may be anything");
    }

    fn time(written: &str) -> ClockTime {
        ClockTime::read(written).unwrap()
    }

    #[test]
    fn times_of_day_are_read_as_people_write_them() {
        assert_eq!(time("18:30").to_string(), "18:30");
        assert_eq!(time("6:05:30").to_string(), "6:05");
        assert_eq!((time("06:05:30").hour(), time("06:05:30").second()), (6, 30));
        for wrong in ["24:00", "18", "18:60", "18:5", ":30", "1a:00", "18:30:61", "", "18:30:10:1", "-1:00", "118:00"] {
            assert!(ClockTime::read(wrong).unwrap_err().contains("is no time of day"), "{wrong}");
        }
    }

    #[test]
    fn an_evening_passes_in_minutes() {
        let mut clock = LayoutClock::default();
        assert!(!clock.is_used());
        clock.set(Time::ZERO, time("18:00"));
        let later = Time::from_millis(60_000);
        assert_eq!(clock.shows(later), time("18:00"), "it stands until it is started");
        clock.start(later, 12.0);
        assert_eq!(clock.shows(Time::from_millis(120_000)), time("18:12"));
        clock.pause(Time::from_millis(120_000));
        assert_eq!(clock.shows(Time::from_millis(500_000)), time("18:12"));
        assert_eq!(clock.when(Time::from_millis(500_000), time("18:13")), None);
        clock.start(Time::from_millis(500_000), 60.0);
        let due = clock.when(Time::from_millis(500_000), time("18:13")).unwrap();
        assert!(clock.shows(due) >= time("18:13"));
        assert!(due <= Time::from_millis(501_001), "{due:?}");
    }

    #[test]
    fn a_time_that_is_over_comes_again_tomorrow() {
        let mut clock = LayoutClock::default();
        clock.set(Time::ZERO, time("23:59"));
        clock.start(Time::ZERO, 60.0);
        let tomorrow = clock.next(Time::ZERO, time("6:00"));
        assert_eq!((tomorrow.day(), tomorrow.to_string().as_str()), (1, "6:00"));
        let midnight = Time::from_millis(1_000);
        assert_eq!((clock.shows(midnight).day(), clock.shows(midnight).hour()), (1, 0));
        assert_eq!(clock.next(Time::ZERO, time("23:59")).day(), 1, "now is not next");
        assert!(LayoutClock::check_pace(f64::NAN).is_err());
    }
}
