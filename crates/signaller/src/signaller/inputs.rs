//! Push buttons, levers and whatever else people wire to inputs: what is known of each.
//!
//! They say nothing of trains, so no other stage asks for them. They pass through here all the same: what was pressed, and when, is
//! part of what happened, and is found in the register and heard again in a replay like everything else. That an input came on and
//! went off in one instant is told as both, for that is how a short press looks.

use track::{InputId, Layout, Table};

use super::Signaller;
use crate::door::{Fact, Input, Output};
use crate::snapshot::kept;

/// What is known of inputs.
#[derive(Debug)]
pub(super) struct Inputs {
    pub(super) known: Table<InputId, Option<bool>>,
}

kept!(Inputs { kept: [known], parts: [], made_anew: [] });

impl Inputs {
    pub(super) fn new(layout: &Layout) -> Self {
        Self { known: Table::filled(None, layout.inputs.len()) }
    }
}

impl Signaller {
    /// Takes in what is reported of inputs. Links come first: what one carries that is down is not known, and what is reported of it
    /// all the same is old news.
    pub(super) fn hear_inputs(&mut self, inputs: &[Input]) {
        if self.inputs.known.is_empty() {
            return;
        }
        for input in inputs {
            if let Input::LinkReported { link, .. } = input {
                for place in self.layout.inputs.ids() {
                    if self.layout.inputs[place].link == Some(*link) {
                        self.input_is(place, None);
                    }
                }
            }
        }
        for heard in inputs {
            if let Input::InputReported { input, on } = *heard
                && let Some(described) = self.layout.inputs.get(input)
                && !described.link.is_some_and(|link| self.detect.is_link_down(link))
            {
                self.input_is(input, Some(on));
            }
        }
    }

    /// A person works an input.
    pub(super) fn work_input(&mut self, input: InputId, on: bool) -> Result<(), String> {
        let described = self.layout.inputs.get(input).ok_or("there is no such input")?;
        if let Some(link) = described.link.filter(|&link| self.detect.is_link_down(link)) {
            return Err(format!("link `{}` is down: nothing is heard of it", self.layout.links[link].name));
        }
        self.input_is(input, Some(on));
        Ok(())
    }

    fn input_is(&mut self, input: InputId, on: Option<bool>) {
        if std::mem::replace(&mut self.inputs.known[input], on) != on {
            self.outputs.push(Output::Fact(Fact::InputIs { input, on }));
        }
    }
}
