//! A chip of this computer.

use std::io;
use std::pin::Pin;
use std::time::Duration;

use gpiocdev::Request;
use gpiocdev::line::{Bias as ChipBias, EdgeDetection, EdgeKind, Value};
use gpiocdev::tokio::AsyncRequest;
use track::wiring::{Bias, GpioLine};

use super::shell::{Change, Pins};

/// Its pins, as they were asked of the kernel.
#[derive(Debug)]
pub(super) struct Chip {
    heard: Option<AsyncRequest>,
    told: Option<Request>,
    lines: Vec<u32>,
}

#[expect(clippy::needless_pass_by_value, reason = "this is what `map_err` hands over")]
fn other(error: gpiocdev::Error) -> io::Error {
    io::Error::other(error.to_string())
}

impl Chip {
    /// Asks for pins: those that are heard, and those that are set, which are off at first.
    ///
    /// # Errors
    /// There is no such chip, or somebody else has a pin.
    pub(super) fn open(chip: &str, heard: &[GpioLine], told: &[GpioLine]) -> io::Result<Self> {
        let lines: Vec<u32> = heard.iter().map(|line| line.line).collect();
        let mut inputs = Request::builder();
        inputs.on_chip(chip).with_consumer("lineclear");
        for line in heard {
            inputs.with_line(line.line).as_input().with_edge_detection(EdgeDetection::BothEdges);
            if line.is_active_low {
                inputs.as_active_low();
            } else {
                inputs.as_active_high();
            }
            let bias = match line.bias {
                Bias::AsIs => None,
                Bias::Disabled => Some(ChipBias::Disabled),
                Bias::PullUp => Some(ChipBias::PullUp),
                Bias::PullDown => Some(ChipBias::PullDown),
            };
            inputs.with_bias(bias);
            if line.debounce_us > 0 {
                inputs.with_debounce_period(Duration::from_micros(u64::from(line.debounce_us)));
            }
        }
        let inputs = (!heard.is_empty()).then(|| inputs.request().map_err(other)).transpose()?;
        let mut outputs = Request::builder();
        outputs.on_chip(chip).with_consumer("lineclear");
        for line in told {
            outputs.with_line(line.line).as_output(Value::Inactive);
            if line.is_active_low {
                outputs.as_active_low();
            } else {
                outputs.as_active_high();
            }
        }
        let told = (!told.is_empty()).then(|| outputs.request().map_err(other)).transpose()?;
        Ok(Self { heard: inputs.map(AsyncRequest::new), told, lines })
    }
}

impl Pins for Chip {
    fn look(&mut self) -> io::Result<Vec<Change>> {
        let Some(heard) = &self.heard else { return Ok(Vec::new()) };
        let request: &Request = heard.as_ref();
        let value = |&line: &u32| {
            let value = request.value(line).map_err(other)?;
            Ok(Change { line, on: value == Value::Active })
        };
        self.lines.iter().map(value).collect()
    }

    fn next(&mut self) -> Pin<Box<dyn Future<Output = io::Result<Change>> + Send + '_>> {
        Box::pin(async {
            let Some(heard) = &self.heard else { return std::future::pending().await };
            let event = heard.read_edge_event().await.map_err(other)?;
            Ok(Change { line: event.offset, on: event.kind == EdgeKind::Rising })
        })
    }

    fn set(&mut self, change: Change) -> io::Result<()> {
        let Some(told) = &self.told else { return Err(io::Error::other("no pin is set on this chip")) };
        let value = if change.on { Value::Active } else { Value::Inactive };
        told.set_value(change.line, value).map_err(other)
    }
}
