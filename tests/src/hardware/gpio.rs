//! Pins of a chip that the kernel pretends to have (`gpio-sim`; the kernel's guide, "Configfs GPIO Simulator"), where it offers to.
//! What a link makes of pins is tried with a double in any case, in the crate itself.

use std::path::PathBuf;
use std::time::{Duration, Instant};

use signaller::{Input, Output};
use track::Lie;

use super::{lever, open, said, until_down, until_reported, until_up};
use crate::program;

/// A chip with eight pins that is gone with the test.
struct Chip {
    settings: PathBuf,
    device: String,
    pins: PathBuf,
}

impl Chip {
    /// Makes one; nothing where the kernel has no such chips, or this user may not make one.
    fn make() -> Option<Self> {
        let settings = PathBuf::from(format!("/sys/kernel/config/gpio-sim/lineclear-{}", std::process::id()));
        std::fs::create_dir(&settings).ok()?;
        let bank = settings.join("bank0");
        std::fs::create_dir(&bank).ok()?;
        std::fs::write(bank.join("num_lines"), "8").ok()?;
        std::fs::write(settings.join("live"), "1").ok()?;
        let read = |file: PathBuf| std::fs::read_to_string(file).ok().map(|text| text.trim().to_owned());
        let (device, chip) = (read(settings.join("dev_name"))?, read(bank.join("chip_name"))?);
        let pins = PathBuf::from("/sys/devices/platform").join(device).join(&chip);
        Some(Self { settings, device: format!("/dev/{chip}"), pins })
    }

    /// Something outside holds a pin high, or low.
    fn pull(&self, line: u32, is_high: bool) {
        let word = if is_high { "pull-up" } else { "pull-down" };
        std::fs::write(self.pins.join(format!("sim_gpio{line}/pull")), word).unwrap();
    }

    fn is_high(&self, line: u32) -> bool {
        std::fs::read_to_string(self.pins.join(format!("sim_gpio{line}/value"))).unwrap().trim() == "1"
    }

    fn take_away(&self) {
        std::fs::write(self.settings.join("live"), "0").unwrap();
    }
}

impl Drop for Chip {
    fn drop(&mut self) {
        // What is gone already need not be taken away.
        let _ = std::fs::write(self.settings.join("live"), "0");
        let _ = std::fs::remove_dir(self.settings.join("bank0"));
        let _ = std::fs::remove_dir(&self.settings);
    }
}

#[test]
fn pins_of_a_simulated_chip_are_heard_and_set_where_the_kernel_offers_one() {
    let Some(chip) = Chip::make() else {
        // Not a peer that is missing: a kernel without such chips, or a user who may not make one.
        println!("skipped: this machine offers no simulated pins");
        return;
    };
    let folder = program::scratch("gpio-sim");
    [4, 5].into_iter().for_each(|line| chip.pull(line, true));
    let links = format!(
        "[[link]]\nname = \"pins\"\nby = \"gpio\"\nchip = \"{}\"\nsections = {{ quay = 3, throat = 4 }}\n\
         turnouts = {{ W1 = {{ straight = 5, set = 7 }} }}\ninputs = {{ \"coal stage lever\" = {{ line = 6, active-low = true }} }}\n",
        chip.device
    );
    let (layout, mut lineside) = open(&folder, &links);
    let turnout = layout.turnout_named("W1").unwrap();
    let mut first = until_up(&mut lineside);
    first.sort_by_key(|input| format!("{input:?}"));
    let lies = |lie| Input::TurnoutReported { turnout, lie: Some(lie) };
    let wanted =
        [lever(&layout, true), said(&layout, "quay", false), said(&layout, "throat", true), lies(Lie::Straight)];
    assert_eq!(first, wanted);
    chip.pull(3, true);
    until_reported(&mut lineside, &said(&layout, "quay", true));
    lineside.order(&[Output::Throw { turnout, lie: Lie::Diverging }]);
    let began = Instant::now();
    while !chip.is_high(7) {
        assert!(began.elapsed() < Duration::from_secs(30), "the pin was never set");
        lineside.pulse().beat();
        lineside.next_within(Duration::from_millis(10));
    }
    chip.pull(5, false);
    until_reported(&mut lineside, &lies(Lie::Diverging));
    chip.take_away();
    until_down(&mut lineside);
}
