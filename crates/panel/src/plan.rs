//! The layout as it is described, in rows with names.

use std::collections::BTreeMap;

use serde::Serialize;
use track::{AspectRow, Beyond, EndId, Layout, Role, SectionId};
use utoipa::ToSchema;

use crate::wish::Lying;

/// A layout.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Plan {
    /// Its name.
    pub name: String,
    /// Its sections.
    pub sections: Vec<PlanSection>,
    /// Pairs of ends that meet, each as `section.end`.
    pub joints: Vec<[String; 2]>,
    /// Its turnouts.
    pub turnouts: Vec<String>,
    /// Its signals.
    pub signals: Vec<PlanSignal>,
    /// Its stopping points.
    pub stops: Vec<PlanStop>,
    /// Its trains.
    pub trains: Vec<PlanTrain>,
    /// Its power districts.
    pub districts: Vec<PlanDistrict>,
    /// The files it was read from, by name.
    pub files: BTreeMap<String, String>,
}

/// A section.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanSection {
    /// Its name.
    pub name: String,
    /// Its ends.
    pub ends: Vec<PlanEnd>,
    /// The ways through it.
    pub ways: Vec<PlanWay>,
    /// Whether a detector sees what stands there.
    pub detected: bool,
    /// The power district it belongs to.
    pub district: Option<String>,
}

/// A power district.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanDistrict {
    /// Its name.
    pub name: String,
    /// Whether its power can be cut from here.
    pub switched: bool,
}

/// What lies beyond an end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PlanBeyond {
    /// Other ends.
    Joint,
    /// A buffer stop.
    BufferStop,
    /// Track that is no part of the layout.
    OffLayout,
}

/// An end of a section.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanEnd {
    /// Its name, as `section.end`.
    pub name: String,
    /// What lies beyond it.
    pub beyond: PlanBeyond,
}

/// A way through a section.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanWay {
    /// The ends it joins, each as `section.end`.
    pub ends: [String; 2],
    /// How long it is, in millimetres, where it was measured.
    pub length_mm: Option<f64>,
    /// How turnouts must lie for it.
    pub needs: BTreeMap<String, Lying>,
}

/// A signal.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanSignal {
    /// Its name.
    pub name: String,
    /// The end it governs leaving by.
    pub at: String,
    /// What it can show, the most restrictive first.
    pub aspects: Vec<PlanAspect>,
    /// Whether it only foretells what a main signal shows.
    pub distant: bool,
}

/// Something that a signal can show.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanAspect {
    /// Its name.
    pub name: String,
    /// What it says, in plain words; may be empty.
    pub says: String,
    /// The lamps that are lit.
    pub lamps: Vec<String>,
    /// The lamps that flash.
    pub flashing: Vec<String>,
}

/// A stopping point.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanStop {
    /// Its name.
    pub name: String,
    /// The section it lies in.
    pub section: String,
    /// The end that a train stopping here points at.
    pub towards: String,
    /// How far short of that end the nose should stand, in millimetres.
    pub short_of_end_mm: f64,
}

/// A train.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct PlanTrain {
    /// Its name.
    pub name: String,
    /// How long it is, in millimetres, where that is known.
    pub length_mm: Option<f64>,
}

impl Plan {
    /// The layout, and the files it was read from.
    pub fn new(layout: &Layout, files: BTreeMap<String, String>) -> Self {
        let joints = layout.ends.iter().flat_map(|(id, end)| {
            end.meets.iter().filter(move |&&met| id < met).map(move |&met| [layout.end_name(id), layout.end_name(met)])
        });
        let signals = layout.signals.iter().map(|(id, signal)| PlanSignal {
            name: signal.name.clone(),
            at: layout.end_name(signal.at),
            aspects: layout.book_of(id).aspects().map(|(_, row)| aspect(row)).collect(),
            distant: layout.book_of(id).role() == Role::Distant,
        });
        let stops = layout.stops.values().map(|stop| PlanStop {
            name: stop.name.clone(),
            section: layout.sections[stop.section].name.clone(),
            towards: layout.end_name(stop.towards),
            short_of_end_mm: stop.short_of_end.mm(),
        });
        Self {
            name: layout.name.clone(),
            sections: layout.sections.ids().map(|id| section(layout, id)).collect(),
            joints: joints.collect(),
            turnouts: layout.turnouts.values().map(|turnout| turnout.name.clone()).collect(),
            signals: signals.collect(),
            stops: stops.collect(),
            trains: layout
                .trains
                .values()
                .map(|train| PlanTrain { name: train.name.clone(), length_mm: train.length().map(track::Length::mm) })
                .collect(),
            districts: layout
                .districts
                .values()
                .map(|district| PlanDistrict { name: district.name.clone(), switched: district.is_switched })
                .collect(),
            files,
        }
    }
}

fn aspect(row: &AspectRow) -> PlanAspect {
    let AspectRow { name, says, lamps, flashing, .. } = row.clone();
    PlanAspect { name, says, lamps, flashing }
}

fn section(layout: &Layout, id: SectionId) -> PlanSection {
    let section = &layout.sections[id];
    PlanSection {
        name: section.name.clone(),
        ends: section.ends.iter().map(|&id| end(layout, id)).collect(),
        ways: section
            .ways
            .iter()
            .map(|&id| {
                let way = &layout.ways[id];
                let need = |need: &track::Need| (layout.turnouts[need.turnout].name.clone(), need.lie.into());
                PlanWay {
                    ends: way.ends.map(|end| layout.end_name(end)),
                    length_mm: way.length.map(track::Length::mm),
                    needs: way.needs.iter().map(need).collect(),
                }
            })
            .collect(),
        detected: section.detector.is_some(),
        district: section.district.map(|district| layout.districts[district].name.clone()),
    }
}

fn end(layout: &Layout, id: EndId) -> PlanEnd {
    let beyond = match layout.ends[id].beyond {
        Beyond::Joint => PlanBeyond::Joint,
        Beyond::BufferStop => PlanBeyond::BufferStop,
        Beyond::OffLayout => PlanBeyond::OffLayout,
    };
    PlanEnd { name: layout.end_name(id), beyond }
}
