//! How area detectors sense current, and how long they bridge gaps: what was said of one, and of all.

use std::time::Duration;

use track::{Current, Detector, DetectorKind, Sensing, SensingKind};

use crate::diagnostic::Findings;
use crate::keys::{Keys, list_of};
use crate::resolve::Resolver;
use crate::source::{Said, Span};
use crate::written::{WrittenDetector, WrittenSensing, WrittenTrack};
use track::nearest;

/// A detector that says nothing for longer than this hides more than dirt.
const LONGEST_BRIDGE: Duration = Duration::from_secs(10);

const KINDS: [(&str, SensingKind); 3] = [
    ("diode-drop", SensingKind::DiodeDrop),
    ("current-transformer", SensingKind::CurrentTransformer),
    ("hall", SensingKind::Hall),
];

/// Reads `sensing`, `threshold` and `bridge`, of one detector or for all.
pub(crate) fn read_sensing(keys: &mut Keys<'_>, out: &mut Findings) -> WrittenSensing {
    let kind = keys.text("sensing", out).and_then(|word| {
        let kind = KINDS.into_iter().find(|(name, _)| *name == word.value).map(|(_, kind)| kind);
        if kind.is_none() {
            let names = KINDS.map(|(name, _)| name);
            let hint = match nearest(word.value, names.into_iter()) {
                Some(near) => format!("the nearest word is `{near}`"),
                None => format!("it is one of {}", list_of(&names)),
            };
            out.mistake(word.span, format!("no detector senses by `{}`", word.value)).hint(hint);
        }
        Some(Said { value: kind?, span: word.span })
    });
    let threshold = keys.current("threshold", out);
    let bridge = keys.duration("bridge", out);
    if let Some(bridge) = bridge.filter(|bridge| bridge.value > LONGEST_BRIDGE) {
        out.warning(bridge.span, "`bridge` is more than ten seconds")
            .hint("for so long nobody believes that a train has gone: some tenths of a second bridge dirt");
    }
    if let (Some(kind), false) = (kind, keys.has("threshold")) {
        out.mistake(kind.span, "`sensing` goes with a `threshold`")
            .hint("add `threshold = 1.0`: from so many milliamperes on the detector says that something is there");
    }
    let is_faulty = (keys.has("sensing") && (kind.is_none() || !keys.has("threshold")))
        || (keys.has("threshold") && threshold.is_none());
    WrittenSensing { kind, threshold, bridge, is_faulty }
}

impl WrittenSensing {
    /// The places of all that was said.
    fn spans(&self) -> impl Iterator<Item = Span> {
        let spans =
            [self.kind.map(|said| said.span), self.threshold.map(|said| said.span), self.bridge.map(|said| said.span)];
        spans.into_iter().flatten()
    }
}

impl<'t> Resolver<'t, '_> {
    /// A detector, as far as it was described; an area detector takes from the layout what was not said of it.
    pub(crate) fn described_detector(
        &mut self,
        track: &WrittenTrack<'t>,
        (name, kind): (&str, DetectorKind),
        written: Option<&WrittenDetector<'t>>,
    ) -> Detector {
        let mut detector = Detector::new(name, kind);
        if let Some(written) = written {
            detector.on_delay = written.on_delay.unwrap_or_default();
            detector.off_delay = written.off_delay.unwrap_or_default();
        }
        detector.link = self.link_of(kind, written.and_then(|written| written.link));
        let (own, all) = (written.map(|written| &written.sensing), &track.sensing);
        if let DetectorKind::Area(_) = kind {
            let bridge = own.and_then(|own| own.bridge).or(all.bridge);
            detector.bridge = bridge.map_or(Duration::ZERO, |said| said.value);
            detector.sensing = self.sensing_of(own, all);
        } else {
            for span in own.into_iter().flat_map(WrittenSensing::spans) {
                self.out
                    .mistake(span, "only an area detector has `sensing`, `threshold` and `bridge`")
                    .hint("a spot or a reader does not sense what current flows in its section");
            }
        }
        detector
    }

    /// What the detector says of itself; where it only gives another threshold, it senses as all do.
    fn sensing_of(&mut self, own: Option<&WrittenSensing>, all: &WrittenSensing) -> Option<Sensing> {
        let sensing = |kind: Option<Said<SensingKind>>, threshold: Option<Said<Current>>| {
            let (kind, threshold) = (kind?, threshold?);
            Some(Sensing { kind: kind.value, threshold: threshold.value })
        };
        let own = own.filter(|own| own.kind.is_some() || own.threshold.is_some() || own.is_faulty);
        let Some(own) = own else { return sensing(all.kind, all.threshold) };
        self.excused.electrics |= own.is_faulty;
        if own.is_faulty || all.is_faulty {
            return None;
        }
        let kind = own.kind.or(all.kind);
        if let (None, Some(threshold)) = (kind, own.threshold) {
            self.out
                .mistake(threshold.span, "`threshold` goes with a `sensing`")
                .hint(format!("add `sensing`: one of {}", list_of(&KINDS.map(|(name, _)| name))));
            self.excused.electrics = true;
        }
        sensing(kind, own.threshold)
    }
}
