//! How a number is written where it is kept: as itself, in SI; what is not finite as nothing, which reads as NaN.
//!
//! Text formats have no word for NaN: without this, one such number would make a file that nobody can read.
//! For `#[serde(with = "twotrip_units::stored")]`.

use serde::{Deserialize, Deserializer, Serializer};

/// Writes a number.
///
/// # Errors
/// What the format reports.
pub fn serialize<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    if value.is_finite() {
        serializer.serialize_some(value)
    } else {
        serializer.serialize_none()
    }
}

/// Reads a number.
///
/// # Errors
/// What the format reports.
pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    Ok(Option::deserialize(deserializer)?.unwrap_or(f64::NAN))
}
