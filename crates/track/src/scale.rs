//! Model scales.

/// A scale: how many millimetres of the real railway one millimetre on the table stands for.
///
/// The ratios are those of NEM 010 (edition 2011) and NMRA S-1.2; a few trade names stand beside them, and `1:1`, the real
/// railway, for recordings from there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Its name.
    pub name: &'static str,
    /// Real millimetres per millimetre on the table.
    pub ratio: f64,
}

/// 304.8 mm to the foot, over 3.5 mm, 2.0625 mm, 7 mm and 4 mm (NMRA S-1.2 for HO; British practice for the others).
const FOOT_MM: f64 = 304.8;

const SCALES: &[Scale] = &[
    Scale { name: "Z", ratio: 220.0 },
    Scale { name: "N", ratio: 160.0 },
    Scale { name: "TT", ratio: 120.0 },
    Scale { name: "H0", ratio: 87.0 },
    Scale { name: "HO", ratio: FOOT_MM / 3.5 },
    Scale { name: "S", ratio: 64.0 },
    Scale { name: "0", ratio: 45.0 },
    Scale { name: "O", ratio: 48.0 },
    Scale { name: "O (UK)", ratio: FOOT_MM / 7.0 },
    Scale { name: "OO", ratio: FOOT_MM / 4.0 },
    Scale { name: "N (UK)", ratio: FOOT_MM / 2.0625 },
    Scale { name: "I", ratio: 32.0 },
    Scale { name: "II", ratio: 22.5 },
    Scale { name: "G", ratio: 22.5 },
    Scale { name: "III", ratio: 16.0 },
    Scale { name: "V", ratio: 11.0 },
    Scale { name: "VII", ratio: 8.0 },
    Scale { name: "X", ratio: 5.5 },
    Scale::UNKNOWN,
];

impl Scale {
    /// What a layout has whose scale is not known: it is taken for the real railway.
    pub const UNKNOWN: Self = Self { name: "1:1", ratio: 1.0 };

    /// All scales that have a name here.
    pub fn all() -> &'static [Self] {
        SCALES
    }

    /// The scale of that name, letter for letter.
    pub fn named(name: &str) -> Option<Self> {
        SCALES.iter().find(|scale| scale.name == name).copied()
    }

    /// Scale kilometres an hour for a speed of one metre a second on the table.
    pub fn km_h_per_model_m_s(self) -> f64 {
        self.ratio * 3.6
    }
}
