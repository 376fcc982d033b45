//! How fast a train is at each of its speed steps, as the control door tells it.

use serde::{Deserialize, Serialize};
use signaller::{Direction, SpeedProfile, StepSpeed};
use track::{Layout, Scale, TrainId};
use utoipa::ToSchema;

/// How fast a train is, as far as that is known now.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ProfileRow {
    /// The train.
    pub train: String,
    /// When it was looked at, in seconds of layout time.
    pub at: f64,
    /// Forwards, by steps from 1 up.
    pub forward: Vec<StepRow>,
    /// Backwards, by steps from 1 up.
    pub backward: Vec<StepRow>,
    /// How it gathers speed.
    pub gathers: RateRow,
    /// How it loses speed.
    pub loses: RateRow,
    /// So many kilometres an hour to scale are a millimetre a second on the table; nothing where the layout names no scale.
    pub km_h_per_mm_s: Option<f64>,
}

/// How fast a train is at one step, in millimetres a second on the table.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct StepRow {
    /// The step.
    pub step: u8,
    /// The likeliest speed.
    pub likely: f64,
    /// In 95 runs of 100 it is between this
    pub least: f64,
    /// and this.
    pub most: f64,
    /// How many times runs near this step have taught something. Where none has, this is what the train was described as, or
    /// what is taken for granted of one that was not.
    pub runs: u32,
}

/// How quickly a train changes its speed, in millimetres a second squared.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct RateRow {
    /// Most likely.
    pub likely: f64,
    /// The standard deviation of that.
    pub deviation: f64,
}

/// A train's profile, in rows.
pub fn profile_row(layout: &Layout, train: TrainId, at: f64, profile: &SpeedProfile) -> ProfileRow {
    let side = |direction| profile.side(direction).iter().map(step).collect();
    let rate = |rate: signaller::drive::Rate| RateRow { likely: rate.likely.mm(), deviation: rate.deviation.mm() };
    let is_to_scale = layout.scale != Scale::UNKNOWN;
    ProfileRow {
        train: layout.trains[train].name.clone(),
        at,
        forward: side(Direction::Forward),
        backward: side(Direction::Backward),
        gathers: rate(profile.gathers),
        loses: rate(profile.loses),
        km_h_per_mm_s: is_to_scale.then(|| layout.scale.km_h_per_model_m_s() / 1000.0),
    }
}

fn step(speed: &StepSpeed) -> StepRow {
    let StepSpeed { step, likely, least, most, runs } = *speed;
    StepRow { step, likely: likely.mm(), least: least.mm(), most: most.mm(), runs }
}
