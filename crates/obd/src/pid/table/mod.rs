//! The table of parameters (SAE J1979-DA), by ranges of 32. To add one: a row in its range, in order, and its rows in
//! `tests/rows.tsv`.
//!
//! A row is the number, the name, how many data bytes, and the fields. `on(0, ...)` is a field that bit 0 of byte A
//! announces. Bits in no field, and announced by none, are reserved and sent as 0. What rests on memory alone is
//! marked; where sources differ the remark says which was taken.

mod build;
mod from_01;
mod from_20;
mod from_40;
mod from_60;
mod from_80;
mod from_a0;

use super::{Definition, Field, Kind, Pid};

macro_rules! definitions {
    ($($number:literal $name:literal $length:literal [$($field:expr),+];)+) => {
        &[$(Definition { pid: Pid::new($number), name: $name, length: $length, fields: &[$($field),+] }),+]
    };
}
use definitions;

/// The parameters of each range, in rising order, without the masks.
pub(super) static RANGES: [&[Definition]; 6] = [
    from_01::ROWS,
    from_20::ROWS,
    from_40::ROWS,
    from_60::ROWS,
    from_80::ROWS,
    from_a0::ROWS,
];

/// Of each number the place of its row in its range; beyond all places if it has none.
pub(super) static PLACES: [u8; 256] = {
    let mut places = [u8::MAX; 256];
    let mut range = 0;
    while range < RANGES.len() {
        let mut place: u8 = 0;
        while (place as usize) < RANGES[range].len() {
            places[RANGES[range][place as usize].pid.number() as usize] = place;
            place += 1;
        }
        range += 1;
    }
    places
};

macro_rules! masks {
    ($($number:literal)+) => {
        [$(Definition {
            pid: Pid::new($number),
            name: "supported parameters",
            length: 4,
            fields: &[Field {
                name: "",
                first_bit: 0,
                bits: 32,
                kind: Kind::Mask,
                announced_by: None,
            }],
        }),+]
    };
}

/// The masks $00, $20 ... $E0, in order.
pub(super) static MASKS: [Definition; 8] = masks![0x00 0x20 0x40 0x60 0x80 0xA0 0xC0 0xE0];
